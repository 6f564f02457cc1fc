"""One set of solids in equilibrium with many rows, as a change of basis.

Each solid's mass action, nu_s^T x = c, gives the potential of one component that it holds (the
pivot) from the others. Put into the formation of every species (Smith and Missen 1982, chapter 3:
any independent set of formulas serves as components), it leaves a system of fewer components and
no solids, symmetric positive definite, which needs no pivots:

    x = Z y + D c,   nu' = Z^T nu,   ln K'' = ln K' + (D^T nu)^T c,   T' = Z^T T

What the solids hold is what the pivots' mass balances leave over.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from chem.equilibrium.activity import Floats
from chem.equilibrium.elimination import Elimination
from chem.equilibrium.medium import Scratch
from chem.equilibrium.residual import NewtonStep, Solids, newton_step
from chem.equilibrium.system import Phases, System

LEAST_ROWS = 48
"""Rows with one set of solids from which on a system of their own is quicker than pivots."""
SINGULAR = 1e-9
SPARED = 1e-6
"""A solid's share of H+ counts so much less: other components are sought as pivots first."""


class BoundStep:
    """A Newton step for rows that hold the same solids; called as a `NewtonStep`.

    Attributes:
        order, nu: as of the step without solids: x has the same components.
    """

    def __init__(self, plain: NewtonStep, solids: Floats, pivots: NDArray[np.int64]) -> None:
        """solids: (C+1, K) stoichiometry in the step's order; pivots: (K,) their components."""
        self.order, self.nu = plain.order, plain.nu
        size = len(solids)
        rest = np.setdiff1d(np.arange(size), pivots)
        inverse = np.linalg.inv(solids[pivots])
        self._pivots, self._inverse = pivots, inverse
        # Z and D; H+ comes last of the rest too, where it is no pivot.
        z, d = np.zeros((size, len(rest))), np.zeros((size, len(pivots)))
        z[rest, np.arange(len(rest))] = 1.0
        z[pivots] = -inverse.T @ solids[rest].T
        d[pivots] = inverse.T
        nu = z.T @ self.nu
        nu[np.abs(nu) < SINGULAR] = 0.0
        self._elimination = Elimination(nu)
        order = self._elimination.order
        self._reduced, self._kept = nu[order], z.T[order]
        self._shift = (d.T @ self.nu).T.copy()
        self._back = np.concatenate([z[:, order], d], axis=1)
        self._changes = np.concatenate([self._reduced, np.full((1, nu.shape[1]), -1.0)]).T.copy()

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
        """As of `NewtonStep`; `above` is overwritten."""
        assert direct and solids is not None
        n = molality.shape[1]
        target = solids.ln_ksp - solids.water * ln_water_activity
        above += np.matmul(self._shift, target, out=scratch("change", *above.shape))
        weighted = np.multiply(molality, above, out=scratch("weighted", *molality.shape))
        right = self._kept @ totals
        right -= np.matmul(self._reduced, weighted, out=scratch("right", *right.shape))
        entries = self._elimination.entries
        filled = scratch("filled", len(entries) + len(right), n)
        np.matmul(entries, molality, out=filled[: len(entries)])
        y = self._elimination.solve(filled, right, ln_h, scratch)
        x = self._back @ np.concatenate([y, target])
        full = scratch("full", len(y) + 1, n)
        full[:-1], full[-1] = y, 1.0
        change = np.matmul(self._changes, full, out=scratch("change", *above.shape))
        change += above
        after = np.multiply(molality, change, out=weighted)
        after += molality
        amounts = self._inverse @ (totals[self._pivots] - self.nu[self._pivots] @ after)
        return x, change, amounts


def sets_of(
    system: System, phases: Phases, active: NDArray[np.bool_], totals: Floats, *, ph_given: bool
) -> list[tuple[NDArray[np.int64], BoundStep]]:
    """Rows that hold the same solids, with their step; rows of rare or dependent sets in none.

    active: (N, M); totals: (N, C) [mol/kg water].
    """
    found = []
    for rows in alike(active):
        columns = np.ascontiguousarray(phases.nu[:, active[rows[0]]])
        if len(rows) < LEAST_ROWS or not columns.size:
            continue
        scarce = np.append(np.median(totals[rows], axis=0), np.inf)
        pivots = _pivots(columns, scarce, ph_given)
        if pivots is not None:
            found.append((rows, _bound_step(system, columns.tobytes(), pivots)))
    return found


def alike(
    sets: NDArray[np.bool_], also: NDArray[np.int64] | None = None
) -> list[NDArray[np.int64]]:
    """Places of the rows with one set (N, M), and one number (N,) too where given."""
    if not len(sets):
        return []
    packed = [np.packbits(sets, axis=1)]
    if also is not None:
        packed.append(also.astype("<u4")[:, None].view(np.uint8))
    keys = np.ascontiguousarray(np.hstack(packed))
    _, of = np.unique(keys.view(f"V{keys.shape[1]}").ravel(), return_inverse=True)
    return np.split(np.argsort(of, kind="stable"), np.cumsum(np.bincount(of))[:-1])


def _pivots(nu: Floats, scarce: Floats, ph_given: bool) -> tuple[int, ...] | None:
    """For each solid of (C+1, K), the component that it leaves least of; None if dependent.

    A plentiful one would stand in every other's balance and drown it.
    """
    weight = 1.0 / scarce
    weight[-1] = 0.0 if ph_given else weight[:-1].min() * SPARED
    left = nu.copy()
    chosen = np.zeros(nu.shape[1], dtype=np.int64)
    todo = list(range(nu.shape[1]))
    while todo:
        size = np.abs(left[:, todo]) * weight[:, None]
        size[np.abs(left[:, todo]) < SINGULAR] = 0.0
        component, place = np.unravel_index(int(size.argmax()), size.shape)
        if size[component, place] == 0.0:
            return None
        solid = todo.pop(int(place))
        chosen[solid] = component
        left -= np.outer(left[:, solid], left[component] / left[component, solid])
    return tuple(chosen.tolist())


@lru_cache(maxsize=64)
def _bound_step(system: System, columns: bytes, pivots: tuple[int, ...]) -> BoundStep:
    """Kept for the next call: phases are picked anew each time, so their formulas tell."""
    plain = newton_step(system)
    nu = np.frombuffer(columns).reshape(len(plain.order), len(pivots))
    return BoundStep(plain, nu[plain.order], np.argsort(plain.order)[list(pivots)])
