"""Where the iteration starts and how far a species may ever go."""

from __future__ import annotations

import numpy as np

from chem.equilibrium.activity import Floats
from chem.equilibrium.system import System

TOTAL_FLOOR = 1e-20
"""A component absent from one row of a batch stands at this total [mol/kg water]."""
START_PROTON_LN_M = float(np.log(1e-7))
FIRST_SHARE, SECOND_SHARE = 0.1, 1e-3
"""Where every species starts, as a share of its ceiling; the second for rows that go astray."""


def ceilings(system: System, totals_mol_per_kgw: Floats) -> Floats:
    """(N, S) ln of the largest molality that mass balance allows each species.

    min_c(T_c / nu_cs); for H+ and OH-, which no component bounds, twice the sum of all totals.
    """
    count = len(system.components)
    out = np.full((len(totals_mol_per_kgw), len(system.species)), np.inf)
    for c in range(count):
        users = system.nu[c] > 0
        bound = totals_mol_per_kgw[:, c, None] / system.nu[c, users]
        out[:, users] = np.minimum(out[:, users], bound)
    proton_bound = 1.0 + (totals_mol_per_kgw * (np.abs(system.component_charge) + 2.0)).sum(axis=1)
    free = np.isinf(out[0])
    out[:, free] = proton_bound[:, None]
    return np.asarray(np.log(out))


def first_guess(system: System, ceiling_ln: Floats, share: float) -> Floats:
    """(N, S) ln molalities: a share of each ceiling, H+ and OH- at 1e-7."""
    ln_m: Floats = ceiling_ln + np.log(share)
    bounded = (system.nu[: len(system.components)] > 0).any(axis=0)
    ln_m[:, ~bounded] = START_PROTON_LN_M
    return ln_m
