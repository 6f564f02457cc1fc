"""The value of one lever nearest to where it stands that does what is wanted.

A grid outward from the start and halving, with few draws and all levers in the same batches; then
each found value is rounded away from the start and moved on until it holds with all draws.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from chem.forecast.course import Followed
from chem.forecast.rules import Rule
from chem.forecast.study import Study, Variant
from chem.tank import Mix

SEARCH_DRAWS = 64


class Lever(Protocol):
    """One thing to vary.

    start: where it stands; grid: values tried, outward from it; halvings: how often a bracket is
    halved at most; until: the time by which its tanks are judged; None for the fresh pH alone.
    """

    start: float
    grid: Sequence[float]
    halvings: int
    until: str

    def tanks(self, value: float) -> Sequence[Mix | Variant]:
        """The tanks at a value; None of them may be one that must never be poured."""

    def accepts(self, followed: Sequence[Followed]) -> tuple[Rule, ...]:
        """What speaks against the tanks at a value; nothing where they do what is wanted."""

    def between(self, near: float, far: float) -> float | None:
        """Where to look next between a value that doesn't do and one that does; None: enough."""

    def outward(self, value: float, nudge: int) -> float | None:
        """The value rounded away from the start, moved on by some nudges; None: no further."""


@dataclass(frozen=True)
class Found:
    """A value that does what is wanted with all draws, and its tanks followed."""

    value: float
    followed: tuple[Followed, ...]


def search(study: Study, levers: Sequence[Lever], *, few: int = SEARCH_DRAWS) -> list[Found | None]:
    """For each lever the value nearest its start that is accepted; None where none of its grid is.

    few: draws of the search; all of the study's confirm what it finds, and search themselves where
    the few had found what they don't confirm.
    """
    out: list[Found | None] = [None] * len(levers)
    left = list(range(len(levers)))
    for some in (study.few(few), study):
        own = [levers[k] for k in left]
        brackets = _bracket(some, own)
        _halve(some, own, brackets)
        confirmed = _confirm(study, own, brackets)
        for j, one in confirmed.items():
            out[left[j]] = one
        left = [left[j] for j in brackets if j not in confirmed]
        if not left:
            break
    return out


def _confirm(
    study: Study, levers: Sequence[Lever], brackets: dict[int, tuple[float, float]]
) -> dict[int, Found]:
    """Lever -> what was found, rounded and moved on until it holds."""
    found: dict[int, Found] = {}
    left = list(brackets)
    nudge = 0
    while left:
        asked = {k: levers[k].outward(brackets[k][1], nudge) for k in left}
        values = [(k, value) for k, value in asked.items() if value is not None]
        for (k, value), tanks in zip(values, _followed(study, levers, values), strict=True):
            if not levers[k].accepts(tanks):
                found[k] = Found(value, tuple(tanks))
        left = [k for k, _ in values if k not in found]
        nudge += 1
    return found


def _bracket(study: Study, levers: Sequence[Lever]) -> dict[int, tuple[float, float]]:
    """Lever -> the last value of its grid that doesn't do and the first that does."""
    every = [(k, value) for k, lever in enumerate(levers) for value in lever.grid]
    good = [
        not levers[k].accepts(tanks)
        for (k, _), tanks in zip(every, _followed(study, levers, every), strict=True)
    ]
    brackets: dict[int, tuple[float, float]] = {}
    near = {k: lever.start for k, lever in enumerate(levers)}
    for (k, value), does in zip(every, good, strict=True):
        if does and k not in brackets:
            brackets[k] = (near[k], value)
        near[k] = value
    return brackets


def _halve(study: Study, levers: Sequence[Lever], brackets: dict[int, tuple[float, float]]) -> None:
    """Draw the brackets together, in place."""
    for round_ in range(max((levers[k].halvings for k in brackets), default=0)):
        open_ = [k for k in brackets if round_ < levers[k].halvings]
        asked = [(k, levers[k].between(*brackets[k])) for k in open_]
        middles = [(k, value) for k, value in asked if value is not None]
        if not middles:
            return
        for (k, middle), tanks in zip(middles, _followed(study, levers, middles), strict=True):
            near, far = brackets[k]
            brackets[k] = (middle, far) if levers[k].accepts(tanks) else (near, middle)


def _followed(
    study: Study, levers: Sequence[Lever], asked: Sequence[tuple[int, float]]
) -> list[list[Followed]]:
    """The tanks of each lever at each value, all of one time in the same batches."""
    tanks = [list(levers[k].tanks(value)) for k, value in asked]
    out: list[list[Followed]] = [[] for _ in asked]
    for until in dict.fromkeys(levers[k].until for k, _ in asked):
        places = [i for i, (k, _) in enumerate(asked) if levers[k].until == until]
        found = iter(study.follow([t for i in places for t in tanks[i]], until=until))
        for i in places:
            out[i] = [next(found) for _ in tanks[i]]
    return out
