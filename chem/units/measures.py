"""The shed's own measures: `10 mL syringe`, `kitchen scale 1 g`, `1 qt jug by 1 fl oz`."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from chem.errors import InputProblem, Problem
from chem.units.amounts import read_mass, read_volume
from chem.units.registry import factor

_AMOUNT = r"(\d+(?:\.\d+)?(?:/\d+)?)\s*((?:imp\s+)?(?:fl\.?\s*oz|[a-z]+))"
_MARKED = re.compile(rf"\b(?:by|marks? of|marked)\s+{_AMOUNT}", re.I)
_UP_TO = re.compile(rf"\b(?:to|up to|max)\s+{_AMOUNT}", re.I)
_SPOONS = {"teaspoon": 1.0, "tsp": 1.0, "tablespoon": 3.0, "tbsp": 3.0}
_SYRINGE_MARKS_ML = ((2.0, 0.1), (5.0, 0.2), (10.0, 0.5), (20.0, 1.0), (50.0, 2.0))
"""Capacity below which a syringe has marks of so much, 5 mL from there on (ISO 7886-1, table of
graduation intervals; value from memory)."""
CLOSE = 0.02
"""Share of an amount within which it is measured, where a mark allows it."""
KITCHEN_G = 5000.0
"""What a kitchen scale weighs at most (common practice, no source)."""
TENTH = 0.1
"""Marks of a jug, cup or cylinder of which nothing is told, as a share of it (common practice, no
source)."""


@dataclass(frozen=True)
class Measure:
    """Something to measure with.

    name: as written; by_mass: a scale; holds [mL] or [g], infinite where not told; mark: the
    smallest it shows, likewise; unit, per_unit: in which it is marked, and [mL] or [g] of one.
    """

    name: str
    by_mass: bool
    holds: float
    mark: float
    unit: str
    per_unit: float

    def shown(self, amount: float) -> str:
        """An amount [mL] or [g] rounded to its marks, in its own unit."""
        marks = round(amount / self.mark) * self.mark / self.per_unit
        digits = next((d for d in range(3) if math.isclose(marks, round(marks, d))), 3)
        return f"{marks:,.{digits}f} {self.unit}"


@dataclass(frozen=True)
class Measured:
    """An amount by the measures at hand: so many fillings of the first, the rest in the second.

    off: how far the rest may be off by half a mark, as a share of the amount.
    """

    fillings: int
    first: Measure | None
    rest: float
    second: Measure | None
    off: float

    @property
    def text(self) -> str:
        """`3 x 1 qt jug + 4 fl oz in the 8 fl oz cup`."""
        parts = []
        if self.fillings and self.first is not None:
            each = self.first.shown(self.first.holds) if self.first.by_mass else self.first.name
            parts.append(f"{self.fillings} x {each}")
        if self.rest > 0.0 and self.second is not None:
            where = "on" if self.second.by_mass else "in"
            parts.append(f"{self.second.shown(self.rest)} {where} the {self.second.name}")
        words = " + ".join(parts)
        return words if self.off <= 2.5 * CLOSE else f"{words} (within {100 * self.off:.0f} %)"


def read_measure(text: str, where: str) -> Measure:
    """Something to measure with, as people call it; `by 1 fl oz` tells its marks.

    Raises: InputProblem where it names no size, or no unit that is known.
    """
    name = " ".join(text.split())
    plain = name.casefold()
    marked, most = _MARKED.search(plain), _UP_TO.search(plain)
    bare = _UP_TO.sub(" ", _MARKED.sub(" ", plain))
    label = " ".join(_UP_TO.sub(" ", _MARKED.sub(" ", name)).split())
    if "measuring spoons" in bare:
        tsp = factor("teaspoon", "milliliter")
        return Measure(label, False, 3.0 * tsp, 0.25 * tsp, "tsp", tsp)
    scale = bool(re.search(r"\b(scales?|balance)\b", bare))
    size = re.search(_AMOUNT, bare)
    spoon = next((word for word in _SPOONS if re.search(rf"\b{word}s?\b", bare)), None)
    if spoon is not None:
        tsp = factor("teaspoon", "milliliter")
        holds = _number(size[1] if size else "1") * _SPOONS[spoon] * tsp
        return Measure(label, False, holds, holds, "tsp", tsp)
    if size is None:
        raise InputProblem(
            Problem(
                f"{where} = {text!r}",
                "no size to measure with",
                "`10 mL syringe`, `kitchen scale 1 g`, `1 qt jug by 1 fl oz` or `measuring spoons`",
            )
        )
    read = read_mass if scale else read_volume

    def amount(found: re.Match[str]) -> float:
        return 1000.0 * read(f"{_number(found[1]):g} {found[2]}", where)

    unit = size[2]
    per_unit = amount(size) / _number(size[1])
    unit = {"ml": "mL", "l": "L"}.get(unit, unit)
    if scale:
        label = " ".join(re.sub(_AMOUNT, " ", label, count=1, flags=re.I).split())
        most_g = amount(most) if most else KITCHEN_G if "kitchen" in bare else math.inf
        return Measure(label, True, most_g, amount(size), unit, per_unit)
    holds = amount(size)
    if marked:
        per_unit = amount(marked) / _number(marked[1])
        unit = {"ml": "mL", "l": "L"}.get(marked[2], marked[2])
        return Measure(label, False, holds, amount(marked), unit, per_unit)
    mark = TENTH * holds
    if "syringe" in bare:
        mark = next((m for below, m in _SYRINGE_MARKS_ML if holds < below), 5.0)
        mark = 0.01 if holds <= 1.0 else mark
    return Measure(label, False, holds, mark, unit, per_unit)


def _number(text: str) -> float:
    top, _, bottom = text.partition("/")
    return float(top) / float(bottom or 1)


def measured(amount: float, by_mass: bool, measures: Sequence[Measure]) -> Measured | None:
    """An amount [mL] or [g] by the measures of its kind; None where there is none."""
    tools = sorted((m for m in measures if m.by_mass == by_mass), key=lambda m: m.holds)
    if not tools or amount <= 0.0:
        return None
    fine = [m for m in tools if 0.5 * m.mark <= CLOSE * amount] or [min(tools, key=_mark)]
    whole = [m for m in fine if m.holds >= amount * (1.0 - 1e-9)]
    if whole:
        rest = round(amount / whole[0].mark) * whole[0].mark
        return Measured(
            0, None, rest, whole[0], abs(rest - amount) / amount + _half(whole[0], rest)
        )
    first = tools[-1] if tools[-1].holds < amount else max(fine, key=lambda m: m.holds)
    fillings = int(amount / first.holds + 1e-9)
    left = amount - fillings * first.holds
    second = next((m for m in fine if m.holds >= left), max(fine, key=lambda m: m.holds))
    rest = round(left / second.mark) * second.mark
    return Measured(fillings, first, rest, second, abs(rest - left) / amount)


def _mark(measure: Measure) -> float:
    return measure.mark


def _half(measure: Measure, amount: float) -> float:
    """Half a mark as a share, where not even one fits."""
    return 0.0 if amount else 0.5 * measure.mark
