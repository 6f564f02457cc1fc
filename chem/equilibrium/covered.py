"""How much of the ionic strength rests on measured interaction coefficients."""

from __future__ import annotations

import numpy as np

from chem.equilibrium.activity import Floats
from chem.equilibrium.outcome import Equilibrium


def coverage(state: Equilibrium) -> Floats:
    """(N,) share 0-1 of the cation-anion pairs, weighted m_i |z_i| m_j |z_j|, that is measured.

    Each pair counts by how much of the ionic strength meets in it; a pair whose coefficient is a
    charge rule's estimate is not covered.
    """
    m = np.nan_to_num(state.molality)
    z = state.system.charge
    cations = m * np.maximum(z, 0.0)
    anions = m * np.maximum(-z, 0.0)
    total = cations.sum(axis=1) * anions.sum(axis=1)
    guessed = state.system.estimated.sum(axis=0)
    missing = np.einsum("ni,ij,nj->n", cations, guessed, anions, optimize=True)
    return np.asarray(1.0 - missing / np.maximum(total, 1e-300))
