"""Many states in one batch: rows of several tanks, or of one tank's states, below each other.

Row k N + i is draw i of state k, so that every state is tried with the same draws.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from chem.doubts import Draws
from chem.equilibrium.activity import Floats
from chem.reference import tables
from chem.tank import Finished

Integers = NDArray[np.int64]


class Picked(Draws):
    """Rows of other draws, each as often as wanted."""

    def __init__(self, draws: Draws, rows: Integers) -> None:
        """rows: (R,) which rows of `draws` stand here."""
        super().__init__(len(rows), draws.seed)
        self._of, self._rows = draws, rows
        self.weights = draws.weights[rows] / draws.weights[rows].sum()

    def normal(self, name: str, mean: float = 0.0, sd: float = 1.0) -> Floats:
        """(R,) as `Draws.normal`."""
        return self._of.normal(name, mean, sd)[self._rows]

    def factor(self, name: str, relative_sd: float) -> Floats:
        """(R,) as `Draws.factor`."""
        return self._of.factor(name, relative_sd)[self._rows]

    def uniform(self, name: str, low: float, high: float) -> Floats:
        """(R,) as `Draws.uniform`."""
        return self._of.uniform(name, low, high)[self._rows]


def stacked(states: Sequence[Finished]) -> Finished:
    """States one below the other; what a state lacks is zero. All hold equally many products."""
    keys = set().union(*(s.components for s in states))
    components = tuple(c for c in tables().components if c in keys)
    n = len(states[0].totals)

    def wide(values: Floats, own: tuple[str, ...]) -> Floats:
        out = np.zeros((*values.shape[:-1], len(components)))
        out[..., [components.index(c) for c in own]] = values
        return out

    pairs = dict.fromkeys(pair for s in states for pair in s.held)
    return Finished(
        components=components,
        totals=np.concatenate([wide(s.totals, s.components) for s in states]),
        water_kg_per_L=np.concatenate([s.water_kg_per_L for s in states]),
        density_kg_per_L=np.concatenate([s.density_kg_per_L for s in states]),
        from_product=np.concatenate([wide(s.from_product, s.components) for s in states], axis=1),
        from_water=np.concatenate([wide(s.from_water, s.components) for s in states]),
        held={p: np.concatenate([s.held.get(p, np.zeros(n)) for s in states]) for p in pairs},
    )
