"""Why one solid comes out of a tank, or why not: its ions, who holds them, the pH."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from chem.advice.origins import IRON, holders, origins, ph_driver
from chem.doubts import median
from chem.equilibrium import solve
from chem.forecast import THRESHOLD, TIMES_S, Followed, State, Study, show_limit
from chem.reference import Solid, molar_mass_g_per_mol

PH_STEP = 0.5
LEAST_HOLD = 0.01


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


def chances(seen: Followed, m: int) -> dict[str, float]:
    """Time -> chance that the solid of a column shows by then."""
    return {t: seen.part_odds(out.salts[:, m] > show_limit()) for t, out in seen.out.items()}


def reason(study: Study, seen: Followed, m: int, judged_at: str, threatens: bool) -> Reason:
    """The solid of a column: why it comes out by the time judged, or why not."""
    ready, n = seen.ready, study.count
    chance = chances(seen, m)
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
                origins(ready, component, TIMES_S[when], shows),
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
