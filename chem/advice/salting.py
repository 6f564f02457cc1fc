"""What crystallises in a jug as it cools: measured tables where one holds, SIT for weak ones."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chem.doubts import Draws
from chem.equilibrium import Conditions, build_system, solve
from chem.equilibrium.activity import Floats
from chem.forecast.crystals import crystals
from chem.label import Contents
from chem.label.salting import salting_out
from chem.reference import tables

Integers = NDArray[np.int64]
GRID_CELSIUS = np.arange(0.0, 41.0, 2.0)
"""Where the solubility tables of `soluble_salts.csv` hold."""
NOTHING_ABOVE = "nothing comes out above 0 C, where the tables of such a weak mixture end"


@dataclass(frozen=True)
class JugCold:
    """A jug in the cold, per draw (N,).

    t_celsius: below which salt comes out, -inf where ice comes first, NaN where it can't be
    judged; ice_celsius: below which ice comes, NaN where not told; name: of what comes out, by
    index of `names`, -1 where nothing is told; reason: why not, by index of `reasons`, or -1.
    """

    t_celsius: Floats
    ice_celsius: Floats
    names: tuple[str, ...]
    name: Integers
    reasons: tuple[str, ...]
    reason: Integers


def jug_cold(inside: Contents, draws: Draws) -> JugCold:
    """Hold a neat jug against the measured table of its system, or, where none holds and the
    activity model does (I up to 4), against the saturated solutions of its salts."""
    n = draws.count
    by_table = salting_out(inside.components, inside.mol_per_kg, inside.water_kg_per_kg)
    spread = draws.normal("salting out", 0.0, 1.0)
    t = by_table.salt_celsius + np.nan_to_num(by_table.u_K) * spread
    names = list(by_table.systems)
    name, reasons, reason = by_table.system.copy(), list(by_table.reasons), by_table.reason.copy()
    rest = np.flatnonzero(by_table.system < 0)
    if rest.size and inside.components:
        system = build_system(inside.components)
        order = [inside.components.index(c) for c in system.components]
        water = np.maximum(inside.water_kg_per_kg, 0.02)
        totals = inside.mol_per_kg[:, order] / water[:, None]
        state = solve(system, totals, Conditions.nominal(system, 20.0))
        weak = state.converged & (state.ionic_strength <= tables().value("ionic_strength_valid"))
        weak &= by_table.system < 0
        if weak.any():
            per_L = water * inside.density_kg_per_L
            steps = [crystals(state, per_L, at, draws) for at in GRID_CELSIUS]
            highest = _highest(np.stack([s.si for s in steps]))
            here = np.nan_to_num(highest, nan=-np.inf).max(axis=1, initial=-np.inf)
            which = np.nan_to_num(highest, nan=-np.inf)
            told = weak & np.isfinite(here)
            t = np.where(told, here, np.where(weak, np.nan, t))
            if which.shape[1]:
                name = np.where(told, len(names) + which.argmax(axis=1), name)
            names += steps[0].names
            reasons.append(NOTHING_ABOVE)
            reason = np.where(told, -1, np.where(weak, len(reasons) - 1, reason))
    assert len(t) == n
    return JugCold(t, by_table.ice_celsius, tuple(names), name, tuple(reasons), reason)


def _highest(over: Floats) -> Floats:
    """(N, K) highest temperature at which SI (T, N, K) passes zero, by straight lines between;
    -inf where it never is over, inf where it is over at the warm end."""
    out = np.full(over.shape[1:], -np.inf)
    for i in range(len(GRID_CELSIUS) - 1):
        low, high = over[i], over[i + 1]
        crosses = (low > 0.0) & (high <= 0.0)
        step = GRID_CELSIUS[i + 1] - GRID_CELSIUS[i]
        with np.errstate(invalid="ignore", divide="ignore"):
            t = GRID_CELSIUS[i] + step * low / (low - high)
        out = np.where(crosses, t, out)
    return np.where(over[-1] > 0.0, np.inf, out)
