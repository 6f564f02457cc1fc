"""A label's text, line by line, with its printing put right and nothing else touched.

Dotted leaders, odd spaces and line numbers go; a zero printed for the letter O in a formula is
read as the letter and noted. A letter among digits, or a comma with two readings, is never put
right: `doubtful_figure` says what to ask.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from chem.label.printed.columns import MARK, statements_of, with_units
from chem.label.printed.languages import in_known_words
from chem.units.text import tidy

GLUED = "\x1f"
"""Stands before a figure that a dotted leader touches: its own point may be one of the dots."""

SPACED = "\x1e"
"""The same, where the leader's dots stand apart, so that the last may be a decimal point."""

_LEADER = re.compile(r"[._\u00b7\u2219\u22c5\u2022~=-](?:\s?[._\u00b7\u2219\u22c5\u2022~=-])+")
_NUMBERED = re.compile(r"^\s*(?P<number>[0-9]{1,4})(?:[:|)\]]\s*|\.\s+|\s+)(?=[^\s%])")
_MARKS = re.compile("[\u00ae\u2122\u00a9\u2120\u2020\u2021]")
_RAISED = "\u00b9\u00b2\u00b3\u2070\u2074-\u2079"
_NOTE_MARK = re.compile(rf"(?P<word>^\s*|[A-Za-z]+|[)%])[{_RAISED}]+(?![\u207a\u207b+-])")
_SQUARED = ("m", "mm", "cm", "dm", "km", "in", "ft", "yd")
_DIVIDED = re.compile("(?<=[0-9])\\s*\u00f7\\s*(?=[0-9])")
"""Italian custom for a range, `4\u00f76 l/ha`; common practice, no source."""

_MIDDLE_DOT = re.compile("(?<=[0-9])[\u00b7\u2219\u22c5\u2022](?=[0-9])")
"""A raised decimal point, as older British printing has it; common practice, no source."""

_FORMULAS = (
    (re.compile(r"\bP\s?2\s?[O0]\s?5\b", re.I), "P2O5"),
    (re.compile(r"\bK\s?2\s?[O0](?![0-9]|[.,][0-9])\b", re.I), "K2O"),
    (re.compile(r"\bNa\s?2\s?[O0]\b(?![.,][0-9])", re.I), "Na2O"),
    (re.compile(r"\bS\s?[O0]\s?3\b", re.I), "SO3"),
    (re.compile(r"\bSi\s?[O0]\s?2\b", re.I), "SiO2"),
    (re.compile(r"\bCa\s?0\b(?!\s?%|[.,][0-9])|\bCaO\b", re.I), "CaO"),
    (re.compile(r"\bMg\s?0\b(?!\s?%|[.,][0-9])|\bMgO\b", re.I), "MgO"),
)
_FORMULA_LAST = re.compile(
    r"^(?P<name>[^0-9%()]*[^\W\d_])(?P<figure>[\s.:=]*[0-9]+(?:[.,][0-9]+)?\s?%)\s*"
    r"\((?P<formula>P2O5|K2O|CaO|MgO|SO3|Na2O|SiO2)\)(?=\s*$)"
)
"""`Potasio soluble 6 % (K2O)`: the formula belongs to the name; common practice, no source."""

_CAPITALS = re.compile(r"\b(?=[A-Zl]*[A-Z]{2})(?=[A-Z]*l)[A-Zl]{4,}\b|\bl(?=[A-Z]{3,}\b|ron\b)")
"""A small l among capitals, `NlTROGEN`, stands for the letter I, as does that of `lron`."""

_PER = re.compile(
    r"(?<=[0-9 ])(?P<much>k?g|m?[lL]|cc)[ .\u00b7]?(?P<of>ha|L|mL|cm|dm|m)-"
    r"(?P<power>[123])(?![0-9])"
)
"""A unit below the line as a negative power, `L ha-1`, `g.cm-3`: Brazilian custom, no source."""

_GPA = re.compile(r"(?<=\d)\s?gpa\b", re.IGNORECASE)
_LITRE = re.compile(r"(?<=/)\s?lit\b\.?|(?<=\d )(?:lit|ltrs?|lts?)\b\.?", re.IGNORECASE)
_SQUARE = re.compile(r"(?<=\d )mq\b|(?<=/)mq\b", re.IGNORECASE)
_PER_LITRE = re.compile(
    r"(?<=[0-9 ])(?P<much>m?g|grams?|kg)\.?\s?(?:/|per)\s?"
    r"(?:lit(?:re|er)s?|litros?|litri|litro|ltr)\b",
    re.IGNORECASE,
)
_PER_HL = re.compile(r"(?<=ml|cc|\dl| l)\s?/\s?hl\b|(?<=cm[3\u00b3])\s?/\s?hl\b", re.IGNORECASE)
_GROUPED = re.compile(r"(?<![\w.,])(?P<much>[1-9][0-9]{0,2}) (?P<rest>000)(?=\s?m?[gl]\b)")
"""Thousands parted by a space, as the SI brochure, 5.4.4, allows."""

_DIGITS = str.maketrans("OoIlSB", "001158")
_BROKEN = re.compile(r"(?<![0-9.,-])[0-9]{1,3}(?:[.,]\s+|\s+[.,])[0-9]+(?![0-9]*/)")
_LETTERS = (
    re.compile(
        r"(?:gravity|density|\bS\.?G\.?)[^0-9]*(?P<figure>[0-9]+[.,][0-9]*l)\b|"
        r"(?P<of>[0-9]+[.,][0-9]*l)(?=\s+(?:kg|g|lbs?|mg)\b)",
        re.IGNORECASE,
    ),
    re.compile(
        r"(?<![\w.,])(?:[0-9]+[.,][0-9]*[OoISB][0-9]*(?![A-Za-z])|[0-9]+[.,][0-9]*l[0-9]+|"
        r"(?=[0-9]*[OoIlSB])[0-9OoIlSB]*[0-9][OoIlSB][0-9OoIlSB]*[.,][0-9]+)"
    ),
    re.compile(r"(?<![\w.,-])(?=[OoIl.,]*[0-9])(?=[0-9.,]*[OoIl])[0-9OoIl.,]+(?=\s?%)"),
    re.compile(r"(?<![\w.,])[0-9]+[.,][Oo][0-9]*\b|(?<![\w.,])[OoIlSB][.,][0-9]+\b"),
    re.compile(r"(?<![\w-])(?=[0-9O-]*[0-9])(?=[0-9-]*O)[0-9O]{1,2}-[0-9O]{1,2}-[0-9O]{1,2}\b"),
)
_COMMA_NUMBER = re.compile(r"(?<![\w.,])[0-9]+(?:,[0-9]+)+(?:(?=[kmh]?[gl]\b|cc\b)|(?![\w,]))")
_PARTS_THOUSANDS = re.compile(r"[1-9][0-9]{0,2}(?:,[0-9]{3})+")
_POINT_THOUSANDS = re.compile(
    r"(?<![\w.,])[1-9][0-9]{0,2}\.[0-9]{3}(?=\s?(?:l|m2|m\u00b2|litres|ml)\b)", re.IGNORECASE
)
_UNIT_FIRST = re.compile(
    r"(?:%|\bper ?cent\b)(?P<basis>\s*(?:w/w|by weight|by mass|by wt\.?))?,?\s*\(?"
    r"(?P<end>min(?:imum)?|max(?:imum)?)\b\.?\)?\s*[:=|-]?\s*(?P<figure>[0-9]+(?:[.,][0-9]+)?)\s*$",
    re.IGNORECASE,
)
_ITEM = re.compile(
    r"^\s*(?:\(?(?:[ivx]{1,4}|[a-h])\)\s+(?=\S)|[1-9][0-9]?\.\s+(?=[A-Za-z]))", re.IGNORECASE
)
_DECIMAL = re.compile(r"[0-9]+,[0-9]+")
_POINT = re.compile(r"(?<![\w.,])[0-9]*\.[0-9]+(?![0-9.]|,[0-9])")
_POINTED_THOUSANDS = re.compile(r"[0-9]{1,3}(?:\.[0-9]{3})+")
_SURFACE = re.compile(r"\s?(?:sq|square|ft2|ft\b|acres?)", re.I)


@dataclass(frozen=True)
class Line:
    """One line: its number from 1, as printed, tidied, its columns, and what was put right."""

    number: int
    printed: str
    text: str
    cells: tuple[str, ...]
    notes: tuple[str, ...]


def lines_of(text: str) -> tuple[list[Line], bool]:
    """Every line of a label, blank ones included, and whether commas are its decimal points.

    A comma is a decimal point only where every number with a comma can be read so, at least one
    can't be read otherwise, and no number has a point.
    """
    plain = text.encode("utf-8", "replace").decode("utf-8")
    printed = ["".join(_printable(c) for c in row) for row in re.split(r"\r\n|\r|\n", plain)]
    rows = [_FORMULA_LAST.sub(r"\g<name> (\g<formula>)\g<figure>", r) for r in printed]
    plain_rows, comma_language = in_known_words(_without_numbers(rows))
    tidied = [_tidied(_ungrouped(row) if comma_language else row) for row in plain_rows]
    tidied = [
        row if given == row[1] and not note else ((), given, (*row[2], note) if note else row[2])
        for row, (given, note) in zip(tidied, with_units([r[1] for r in tidied]), strict=True)
    ]
    decimal_comma = _commas_are_decimal([words for _, words, _ in tidied], comma_language)
    out = []
    change = _with_points if decimal_comma else _as_twins([words for _, words, _ in tidied])
    if comma_language and not decimal_comma:
        change = _certain_points
    for number, (row, (cells, words, notes)) in enumerate(
        zip(printed, tidied, strict=True), start=1
    ):
        columns = tuple(change(cell) for cell in cells)
        out.append(Line(number, " ".join(row.split()), change(words), columns, notes))
    return out, decimal_comma


def doubtful_figure(text: str) -> tuple[str, tuple[str, ...]] | None:
    """Why a figure in `text` must be asked for, with its possible readings, or None."""
    for pattern in _LETTERS:
        found = pattern.search(text)
        if found:
            read = next((part for part in found.groups() if part), found[0])
            meant = read.translate(_DIGITS)
            return f"`{read}` has a letter among its digits", (meant,)
    broken = _BROKEN.search(text)
    if broken:
        meant = re.sub(r"\s", "", broken[0])
        return f"`{broken[0]}` seems to be a figure that is broken", (meant.replace(",", "."),)
    for found in _COMMA_NUMBER.finditer(text):
        grouped = _PARTS_THOUSANDS.fullmatch(found[0])
        if grouped and _SURFACE.match(text, found.end()):
            continue
        point, none = found[0].replace(",", ".", 1), found[0].replace(",", "")
        return f"the comma in `{found[0]}` can be read in two ways", (point, none)
    return None


def bare(text: str) -> str:
    """Without the marks of touching leaders."""
    return " ".join(text.replace(GLUED, "").replace(SPACED, ".").split())


def _printable(char: str) -> str:
    if char == "\t":
        return "  "
    kind = unicodedata.category(char)
    return "" if kind == "Cf" else " " if kind in ("Cc", "Cs", "Co", "Cn") else char


def _without_numbers(rows: Sequence[str]) -> list[str]:
    """Line numbers go where every line that is not blank has the next one."""
    full = [i for i, row in enumerate(rows) if row.strip()]
    found = [_NUMBERED.match(rows[i]) for i in full]
    numbers = [int(m["number"]) for m in found if m]
    consecutive = numbers == list(range(numbers[0], numbers[0] + len(full))) if numbers else False
    by_place = numbers == [i + 1 for i in full]
    if len(full) < 3 or not (consecutive or by_place):
        return list(rows)
    out = list(rows)
    for i in full:
        out[i] = _NUMBERED.sub("", rows[i], count=1)
    return out


def _tidied(row: str) -> tuple[tuple[str, ...], str, tuple[str, ...]]:
    row = _UNIT_FIRST.sub(r"\g<end> \g<figure> % w/w", _ITEM.sub("", row))
    row = _MIDDLE_DOT.sub(".", row)
    row = _DIVIDED.sub("-", _NOTE_MARK.sub(_without_mark, _MARKS.sub("", row)))
    cells = tuple(
        filter(None, (_one(cell)[0] for cell in re.split(r"\s{2,}|\|", row.replace("\xa0", " "))))
    )
    parts = [_one(part.replace("|", " ")) for part in statements_of(row)]
    notes = tuple(dict.fromkeys(note for _, told in parts for note in told))
    return (cells if len(parts) == 1 else ()), MARK.join(words for words, _ in parts), notes


def _without_mark(found: re.Match[str]) -> str:
    """The words before a raised figure: the mark of a footnote, but for a unit's power."""
    return found[0] if found["word"].lower() in _SQUARED else found["word"]


def _one(row: str) -> tuple[str, tuple[str, ...]]:
    words = _GROUPED.sub(r"\g<much>\g<rest>", _LEADER.sub(_leader, tidy(row)))
    words = _LITRE.sub("litre", _GPA.sub(" gal/acre", _SQUARE.sub("m2", words)))
    words = _PER_HL.sub("/100 L", _PER_LITRE.sub(r"\g<much>/L", words))
    words = _PER.sub(lambda m: f"{m['much']}/{m['of']}{m['power'].strip('1')}", words)
    notes = [
        f"`{found[0]}` is read as {found[0].replace('l', 'I')}"
        for found in _CAPITALS.finditer(words)
    ]
    words = _CAPITALS.sub(lambda found: found[0].replace("l", "I"), words)
    for pattern, right in _FORMULAS:
        for found in pattern.finditer(words):
            if "0" in found[0]:
                notes.append(f"`{found[0]}` is read as {right}")
        words = pattern.sub(right, words)
    return " ".join(words.split(" ")).strip(), tuple(dict.fromkeys(notes))


def _leader(found: re.Match[str]) -> str:
    """A space; with a mark where the leader's last dot touches a figure."""
    run, after = found[0], found.string[found.end() : found.end() + 1]
    before = found.string[found.start() - 1 : found.start()]
    if run in ("--", "-.") and before.isdigit() and (after.isdigit() or after == "."):
        return "-" + run[1:].replace("-", "")
    if not after.isdigit() or run[-1] != ".":
        return " "
    if len(run) > 2 and run[-2] == " " and " " not in run[:-2]:
        return " ."
    return f" {SPACED}" if " " in run else f" {GLUED}"


def _as_twins(rows: Sequence[str]) -> Callable[[str], str]:
    """A comma is a decimal point where the same figure is also printed with a point.

    Two languages print each line twice, `7.0%` and `7,0 %`.
    """
    pointed = {m[0] for row in rows for m in _POINT.finditer(row)}

    def changed(words: str) -> str:
        def twin(found: re.Match[str]) -> str:
            point = found[0].replace(",", ".")
            return point if point in pointed else found[0]

        return _COMMA_NUMBER.sub(twin, words)

    return changed


def _commas_are_decimal(rows: Sequence[str], comma_language: bool) -> bool:
    """Where a language has decimal commas, a point before three digits parts thousands."""
    certain = False
    for row in rows:
        points = (found[0] for found in _POINT.finditer(row))
        if any(not (comma_language and _POINTED_THOUSANDS.fullmatch(p)) for p in points):
            return False
        for found in _COMMA_NUMBER.finditer(row):
            grouped = _PARTS_THOUSANDS.fullmatch(found[0])
            if not _DECIMAL.fullmatch(found[0]) or (grouped and _SURFACE.match(row, found.end())):
                return False
            certain = certain or not grouped
    return certain


def _ungrouped(row: str) -> str:
    """Without the points of thousands, where a volume or an area of water follows."""
    return _POINT_THOUSANDS.sub(lambda found: found[0].replace(".", ""), row)


def _with_points(words: str) -> str:
    return _COMMA_NUMBER.sub(lambda found: found[0].replace(",", "."), words)


def _certain_points(words: str) -> str:
    """Both marks in one text of a language with decimal commas: a comma that can part no thousands.

    `1.27 kg/l` beside `3,0 %`: labels of Spain and Brazil mix them; common practice, no source.
    """

    def changed(found: re.Match[str]) -> str:
        certain = _DECIMAL.fullmatch(found[0]) and not _PARTS_THOUSANDS.fullmatch(found[0])
        return found[0].replace(",", ".") if certain else found[0]

    return _COMMA_NUMBER.sub(changed, words)
