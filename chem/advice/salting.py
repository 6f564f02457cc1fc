"""What crystallises in the jug as it cools, from the solubility tables."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from chem.doubts import Draws
from chem.equilibrium import Conditions, build_system, solve
from chem.equilibrium.activity import Floats
from chem.forecast.crystals import crystals
from chem.label import Contents

DILUTED = 0.1
WARM_CELSIUS = 25.0
GRID_CELSIUS = np.arange(-15.0, 36.0, 3.0)


@dataclass(frozen=True)
class JugCrystals:
    """Salts of a jug: si (N, K) at `coldest`, si_warm at 25 degC; t_salt_out_celsius (N, K): the
    highest temperature at which each is over its limit, -inf where it never is on -15 to 33 degC.
    """

    keys: tuple[str, ...]
    names: tuple[str, ...]
    si: Floats
    si_warm: Floats
    t_salt_out_celsius: Floats


def jug_crystals(inside: Contents, coldest_celsius: float, draws: Draws) -> JugCrystals:
    """Hold a neat jug against the saturated solutions of its salts.

    No activity model reaches a neat jug (I = 10 to 20), so the share of each ion that is free, or
    protonated, is taken from one part in ten of water and scaled up to the jug.
    """
    if not inside.components:
        nothing = np.zeros((draws.count, 0))
        return JugCrystals((), (), nothing, nothing, nothing)
    system = build_system(inside.components)
    order = [inside.components.index(c) for c in system.components]
    water = np.maximum(inside.water_kg_per_kg, 0.02)
    thin = DILUTED / (DILUTED * water + 1.0 - DILUTED)
    state = solve(
        system, inside.mol_per_kg[:, order] * thin[:, None], Conditions.nominal(system, 20.0)
    )
    scale = 1.0 / (water * thin)
    jug = replace(
        state,
        ln_molality=state.ln_molality + np.log(scale)[:, None],
        ionic_strength=state.ionic_strength * scale,
    )
    per_L = water * inside.density_kg_per_L
    at_cold = crystals(jug, per_L, coldest_celsius, draws)
    over = np.stack([crystals(jug, per_L, t, draws).si for t in GRID_CELSIUS])
    at_warm = crystals(jug, per_L, WARM_CELSIUS, draws)
    return JugCrystals(at_cold.keys, at_cold.names, at_cold.si, at_warm.si, _highest(over))


def _highest(over: Floats) -> Floats:
    """(N, K) highest temperature at which SI (T, N, K) passes zero, by straight lines between."""
    out = np.full(over.shape[1:], -np.inf)
    for i in range(len(GRID_CELSIUS) - 1):
        low, high = over[i], over[i + 1]
        crosses = (low > 0.0) & (high <= 0.0)
        step = GRID_CELSIUS[i + 1] - GRID_CELSIUS[i]
        with np.errstate(invalid="ignore", divide="ignore"):
            t = GRID_CELSIUS[i] + step * low / (low - high)
        out = np.where(crosses, t, out)
    return np.where(over[-1] > 0.0, GRID_CELSIUS[-1], out)
