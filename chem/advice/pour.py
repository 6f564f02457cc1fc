"""The pouring order least likely to cloud: half the water, each product, the rest of the water.

The state after a step depends only on the set poured, so 2^n sets answer for n! orders. What is
scored is the mixed tank after each step; where the stream enters, it is stronger for a moment.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from heapq import nsmallest
from itertools import pairwise

import numpy as np

from chem.advice.acid_rules import (
    SULFUR_FUMES,
    SULFUR_GAS,
    kept_apart,
    refuse_sulfur,
    sulfur_meets_acid,
)
from chem.advice.stack import Glance, glances
from chem.doubts import Draws
from chem.forecast import THRESHOLD, TIMES_S, gases, label_forbids, prepare
from chem.forecast.hazards import hazards_of, is_acid
from chem.label import Contents, Product, contents
from chem.reference import tables
from chem.tank import Mix, finish, in_order, tank_amounts

WAIT_S = TIMES_S["15min"]
MATTERS = 0.03
"""Orders nearer to each other than this are called alike."""
LISTED = 5
FIRST_SHARE = 0.5
MOST_ROWS = 65_536
LEAST_DRAWS = 16
UNSURE = 0.10
ORGANICS = {"humate", "alginate", "lignosulfonate", "hydrolysate", "glycine"}
MAIN_PERCENT = 1.0
CUSTOM = (
    "acid or conditioner",
    "urea and nitrates",
    "sulfates and potassium salts",
    "chelates",
    "phosphate or calcium",
    "organics, well thinned",
    "what only the jar can judge",
)
"""The order of the trade after the labels' own (common practice, no source)."""


@dataclass(frozen=True)
class PourOrder:
    """One order and its worst moment.

    sequence: names of products; indices: of the mix's additions; chances: that solids show by
    15 min after each step, the last water being the last step of a tank filled to the mark;
    worst_step: counted from 1; culprit: what most likely shows then; breaks: rules broken.
    """

    sequence: tuple[str, ...]
    indices: tuple[int, ...]
    chances: tuple[float, ...]
    worst_step: int
    probability: float
    culprit: str | None
    breaks: tuple[str, ...]


@dataclass(frozen=True)
class Pour:
    """Orders of one mix, best first, and the asked one.

    ways: how many orders keep every rule; least, most: their chances; matters: whether these or
    the asked one differ by more than `MATTERS`; because: why no order is proposed; forbids: rules
    of labels against the mix itself; apart: pairs that must not follow each other, by index;
    acids: indices; custom: place in the trade's custom, by index; amounts: [L] or [kg] in the
    tank; first_water_L, last_water_L: None where no tank is named; unsure: a step without an
    answer for more than a tenth of the draws.
    """

    mix: Mix
    orders: tuple[PourOrder, ...]
    asked: PourOrder
    ways: int
    least: float
    most: float
    matters: bool
    because: str | None
    forbids: tuple[str, ...]
    apart: tuple[tuple[int, int], ...]
    acids: tuple[int, ...]
    custom: tuple[int, ...]
    amounts: tuple[float, ...]
    first_water_L: float | None
    last_water_L: float | None
    all_water: float | None
    gases: tuple[str, ...]
    not_judged: tuple[str, ...]
    unsure: bool
    draws: int
    seed: int

    @property
    def never(self) -> tuple[str, ...]:
        """Rules of labels that forbid the mix, whatever its order."""
        return tuple(r for r in self.forbids if ": never with " in r)

    @property
    def advised(self) -> PourOrder | None:
        """The asked order where none is clearly better, else the best; None if none keeps all."""
        if not self.orders:
            return None
        near = self.asked.probability - self.orders[0].probability <= MATTERS
        return self.asked if near and not self.asked.breaks else self.orders[0]


@dataclass(frozen=True)
class Rules:
    """What an order must keep: products by index.

    first, last: by their labels; acids; apart: pairs of an acid and what it must not stand
    next to, with why.
    """

    products: tuple[Product, ...]
    first: frozenset[int]
    last: frozenset[int]
    acids: frozenset[int]
    apart: dict[frozenset[int], str]

    @classmethod
    def of(cls, mix: Mix) -> Rules:
        """The rules of a mix, from its labels and hazards."""
        products = tuple(a.product for a in mix.additions)
        return cls(
            products,
            frozenset(i for i, p in enumerate(products) if p.says.pour == "first"),
            frozenset(i for i, p in enumerate(products) if p.says.pour == "last"),
            frozenset(i for i, p in enumerate(products) if is_acid(p)),
            kept_apart(products),
        )

    @cached_property
    def _masks(self) -> tuple[int, int]:
        return _mask(self.first), _mask(set(range(len(self.products))) - self.last)

    def allow(self, poured: int, last: int, following: int) -> bool:
        """Whether a product may follow the set `poured`, whose last was `last` (-1: none)."""
        first, before_last = self._masks
        if following not in self.first and first & ~poured:
            return False
        if following in self.last and before_last & ~poured:
            return False
        return frozenset((last, following)) not in self.apart

    def some_order(self, custom: Sequence[int]) -> tuple[int, ...] | None:
        """An order that keeps every rule, each step by the custom of the trade where it may."""
        by_custom = sorted(range(len(self.products)), key=lambda i: (custom[i], i))
        dead: set[tuple[int, int]] = set()

        def go_on(poured: int, last: int) -> tuple[int, ...] | None:
            left = [i for i in by_custom if not poured >> i & 1]
            if not left:
                return ()
            for i in left:
                node = (poured | 1 << i, i)
                if node in dead or not self.allow(poured, last, i):
                    continue
                rest = go_on(*node)
                if rest is not None:
                    return (i, *rest)
                dead.add(node)
            return None

        return go_on(0, -1)

    def broken(self, order: Sequence[int]) -> tuple[str, ...]:
        """What an order breaks, in words."""
        out = []
        names = [p.name for p in self.products]
        for place, i in enumerate(order):
            if i in self.first and any(j not in self.first for j in order[:place]):
                out.append(f"{names[i]}: its label says to pour it first")
            if i in self.last and any(j not in self.last for j in order[place + 1 :]):
                out.append(f"{names[i]}: its label says to pour it last")
        for i, j in pairwise(order):
            reason = self.apart.get(frozenset((i, j)))
            if reason:
                acid, other = (i, j) if i in self.acids else (j, i)
                out.append(f"{names[acid]}, an acid, next to {names[other]}: {reason}")
        return tuple(out)


def rules_broken(mix: Mix) -> tuple[str, ...]:
    """Every rule that a mix breaks in the order it stands in: of labels, and of acids."""
    products = [a.product for a in mix.additions]
    sulfur = (f"{a} with {b}: {SULFUR_GAS[0].lower()}{SULFUR_GAS[1:]}" for a, b in _sulfur(mix))
    order = range(len(products))
    order_broken = Rules.of(mix).broken(order)
    return (*_of_the_mix(mix), *sulfur, *(r for r in order_broken if SULFUR_FUMES not in r))


def keeping_rules(mix: Mix) -> Mix | None:
    """The mix in its own order if that keeps every rule of order, else in one that does.

    That one is the nearest to the custom of the trade; None where no order keeps them.
    """
    rules = Rules.of(mix)
    if not rules.broken(range(len(mix.additions))):
        return mix
    middle = Draws(1)
    custom = [_place(a.product, contents(a.product, middle)) for a in mix.additions]
    order = rules.some_order(custom)
    return None if order is None else in_order(mix, order)


def worst_on_the_way(mix: Mix, *, count: int = 64, seed: int = 1, share: float = 0.5) -> float:
    """Chance that solids show at the worst step of pouring a mix in the order it stands in.

    share: of the water that is in before the products (1.0 where the mix fills the water first).
    """
    draws = Draws(count, seed)
    ready = prepare(mix, draws)
    if mix.fill != "to mark":
        share = 1.0
    steps = [range(k + 1) for k in range(len(mix.additions))]
    states = [finish(mix, ready.contents, ready.water, draws, s, share) for s in steps]
    return max(_chance(g) for g in glances(ready, [*states, ready.finished], WAIT_S))


def pour(mix: Mix, *, count: int = 64, seed: int = 1) -> Pour:
    """Score every pouring order of a mix by its worst moment.

    count: draws, fewer where over ten products make too many sets.

    Raises: InputProblem and ToxicGas as `forecast`, and ToxicGas for acid with thiosulfate.
    """
    refuse_sulfur(mix.file, _sulfur(mix))
    n = len(mix.additions)
    count = min(count, max(LEAST_DRAWS, MOST_ROWS >> n))
    draws = Draws(count, seed)
    ready = prepare(mix, draws)
    rules = Rules.of(mix)
    to_mark = mix.fill == "to mark"
    share = FIRST_SHARE if to_mark else 1.0
    asked = tuple(range(n))
    sets = sorted(_reachable(rules) | {_mask(asked[:k]) for k in range(1, n + 1)})
    states = [finish(mix, ready.contents, ready.water, draws, _members(s), share) for s in sets] + [
        ready.finished
    ] * to_mark
    found = glances(ready, states, WAIT_S)
    by_set = dict(zip(sets, found, strict=False))
    full = found[-1] if to_mark else None
    table = {s: round(_chance(g), 6) for s, g in by_set.items()}
    custom = tuple(_place(p, c) for p, c in zip(rules.products, ready.contents, strict=True))
    best, ways, most = _best_orders(table, rules, custom, _chance(full) if full else 0.0)

    def scored(order: Sequence[int]) -> PourOrder:
        steps = [by_set[_mask(order[: k + 1])] for k in range(n)] + ([full] if full else [])
        chances = [round(_chance(g), 6) for g in steps]
        worst = int(np.argmax(chances))
        return PourOrder(
            tuple(rules.products[i].name for i in order),
            tuple(order),
            tuple(chances),
            worst + 1,
            chances[worst],
            steps[worst].culprit,
            rules.broken(order),
        )

    orders = tuple(scored(order) for order in best)
    as_asked = scored(asked)
    least = orders[0].probability if orders else as_asked.probability
    most = max(most, as_asked.probability)
    amounts = tank_amounts(mix)
    room = None if mix.tank_L is None else mix.tank_L - _volume_L(mix, ready.contents, amounts)
    forbids = _of_the_mix(mix)
    result = Pour(
        mix=mix,
        orders=orders,
        asked=as_asked,
        ways=ways,
        least=least,
        most=most,
        matters=most - least > MATTERS,
        because=None if orders else _why_none(rules),
        forbids=forbids,
        apart=tuple((min(p), max(p)) for p in rules.apart),
        acids=tuple(sorted(rules.acids)),
        custom=custom,
        amounts=tuple(amounts),
        first_water_L=None if room is None else share * room,
        last_water_L=None if room is None else (1.0 - share) * room,
        all_water=None,
        gases=tuple(g.because for g in gases(mix, found[-1].ph)),
        not_judged=tuple(p.name for p in rules.products if not p.judged),
        unsure=any(g.failed > UNSURE for g in found),
        draws=count,
        seed=seed,
    )
    order = result.advised
    if order is None or full is None or not _chance(full) < THRESHOLD <= order.probability:
        return result
    advised = in_order(mix, order.indices)
    return replace(result, all_water=worst_on_the_way(advised, count=count, seed=seed, share=1.0))


def _sulfur(mix: Mix) -> list[tuple[str, str]]:
    return sulfur_meets_acid([a.product for a in mix.additions])


def _of_the_mix(mix: Mix) -> tuple[str, ...]:
    """Rules of labels that the mix breaks in any order."""
    return tuple(r for r in label_forbids(mix) if "its label says to pour it" not in r)


def _chance(seen: Glance) -> float:
    """Chance that solids show; a state without any answer counts as cloudy."""
    return seen.probability if np.isfinite(seen.probability) else 1.0


def _mask(indices: Sequence[int] | set[int] | frozenset[int]) -> int:
    return sum(1 << i for i in indices)


def _members(poured: int) -> list[int]:
    return [i for i in range(poured.bit_length()) if poured >> i & 1]


def _place(product: Product, held: Contents) -> int:
    """Place in the trade's custom."""
    main = {k for k, v in product.guarantee.items() if v >= MAIN_PERCENT}
    if not product.judged:
        return 6
    if set(held.components) & ORGANICS:
        return 5
    if hazards_of(product) & {"acid", "strong acid"}:
        return 0
    if main & {"available phosphate", "calcium"}:
        return 4
    if product.chelated or any(s.bound for s in product.sources):
        return 3
    return 2 if main & {"soluble potash", "sulfur"} else 1


def _volume_L(mix: Mix, held: Sequence[Contents], amounts: Sequence[float]) -> float:
    """[L] that the products take up in the tank."""
    total = 0.0
    for addition, inside, amount in zip(mix.additions, held, amounts, strict=True):
        if not addition.by_mass:
            total += amount
        elif addition.product.dry:
            total += amount * tables().value("apparent_specific_volume_solids")
        else:
            total += amount / float(np.median(inside.density_kg_per_L))
    return total


def _why_none(rules: Rules) -> str:
    for pair, reason in rules.apart.items():
        acid, other = sorted(pair, key=lambda i: i not in rules.acids)
        return (
            f"no order keeps {rules.products[acid].name} (acid) from standing next to "
            f"{rules.products[other].name} ({reason})"
        )
    return "no order keeps every label's rule"


def _reachable(rules: Rules) -> set[int]:
    """Sets that stand on some order that keeps every rule."""
    nodes = _forward(rules)
    n = len(rules.products)
    leads = {node for node in nodes if node[0] == (1 << n) - 1}
    for poured, last in sorted(nodes, reverse=True):
        if any(
            (poured | 1 << j, j) in leads and rules.allow(poured, last, j)
            for j in range(n)
            if not poured >> j & 1
        ):
            leads.add((poured, last))
    return {poured for poured, _ in leads if poured}


def _forward(rules: Rules) -> set[tuple[int, int]]:
    """(set, its last product) that can be reached; the empty tank is (0, -1)."""
    n = len(rules.products)
    nodes = {(0, -1)}
    layer = nodes
    for _ in range(n):
        layer = {
            (poured | 1 << j, j)
            for poured, last in layer
            for j in range(n)
            if not poured >> j & 1 and rules.allow(poured, last, j)
        }
        nodes = nodes | layer
    return nodes


Cost = tuple[int, int, int]


def _best_orders(
    chances: dict[int, float], rules: Rules, custom: Sequence[int], least: float
) -> tuple[list[tuple[int, ...]], int, float]:
    """The best orders; how many keep the rules; the chance of the worst of them.

    By the worst chance first, then by the chances of all steps (in tenths), then by the custom of
    the trade, then by nearness to the asked order. The worst chance is a maximum, not a sum, so
    the orders of each worst chance are sought on the sets that don't exceed it.
    """
    n = len(rules.products)
    end = (1 << n) - 1
    nodes = {(0, -1): (1, least, least)}
    steps: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for poured in range(end):
        for last in range(-1, n):
            if (poured, last) not in nodes:
                continue
            ways, low, high = nodes[poured, last]
            for j in range(n):
                after = (poured | 1 << j, j)
                if poured >> j & 1 or after[0] not in chances:
                    continue
                if not rules.allow(poured, last, j):
                    continue
                steps.setdefault(after, []).append((poured, last))
                chance = chances[after[0]]
                w, lo, hi = nodes.get(after, (0, np.inf, 0.0))
                nodes[after] = (
                    w + ways,
                    min(lo, max(low, chance)),
                    max(hi, high, chance),
                )
    ends = [nodes[end, j] for j in range(n) if (end, j) in nodes]
    if not ends:
        return [], 0, 0.0
    least, most = min(e[1] for e in ends), max(e[2] for e in ends)
    found: list[tuple[int, ...]] = []
    for worst in sorted({least, *(c for c in chances.values() if least < c <= most)}):
        if len(found) < LISTED:
            found += _at_worst(worst, least, chances, steps, custom, n)
    return found[:LISTED], sum(e[0] for e in ends), most


def _at_worst(
    worst: float,
    least: float,
    chances: dict[int, float],
    steps: dict[tuple[int, int], list[tuple[int, int]]],
    custom: Sequence[int],
    n: int,
) -> list[tuple[int, ...]]:
    """The best orders whose worst chance is exactly `worst`, no more than are listed."""
    empty: tuple[Cost, tuple[int, ...]] = ((0, 0, 0), ())
    # Whether `worst` was met yet is part of the state; no order stays below the least of all.
    best = {(0, -1, worst <= least): [empty]}
    for after in sorted(steps):
        poured, j = after
        if chances[poured] > worst:
            continue
        cost = _cost(poured, j, chances[poured], custom)
        for met in (False, True):
            paths = []
            for before in steps[after]:
                for was in (False, True):
                    if (was or chances[poured] == worst) is met:
                        paths += best.get((*before, was), [])
            longer = (
                ((c[0] + cost[0], c[1] + cost[1], c[2] + cost[2]), (*order, j))
                for c, order in paths
            )
            kept = nsmallest(LISTED, longer)
            if kept:
                best[(*after, met)] = kept
    end = (1 << n) - 1
    done = [path for j in range(n) for path in best.get((end, j, True), [])]
    return [order for _, order in nsmallest(LISTED, done)]


def _cost(poured: int, j: int, chance: float, custom: Sequence[int]) -> Cost:
    """What pouring j into the rest of `poured` adds: chance in tenths, customs and places broken.

    Chances are taken in tenths, so that a few draws don't outweigh the custom.
    """
    before = [i for i in _members(poured) if i != j]
    return (
        round(10.0 * chance),
        sum(custom[i] > custom[j] for i in before),
        sum(i > j for i in before),
    )
