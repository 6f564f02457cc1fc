"""How far a clear mix is from turning: levers on each product's rate and on the pH."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from chem.doubts import median
from chem.forecast import THRESHOLD, Followed, Rule, Study, Variant
from chem.forecast.search import Found, search
from chem.reference import tables
from chem.tank import Mix, with_rate

MOST_FACTOR = 10.0
GRID = tuple(MOST_FACTOR ** (k / 4.0) for k in range(1, 5))
LESS = (*(1.0 / f for f in GRID), 0.0)
PH_GRID = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0)
PH_ENDS = (1.5, 13.0)
BISECTIONS = 4
NUDGES = 8
NUDGE = 1.06
FULLEST = 0.9
"""Products fill no more than this of the spray volume in a search."""


@dataclass(frozen=True)
class Turn:
    """Where a clear mix would turn: a factor on a rate (0: left out) or a pH; what then shows."""

    at: float
    culprit: str | None


@dataclass(frozen=True)
class ProductEdge:
    """The least factors above and below 1 on a product's rate that turn the mix; None: no such."""

    product: str
    more: Turn | None
    less: Turn | None


@dataclass(frozen=True)
class Edge:
    """How far a clear mix is from turning; ph: now; ph_above, ph_below: where it would."""

    products: tuple[ProductEdge, ...]
    ph: float
    ph_above: Turn | None
    ph_below: Turn | None


class _Edge:
    """A lever that seeks where a tank turns."""

    halvings = BISECTIONS

    def __init__(self, mix: Mix, until: str, start: float, grid: Sequence[float]) -> None:
        self.mix, self.until, self.start, self.grid = mix, until, start, grid

    def accepts(self, followed: Sequence[Followed]) -> tuple[Rule, ...]:
        """Nothing once solids show in a tenth of the draws that have an answer."""
        turned = followed[0].probability[self.until] >= THRESHOLD
        return () if turned else (Rule("stays_clear"),)


class RateEdge(_Edge):
    """A product's rate multiplied; 0 leaves it out."""

    def __init__(self, mix: Mix, until: str, index: int, grid: Sequence[float]) -> None:
        super().__init__(mix, until, 1.0, grid)
        self.index = index

    def tanks(self, value: float) -> Sequence[Mix | Variant]:
        """The mix with the rate at a factor."""
        return [with_rate(self.mix, self.index, value)]

    def between(self, near: float, far: float) -> float | None:
        """The middle of the logarithms."""
        return float(np.sqrt(near * far)) if far != 0.0 else None

    def outward(self, value: float, nudge: int) -> float | None:
        """Two figures, away from 1."""
        if value == 0.0:
            return 0.0 if nudge == 0 else None
        if nudge >= NUDGES:
            return None
        more = value > self.start
        moved = value * NUDGE**nudge if more else value / NUDGE**nudge
        unit = 10.0 ** (np.floor(np.log10(moved)) - 1.0)
        steps = np.ceil(moved / unit - 1e-9) if more else np.floor(moved / unit + 1e-9)
        return round(float(steps * unit), 6)


class PhEdge(_Edge):
    """The pH of every draw moved by strong acid or base."""

    def tanks(self, value: float) -> Sequence[Mix | Variant]:
        """The mix with its pH moved."""
        return [Variant(self.mix, ph_shift=value)]

    def between(self, near: float, far: float) -> float | None:
        """The middle."""
        return 0.5 * (near + far)

    def outward(self, value: float, nudge: int) -> float | None:
        """A tenth of a unit, away from 0."""
        if nudge >= NUDGES:
            return None
        way = 1.0 if value > self.start else -1.0
        return float(way * (np.ceil(abs(value) * 10.0 - 1e-9) / 10.0 + 0.1 * nudge))


def edge(study: Study, seen: Followed, judged_at: str) -> Edge:
    """Where the mix would turn: each product's rate and the pH, all in few batches."""
    mix = seen.ready.mix
    count = len(mix.additions)
    ph = median(seen.fresh.clear.ph)
    levers: list[RateEdge | PhEdge] = []
    for grid in (GRID, LESS):
        for i in range(count):
            most = _most_factor(seen, i)
            levers.append(RateEdge(mix, judged_at, i, tuple(f for f in grid if f <= most)))
    for way in (1.0, -1.0):
        reach = tuple(way * g for g in PH_GRID if PH_ENDS[0] < ph + way * g < PH_ENDS[1])
        levers.append(PhEdge(mix, judged_at, 0.0, reach))
    turns = [_turn(found, judged_at) for found in search(study, levers)]
    above, below = (
        None if turn is None else replace(turn, at=ph + turn.at) for turn in turns[2 * count :]
    )
    products = tuple(
        ProductEdge(a.product.name, turns[i], turns[count + i]) for i, a in enumerate(mix.additions)
    )
    return Edge(products, ph, above, below)


def _turn(found: Found | None, judged_at: str) -> Turn | None:
    if found is None:
        return None
    culprit = found.followed[0].culprit(judged_at)
    return Turn(found.value, None if culprit is None else culprit.name)


def _most_factor(seen: Followed, index: int) -> float:
    """How often a product's rate fits into the tank beside the others."""
    mix = seen.ready.mix
    if mix.fill == "water first":
        return MOST_FACTOR
    apparent = tables().value("apparent_specific_volume_solids")
    rooms = []
    for addition, inside in zip(mix.additions, seen.ready.contents, strict=True):
        room = addition.amount_per_L(mix.carrier_L_per_m2) / 1000.0
        if addition.by_mass:
            room *= apparent if addition.product.dry else 1.0 / median(inside.density_kg_per_L)
        rooms.append(room)
    left = FULLEST - (sum(rooms) - rooms[index])
    return float(min(MOST_FACTOR, left / max(rooms[index], 1e-9)))
