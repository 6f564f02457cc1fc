"""When a jug salts out or freezes, from measured tables of its own system alone.

A table holds where one salt, or one pair of salts, makes up nearly all that is dissolved. The rest
counts as more of it, which errs on the warm side. Nothing is carried past the ends of a table.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chem.reference import catalogue, molar_mass_g_per_mol, tables
from chem.reference.liquidus import Liquidus, liquiduses

Floats = NDArray[np.float64]
LEAST_EXPLAINED = 0.92
"""Share of the dissolved mass that the table's salts must make up (common practice, no source)."""
END_SLACK_PERCENT = 1.5
"""A liquid so little weaker than the coldest point of a table is counted as that point."""
LEAST_ICE_POINTS = 3
STEP_K = 0.1
CHAINS = {"PO4": 1.0, "P2O7": 2.0, "P3O10": 3.0}


@dataclass(frozen=True)
class SaltingOut:
    """Per draw (N,): the system whose table holds, as an index of `systems`, -1 where none does.

    salt_celsius: below which salt comes out, -inf where ice comes first, inf where more is
    dissolved than the table ever holds, NaN where not told;
    ice_celsius: below which ice comes, NaN where not told; u_K: of the line; reason: why a draw is
    not told, as an index of `reasons`, -1 where it is.
    """

    systems: tuple[str, ...]
    system: NDArray[np.int64]
    salt_celsius: Floats
    ice_celsius: Floats
    u_K: Floats
    reasons: tuple[str, ...]
    reason: NDArray[np.int64]


def salting_out(
    components: tuple[str, ...], mol_per_kg: Floats, water_kg_per_kg: Floats
) -> SaltingOut:
    """Hold each draw of a jug against the tables.

    Args:
        components: C keys; mol_per_kg: (N, C) per kg of product; water_kg_per_kg: (N,).
    """
    n = len(water_kg_per_kg)
    dissolved = np.maximum(1.0 - water_kg_per_kg, 1e-9)
    found = list(liquiduses().values())
    share = np.array([_explained(x, components, mol_per_kg, dissolved) for x in found])
    best = share.argmax(axis=0)
    holds = share[best, np.arange(n)] >= LEAST_EXPLAINED
    salt, ice, u = (np.full(n, np.nan) for _ in range(3))
    reasons = ["no measured table holds for this mixture of salts"]
    reason = np.where(holds, -1, 0)
    w = 100.0 * dissolved
    for k in np.unique(best[holds]):
        rows = np.flatnonzero(holds & (best == k))
        table = found[k]
        salt[rows], told = _highest(table, w[rows])
        u[rows] = max(line.u_K for line in table.lines)
        if table.ice is not None and len(table.ice.w_percent) >= LEAST_ICE_POINTS:
            order = np.argsort(table.ice.w_percent)
            percent = np.concatenate([[0.0], table.ice.w_percent[order]])
            at = np.interp(w[rows], percent, np.concatenate([[0.0], table.ice.t_celsius[order]]))
            ice[rows] = np.where(w[rows] <= percent[-1], at, np.nan)
        for missing, text in ((told < 0, "coldest"), (told > 0, "warmest")):
            if missing.any():
                end = table.coldest if text == "coldest" else table.warmest
                reasons.append(f"the measured table of {table.key} ends at {end:g} C")
                reason[rows[missing]] = len(reasons) - 1
    return SaltingOut(
        tuple(x.key for x in found),
        np.where(holds, best, -1),
        salt,
        ice,
        u,
        tuple(reasons),
        reason,
    )


def _explained(
    table: Liquidus, components: tuple[str, ...], mol_per_kg: Floats, dissolved: Floats
) -> Floats:
    """(N,) share of the dissolved mass that the table's salts make up; 0 outside its limits."""

    def of(component: str) -> Floats:
        if component not in components:
            return np.zeros(len(dissolved))
        return mol_per_kg[:, components.index(component)]

    if not table.salts:
        return _polyphosphate(table, of("NH4"), {c: of(c) for c in CHAINS}, dissolved)
    known = [catalogue().sources[key] for key in table.salts]
    masses = []
    for source in known:
        others = {c for s in known if s is not source for c in s.components}
        own = [c for c in source.components if c not in others] or list(source.components)
        moles = np.min([of(c) / source.components[c] for c in own], axis=0)
        dry = source.molar_mass * (1.0 - source.water_share)
        masses.append(moles * dry / 1000.0)
    # More than all of it is as far off as less: borax holds four times as much boric acid.
    share = 1.0 - np.abs(1.0 - sum(masses) / dissolved)
    limit = table.limits.get("ratio of the first to the second")
    if limit is not None:
        ratio = masses[0] / np.maximum(masses[1], 1e-12)
        share = np.where((ratio >= limit[0]) & (ratio <= limit[1]), share, 0.0)
    return np.asarray(share)


def _polyphosphate(
    table: Liquidus, ammonium: Floats, chains: dict[str, Floats], dissolved: Floats
) -> Floats:
    phosphorus = sum(CHAINS[c] * m for c, m in chains.items()) + np.zeros(len(dissolved))
    per = ammonium / np.maximum(phosphorus, 1e-12)
    linked = 1.0 - chains["PO4"] / np.maximum(phosphorus, 1e-12)
    low, high = table.limits["ammonium per phosphorus"]
    least, most = table.limits["linked share of phosphorus"]
    known = tables().components
    mass = ammonium * molar_mass_g_per_mol(known["NH4"].formula)
    acid = 3.0 * chains["PO4"] + 4.0 * chains["P2O7"] + 5.0 * chains["P3O10"] - ammonium
    mass = mass + np.maximum(acid, 0.0) * molar_mass_g_per_mol("H")
    for component, moles in chains.items():
        mass = mass + moles * molar_mass_g_per_mol(known[component].formula)
    inside = (per >= low) & (per <= high) & (linked >= least) & (linked <= most)
    return np.where(inside, mass / 1000.0 / dissolved, 0.0)


def _highest(table: Liquidus, w_percent: Floats) -> tuple[Floats, NDArray[np.int64]]:
    """(R,) highest temperature at which a liquid of w holds too much, and whether it is told.

    -inf where ice comes before any salt, NaN where the table ends first in the cold (told -1), inf
    where more is dissolved than it holds at its warm end (told 1).
    """
    t = np.arange(table.coldest, table.warmest + STEP_K / 2, STEP_K)
    limit = table.saturated_percent(t)
    over = w_percent[:, None] > limit[None, :]
    if not table.ends_in_ice:
        over[:, 0] |= w_percent > limit[0] - END_SLACK_PERCENT
    any_over = over.any(axis=1)
    last = len(t) - 1 - over[:, ::-1].argmax(axis=1)
    out = np.where(any_over, t[np.maximum(last, 0)], -np.inf if table.ends_in_ice else np.nan)
    too_much = over[:, -1] & (len(t) > 1)
    told = np.where(too_much, 1, np.where(any_over | table.ends_in_ice, 0, -1))
    return np.where(too_much, np.inf, out), told
