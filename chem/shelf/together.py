"""Some products in one tank, with its answer and dangers; and many of them, made as looked at."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import overload

import numpy as np
from numpy.typing import NDArray

from chem.forecast import Answer, Gas, Rule
from chem.shelf.tanks import Odds, Tank

QUARRELS, CLEAR, UNKNOWN, SAID_CLEAR, REFUSED = (1 << k for k in range(5))
RANK = {"curdle": 0.0, "haze": 1.0, "cannot tell": 2.0, "clear": 3.0}


@dataclass(frozen=True)
class Together:
    """Some products in one tank.

    members: places in the shelf's items; factor: on the first one's rate; odds: None where they
    must never meet or leave no room for water (untried: the rule's code, or `no_room`, then
    filled: the share that the products alone fill); refused: the code of the rule by which they
    must never be poured; answer: as a forecast's, at the time judged; salts_clear: whether the
    salts stay clear, whatever can't be judged; rules: broken, of this tank; new: those that no
    member breaks alone; gases: that no member gives alone; alone: the largest chance of solids of
    a member alone; worse: whether solids are; clear_at: factor on the first one's rate at which it
    would stay clear, None where not sought or not found.
    """

    members: tuple[int, ...]
    factor: float
    odds: Odds | None
    untried: str
    filled: float
    refused: str | None
    answer: Answer
    salts_clear: bool
    rules: tuple[Rule, ...]
    new: tuple[Rule, ...]
    gases: tuple[Gas, ...]
    alone: float
    worse: bool
    clear_at: float | None = None

    @property
    def toxic(self) -> bool:
        """Whether they must never meet."""
        return self.refused is not None

    @property
    def clear(self) -> bool:
        """Whether nothing speaks against one tank: no solids, no label's rule, no gas or heat.

        What a product does even alone (a strong acid heats) speaks against no tank.
        """
        return self.fine and self.salts_clear

    @property
    def fine(self) -> bool:
        """Whether it was tried, breaks no label's rule and gives no gas or heat of its own."""
        gas = bool(self.gases) and len(self.members) > 1
        return not (self.odds is None or self.new or gas)

    @property
    def quarrels(self) -> bool:
        """Whether they are better kept apart: not clear, and worse than each alone."""
        return not self.clear and (self.worse or not self.fine)

    @property
    def unknown(self) -> bool:
        """Whether the model can't tell of their salts, and nothing else speaks against them."""
        return not (self.clear or self.quarrels) and self.answer.word == "cannot tell"

    def shows(self, judged_at: str) -> float:
        """Chance that solids show by then; 1 where it was not tried at all."""
        return 1.0 if self.odds is None else self.odds.probability[judged_at]

    @property
    def marks(self) -> int:
        """What `Tanks.where` asks for."""
        held = (
            (self.quarrels, QUARRELS),
            (self.clear, CLEAR),
            (self.unknown, UNKNOWN),
            (self.answer.word == "clear", SAID_CLEAR),
            (self.refused is not None, REFUSED),
        )
        return sum(mark for there, mark in held if there)

    def badness(self, judged_at: str) -> tuple[float, ...]:
        """Toxic gas, other gas, then solids: what clogs, what shows, what shows later; the worst
        is least."""
        odds = self.odds
        gas = len(self.members) > 1 and bool(self.gases)
        return (
            0.0 if self.toxic else 1.0 if gas else 2.0,
            float(odds is not None),
            RANK[self.answer.word],
            -1.0 if odds is None else -odds.clogs[judged_at],
            -self.shows(judged_at),
            -1.0 if odds is None else -odds.probability["24h"],
        )


Make = Callable[[Tank], Together]


class Tanks(Sequence[Together]):
    """Tanks in order, each made as it is looked at: a catalogue has half a million.

    members: (n, k) places in the shelf's items; factor: (n,) on the first one's rate; marks: (n,)
    of each; shows: (n,) chance of solids by the time judged.
    """

    def __init__(
        self,
        make: Make,
        members: NDArray[np.int32],
        factor: NDArray[np.float64],
        marks: NDArray[np.uint8],
        shows: NDArray[np.float64],
    ) -> None:
        self._make = make
        self.members, self.factor, self.marks, self.shows = members, factor, marks, shows

    @classmethod
    def of(
        cls, make: Make, tanks: Iterable[Tank], judged_at: str, *, worst_first: bool = True
    ) -> Tanks:
        """Every tank looked at once, in the order given or the worst first."""
        every = list(tanks)
        width = max((len(t.members) for t in every), default=1)
        members = np.array([t.members for t in every], np.int32).reshape(len(every), width)
        badness = np.empty((len(every), len(RANK) + 2))
        marks = np.empty(len(every), np.uint8)
        for k, tank in enumerate(every):
            found = make(tank)
            badness[k], marks[k] = found.badness(judged_at), found.marks
        shows = -badness[:, 4]
        whole = cls(make, members, np.array([t.factor for t in every]), marks, shows)
        if not worst_first:
            return whole
        keys = (*reversed(members.T), *reversed(badness.T))
        return whole.pick(np.lexsort(keys) if every else np.arange(0))

    def pick(self, which: NDArray[np.int64] | NDArray[np.bool_] | slice) -> Tanks:
        """Some of them."""
        members, factor = self.members[which], self.factor[which]
        return Tanks(self._make, members, factor, self.marks[which], self.shows[which])

    def where(self, marked: int = 0, unmarked: int = 0) -> Tanks:
        """Those with all of some marks, and none of others."""
        return self.pick(((self.marks & marked) == marked) & ((self.marks & unmarked) == 0))

    def marked(self, mark: int) -> int:
        """How many have a mark."""
        return int(np.count_nonzero(self.marks & mark))

    def __len__(self) -> int:
        return len(self.marks)

    @overload
    def __getitem__(self, index: int) -> Together: ...
    @overload
    def __getitem__(self, index: slice) -> Tanks: ...
    def __getitem__(self, index: int | slice) -> Together | Tanks:
        if isinstance(index, slice):
            return self.pick(index)
        members = tuple(int(i) for i in self.members[index])
        return self._make(Tank(members, float(self.factor[index])))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sequence) and list(self) == list(other)

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        return f"<{len(self)} tanks, {self.marked(QUARRELS)} better kept apart>"
