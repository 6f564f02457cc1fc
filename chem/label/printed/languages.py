"""Labels in other languages, put into the reader's own words by tables.

One table a language stands in `data/labels/`; nothing here knows any language. A row of a label is
parted into tokens, and the longest listed form at each place is replaced by what it means; words
that no table lists stay as they were printed.
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

from chem.reference import data_folder, read_toml

_TOKEN = re.compile(r"[^\W\d_]+|\d+|[^\w\s]|_")
_TWICE = re.compile(r"(\s/\s|\|)")
"""Stands between two languages on one row, each of which is read as its own."""

_ENOUGH = 2
"""Different forms of a language that a label must hold to be read in it."""


@dataclass(frozen=True)
class Token:
    """A word, a figure or a mark of a row: as printed, without case and accents, and its place."""

    text: str
    folded: str
    start: int
    end: int


@dataclass(frozen=True)
class Form:
    """A printed form, by its folded tokens, and what it means; None where it stands as it is."""

    tokens: tuple[str, ...]
    means: str | None


@dataclass(frozen=True)
class Language:
    """A table: forms by their first token, longest first."""

    key: str
    name: str
    decimal_comma: bool
    range_words: frozenset[str]
    forms: dict[str, tuple[Form, ...]]


def fold(text: str) -> str:
    """Without case and accents, as many characters as before."""
    out = []
    for char in text.replace("\u2019", "'").replace("\u02bc", "'"):
        plain = unicodedata.normalize("NFKD", char)[:1].lower()
        out.append(plain if len(plain) == 1 else char)
    return "".join(out)


def tokens_of(row: str) -> list[Token]:
    """The tokens of a row, in order."""
    folded = fold(row)
    return [
        Token(row[m.start() : m.end()], m[0], m.start(), m.end()) for m in _TOKEN.finditer(folded)
    ]


@cache
def languages() -> tuple[Language, ...]:
    """Every table of `data/labels/`, by file name."""
    keys = sorted(path.stem for path in (data_folder() / "labels").glob("*.toml"))
    return tuple(_language(key) for key in keys)


def in_known_words(rows: Sequence[str]) -> tuple[list[str], bool]:
    """Rows in the reader's words; whether a language with decimal commas was found.

    Each row is read in the language that claims most of it, of those that the label is in.
    """
    tokens = [tokens_of(row) for row in rows]
    spoken: Counter[str] = Counter()
    for language in languages():
        found = {f.tokens for row in tokens for _, f in _matches(row, language)}
        spoken[language.key] = sum(len("".join(t)) for t in found) if len(found) >= _ENOUGH else 0
    used = [one for one in languages() if spoken[one.key]]
    used.sort(key=lambda one: -spoken[one.key])
    if not used:
        return list(rows), False
    strong = [one for one in used if 2 * spoken[one.key] >= spoken[used[0].key]]
    out = []
    for row, words in zip(rows, tokens, strict=True):
        own = _best(words, strong)
        parts = []
        for part in _TWICE.split(row) if len(strong) > 1 else [row]:
            said = tokens_of(part)
            parts.append(_replaced(part, said, _best(said, [own, *strong])))
        out.append("".join(parts))
    return out, any(one.decimal_comma for one in strong)


def _best(words: Sequence[Token], strong: Sequence[Language]) -> Language:
    """The language that claims most of the words, the first of equals."""
    return max(strong, key=lambda one: sum(len(f.tokens) for _, f in _matches(words, one)))


def _language(key: str) -> Language:
    table = read_toml(f"labels/{key}.toml")
    forms: dict[str, list[Form]] = {}
    for entry in (*table.get("words", ()), *table.get("sources", ())):
        for printed in entry["forms"]:
            parts = tuple(token.folded for token in tokens_of(printed))
            forms.setdefault(parts[0], []).append(Form(parts, entry.get("means")))
    ordered = {
        first: tuple(sorted(held, key=lambda form: (-len(form.tokens), form.means is None)))
        for first, held in forms.items()
    }
    words = frozenset(fold(word) for word in table.get("range", ()))
    return Language(key, table["language"], table["decimal"] == "comma", words, ordered)


def _matches(tokens: Sequence[Token], language: Language) -> Iterator[tuple[int, Form]]:
    i = 0
    folded = [token.folded for token in tokens]
    while i < len(folded):
        for form in language.forms.get(folded[i], ()):
            if len(folded[i]) == len(form.tokens) == 1 and _touches_a_figure(tokens, i):
                continue
            if tuple(folded[i : i + len(form.tokens)]) == form.tokens:
                yield i, form
                i += len(form.tokens)
                break
        else:
            i += 1


def _touches_a_figure(tokens: Sequence[Token], i: int) -> bool:
    """Whether a letter belongs to a formula or a figure: the O of P2O5 or `O,5` is no word."""
    before, after = tokens[max(0, i - 1) : i], tokens[i + 1 : i + 3]
    touching = [a.end == b.start for a, b in pairwise((*before, tokens[i], *after))]
    figure = len(after) == 2 and after[0].text in ".," and after[1].text.isdigit()
    return bool(before and before[0].text.isdigit() and touching[0]) or (
        figure and all(touching[-2:])
    )


def _replaced(row: str, tokens: Sequence[Token], language: Language) -> str:
    out, at = [], 0
    changes = [(i, i + len(f.tokens), f.means) for i, f in _matches(tokens, language) if f.means]
    for i in range(1, len(tokens) - 1):
        around = tokens[i - 1].text.isdigit() and tokens[i + 1].text.isdigit()
        if tokens[i].folded in language.range_words and around:
            changes.append((i, i + 1, "-"))
    for first, after, means in sorted(changes):
        if tokens[first].start < at:
            continue
        out += [row[at : tokens[first].start], means]
        at = tokens[after - 1].end
    return "".join(out) + row[at:]
