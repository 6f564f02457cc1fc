"""What can be changed about a mix, one small class each, for `fix` to search.

Every proposal keeps every label's rules and rate range and the rules of acids, gives off no gas
or heat that the mix as asked does not, and never uses a strong acid or base that the user did not
name.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from chem.advice.agents import Reagent
from chem.advice.dosing import dosed_with
from chem.advice.pour import worst_on_the_way
from chem.errors import ToxicGas
from chem.forecast import THRESHOLD, TIMES_S, Evolved, Followed, Rule, Study, broken, evolved
from chem.forecast.answer import answer_from
from chem.forecast.order import keeping_rules, pouring_place
from chem.forecast.rules import rate_span, refuse_toxic, rules_of
from chem.forecast.search import SEARCH_DRAWS, Found
from chem.label import Product
from chem.tank import (
    Mix,
    Water,
    with_carrier,
    with_rate,
)
from chem.tank.water import blended
from chem.units import Interval, Rate

BISECTIONS = 6
CARRIERS = (1.25, 1.6, 2.0, 2.8, 4.0)
RATES = (0.8, 0.6, 0.4, 0.25, 0.1)
WATERS = (0.75, 0.5, 0.25, 0.1, 0.02)
DOSES_G_PER_L = (0.2, 0.5, 1.0, 2.0, 5.0, 12.0, 30.0)
LEAST_DOSE_G_PER_L = 0.02
MARGIN = 0.02
"""Searches aim this far under the threshold, so that the full number of draws keeps it."""
NUDGES = (1.0, 1.1, 1.25)
"""A search found with few draws is moved on by these until it holds with all."""
SAME = 1e-3
MOST_WARMER_C = 3.0
"""A full tank that warms by less than this is no matter of heat (common practice, no source)."""


@dataclass(frozen=True)
class Fix:
    """One change that works.

    lever: one of `LEVERS`; factor: on carrier, rate or water, or how many passes; product: place in
    the mix of what is changed; reagent, dose_g_per_L: of an acid or base; swap: what stands in and
    at which rate; other: water of the shed that takes the rest; probability_after: by time, of the
    worst tank where there are several; mixes: the tanks, in their pouring order; reordered: whether
    each differs from the asked order; on_the_way: chance that solids show at the worst moment of
    pouring them; all_water_first: whether that is so low only with all the water in before the
    products; minds: rules to mind.
    """

    lever: str
    probability_after: dict[str, float]
    mixes: tuple[Mix, ...]
    reordered: tuple[bool, ...]
    on_the_way: float
    all_water_first: bool
    factor: float | None = None
    product: int | None = None
    reagent: Reagent | None = None
    dose_g_per_L: float | None = None
    swap: tuple[Product, Rate] | None = None
    other: Water | None = None
    minds: tuple[Rule, ...] = ()


@dataclass(frozen=True)
class NoUse:
    """A kind of change that was tried and doesn't do.

    cause: `by_volume`, `label`, `not_enough`, `water_unknown`, `forbidden` (by `rules`), `gas`,
    `no_shelf`, `same_tank`, `one_product`, `many_products`, `alone` (products at `places` fail by
    themselves); reagent: of an acid or base; factor: how far was tried.
    """

    lever: str
    cause: str
    factor: float | None = None
    reagent: Reagent | None = None
    rules: tuple[Rule, ...] = ()
    places: tuple[int, ...] = ()


def gases_of(study: Study, found: Followed) -> list[Evolved]:
    """Gases and heat of a tank, by what meets and by the amounts reckoned."""
    seen = evolved(found.ready, found.fresh, study.gases(found.ready.mix, found))
    return [g for g in seen if g.key != "heat" or (g.amount or 0.0) > MOST_WARMER_C]


@dataclass(frozen=True)
class Case:
    """A mix that is to be mended, as asked: followed with all draws, its rules and gases."""

    study: Study
    mix: Mix
    judged_at: str
    first: Followed
    rules: tuple[Rule, ...]

    @cached_property
    def gases(self) -> list[Evolved]:
        """What it gives off as asked; no proposal gives off another."""
        return gases_of(self.study, self.first)

    @property
    def clear(self) -> bool:
        """Whether the full tank stays clear as asked."""
        return self.first.cloudy(self.judged_at) < THRESHOLD

    def objections(self, followed: Sequence[Followed]) -> tuple[Rule, ...]:
        """What speaks against tanks; with few draws their solids alone, with all everything."""
        few = followed[0].tank.draws.count < self.study.count
        margin = MARGIN if followed[0].tank.draws.count <= SEARCH_DRAWS else 0.0
        for found in followed:
            if found.cloudy(self.judged_at) >= THRESHOLD - (margin if few else 0.0):
                return (Rule("clouds"),)
        if few:
            return ()
        for found in followed:
            mix = found.ready.mix
            against = broken(rules_of(mix))
            if against:
                return against
            answer = answer_from(
                found.probability,
                found.clogs,
                self.judged_at,
                found.ionic_mol_per_kg,
                found.failed,
                (),
            )
            if answer.word != "clear":
                return (Rule("no_answer"),)
            if {g.key for g in gases_of(self.study, found)} - {g.key for g in self.gases}:
                return (Rule("gives_gas"),)
        return ()

    def fix(self, lever: str, asked: Sequence[Mix], tanks: Sequence[Mix]) -> Fix:
        """A change whose every check is done; `asked`: the tanks before their order was kept."""
        followed = self.study.follow(tanks)
        few = self.study.few(SEARCH_DRAWS)
        way = max(worst_on_the_way(few, m) for m in tanks)
        all_first = False
        if way >= THRESHOLD:
            full = max(worst_on_the_way(few, m, 1.0) for m in tanks)
            all_first = full < THRESHOLD
            way = full if all_first else way
        after = {t: max(f.probability[t] for f in followed) for t in TIMES_S}
        moved = tuple(a.additions != t.additions for a, t in zip(asked, tanks, strict=True))
        return Fix(lever, after, tuple(tanks), moved, way, all_first)

    def full(self, mixes: Sequence[Mix]) -> list[Followed] | None:
        """Tanks with all draws, in an order that keeps every rule; None where one fails."""
        tanks = [poured(mix) for mix in mixes]
        if any(t is None for t in tanks):
            return None
        found = self.study.follow([t for t in tanks if t is not None], until=self.judged_at)
        return None if self.objections(found) else found


def poured(mix: Mix) -> Mix | None:
    """The mix in an order that keeps every rule of order; None where it must not be poured."""
    try:
        refuse_toxic(mix)
    except ToxicGas:
        return None
    return keeping_rules(mix)


class OneTank(ABC):
    """A lever that changes one tank by one value, outward from where it stands."""

    name = ""
    start = 1.0
    grid: Sequence[float] = ()
    halvings = BISECTIONS
    up = True
    """Whether values grow outward."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.until = case.judged_at

    @abstractmethod
    def changed(self, value: float) -> Mix:
        """The mix at a value, in the order asked."""

    def tanks(self, value: float) -> Sequence[Mix]:
        """The tank at a value, in an order that keeps every rule of order if there is one."""
        mix = self.changed(value)
        return [keeping_rules(mix) or mix]

    def accepts(self, followed: Sequence[Followed]) -> tuple[Rule, ...]:
        """What speaks against it."""
        return self.case.objections(followed)

    def between(self, near: float, far: float) -> float | None:
        """The middle of the logarithms."""
        return float(np.sqrt(near * far))

    def outward(self, value: float, nudge: int) -> float | None:
        """Two figures, moved on."""
        if nudge >= len(NUDGES):
            return None
        moved = value * NUDGES[nudge] if self.up else value / NUDGES[nudge]
        return self.bounded(rounded_up(moved) if self.up else rounded_down(moved))

    def bounded(self, value: float) -> float:
        """The value within what the lever may do."""
        return value

    def told(self, fix: Fix, value: float) -> Fix:
        """The fix with what the change is."""
        return replace(fix, factor=value)

    def fix(self, found: Found) -> Fix:
        """The change at a value that holds."""
        tanks = [f.ready.mix for f in found.followed]
        fix = self.case.fix(self.name, [self.changed(found.value)], tanks)
        return self.told(fix, found.value)


class Carrier(OneTank):
    """More spray volume: the same amounts on the same ground."""

    name = "carrier"

    def __init__(self, case: Case) -> None:
        super().__init__(case)
        mix = case.mix
        says = [a.product.says for a in mix.additions]
        least = [s.carrier_at_least for s in says if s.carrier_at_least is not None]
        most = [s.carrier_at_most for s in says if s.carrier_at_most is not None]
        self.least = max([1.0, *(c / mix.carrier_L_per_m2 for c in least)])
        self.most = min([CARRIERS[-1], *(c / mix.carrier_L_per_m2 for c in most)])
        grid = [f for f in CARRIERS if self.least <= f < self.most]
        ends = [*([self.least] if self.least > 1.0 else [])]
        ends += [self.most] if self.most > self.least else []
        self.grid = sorted({*ends, *grid})

    def changed(self, value: float) -> Mix:
        """The mix at so many times its spray volume."""
        return with_carrier(self.case.mix, value)

    def bounded(self, value: float) -> float:
        """Within what labels allow."""
        return min(max(value, self.least), self.most)


class LessOf(OneTank):
    """Less of one product, down to its label's least."""

    name = "rate"
    up = False

    def __init__(self, case: Case, index: int) -> None:
        super().__init__(case)
        self.index = index
        low, high = rate_span(case.mix, case.mix.additions[index]) or (0.0, 1.0)
        self.least, self.most = max(RATES[-1], low), min(1.0, high)
        self.grid = (
            ()
            if self.least >= 1.0
            else (
                *([self.most] if self.most < 1.0 else ()),
                *(f for f in RATES if self.least < f < self.most),
                self.least,
            )
        )

    def changed(self, value: float) -> Mix:
        """The mix at so much of the product's rate."""
        return with_rate(self.case.mix, self.index, value)

    def bounded(self, value: float) -> float:
        """Within the label's range."""
        return max(min(value, self.most), self.least)

    def told(self, fix: Fix, value: float) -> Fix:
        """Which product, and how much of its rate."""
        return replace(fix, factor=value, product=self.index)


class SofterWater(OneTank):
    """Part of the water rain or other soft water; the value is the share left of the own."""

    name = "water"
    up = False
    grid = WATERS

    def changed(self, value: float) -> Mix:
        """The mix with so much of its own water left."""
        return replace(self.case.mix, water=softened(self.case.mix.water, value))

    def bounded(self, value: float) -> float:
        """No softer than rain water with a little in it."""
        return max(value, WATERS[-1])


class OtherWater(OneTank):
    """Part of the water another one of the shed; the value is the share left of the own."""

    name = "water"
    up = False
    grid = WATERS[:-1]

    def __init__(self, case: Case, other: Water) -> None:
        super().__init__(case)
        self.other = other

    def changed(self, value: float) -> Mix:
        """The mix with so much of its own water left."""
        own = self.case.mix.water
        parts = [(part, share * value) for part, share in own.parts] or [(own, value)]
        return replace(self.case.mix, water=blended([*parts, (self.other, 1.0 - value)]))

    def bounded(self, value: float) -> float:
        """At least a tenth stays, as far as is tried."""
        return max(value, self.grid[-1])

    def told(self, fix: Fix, value: float) -> Fix:
        """Which water."""
        return replace(fix, factor=value, other=self.other)


class Dose(OneTank):
    """An acid or base poured so that every rule is kept [g per litre]."""

    start = LEAST_DOSE_G_PER_L
    grid = DOSES_G_PER_L

    def __init__(self, case: Case, reagent: Reagent) -> None:
        super().__init__(case)
        self.reagent = reagent
        self.name = "acid" if reagent.acid else "base"
        self.place = pouring_place(case.mix, reagent.product, reagent.acid)

    def changed(self, value: float) -> Mix:
        """The mix with a dose."""
        return dosed_with(self.case.mix, self.reagent, self.place, value)

    def told(self, fix: Fix, value: float) -> Fix:
        """Which agent, how much, and what to mind of it."""
        found = rules_of(self.changed(value), 0.0) if self.reagent.acid else ()
        minds = tuple(r for r in found if r.severity == "mind")
        dose = value * self.case.mix.fresh_share
        return replace(fix, reagent=self.reagent, dose_g_per_L=dose, minds=minds)


def softened(water: Water, factor: float) -> Water:
    """A water of which `factor` is left, the rest rain water."""

    def less(value: Interval | None) -> Interval | None:
        if value is None:
            return None
        return replace(value, low=value.low * factor, high=value.high * factor)

    parts = tuple((softened(part, factor), share) for part, share in water.parts)
    ions = {k: replace(v, low=v.low * factor, high=v.high * factor) for k, v in water.ions.items()}
    return replace(
        water,
        name=f"{water.name}, {100 * (1 - factor):.0f} % rain water",
        alkalinity=less(water.alkalinity),
        hardness=less(water.hardness),
        ions=ions,
        parts=parts,
    )


def rounded_up(value: float) -> float:
    """Two figures, never less."""
    step = 10.0 ** (np.floor(np.log10(value)) - 1.0)
    return float(np.ceil(value / step - 1e-9) * step)


def rounded_down(value: float) -> float:
    """Two figures, never more."""
    step = 10.0 ** (np.floor(np.log10(value)) - 1.0)
    return float(np.floor(value / step + 1e-9) * step)
