"""Percentages on a label, as printed and in percent."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from functools import cache

from chem.label.printed.lines import GLUED, SPACED, bare
from chem.label.printed.vocabulary import table

NUMBER = r"(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)"


BASIS = (
    r"(?:w ?/ ?w|m ?/ ?m|wt ?/ ?wt|w ?/ ?v|m ?/ ?v|wt ?/ ?vol|v ?/ ?v|by (?:weight|mass|volume))"
)


_MINIMUM = r"(?:not less than|no less than|at least|min(?:imum)?\.?|>=?)"


_MAXIMUM = r"(?:not more than|no more than|at most|max(?:imum)?\.?|less than|up to|<=?)"


QUANTITY = re.compile(
    rf"(?:(?P<least>{_MINIMUM})\s*|(?P<most>{_MAXIMUM})\s*)?"
    rf"(?P<mark>[{GLUED}{SPACED}])?(?:(?P<before>%)\s*)?"
    rf"(?<![\w.])(?<![0-9],)(?<!\w-)(?P<low>{NUMBER})(?:\s?(?:-|to)\s?(?P<high>{NUMBER}))?"
    r"(?(before)(?!\s*%)|\s*(?:wt\.?\s?|mass\s?)?"
    r"(?P<unit>%|percent\b|per cent\b|pct\b\.?|"
    r"(?:m?g ?/ ?(?:kg|l)|kg ?/ ?(?:hl|100 ?l)|g ?/ ?100 ?(?:ml|g)|ppm)\b))"
    rf"(?:\s*[(\[]?\s*(?P<basis>{BASIS})(?![\w/])\s*[)\]]?)?"
    r"(?:\s*,?\s*\(?(?P<after>min(?:imum)?\b\.?|max(?:imum)?\b\.?|"
    r"(?:mxa|amx|mni|imn)\b)\)?)?",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Quantity:
    """Percent as printed: its text for the file, both ends, its last digit's worth, its basis."""

    text: str
    low: float
    high: float
    step: float
    basis: str | None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Refused:
    """A figure or a name that can't be used, why, and what it may be."""

    text: str
    why: str
    near: tuple[str, ...] = ()


def quantities(text: str, dots_hide_points: bool) -> Iterator[tuple[int, int, Quantity | Refused]]:
    """Every percentage of a line, with its place.

    dots_hide_points: the label prints figures such as `.05`, so a leader may end in a point.
    """
    for found in QUANTITY.finditer(text):
        yield found.start(), found.end(), _quantity(found, dots_hide_points)


@cache
def _units() -> dict[str, tuple[int, str | None]]:
    """Units of a content: how many of them are a percent, and of what."""
    return {
        unit: (int(part), basis or None)
        for part_of, units in table("units").items()
        for part, _, basis in [part_of.partition(" ")]
        for unit in units
    }


def basis_of(text: str) -> str | None:
    """The basis that words such as `% w/v` or `percent by weight` state."""
    found = re.search(BASIS, text, re.IGNORECASE)
    return None if found is None else _basis(found[0])


def _quantity(found: re.Match[str], dots_hide_points: bool) -> Quantity | Refused:
    text, low, high = bare(found[0].replace(SPACED, "")), found["low"], found["high"]
    glued = found["mark"] == GLUED and "." not in low
    if (found["mark"] == SPACED and "." not in low) or (
        glued and (low[0] == "0" or dots_hide_points) and low != "0"
    ):
        return Refused(
            text, "is the last dot a decimal point?", (f"{low.lstrip('0')} %", f"0.{low} %")
        )
    if low[0] == "0" and low[1:2].isdigit():
        return Refused(text, f"`{low}` seems to have lost its point", (f"0.{low} %",))
    after = (found["after"] or "").lower()
    if after in ("mxa", "amx", "mni", "imn"):
        return Refused(text, f"is `{after}` max or min?")
    if found["most"] or after.startswith("max"):
        return Refused(text, "a highest content guarantees nothing, and a product file has no key")
    key = _basis_key((found["unit"] or "%").rstrip("."))
    part, own = _units()[key]
    basis = _basis(found["basis"]) if found["basis"] else own
    if basis == "v/v":
        return Refused(text, "percent by volume of a nutrient has no meaning here", ("% w/w",))
    ends = [Decimal(end) / part for end in (low, high) if end]
    if ends[-1] > 100 or ends[0] > ends[-1]:
        return Refused(text, "no percentage of a product", ("a figure from 0 to 100",))
    printed = [f"{end.normalize():f}" if part > 1 else _digits(str(end)) for end in ends]
    notes = (f"{text} is {printed[0]} %",) if part > 1 else ()
    exponent = ends[0].as_tuple().exponent
    step = 10.0 ** (exponent if isinstance(exponent, int) else 0)
    return Quantity("-".join(printed), float(ends[0]), float(ends[-1]), step, basis, notes)


def _digits(number: str) -> str:
    return f"0{number}" if number.startswith(".") else number


def _basis(printed: str) -> str:
    key = _basis_key(printed)
    return next(basis for basis, words in table("bases").items() if key in words)


def _basis_key(text: str) -> str:
    plain = re.sub(r"\s*/\s*", "/", " ".join(text.lower().split()))
    return re.sub(r"/100 ?", "/100 ", plain)
