"""The forms of nitrogen behind its total: `7 % (6.6 nitrate, 0.4 ammonium)`."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from chem.label.printed.declared import recognise, stripped
from chem.label.printed.quantities import NUMBER, Quantity, Refused

FORM_BEHIND = re.compile(
    r"\s*\((?:as |in |from )?(nitrate|urea|ammonium|ammonia)(?: form)?\)", re.IGNORECASE
)
_PLAIN = {"nitric": "nitrate", "ammoniacal": "ammonium", "ammonia": "ammonium", "ureic": "urea"}
_FORM = re.compile(
    r"(?:of which )?(?:n )?(?P<as>(?:as|in|from) )?"
    rf"(?P<form>nitrate|ammonium|urea|{'|'.join(_PLAIN)})(?: form)?",
    re.IGNORECASE,
)
_BRACKET = re.compile(rf"(?P<total>{NUMBER})\s?%[^()%]*\((?P<forms>[^()%]*[0-9][^()%]*)\)")
_FIGURE = re.compile(rf"(?<![\w.,-]){NUMBER}(?!\w|[.,-][0-9])")


def as_form(words: str, parts: bool) -> str:
    """`as nitrate` behind nitrogen, or plain `nitrate` where the figures are parts of a total."""
    found = _FORM.fullmatch(stripped(words))
    if found is None or not (found["as"] or parts):
        return words
    form = found["form"].lower()
    return f"nitrogen as {_PLAIN.get(form, form)}"


def are_parts(figures: Sequence[Quantity | Refused]) -> bool:
    """Whether the first figure is the sum of two or more that follow it."""
    known = [q for q in figures if isinstance(q, Quantity)]
    if len(known) != len(figures) or len(known) < 3:
        return False
    return _adds_up(known[0].low, [q.low for q in known[1:]], max(q.step for q in known))


def with_percents(text: str) -> str:
    """Figures in brackets behind the percentage that they add up to are percent too."""
    found = _BRACKET.search(text)
    if found is None:
        return text
    forms = _FIGURE.findall(found["forms"])
    named = recognise(text[: found.start()])
    nitrogen = getattr(named, "name", None) == "total nitrogen"
    if not nitrogen or len(forms) < 2 or not _adds_up(float(found["total"]), map(float, forms)):
        return text
    marked = _FIGURE.sub(r"\g<0> %", found["forms"])
    return text[: found.start("forms")] + marked + text[found.end("forms") :]


def _adds_up(total: float, parts: Iterable[float], step: float = 0.0) -> bool:
    return abs(total - sum(parts)) <= 0.5 * step + 0.051
