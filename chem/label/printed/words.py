"""Headings, identities, and words that a product file has no place for."""

from __future__ import annotations

import re
from itertools import pairwise

from chem.label.printed.declared import recognise
from chem.label.printed.quantities import Refused, quantities
from chem.label.printed.records import Reading
from chem.label.printed.rules import is_rule
from chem.label.printed.vocabulary import any_of, is_one, says
from chem.reference import catalogue

CARE = "care in use and storage"
NO_RULE = "words without figures or rules"

_ORDER = re.compile(r"\b(?:add|pour)(?:ed|ing)?\b.*\b(?:last|first)\b", re.IGNORECASE)
_TELEPHONE = re.compile(
    r"(?:\+?[0-9]{1,3}[ .-])?\(?\b[0-9]{3}\)?[ .-][0-9]{3}[ .-][0-9]{4}\b|"
    r"(?:\b(?:tel|phone|telephone|call|fax)\b|^\+)[^a-z]*[0-9][0-9 ()/.-]{5,}",
    re.IGNORECASE,
)
_ADDRESS = re.compile(r"\bhttps?:|\bwww\.|[\w.]+@[\w.]+\.[a-z]|\w\.(?:com|org|net|eu)\b", re.I)
_IDENTITY = re.compile(
    r"(?:^|\s)F-?\s?[0-9]{3,}\b|\b(?:reg(?:istration)?|lot|batch|item|sku|upc|product|cas|code|"
    r"part|article|form|rev(?:ision)?|license|licence|permit|un)\.?\s*(?:no\b\.?|nr\b\.?|#|number|"
    r"code|id)?\s*[:.#-]*\s*[a-z]{0,3}-?[0-9][\w./-]*|\b(?:exp(?:iry)?|mfg|best before|made on|"
    r"date|use by)\b[^0-9]*[0-9]|#\s?[0-9]+|\bregulation\b|"
    r"\b[0-9]{1,4}[./-][0-9]{1,2}[./-][0-9]{4}\b|\b[0-9]{4}-[0-9]{2}-[0-9]{2}\b",
    re.IGNORECASE,
)
_HEADING = re.compile(
    rf"^(?:(?:minimum |typical )?{any_of('heading')}(?:\s*\([^()]*\))?|"
    rf"{any_of('heading_opening')}(?:\(s\))?)[\s:;.]*",
    re.IGNORECASE,
)
_NOT_HELD = re.compile(
    rf"^(?:\(?(?:EUH|[HPRS])[0-9]{{2,3}}\b[\s+/):;,.-]*)+|"
    rf"^(?:warning|caution)\b.*\b(?:boron|molybdenum)\b|^(?:max(?:imum)?\.? )?{any_of('not_held')}|"
    r"^water\b(?![- ](?:in)?soluble)|^total\b[^a-z]*100\b",
    re.IGNORECASE,
)


def heading(text: str) -> tuple[str, str] | None:
    """(the heading, what follows it on the same line), where a statement begins with one."""
    found = _HEADING.match(text)
    if found:
        return text[: found.end()].strip(" :;."), text[found.end() :].strip()
    plain = text.strip(" :;.*-()")
    if is_one("heading_alone", plain) or re.fullmatch(r"%|page [0-9]+(?: of [0-9]+)?", plain, re.I):
        return text, ""
    return None


def form_of(text: str) -> str | None:
    """The physical form that a short line names."""
    if len(text.split()) > 8:
        return None
    return next((f for f in ("suspension", "emulsion", "dry") if says(f"form_{f}", text)), None)


def chore(text: str) -> str | None:
    """Why words without figures can be left out, or None where they may be a rule."""
    words = re.findall(r"[a-z]+", text.lower())
    if says("never_so", text) and says("mixing", text) and not is_care(text):
        return None
    if says("chore", text):
        return CARE
    if _ORDER.search(text) or (says("negation", text) and _names_anything(words)):
        return None
    if says("touches_a_rule", text):
        return None if is_rule(text) or _names_anything(words) else NO_RULE
    return None if len(words) <= 4 and _names_anything(words) else NO_RULE


def _names_anything(words: list[str]) -> bool:
    known = catalogue()
    names = [*words, *(f"{a} {b}" for a, b in pairwise(words))]
    return any(
        len(n) > 2 and (n in known.guarantee_names or n in known.source_names) for n in names
    )


def read_identity(text: str) -> Reading | None:
    """Numbers that identify, dates, addresses and makers."""
    if any(True for _ in quantities(text, False)):
        return None
    for found, reason in (
        (_TELEPHONE.search(text), "a telephone number"),
        (_ADDRESS.search(text), "an address on the net"),
        (says("identity", text) and re.search(r"[0-9]", text), "an identification or a date"),
        (_IDENTITY.search(text), "an identification or a date"),
        (says("maker", text), "who made or sells it"),
    ):
        if found:
            return Reading(ignored=(reason,))
    return None


def is_idle(text: str) -> bool:
    """Whether a name such as `inert ingredients` or `viscosity` has no place in a product file."""
    return _NOT_HELD.search(text) is not None


def read_idle(text: str) -> Reading | None:
    """Figures such as a freezing point, which a product file does not hold."""
    if is_idle(text) and isinstance(recognise(text), Refused):
        return Reading(ignored=("nothing that a product file holds",))
    return None


def is_told(text: str) -> bool:
    """Whether care belongs in the file: what a sprayer's hand can still do something about."""
    return says("told_care", text) is not None or is_care(text)


def is_care(text: str) -> bool:
    """Whether a line speaks of spraying, keeping or health and of no mixing: no rule of a tank."""
    degrees = re.search(r"\u00b0 ?[cf]\b|\b[0-9]+ ?(?:f|c|deg\w*)\b", text, re.I)
    return bool(degrees or says("care", text)) and not says("mixing", text)
