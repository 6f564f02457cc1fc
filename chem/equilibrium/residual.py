"""One Newton step of the Gibbs minimiser, for a batch of rows.

Primal-dual form of the RAND method (White, Johnson and Dantzig, J. Chem. Phys. 28 (1958) 751;
Gordon and McBride, NASA RP-1311, 1994): with activity coefficients held for one step,

    delta ln m = ln K' - ln m + nu^T x
    (nu diag(m) nu^T) x + nu_s n = T - nu [m (1 + ln K' - ln m)]
    nu_s^T x = ln Ksp - n_w ln a_w                      (one row per solid present)

x = ln activity of the components and H+, n = amounts of solids. Proton balance
T_H = -sum_c z_c T_c is electroneutrality without cancellation of the large totals.
Arrays run species x rows, as in `medium`; components stand in the order of elimination.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from chem.equilibrium.activity import Floats
from chem.equilibrium.elimination import Elimination, solve_each
from chem.equilibrium.medium import Scratch
from chem.equilibrium.system import Phases, System


@dataclass(frozen=True)
class Solids:
    """Solids in equilibrium with a batch.

    nu: (C+1, M) in the order of elimination; water: (M,); active: (M, n) which; ln_ksp: (M, n).
    """

    nu: Floats
    water: Floats
    active: NDArray[np.bool_]
    ln_ksp: Floats

    def columns(self, keep: NDArray[np.int64]) -> Solids:
        """Some of the rows."""
        return Solids(self.nu, self.water, self.active[:, keep], self.ln_ksp[:, keep])

    @classmethod
    def of(
        cls, phases: Phases, order: NDArray[np.int64], active: NDArray[np.bool_], ln_ksp: Floats
    ) -> Solids:
        """From (n, M) arrays."""
        return cls(phases.nu[order], phases.water, active.T, ln_ksp.T)


class NewtonStep:
    """Assembles and solves the linear system of one step.

    Attributes:
        order: (C+1,) components as x has them; nu: (C+1, S) in that order.
    """

    def __init__(self, system: System) -> None:
        self._elimination = Elimination(system.nu)
        self.order = self._elimination.order
        self.nu = system.nu[self.order]
        # delta ln m = nu^T x + (1 + residual) - 1: the last column takes the one away again.
        self._changes = np.concatenate([self.nu, np.full((1, self.nu.shape[1]), -1.0)]).T.copy()
        i, j = np.triu_indices(len(self.nu))
        linked = ((self.nu[i] != 0.0) & (self.nu[j] != 0.0)).any(axis=1)
        self._i, self._j = i[linked], j[linked]
        self._products = self.nu[self._i] * self.nu[self._j]

    def right(self, molality: Floats, above: Floats, totals: Floats, scratch: Scratch) -> Floats:
        """(C+1, n) T - nu [m (1 + residual)]; above: (S, n) 1 + ln K' - ln m."""
        weighted = np.multiply(molality, above, out=scratch("weighted", *molality.shape))
        held = np.matmul(self.nu, weighted, out=scratch("held", *totals.shape))
        return np.subtract(totals, held, out=held)

    def change(self, x: Floats, above: Floats, scratch: Scratch) -> Floats:
        """(S, n) delta ln m."""
        n = x.shape[1]
        full = scratch("full", len(x) + 1, n)
        full[:-1] = x
        full[-1] = 1.0
        out = np.matmul(self._changes, full, out=scratch("change", *above.shape))
        out += above
        return out

    def direct(
        self, molality: Floats, right: Floats, fixed_ln_h: Floats | None, scratch: Scratch
    ) -> Floats:
        """Potentials x (C+1, n) without solids, by elimination without pivots.

        molality: (S, n); right: (C+1, n), overwritten; fixed_ln_h: (n,) ln activity of a given pH.
        """
        entries = self._elimination.entries
        filled = scratch("filled", len(entries) + len(right), right.shape[1])
        np.matmul(entries, molality, out=filled[: len(entries)])
        return self._elimination.solve(filled, right, fixed_ln_h, scratch)

    def pivoted(
        self,
        molality: Floats,
        right: Floats,
        totals: Floats,
        fixed_ln_h: Floats | None,
        solids: Solids | None,
        ln_water_activity: Floats,
    ) -> tuple[Floats, Floats]:
        """Potentials x (C+1, n) and amounts of solids (M, n) [mol/kg water], row by row.

        molality: (S, n); right, totals: (C+1, n), T_H last; fixed_ln_h: (n,).
        """
        size, n = right.shape
        extra = 0 if solids is None else len(solids.water)
        filled = self._products @ molality
        matrix = np.zeros((n, size + extra, size + extra))
        matrix[:, self._i, self._j] = matrix[:, self._j, self._i] = filled.T
        diagonal = filled[self._i == self._j]
        if solids is not None:
            # A component that a solid holds nearly all of is known from the solid's row, which the
            # little left in solution must not outweigh.
            in_solids = np.abs(solids.nu) @ solids.active > 0.0
            np.maximum(diagonal, np.abs(totals), out=diagonal, where=in_solids)
        scale = np.ones((n, size + extra))
        scale[:, :size] = 1.0 / np.sqrt(np.where(diagonal > 0.0, diagonal, 1.0)).T
        if fixed_ln_h is not None:
            scale[:, size - 1] = 1.0
        full = np.zeros((n, size + extra))
        full[:, :size] = right.T
        if solids is not None:
            active = solids.active.T
            link = active[:, None, :] * solids.nu
            heaviest = np.abs(link * scale[:, :size, None]).max(axis=1)
            scale[:, size:] = np.where(active, 1.0 / np.maximum(heaviest, 1e-300), 1.0)
            matrix[:, :size, size:] = link
            matrix[:, size:, :size] = np.swapaxes(link, 1, 2)
            spare = np.arange(size, size + extra)
            matrix[:, spare, spare] = ~active
            target = solids.ln_ksp - solids.water[:, None] * ln_water_activity
            full[:, size:] = np.where(active, target.T, 0.0)
        matrix *= scale[:, :, None]
        matrix *= scale[:, None, :]
        if fixed_ln_h is not None:
            matrix[:, size - 1, :] = 0.0
            matrix[:, size - 1, size - 1] = 1.0
            full[:, size - 1] = fixed_ln_h
        solution = solve_each(matrix, full * scale) * scale
        return solution[:, :size].T.copy(), solution[:, size:].T.copy()


@lru_cache(maxsize=64)
def newton_step(system: System) -> NewtonStep:
    """The step of a system, kept for the next call."""
    return NewtonStep(system)
