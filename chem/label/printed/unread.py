"""What of a label gave nothing, and what kind of thing it would have been."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Literal

from chem.label.printed.derived import STARTS
from chem.label.printed.lines import Line
from chem.label.printed.records import NotUnderstood
from chem.label.printed.words import heading

Kind = Literal["composition", "rule", "rate", "reading", "other"]

_RULE = re.compile(
    r"\b(?:do not|don't|never|avoid|add (?:last|first)|incompatible|not compatible|"
    r"mix with|mixed)\b",
    re.IGNORECASE,
)
_RATE = re.compile(
    r"/ ?(?:ha|acre|m2|1000|m\b|pump)|\bper (?:ha|hectare|acre|1,?000|100|litre|m\b)|"
    r"\b(?:ml|cc|g|l) ?/ ?(?:l|hl|100 ?l|pump)\b|\brate\b|\bapply\b|% ?v/v",
    re.IGNORECASE,
)
_READING = re.compile(
    r"\b(?:density|specific gravity|ph|weight per|net|conductivity|viscosity|freezing point)\b|"
    r"\bkg ?/ ?l\b|\bg ?/ ?(?:ml|cm3|cc)\b|lbs?\.? ?(?:/|per) ?gal|\u00b0 ?[cf]\b",
    re.IGNORECASE,
)
_CONTENT = re.compile(r"%|\bper ?cent\b|\bm?g ?/ ?(?:kg|l)\b|\bppm\b|\bkg ?/ ?hl\b", re.IGNORECASE)
_NAMES = ("no source of that name", "this name is used for more than one compound")


def kinds_of(left: Sequence[NotUnderstood], lines: Sequence[Line]) -> list[Kind]:
    """The kind of each entry: from its words and units, then from the heading it stands under."""
    under: dict[int, bool] = {}
    composition = False
    for line in lines:
        head = heading(line.text)
        if head is not None:
            words = head[0].lower()
            composition = bool(
                re.search(r"analysis|content|composition|declar|guarant|ingredient|element", words)
            ) and not re.search(r"\bnet\b", words)
        elif STARTS.match(line.text):
            composition = True
        under[line.number] = composition
    return [_kind(entry, under.get(entry.line_number, False)) for entry in left]


def _kind(entry: NotUnderstood, under_composition: bool) -> Kind:
    words = entry.line
    if entry.why.startswith(_NAMES):
        return "composition"
    if _RULE.search(words) or entry.why.startswith("no nutrient or source"):
        return "rule"
    if _RATE.search(words) or "rate" in entry.why:
        return "rate"
    if _READING.search(words):
        return "reading"
    if _CONTENT.search(f"{words} {entry.why}") or under_composition:
        return "composition"
    return "other"
