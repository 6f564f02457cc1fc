"""Odds of an exactly known solution, the chemistry's doubts alone, from a minute to a month."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from chem.doubts import Draws, chance, median
from chem.equilibrium import (
    Conditions,
    Equilibrium,
    solve,
    water_density_g_per_mL,
)
from chem.errors import InputProblem, Problem
from chem.forecast.aging import aging
from chem.forecast.clouding import Bools, Passing, limits
from chem.forecast.colloids import ColloidOutlook, colloid_outlook
from chem.forecast.state import State, evaluate
from chem.laboratory.recipe import Recipe
from chem.reference import molar_mass_g_per_mol, tables
from chem.reference.unlisted import not_judged
from chem.tank import Finished

TIMES_S = {
    "1min": 60.0,
    "15min": 900.0,
    "1h": 3600.0,
    "4h": 14400.0,
    "24h": 86400.0,
    "7d": 604800.0,
    "30d": 2592000.0,
}
CLOSINGS = 4
"""Solves until the closing ion holds the given pH: what it pairs with shifts a little."""
LEAST_DOUBT = 0.1
"""Least that is said against an outcome where the activity model is stretched, or a solid or
complex has no constant."""


@dataclass(frozen=True)
class SolidOdds:
    """One solid: median SI, chance of showing by each time, time [s] and amount [g/L] of it.

    si: None for a gel or sulfur of `colloids.csv`, whose kinetics are `colloid`.
    """

    key: str
    kinetics: str
    si: float | None
    probability: Mapping[str, float]
    clouds_after_s: float | None
    amount_g_per_L: float


@dataclass(frozen=True)
class SolutionOdds:
    """What becomes of a solution in a closed jar.

    ph: median; closed_by: the ion that holds a given pH and its amount [mol/kg], if any;
    probability, clogs: time -> chance that solids show, that they block a screen; None where the
    solution is beyond the model; solids: most pressing first.
    """

    name: str
    t_celsius: float
    ph: float
    ionic_strength_mol_per_kg: float
    closed_by: tuple[str, float] | None
    probability: Mapping[str, float] | None
    clogs: Mapping[str, float] | None
    solids: tuple[SolidOdds, ...]
    notes: tuple[str, ...]
    draws: int
    seed: int


def closed(recipe: Recipe) -> tuple[Recipe, tuple[str, float] | None]:
    """The recipe with the sodium or chloride that holds its given pH, and how much [mol/kg].

    Raises: InputProblem where no such amount was found.
    """
    if recipe.ph is None:
        return recipe, None
    added = 0.0
    totals = dict(recipe.totals)
    for _ in range(CLOSINGS):
        ion = "Na" if added >= 0.0 else "Cl"
        totals = dict(recipe.totals)
        totals[ion] = totals.get(ion, 0.0) + abs(added)
        state = _solved(recipe, totals, recipe.ph)
        added -= float(state.molality[0] @ state.system.charge)
    ion = "Na" if added >= 0.0 else "Cl"
    totals = dict(recipe.totals)
    totals[ion] = totals.get(ion, 0.0) + abs(added)
    return recipe.with_totals(totals), (ion, abs(added))


def _solved(recipe: Recipe, totals: Mapping[str, float], ph: float) -> Equilibrium:
    """The fresh solution at a given pH, with what it holds by itself held."""
    aged = aging(finished_of(recipe.with_totals(totals), 1), recipe.t_celsius, Draws(1))
    nominal = Conditions.nominal(aged.system, recipe.t_celsius)
    state = solve(aged.system, aged.totals(0.0), nominal, ph=np.array([ph]))
    if not state.converged[0]:
        raise InputProblem(
            Problem(
                f"{recipe.name}, --odds",
                f"no equilibrium was found ({int(state.iterations[0])} iterations)",
                "totals that one solution can hold",
            )
        )
    return state


@dataclass(frozen=True)
class Jar:
    """A finished solution alone: nothing in it is a film or gum."""

    finished: Finished
    draws: Draws

    @property
    def film(self) -> Bools:
        """(N,) false."""
        return np.zeros(self.draws.count, dtype=bool)


def finished_of(recipe: Recipe, count: int) -> Finished:
    """The solution as `count` equal rows; water per litre from an average of salts' volumes."""
    components = tuple(c for c in tables().components if c in recipe.totals)
    totals = np.array([[recipe.totals[c] for c in components]])
    grams = sum(
        m * molar_mass_g_per_mol(tables().components[c].formula) for c, m in recipe.totals.items()
    )
    room = 1.0 / water_density_g_per_mL(recipe.t_celsius)
    litres = room + tables().value("apparent_specific_volume_solids") * grams / 1000.0
    nothing = np.zeros((count, len(components)))
    return Finished(
        components=components,
        totals=np.repeat(totals, count, axis=0),
        water_kg_per_L=np.full(count, 1.0 / litres),
        density_kg_per_L=np.full(count, (1.0 + grams / 1000.0) / litres),
        from_product=nothing[None],
        from_water=nothing,
        held={pair: np.full(count, m) for pair, m in recipe.held.items()},
    )


def solution_odds(recipe: Recipe, *, count: int = 256, seed: int = 1) -> SolutionOdds:
    """Odds that solids show in a solution known exactly, in a closed jar.

    A given pH is first closed by sodium or chloride: what comes out then moves it freely.

    Raises: InputProblem for totals without an equilibrium; ValueError as `Draws`.
    """
    recipe, closing = closed(recipe)
    # Nobody's measuring is in doubt: the temperature is the one given.
    draws = Draws(count, seed, shared={"tank:temperature": np.zeros_like})
    finished = finished_of(recipe, count)
    aged = aging(finished, recipe.t_celsius, draws)
    states: dict[str, State] = {}
    totals = aged.totals(0.0)
    here = evaluate(
        aged.system, totals, finished.water_kg_per_L, recipe.t_celsius, draws, near=aged.near
    )
    fresh = here
    passing, begin = Passing(fresh.clouding), 0.0
    for name, t in TIMES_S.items():
        now = aged.totals(t)
        changed = (now != totals).any()
        if changed:
            totals = now
            here = evaluate(
                aged.system, now, finished.water_kg_per_L, recipe.t_celsius, draws, near=here.clear
            )
        shows = passing.onward(begin, t, here.clouding if changed else passing.clocks)
        here = replace(here, clouding=shows) if changed else here
        states[name], begin = here, t
    ok = np.all([s.ok for s in states.values()], axis=0)
    if not ok.any():
        raise InputProblem(
            Problem(
                f"{recipe.name}, --odds",
                "no draw of the constants found an equilibrium",
                "totals that one solution can hold",
            )
        )
    loose = colloid_outlook(Jar(finished, draws), fresh, TIMES_S["30d"], closed=True)
    probability, clogs = _chances(states, loose, ok, draws)
    ionic = median(fresh.clear.ionic_strength)
    notes = [*recipe.notes]
    value = tables().value
    beyond = ionic > value("ionic_strength_limit")
    if beyond:
        notes.append(f"Ionic strength {ionic:.1f} mol/kg: no answer rests on this model")
    elif ionic > value("ionic_strength_valid"):
        probability = {
            t: min(max(p, LEAST_DOUBT), 1.0 - LEAST_DOUBT) for t, p in probability.items()
        }
        notes.append(
            f"Ionic strength {ionic:.1f} mol/kg is beyond the {value('ionic_strength_valid'):g} "
            "that the model is good for: nothing is said surer than 9 in 10"
        )
    if closing is not None and closing[1] > 0.0:
        notes.append(
            f"pH {recipe.ph:g} is given: {closing[1]:.3g} mol/kg of {closing[0]} closes it"
        )
    per_L = dict(zip(finished.components, finished.totals_mol_per_L[0], strict=True))
    left = not_judged(per_L, median(fresh.clear.ph))
    if left:
        probability = {t: max(p, LEAST_DOUBT) for t, p in probability.items()}
        notes.append(
            f"No solubility is known, so not judged: {', '.join(left)}; that it stays clear is "
            "said no surer than 9 in 10"
        )
    loosely = not_judged(per_L, median(fresh.clear.ph), "complex")
    if loosely:
        probability = {t: min(p, 1.0 - LEAST_DOUBT) for t, p in probability.items()}
        notes.append(
            f"No constant is known of {', '.join(loosely)}; that solids show is said no surer "
            "than 9 in 10"
        )
    if not ok.all():
        notes.append(f"{int((~ok).sum())} of {count} draws found no equilibrium and are left out")
    return SolutionOdds(
        name=recipe.name,
        t_celsius=recipe.t_celsius,
        ph=median(fresh.clear.ph),
        ionic_strength_mol_per_kg=ionic,
        closed_by=closing,
        probability=None if beyond else probability,
        clogs=None if beyond else clogs,
        solids=_ranked([*_solids(states, ok, draws), *_colloids(loose, ok)]),
        notes=tuple(dict.fromkeys(notes)),
        draws=count,
        seed=seed,
    )


def _chances(
    states: Mapping[str, State], loose: Sequence[ColloidOutlook], ok: Any, draws: Draws
) -> tuple[dict[str, float], dict[str, float]]:
    show, clog = tables().value("show_limit"), tables().value("clog_limit")
    seen, full = np.zeros(draws.count), np.zeros(draws.count)
    shows, clogs = {}, {}
    for name, t in TIMES_S.items():
        now_seen, now_full = states[name].growing.filled(t)
        crystals = np.nan_to_num(states[name].crystals(t)).max(axis=1, initial=0.0)
        seen = np.maximum(seen, np.maximum(now_seen, crystals / show))
        fallen = sum((c.swollen_by(t) for c in loose), np.zeros(draws.count))
        full = np.maximum(full, now_full + crystals / clog + fallen / clog)
        for colloid in loose:
            seen = np.maximum(seen, colloid.amount_by(t) / show)
        shows[name] = chance(seen > 1.0, ok)
        clogs[name] = chance(full > 1.0, ok)
    return shows, clogs


def _solids(states: Mapping[str, State], ok: Any, draws: Draws) -> list[SolidOdds]:
    last = list(states.values())[-1]
    found = []
    for m, solid in enumerate(last.phases.solids):
        limit = limits()[solid.shows_as].shows_g_per_L
        odds, so_far = {}, np.zeros(draws.count)
        for name, t in TIMES_S.items():
            so_far = np.maximum(so_far, np.nan_to_num(states[name].amounts(t)[:, m]))
            odds[name] = chance(so_far > limit, ok)
        after = median(np.minimum(last.clouding[:, m], 1e12))
        found.append(
            SolidOdds(
                solid.key,
                solid.kinetics,
                median(last.si[:, m]),
                odds,
                after if after < 1e10 else None,
                float(np.nan_to_num(median(last.settled[:, m]))),
            )
        )
    for k, key in enumerate(last.cold.keys):
        odds = {}
        for name, state in states.items():
            out = np.nan_to_num(state.crystals(TIMES_S[name])[:, k])
            odds[name] = chance(out > limits()["crystals"].shows_g_per_L, ok)
        si = median(last.cold.si[:, k])
        if si > -0.3 or any(odds.values()):
            amount = float(np.nan_to_num(median(last.cold.amount_g_per_L[:, k])))
            found.append(SolidOdds(f"{key}_crystals", "soluble", si, odds, None, amount))
    return found


def _colloids(loose: Sequence[ColloidOutlook], ok: Any) -> list[SolidOdds]:
    show = tables().value("show_limit")
    return [
        SolidOdds(
            colloid.key,
            "colloid",
            None,
            {name: chance(colloid.amount_by(t) > show, ok) for name, t in TIMES_S.items()},
            median(colloid.after_s) if colloid.falls.any() else None,
            median(colloid.amount_g_per_L),
        )
        for colloid in loose
    ]


def _ranked(found: Sequence[SolidOdds]) -> tuple[SolidOdds, ...]:
    """Most pressing first."""

    def order(s: SolidOdds) -> tuple[float, ...]:
        return (-s.probability["24h"], -s.probability["30d"], -(s.si or 0.0))

    return tuple(sorted(found, key=order))
