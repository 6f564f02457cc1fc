"""The one list of words for what a jar or tank shows."""

from __future__ import annotations

import re
from collections.abc import Mapping
from difflib import get_close_matches
from functools import cache

from chem.errors import InputProblem, Problem
from chem.reference import read_toml
from chem.units import read_duration

SEEN_WORDS = (
    "clear",
    "haze",
    "flakes",
    "grit",
    "gel",
    "layers",
    "oil",
    "foam",
    "fizz",
    "heat",
    "smell",
    "colour",
)


@cache
def _looks() -> tuple[Mapping[str, str], Mapping[str, tuple[str, ...]], frozenset[str]]:
    """Users' own words -> the list's, words that may mean two, and words that tell nothing."""
    table = read_toml("seen_words.toml")
    means = {own: word for word, every in table["looks"].items() for own in every}
    asked = {own: tuple(words) for own, words in table["asked"].items()}
    return means, asked, frozenset(table["ignored"]["words"])


def read_seen(text: str, where: str) -> tuple[str, ...]:
    """What was seen, in the users' own words (`seen_words.toml`), as words of the list.

    Raises: InputProblem for a word that is in no list, or that may mean two.
    """
    means, asked, ignored = _looks()
    tokens = re.sub(r"[,;.!+&]", " ", text.lower()).split()
    longest = max(len(own.split()) for own in means)
    words: list[str] = []
    i = 0
    while i < len(tokens):
        phrases = ((n, " ".join(tokens[i : i + n])) for n in range(longest, 0, -1))
        taken = next(((n, p) for n, p in phrases if p in means or p in asked), None)
        if taken is None:
            if tokens[i] not in ignored:
                near = get_close_matches(tokens[i], [*means, *asked], 2, 0.75)
                instead = ", ".join(SEEN_WORDS)
                if near:
                    instead = f"did you mean {' or '.join(f'`{n}`' for n in near)}? Else {instead}"
                wrong = f"`{tokens[i]}` is not in the list of seen words"
                raise InputProblem(Problem(f"{where} = {text!r}", wrong, instead))
            i += 1
            continue
        count, phrase = taken
        if phrase in asked:
            which = " or ".join(f"`{w}`" for w in asked[phrase])
            wrong = f"`{phrase}` may be {which}: which?"
            instead = "layers stand above each other; oil is drops or a film that shines"
            raise InputProblem(Problem(f"{where} = {text!r}", wrong, instead))
        words.append(means[phrase])
        i += count
    found = tuple(dict.fromkeys(words))
    if not found:
        raise InputProblem(Problem(f"{where} = {text!r}", "no look is told", ", ".join(SEEN_WORDS)))
    if "clear" in found and len(found) > 1:
        raise InputProblem(
            Problem(f"{where} = {text!r}", "clear, and something else", "one or the other")
        )
    return found


def read_after(text: str, where: str) -> float:
    """How long after the last pour [s]: `15 min`, `2h`, `right away`, `0`, minutes where bare.

    Raises: InputProblem.
    """
    times = read_toml("seen_words.toml")["times"]
    plain = " ".join(text.lower().split())
    if plain in times:
        return float(times[plain])
    return read_duration(text if any(c.isalpha() for c in text) else f"{text} min", where)
