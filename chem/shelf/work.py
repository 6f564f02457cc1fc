"""Odds of a shelf's tanks, from the cache or computed, each once; and what is said of each."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing
from dataclasses import replace
from itertools import islice
from typing import Any, cast

from chem.errors import ToxicGas
from chem.forecast import THRESHOLD, Answer, Rule, Study, broken, gases, never, rules_of
from chem.forecast.order import keeping_rules
from chem.forecast.rules import refuse_toxic
from chem.forecast.search import search
from chem.label import Contents, Product
from chem.reference.fingerprint import made_with
from chem.shelf.cache import Cache
from chem.shelf.engines import Engine, Local, Places, cores, spread_out
from chem.shelf.ledger import Ledger
from chem.shelf.levers import FirstRate
from chem.shelf.stock import Item, LeftOut, Setting, why_left_out
from chem.shelf.tanks import Batch, Odds, Tank, batches
from chem.shelf.together import Together
from chem.tank import Mix, room_taken

BLOCK = 4096
"""Tanks planned at a time."""
ENDED = 8
"""Quarrels of the asked product of which it is told at what rate they end."""
Progress = Callable[[int, int], None]
"""(tanks done, tanks in all)"""


class Work:
    """Odds of tanks, from the cache or computed, each once."""

    def __init__(
        self,
        stock: Sequence[Item],
        setting: Setting,
        judged_at: str,
        study: Study,
        engine: Engine,
        cache: Cache | None,
        progress: Progress | None,
    ) -> None:
        self.stock, self.setting, self.judged_at = stock, setting, judged_at
        self.study = study
        self.engine, self.cache, self.progress = engine, cache, progress
        self.solves = 0
        self.notes: list[str] = list(study.water(setting.water).notes)
        self._known = Ledger()
        self._refused: dict[Tank, tuple[str, float]] = {}
        self._alone: dict[int, Together] = {}
        self._clear_at: dict[tuple[int, ...], float | None] = {}
        self._base = _hash(
            repr(setting), setting.water.identity, json.dumps(made_with(), sort_keys=True)
        )
        self._identity = [item.identity for item in stock]

    def key(self, tank: Tank) -> str:
        """What the odds of a tank depend on."""
        parts = [
            f"{self._identity[i]} {tank.factor if k == 0 else 1.0!r}"
            for k, i in enumerate(tank.members)
        ]
        beliefs = self.study.beliefs
        if beliefs.key and beliefs.touch([self.stock[i].product for i in tank.members]):
            parts.append(f"beliefs {beliefs.key}")
        return _hash(self._base, *sorted(parts))

    def do(self, rows: Iterable[Sequence[Tank]], whole: int) -> None:
        """Find the odds of tanks; a row holds the same members at rising factors.

        whole: tanks in all. They are planned a block at a time, and forgotten once they are kept.
        """
        todo = iter(rows)
        waiting: dict[int, Sequence[Tank]] = {}
        done = 0

        def made() -> Iterator[tuple[Places, Batch]]:
            nonlocal done
            while block := list(islice(todo, BLOCK)):
                new = self._planned(block)
                done += sum(len(row) for row in block) - sum(len(row) for row in new)
                for length in sorted({len(row) for row in new}):
                    same = [row for row in new if len(row) == length]
                    for places, batch in batches(same, self.stock, self.setting, self.study):
                        first = max(waiting, default=-1) + 1
                        named = tuple(range(first, first + len(places)))
                        waiting.update(zip(named, (same[p] for p in places), strict=True))
                        yield named, batch

        with closing(self.engine(made(), whole * self.study.count)) as engine:
            for places, results in engine:
                new = {
                    tank: odds
                    for place, found in zip(places, results, strict=True)
                    for tank, odds in zip(waiting.pop(place), found, strict=True)
                }
                for tank, odds in new.items():
                    self._known[tank] = odds
                if self.cache is not None:
                    self.cache.put({self.key(t): odds.as_dict() for t, odds in new.items()})
                done += len(new)
                self.solves += len(new) * self.study.count
                if self.progress is not None:
                    self.progress(done, whole)

    def _planned(self, rows: Sequence[Sequence[Tank]]) -> list[Sequence[Tank]]:
        """What is to be computed: neither refused, nor known, nor in the cache."""
        every = dict.fromkeys(
            t for row in rows for t in row if t not in self._known and t not in self._refused
        )
        for tank in every:
            self._refuse(tank)
        left = [t for t in every if t not in self._refused]
        if self.cache is not None:
            keys = {t: self.key(t) for t in left}
            cached = self.cache.get(keys.values())
            for tank, key in keys.items():
                odds = _read(cached[key]) if key in cached else None
                if odds is not None:
                    self._known[tank] = odds
        open_ = {t for t in left if t not in self._known}
        new: list[Sequence[Tank]] = []
        for row in rows:
            part = [t for t in row if t in open_]
            open_.difference_update(part)
            if part:
                new.append(part)
        return new

    def _refuse(self, tank: Tank) -> None:
        """Mark what must never meet, or leaves no room for water."""
        mix = tank.mix(self.stock, self.setting)
        room = room_taken(mix.additions, mix.carrier_L_per_m2)
        if room >= 1.0:
            self._refused[tank] = "no_room", room
        try:
            refuse_toxic(mix)
        except ToxicGas as danger:
            self._refused[tank] = danger.code, room

    def reckon(self) -> dict[int, LeftOut]:
        """Work out the contents of all that no earlier result knows; what can't be, and why."""
        new = self._planned([[Tank((i,))] for i in range(len(self.stock))])
        places = [row[0].members[0] for row in new]

        def make(k: int) -> Contents | LeftOut:
            item = self.stock[places[k]]
            try:
                inside = self.study.reckoned(item.product)
                # The label can't be sent and stands here already; its doubts are not asked for.
                return replace(inside, product=cast("Product", None), doubts={})
            except Exception as error:
                return why_left_out(item.product.file, error)

        workers = self.engine.workers if isinstance(self.engine, Local) else cores()
        out = {}
        for place, found in zip(places, spread_out(make, len(places), workers), strict=True):
            if isinstance(found, LeftOut):
                out[place] = found
            else:
                self.study.know(self.stock[place].product, found)
        return out

    def spoilt(self) -> dict[int, LeftOut]:
        """Places of products that can't be worked out even alone, and why."""
        out = {}
        for i, item in enumerate(self.stock):
            mix = Tank((i,)).mix(self.stock, self.setting)
            try:
                shelf_rules(mix)
                self.study.look(mix)
            except Exception as error:
                out[i] = why_left_out(item.product.file, error)
        return out

    def alone(self, place: int) -> Together:
        """A product by itself."""
        if place not in self._alone:
            self._alone[place] = self.judged(Tank((place,)))
        return self._alone[place]

    def judged(self, tank: Tank) -> Together:
        """A tank with its answer and its dangers, beside those of its members alone."""
        mix = tank.mix(self.stock, self.setting)
        each = [self.alone(i) for i in tank.members] if len(tank.members) > 1 else []
        rules = shelf_rules(mix)
        mine = {(r.code, place) for place, t in enumerate(each) for r in t.rules if r.other is None}
        new = tuple(r for r in rules if r.other is not None or (r.code, r.product) not in mine)
        known, at = self._known.get(tank), self.judged_at
        alone = max((t.shows(at) for t in each), default=0.0)
        if known is None:
            untried, filled = self._refused[tank]
            refused = None if untried == "no_room" else untried
            answer = Answer("cannot tell", 1.0, untried)
            return Together(
                tank.members,
                tank.factor,
                None,
                untried,
                filled,
                refused,
                answer,
                False,
                rules,
                new,
                (),
                alone,
                True,
            )
        alone_too = {g.key for t in each for g in t.gases}
        given = tuple(
            g for g in gases(mix, known.ph) if g.key not in alone_too or g.cause == "meets"
        )
        not_judged = [self.stock[i].name for i in tank.members if not self.stock[i].product.judged]
        blocked = max((t.odds.clogs[at] for t in each if t.odds is not None), default=0.0)
        worse = known.probability[at] > alone + THRESHOLD or known.clogs[at] > blocked + THRESHOLD
        salts = known.answer(at, ()).word
        return Together(
            tank.members,
            tank.factor,
            known,
            "",
            0.0,
            never(rules),
            known.answer(at, not_judged),
            salts == "clear",
            rules,
            new,
            given,
            alone,
            worse and salts != "cannot tell",
            self._clear_at.get(tank.members) if tank.factor == 1.0 else None,
        )

    def end(self, tanks: Iterable[Tank]) -> None:
        """Find the rate at which the worst quarrels of the first product end."""
        pairs = [self.judged(t) for t in tanks]
        worst = [t for t in pairs if t.quarrels and t.fine and t.odds is not None]
        worst = sorted(worst, key=lambda t: -t.shows(self.judged_at))[:ENDED]
        levers = [FirstRate(t.members, self.stock, self.setting, self.judged_at) for t in worst]
        found = search(self.study, levers)
        for t, one in zip(worst, found, strict=True):
            self._clear_at[t.members] = None if one is None else one.value

    def together(self, groups: Sequence[tuple[int, ...]]) -> list[bool]:
        """Whether all of each group get along in one tank."""
        tanks = [Tank(group) for group in groups]
        self.do([[tank] for tank in tanks], len(tanks))
        return [self.judged(tank).clear for tank in tanks]


def shelf_rules(mix: Mix) -> tuple[Rule, ...]:
    """Rules that a tank breaks in any order; of order only where no order keeps them."""
    stuck = keeping_rules(mix) is None
    return tuple(r for r in broken(rules_of(mix)) if stuck or r.kind != "order")


def _read(value: Any) -> Odds | None:
    """Odds as the cache holds them; None where it holds something else."""
    try:
        return Odds(**value)
    except TypeError:
        return None


def _hash(*parts: str) -> str:
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()
