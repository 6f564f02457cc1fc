"""What worked, what didn't, what was not tried; and the jar or reading that would teach most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from chem.errors import InputProblem, ToxicGas
from chem.forecast import Study, broken
from chem.notebook.entry import Entry, Reading
from chem.notebook.facts import mix_key, reading_variance, shares_of, spread_of
from chem.notebook.memory import alike
from chem.notebook.store import Kept, Numbered, current
from chem.notebook.tried import outcome_of
from chem.reference import judged
from chem.tank import Mix

MOST_UNTRIED, MOST_JUGS, MOST_TANKS = 12, 10, 20


@dataclass(frozen=True)
class Tried:
    """Products and rates: the latest entry of them, and how often it was fine of how many."""

    entry: Entry
    fine: int
    of: int


@dataclass(frozen=True)
class Untried:
    """Products that were not seen together, and the forecast's word: its answer by 4 h and the
    chance that solids show, which is no evidence."""

    products: tuple[str, ...]
    number: str | None
    answer: str
    chance: float


@dataclass(frozen=True)
class Wall:
    """What worked each time, what didn't at least once, what was not tried."""

    works: tuple[Tried, ...]
    dont: tuple[Tried, ...]
    untried: tuple[Untried, ...]


@dataclass(frozen=True)
class Next:
    """What would teach most: kind `jar` or `reading`, of which products; chance that solids show
    there, how wide the 90 % range of its pH is; tanks: how many of those sprayed it tells of."""

    kind: str
    products: tuple[str, ...]
    chance: float
    width: float
    tanks: int


def wall(kept: Sequence[Kept], numbers: Sequence[Numbered], study: Study) -> Wall:
    """The list for the shed wall. study: what is believed, for the word on what was not tried."""
    groups: dict[tuple[object, ...], list[Entry]] = {}
    for k in current(kept):
        if outcome_of(k.entry) is not None:
            mix = k.entry.mix
            key = tuple(sorted(zip(mix.order, mix.rates, strict=True), key=str)), mix.carrier
            groups.setdefault(key, []).append(k.entry)
    works: list[Tried] = []
    dont: list[Tried] = []
    for entries in groups.values():
        fine = sum(outcome_of(e) == "fine" for e in entries)
        one = Tried(entries[-1], fine, len(entries))
        (works if fine == len(entries) else dont).append(one)
    return Wall(tuple(works), tuple(dont), tuple(_untried(kept, numbers, study)))


def _untried(kept: Sequence[Kept], numbers: Sequence[Numbered], study: Study) -> list[Untried]:
    entries = [k.entry for k in current(kept)]
    seen = {frozenset(p) for e in entries for p in combinations(e.mix.order, 2)}
    met = {frozenset(e.mix.order) for e in entries}
    asked: list[tuple[Mix, str | None]] = []
    for n in numbers:
        if frozenset(n.mix.order) not in met:
            mix = _again(n)
            if mix is not None:
                asked.append((mix, n.number))
    jugs: dict[str, Mix] = {}
    for e in reversed(entries):
        mix = _again(e)
        if mix is not None:
            for a in mix.additions:
                jugs.setdefault(a.product.name, mix)
    names = list(jugs)[:MOST_JUGS]
    for one, other in combinations(names, 2):
        if frozenset((one, other)) not in seen:
            first = jugs[one]
            additions = [x for x in first.additions if x.product.name == one]
            additions += [x for x in jugs[other].additions if x.product.name == other]
            named = f"{one} with {other}"
            pair = replace(first, name=named, additions=tuple(additions), read_from=())
            asked.append((pair, None))
    out = []
    for mix, number in asked[:MOST_UNTRIED]:
        try:
            found = study.look(mix)
        except (InputProblem, ToxicGas):
            continue
        if broken(study.rules(mix)):
            continue  # nobody is asked to try what a rule forbids
        said = found.answer("4h")
        products = tuple(a.product.name for a in mix.additions)
        out.append(Untried(products, number, said.word, found.probability["4h"]))
    return sorted(out, key=lambda u: u.chance)


def _again(kept: Entry | Numbered) -> Mix | None:
    try:
        return kept.mix.reread()
    except InputProblem:
        return None


def teach_most(kept: Sequence[Kept], study: Study) -> Next | None:
    """The jar or reading that would teach most about the tanks that were sprayed lately; None
    where none can be read again.

    A jar settles its own odds and, by the pairs it shares, those of others; a reading narrows the
    pH of all tanks that hold its jugs, by the Kalman gain that it would have.
    """
    mixes: dict[str, Mix] = {}
    for k in reversed(current(kept)):
        mix = _again(k.entry)
        if mix is not None and not broken(study.rules(mix)):
            mixes.setdefault(mix_key(mix), mix)
        if len(mixes) == MOST_TANKS:
            break
    tanks = list(mixes.values())
    if not tanks:
        return None
    found = study.follow(tanks, until="4h")
    ids = [[a.product.identity for a in m.additions] for m in tanks]
    chance = np.array([f.probability["4h"] for f in found])
    own = chance * (1.0 - chance)
    jugs, pairs = alike(ids, ids)
    near = np.minimum((jugs + pairs) / np.maximum(np.diag(jugs + pairs)[:, None], 1.0), 1.0)
    jar = near @ own / len(tanks)
    clear = [f.fresh.clear for f in found]
    spreads = [spread_of(c.ph)[1].variance for c in clear]
    shares = [shares_of(f.ready, c) for f, c in zip(found, clear, strict=True)]
    ways = np.zeros((len(tanks), len({i for each in ids for i in each})))
    place = {i: n for n, i in enumerate(dict.fromkeys(i for each in ids for i in each))}
    for m, each in enumerate(ids):
        for i, share in zip(each, shares[m], strict=True):
            ways[m, place[i]] += np.sqrt(share * spreads[m])
    common = ways @ ways.T
    reading = (
        common**2
        / (np.array(spreads) + reading_variance(Reading(value=7.0, instrument="strip")))[:, None]
    ).sum(axis=1)
    best = int(jar.argmax())
    kind = "jar"
    if jar[best] < judged("told_moved")["worth_a_jar"]:
        kind, best = "reading", int(reading.argmax())
    tells = int(((near if kind == "jar" else common)[best] > 0.0).sum())
    ph = found[best].ph
    names = tuple(a.product.name for a in tanks[best].additions)
    return Next(kind, names, float(chance[best]), ph.p95 - ph.p05, tells)
