"""Why a mix curdles, or what keeps it clear and how near the edge it stands.

Shares and fractions are medians over the draws, made to add up to 1; edges are found on the same
draws.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from chem.advice.edges import Edge, edge
from chem.advice.origins import origins, ph_driver
from chem.advice.reasons import Reason, chances, reason
from chem.doubts import median
from chem.equilibrium import one_thread
from chem.forecast import (
    THRESHOLD,
    Followed,
    Gas,
    Prepared,
    Rule,
    Study,
    known_time,
    never,
    show_limit,
)
from chem.reference.colloids import colloids
from chem.tank import Mix

MOST_NEAR = 3
METAL_TRIGGERS = {"divalent", "gelling"}
ACID_TRIGGERS = {"ph_below", "acid_in_time"}
GELLING_METALS = ("Ca", "Mg", "Fe2", "Fe3", "Mn", "Zn", "Cu")


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


@one_thread()
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
        solids=tuple(reason(study, seen, m, judged_at, bool(threats)) for m in columns),
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


def _judged_columns(seen: Followed) -> list[int]:
    return [m for m, part in enumerate(seen.parts) if part.kind == "salt" and part.decides]


def _threats(seen: Followed) -> list[int]:
    """Columns of solids that show by tomorrow in a tenth of the draws, most pressing first."""
    found: list[tuple[float, float, float, int]] = []
    for m in _judged_columns(seen):
        chance = chances(seen, m)
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
    loose = [seen.part_odds(c.amount_g_per_L > show_limit()) for c in seen.colloids]
    first = over.shape[1] - len(loose)
    return [seen.part_odds(over[:, i]) for i in range(first)] + loose


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
