"""Reactions as the tables write them: `Ca+2 + 2 SO4-2 + 2 H2O`, `Fe+3 + 3 H2O - 3 H+`."""

from __future__ import annotations

import re

_COUNT = re.compile(r"\d+(\.\d+)?")


def parse_reaction(text: str) -> dict[str, float]:
    """Sum of terms, words parted by blanks -> {master, `H+` or `H2O`: coefficient}.

    Raises: ValueError if the text holds no term.
    """
    out: dict[str, float] = {}
    sign, count = 1.0, 1.0
    for word in text.split():
        if word in {"+", "-"}:
            sign = -1.0 if word == "-" else 1.0
        elif _COUNT.fullmatch(word):
            count = float(word)
        else:
            out[word] = out.get(word, 0.0) + sign * count
            sign, count = 1.0, 1.0
    if not out:
        raise ValueError(f"no reaction in {text!r}")
    return out
