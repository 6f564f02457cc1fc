"""Lists of words that tell one kind of statement from another, from `label_vocabulary.toml`."""

from __future__ import annotations

import re
from functools import cache

from chem.reference import read_toml


@cache
def table(key: str) -> dict[str, list[str]]:
    """A table of the file: what is meant -> the words that say so."""
    found: dict[str, list[str]] = read_toml("label_vocabulary.toml")[key]
    return found


@cache
def any_of(key: str) -> str:
    """A pattern of any phrase of a list, the longest first; no letter may touch it."""
    phrases = sorted(table("phrases")[key], key=lambda phrase: (-len(phrase), phrase))
    return rf"(?<!\w)(?:{'|'.join(map(_pattern, phrases))})(?!\w)"


def says(key: str, text: str) -> re.Match[str] | None:
    """The first phrase of a list that a text holds."""
    return _compiled(any_of(key)).search(text)


def is_one(key: str, text: str) -> bool:
    """Whether a text is a phrase of a list and nothing else."""
    return _compiled(any_of(key)).fullmatch(text) is not None


def opens(key: str, text: str) -> re.Match[str] | None:
    """The phrase of a list with which a text begins."""
    return _compiled(any_of(key)).match(text)


def closes(key: str, text: str) -> re.Match[str] | None:
    """The phrase of a list with which a text ends."""
    return _compiled(any_of(key) + r"\s*$").search(text)


def without(key: str, text: str) -> str:
    """A text, each phrase of a list replaced by a space."""
    return _compiled(any_of(key)).sub(" ", text)


@cache
def _compiled(pattern: str) -> re.Pattern[str]:
    return re.compile(pattern, re.IGNORECASE)


def _pattern(phrase: str) -> str:
    plain = re.escape(phrase).replace(r"\*", r"\w*")
    return plain.replace(r"\ ", r"[\s-]+")
