"""Entries replayed: each mix followed by the labels alone, and again at the pH that was learned.

By few draws, only as far as something was seen, each mix once for all its entries, all in batches;
what was worked out is kept in a cache that can be thrown away.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from chem.advice.agents import choose_agent
from chem.advice.dosing import dosed_with
from chem.equilibrium import Equilibrium
from chem.equilibrium.activity import Floats
from chem.errors import InputProblem
from chem.forecast import Beliefs, Followed, Study
from chem.forecast.prepare import Prepared
from chem.forecast.times import TIMES_S
from chem.notebook.facts import (
    AT_ONCE_S,
    OTHERS,
    Facts,
    Looked,
    PhFact,
    facts_of,
    grams_per_L,
    last_told,
    looked_of,
    mix_key,
    packed,
    raw_odds,
    reading_variance,
    spread_of,
    unpacked,
)
from chem.notebook.jugs import Jugs
from chem.notebook.readings import Move, Readings
from chem.notebook.store import Kept
from chem.shelf.cache import Cache
from chem.tank import Mix

ROWS, FEW_ROWS = 48, 24
LATEST, MOST_MOVED = 40, 20
"""So many mixes, the latest kept, are followed by all draws, older ones by few; and so many, the
latest looked at, anew at the pH that was learned: the looks at older ones are held to the odds of
the labels."""


class Replay:
    """Facts of entries, each worked out once; one thread owns it."""

    def __init__(self, rows: int = ROWS, seed: int = 1, cache: Cache | None = None) -> None:
        """cache: what earlier replays worked out."""
        self.study, self.seed = Study(rows, seed), seed
        self._cache = cache
        self._jugs, self._base = Jugs([]), f"{rows} {seed} "
        self._facts: dict[str, Facts | None] = {}
        self._moved: dict[str, dict[float, tuple[float, float]]] = {}
        self._mixes: dict[str, Mix] = {}
        self._reread: dict[tuple[tuple[str, str | None], ...], Mix | None] = {}
        self._looked: dict[tuple[str, str, int], Looked] = {}

    def measured(self, jugs: Jugs) -> None:
        """Go by jugs as they were measured; what was worked out by others is another's."""
        if jugs.key != self._jugs.key:
            self._jugs, self._base = jugs, f"{self.study.count} {self.seed} {jugs.key}"
            self._facts, self._moved, self._looked = {}, {}, {}

    def mix(self, kept: Kept) -> Mix | None:
        """An entry's mix, read again once; None where it can't be."""
        name = kept.entry.id
        if name not in self._mixes:
            texts = _texts(kept)
            if texts not in self._reread:
                try:
                    self._reread[texts] = kept.entry.mix.reread()
                except InputProblem:
                    self._reread[texts] = None
            again = self._reread[texts]
            if again is None:
                return None
            self._mixes[name] = again
        return self._mixes[name]

    # --- by the labels alone -------------------------------------------------------------------

    def facts(self, kept: Sequence[Kept]) -> list[Facts]:
        """What each entry says, those left out that say nothing or can't be read again."""
        old = _old(kept)
        names = {
            k.entry.id: f"facts {k.entry.id} {k.ours} {k.entry.id in old} {self._base}"
            for k in kept
        }
        for name, told in self._kept(n for n in names.values() if n not in self._facts).items():
            try:
                self._facts[name] = None if told is None else unpacked(told)
            except (KeyError, TypeError):
                continue
        unknown = [k for k in kept if names[k.entry.id] not in self._facts]
        by_labels = self.study.believing(Beliefs(jug=self._jugs.measured))
        for own, aged in ((by_labels, False), (by_labels.few(FEW_ROWS), True)):
            some = [k for k in unknown if (k.entry.id in old) is aged]
            for k, fact in zip(some, self._told(some, own), strict=True):
                self._facts[names[k.entry.id]] = fact
        self._keep({
            n: None if (f := self._facts[n]) is None else packed(f)
            for n in (names[k.entry.id] for k in unknown)
        })  # fmt: skip
        return [f for n in names.values() if (f := self._facts[n]) is not None]

    def _told(self, kept: Sequence[Kept], own: Study) -> Iterator[Facts | None]:
        """What each entry says beside the tanks of a study, all followed together."""
        mixes = {k.entry.id: m for k in kept if (m := self.mix(k)) is not None}
        until = {k.entry.id: _until(last_told(k.entry)) for k in kept}
        self._follow([(m, until[i]) for i, m in mixes.items()], own)
        for k in kept:
            mix = mixes.get(k.entry.id)
            key = None if mix is None else (mix_key(mix), until[k.entry.id], own.count)
            looked = None if key is None else self._looked.get(key)
            if mix is None or looked is None:
                yield None
                continue
            fact = facts_of(k, looked, own.beliefs.jug)
            if any(r.dose is not None for r in k.entry.ph):
                fact = replace(fact, ph=(*fact.ph, *_ladder(k, mix, looked, own)))
            yield fact

    def _follow(self, asked: Sequence[tuple[Mix, str]], own: Study) -> None:
        """Follow mixes as far as is wanted of each, those of one time together."""
        keys = {id(m): mix_key(m) for m, _ in asked}
        for until in ("fresh", *TIMES_S):
            new = {
                k: m
                for m, u in asked
                if u == until and (k := keys[id(m)], u, own.count) not in self._looked
            }
            for key, found in self._each(new, own, until).items():
                self._looked[key, until, own.count] = looked_of(key, found)

    def _each(self, mixes: Mapping[str, Mix], study: Study, until: str) -> dict[str, Followed]:
        if not mixes:
            return {}
        try:
            return dict(zip(mixes, study.follow(list(mixes.values()), until=until), strict=True))
        except InputProblem:  # one label can't be true: each on its own
            out = {}
            for key, mix in mixes.items():
                try:
                    out[key] = study.follow([mix], until=until)[0]
                except InputProblem:
                    continue
            return out

    # --- as the readings move them -------------------------------------------------------------

    def after(
        self, kept: Sequence[Kept], facts: Sequence[Facts], readings: Readings
    ) -> list[Facts]:
        """Facts with the odds of each look as they are once the readings moved the tank's pH."""
        if not readings.members:
            return list(facts)
        entries = {k.entry.id: k for k in kept}
        names: dict[str, str] = {}  # of the entry
        wanted: dict[str, _Wanted] = {}
        moves: dict[str, Move] = {}
        for fact in reversed(facts):
            if not (fact.looks and fact.shares):
                continue
            if fact.mix not in moves:
                moves[fact.mix] = readings.move_of(fact).rounded()
            move = moves[fact.mix]
            if not move:
                continue
            if sum(map(bool, moves.values())) > MOST_MOVED:
                break
            times = tuple(look.t_s for look in fact.looks)
            names[fact.entry] = f"moved {fact.mix} {move!r} {times!r} {self._base}"
            wanted[names[fact.entry]] = _Wanted(fact.mix, entries[fact.entry], move, times)
        self._move(wanted)
        return [self._as_moved(fact, self._moved.get(names.get(fact.entry, ""))) for fact in facts]

    def _move(self, wanted: Mapping[str, _Wanted]) -> None:
        for name, told in self._kept(n for n in wanted if n not in self._moved).items():
            try:
                self._moved[name] = {float(t): (float(a), float(b)) for t, a, b in told}
            except (TypeError, ValueError):
                continue
        left = {n: w for n, w in wanted.items() if n not in self._moved}
        mixes = {n: m for n, w in left.items() if (m := self.mix(w.kept)) is not None}
        for until in TIMES_S:
            some = {
                n: w
                for n, w in left.items()
                if n in mixes and _until(max(AT_ONCE_S, *w.times)) == until
            }
            while some:  # a mix is at one pH at a time: at another it goes in another round
                turn = {w.key: n for n, w in some.items()}
                moves = _Settled({w.key: w.move for n, w in some.items() if turn[w.key] == n})
                study = self.study.believing(Beliefs(jug=self._jugs.measured, moves=moves))
                found = self._each({n: mixes[n] for n in turn.values()}, study, until)
                for name, seen in found.items():
                    each = {t: raw_odds(seen, t) for t in some[name].times}
                    self._moved[name] = each if seen.ok.any() else {}
                some = {n: w for n, w in some.items() if n not in turn.values()}
        self._keep({
            n: [[t, *odds] for t, odds in self._moved[n].items()] for n in left if n in self._moved
        })  # fmt: skip

    @staticmethod
    def _as_moved(fact: Facts, moved: Mapping[float, tuple[float, float]] | None) -> Facts:
        if not moved:
            return fact
        looks = [
            replace(x, shows=moved[x.t_s][0], blocks=moved[x.t_s][1]) if x.t_s in moved else x
            for x in fact.looks
        ]
        return replace(fact, looks=tuple(looks))

    # --- the cache -----------------------------------------------------------------------------

    def _kept(self, names: Iterable[str]) -> dict[str, Any]:
        return {} if self._cache is None else self._cache.get(names)

    def _keep(self, values: Mapping[str, Any]) -> None:
        if self._cache is not None and values:
            self._cache.put(values)


@dataclass(frozen=True)
class _Wanted:
    """An entry's mix, by its key, to be followed as it is moved, and when it was looked at [s]."""

    key: str
    kept: Kept
    move: Move
    times: tuple[float, ...]


class _Settled:
    """Mixes moved by what was settled of each. Stands for `forecast.beliefs.Moves`."""

    def __init__(self, moves: Mapping[str, Move]) -> None:
        self._moves = moves

    def knows(self, jugs: Sequence[str]) -> bool:
        return True

    def shift(self, ready: Prepared, clear: Equilibrium) -> Floats:
        move = self._moves.get(mix_key(ready.mix))  # none of a tank of which this one has a rest
        return np.zeros(len(clear.ph)) if move is None else move.of(ready, clear)


def _ladder(kept: Kept, mix: Mix, looked: Looked, own: Study) -> list[PhFact]:
    """Readings with acid or base in the jar, beside the labels' tank with as much; those whose
    dose can't be told teach nothing."""
    poured, _ = spread_of(looked.found.fresh.clear.ph)
    out = []
    for reading in kept.entry.ph:
        rate = None if reading.dose is None else grams_per_L(reading.dose)
        if rate is None or reading.dose is None or reading.dose.agent is None:
            continue
        try:
            agent = choose_agent(reading.dose.agent)
            dosed = dosed_with(mix, agent, len(mix.additions), rate)
            ready = own.stand(dosed)
        except InputProblem:
            continue
        median, spread = spread_of(ready.speciated().ph)
        if np.isfinite(median):
            variance = reading_variance(reading) * (1.0 if kept.ours else OTHERS)
            moved = abs(median - poured)
            out.append(PhFact(reading.value, variance, median, spread, moved))
    return out


def _old(kept: Sequence[Kept]) -> set[str]:
    """Entries whose mix is none of the latest kept."""
    latest: set[tuple[tuple[str, str | None], ...]] = set()
    old = set()
    for k in reversed(kept):
        mix = _texts(k)
        if mix in latest or len(latest) < LATEST:
            latest.add(mix)
        else:
            old.add(k.entry.id)
    return old


def _texts(kept: Kept) -> tuple[tuple[str, str | None], ...]:
    """What a mix is read again from."""
    return tuple((f.name, f.hash) for f in kept.entry.mix.files)


def _until(t_s: float) -> str:
    """The time of the day up to which a tank must be followed for a look at t [s]."""
    if t_s <= 0.0:
        return "fresh"
    return next((name for name, s in TIMES_S.items() if t_s <= s), list(TIMES_S)[-1])
