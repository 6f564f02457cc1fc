"""The whole shelf: every pair, one product against all, or mine against a shop's; worst first."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import chain, combinations

import numpy as np
from numpy.typing import NDArray

from chem.equilibrium import one_thread
from chem.errors import InputProblem, Problem
from chem.forecast import NOTHING_LEARNED, Beliefs, Study
from chem.reference.fingerprint import fingerprint
from chem.shelf.cache import Cache
from chem.shelf.engines import Engine, local
from chem.shelf.groups import fewest_passes, largest_groups
from chem.shelf.neighbours import Neighbour, neighbours, wanted
from chem.shelf.stock import Item, LeftOut, Setting, all_apart
from chem.shelf.tanks import Tank
from chem.shelf.together import CLEAR, QUARRELS, Tanks, Together
from chem.shelf.work import Progress, Work
from chem.tank import MAX_PRODUCTS, Mix

GROUPS_LISTED = 5
MOST_GROUPED = 200
"""Products among which groups are looked for."""


@dataclass(frozen=True)
class Passes:
    """A list of products in as few tanks as will do.

    tanks: members of each; fewest: whether fewer are known not to do; alone_fails: products that
    do not stay clear even alone; joins: which of the tanks stay clear with the one asked for.
    """

    tanks: tuple[tuple[int, ...], ...]
    fewest: bool
    alone_fails: tuple[int, ...]
    joins: tuple[int, ...] = ()


@dataclass(frozen=True)
class Shelf:
    """Who gets along with whom.

    items: the products; setting: the tank; judged_at; asked: place of the one product asked for,
    None where all were tried with all; mine: how many of the first products were tried against the
    rest, a shop's, and not with each other, 0 otherwise; wanting: the guarantee that these have;
    neighbours: these, best first; pairs: worst first; triples, alone likewise; only_three:
    triples that quarrel though no two of them do; ratios: pair by pair, factors rising; lower:
    pairs at a lower rate of the one asked for, where that changes what is said of them; groups:
    products that get along all together, the largest first; passes: None where not asked;
    seconds, solves: spent in this run, equilibria; versions: as a forecast's.
    """

    items: tuple[Item, ...]
    left_out: tuple[LeftOut, ...]
    setting: Setting
    judged_at: str
    asked: int | None
    mine: int
    wanting: str
    neighbours: tuple[Neighbour, ...]
    pairs: Tanks
    triples: Tanks
    only_three: Tanks
    ratios: Tanks
    lower: Tanks
    alone: Tanks
    groups: tuple[tuple[int, ...], ...]
    passes: Passes | None
    notes: tuple[str, ...]
    seconds: float
    solves: int
    versions: Mapping[str, str]

    @cached_property
    def names(self) -> tuple[str, ...]:
        """What each item is called; two of one name are told apart by their files."""
        times = Counter(item.name for item in self.items)
        return tuple(
            item.name if times[item.name] == 1 else f"{item.name} ({item.product.key})"
            for item in self.items
        )

    def mix(self, found: Together) -> Mix:
        """The tank of some products as a mix, by whose places its rules speak."""
        return Tank(found.members, found.factor).mix(self.items, self.setting)

    def quarrels_of(self, place: int) -> int:
        """With how many others a product quarrels."""
        return int(self._quarrels[place])

    @cached_property
    def _quarrels(self) -> NDArray[np.int64]:
        at_odds = self.pairs.where(QUARRELS).members
        return np.bincount(at_odds.ravel(), minlength=len(self.items))


TAUGHT = "What the notebook taught of these jugs counts too"


@one_thread()
def shelf(
    items: Sequence[Item],
    setting: Setting,
    *,
    asked: Item | None = None,
    against: Sequence[Item] = (),
    wanting: str = "",
    triples: bool = False,
    ratios: Sequence[float] = (),
    lower: float | None = None,
    passes: bool = False,
    pairs: bool = True,
    judged_at: str = "4h",
    left_out: Sequence[LeftOut] = (),
    engine: Engine | None = None,
    cache: Cache | None = None,
    progress: Progress | None = None,
    beliefs: Beliefs = NOTHING_LEARNED,
) -> Shelf:
    """Try every pair of `items`, one asked for against all, or all against a shop's.

    Args:
        items: what stands on the shelf; asked: the one to try against all.
        against: a shop's products, each tried with each of `items` (or the one asked for) and none
            with its like; wanting: only those that guarantee this line are tried.
        triples: three at a time too; ratios: factors on the first one's rate, each tried too.
        lower: factor on the rate of the one asked for, at the other end of its label's range.
        passes: the fewest tanks that use all items (but the one asked for, which is then tried
            with each), where they are at most MAX_PRODUCTS.
        pairs: False tries each product alone only.
        engine: where it is computed; cache: results of earlier runs; progress: told as it goes;
        beliefs: what earlier jars taught; without a key, no earlier result counts.

    Whatever one product raises, it is left out and named, and the rest is answered.

    Raises:
        InputProblem: no product, or none that can be worked out; the one asked for can't be; a
            ratio that is not positive; a guarantee that no label has.
    """
    start = time.perf_counter()
    mine: tuple[Item, ...] = () if asked is None else (asked,)
    others = items
    if against:
        mine, others = mine or tuple(items), against
    known = {(item.text, item.product.file) for item in mine}
    others = [item for item in others if (item.text, item.product.file) not in known]
    without = 0
    if against and wanting:
        without = len(others)
        wanting, others = wanted(others, wanting)
        without -= len(others)
    out = list(left_out)
    study = Study(setting.draws, setting.seed, beliefs)
    cache = cache if beliefs is NOTHING_LEARNED or beliefs.key else None
    shown = {f for f in ratios if f != 1.0} | {1.0}
    steps = sorted(shown | ({lower} if lower is not None else set()))
    # The one asked for takes another key, not what earlier results may know.
    kept = all_apart((*others, *mine))
    stock = (*kept[len(others) :], *kept[: len(others)])
    count = len(mine)
    _check(mine if against else stock, ratios)
    while True:
        joint = passes and asked is not None and not against and len(stock) <= MAX_PRODUCTS
        plan = _Plan(len(stock), count, pairs, triples, bool(against), joint)
        work = Work(stock, setting, judged_at, study, engine or local(), cache, progress)
        spoilt = work.reckon()
        if spoilt:
            stock, count = _less(stock, count, spoilt, out)
            continue
        try:
            work.do(plan.rows(steps), plan.tanks(steps))
            alone = [work.alone(i) for i in range(len(stock))]
            break
        except Exception:  # one bad label must not cost the others their answer
            spoilt = work.spoilt()
            if not spoilt:
                raise
            stock, count = _less(stock, count, spoilt, out)
    if any(beliefs.touch([item.product]) for item in stock):
        work.notes.insert(0, TAUGHT)
    if without:
        work.notes.insert(0, f"{without} of the shop's labels hold no {wanting}: not tried")
    twos, threes = [Tank(c) for c in plan.twos()], [Tank(c) for c in plan.threes]
    if asked is not None and not against:
        work.end(twos)
    found_pairs = Tanks.of(work.judged, twos, judged_at)
    found_threes = Tanks.of(work.judged, threes, judged_at)
    at_odds = []
    if threes:
        inner = (work.judged(Tank(c)) for c in plan.inner)
        tried = chain(found_pairs.where(QUARRELS), (t for t in inner if t.quarrels))
        at_odds = [set(t.members) for t in tried]
    only_three = [
        Tank(t.members)
        for t in found_threes.where(QUARRELS)
        if not any(two <= set(t.members) for two in at_odds)
    ]
    groups: tuple[tuple[int, ...], ...] = ()
    parts = None
    if pairs and not mine and len(stock) > MOST_GROUPED:
        work.notes.insert(0, f"Groups are looked for among at most {MOST_GROUPED} products")
    elif pairs and not mine:
        apart = found_pairs.where(unmarked=CLEAR).members
        kept_apart = {(int(a), int(b)) for a, b in apart}
        judged = [i for i, item in enumerate(stock) if item.product.judged and alone[i].clear]
        groups = tuple(
            largest_groups(judged, kept_apart, work.together, MAX_PRODUCTS, GROUPS_LISTED)
        )
        if passes and len(stock) > MAX_PRODUCTS:
            work.notes.insert(0, f"Passes are looked for among at most {MAX_PRODUCTS} products")
        elif passes:
            fails = tuple(i for i, t in enumerate(alone) if not t.clear)
            parts = Passes(*fewest_passes(judged, kept_apart, work.together), fails)
    elif joint and pairs:
        parts = _passes_of_the_others(work, plan, alone)
    beside = neighbours(stock, count, found_pairs, wanting) if against else ()
    if beside:
        rank = np.zeros(len(stock))
        rank[[n.place for n in beside]] = np.arange(len(beside))
        mine_of, shop_of = found_pairs.members.T
        found_pairs = found_pairs.pick(np.lexsort((mine_of, rank[shop_of])))
    stepped = [Tank(c, f) for c in plan.twos() for f in sorted(shown)] if len(shown) > 1 else []
    singles = [Tank((i,)) for i in range(len(stock))]
    return Shelf(
        stock,
        tuple(out),
        setting,
        judged_at,
        0 if asked is not None and not against else None,
        count if against else 0,
        wanting if against else "",
        beside,
        found_pairs,
        found_threes,
        Tanks.of(work.judged, only_three, judged_at),
        Tanks.of(work.judged, stepped, judged_at, worst_first=False),
        Tanks.of(work.judged, _changed(work, twos, lower), judged_at),
        Tanks.of(work.judged, singles, judged_at),
        groups,
        parts,
        tuple(work.notes),
        time.perf_counter() - start,
        work.solves,
        fingerprint(),
    )


def _changed(work: Work, twos: Sequence[Tank], lower: float | None) -> list[Tank]:
    """Pairs at the lower rate of the first, where something else is said of them."""
    if lower is None:
        return []
    both = [(work.judged(two), Tank(two.members, lower)) for two in twos]
    return [tank for usual, tank in both if work.judged(tank).marks != usual.marks]


def _passes_of_the_others(work: Work, plan: _Plan, alone: Sequence[Together]) -> Passes:
    """The fewest tanks of all but the first, and which of them it joins."""
    rest = [i for i in range(1, plan.stock) if work.stock[i].product.judged and alone[i].clear]
    apart = [pair for pair in plan.inner if not work.judged(Tank(pair)).clear]
    tanks, fewest = fewest_passes(rest, apart, work.together)
    fails = tuple(i for i in range(1, plan.stock) if not alone[i].clear)
    fits = work.together([(0, *tank) for tank in tanks])
    return Passes(tanks, fewest, fails, tuple(k for k, well in enumerate(fits) if well))


def _less(
    stock: tuple[Item, ...], mine: int, spoilt: Mapping[int, LeftOut], out: list[LeftOut]
) -> tuple[tuple[Item, ...], int]:
    """The stock without what can't be worked out, which is named in `out`, and how many of its
    first are still mine. Raises: InputProblem where none is left, or none of mine."""
    left = mine - sum(i < mine for i in spoilt)
    rest = tuple(item for i, item in enumerate(stock) if i not in spoilt)
    if not rest or (mine and not left):
        raise _none_usable(list(spoilt.values()))
    out += spoilt.values()
    return rest, left


@dataclass(frozen=True)
class _Plan:
    """Which tanks are tried: stock: products; mine: how many of the first are asked for; joint:
    whether the passes of the others are looked for."""

    stock: int
    mine: int
    pairs: bool
    triples: bool
    against: bool
    joint: bool

    def twos(self) -> Iterator[tuple[int, ...]]:
        """Pairs; a shop's product meets all of mine at a time."""
        if not self.pairs:
            return iter(())
        if not self.mine:
            return combinations(range(self.stock), 2)
        return ((i, j) for j in range(self.mine, self.stock) for i in range(self.mine))

    @property
    def inner(self) -> list[tuple[int, ...]]:
        """Pairs without the one asked for, which triples and passes rest on too."""
        wanted = (self.threes or self.joint) and self.mine and self.pairs
        return list(combinations(range(1, self.stock), 2)) if wanted else []

    @property
    def threes(self) -> list[tuple[int, ...]]:
        """Triples."""
        if not (self.triples and self.pairs) or self.against:
            return []
        return [c for c in combinations(range(self.stock), 3) if not self.mine or 0 in c]

    def rows(self, steps: Sequence[float]) -> Iterator[list[Tank]]:
        """All to be tried, those of one batch at rising factors."""
        singles = ((i,) for i in range(self.stock))
        for members in chain(singles, self.inner, self.threes):
            yield [Tank(members)]
        for members in self.twos():
            yield [Tank(members, f) for f in steps]

    def tanks(self, steps: Sequence[float]) -> int:
        """How many these are."""
        each = self.mine * (self.stock - self.mine) or self.stock * (self.stock - 1) // 2
        twos = each * len(steps) if self.pairs else 0
        return self.stock + len(self.inner) + len(self.threes) + twos


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
