"""A grade, such as 12-0-0 + 10% Ca."""

from __future__ import annotations

import re

from chem.label.printed.quantities import NUMBER
from chem.label.resolving import resolve_guarantee

_PART = r"(?:0[0-9]?|[1-9][0-9]?)(?:\.[0-9]+)?"


_GRADE = re.compile(
    rf"(?<![\w.,-])(?P<n>{_PART})\s?-\s?(?P<p>{_PART})\s?-\s?(?P<k>{_PART})(?![0-9.]|\s?-\s?[0-9]+$)"
)


_GRADE_MORE = re.compile(
    rf"\s*(?:\+|-|&|,|with\b|plus\b|and\b)?\s*\(?(?P<low>{NUMBER})\s*%?\s*"
    r"(?P<name>[A-Za-z]+[0-9]?(?: ?\([A-Za-z]{1,3}\))?)\)?",
    re.IGNORECASE,
)


GRADE_LINES = ("total nitrogen", "available phosphate", "soluble potash")


def graded(text: str) -> tuple[str, tuple[tuple[str, float], ...]]:
    """Take a grade such as `12-0-0 + 10% Ca` off a line: what remains, and (line, percent)."""
    found = _GRADE.search(text)
    if found is None or sum(float(found[k]) for k in "npk") > 100.0:
        return text, ()
    parts = [(line, float(found[k])) for line, k in zip(GRADE_LINES, "npk", strict=True)]
    end = found.end()
    while more := _GRADE_MORE.match(text, end):
        line = resolve_guarantee(more["name"])
        if line is None:
            break
        parts.append((line.key, float(more["low"])))
        end = more.end()
    return f"{text[: found.start()]} {text[end:]}", tuple(parts)
