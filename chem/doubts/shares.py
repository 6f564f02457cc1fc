"""Which doubts carry the spread: first-order shares of variance, read off the draws themselves.

S_i = Var(E[Y | X_i]) / Var(Y) (Sobol, Mathematics and Computers in Simulation 55 (2001) 271), by
the correlation ratio: draws sorted by the doubt into bins of equal count, variance of the bins'
means over the whole. Its bias under no effect, (B - 1) / (N - 1), is taken out as in the adjusted
coefficient of determination (Kelley's epsilon squared, PNAS 21 (1935) 554). It needs no further
model runs and holds for any shape of response; doubts that move together share what they share.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
LEAST_DRAWS = 32


def bins_for(count: int) -> int:
    """Number of bins for so many draws: 4 at 32 to 64, growing to 16."""
    return int(np.clip(round(count**0.5 / 2.0), 4, 16))


def first_orders(values: Floats, columns: Sequence[Floats]) -> Floats:
    """(D,) share (0-1) of the variance of `values` (N,) that each of D columns (N,) carries alone.

    Rows whose value is not finite are left out; 0 where too few are left or nothing varies.
    """
    if not len(columns):
        return np.zeros(0)
    good = np.isfinite(values)
    y, x = values[good], np.stack(columns)[:, good]
    count = len(y)
    if count < LEAST_DRAWS or float(np.ptp(y)) == 0.0:
        return np.zeros(len(x))
    bins = bins_for(count)
    sizes = np.full(bins, count // bins)
    sizes[: count % bins] += 1
    edges = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    sorted_y = y[np.argsort(x, axis=1, kind="stable")]
    means = np.add.reduceat(sorted_y, edges, axis=1) / sizes
    between = ((means - y.mean()) ** 2) @ sizes
    ratio = between / float(((y - y.mean()) ** 2).sum())
    adjusted = 1.0 - (1.0 - ratio) * (count - 1) / (count - bins)
    return np.where(np.ptp(x, axis=1) == 0.0, 0.0, np.maximum(adjusted, 0.0))


def first_order(values: Floats, column: Floats) -> float:
    """The share of one column, as `first_orders`."""
    return float(first_orders(values, [column])[0])
