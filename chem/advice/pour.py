"""The pouring order least likely to cloud: half the water, each product, the rest of the water.

What is scored is the mixed tank after each step; where the stream enters, it is stronger for a
moment.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from chem.advice.orders import best_orders, members, reachable
from chem.equilibrium import one_thread
from chem.forecast import (
    THRESHOLD,
    Followed,
    Gas,
    Rule,
    Study,
    Variant,
    broken,
    never,
)
from chem.forecast.order import Order, mask, place
from chem.forecast.rules import broken_by
from chem.tank import Load, Mix, TankLine, in_order, loads
from chem.tank.pouring import FIRST_SHARE

UNTIL = "15min"
MATTERS = 0.03
"""Orders nearer to each other than this are called alike."""
MOST_ROWS = 65_536
LEAST_DRAWS = 16
UNSURE = 0.10
POUR_DRAWS = 64


@dataclass(frozen=True)
class PourOrder:
    """One order and its worst moment.

    indices: of the mix's additions; chances: that solids show by 15 min after each step, the last
    water being the last step of a tank filled to the mark; worst_step: counted from 1; culprit:
    name of what most likely shows then; breaks: rules of order broken.
    """

    sequence: tuple[str, ...]
    indices: tuple[int, ...]
    chances: tuple[float, ...]
    worst_step: int
    probability: float
    culprit: str | None
    breaks: tuple[Rule, ...]


@dataclass(frozen=True)
class Pour:
    """Orders of one mix, best first, and the asked one.

    rules: that the mix breaks in any order or as asked; refused: the code by which it must never
    be poured, if any: then there are no orders. ways: how many orders keep every rule; least,
    most: their chances; matters: whether these or the asked one differ by more than `MATTERS`;
    stuck: the acid and its neighbour that no order keeps apart, with the hazard, where none is
    proposed; apart: pairs that must not follow each other, by index; acids: indices; custom: place
    in the trade's custom, by index; load: everything that goes into the tank, in the order asked;
    all_water: chance at the worst step with all the water in first, where that was tried; unsure:
    a step without an answer for more than a tenth of the draws.
    """

    mix: Mix
    rules: tuple[Rule, ...]
    refused: str | None
    orders: tuple[PourOrder, ...]
    asked: PourOrder
    ways: int
    least: float
    most: float
    matters: bool
    stuck: tuple[int, int, str] | None
    apart: tuple[tuple[int, int], ...]
    acids: tuple[int, ...]
    custom: tuple[int, ...]
    load: Load
    all_water: float | None
    gases: tuple[Gas, ...]
    not_judged: tuple[str, ...]
    unsure: bool
    draws: int
    seed: int

    def lines(self, order: PourOrder) -> list[TankLine]:
        """Everything that goes into the tank, its products in an order."""
        every = self.load.lines
        own = [k for k, line in enumerate(every) if line.place is not None]
        poured = [self.load.of(i) for i in order.indices]
        return [*every[: own[0]], *poured, *every[own[-1] + 1 :]]

    @property
    def forbidden(self) -> tuple[Rule, ...]:
        """Rules that forbid the mix, whatever its order, amounts or water."""
        return tuple(r for r in broken(self.rules) if r.kind == "mix")

    @property
    def advised(self) -> PourOrder | None:
        """The asked order where none is clearly better, else the best; None if none keeps all."""
        if not self.orders:
            return None
        near = self.asked.probability - self.orders[0].probability <= MATTERS
        return self.asked if near and not self.asked.breaks else self.orders[0]


def worst_on_the_way(study: Study, mix: Mix, share: float = FIRST_SHARE) -> float:
    """Chance that solids show at the worst step of pouring a mix in the order it stands in.

    share: of the water that is in before the products (1.0 where the mix fills the water first).
    """
    if mix.fill != "to mark":
        share = 1.0
    steps = [Variant(mix, tuple(range(k + 1)), share) for k in range(len(mix.additions))]
    return max(f.cloudy(UNTIL) for f in study.follow([*steps, Variant(mix)], until=UNTIL))


@one_thread()
def pour(mix: Mix, *, count: int = POUR_DRAWS, seed: int = 1, study: Study | None = None) -> Pour:
    """Score every pouring order of a mix by its worst moment.

    count: draws, fewer where over ten products make too many sets; study: what is believed and
    worked out already, in place of count and seed: of its draws the first 64.

    Raises: InputProblem and ToxicGas as `forecast`.
    """
    n = len(mix.additions)
    study = Study(count, seed) if study is None else study.few(POUR_DRAWS)
    study = study.few(max(LEAST_DRAWS, MOST_ROWS >> n))
    order = Order.of(mix)
    to_mark = mix.fill == "to mark"
    share = FIRST_SHARE if to_mark else 1.0
    asked = tuple(range(n))
    rules = study.rules(mix)
    refused = never(rules)
    sets = {mask(asked[:k]) for k in range(1, n + 1)}
    sets |= set() if refused else reachable(order)
    ordered = sorted(sets)
    steps = [Variant(mix, tuple(members(s)), share) for s in ordered]
    found = study.follow(steps + [Variant(mix)] * to_mark, until=UNTIL)
    by_set = dict(zip(ordered, found, strict=False))
    full = found[-1] if to_mark else None
    table = {s: round(f.cloudy(UNTIL), 6) for s, f in by_set.items()}
    custom = tuple(place(p) for p in order.products)
    end = full.cloudy(UNTIL) if full else 0.0
    best, ways, most = ([], 0, 0.0) if refused else best_orders(table, order, custom, end)

    def scored(sequence: Sequence[int]) -> PourOrder:
        return _scored(mix, sequence, by_set, full)

    orders = tuple(scored(sequence) for sequence in best)
    as_asked = scored(asked)
    least = orders[0].probability if orders else as_asked.probability
    most = max(most, as_asked.probability)
    result = Pour(
        mix=mix,
        rules=rules,
        refused=refused,
        orders=orders,
        asked=as_asked,
        ways=ways,
        least=least,
        most=most,
        matters=most - least > MATTERS,
        stuck=None if orders else _stuck(order),
        apart=tuple((min(p), max(p)) for p in order.apart),
        acids=tuple(sorted(order.acids)),
        custom=custom,
        load=loads(mix, found[-1].ready.contents)[0],
        all_water=None,
        gases=tuple(study.gases(mix, found[-1])),
        not_judged=tuple(p.name for p in order.products if not p.judged),
        unsure=any(f.failed > UNSURE for f in found),
        draws=study.count,
        seed=study.seed,
    )
    advised = result.advised
    if advised is None or full is None or not end < THRESHOLD <= advised.probability:
        return result
    all_water = worst_on_the_way(study, in_order(mix, advised.indices), 1.0)
    return replace(result, all_water=all_water)


def _scored(
    mix: Mix, sequence: Sequence[int], by_set: dict[int, Followed], full: Followed | None
) -> PourOrder:
    """An order with the chance after each step."""
    steps = [by_set[mask(sequence[: k + 1])] for k in range(len(sequence))]
    steps += [full] if full else []
    chances = [round(f.cloudy(UNTIL), 6) for f in steps]
    worst = int(np.argmax(chances))
    culprit = steps[worst].culprit(UNTIL)
    return PourOrder(
        tuple(mix.additions[i].product.name for i in sequence),
        tuple(sequence),
        tuple(chances),
        worst + 1,
        chances[worst],
        None if culprit is None else culprit.name,
        broken_by(mix, sequence),
    )


def _stuck(order: Order) -> tuple[int, int, str] | None:
    """The acid and the neighbour that can't be kept apart; None where labels contradict."""
    for pair, hazard in order.apart.items():
        acid, other = sorted(pair, key=lambda i: i not in order.acids)
        return acid, other, hazard
    return None
