"""Why a mix curdles, or what keeps it clear and how near the edge it stands.

Shares and fractions are medians over the draws, made to add up to 1; edges are found on the same
draws.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from chem.advice.edges import Edge, edge
from chem.advice.origins import IRON, holders, origins, ph_driver
from chem.doubts import median
from chem.equilibrium import solve
from chem.forecast import (
    THRESHOLD,
    TIMES_S,
    Followed,
    Gas,
    Prepared,
    Rule,
    State,
    Study,
    known_time,
    never,
    show_limit,
)
from chem.reference import Solid, molar_mass_g_per_mol
from chem.reference.colloids import colloids
from chem.tank import Mix

PH_STEP = 0.5
LEAST_HOLD = 0.01
MOST_NEAR = 3
METAL_TRIGGERS = {"divalent", "gelling"}
ACID_TRIGGERS = {"ph_below", "acid_in_time"}
GELLING_METALS = ("Ca", "Mg", "Fe2", "Fe3", "Mn", "Zn", "Cu")


@dataclass(frozen=True)
class Ion:
    """One component of a solid.

    free_fraction: as the ion that the solid is made of; shares: product name or `water` -> share
    of where it comes from, adding up to 1; taken: share of it that the solid takes by tomorrow in
    the draws in which it shows.
    """

    component: str
    free_fraction: float
    shares: Mapping[str, float]
    taken: float


@dataclass(frozen=True)
class Hold:
    """What holds a component back from a solid: another component, `H+` or `OH-`."""

    component: str
    by: str
    fraction: float


@dataclass(frozen=True)
class Reason:
    """One solid: why it comes out, or why not.

    si: median; si_lower, si_higher: at a pH half a unit lower and higher; per_two_ions: what SI is
    divided by to compare solids; limited_by: the component of which there is least for it;
    clouds_after_s, amount_g_per_L: medians in the draws in which it shows; would_settle_g_per_L:
    median of what would come out in the end; ph_from: the product that moves the pH towards it,
    and the pH without that product; ph: of the tank at the time that counts.
    """

    solid: Solid
    threatens: bool
    si: float
    si_lower: float
    si_higher: float
    per_two_ions: float
    probability: Mapping[str, float]
    clouds_after_s: float | None
    amount_g_per_L: float
    would_settle_g_per_L: float
    ions: tuple[Ion, ...]
    held_back_by: tuple[Hold, ...]
    limited_by: str
    ph_from: tuple[str, float] | None
    ph: float


@dataclass(frozen=True)
class Other:
    """What else shows by tomorrow: colloids and salts that crystallise in the cold.

    shares: component -> product name or `water` -> share of where it comes from; colloid, metal:
    components that meet, where it is a colloid; ph, ph_from: where its acid counts.
    """

    key: str
    name: str
    probability: float
    shares: Mapping[str, Mapping[str, float]]
    colloid: str | None = None
    metal: str | None = None
    ph: float | None = None
    ph_from: str | None = None


@dataclass(frozen=True)
class Why:
    """The reasons of one mix; edge: only where it stays clear for the judged time.

    rules: that the mix breaks; refused: the code by which it must never be poured, if any; notes:
    what was taken for granted of water and labels.
    """

    mix: Mix
    judged_at: str
    answer: str
    probability: Mapping[str, float]
    ph: float
    solids: tuple[Reason, ...]
    others: tuple[Other, ...]
    edge: Edge | None
    rules: tuple[Rule, ...]
    refused: str | None
    gases: tuple[Gas, ...]
    not_judged: tuple[str, ...]
    notes: tuple[str, ...]
    draws: int
    seed: int


def why(
    mix: Mix,
    *,
    judged_at: str = "4h",
    count: int = 256,
    seed: int = 1,
    study: Study | None = None,
) -> Why:
    """Explain the forecast of a mix.

    study: what is believed and worked out already, in place of count and seed.

    Raises: InputProblem and ToxicGas as `forecast`; ValueError for another `judged_at`.
    """
    known_time(judged_at)
    study = Study(count, seed) if study is None else study
    seen = study.look(mix)
    threats = _threats(seen)
    turns = edge(study, seen, judged_at) if seen.probability[judged_at] < THRESHOLD else None
    columns = threats or _nearest(seen, turns)
    rules = study.rules(mix, seen)
    return Why(
        mix=mix,
        judged_at=judged_at,
        answer=seen.answer(judged_at).word,
        probability=dict(seen.probability),
        ph=seen.ph.median,
        solids=tuple(_reason(study, seen, m, judged_at, bool(threats)) for m in columns),
        others=_others(study, seen),
        edge=turns,
        rules=rules,
        refused=never(rules),
        gases=tuple(study.gases(mix, seen)),
        not_judged=seen.not_judged,
        notes=_notes(seen.ready),
        draws=study.count,
        seed=study.seed,
    )


def _notes(ready: Prepared) -> tuple[str, ...]:
    """What was taken for granted of water and labels; not how its figures were read."""
    notes = [n for n in ready.water.notes if n not in ready.mix.water.notes]
    notes += [n for inside in ready.contents for n in inside.notes]
    return tuple(dict.fromkeys(notes))


def _chances(seen: Followed, m: int) -> dict[str, float]:
    return {t: seen.odds(out.salts[:, m] > show_limit()) for t, out in seen.out.items()}


def _judged_columns(seen: Followed) -> list[int]:
    return [m for m, part in enumerate(seen.parts) if part.kind == "salt" and part.decides]


def _threats(seen: Followed) -> list[int]:
    """Columns of solids that show by tomorrow in a tenth of the draws, most pressing first."""
    found: list[tuple[float, float, float, int]] = []
    for m in _judged_columns(seen):
        chance = _chances(seen, m)
        if chance["24h"] >= THRESHOLD:
            amount = float(seen.out["24h"].salts[:, m].mean())
            # In tenths, as they are said, so that among the sure ones the heaviest comes first.
            spray, day = (-round(10.0 * chance[t]) for t in ("4h", "24h"))
            found.append((spray, day, -amount, m))
    return [m for *_, m in sorted(found)]


def _nearest(seen: Followed, turns: Edge | None) -> list[int]:
    """Columns of the solid nearest to its limit, and of those that a rate would bring on."""
    judged = _judged_columns(seen)
    state = seen.states["24h"]
    near = sorted((-2.0 * median(state.si[:, m]) / float(state.phases.ions[m]), m) for m in judged)
    found = [m for level, m in near if np.isfinite(level)][:1]
    every = [t for p in turns.products for t in (p.less, p.more) if t] if turns else []
    names = {seen.parts[m].name: m for m in judged}
    found += [names[t.culprit] for t in every if t.culprit in names]
    return list(dict.fromkeys(found))[:MOST_NEAR]


def _others(study: Study, seen: Followed) -> tuple[Other, ...]:
    found = []
    chances = {p.key: (p, c) for p, c in zip(seen.parts, _day(seen), strict=True)}
    for part, chance in chances.values():
        if chance < THRESHOLD or part.kind == "salt":
            continue
        if part.kind == "colloid":
            found.append(_gelling(study, seen, part.key, chance))
        else:
            found.append(Other(part.key.removesuffix("_crystals"), part.name, chance, {}))
    return tuple(sorted(found, key=lambda o: -o.probability))


def _day(seen: Followed) -> list[float]:
    """Chance of each part alone by tomorrow; of a colloid, in the end."""
    over = seen.out["24h"].each > show_limit()
    loose = [seen.odds(c.amount_g_per_L > show_limit()) for c in seen.colloids]
    first = over.shape[1] - len(loose)
    return [seen.odds(over[:, i]) for i in range(first)] + loose


def _gelling(study: Study, seen: Followed, key: str, chance: float) -> Other:
    """What a colloid meets and from which jugs."""
    rule, ready = colloids()[key], seen.ready
    shares = {rule.component: origins(ready, rule.component)}
    finished = ready.finished
    if rule.trigger in METAL_TRIGGERS:
        held = [c for c in GELLING_METALS if c in finished.components]
        totals = [median(finished.totals[:, finished.components.index(c)]) for c in held]
        metal = held[int(np.argmax(totals))] if held else None
    else:
        metal = "NH4" if rule.trigger == "ammonium" and "NH4" in finished.components else None
    name = key.replace("_", " ")
    if metal is not None:
        shares[metal] = origins(ready, metal)
        return Other(key, name, chance, shares, rule.component, metal)
    driver = ph_driver(ready, -1.0, study) if rule.trigger in ACID_TRIGGERS else None
    ph = median(seen.fresh.clear.ph)
    return Other(key, name, chance, shares, rule.component, None, ph, driver[0] if driver else None)


def _reason(study: Study, seen: Followed, m: int, judged_at: str, threatens: bool) -> Reason:
    ready, n = seen.ready, study.count
    chance = _chances(seen, m)
    when = judged_at if chance[judged_at] >= THRESHOLD else "24h"
    state = seen.states[when]
    solid = state.phases.solids[m]
    lower, higher = (_si_at_ph(state, m, way * PH_STEP) for way in (-1.0, 1.0))
    finished = ready.finished
    out = seen.out["24h"].salts[:, m]
    shows = seen.ok & (out > show_limit())
    moles = out / molar_mass_g_per_mol(solid.formula) / finished.water_kg_per_L
    ions, holds, least = [], [], {}
    for component, count in _parts(state, m).items():
        total, free, held = holders(state, component, n)
        whole = total
        for twin in IRON - {component} if component in IRON else ():
            if twin in state.clear.system.components:
                whole = whole + holders(state, twin, n)[0]
        taken = np.where(shows, np.minimum(moles * count / np.maximum(whole, 1e-30), 1.0), np.nan)
        shares = {by: median(part) for by, part in held.items()}
        bare = median(free)
        everything = bare + sum(shares.values())
        ions.append(
            Ion(
                component,
                bare / everything,
                origins(ready, component, TIMES_S[when]),
                float(np.nan_to_num(median(taken))),
            )
        )
        parted = {by: share / everything for by, share in shares.items()}
        holds += [Hold(component, by, part) for by, part in parted.items() if part >= LEAST_HOLD]
        least[component] = median(total / count)
    clouds = median(
        np.where(shows & np.isfinite(state.clouding[:, m]), state.clouding[:, m], np.nan)
    )
    towards = higher - lower
    driver = ph_driver(ready, towards, study) if abs(towards) > PH_STEP else None
    return Reason(
        solid=solid,
        threatens=threatens,
        si=median(state.si[:, m]),
        si_lower=lower,
        si_higher=higher,
        per_two_ions=float(state.phases.ions[m]) / 2.0,
        probability=chance,
        clouds_after_s=clouds if np.isfinite(clouds) else None,
        amount_g_per_L=float(np.nan_to_num(median(np.where(shows, out, np.nan)))),
        would_settle_g_per_L=float(np.nan_to_num(median(state.settled[:, m]))),
        ions=tuple(ions),
        held_back_by=tuple(sorted(holds, key=lambda h: -h.fraction)),
        limited_by=min(least, key=lambda c: least[c]),
        ph_from=driver,
        ph=median(state.clear.ph),
    )


def _parts(state: State, m: int) -> dict[str, float]:
    """Component -> how many of it one formula unit of the solid takes."""
    column = state.phases.nu[:-1, m]
    return {
        c: float(column[i]) for i, c in enumerate(state.clear.system.components) if column[i] > 0.0
    }


def _si_at_ph(state: State, m: int, shift: float) -> float:
    """Median SI with the pH moved and held there, nothing added for it."""
    clear = state.clear
    ph = np.clip(np.nan_to_num(clear.ph, nan=7.0) + shift, 0.0, 14.0)
    moved = solve(clear.system, clear.totals, clear.conditions, ph=ph)
    phases = state.phases.pick(np.array([m]))
    return median(moved.saturation_index(phases, state.log_ksp[:, [m]])[:, 0])
