"""Candidate liquids of a jug before their pH is closed, and the charge each lacks over pH.

Where a liquid would cloud at a pH (hydroxides, rust), that is told beside its charge: what is sold
as a solution was clear (`keeps`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chem.equilibrium import Conditions, System, build_system, solve
from chem.label.keeps import ln_keeps
from chem.reference import Source, tables

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

LIKE = 8
"""Liquids of so many readings get charge curves of their own; the rarer share one."""


@dataclass(frozen=True)
class Made:
    """M liquids before their pH is closed.

    components: C keys; mol_per_kg: (M, C); water: (M,) [kg/kg]; volume: (M,) of what is dissolved
    [L/kg]; sources: n, amounts: (M, n) [kg/kg]; miss_eq: (M,) [eq/kg]; reading: (M,) which
    reading of the label each follows; bare: sources that only stand for ions of living matter.
    """

    components: tuple[str, ...]
    mol_per_kg: Floats
    water: Floats
    volume: Floats
    sources: tuple[Source, ...]
    amounts: Floats
    miss_eq: Floats
    reading: Integers
    bare: frozenset[str]

    def of(self, component: str) -> Floats:
        """(M,) mol/kg of one component."""
        if component not in self.components:
            return np.zeros(len(self.water))
        return self.mol_per_kg[:, self.components.index(component)]

    def rows(self, which: Integers) -> Made:
        """Some of the liquids."""
        return Made(
            self.components,
            self.mol_per_kg[which],
            self.water[which],
            self.volume[which],
            self.sources,
            self.amounts[which],
            self.miss_eq[which],
            self.reading[which],
            self.bare,
        )

    def middle(self) -> Made:
        """One liquid, the mean of all."""
        return Made(
            self.components,
            self.mol_per_kg.mean(axis=0, keepdims=True),
            self.water.mean(keepdims=True),
            self.volume.mean(keepdims=True),
            self.sources,
            self.amounts.mean(axis=0, keepdims=True),
            self.miss_eq.mean(keepdims=True),
            self.reading[:1],
            self.bare,
        )


def charges(components: Sequence[str]) -> Floats:
    """(C,) charge of each component's master."""
    return np.array([tables().components[c].charge for c in components], dtype=np.float64)


def per_kgw(made: Made, dilution: float) -> Floats:
    """(M,) kg of product per kg of water at a dilution by mass."""
    return np.asarray(dilution / (dilution * made.water + 1.0 - dilution + 1e-9))


def _owners(system: System) -> Integers:
    """(S,) the component whose protons a species carries, C for H+ and OH-."""
    count = len(system.components)
    rank = np.array(
        [2 if c == "NH4" else 1 if z < 0 or c in {"B", "Si"} else 0
         for c, z in zip(system.components, system.component_charge, strict=True)]
    )  # fmt: skip
    held = system.nu[:count] != 0.0
    best = np.where(held, rank[:, None], -1).argmax(axis=0)
    return np.where(held.any(axis=0), best, count)


def in_water(
    components: Sequence[str], mol_per_kg: Floats, share: Floats, dilution: float, tap_eq: float
) -> tuple[System, Floats]:
    """What a pH is read in: its system and totals (M, C) [mol/kg water].

    share: (M,) of `per_kgw`; tap_eq: alkalinity of the water [eq/kg], taken as calcium
    bicarbonate; 0 for distilled.
    """
    system = build_system({*components, *(("Ca", "CO3") if tap_eq else ())})
    totals = np.zeros((len(share), len(system.components)))
    for i, c in enumerate(components):
        totals[:, system.components.index(c)] = mol_per_kg[:, i] * share
    if tap_eq:
        water = share * (1.0 - dilution) / dilution
        totals[:, system.components.index("Ca")] += 0.5 * tap_eq * water
        totals[:, system.components.index("CO3")] += tap_eq * water
    return system, totals


@dataclass(frozen=True)
class Curves:
    """lacking: (M, K) base [eq/kg of product] that each liquid lacks at each pH of a window, acid
    below 0; ln_keeps: (M, K) ln of the chance that it holds its metals there."""

    lacking: Floats
    ln_keeps: Floats


def charge_curves(made: Made, dilution: float, window: Floats, tap_eq: float = 0.0) -> Curves:
    """What each liquid lacks at each pH of `window`, and whether it stays clear there.

    The protons that a mole of each component carries are solved for in the mean liquid of each
    reading, then taken by every liquid's own amounts. tap_eq: as `in_water`.
    """
    share = per_kgw(made, dilution)
    system, totals = in_water(made.components, made.mol_per_kg, share, dilution, tap_eq)
    group = _groups(made)
    count = int(group.max()) + 1
    means = np.array([totals[group == g].mean(axis=0) for g in range(count)])
    state = solve(
        system,
        np.repeat(np.maximum(means, 1e-12), len(window), axis=0),
        Conditions.nominal(system),
        ph=np.tile(window, count),
    )
    protons = np.nan_to_num(state.molality) * system.nu[-1]
    owner, size = _owners(system), len(system.components)
    carried = np.stack([protons[:, owner == c].sum(axis=1) for c in range(size + 1)], axis=1)
    carried = carried.reshape(count, len(window), size + 1)
    per_mole = carried[:, :, :size] / np.maximum(means, 1e-12)[:, None, :]
    own = system.component_charge + per_mole
    free = carried[:, :, size]
    solved = state.converged.reshape(count, len(window))
    out = np.empty((len(totals), len(window)))
    clear = np.zeros((len(totals), len(window)))
    keeps = ln_keeps(state).reshape(count, len(window))
    for g in range(count):
        mine = group == g
        out[mine] = -(totals[mine] @ own[g].T + free[g]) / share[mine][:, None]
        clear[mine] = np.where(solved[g], keeps[g], 0.0)
        bad = ~solved[g]
        if bad.any() and not bad.all():
            good = np.flatnonzero(~bad)
            for row in np.flatnonzero(mine):
                out[row] = np.interp(window, window[good], out[row, good])
    return Curves(out, clear)


def _groups(made: Made) -> Integers:
    """(M,) which mean liquid stands for each: one per reading, the rarer together."""
    kinds, place, often = np.unique(made.reading, return_inverse=True, return_counts=True)
    if len(kinds) <= LIKE:
        return np.asarray(place)
    common = np.argsort(-often)[: LIKE - 1]
    rank = np.full(len(kinds), LIKE - 1)
    rank[common] = np.arange(LIKE - 1)
    return rank[place]
