"""A label's lines parted into statements."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from chem.label.printed.columns import MARK
from chem.label.printed.declared import Named, is_filler, recognise
from chem.label.printed.derived import STARTS
from chem.label.printed.lines import Line
from chem.label.printed.quantities import quantities
from chem.label.printed.vocabulary import any_of, closes, opens
from chem.label.printed.words import heading

_SENTENCE = re.compile(r"(?<=[^\s.])\.\s+(?=\S)")


_NEXT_STATEMENT = re.compile(
    rf"(?<=\S)[\s,;/|]+(?={any_of('next_statement')}(?! range)|d\s?[:=]\s?[01]\.[0-9])",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Piece:
    """A statement on one line; `ended` by a full stop. Blank lines have no text."""

    line: Line
    text: str
    ended: bool


def pieces(lines: list[Line]) -> Iterator[Piece]:
    """A label parted into statements, in order; a blank line is one without text."""
    for line, text in ((each, part) for each in lines for part in each.text.split(MARK)):
        parts = [text]
        start = next((m for m in STARTS.finditer(text) if _list_may_start(text, m)), None)
        if start and start.start() > 0:
            before = text[: start.start()].strip(" (")
            parts = [text[start.start() :]]
            parts[:0] = [before] if any(True for _ in quantities(before, False)) else []
        for part in [s for p in parts for s in _statements(p)]:
            sentences = list(_sentences(part))
            for i, sentence in enumerate(sentences):
                ended = i + 1 < len(sentences) or sentence.rstrip(" )").endswith(".")
                yield Piece(line, sentence.strip(), ended)


def _list_may_start(text: str, found: re.Match[str]) -> bool:
    """Whether "derived from" at this place begins the label's list of sources."""
    before = text[: found.start()]
    if not re.search(r"\w", before):
        return True
    if found[0].startswith("(") or before.count("(") > before.count(")"):
        return False
    if any(True for _ in quantities(before, False)):
        return True
    named = recognise(before)
    nutrient = isinstance(named, Named) and not named.also
    return nutrient and not any(True for _ in quantities(text, False))


def _statements(text: str) -> Iterator[str]:
    if STARTS.match(text):
        yield text
        return
    parts = text.split(";")
    if len(parts) > 1 and all(map(_names_its_figure, parts)):
        yield from (part.strip() for part in parts)
        return
    if any(_NEXT_STATEMENT.match(f"x;{part}", 1) for part in parts[1:]):
        yield from (each for part in parts for each in _statements(part.strip()))
        return
    at = 0
    for found in _NEXT_STATEMENT.finditer(text):
        before = text[at : found.start()]
        if re.search(r"[0-9]", before) and not closes("leans_on", before):
            yield before
            at = found.end()
    yield text[at:]


def _names_its_figure(part: str) -> bool:
    """Whether a part such as `42 % w/w of SO3` has a percentage and a name, each its own."""
    rest = heading(part)
    figures = list(quantities(part if rest is None else rest[1], False))
    first = re.match(r"[\s\w:]*?[0-9]", part) if rest else re.match(r"\s*[0-9]", part)
    ends = figures[-1][1] if figures else 0
    return bool(figures and first) and not is_filler((part if rest is None else rest[1])[ends:])


def _sentences(text: str) -> Iterator[str]:
    at = 0
    for found in _SENTENCE.finditer(text):
        before = text[at : found.start()]
        if before[-1:].isdigit() and text[found.end() : found.end() + 1].isdigit():
            continue
        begins = opens("begins_a_sentence", text[found.end() :])
        if (begins or not closes("abbreviation", before)) and re.search(r"\w", before):
            yield before
            at = found.end()
    yield text[at:]
