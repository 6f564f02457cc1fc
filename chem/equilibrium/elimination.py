"""Batched solution of the small symmetric positive definite system, in levels.

Many components are linked by no species (potassium and chloride, sulfate and phosphate): all of
such a set are eliminated in one go; what is left, H+ last, is eliminated one by one. No pivots are
sought: the matrix nu diag(m) nu^T is positive definite. Arrays are entries x rows.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chem.equilibrium.activity import Floats
from chem.equilibrium.medium import Scratch

Integers = NDArray[np.int64]
FEW_ROWS = 64
"""Up to so many rows LAPACK, row by row, is quicker than numpy's calls for each component."""


class Elimination:
    """The plan for one stoichiometry nu (C+1, S), H+ last.

    Attributes:
        order: (C+1,) components as they are eliminated: first the K that no species links.
        entries: (E, S) gives the matrix from molalities: the diagonal of the K, their links to
            the R that are left, the upper triangle of the block of the R.
    """

    def __init__(self, nu: Floats) -> None:
        held = (nu != 0.0).astype(float)
        linked = held @ held.T > 0.0
        first = _unlinked(linked)
        rest = np.setdiff1d(np.arange(len(nu)), first)
        self.order = np.concatenate([first, rest])
        k, r = self._first, self._rest = len(first), len(rest)
        self._of, self._to = np.nonzero(linked[np.ix_(first, rest)])
        count = len(self._of)
        links = nu[first[self._of]] * nu[rest[self._to]]
        i, j = np.triu_indices(r)
        self.entries = np.concatenate([nu[first] ** 2, links, nu[rest[i]] * nu[rest[j]]])
        # Where the block and its right side stand among entries and right sides, those of the R
        # first.
        triangle, right = k + count, len(self.entries)
        place = np.zeros((r, r + 1), dtype=np.int64)
        place[i, j] = place[j, i] = triangle + np.arange(len(i))
        place[:, r] = right + np.arange(r)
        self._block = place.ravel()
        # An eliminated component takes the product of any two of its links, over its diagonal, off
        # the block, and that of its right side and a link off the right side.
        pairs = np.argwhere(np.equal.outer(self._of, self._of))
        pairs = pairs[self._to[pairs[:, 0]] <= self._to[pairs[:, 1]]]
        self._left = np.concatenate([k + pairs[:, 0], right + r + self._of])
        self._right = np.concatenate([pairs[:, 1], np.arange(count)])
        at = np.concatenate(
            [place[self._to[pairs[:, 0]], self._to[pairs[:, 1]]], place[self._to, r]]
        )
        below = np.arange(triangle, right + r)
        self._schur = np.equal.outer(below, at).astype(float)
        self._takes = np.equal.outer(np.arange(k), self._of).astype(float)

    def solve(
        self, filled: Floats, right: Floats, fixed_last: Floats | None, scratch: Scratch
    ) -> Floats:
        """(C+1, n) solution x, components in `order`; H+ at `fixed_last` (n,) where given.

        filled: (E + C+1, n) entries of the matrix, with room for the right sides, overwritten;
        right: (C+1, n), overwritten by x.
        """
        n, k, r, count = filled.shape[1], self._first, self._rest, len(self._of)
        entries = len(self.entries)
        filled[entries : entries + r], filled[entries + r :] = right[k:], right[:k]
        reciprocal = np.divide(1.0, filled[:k], out=filled[:k])
        over = _rows(reciprocal, self._of, scratch("over", count, n))
        over *= filled[k : k + count]
        terms = _rows(filled, self._left, scratch("terms", len(self._left), n))
        terms *= _rows(over, self._right, scratch("factors", len(self._right), n))
        below = filled[k + count : entries + r]
        below -= np.matmul(self._schur, terms, out=scratch("schur", *below.shape))
        block = _rows(filled, self._block, scratch("block", len(self._block), n))
        left = block.reshape(r, r + 1, n)
        if n > FEW_ROWS or fixed_last is not None:
            right[k:] = _one_by_one(left, fixed_last, scratch)
        else:
            right[k:] = _row_by_row(left)
        back = _rows(right[k:], self._to, scratch("terms", count, n))
        back *= over
        right[:k] *= reciprocal
        right[:k] -= np.matmul(self._takes, back, out=scratch("schur", k, n))
        return right


def _rows(values: Floats, which: Integers, out: Floats) -> Floats:
    return np.take(values, which, axis=0, out=out, mode="clip")


def _one_by_one(block: Floats, fixed_last: Floats | None, scratch: Scratch) -> Floats:
    """(R, n) solution of a block (R, R+1, n) with its right side; Gauss and Jordan's way."""
    r, _, n = block.shape
    for i in range(r if fixed_last is None else r - 1):
        factor = np.divide(block[:, i], block[i, i], out=scratch("factor", r, n))
        factor[i] = 0.0
        later = block[:, i + 1 :]
        later -= np.multiply(factor[:, None], later[i], out=scratch("later", r, r - i, n))
    right = block[:, r]
    if fixed_last is not None:
        right -= block[:, r - 1] * fixed_last
        block[-1, -2], right[-1] = 1.0, fixed_last
    right /= block[np.arange(r), np.arange(r)]
    return right


def _row_by_row(block: Floats) -> Floats:
    """The same by LAPACK. Scaled to ones on the diagonal: its pivots go by size."""
    scale = 1.0 / np.sqrt(np.abs(np.einsum("iin->in", block[:, :-1])))
    block[:, :-1] *= scale
    block *= scale[:, None]
    rows = np.ascontiguousarray(block.transpose(2, 0, 1))
    return np.asarray(solve_each(rows[:, :, :-1], rows[:, :, -1]).T * scale)


def solve_each(matrix: Floats, right: Floats) -> Floats:
    """(n, R) solutions of matrix (n, R, R) x = right (n, R); NaN where there is none."""
    try:
        return np.asarray(np.linalg.solve(matrix, right[:, :, None])[:, :, 0])
    except np.linalg.LinAlgError:
        # One singular matrix must not abort the batch.
        if len(right) == 1:
            return np.full(right.shape, np.nan)
        half = len(right) // 2
        parts = [solve_each(matrix[s], right[s]) for s in (slice(half), slice(half, None))]
        return np.concatenate(parts)


def _unlinked(linked: NDArray[np.bool_]) -> Integers:
    """A large set of components, H+ (last) not among them, none linked to another: the least
    linked first."""
    free = set(range(len(linked) - 1))
    chosen = []
    while free:
        columns = sorted(free)
        among = linked[np.ix_(columns, columns)].sum(axis=1)
        least = columns[int(among.argmin())]
        chosen.append(least)
        free -= set(np.flatnonzero(linked[least]).tolist())
    return np.array(sorted(chosen), dtype=np.int64)
