"""Non-negative least squares: the amounts of sources that best give the printed guarantees.

The active-set method of Lawson and Hanson (Solving Least Squares Problems, Prentice-Hall, 1974,
chapter 23) on the normal equations.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
TOLERANCE = 1e-10


def nnls(matrix: Floats, right: Floats, ridge: Floats) -> Floats:
    """(n,) w >= 0 that minimises |matrix w - right|^2 + sum ridge w^2.

    matrix: (G, n); right: (G,); ridge: (n,) above 0, shares what the lines leave open.
    """
    gram = matrix.T @ matrix + np.diag(ridge)
    asked = right @ matrix
    n = len(asked)
    passive = np.zeros(n, dtype=bool)
    w = np.zeros(n)
    scale = TOLERANCE * max(1.0, float(np.abs(asked).max()))
    for _ in range(10 * n + 10):
        gradient = asked - gram @ w
        gradient[passive] = -np.inf
        if gradient.max() <= scale:
            break
        passive[gradient.argmax()] = True
        while True:
            trial = np.zeros(n)
            index = np.flatnonzero(passive)
            trial[index] = np.linalg.solve(gram[np.ix_(index, index)], asked[index])
            if (trial[index] > 0.0).all():
                w = trial
                break
            falling = passive & (trial <= 0.0)
            step = (w[falling] / (w[falling] - trial[falling])).min()
            w = w + step * (trial - w)
            passive &= w > TOLERANCE * max(1.0, float(w.max()))
            w[~passive] = 0.0
    return w
