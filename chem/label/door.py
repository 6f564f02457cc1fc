"""Where a name is read, once: what a product is called becomes hazards and words it answers to.

Behind this door nothing reads a name: rules compare sets of words made here, whole words only, so
that a bleach by name stops the tank and `Filmore` holds no film.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

from chem.reference import catalogue, read_csv

_WORD = re.compile(r"[^\W_]+")
_COUNTED = re.compile(r"^(?:mono|di|tri|tetra)(?=[a-z]{4})")
LONGEST_PHRASE = 5


@dataclass(frozen=True)
class NameWord:
    """A row of `name_words.csv`: words that stand in a name or a label's rule, and their meaning.

    means: a hazard (`hypochlorite`, `film`, `sulfonylurea`, `copper`) or, in rules, a class of
    products (`acid`, `base`); empty where the words take another row's meaning away.
    """

    words: str
    read_in: str
    means: str
    source: str


@cache
def name_words() -> tuple[NameWord, ...]:
    """Read `name_words.csv` once."""
    return tuple(
        NameWord(r["words"], r["read_in"], r["means"], r["source"])
        for r in read_csv("name_words.csv")
    )


def plain_words(text: str) -> tuple[str, ...]:
    """The words of a name as they are compared: lower case, no plural s, sulf- for sulph-."""
    words = _WORD.findall(text.casefold().replace("sulph", "sulf"))
    return tuple(w[:-1] if len(w) > 3 and w[-1] == "s" and w[-2] != "s" else w for w in words)


def plain(text: str) -> str:
    """A name or rule as one phrase, as `plain_words` compares it."""
    return " ".join(plain_words(text))


@cache
def read_name(name: str) -> tuple[NameWord, ...]:
    """The rows that a name holds, each hazard by the longest words that tell of it.

    A word whose row begins with `-` is an ending (`-sulfuron`); words inside longer ones that mean
    nothing (`bleach free`) don't count.
    """
    words = plain_words(name)
    found: list[tuple[int, int, NameWord]] = []
    for row in name_words():
        if row.read_in != "name":
            continue
        asked = plain_words(row.words)
        for i in range(len(words) - len(asked) + 1):
            ending = row.words.startswith("-") and words[i].endswith(asked[0])
            if ending or words[i : i + len(asked)] == asked:
                found.append((i, i + len(asked), row))
    kept = [
        (i, j, row)
        for i, j, row in found
        if not any(a <= i and j <= b and (a, b) != (i, j) for a, b, _ in found)
    ]
    by_hazard = {row.means: row for *_, row in kept if row.means}
    return tuple(by_hazard.values())


def phrases(text: str) -> set[str]:
    """Every run of up to five whole words of a name; `monopotassium` answers to `potassium` too."""
    words = plain_words(text)
    out = set()
    for spelled in {words, tuple(_COUNTED.sub("", w) for w in words)}:
        for i in range(len(spelled)):
            for j in range(i + 1, min(i + LONGEST_PHRASE, len(spelled)) + 1):
                out.add(" ".join(spelled[i:j]))
    return out


def answers_to(name: str, key: str, sources: Iterable[str], lines: Iterable[str]) -> frozenset[str]:
    """What a label's rule may call a product: phrases of its name, sources and guaranteed lines.

    sources: keys of sources; lines: keys of the guaranteed lines above zero.
    """
    known = catalogue()
    out = phrases(name) | {plain(key)}
    supplied = set(lines)
    for source in sources:
        out |= phrases(source)
        for alias in known.sources[source].aliases:
            out.add(plain(alias))
        supplied |= set(known.sources[source].supplies)
    for line in supplied:
        out.add(plain(line))
        out |= {plain(alias) for alias in known.guarantees[line].aliases}
    return frozenset(out)


@cache
def class_of_rule(word: str) -> str | None:
    """The class of products that a rule's word names (`acid`, `base`), or None."""
    asked = plain(word)
    rows = (r for r in name_words() if r.read_in == "rule")
    return next((r.means for r in rows if plain(r.words) == asked), None)
