"""The rate of the product asked for at which it no longer quarrels with another."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from chem.forecast import THRESHOLD, Followed, Rule
from chem.shelf.stock import Item, Setting
from chem.shelf.tanks import Tank
from chem.tank import Mix

RATES = (0.75, 0.5, 0.25, 0.1)
BISECTIONS = 3


class FirstRate:
    """Less of the first of some products, as a factor on its rate."""

    start = 1.0
    grid: Sequence[float] = RATES
    halvings = BISECTIONS

    def __init__(
        self, members: tuple[int, ...], items: Sequence[Item], setting: Setting, judged_at: str
    ) -> None:
        self.members, self.items, self.setting = members, items, setting
        self.until = judged_at

    def tanks(self, value: float) -> Sequence[Mix]:
        """The tank at a factor."""
        return [Tank(self.members, value).mix(self.items, self.setting)]

    def accepts(self, followed: Sequence[Followed]) -> tuple[Rule, ...]:
        """Nothing once it stays clear."""
        return (Rule("clouds"),) if followed[0].cloudy(self.until) >= THRESHOLD else ()

    def between(self, near: float, far: float) -> float | None:
        """The middle of the logarithms."""
        return float(np.sqrt(near * far))

    def outward(self, value: float, nudge: int) -> float | None:
        """Down to a twentieth, as a shed would measure it."""
        moved = float(np.floor(20.0 * value + 1e-9)) / 20.0 - 0.05 * nudge
        return moved if moved >= RATES[-1] / 2.0 and nudge < 3 else None
