"""Every figure of a label: claimed by what was made of it, or reported as claimed by nothing.

A second look that trusts no reader: figures are taken from the text as it was printed, and each
must stand in a fact, in the reason why its line was left out, or in a question; or a convention of
labels, named below, says what it is. What remains is a figure that nobody read.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from chem.errors import InputProblem
from chem.label.printed.lines import Line, bare
from chem.label.printed.measures import HOW_OFTEN, MASS, VOLUME
from chem.label.printed.records import Ignored, NotUnderstood, Understood
from chem.label.printed.vocabulary import closes
from chem.label.printed.words import CARE, NO_RULE
from chem.label.resolving import resolve_guarantee
from chem.units import read_density_range, read_mass, read_volume

TWINS_AGREE = 0.03
"""Relative; labels round one unit into another; common practice, no source."""

WEAK_REASONS = (
    NO_RULE,
    "a title or a description",
    "a title beside the grade",
    "a heading",
    "a rule",
    "a title",
)
"""Reasons for leaving out words; a figure beside them is not left out with them."""

_FIGURE = re.compile(
    "(?<![^\\W_])(?<![0-9][.,\u00b7])[0-9]+(?:[.,\u00b7\u2219\u22c5\u2022][0-9]+)*"
)
_GROUP = re.compile(r" ([0-9]{3})(?![0-9])")
_STATED = re.compile(r"[0-9]+(?:\.[0-9]+)?")
_CONTENT = re.compile(r"\s*(?:%|m?g\s?/\s?(?:kg|l)\b|ppm\b|per ?cent\b)", re.IGNORECASE)
_DEGREES = re.compile(
    r"\s*(?:(?:[-/\u2013]|to|and|bis|\u00e0|a|y|e|et|und|tot|en)\s*-?[0-9]+\s*)?"
    r"(?:\u00b0|\u00ba|\u02da|deg\w*\.?)?\s*[CF]\b",
    re.IGNORECASE,
)
_UNIT = re.compile(
    rf"\s*(?P<unit>(?:{VOLUME}|{MASS})(?:\s?/\s?(?:l|ml|gal(?:lon)?|lit(?:er|re)|cm3|cc|m3)\b)?)",
    re.IGNORECASE,
)
_WARNING = re.compile(
    r"\b(?:boron|molybdenum)\b.*\b(?:injur\w+|toxic|harm\w*)|^(?:warning|caution)\b.*"
    r"\b(?:boron|molybdenum)\b",
    re.IGNORECASE,
)
_MASS_OF = re.compile(r"\s*(?:lbs?|pounds?|kg)\.? (?:of )?(?:actual )?([a-z]+)\b", re.IGNORECASE)
_NOT_HELD = re.compile(
    r"\s*(?:m|d|\u00b5)s\s?/\s?c?m\b|\s*(?:mpa[ .]?s|cps?|cst|mesh)\b", re.IGNORECASE
)
_ITEM = re.compile(r"\s*[.):]\s*\D")


@dataclass(frozen=True)
class Token:
    """A figure as printed: its values as it may be read, its line and place, its column."""

    text: str
    values: tuple[float, ...]
    line: int
    start: int
    end: int
    column: int


@dataclass(frozen=True)
class Claim:
    """A figure and what it was taken for."""

    token: Token
    fact: str


def tokens_of(line: Line) -> Iterator[Token]:
    """The figures of a line; a digit inside a formula or a word is none."""
    for found in _FIGURE.finditer(line.printed):
        before = line.printed[: found.start()]
        column = len(re.findall(r"\t|\s{2,}|\|", before))
        group = _GROUP.match(line.printed, found.end())
        values = _values(found[0]) + (_values(found[0] + group[1]) if group else ())
        yield Token(found[0], values, line.number, found.start(), found.end(), column)


def ledger(
    lines: Sequence[Line],
    understood: Sequence[Understood],
    ignored: Sequence[Ignored],
    asked: Sequence[NotUnderstood],
) -> tuple[list[Claim], list[Token]]:
    """Claims on figures, and the figures that nothing claims."""
    said: dict[int, list[str]] = defaultdict(list)
    left: dict[int, list[Ignored]] = defaultdict(list)
    questions: dict[int, list[str]] = defaultdict(list)
    for u in understood:
        said[u.line_number].append(
            u.meaning + (f" ({u.line})" if u.meaning[:7] == "source " else "")
        )
    for i in ignored:
        if i.reason not in WEAK_REASONS:
            left[i.line_number].append(i)
    for q in asked:
        questions[q.line_number].append(f"{q.line} {' '.join(q.near)}")
    claims, unclaimed = [], []
    for line in lines:
        meanings = list(said[line.number])
        for meaning in said[line.number]:
            onward = re.match(r"goes on from line (\d+)", meaning)
            meanings += said[int(onward[1])] if onward else ()
        for token in tokens_of(line):
            content = _CONTENT.match(line.printed, token.end) is not None
            aside = (i for i in left[line.number] if not (content and i.reason == CARE))
            fact = (
                next((m for m in meanings if _holds(m, token)), None)
                or next((f"asked: {q}" for q in questions[line.number] if _holds(q, token)), None)
                or _by_convention(token, line, meanings)
                or next((i.reason for i in aside if _holds(f"{i.line} {i.reason}", token)), None)
            )
            if fact is None:
                unclaimed.append(token)
            else:
                claims.append(Claim(token, fact))
    return claims, unclaimed


def with_figures(
    lines: Sequence[Line], unclaimed: Sequence[Token], asked: Sequence[NotUnderstood]
) -> list[NotUnderstood]:
    """Questions, their whole line where one left out a figure; and one for every other line."""
    lost: dict[int, list[str]] = defaultdict(list)
    for token in unclaimed:
        lost[token.line].append(f"`{token.text}`")
    printed = {line.number: line.printed for line in lines}
    out = []
    for entry in asked:
        figures = lost.pop(entry.line_number, None)
        out.append(replace(entry, line=printed[entry.line_number]) if figures else entry)
    for number, figures in lost.items():
        why = f"what {', '.join(figures)} means was not read"
        out.append(NotUnderstood(number, printed[number], why))
    return out


def _values(text: str) -> tuple[float, ...]:
    text = re.sub("[\u00b7\u2219\u22c5\u2022]", ".", text)
    spellings = {text.replace(",", ""), text.replace(",", "."), text.replace(".", "")}
    return tuple(float(s) for s in spellings if _STATED.fullmatch(s))


def _holds(text: str, token: Token) -> bool:
    return not _stated_in(text).isdisjoint(token.values)


@lru_cache(256)
def _stated_in(text: str) -> frozenset[float]:
    """Every value in a text; asked for once per figure of its line."""
    return frozenset(v for found in _FIGURE.finditer(text) for v in _values(found[0]))


def _by_convention(token: Token, line: Line, meanings: Sequence[str]) -> str | None:
    """What labels print beside a fact: temperatures, the other unit, the other basis, item numbers.

    Each is common practice, no source.
    """
    text = line.printed
    if _DEGREES.match(text, token.end):
        return "a temperature"
    if not text[: token.start].strip(" ("):
        if _ITEM.match(text, token.end):
            return "an item's number"
        if not bare(line.text).startswith(token.text):
            return "a line's number"
    if HOW_OFTEN.match(text, token.end):
        return "how often it is sprayed"
    per_gallon = _MASS_OF.match(text, token.end)
    if per_gallon and resolve_guarantee(per_gallon[1]):
        return "a nutrient's mass in a gallon"
    if _NOT_HELD.match(text, token.end):
        return "a reading that no product file holds"
    if closes("identifies", text[: token.start]):
        return "a number of identification"
    if closes("threshold", text[: token.start]):
        if _WARNING.search(text):
            return "from how much on the law asks for a warning"
        if re.match(r"ingredients?\b", text, re.IGNORECASE):
            return "from how much on the law asks for an ingredient"
    diluted = any(m.startswith("pH ") and not m.endswith("(neat)") for m in meanings)
    if diluted and not {1.0, 10.0, 100.0}.isdisjoint(token.values):
        return "the strength at which the pH was read"
    if any(m.startswith("pH ") for m in meanings) and re.search(r"\u00b1|\+/-", text):
        return "the spread of the pH"
    unit = _UNIT.match(text, token.end)
    return "the same in another unit" if unit and _twin(token, unit["unit"], meanings) else None


def _twin(token: Token, unit: str, meanings: Sequence[str]) -> bool:
    for meaning in meanings:
        key, _, stated = meaning.partition(" ")
        read = _READERS.get(key)
        if read is None:
            continue
        for value in token.values:
            try:
                one, other = read(stated), read(f"{value} {unit}")
            except InputProblem:
                continue
            if abs(one - other) <= TWINS_AGREE * one:
                return True
    return False


_READERS: dict[str, Callable[[str], float]] = {
    "net_weight": lambda text: read_mass(text, "label"),
    "net_volume": lambda text: read_volume(text, "label"),
    "density": lambda text: sum(read_density_range(text, "label")) / 2.0,
}
