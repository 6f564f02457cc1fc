"""A chunk's rows while they are solved, and how their potentials have moved of late."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from chem.equilibrium.activity import Floats
from chem.equilibrium.outcome import Bools, Integers
from chem.equilibrium.residual import Solids

STEADY, STEADY_SHARE, STEADY_MOVE = 0.5, 0.9, 0.05
"""When a row's moves shrink steadily: the share's relative change, itself, the largest move."""


@dataclass
class Course:
    """How the potentials of a chunk's rows have moved of late.

    x, moves: (C+1, n) the last and the change to it; size: (n,) of that change; share: (n,) of it
    to the one before, both infinite while unknown; begun: after the first step.
    """

    begun: bool
    x: Floats
    moves: Floats
    size: Floats
    share: Floats

    @classmethod
    def begin(cls, components: int, n: int) -> Course:
        """Before the first step."""
        shape = (components, n)
        nothing = np.full(n, np.inf)
        return cls(False, np.zeros(shape), np.zeros(shape), nothing, nothing)

    def go(self, x: Floats, tolerance: float) -> tuple[Bools, Bools, Floats]:
        """Move on to x: (n,) is it finite, is less than a tolerance left, by what to stretch it.

        Near the end each move is a steady share of the one before, as the activity coefficients
        lag; such a row goes all that is left at once.
        """
        moves = x - self.x
        most, size = np.maximum.reduce(np.abs(moves)), np.sqrt(np.add.reduce(moves * moves))
        share = np.add.reduce(moves * self.moves) / (self.size * self.size)
        share[np.isinf(self.size)] = np.inf
        slowest = np.maximum(size / self.size, np.abs(self.share))
        done = (most < tolerance) | (most * slowest < tolerance * (1.0 - slowest))
        steady = np.abs(share - self.share) < STEADY * np.abs(share)
        steady &= (most < STEADY_MOVE) & (slowest < STEADY_SHARE)
        self.x[:], self.moves, self.share = x, moves, share
        if self.begun:  # the first comes from nowhere
            self.size = size
        self.begun = True
        return np.isfinite(most), done, np.where(steady, 1.0 / (1.0 - share), 1.0)

    def pick(self, columns: Integers) -> Course:
        """Some of the rows."""
        kept = (self.x, self.moves, self.size, self.share)
        return Course(self.begun, *(np.take(values, columns, axis=-1) for values in kept))


@dataclass
class Rows:
    """What a chunk's rows are solved from; arrays end in the row (n).

    totals: (C+1, n) in the order of elimination, T_H of electroneutrality last; above_k: (S, n)
    1 + ln K, or (S, 1) of all; shifts: (3, n); ln_h: (n,) of a given pH; solids or None; ceiling:
    (S, all) ln of the largest molality, by `index`; ln_m: (S, n) and water: (n,), the state;
    cold: not from a neighbour; course: how they have moved of late.
    """

    index: Integers
    totals: Floats
    above_k: Floats
    shifts: Floats | None
    ln_h: Floats | None
    solids: Solids | None
    ceiling: Floats
    ln_m: Floats
    water: Floats
    cold: bool
    course: Course

    def pick(self, columns: Integers) -> Rows:
        """Some of the rows; `ceiling` stays that of all."""
        kept = {f.name: _picked(getattr(self, f.name), columns) for f in fields(self)}
        return replace(self, **(kept | {"ceiling": self.ceiling}))


def _picked(value: Floats | Solids | Course | bool | None, columns: Integers) -> Any:
    if isinstance(value, Solids | Course):
        return value.pick(columns)
    if value is None or isinstance(value, bool) or (value.ndim == 2 and value.shape[1] == 1):
        return value
    return np.take(value, columns, axis=-1)


@dataclass(frozen=True)
class Found:
    """What a chunk came to; arrays end in the row (n)."""

    ln_molality: Floats
    ln_activity: Floats
    x: Floats
    ln_water_activity: Floats
    ionic_strength: Floats
    amounts: Floats
    water_left: Floats
    balance: Floats
    reason: Integers
    iterations: Integers
