"""The whole shelf: every pair (or one product against all) in one tank, worst first."""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations
from typing import Any

from chem.equilibrium import one_thread
from chem.errors import InputProblem, Problem, ToxicGas
from chem.forecast import (
    NOTHING_LEARNED,
    THRESHOLD,
    Answer,
    Beliefs,
    Gas,
    Rule,
    Study,
    broken,
    gases,
    never,
    rules_of,
)
from chem.forecast.order import keeping_rules
from chem.forecast.rules import refuse_toxic
from chem.forecast.search import search
from chem.reference.fingerprint import fingerprint, made_with
from chem.shelf.cache import Cache
from chem.shelf.engines import Engine, local
from chem.shelf.groups import fewest_passes, largest_groups
from chem.shelf.levers import FirstRate
from chem.shelf.stock import Item, LeftOut, Setting, apart, why_left_out
from chem.shelf.tanks import Odds, Tank, batches
from chem.tank import MAX_PRODUCTS, Mix, room_taken

GROUPS_LISTED = 5
ENDED = 8
"""Quarrels of the asked product of which it is told at what rate they end."""
Progress = Callable[[int, int], None]
"""(tanks done, tanks in all)"""


@dataclass(frozen=True)
class Together:
    """Some products in one tank.

    members: places in the shelf's items; factor: on the first one's rate; odds: None where they
    must never meet or leave no room for water (untried: the rule's code, or `no_room`, then
    filled: the share that the products alone fill); refused: the code of the rule by which they
    must never be poured; answer: as a forecast's, at the time judged; salts_clear: whether the
    salts stay clear, whatever can't be judged; rules: broken, of this tank; new: those that no
    member breaks alone; gases: that no member gives alone; alone: the largest chance of solids of
    a member alone; worse: whether solids are; clear_at: factor on the first one's rate at which it
    would stay clear, None where not sought or not found.
    """

    members: tuple[int, ...]
    factor: float
    odds: Odds | None
    untried: str
    filled: float
    refused: str | None
    answer: Answer
    salts_clear: bool
    rules: tuple[Rule, ...]
    new: tuple[Rule, ...]
    gases: tuple[Gas, ...]
    alone: float
    worse: bool
    clear_at: float | None = None

    @property
    def toxic(self) -> bool:
        """Whether they must never meet."""
        return self.refused is not None

    @property
    def clear(self) -> bool:
        """Whether nothing speaks against one tank: no solids, no label's rule, no gas or heat.

        What a product does even alone (a strong acid heats) speaks against no tank.
        """
        return self.fine and self.salts_clear

    @property
    def fine(self) -> bool:
        """Whether it was tried, breaks no label's rule and gives no gas or heat of its own."""
        gas = bool(self.gases) and len(self.members) > 1
        return not (self.odds is None or self.new or gas)

    @property
    def quarrels(self) -> bool:
        """Whether they are better kept apart: not clear, and worse than each alone."""
        return not self.clear and (self.worse or not self.fine)

    @property
    def unknown(self) -> bool:
        """Whether the model can't tell of their salts, and nothing else speaks against them."""
        return not (self.clear or self.quarrels) and self.answer.word == "cannot tell"

    def shows(self, judged_at: str) -> float:
        """Chance that solids show by then; 1 where it was not tried at all."""
        return 1.0 if self.odds is None else self.odds.probability[judged_at]


@dataclass(frozen=True)
class Passes:
    """A list of products in as few tanks as will do.

    tanks: members of each; fewest: whether fewer are known not to do; alone_fails: products that
    do not stay clear even alone.
    """

    tanks: tuple[tuple[int, ...], ...]
    fewest: bool
    alone_fails: tuple[int, ...]


@dataclass(frozen=True)
class Shelf:
    """Who gets along with whom.

    items: the products; setting: the tank; judged_at; asked: place of the one product asked for,
    None where all were tried with all; pairs: worst first; triples, alone likewise; only_three:
    triples that quarrel though no two of them do; ratios: pair by pair, factors rising; groups:
    products that get along all together, the largest first; passes: None where not asked;
    seconds, solves: spent in this run, equilibria; versions: as a forecast's.
    """

    items: tuple[Item, ...]
    left_out: tuple[LeftOut, ...]
    setting: Setting
    judged_at: str
    asked: int | None
    pairs: tuple[Together, ...]
    triples: tuple[Together, ...]
    only_three: tuple[Together, ...]
    ratios: tuple[Together, ...]
    alone: tuple[Together, ...]
    groups: tuple[tuple[int, ...], ...]
    passes: Passes | None
    notes: tuple[str, ...]
    seconds: float
    solves: int
    versions: Mapping[str, str]

    @cached_property
    def names(self) -> tuple[str, ...]:
        """What each item is called; two of one name are told apart by their files."""
        plain = [item.name for item in self.items]
        return tuple(
            name if plain.count(name) == 1 else f"{name} ({item.product.key})"
            for name, item in zip(plain, self.items, strict=True)
        )

    def mix(self, found: Together) -> Mix:
        """The tank of some products as a mix, by whose places its rules speak."""
        return Tank(found.members, found.factor).mix(self.items, self.setting)

    def quarrels_of(self, place: int) -> int:
        """With how many others a product quarrels."""
        return sum(t.quarrels for t in self.pairs if place in t.members)


@one_thread()
def shelf(
    items: Sequence[Item],
    setting: Setting,
    *,
    asked: Item | None = None,
    triples: bool = False,
    ratios: Sequence[float] = (),
    passes: bool = False,
    pairs: bool = True,
    judged_at: str = "4h",
    left_out: Sequence[LeftOut] = (),
    engine: Engine | None = None,
    cache: Cache | None = None,
    progress: Progress | None = None,
    beliefs: Beliefs = NOTHING_LEARNED,
) -> Shelf:
    """Try every pair of `items`, or one asked for against all, in one setting.

    Args:
        items: what stands on the shelf; asked: the one to try against all.
        triples: three at a time too; ratios: factors on the first one's rate, each tried too.
        passes: the fewest tanks that use all items, where they are at most MAX_PRODUCTS.
        pairs: False tries each product alone only.
        engine: where it is computed; cache: results of earlier runs; progress: told as it goes;
        beliefs: what earlier jars taught; with any, no earlier result counts.

    Whatever one product raises, it is left out and named, and the rest is answered.

    Raises:
        InputProblem: no product, or none that can be worked out; the one asked for can't be; a
            ratio that is not positive.
    """
    start = time.perf_counter()
    stock = tuple(items)
    place = None
    if asked is not None:
        stock = tuple(
            i for i in stock if i.text != asked.text or i.product.file != asked.product.file
        )
        stock = (apart(asked, stock), *stock)
        place = 0
    _check(stock, ratios)
    study = Study(setting.draws, setting.seed, beliefs)
    cache = cache if beliefs is NOTHING_LEARNED else None
    work = _Work(stock, setting, judged_at, study, engine or local(), cache, progress)
    indices = range(len(stock))
    twos = [c for c in combinations(indices, 2) if pairs and (place is None or place in c)]
    threes = [c for c in combinations(indices, 3) if place is None or place in c]
    threes = threes if triples and pairs else []
    # Whether three quarrel where no two do takes the pairs without the one asked for, too.
    inner = [c for c in combinations(indices, 2) if threes and place is not None and place not in c]
    steps = sorted({f for f in ratios if f != 1.0} | {1.0})
    rows = [[Tank(c)] for c in (*((i,) for i in indices), *inner, *threes)]
    rows += [[Tank(c, f) for f in steps] for c in twos]
    try:
        work.do(rows)
        alone = [work.judged(Tank((i,))) for i in indices]
    except Exception as error:  # one bad label must not cost the others their answer
        spoilt = work.spoilt()
        if not spoilt:
            raise
        out = [*left_out, *spoilt.values()]
        rest = [item for i, item in enumerate(stock) if i != place and i not in spoilt]
        if place in spoilt or (asked is None and not rest):
            raise _none_usable(list(spoilt.values())) from error
        return shelf(
            rest,
            setting,
            asked=asked,
            triples=triples,
            ratios=ratios,
            passes=passes,
            pairs=pairs,
            judged_at=judged_at,
            left_out=out,
            engine=engine,
            cache=cache,
            progress=progress,
            beliefs=beliefs,
        )
    found_pairs = [work.judged(Tank(c)) for c in twos]
    if place is not None:
        found_pairs = work.ended(found_pairs)
    found_threes = [work.judged(Tank(c)) for c in threes]
    at_odds = [
        set(t.members) for t in (*found_pairs, *(work.judged(Tank(c)) for c in inner)) if t.quarrels
    ]
    only_three = [
        t for t in found_threes if t.quarrels and not any(two <= set(t.members) for two in at_odds)
    ]
    groups: tuple[tuple[int, ...], ...] = ()
    parts = None
    if pairs and place is None:
        kept_apart = {t.members for t in found_pairs if not t.clear}
        judged = [i for i in indices if stock[i].product.judged and alone[i].clear]
        groups = tuple(
            largest_groups(judged, kept_apart, work.together, MAX_PRODUCTS, GROUPS_LISTED)
        )
        if passes and len(stock) > MAX_PRODUCTS:
            work.notes.insert(0, f"Passes are looked for among at most {MAX_PRODUCTS} products")
        elif passes:
            fails = tuple(i for i in indices if not alone[i].clear)
            parts = Passes(*fewest_passes(judged, kept_apart, work.together), fails)
    return Shelf(
        stock,
        tuple(left_out),
        setting,
        judged_at,
        place,
        _worst_first(found_pairs, judged_at),
        _worst_first(found_threes, judged_at),
        _worst_first(only_three, judged_at),
        tuple(work.judged(Tank(c, f)) for c in twos for f in steps) if len(steps) > 1 else (),
        _worst_first(alone, judged_at),
        groups,
        parts,
        tuple(work.notes),
        time.perf_counter() - start,
        work.solves,
        fingerprint(),
    )


def _none_usable(spoilt: Sequence[LeftOut]) -> InputProblem:
    return InputProblem(
        Problem(out.file, out.why, "the label as printed; `jarsight label` shows how it is read")
        for out in spoilt
    )


def _check(stock: Sequence[Item], ratios: Sequence[float]) -> None:
    problems = []
    if len(stock) < 1:
        problems.append(Problem("shelf", "no product to try", "a folder with product files"))
    for factor in ratios:
        if not 0.0 < factor < float("inf"):
            problems.append(
                Problem(f"command line, --ratios {factor:g}", "a ratio is above 0", "0.5,1,2")
            )
    if problems:
        raise InputProblem(problems)


def _worst_first(found: Iterable[Together], judged_at: str) -> tuple[Together, ...]:
    """Toxic gas, other gas, then solids: what clogs, what shows, what shows later."""
    rank = {"curdle": 0, "haze": 1, "cannot tell": 2, "clear": 3}

    def key(t: Together) -> tuple[float, ...]:
        odds = t.odds
        blocks = 1.0 if odds is None else odds.clogs[judged_at]
        day = 1.0 if odds is None else odds.probability["24h"]
        gas = len(t.members) > 1 and bool(t.gases)
        return (
            0.0 if t.toxic else 1.0 if gas else 2.0,
            float(odds is not None),
            float(rank[t.answer.word]),
            -blocks,
            -t.shows(judged_at),
            -day,
            *(float(m) for m in t.members),
        )

    return tuple(sorted(found, key=key))


class _Work:
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
        self._known: dict[Tank, Odds] = {}
        self._refused: dict[Tank, tuple[str, float]] = {}
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
        return _hash(self._base, *sorted(parts))

    def do(self, rows: Sequence[Sequence[Tank]]) -> None:
        """Find the odds of tanks; a row holds the same members at rising factors."""
        every = [t for row in rows for t in row if t not in self._known and t not in self._refused]
        for tank in dict.fromkeys(every):
            mix = tank.mix(self.stock, self.setting)
            room = room_taken(mix.additions, mix.carrier_L_per_m2)
            if room >= 1.0:
                self._refused[tank] = "no_room", room
            try:
                refuse_toxic(mix)
            except ToxicGas as danger:
                self._refused[tank] = danger.code, room
        keys = {t: self.key(t) for t in every if t not in self._refused}
        if self.cache is not None:
            cached = self.cache.get(keys.values())
            found = {t: _read(cached[k]) for t, k in keys.items() if k in cached}
            self._known |= {t: odds for t, odds in found.items() if odds is not None}
        todo: dict[int, list[Sequence[Tank]]] = {}
        planned: set[Tank] = set()
        for row in rows:
            new = [t for t in row if t in keys and t not in self._known and t not in planned]
            planned |= set(new)
            if new:
                todo.setdefault(len(new), []).append(new)
        for same_length in todo.values():
            self._compute(same_length, keys)

    def _compute(self, rows: Sequence[Sequence[Tank]], keys: Mapping[Tank, str]) -> None:
        whole = sum(len(row) for row in rows)
        equilibria = whole * self.study.count
        done = 0
        made = batches(rows, self.stock, self.setting, self.study)
        with closing(self.engine(made, equilibria)) as engine:
            for places, results in engine:
                new = {
                    tank: odds
                    for place, found in zip(places, results, strict=True)
                    for tank, odds in zip(rows[place], found, strict=True)
                }
                self._known |= new
                if self.cache is not None:
                    self.cache.put({keys[t]: odds.as_dict() for t, odds in new.items()})
                done += len(new)
                self.solves += len(new) * self.study.count
                if self.progress is not None:
                    self.progress(done, whole)

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

    def judged(self, tank: Tank) -> Together:
        """A tank with its answer and its dangers, beside those of its members alone."""
        mix = tank.mix(self.stock, self.setting)
        each = [self.judged(Tank((i,))) for i in tank.members] if len(tank.members) > 1 else []
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
        alone_too = {
            g.key
            for i in tank.members
            if len(tank.members) > 1 and (one := self._known.get(Tank((i,)))) is not None
            for g in gases(Tank((i,)).mix(self.stock, self.setting), one.ph)
        }
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
        )

    def ended(self, pairs: Sequence[Together]) -> list[Together]:
        """The pairs of the product asked for, the worst with the rate at which a quarrel ends."""
        worst = [t for t in pairs if t.quarrels and t.fine and t.odds is not None]
        worst = sorted(worst, key=lambda t: -t.shows(self.judged_at))[:ENDED]
        levers = [FirstRate(t.members, self.stock, self.setting, self.judged_at) for t in worst]
        found = search(self.study, levers)
        at = {
            t.members: None if one is None else one.value
            for t, one in zip(worst, found, strict=True)
        }
        return [replace(t, clear_at=at.get(t.members)) for t in pairs]

    def together(self, groups: Sequence[tuple[int, ...]]) -> list[bool]:
        """Whether all of each group get along in one tank."""
        tanks = [Tank(group) for group in groups]
        self.do([[tank] for tank in tanks])
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
