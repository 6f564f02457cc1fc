"""Non-negative least squares for a batch of right-hand sides with one matrix.

The active-set method of Lawson and Hanson (Solving Least Squares Problems, Prentice-Hall, 1974,
chapter 23) on the normal equations. All rows are first solved with the sources that the middle
row uses; only rows for which that set is wrong go one by one.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
TOLERANCE = 1e-10


def _single(gram: Floats, right: Floats) -> Floats:
    """(n,) minimiser of w gram w / 2 - right w over w >= 0; gram (n, n) positive definite."""
    n = len(right)
    passive = np.zeros(n, dtype=bool)
    w = np.zeros(n)
    scale = TOLERANCE * max(1.0, float(np.abs(right).max()))
    for _ in range(10 * n + 10):
        gradient = right - gram @ w
        gradient[passive] = -np.inf
        if gradient.max() <= scale:
            return w
        passive[gradient.argmax()] = True
        while True:
            trial = np.zeros(n)
            index = np.flatnonzero(passive)
            trial[index] = np.linalg.solve(gram[np.ix_(index, index)], right[index])
            if (trial[index] > 0.0).all():
                w = trial
                break
            falling = passive & (trial <= 0.0)
            step = (w[falling] / (w[falling] - trial[falling])).min()
            w = w + step * (trial - w)
            passive &= w > TOLERANCE * max(1.0, float(w.max()))
            w[~passive] = 0.0
    return w


def nnls(matrix: Floats, right: Floats, ridge: Floats) -> Floats:
    """Amounts that best supply the guarantees.

    Args:
        matrix: (G, n) what a unit of each source gives each line, scaled per line.
        right: (N, G) what the lines ask for, scaled alike.
        ridge: (n,) small weights, above 0, that share what the lines leave open.

    Returns:
        (N, n) amounts, none negative.
    """
    gram = matrix.T @ matrix + np.diag(ridge)
    asked = right @ matrix
    middle = _single(gram, np.median(asked, axis=0))
    passive = middle > 0.0
    out = np.zeros((len(right), matrix.shape[1]))
    if passive.any():
        block = np.linalg.solve(gram[np.ix_(passive, passive)], asked[:, passive].T).T
        out[:, passive] = block
    gradient = asked - out @ gram
    tolerance = TOLERANCE * np.maximum(1.0, np.abs(asked).max(axis=1, keepdims=True))
    wrong = (out < 0.0).any(axis=1) | ((gradient > tolerance) & ~passive).any(axis=1)
    for row in np.flatnonzero(wrong):
        out[row] = _single(gram, asked[row])
    return out
