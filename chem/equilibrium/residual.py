"""One Newton step of the Gibbs minimiser, for a batch of rows.

Primal-dual form of the RAND method (White, Johnson and Dantzig, J. Chem. Phys. 28 (1958) 751;
Gordon and McBride, NASA RP-1311, 1994): with activity coefficients held for one step,

    delta ln m = ln K' - ln m + nu^T x
    (nu diag(m) nu^T) x + nu_s n = T - nu [m (1 + ln K' - ln m)]
    nu_s^T x = ln Ksp - n_w ln a_w                      (one row per solid present)

x = ln activity of the components and H+, n = amounts of solids. Proton balance
T_H = -sum_c z_c T_c is electroneutrality without cancellation of the large totals.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chem.equilibrium.activity import (
    LN10,
    MOLAR_MASS_WATER_KG,
    Floats,
    osmotic_debye_hueckel,
)
from chem.equilibrium.system import Phases, System

IONIC_STRENGTH_FLOOR = 1e-9


class Scratch:
    """Arrays used again and again: fresh temporaries cost a step more than its arithmetic."""

    def __init__(self) -> None:
        self._held: dict[str, Floats] = {}

    def __call__(self, name: str, *shape: int) -> Floats:
        """An uninitialised array; the same name overwrites what it gave before."""
        size = math.prod(shape)
        flat = self._held.get(name)
        if flat is None or flat.size < size:
            flat = self._held[name] = np.empty(size)
        return flat[:size].reshape(shape)


@dataclass(frozen=True)
class Medium:
    """Activities in a batch: ionic strength [mol/kg], ln gamma (N, S), ln a_w (N,).

    ln_gamma is scratch: it holds until the next call.
    """

    ionic_strength: Floats
    ln_gamma: Floats
    ln_water_activity: Floats


class ActivityModel:
    """SIT for one system at one temperature; `shifts` (N, 3) move the estimated coefficients."""

    def __init__(self, system: System, t_celsius: float) -> None:
        self._z2 = system.charge**2
        self._a = system.debye_hueckel(t_celsius)
        self._ba = system.ba
        self._log_limit = system.log_limit
        self._eps = system.eps_at(t_celsius)
        self._log_columns = np.flatnonzero(np.any(system.eps1 != 0.0, axis=0))
        self._eps1 = np.ascontiguousarray(system.eps1[:, self._log_columns])
        columns, self._group = system.estimate_groups
        self._classes, size, self._groups = columns.shape
        self._estimated = np.ascontiguousarray(columns.swapaxes(0, 1)).reshape(size, -1)

    def medium(self, molality: Floats, shifts: Floats | None, scratch: Scratch) -> Medium:
        """Activity coefficients and water activity at molalities (N, S) [mol/kg]."""
        n, size = molality.shape
        ionic = np.maximum(0.5 * (molality @ self._z2), IONIC_STRENGTH_FLOOR)
        root = np.sqrt(ionic)
        eps_m = np.matmul(molality, self._eps, out=scratch("eps_m", n, size))
        spare = scratch("spare", n, size)
        if self._log_columns.size:
            log_i = np.log10(np.minimum(ionic, self._log_limit))
            eps_m[:, self._log_columns] += log_i[:, None] * (molality @ self._eps1)
        if shifts is not None:
            width = self._classes * self._groups
            each = np.matmul(molality, self._estimated, out=scratch("each", n, width))
            moved = np.einsum("nk,nkg->ng", shifts, each.reshape(n, self._classes, -1))
            eps_m += np.take(moved, self._group, axis=1, out=spare, mode="clip")
        pairs = 0.5 * LN10 * np.einsum("ns,ns->n", molality, eps_m)
        osmotic_sum = molality.sum(axis=1) - osmotic_debye_hueckel(root, self._a, self._ba) + pairs
        base = -self._a * root / (1.0 + self._ba * root)
        eps_m += np.multiply(base[:, None], self._z2, out=spare)
        eps_m *= LN10
        return Medium(ionic, eps_m, -MOLAR_MASS_WATER_KG * osmotic_sum)


def proton_total(system: System, totals_mol_per_kgw: Floats) -> Floats:
    """(N,) T_H [mol/kg] from electroneutrality over the totals (N, C)."""
    return -(totals_mol_per_kgw @ system.component_charge)


class NewtonStep:
    """Assembles and solves the linear system of one step."""

    def __init__(self, system: System) -> None:
        self._nu = system.nu
        self._nu_t = np.ascontiguousarray(system.nu.T)
        size = self._rows = system.nu.shape[0]
        self._i, self._j, self._products = system.linked
        # Where each element of the matrix stands among the linked pairs; the last holds zero.
        place = np.full((size, size), len(self._i))
        place[self._i, self._j] = place[self._j, self._i] = np.arange(len(self._i))
        self._place = place.ravel()
        self._diagonal = np.diagonal(place).copy()

    def solve(
        self,
        molality: Floats,
        residual: Floats,
        totals: Floats,
        fixed_ln_h: Floats | None,
        phases: Phases | None,
        active: NDArray[np.bool_] | None,
        ln_ksp: Floats | None,
        ln_water_activity: Floats,
        scratch: Scratch,
    ) -> tuple[Floats, Floats]:
        """Potentials x (N, C+1) and amounts of solids (N, M) [mol/kg water].

        molality, residual: (N, S); totals: (N, C+1) with T_H last; fixed_ln_h: (N,) ln activity
        of H+ where the pH is given; active, ln_ksp: (N, M).
        """
        n, species = molality.shape
        size, count = self._rows, len(self._i)
        extra = 0 if phases is None else len(phases)
        h = size - 1
        filled = np.matmul(molality, self._products, out=scratch("filled", n, count))
        scale = np.ones((n, size + extra))
        diagonal = filled[:, self._diagonal]
        if phases is not None and active is not None:
            # A component that a solid holds nearly all of is known from the solid's row, which the
            # little left in solution must not outweigh.
            in_solids = active.astype(float) @ (phases.nu != 0.0).T > 0.0
            np.maximum(diagonal, np.abs(totals), out=diagonal, where=in_solids)
        np.sqrt(diagonal, out=diagonal)
        diagonal[diagonal == 0.0] = 1.0
        np.divide(1.0, diagonal, out=scale[:, :size])
        if fixed_ln_h is not None:
            scale[:, h] = 1.0
        filled *= scale[:, self._i]
        filled *= scale[:, self._j]
        padded = scratch("padded", n, count + 1)
        padded[:, :count] = filled
        padded[:, count] = 0.0
        block = np.take(
            padded, self._place, axis=1, out=scratch("block", n, size * size), mode="clip"
        ).reshape(n, size, size)
        weighted = np.add(residual, 1.0, out=scratch("weighted", n, species))
        weighted *= molality
        right = np.zeros((n, size + extra))
        right[:, :size] = totals - weighted @ self._nu_t
        matrix = block
        if phases is not None and active is not None and ln_ksp is not None:
            link = active[:, None, :] * phases.nu[None, :, :] * scale[:, :size, None]
            heaviest = np.abs(link).max(axis=1)
            scale[:, size:] = np.where(active, 1.0 / np.maximum(heaviest, 1e-300), 1.0)
            link *= scale[:, None, size:]
            matrix = np.zeros((n, size + extra, size + extra))
            matrix[:, :size, :size] = block
            matrix[:, :size, size:] = link
            matrix[:, size:, :size] = np.swapaxes(link, 1, 2)
            spare = np.arange(size, size + extra)
            matrix[:, spare, spare] = np.where(active, 0.0, 1.0)
            target = ln_ksp - phases.water * ln_water_activity[:, None]
            right[:, size:] = np.where(active, target, 0.0)
        if fixed_ln_h is not None:
            matrix[:, h, :] = 0.0
            matrix[:, h, h] = 1.0
            right[:, h] = fixed_ln_h
        right *= scale
        solution = _solve(matrix, right) * scale
        return solution[:, :size], solution[:, size:]


def _solve(matrix: Floats, right: Floats) -> Floats:
    """Batched solve; one singular matrix must not abort the batch, so such rows go alone."""
    try:
        return np.asarray(np.linalg.solve(matrix, right[:, :, None])[:, :, 0])
    except np.linalg.LinAlgError:
        out = np.empty_like(right)
        for i in range(len(right)):
            try:
                out[i] = np.linalg.solve(matrix[i], right[i])
            except np.linalg.LinAlgError:
                out[i] = np.linalg.lstsq(matrix[i], right[i], rcond=1e-14)[0]
        return out
