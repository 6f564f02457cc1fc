"""What earlier jars and tanks taught, as it comes down to a Study; nothing flows back."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from chem.doubts import Shared
from chem.equilibrium import Equilibrium
from chem.equilibrium.activity import Floats
from chem.forecast.prepare import Prepared
from chem.label import Product


class Moves(Protocol):
    """What readings of tanks taught of the pH of others that hold some of the same jugs."""

    def knows(self, jugs: Sequence[str]) -> bool:
        """Whether anything was learned of any of these jugs, by their identities."""

    def shift(self, ready: Prepared, clear: Equilibrium) -> Floats:
        """(N,) by how much the pH of each draw of a tank, solved clear, is moved."""


def _as_labelled(product: Product) -> Product:
    return product


def _nothing_remembered(jugs: Sequence[str]) -> float:
    return 0.0


@dataclass(frozen=True)
class Beliefs:
    """Applied inside contents, follow and spread, so that every question sees one set of odds.

    jug: a jug as its label says -> as it was measured; shared: name of a column that jugs share
    (water, strip, sprayer) -> what is believed of it; memory: identities of the jugs in a tank ->
    shift in log odds of its solids; stretch: how much wider ranges of pH are than the draws say, 1
    or more; moves: what readings taught of the pH of tanks, whose closing acid or base is moved for
    it; key: what all this rests on, by which results may be kept. None of it reaches the rules.
    """

    jug: Callable[[Product], Product] = _as_labelled
    shared: Shared = field(default_factory=dict)
    memory: Callable[[Sequence[str]], float] = _nothing_remembered
    stretch: float = 1.0
    moves: Moves | None = None
    key: str = ""

    def __post_init__(self) -> None:
        if not 1.0 <= self.stretch < float("inf"):
            raise ValueError(f"stretch only widens: 1 or more, not {self.stretch!r}")
        if not isinstance(self.shared, Mapping):
            raise ValueError("shared maps names of columns to functions")

    def touch(self, jugs: Sequence[Product]) -> bool:
        """Whether a tank of these jugs is seen otherwise than by their labels alone."""
        names = [jug.identity for jug in jugs]
        return (
            self.stretch != 1.0
            or bool(self.shared)
            or self.memory(names) != 0.0
            or (self.moves is not None and self.moves.knows(names))
            or any(self.jug(jug) is not jug for jug in jugs)
        )


NOTHING_LEARNED = Beliefs()
"""The labels alone."""
