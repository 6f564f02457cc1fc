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
STEPS_BETWEEN_PER_SOURCE = 5
RESHAPE_AT = (15, 35, 60)
BARRIER_ROUNDS = 9
BARRIER_GROWTH = 6.0


@dataclass(frozen=True)
class Polytope:
    """low <= rows w <= high: rows (R, n), the first n of them the amounts themselves.

    low, high, scale: (R,); scale: what a unit of slack means in each row. The last row is the mass.
    """

    rows: Floats
    low: Floats
    high: Floats
    scale: Floats

    @classmethod
    def of_label(
        cls, gives: Floats, low: Floats, high: Floats, mass: Floats, mass_limit: float, cap: Floats
    ) -> Polytope:
        """From lines: gives (G, n), low and high (G,); mass (n,) dissolved mass; cap (n,) most."""
        n = gives.shape[1]
        middle = np.maximum(0.5 * (np.abs(low) + np.abs(high)), 1e-9)
        return cls(
            np.vstack([np.eye(n), gives, mass[None, :]]),
            np.concatenate([np.zeros(n), low, [-np.inf]]),
            np.concatenate([cap, high, [mass_limit]]),
            np.concatenate([cap, middle, [1.0]]),
        )

    def widened(self, slack: float) -> Polytope:
        """The set with every line's limit moved out; amounts still not negative, mass closed."""
        n = self.rows.shape[1]
        moved = np.zeros(len(self.rows))
        moved[n:-1] = slack * self.scale[n:-1]
        return Polytope(self.rows, self.low - moved, self.high + moved, self.scale)


def centre(polytope: Polytope) -> tuple[Floats, float]:
    """The point of largest least slack and that slack in units of `scale`; negative: none fits.

    Minimises s over matrix w - s scale <= limit, matrix the rows and their negatives.
    """
    n = polytope.rows.shape[1]
    unit = polytope.scale[:n]
    scaled = polytope.rows * unit / polytope.scale[:, None]
    bounded = np.isfinite(polytope.low)
    limit = np.concatenate(
        [polytope.high / polytope.scale, -(polytope.low / polytope.scale)[bounded]]
    )
    rows = np.column_stack([np.vstack([scaled, -scaled[bounded]]), -np.ones(len(limit))])
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


def sample(
    polytope: Polytope,
    start: Floats,
    count: int,
    rng: np.random.Generator,
    sets: int = 1,
    low: Floats | None = None,
) -> Floats:
    """(sets * count, n) points spread evenly over the polytope, from an inner `start` (n,).

    One chain per point of a set; the sets follow each other along the chains. low: (R, count)
    lower ends of each chain's own set, in place of the polytope's.
    """
    n = len(start)
    unit = polytope.scale[:n]
    rows = polytope.rows * unit
    low = polytope.low[:, None] if low is None else low
    high = polytope.high[:, None]
    points = np.tile((start / unit)[:, None], (1, count))
    value = rows @ points
    shape = np.eye(n)
    taken = []
    first = WARM_STEPS + STEPS_PER_SOURCE * n
    for step in range(first + (sets - 1) * STEPS_BETWEEN_PER_SOURCE * n):
        if step in RESHAPE_AT and count > 4 * n:
            spread = np.cov(points).reshape(n, n)
            shape = np.linalg.cholesky(spread + (1e-9 * np.trace(spread) + 1e-300) * np.eye(n))
        direction = shape @ rng.standard_normal((n, count))
        rate = rows @ direction
        rate[rate == 0.0] = np.finfo(float).tiny
        with np.errstate(over="ignore"):
            one, other = (low - value) / rate, (high - value) / rate
        back = np.minimum(np.minimum(one, other).max(axis=0), 0.0)
        forward = np.maximum(np.maximum(one, other).min(axis=0), 0.0)
        move = back + rng.random(count) * (forward - back)
        points += move * direction
        value += move * rate
        if step >= first - 1 and (step - first + 1) % (STEPS_BETWEEN_PER_SOURCE * n) == 0:
            taken.append(points.T.copy())
    return np.maximum(np.concatenate(taken), 0.0) * unit
