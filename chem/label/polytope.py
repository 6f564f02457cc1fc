"""Every liquid that fits a label: a polytope of source amounts, sampled uniformly.

    w >= 0,  low <= A w <= high,  dissolved mass <= limit

Hit-and-run (Smith, Operations Research 32 (1984) 1296) with one chain per draw, directions shaped
by the spread of the chains themselves, which makes mixing independent of how thin the set is.
The start is the point of largest least slack (a linear programme, solved by a log barrier: Boyd
and Vandenberghe, Convex Optimization, Cambridge, 2004, sections 11.3-11.4).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

WARM_STEPS = 60
STEPS_PER_SOURCE = 15
RESHAPE_AT = (15, 35, 60)
BARRIER_ROUNDS = 9
BARRIER_GROWTH = 6.0


@dataclass(frozen=True)
class Polytope:
    """matrix w <= limit: (K, n) and (K,); scale: (K,) what a unit of slack means in each row."""

    matrix: Floats
    limit: Floats
    scale: Floats

    @classmethod
    def of_label(
        cls, gives: Floats, low: Floats, high: Floats, mass: Floats, mass_limit: float, cap: Floats
    ) -> Polytope:
        """From lines: gives (G, n), low and high (G,); mass (n,) dissolved mass; cap (n,) most."""
        n = gives.shape[1]
        middle = np.maximum(0.5 * (np.abs(low) + np.abs(high)), 1e-9)
        return cls(
            np.vstack([-np.eye(n), np.eye(n), gives, -gives, mass[None, :]]),
            np.concatenate([np.zeros(n), cap, high, -low, [mass_limit]]),
            np.concatenate([cap, cap, middle, middle, [1.0]]),
        )

    def widened(self, slack: float) -> Polytope:
        """The set with every line's limit moved out; amounts still not negative, mass closed."""
        n = self.matrix.shape[1]
        moved = np.zeros(len(self.limit))
        moved[2 * n : -1] = slack
        return Polytope(self.matrix, self.limit + moved * self.scale, self.scale)


def centre(polytope: Polytope) -> tuple[Floats, float]:
    """The point of largest least slack and that slack in units of `scale`; negative: none fits.

    Minimises s over matrix w - s scale <= limit.
    """
    rows = np.column_stack(
        [polytope.matrix / polytope.scale[:, None], -np.ones(len(polytope.limit))]
    )
    limit = polytope.limit / polytope.scale
    n = polytope.matrix.shape[1]
    unit = polytope.scale[n : 2 * n]
    rows[:, :n] *= unit
    x = np.concatenate([np.full(n, 0.1), [0.0]])
    x[-1] = float((rows[:, :n] @ x[:n] - limit).max()) + 1.0
    weight = 1.0
    for _ in range(BARRIER_ROUNDS):
        for _ in range(25):
            slack = limit - rows @ x
            gradient = rows.T @ (1.0 / slack)
            gradient[-1] += weight
            hessian = (rows / slack[:, None] ** 2).T @ rows
            step = -np.linalg.solve(hessian + 1e-12 * np.eye(n + 1) * np.trace(hessian), gradient)
            rate = rows @ step
            grows = rate > 0.0
            longest = (slack[grows] / rate[grows]).min() if grows.any() else np.inf
            x = x + min(1.0, 0.95 * longest) * step
            if -gradient @ step < 1e-8:
                break
        weight *= BARRIER_GROWTH
    return x[:n] * unit, -float(x[-1])


def sample(polytope: Polytope, start: Floats, count: int, rng: np.random.Generator) -> Floats:
    """(count, n) points spread evenly over the polytope, from an inner `start` (n,)."""
    n = len(start)
    unit = polytope.scale[n : 2 * n]
    rows = polytope.matrix * unit
    points = np.tile(start / unit, (count, 1))
    slack = np.maximum(polytope.limit - points @ rows.T, 0.0)
    shape = np.eye(n)
    for step in range(WARM_STEPS + STEPS_PER_SOURCE * n):
        if step in RESHAPE_AT and count > 4 * n:
            spread = np.cov(points, rowvar=False).reshape(n, n)
            shape = np.linalg.cholesky(spread + 1e-9 * np.trace(spread) * np.eye(n) + 1e-300)
        direction = rng.standard_normal((count, n)) @ shape.T
        rate = direction @ rows.T
        with np.errstate(divide="ignore", invalid="ignore"):
            reach = slack / rate
        forward = np.where(rate > 0.0, reach, np.inf).min(axis=1)
        back = np.where(rate < 0.0, reach, -np.inf).max(axis=1)
        move = back + rng.random(count) * (forward - back)
        points += move[:, None] * direction
        slack = np.maximum(slack - move[:, None] * rate, 0.0)
    return np.maximum(points, 0.0) * unit
