"""The one list of words for what a jar or tank shows."""

from __future__ import annotations

from chem.errors import InputProblem, Problem

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


def read_seen(text: str, where: str) -> tuple[str, ...]:
    """Words of the list, parted by commas or blanks. Raises: InputProblem."""
    words = tuple(dict.fromkeys(text.lower().replace(",", " ").split()))
    if not words or any(w not in SEEN_WORDS for w in words):
        raise InputProblem(
            Problem(f"{where} = {text!r}", "not in the list of seen words", ", ".join(SEEN_WORDS))
        )
    if "clear" in words and len(words) > 1:
        raise InputProblem(
            Problem(f"{where} = {text!r}", "clear, and something else", "one or the other")
        )
    return words
