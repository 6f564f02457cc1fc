"""The product's name above its analysis, `LIQUID CALCIUM 8%`: it says nothing that isn't below."""

from __future__ import annotations

import re

from chem.label.printed.content import Content
from chem.label.printed.declared import agents_in
from chem.label.printed.lines import Line
from chem.label.printed.quantities import NUMBER
from chem.label.printed.records import Ignored, Kept, in_terms_of
from chem.label.product import NITROGEN_FORMS
from chem.label.resolving import resolve_guarantee

SAME_AGAIN = "in the product's name; the analysis below counts"


def leave_titles(content: Content, lines: list[Line]) -> None:
    """Leave out lines above the analysis that only repeat its figures.

    Each figure is one of the analysis, and each nutrient that the words name has one of them; what
    holds a metal is news, and stays a question.
    """
    kept = {**content.also, **content.guarantee}
    first = content.headed or min((k.line.number for k in kept.values()), default=0)
    open_lines = {e.line_number for e in content.not_understood}
    for line in lines:
        if line.number in open_lines and line.number < first and _repeats(line.printed, kept):
            content.not_understood[:] = [
                e for e in content.not_understood if e.line_number != line.number
            ]
            content.ignored.append(Ignored(line.number, line.printed, SAME_AGAIN))


def _repeats(words: str, kept: dict[str, Kept]) -> bool:
    if agents_in(words):
        return False
    figures = re.findall(rf"(?<![\w.,-]){NUMBER}(?![\w,-])", words)
    if not figures:
        return False
    lines = [resolve_guarantee(w) for w in re.findall(r"[A-Za-z]{2,}", words)]
    named = {line.same_as or line.key for line in lines if line is not None}
    percents = [float(text) for text in figures]
    return all(any(_is(percent, one) for one in kept.values()) for percent in percents) and all(
        key in kept and any(_is(percent, kept[key]) for percent in percents)
        for key in named - set(NITROGEN_FORMS)
    )


def _is(percent: float, kept: Kept) -> bool:
    """Whether a figure is that of a line, as printed or in terms of the element."""
    return any(
        abs(percent - value) < 1e-6
        for value in (kept.quantity.low, kept.quantity.high, round(in_terms_of(kept)[0], 1))
    )
