"""Which doubts carry the spread: first-order shares of variance, read off the draws themselves.

S_i = Var(E[Y | X_i]) / Var(Y) (Sobol, Mathematics and Computers in Simulation 55 (2001) 271), by
the correlation ratio: draws sorted by the doubt into bins of equal count, variance of the bins'
means over the whole. Its bias under no effect, (B - 1) / (N - 1), is taken out as in the adjusted
coefficient of determination (Kelley's epsilon squared, PNAS 21 (1935) 554). It needs no further
model runs and holds for any shape of response; doubts that move together share what they share.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
LEAST_DRAWS = 32


def bins_for(count: int) -> int:
    """Number of bins for so many draws: 4 at 32 to 64, growing to 16."""
    return int(np.clip(round(count**0.5 / 2.0), 4, 16))


def first_order(values: Floats, column: Floats) -> float:
    """Share (0-1) of the variance of `values` (N,) that a doubt's `column` (N,) carries alone.

    Rows that are not finite are left out; 0 where too few are left or nothing varies.
    """
    good = np.isfinite(values) & np.isfinite(column)
    y, x = values[good], column[good]
    count = len(y)
    if count < LEAST_DRAWS or float(np.ptp(y)) == 0.0 or float(np.ptp(x)) == 0.0:
        return 0.0
    bins = bins_for(count)
    parts = np.array_split(y[np.argsort(x, kind="stable")], bins)
    mean = y.mean()
    between = sum(len(p) * (p.mean() - mean) ** 2 for p in parts)
    ratio = between / float(((y - mean) ** 2).sum())
    adjusted = 1.0 - (1.0 - ratio) * (count - 1) / (count - bins)
    return float(max(adjusted, 0.0))
