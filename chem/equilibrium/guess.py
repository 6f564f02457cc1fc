"""Where the iteration starts and how far a species may ever go. Arrays run species x rows."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from chem.equilibrium.activity import Floats
from chem.equilibrium.system import System

TOTAL_FLOOR = 1e-20
"""A component absent from one row of a batch stands at this total [mol/kg water]."""
START_PROTON_LN_M = float(np.log(1e-7))
FIRST_SHARE, SECOND_SHARE = 0.1, 1e-3
"""Where every species starts, as a share of its ceiling; the second for rows that go astray."""


def ceilings(system: System, totals_mol_per_kgw: Floats) -> Floats:
    """(S, n) ln of the largest molality that mass balance allows each species.

    min_c(T_c / nu_cs) of totals (C, n) [mol/kg water]; for H+ and OH-, which no component bounds,
    more than the sum of all totals and their charges.
    """
    weight = np.abs(system.component_charge) + 2.0
    ln_totals = np.log(totals_mol_per_kgw)
    components, ln_counts = _bounds(system)
    out = np.full((len(system.species), ln_totals.shape[1]), np.inf)
    for component, ln_count in zip(components, ln_counts, strict=True):
        np.minimum(out, ln_totals[component] - ln_count[:, None], out=out)
    out[_unbounded(system)] = np.log(1.0 + weight @ totals_mol_per_kgw)
    return out


@lru_cache(maxsize=32)
def _bounds(system: System) -> tuple[NDArray[np.int64], Floats]:
    """(most, S) the components of each species, the first again where it has fewer, and ln nu."""
    nu = system.nu[:-1] * (system.nu[:-1] > 0.0)
    most = max(1, int((nu > 0.0).sum(axis=0).max()))
    components = np.argsort(-nu, axis=0, kind="stable")[:most]
    counts = np.take_along_axis(nu, components, axis=0)
    components = np.where(counts > 0.0, components, components[0])
    return components, np.log(np.where(counts > 0.0, counts, np.maximum(counts[0], 1e-300)))


def first_guess(system: System, ceiling_ln: Floats, share: float) -> Floats:
    """(S, n) ln molalities: a share of each ceiling, H+ and OH- at 1e-7."""
    ln_m: Floats = ceiling_ln + np.log(share)
    ln_m[_unbounded(system)] = START_PROTON_LN_M
    return ln_m


def _unbounded(system: System) -> NDArray[np.bool_]:
    return np.asarray((system.nu[:-1] <= 0.0).all(axis=0))
