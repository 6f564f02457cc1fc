"""A label as people have it, a text that was copied, typed or scanned, read into a product file.

Every line is understood, left out for a stated reason, or named as not understood; a figure or a
name with two readings is never chosen for the reader.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import replace

from chem.errors import InputProblem, Problem
from chem.files import must_be_text
from chem.label.printed.content import Content
from chem.label.printed.declared import Named
from chem.label.printed.derived import (
    MAY_START,
    STARTS,
    across,
    are_apart,
    is_open,
    items_of,
    resolves,
)
from chem.label.printed.lines import Line, bare, lines_of
from chem.label.printed.pieces import Piece, pieces
from chem.label.printed.quantities import Quantity
from chem.label.printed.records import Ignored, NotUnderstood, Pasted, Stated, Understood
from chem.label.printed.rules import is_rule
from chem.label.printed.statements import IN_WATER, MIXED_UP, Around, Outcome, read_statement
from chem.label.printed.vocabulary import says
from chem.label.printed.whole import finish
from chem.label.printed.words import form_of
from chem.label.product import NITROGEN_FORMS

__all__ = ["Ignored", "NotUnderstood", "Pasted", "Understood", "read_paste"]

LIQUID = ("net_volume", "specific_gravity", "density")
"""What only the label of a liquid gives."""

LEAST_LISTED = 3
"""Sources in a row from which a line is a list of them without its heading; no source."""

LEAST_NAMED = 2
"""The same behind a colon."""

_UNFINISHED = re.compile(r"\b(?:as|of|by|from|with|\([A-Z][a-z]?\))\s*$")
_SYMBOL_FIRST = re.compile(r"\([A-Z][a-z]?\)\s|as\b")
_AS_WHAT = re.compile(r"\bas \w+$", re.IGNORECASE)
_GOES_ON = re.compile(r"(?:as|of|by|from)\b", re.IGNORECASE)
_LEADS_ON = re.compile(r"\b(?:as|of|by|from|with)$", re.IGNORECASE)
_UNIT_ALONE = re.compile(r"(?:m?[lg]|kg|%|fl\.? ?oz|gal|lbs?|qts?)\s?(?:/|per\b|$)", re.IGNORECASE)
_OPEN_RANGE = re.compile(r"(?<=[0-9])\s*(?:-|\b(?:to|a|\u00e0|bis|tot)\b)$", re.IGNORECASE)
_OTHER_END = re.compile(r"(?:-|\b(?:to|a|\u00e0|bis|tot)\b)\s?(?=[0-9.]+\s*(?:[;,(]|$))", re.I)
_SPREAD, _SPREAD_NEXT = re.compile("(?:\u00b1|\\+/-)\\s?[0-9]"), re.compile("(?:\u00b1|\\+/-)$")
_OUNCE = re.compile(r"(?<!fl )(?<!fl\. )(?<!fl\.)\b(?:oz\b\.?|ounces?\b)(?! ?w)", re.IGNORECASE)
_POINT_HABIT = re.compile(r"(?:^|(?<=[ (]))\.[0-9]+\s?%")


def read_paste(text: str, name: str) -> Pasted:
    """Read a label's text into a product file of that name.

    Raises:
        InputProblem: no name, no text that a label could be, or one in which no guarantee at all
            can be read.
    """
    title = " ".join("".join(c for c in name if unicodedata.category(c)[0] != "C").split())
    if not title:
        raise InputProblem(
            Problem(f"name = {name!r}", "a product needs a name", "the name on the label")
        )
    must_be_text(text, "label")
    lines, _ = lines_of(text)
    pasted = _read(lines, title, dry=False)
    if pasted.form.get("form") == "dry":
        return _read(lines, title, dry=True)
    bare_ounces = {e.line_number for e in pasted.not_understood if e.why.startswith("`oz` alone")}
    given = {key for key in LIQUID if pasted.form.get(key, "unknown") != "unknown"}
    if bare_ounces and given:
        lines = [_fluid(one) if one.number in bare_ounces else one for one in lines]
        return _read(lines, title, dry=False)
    return pasted


def _fluid(line: Line) -> Line:
    """Bare ounces of a product whose density or volume is printed: fluid ones, common practice."""
    text, cells = _OUNCE.sub("fl oz", line.text), tuple(_OUNCE.sub("fl oz", c) for c in line.cells)
    note = "`oz` of a liquid is read as fl oz"
    return replace(line, text=text, cells=cells, notes=(*line.notes, note))


def _read(lines: list[Line], title: str, *, dry: bool) -> Pasted:
    hides = any(_POINT_HABIT.search(bare(line.text)) for line in lines)
    reader = _Reader(hides, dry)
    reader.read(list(pieces(lines)))
    return finish(reader.content, title, lines)


class _Reader:
    """Goes through the statements in order and keeps what they give."""

    def __init__(self, dots_hide_points: bool, dry: bool) -> None:
        self.dots_hide_points = dots_hide_points
        self.dry = dry
        self.percents = False
        self.content = Content()
        self.pending: list[tuple[Named, Line]] = []
        self.values: list[tuple[Quantity, Line, str]] = []
        self.last: Named | None = None
        self.told: list[tuple[int, str]] = []
        self.fronted = 0

    def read(self, pieces: list[Piece]) -> None:
        """Take every statement."""
        i = 0
        while i < len(pieces):
            piece = pieces[i]
            if not re.search(r"\w", piece.text):
                if piece.line.printed and piece.text == piece.line.text:
                    self.content.ignored.append(
                        Ignored(piece.line.number, piece.line.printed, "a rule")
                    )
                i += 1
                continue
            started = _list_starts(piece.text)
            started = _list_alone(piece.text) if started is None else started
            i = (
                self._take_list(pieces, i, started)
                if started is not None
                else self._take(pieces, i)
            )
        self._flush()

    def _outcome(self, text: str, cells: tuple[str, ...] = ()) -> Outcome:
        content = self.content
        analysed = bool(content.guarantee or content.grade)
        around = Around(
            self.dots_hide_points, self.last, bool(self.pending), analysed, self.dry, self.percents
        )
        return read_statement(text, cells, around)

    def _take(self, pieces: list[Piece], i: int) -> int:
        piece = pieces[i]
        if self.values and IN_WATER.search(piece.text):
            self._flush_if_even()
        outcome = self._outcome(piece.text, piece.line.cells)
        after = pieces[i + 1] if i + 1 < len(pieces) else None
        if any(refused.why == MIXED_UP for refused in outcome.left):
            self._keep(outcome, piece.text, [piece.line])
            return i + 1
        opened = after and _OPEN_RANGE.search(piece.text) and after.text[:1].isdigit()
        if after and (opened or (piece.text[-1:].isdigit() and _OTHER_END.match(after.text))):
            text = f"{_OPEN_RANGE.sub('', piece.text)}-{_OTHER_END.sub('', after.text)}"
            self._keep(self._outcome(text), text, [piece.line, after.line])
            return i + 2
        third = pieces[i + 2] if i + 2 < len(pieces) else None
        if after and third and after.text.isdigit() and _OTHER_END.match(third.text):
            text = f"{piece.text} {after.text}-{_OTHER_END.sub('', third.text)}"
            ranged = self._outcome(text)
            if ranged.productive and not outcome.productive:
                self._keep(ranged, text, [piece.line, after.line, third.line])
                return i + 3
        spread = after and (_SPREAD_NEXT.search(piece.text) or _SPREAD.match(after.text))
        broken = not outcome.productive and after and _breaks_in_a_fact(piece.text, after.text)
        if after and (spread or broken):
            text = f"{piece.text} {after.text}"
            self._keep(self._outcome(text), text, [piece.line, after.line])
            return i + 2
        if after and not outcome.productive and _parts_a_figure(piece.text, after.text):
            why = "the line's end parts a figure from a unit: which belong together?"
            for one in (piece, after):
                entry = NotUnderstood(one.line.number, one.line.printed, why)
                self.content.not_understood.append(entry)
            return i + 2
        if after and (joined := self._wrapped_name(piece, outcome, after)):
            self._keep(joined, f"{piece.text} {after.text}", [piece.line, after.line])
            return i + 2
        apart = after is None or piece.ended or not re.search(r"\w", after.text)
        if outcome.productive or outcome.names or outcome.values or apart or after is None:
            self._keep(outcome, piece.text, [piece.line])
            return i + 1
        alone = self._outcome(after.text, after.line.cells)
        mixed = any(refused.why == MIXED_UP for refused in alone.left)
        if (outcome.left or alone.left) and not mixed and _list_starts(after.text) is None:
            joined = self._outcome(f"{piece.text} {after.text}", ())
            if joined.productive and not joined.left and not alone.productive:
                self._keep(joined, f"{piece.text} {after.text}", [piece.line, after.line])
                return i + 2
        self._keep(outcome, piece.text, [piece.line])
        return i + 1

    def _wrapped_name(self, piece: Piece, outcome: Outcome, after: Piece) -> Outcome | None:
        """`Calcium (Ca)` above `as calcium nitrate 10.7`: one line, that was too long to print."""
        alone = len(outcome.names) == 1 and not re.search(r"[0-9]", piece.text) and not piece.ended
        if not alone or _list_starts(after.text) is not None or not re.search(r"[0-9]", after.text):
            return None
        below = self._outcome(after.text, after.line.cells)
        joined = self._outcome(f"{piece.text} {after.text}")
        clear = below.left and not below.productive and not joined.left
        lines = {named.element_line for named, _ in joined.entries}
        return joined if clear and lines == {outcome.names[0].element_line} else None

    def _is_doubtful(self, named: Named, words: str, line: Line) -> str | None:
        """Why the share of an ingredient may be one of a nutrient whose line was broken."""
        several = words[:1].isdigit() and len(self.pending) > 0
        broken = _SYMBOL_FIRST.match(words) or several
        above = next((text for number, text in reversed(self.told) if number < line.number), "")
        if (broken and not named.chelated and named.name not in NITROGEN_FORMS) or (
            _AS_WHAT.search(above)
        ):
            return "the line above may belong to it"
        if not named.also:
            return None
        if self.pending or _UNFINISHED.search(above) or _GOES_ON.match(bare(line.text)):
            return "the line above may belong to it"
        if named.name == "urea" and "total nitrogen" in self.content.guarantee:
            return "percent of urea, or of nitrogen as urea?"
        return None

    def _take_list(self, pieces: list[Piece], i: int, started: str) -> int:
        """The list of sources, over as many lines as it goes on."""
        self._flush()
        taken = [(pieces[i], started)]
        i += 1
        while i < len(pieces) and self._goes_on(taken, pieces, i):
            if re.search(r"\w", pieces[i].text):
                taken.append((pieces[i], pieces[i].text))
            i += 1
        text, starts = "", []
        for n, (piece, words) in enumerate(taken):
            starts.append(len(text))
            after = taken[n + 1][1] if n + 1 < len(taken) else ""
            stop = "." if piece.ended else "," if are_apart(words, after) else ""
            text += words.rstrip(" .") + stop + " "
        named: set[int] = set()
        for item in items_of(text):
            covered = [
                piece.line
                for n, (piece, _) in enumerate(taken)
                if starts[n] < item.end and item.start < [*starts, len(text)][n + 1] - 1
            ]
            for line in dict.fromkeys(covered):
                named.add(line.number)
                self.content.add_source(item.text, item.found, item.notes, line, line is covered[0])
        for piece, _ in taken:
            if piece.line.number not in named:
                self.content.note(piece.line, piece.line.printed, "the list of sources")
        self.content.corrections([piece.line for piece, _ in taken])
        return i

    def _goes_on(self, taken: list[tuple[Piece, str]], pieces: list[Piece], i: int) -> bool:
        last = taken[-1][0]
        so_far = " ".join(words for _, words in taken)
        piece = pieces[i]
        opened = is_open(so_far)
        if not re.search(r"\w", piece.text):
            return opened and not last.ended
        if _list_starts(piece.text) is not None:
            return False
        claimed = self._outcome(piece.text, piece.line.cells)
        if claimed.productive or (claimed.ignored and not claimed.guessed):
            return False
        if opened and not last.ended:
            return True
        known = resolves(piece.text)
        if last.ended:
            return bool(known) and all(known)
        return any(known) or any(resolves(across(so_far, piece.text)))

    def _keep(self, outcome: Outcome, text: str, lines: list[Line]) -> None:
        line = lines[0]
        words = bare(text)
        based = any(isinstance(f, Stated) and f.key == "basis" for f, _ in outcome.facts)
        if not outcome.entries and (based or re.search(r"%|\bpercent", words, re.I)):
            self.percents |= not re.search(r"[0-9]", words)
        heads = "a heading" in outcome.ignored and says("composition_heading", words)
        if self.content.headed is None and heads:
            self.content.headed = line.number
        if outcome.names or outcome.values:
            if outcome.names and self.values:
                self._flush_if_even()
            self.pending += [(named, line) for named in outcome.names]
            self.values += [(value, line, words) for value in outcome.values]
        elif outcome.productive or not outcome.guessed:
            self._flush()
        if outcome.entries:
            self.fronted += 1 if re.match(r"\W*[0-9]", words) else -1
        for named, quantity in outcome.entries:
            doubt = self._is_doubtful(named, words, line)
            if doubt is not None:
                entry = NotUnderstood(line.number, words, doubt)
                self.content.not_understood.append(entry)
                continue
            self._add(named, quantity, line, words)
        self.told.append((line.number, words))
        for fact, meaning in outcome.facts:
            self.content.state(fact, meaning, line, words)
        if outcome.grade:
            self.content.add_grade(outcome.grade, line, words)
        for refused in outcome.left:
            shown = refused.text.strip() or words
            self.content.not_understood.append(
                NotUnderstood(line.number, shown, refused.why, refused.near)
            )
        for reason in outcome.ignored:
            self.content.ignored.append(Ignored(line.number, words, reason))
        if outcome.guessed and outcome.ignored and not self.content.guarantee:
            form = form_of(words)
            if form is not None:
                self.content.forms.append(form)
        self.content.problems += [f"line {line.number}: {problem}" for problem in outcome.problems]
        for other in lines[1:]:
            self.content.note(other, other.printed, f"goes on from line {line.number}")
        self.content.corrections(lines)

    def _add(self, named: Named, quantity: Quantity, line: Line, words: str) -> None:
        self.last = named
        self.content.add(named, quantity, line, words)

    def _flush_if_even(self) -> None:
        if len(self.values) == len(self.pending):
            self._flush()

    def _flush(self) -> None:
        """Names in one column, their figures in another: matched only where they are as many."""
        pending, values = self.pending, self.values
        self.pending, self.values = [], []
        below = all(
            n.number <= v.number for (_, n), (_, v, _) in zip(pending, values, strict=False)
        )
        broken = len(values) == 1 and self.fronted > 0
        if len(pending) == len(values) and below and not broken:
            for (named, _), (quantity, line, words) in zip(pending, values, strict=True):
                self._add(named, quantity, line, f"{named.name} {words}")
            for named, line in pending:
                self.content.note(line, line.printed, f"`{named.name}`, its figure stands below")
            return
        for named, line in pending:
            if not self.content.guarantee and not values and not self.content.grade:
                self.content.ignored.append(Ignored(line.number, line.printed, "a title"))
                continue
            why = f"`{named.name}` without its figure"
            self.content.not_understood.append(NotUnderstood(line.number, line.printed, why))
        for quantity, line, words in values:
            why = f"{quantity.text} % without its name"
            self.content.not_understood.append(NotUnderstood(line.number, words, why))


def _breaks_in_a_fact(text: str, after: str) -> bool:
    """Whether a line's end parts a bracket, or a name from what it is given as."""
    if _LEADS_ON.search(text) and re.search(r"[0-9]", after):
        return not re.search(r"[0-9]\s?%", text)
    opened = text.count("(") > text.count(")")
    return opened and re.match(r"[^()]*[0-9][^()]*\)", after) is not None


def _parts_a_figure(text: str, after: str) -> bool:
    """Whether a line ends with a figure and the next begins with a unit."""
    broken = re.search(r"[0-9]$", text) and _UNIT_ALONE.match(after)
    return bool(broken) and "%" not in f"{text}{after}"


def _list_starts(text: str) -> str | None:
    found = STARTS.match(text)
    if found:
        return text[found.end() :]
    found = MAY_START.match(text)
    if found and (any(resolves(text[found.end() :])) or found.end() == len(text)):
        return text[found.end() :]
    return None


def _list_alone(text: str) -> str | None:
    """A line of sources that no heading announces, or one that no table knows."""
    head, _, after = text.partition(":")
    if after and "," in after and not re.search(r"[0-9]", head) and not is_rule(text):
        known = resolves(after) if not re.search(r"[0-9]{2}|%", after) else []
        if sum(known) >= LEAST_NAMED and 2 * sum(known) >= len(known):
            return after
    plain = "," in text and not re.search(r"[0-9]{2}|%", text) and not is_rule(text)
    known = resolves(text) if plain else []
    return text if len(known) >= LEAST_LISTED and all(known) else None
