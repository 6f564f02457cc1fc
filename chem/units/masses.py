"""Molar masses of plain formulas, by the masses of the elements in periodictable."""

from __future__ import annotations

import re
from functools import cache

_PIECE = re.compile(r"(?P<element>[A-Z][a-z]?)(?P<count>[\d.]*)|(?P<open>\()|\)(?P<times>[\d.]*)")
_PART = re.compile(r"([\d.]*)(.*)")


@cache
def molar_mass_g_per_mol(formula: str) -> float:
    """Molar mass [g/mol] of elements, counts, brackets and hydrates: `Ca3(C6H5O7)2+4H2O`.

    periodictable's own parser takes a millisecond for each, a tenth of a whole forecast.

    Raises: ValueError where the formula holds anything else.
    """
    parts = (_PART.fullmatch(part) for part in formula.split("+"))
    return sum(float(part[1] or 1) * _mass(part[2]) for part in parts if part is not None)


def _mass(part: str) -> float:
    """[g/mol] of a formula without hydrate."""
    from periodictable import elements

    sums, at = [0.0], 0
    while at < len(part):
        piece = _PIECE.match(part, at)
        if piece is None or (piece["open"] is None and piece["element"] is None and len(sums) < 2):
            raise ValueError(f"no formula of plain elements: {part!r}")
        at = piece.end()
        if piece["open"]:
            sums.append(0.0)
        elif piece["element"]:
            sums[-1] += elements.symbol(piece["element"]).mass * float(piece["count"] or 1)
        else:
            inner = sums.pop()
            sums[-1] += inner * float(piece["times"] or 1)
    if len(sums) > 1 or not part:
        raise ValueError(f"no formula of plain elements: {part!r}")
    return sums[0]
