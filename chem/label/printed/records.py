"""What a statement of a label gives, and what becomes of every line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from chem.label.printed.declared import Named
from chem.label.printed.lines import Line
from chem.label.printed.quantities import Quantity, Refused
from chem.reference import catalogue


@dataclass(frozen=True)
class Stated:
    """One key of the file and its text."""

    key: str
    text: str


@dataclass(frozen=True)
class Agents:
    """Chelating agents as stated, of some metals or (none named) of all."""

    metals: tuple[str, ...]
    agents: tuple[str, ...]


Fact = tuple[Stated | Agents, str]
"""A key of the file, or agents, with its meaning in words."""


@dataclass(frozen=True)
class Reading:
    """What one statement gave: facts with their meaning, what was left, and why."""

    facts: tuple[Fact, ...] = ()
    left: tuple[Refused, ...] = ()
    ignored: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()


def fact(key: str, text: str, meaning: str = "") -> Fact:
    """A key of the file with its meaning in words."""
    return Stated(key, text), meaning or f"{key} {text}"


@dataclass(frozen=True)
class Understood:
    """A line, or a part of one, and what it was read as."""

    line_number: int
    line: str
    meaning: str


@dataclass(frozen=True)
class NotUnderstood:
    """A line, or a part of one, that gave nothing: why, and what it may have meant."""

    line_number: int
    line: str
    why: str
    near: tuple[str, ...] = ()


@dataclass(frozen=True)
class Ignored:
    """A line left out on purpose."""

    line_number: int
    line: str
    reason: str


@dataclass(frozen=True)
class Pasted:
    """What a pasted label gave.

    form: the product file as plain data, the content of `toml`; problems: where the label
    contradicts itself.
    """

    form: dict[str, Any]
    toml: str
    understood: tuple[Understood, ...]
    not_understood: tuple[NotUnderstood, ...]
    ignored: tuple[Ignored, ...]
    problems: tuple[str, ...]


@dataclass(frozen=True)
class Kept:
    """A figure of the file and where it stands."""

    named: Named
    quantity: Quantity
    line: Line


def in_terms_of(kept: Kept) -> tuple[float, float]:
    """Percent and its last digit's worth, as the US line of the element."""
    middle, step = 0.5 * (kept.quantity.low + kept.quantity.high), kept.quantity.step
    line = None if kept.named.also else catalogue().guarantees.get(kept.named.name)
    if line is None or line.same_as is None:
        return middle, step
    factor = catalogue().guarantees[line.same_as].grams_per_mole / line.grams_per_mole
    return middle * factor, step * factor
