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

from dataclasses import dataclass, fields
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from chem.equilibrium.activity import Floats
from chem.equilibrium.elimination import Elimination, solve_each
from chem.equilibrium.medium import Scratch
from chem.equilibrium.system import Phases, System


@dataclass(frozen=True)
class Solids:
    """Solids in equilibrium with a batch: up to K in a row, each row its own.

    nu: (C+1, K, n) in the order of elimination, 0 where a row has fewer; water, ln_ksp: (K, n);
    present: (K, n); which: (K, n) columns of the phases.
    """

    nu: Floats
    water: Floats
    ln_ksp: Floats
    present: NDArray[np.bool_]
    which: NDArray[np.int64]

    @classmethod
    def of(
        cls, phases: Phases, order: NDArray[np.int64], active: NDArray[np.bool_], ln_ksp: Floats
    ) -> Solids:
        """From (n, M) arrays."""
        most = int(active.sum(axis=1).max(initial=0))
        which = np.argsort(~active, axis=1, kind="stable")[:, :most]
        present = np.take_along_axis(active, which, axis=1).T
        which = which.T
        nu, water = phases.nu[order][:, which] * present, phases.water[which] * present
        return cls(nu, water, np.take_along_axis(ln_ksp.T, which, axis=0), present, which)

    def pick(self, columns: NDArray[np.int64]) -> Solids:
        """Some of the rows."""
        return Solids(*(getattr(self, f.name)[..., columns] for f in fields(self)))

    def held(self, amounts: Floats) -> Floats:
        """(C+1, n) what amounts (K, n) hold of the components."""
        return np.asarray((self.nu * amounts).sum(axis=1))

    def spread(self, amounts: Floats, count: int) -> Floats:
        """(n, count) amounts by phase."""
        out = np.zeros((amounts.shape[1], count))
        np.put_along_axis(out, self.which.T, np.where(self.present, amounts, 0.0).T, axis=1)
        return out


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
        self._pairs = i[linked], j[linked]
        self._products = self.nu[i[linked]] * self.nu[j[linked]]
        # Where each element of the matrix stands among the linked pairs; the last holds zero.
        self._place = np.full((len(self.nu), len(self.nu)), linked.sum())
        self._place[*self._pairs] = self._place[*self._pairs[::-1]] = np.arange(linked.sum())

    def solve(
        self,
        molality: Floats,
        above: Floats,
        totals: Floats,
        ln_h: Floats | None,
        solids: Solids | None,
        ln_water_activity: Floats,
        direct: bool,
        scratch: Scratch,
    ) -> tuple[Floats, Floats, Floats]:
        """Potentials x (C+1, n), delta ln m (S, n), amounts of solids (K, n) [mol/kg water].

        molality: (S, n); above: (S, n) 1 + ln K' - ln m; totals: (C+1, n), T_H last; ln_h: (n,) ln
        activity of H+ where the pH is given; direct: without pivots; solids need them, by LAPACK.
        """
        weighted = np.multiply(molality, above, out=scratch("weighted", *molality.shape))
        right = np.matmul(self.nu, weighted, out=scratch("right", *totals.shape))
        np.subtract(totals, right, out=right)
        if direct:
            entries = self._elimination.entries
            filled = scratch("filled", len(entries) + len(right), right.shape[1])
            np.matmul(entries, molality, out=filled[: len(entries)])
            x = self._elimination.solve(filled, right, ln_h, scratch)
            amounts = right[:0]
        else:
            x, amounts = self._pivoted(molality, right, totals, ln_h, solids, ln_water_activity)
        full = scratch("full", len(x) + 1, x.shape[1])
        full[:-1], full[-1] = x, 1.0
        change = np.matmul(self._changes, full, out=scratch("change", *above.shape))
        change += above
        return x, change, amounts

    def _pivoted(
        self,
        molality: Floats,
        right: Floats,
        totals: Floats,
        ln_h: Floats | None,
        solids: Solids | None,
        ln_water_activity: Floats,
    ) -> tuple[Floats, Floats]:
        size, n = right.shape
        extra = 0 if solids is None else len(solids.water)
        i, j = self._pairs
        filled = np.zeros((len(self._products) + 1, n))
        np.matmul(self._products, molality, out=filled[:-1])
        diagonal = filled[:-1][i == j]
        if solids is not None:
            # A component that a solid holds nearly all of is known from the solid's row, which the
            # little left in solution must not outweigh.
            np.maximum(diagonal, np.abs(totals), out=diagonal, where=solids.nu.any(axis=1))
        scale = np.ones((size + extra, n))
        scale[:size] = 1.0 / np.sqrt(np.where(diagonal > 0.0, diagonal, 1.0))
        if ln_h is not None:
            scale[size - 1] = 1.0
        filled[:-1] *= scale[i]
        filled[:-1] *= scale[j]
        matrix = np.zeros((n, size + extra, size + extra))
        matrix[:, :size, :size] = filled[self._place].transpose(2, 0, 1)
        full = np.zeros((size + extra, n))
        full[:size] = right
        if solids is not None:
            link = solids.nu * scale[:size, None]
            heaviest = np.abs(link).max(axis=0)
            scale[size:] = np.where(solids.present, 1.0 / np.maximum(heaviest, 1e-300), 1.0)
            link *= scale[size:]
            matrix[:, :size, size:] = link.transpose(2, 0, 1)
            matrix[:, size:, :size] = link.transpose(2, 1, 0)
            spare = np.arange(size, size + extra)
            matrix[:, spare, spare] = ~solids.present.T
            target = solids.ln_ksp - solids.water * ln_water_activity
            full[size:] = np.where(solids.present, target, 0.0)
        if ln_h is not None:
            matrix[:, size - 1, :] = 0.0
            matrix[:, size - 1, size - 1] = 1.0
            full[size - 1] = ln_h
        full *= scale
        solution = solve_each(matrix, full.T).T * scale
        return solution[:size], solution[size:]


@lru_cache(maxsize=32)
def newton_step(system: System) -> NewtonStep:
    """The step of a system, kept for the next call."""
    return NewtonStep(system)
