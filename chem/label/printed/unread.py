"""What of a label gave nothing, and what kind of thing it would have been."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Literal

from chem.label.printed.declared import NO_LINE
from chem.label.printed.derived import STARTS
from chem.label.printed.lines import Line
from chem.label.printed.records import NotUnderstood
from chem.label.printed.vocabulary import says
from chem.label.printed.words import heading, is_care

Kind = Literal["composition", "rule", "rate", "reading", "other", "care"]

MOST_WORDS = 8
"""Of a heading; no source."""

_PER = (
    r"\s?(?:/|\bper\b|\bpor\b(?: cada)?|\bpar\b|\bje\b|\bauf\b|\bin\b|\bfor\b|\bp/)\s?[0-9.,]*\s?"
)
_AREA = (
    r"(?:ha\b|hect|acre|ac\b|a\b|ares?\b|ar\b|m2|m\u00b2|sq|1,?000|m\b|mz\b|manzana|tarea|alqueire|"
    r"fanega|pump|bomba|mochila|tank|hl\b|100 ?l\b)"
)
_RATE = re.compile(
    rf"\b(?:m?l|cc|cm3|cm\u00b3|fl\.? ?oz|oz|qts?|pts?|gal\w*|tsp|tbsp|lit\w+){_PER}"
    rf"(?:{_AREA}|l\b|lit|gal)|\b(?:k?g|lbs?){_PER}{_AREA}|\bha-1\b|% ?v/v|\u2030|\b1 ?: ?[0-9]+\b|"
    r"\bof water\b",
    re.IGNORECASE,
)
_READING = re.compile(
    r"\bkg ?/ ?l\b|\bg ?/ ?(?:ml|cm3|cc)\b|lbs?\.? ?(?:/|per) ?gal", re.IGNORECASE
)
_CONTENT = re.compile(r"%|\bper ?cent\b|\bm?g ?/ ?(?:kg|l)\b|\bppm\b|\bkg ?/ ?hl\b", re.IGNORECASE)
_STATED = re.compile(
    rf"\b(?:density|gravity|ph|lbs?\.?|kg)\b[^;]*?[0-9]|{_READING.pattern}", re.IGNORECASE
)
"""A figure that a file has a place for is not left out as care."""

_SOURCES = ("no source of that name", "this name is used for more than one compound")
_HIGHEST = "a highest content guarantees nothing"
"""A bound, as `less than 2 % chlorine`: it leaves the composition no less known."""


def kinds_of(left: Sequence[NotUnderstood], lines: Sequence[Line]) -> list[Kind]:
    """The kind of each entry: from its words and units, then from the heading it stands under."""
    under: dict[int, bool] = {}
    composition = False
    for line in lines:
        head = heading(line.text)
        if head is not None:
            composition = (
                bool(says("composition_heading", head[0])) and "net" not in head[0].lower()
            )
        elif STARTS.match(line.text) or _is_heading(line.text):
            composition = True
        elif says("reading", line.text) or _RATE.search(line.text):
            composition = False
        under[line.number] = composition
    known = {line.number: line.text for line in lines}
    return [_kind(e, known.get(e.line_number, ""), under.get(e.line_number, False)) for e in left]


def _is_heading(text: str) -> bool:
    """Whether a short line without figures announces contents, as `Composition (% w/w)`."""
    plain = not re.search(r"[0-9]", text) and len(text.split()) <= MOST_WORDS
    return plain and says("composition_heading", text) is not None


def _kind(entry: NotUnderstood, text: str, under_composition: bool) -> Kind:
    words = entry.line if entry.line in text else f"{entry.line} {text}"
    if entry.why.startswith(_SOURCES):
        return "composition"
    if entry.why.startswith(_HIGHEST):
        return "reading"
    if re.search(r"\bph\b", words, re.I) and says("of_the_spray", words):
        return "rule"
    amount = _RATE.search(words)
    told = amount or _CONTENT.search(f"{words} {text}") or _STATED.search(words)
    if is_care(words) and not told:
        return "care"
    rate = amount or says("rate", words)
    if says("forbids", words) or entry.why.startswith("no nutrient or source"):
        if is_care(words):
            return "care"
        limit = amount or says("exceeds", words)
        return "rate" if limit and not says("mixing", words) else "rule"
    if rate or "rate" in entry.why:
        return "rate"
    if entry.why.startswith(NO_LINE):
        return "composition"
    if says("reading", words) or _READING.search(words):
        return "reading"
    if _CONTENT.search(f"{words} {entry.why}"):
        return "composition"
    return "composition" if under_composition else "other"
