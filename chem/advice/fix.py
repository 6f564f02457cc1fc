"""The smallest change of each kind that keeps a mix clear, or that none does.

Every proposal is forecast again with the same draws, passes the gas and heat check, keeps every
label's rules and rate range and the rules of acids, and never uses a strong acid or base that the
user did not name.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from chem.advice.acid_rules import minded_in_acid, pouring_place, refuse
from chem.advice.agents import LICENCE, Reagent, choose_agent
from chem.advice.pour import keeping_rules, pour, rules_broken, worst_on_the_way
from chem.advice.stack import glances
from chem.doubts import Draws
from chem.errors import InputProblem
from chem.forecast import THRESHOLD, TIMES_S, Outlook, Prepared, gases, outlook, prepare
from chem.forecast.evolved import Evolved, evolved
from chem.forecast.result import known_time
from chem.label import Contents, Product, contents
from chem.reference import tables
from chem.tank import (
    Addition,
    Mix,
    Water,
    finish,
    grams_per_litre,
    only,
    water_totals,
    with_carrier,
    with_product,
    with_rate,
    with_swap,
)
from chem.units import (
    Interval,
    Rate,
    Units,
    format_area,
    format_carrier,
    format_mass,
    format_per_gallon_and_litre,
    format_rate,
    format_volume,
)

LEVERS = ("carrier", "rate", "water", "acid", "base", "swap", "order", "passes")
SEARCH_DRAWS = 64
MOST_PARTED = 10
"""Products whose every group is tried for separate passes: 2^n tanks."""
LEAST_DRAWS = 16
MOST_ROWS = 65_536
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
MINUTE_S = 60.0
TRACE_NUTRIENT = 0.2
NITROGEN_AND_COMPANY = {"sulfur", "chlorine"}
SAME = 1e-3
MOST_WARMER_C = 3.0
"""A full tank that warms by less than this is no matter of heat (common practice, no source)."""


@dataclass(frozen=True)
class Fix:
    """One change that works.

    lever: one of `LEVERS`; factor: on carrier, rate or water, or how many passes;
    probability_after: by time, of the worst tank where there are several; mixes: the tanks, in
    their pouring order; on_the_way: chance that solids show at the worst moment of pouring them;
    all_water_first: whether that is so low only with all the water in before the products; mind:
    what else to know of it.
    """

    lever: str
    change: str
    factor: float | None
    probability_after: dict[str, float]
    sentence: str
    mixes: tuple[Mix, ...]
    on_the_way: float
    all_water_first: bool
    mind: tuple[str, ...] = ()


@dataclass(frozen=True)
class NoUse:
    """A kind of change that was tried and doesn't do, in one sentence."""

    lever: str
    sentence: str


@dataclass(frozen=True)
class Fixes:
    """What works for a mix, the smallest change of each kind; `because`: why nothing does.

    no_use: kinds that don't; label_forbids: rules that the mix as asked breaks, of labels and of
    acids; no proposal does. on_the_way: chance of clouding while the mix as asked is poured; gases:
    what it gives off or heats, in words; no proposal gives off another.
    """

    mix: Mix
    judged_at: str
    probability: dict[str, float]
    fixes: tuple[Fix, ...]
    no_use: tuple[NoUse, ...]
    label_forbids: tuple[str, ...]
    on_the_way: float
    spray_within_minutes: float | None
    because: str | None
    gases: tuple[str, ...]
    not_judged: tuple[str, ...]
    draws: int
    seed: int


@dataclass(frozen=True)
class _Search:
    """One thing to vary outward from `start`: `grid` first, then halving (of logarithms)."""

    changed: Callable[[float], Mix]
    start: float
    grid: tuple[float, ...]


class _Asker:
    """Forecasts variants of one mix with the same draws."""

    def __init__(self, mix: Mix, judged_at: str, count: int, seed: int, units: Units) -> None:
        self.mix, self.judged_at, self.count, self.seed = mix, judged_at, count, seed
        self.units = units
        self.first = outlook(prepare(mix, Draws(count, seed)))
        self.broken = rules_broken(mix)
        self.gases = _gas_keys(self.first)
        self._few = prepare(mix, Draws(min(SEARCH_DRAWS, count), seed))
        self._contents: dict[int, tuple[Product, Contents]] = {}

    def _inside(self, product: Product, ready: Prepared) -> Contents:
        """Contents of a product with the draws of a search, reckoned once."""
        if ready is not self._few:
            return contents(product, ready.draws)
        if id(product) not in self._contents:
            self._contents[id(product)] = (product, contents(product, ready.draws))
        return self._contents[id(product)][1]

    def chances(self, mixes: Sequence[Mix], draws: int = SEARCH_DRAWS) -> list[float]:
        """Chance of solids in each of many variants, all in few batches."""
        few = self._few
        if draws < few.draws.count:
            few = prepare(self.mix, Draws(draws, self.seed))
        states = []
        for mix in mixes:
            water = few.water if mix.water is self.mix.water else water_totals(mix.water, few.draws)
            held = [self._inside(a.product, few) for a in mix.additions]
            state = finish(mix, held, water, few.draws)
            # Variants of more or fewer products stack only without where their moles come from.
            states.append(replace(state, from_product=state.from_product[:0]))
        seen = glances(few, states, TIMES_S[self.judged_at]) if states else []
        return [g.probability if np.isfinite(g.probability) else 1.0 for g in seen]

    def search(self, searches: Sequence[_Search]) -> list[float | None]:
        """The value nearest its start that works, for each; None where nothing of its grid does."""

        def works(asked: Sequence[tuple[_Search, float]]) -> list[bool]:
            found = self.chances([s.changed(value) for s, value in asked])
            return [chance < THRESHOLD - MARGIN for chance in found]

        every = [(s, value) for s in searches for value in s.grid]
        good = iter(works(every))
        brackets: dict[int, tuple[float, float]] = {}
        for k, one in enumerate(searches):
            near = one.start
            for value in one.grid:
                if next(good) and k not in brackets:
                    brackets[k] = (near, value)
                if k not in brackets:
                    near = value
        for _ in range(BISECTIONS):
            middles = {k: float(np.sqrt(near * far)) for k, (near, far) in brackets.items()}
            found = works([(searches[k], value) for k, value in middles.items()])
            for (k, middle), holds in zip(middles.items(), found, strict=True):
                near, far = brackets[k]
                brackets[k] = (near, middle) if holds else (middle, far)
        return [brackets[k][1] if k in brackets else None for k in range(len(searches))]

    def kept(self, mixes: Sequence[Mix]) -> tuple[tuple[Mix, ...], dict[str, float]] | None:
        """The tanks in an order that keeps every rule, and their worst chances with all draws.

        None where any check fails: solids, gas and heat, rules of labels and acids, rate ranges,
        a tank that the model can't answer for.
        """
        worst = dict.fromkeys(TIMES_S, 0.0)
        tanks = []
        for asked in mixes:
            mix = keeping_rules(asked)
            if (
                mix is None
                or rules_broken(mix)
                or not all(_in_range(mix, a) for a in mix.additions)
            ):
                return None
            try:
                found = outlook(prepare(mix, Draws(self.count, self.seed)))
            except InputProblem:  # a tank that must never be poured
                return None
            if replace(found, not_judged=()).answer(self.judged_at)[0] != "clear":
                return None
            if found.probability[self.judged_at] >= THRESHOLD or _gas_keys(found) - self.gases:
                return None
            worst = {t: max(worst[t], found.probability[t]) for t in worst}
            tanks.append(mix)
        return tuple(tanks), worst

    def proposal(
        self,
        lever: str,
        mixes: Sequence[Mix],
        factor: float | None,
        change: str,
        sentence: str,
        mind: Sequence[str] = (),
    ) -> Fix | None:
        """A change with every check done; None where one fails."""
        held = self.kept(mixes)
        if held is None:
            return None
        tanks, after = held
        for asked, tank in zip(mixes, tanks, strict=True):
            if asked is not tank:
                names = ", then ".join(a.product.name for a in tank.additions)
                sentence += f" Pour in this order: {names}."
        few = min(SEARCH_DRAWS, self.count)
        way = max(worst_on_the_way(m, count=few, seed=self.seed) for m in tanks)
        all_first = False
        if way >= THRESHOLD:
            full = max(worst_on_the_way(m, count=few, seed=self.seed, share=1.0) for m in tanks)
            all_first = full < THRESHOLD
            way = full if all_first else way
        return Fix(lever, change, factor, after, sentence, tanks, way, all_first, tuple(mind))


Lever = Iterator[Fix | NoUse]
NEVER, GAS, NEXT = ": never with ", ": toxic gas", ", next to "
CARRIER, RATE, FIRST_OR_LAST = " carrier", "rate is outside", "its label says to pour it"


def mild_reagents() -> tuple[Reagent, ...]:
    """Citric acid and potassium bicarbonate: what may be tried unasked."""
    return tuple(choose_agent(name) for name in ("citric acid", "potassium bicarbonate"))


def mild_agents() -> tuple[Product, ...]:
    """The products of `mild_reagents`."""
    return tuple(reagent.product for reagent in mild_reagents())


def fix(
    mix: Mix,
    *,
    judged_at: str = "4h",
    count: int = 256,
    seed: int = 1,
    shelf: Sequence[Product] | None = None,
    agents: Sequence[Reagent] | None = None,
    units: Units = "both",
) -> Fixes:
    """Search the levers of a mix.

    shelf: products that may stand in for one of the mix; agents: acids and bases that may be
    tried, as `choose_agent` gives them (default `mild_reagents`); units: of the sentences.

    Raises: InputProblem as `forecast`; ValueError for another `judged_at`.
    """
    known_time(judged_at)
    asker = _Asker(mix, judged_at, count, seed, units)
    tried = mild_reagents() if agents is None else tuple(agents)
    way = worst_on_the_way(mix, count=min(SEARCH_DRAWS, count), seed=seed)
    clear = asker.first.probability[judged_at] < THRESHOLD
    found: list[Fix | NoUse] = []
    because = None
    if clear and not asker.broken and way < THRESHOLD:
        because = "nothing to change: the salts stay clear"
    elif clear and not asker.broken:
        found += _order(asker)
    else:
        for lever in _levers(asker, shelf, tried, clear):
            found += lever
    fixes = tuple(f for f in found if isinstance(f, Fix))
    if because is None and not fixes:
        because = _why_nothing(asker, clear)
    return Fixes(
        mix=mix,
        judged_at=judged_at,
        probability=dict(asker.first.probability),
        fixes=fixes,
        no_use=tuple(n for n in found if isinstance(n, NoUse)),
        label_forbids=asker.broken,
        on_the_way=way,
        spray_within_minutes=None if asker.broken else _spray_within(asker.first),
        because=because,
        gases=tuple(g.because for g in _gases(asker.first)),
        not_judged=asker.first.not_judged,
        draws=count,
        seed=seed,
    )


def _levers(
    asker: _Asker, shelf: Sequence[Product] | None, agents: Sequence[Reagent], clear: bool
) -> Iterator[Sequence[Fix | NoUse]]:
    """What may help, a lever at a time.

    Only other company or none where a rule forbids these in one tank; only what mends the rule
    where the tank is clear.
    """
    if not any(NEVER in rule or GAS in rule for rule in asker.broken):
        if not clear:
            for lever in (_carrier(asker), _rates(asker), _water(asker), _agents(asker, agents)):
                yield list(lever)
            yield list(_order(asker))
        else:
            mended = []
            if any(CARRIER in rule for rule in asker.broken):
                mended += list(_carrier(asker))
            if any(RATE in rule for rule in asker.broken):
                mended += list(_rates(asker))
            if any(FIRST_OR_LAST in rule or NEXT in rule for rule in asker.broken):
                mended += list(_order(asker))
            yield mended
            if any(isinstance(one, Fix) for one in mended):
                return
    yield list(_swaps(asker, shelf))
    yield list(_passes(asker))


def _why_nothing(asker: _Asker, clear: bool) -> str:
    if asker.broken:
        return "a rule forbids this mix, and no separate passes were found"
    if clear:
        return "the full tank stays clear, but it clouds on the way in any order"
    return (
        "no more carrier, lower rate, other water, mild acid or base, swap, order or second pass "
        "keeps these clear"
    )


def _gases(found: Outlook) -> list[Evolved]:
    """Gases and heat of a tank, by what meets and by the amounts reckoned."""
    ready = found.ready
    ph = float(ready.draws.quantile(found.fresh.clear.ph, (0.5,))[0])
    warned = tuple(gases(ready.mix, ph if np.isfinite(ph) else 7.0))
    seen = evolved(ready, found.fresh, warned)
    return [g for g in seen if g.key != "heat" or (g.amount or 0.0) > MOST_WARMER_C]


def _gas_keys(found: Outlook) -> set[str]:
    return {g.key for g in _gases(found)}


def _spray_within(found: Outlook) -> float | None:
    """Minutes until the chance that solids show reaches the threshold; None if under a minute.

    Salts, gels and cold crystals together; a tank that stays clear for a day gives a day.
    """
    draws = found.ready.draws
    grid = np.unique(np.round(np.geomspace(1.0, TIMES_S["24h"] / MINUTE_S, 60)))
    last = None
    for minutes in grid:
        t = minutes * MINUTE_S
        state = next(found.states[n] for n, s in TIMES_S.items() if t <= s)
        loose = sum((c.amount_by(t) for c in found.colloids), np.zeros(draws.count))
        out = np.nan_to_num(state.amounts(t)).sum(axis=1) + loose
        out += np.nan_to_num(state.crystals(t)).max(axis=1, initial=0.0)
        if draws.chance(out > tables().value("show_limit"), found.ok) >= THRESHOLD:
            return last
        last = float(minutes)
    return last


def _span(mix: Mix, addition: Addition) -> tuple[float, float] | None:
    """A label's least and most rate as factors on the rate asked; None where none is printed.

    Rates by area and by volume of water are compared at the mix's own spray volume, weights and
    volumes by the density on the label.
    """
    limits = addition.product.rate_range
    if limits is None:
        return None

    def grams_per_L(rate: Rate) -> float | None:
        amount = Addition(addition.product, rate).amount_per_L(mix.carrier_L_per_m2)
        if rate.kind == addition.rate.kind:
            return amount
        density = addition.product.density
        if density is None:
            return None
        middle = 0.5 * sum(density)
        return amount / middle if rate.kind == "mass" else amount * middle

    now = addition.amount_per_L(mix.carrier_L_per_m2)
    low, high = (grams_per_L(limit) for limit in limits)
    if low is None or high is None or now <= 0.0:
        return None
    return low / now, high / now


def _in_range(mix: Mix, addition: Addition) -> bool:
    span = _span(mix, addition)
    return span is None or span[0] - SAME <= 1.0 <= span[1] + SAME


def _carrier(asker: _Asker) -> Lever:
    mix = asker.mix
    if all(a.rate.per != "area" for a in mix.additions):
        yield NoUse("carrier", "More water changes nothing: every rate is by volume of water.")
        return
    least, most = 1.0, CARRIERS[-1]
    for addition in mix.additions:
        says = addition.product.says
        if says.carrier_at_least is not None:
            least = max(least, says.carrier_at_least / mix.carrier_L_per_m2)
        if says.carrier_at_most is not None:
            most = min(most, says.carrier_at_most / mix.carrier_L_per_m2)
    grid = [f for f in CARRIERS if least <= f < most]
    grid = sorted({*([least] if least > 1.0 else []), *grid, *([most] if most > least else [])})
    if not grid:
        yield NoUse("carrier", "More water: a label allows no more.")
        return

    def changed(factor: float) -> Mix:
        return with_carrier(mix, factor)

    (factor,) = asker.search([_Search(changed, 1.0, tuple(grid))])
    for nudge in NUDGES if factor is not None else ():
        assert factor is not None
        more = min(max(_rounded_up(factor * nudge), least), most)
        tank = changed(more)
        text = format_carrier(tank.carrier_L_per_m2, asker.units)
        sentence = f"Put the same amounts on the same ground in {more:.2g} times the water: {text}."
        if mix.tank_L is not None:
            area = format_area(mix.tank_L / tank.carrier_L_per_m2, asker.units)
            sentence += f" A tank then covers {area}."
        found = asker.proposal("carrier", [tank], more, f"spray volume {text}", sentence)
        if found is not None:
            yield found
            return
    yield NoUse("carrier", f"More water: not even {grid[-1]:.2g} times as much.")


def _rates(asker: _Asker) -> Lever:
    mix = asker.mix
    searches, places, leasts = [], [], []
    for i, addition in enumerate(mix.additions):
        low, high = _span(mix, addition) or (0.0, 1.0)
        least = max(RATES[-1], low)
        start = min(1.0, high)
        if least >= 1.0:
            continue

        def changed(factor: float, index: int = i) -> Mix:
            return with_rate(mix, index, factor)

        grid = (*([start] if start < 1.0 else ()), *(f for f in RATES if least < f < start), least)
        searches.append(_Search(changed, 1.0, grid))
        places.append(i)
        leasts.append(least)
    found = []
    for search, i, least, factor in zip(
        searches, places, leasts, asker.search(searches), strict=True
    ):
        for nudge in NUDGES if factor is not None else ():
            assert factor is not None
            less = max(_rounded_down(min(factor / nudge, search.grid[0])), least)
            tank = search.changed(less)
            text = format_rate(tank.additions[i].rate, asker.units)
            name = mix.additions[i].product.name
            sentence = f"Put in {100 * less:.0f} % of {name}: {text}."
            one = asker.proposal("rate", [tank], less, f"{name}: {text}", sentence)
            if one is not None:
                found.append(one)
                break
    found.sort(key=lambda f: -(f.factor or 0.0))
    yield from found
    if not found:
        yield NoUse(
            "rate",
            "Less of one product: not for any of them, down to its label's least"
            f" or, where none is printed, {100 * RATES[-1]:.0f} %.",
        )


def softened(water: Water, factor: float) -> Water:
    """A water of which `factor` is left, the rest rain water."""

    def less(value: Interval | None) -> Interval | None:
        if value is None:
            return None
        return replace(value, low=value.low * factor, high=value.high * factor)

    ions = {k: replace(v, low=v.low * factor, high=v.high * factor) for k, v in water.ions.items()}
    return replace(
        water,
        name=f"{water.name}, {100 * (1 - factor):.0f} % rain water",
        alkalinity=less(water.alkalinity),
        hardness=less(water.hardness),
        ions=ions,
    )


def _water(asker: _Asker) -> Lever:
    mix = asker.mix
    if mix.water.unknown:
        yield NoUse("water", "Softer water: can't be told while the water isn't known.")
        return

    def changed(left: float) -> Mix:
        return replace(mix, water=softened(mix.water, left))

    (left,) = asker.search([_Search(changed, 1.0, WATERS)])
    for nudge in NUDGES if left is not None else ():
        assert left is not None
        less = max(_rounded_down(left / nudge), WATERS[-1])
        rain = 100.0 * (1.0 - less)
        found = asker.proposal(
            "water",
            [changed(less)],
            less,
            f"{rain:.0f} % rain or other soft water",
            f"Fill with at least {rain:.0f} % rain or other soft water.",
        )
        if found is not None:
            yield found
            return
    yield NoUse("water", "Softer water: not even rain water; the products alone do it.")


def _agents(asker: _Asker, agents: Sequence[Reagent]) -> Lever:
    mix = asker.mix
    for reagent in agents:
        lever = "acid" if reagent.acid else "base"
        place = pouring_place(mix, reagent)
        try:
            refuse(mix, reagent, place, target=7.0)
        except InputProblem as problem:
            why = problem.problems[0].wrong
            yield NoUse(lever, f"{_sentence(reagent.name)}: {why[0].lower()}{why[1:]}.")
            continue

        def changed(dose: float, agent: Reagent = reagent, index: int = place) -> Mix:
            rate = grams_per_litre(dose, f"{dose:.3g} g/L")
            return with_product(mix, agent.product, rate, index)

        (dose,) = asker.search([_Search(changed, LEAST_DOSE_G_PER_L, DOSES_G_PER_L)])
        found = None
        for nudge in NUDGES if dose is not None else ():
            assert dose is not None
            more = _rounded_up(dose * nudge)
            found = asker.proposal(lever, [changed(more)], None, *_dose_words(asker, reagent, more))
            if found is not None:
                yield found
                break
        if found is None:
            yield NoUse(
                lever,
                f"{_sentence(reagent.name)}: no dose up to {DOSES_G_PER_L[-1]:g} g/L, poured so "
                "that every rule is kept.",
            )


def _dose_words(asker: _Asker, reagent: Reagent, dose: float) -> tuple[str, str, tuple[str, ...]]:
    """A dose [g/L] as change, sentence and what to mind, in the agent's own form."""
    mix, units = asker.mix, asker.units

    def amount(litres: float) -> str:
        grams = dose * litres
        if reagent.product.density is None:
            return format_mass(grams / 1000.0, units)
        return format_volume(grams / 1000.0 / (0.5 * sum(reagent.product.density)), units)

    name = reagent.own_form
    if mix.tank_L is not None:
        text = f"{amount(mix.tank_L)} of {name} per {format_volume(mix.tank_L, units)}"
    elif reagent.dry:
        text = f"{format_per_gallon_and_litre(dose, units)} of {name}"
    else:
        text = f"{amount(1.0)} of {name} per litre"
    where = (
        "into half the water, then the other products"
        if reagent.acid
        else "in once the acid products are well mixed in"
    )
    mind = []
    if reagent.acid:
        present = {c for held in asker.first.ready.contents for c in held.components}
        mind += minded_in_acid(mix, present, 0.0, None)
        if mix.adjuvant is not None:
            mind.append(f"Check the pH that {mix.adjuvant.name} wants: `jarsight ph`.")
    if reagent.agent is not None and reagent.agent.named_only:
        mind += [LICENCE, *reagent.agent.care]
    return text, f"Stir {text} {where}; check with a pH strip.", tuple(mind)


def _swaps(asker: _Asker, shelf: Sequence[Product] | None) -> Lever:
    """A product of the shelf that brings the same main nutrient at the same weight per area."""
    mix = asker.mix
    if shelf is None:
        yield NoUse(
            "swap", "Another product: not tried; name the folder of your shelf with `--in`."
        )
        return
    mine = {a.product.key for a in mix.additions}
    asked = [
        (i, other, rate, with_swap(mix, i, other, rate))
        for i, addition in enumerate(mix.additions)
        for other in shelf
        if other.key not in mine
        and (rate := _same_nutrient(mix, addition, other)) is not None
        and other.judged
    ]
    chances = asker.chances([tank for *_, tank in asked])
    found = []
    for (i, other, rate, tank), chance in sorted(
        zip(asked, chances, strict=True), key=lambda pair: pair[1]
    ):
        if chance >= THRESHOLD:
            continue
        name = mix.additions[i].product.name
        one = asker.proposal(
            "swap",
            [tank],
            None,
            f"{other.name} for {name}",
            f"Use {other.name} at {format_rate(rate, asker.units)} in place of {name}: "
            f"as much {_main_nutrient(other)[0]}.",
        )
        if one is not None:
            found.append(one)
    yield from found
    if not found:
        yield NoUse(
            "swap",
            "Another product: none of the shelf brings as much of the same nutrient within its "
            "label's rates and stays clear.",
        )


def _main_nutrient(product: Product) -> tuple[str, float]:
    """The guarantee that the product is bought for: not nitrogen or sulfur if there is another.

    Empty where its label guarantees nothing to speak of.
    """
    lines = {k: v for k, v in product.guarantee.items() if v >= TRACE_NUTRIENT}
    others = {
        k: v for k, v in lines.items() if "nitrogen" not in k and k not in NITROGEN_AND_COMPANY
    }
    pool = others or lines
    key = max(pool, key=lambda k: pool[k], default="")
    if key == "soluble potash" and sum(product.also.values()) > pool[key]:
        return "", 0.0  # kelp, humic matter and buffers aren't bought for their potash
    return key, pool.get(key, 0.0)


def _same_nutrient(mix: Mix, addition: Addition, other: Product) -> Rate | None:
    """The other product's rate that brings as much of the first one's main nutrient."""
    product, rate = addition.product, addition.rate
    main, theirs = _main_nutrient(product), _main_nutrient(other)
    if not main[0] or main[0] != theirs[0] or other.key == product.key:
        return None
    grams = rate.value * main[1] / theirs[1]
    if rate.kind == "volume":
        if product.density is None:
            return None
        grams *= 0.5 * sum(product.density)
    if other.dry:
        swapped = replace(rate, kind="mass", value=grams, text="")
    elif other.density is None or rate.per == "mass-fraction":
        return None
    else:
        swapped = replace(rate, kind="volume", value=grams / (0.5 * sum(other.density)), text="")
    return swapped if _in_range(mix, Addition(other, swapped)) else None


def _order(asker: _Asker) -> Lever:
    """Another pouring order, where the asked one breaks a rule or clouds on the way.

    The full tank is the same in any order, so none helps where that one clouds.
    """
    mix = asker.mix
    clear = asker.first.probability[asker.judged_at] < THRESHOLD
    if not clear or len(mix.additions) < 2:
        text = "Another order: the full tank is the same whatever went in first."
        yield NoUse("order", text)
        return
    try:
        best = pour(mix, count=min(SEARCH_DRAWS, asker.count), seed=asker.seed).advised
    except InputProblem:
        best = None
    if best is not None and best.indices != tuple(range(len(mix.additions))):
        tank = replace(mix, additions=tuple(mix.additions[i] for i in best.indices))
        names = ", then ".join(best.sequence)
        found = asker.proposal("order", [tank], None, names, f"Pour in this order: {names}.")
        if found is not None and found.on_the_way < THRESHOLD:
            yield found
            return
    yield NoUse("order", "Another order: none keeps it clear on the way and keeps every rule.")


def _passes(asker: _Asker) -> Lever:
    """The fewest tanks in which the products go, each clear."""
    mix = asker.mix
    n = len(mix.additions)
    if n < 2:
        yield NoUse("passes", "Separate passes: there is only one product.")
        return
    if n > MOST_PARTED:
        yield NoUse(
            "passes",
            f"Separate passes: not searched beyond {MOST_PARTED} products; "
            "`jarsight shelf --in DIR --use A,B,C` parts them pair by pair.",
        )
        return
    groups = range(1, (1 << n) - 1)
    tanks = {mask: only(mix, [i for i in range(n) if mask >> i & 1]) for mask in groups}
    may = [m for m in groups if _can_be_poured(tanks[m])]
    draws = min(SEARCH_DRAWS, asker.count, max(LEAST_DRAWS, MOST_ROWS >> n))
    chances = asker.chances([tanks[m] for m in may], draws)
    clear = {m for m, chance in zip(may, chances, strict=True) if chance < THRESHOLD}
    while True:
        split = _fewest(n, clear)
        if split is None:
            break
        named = [" + ".join(a.product.name for a in tanks[m].additions) for m in split]
        found = asker.proposal(
            "passes",
            [tanks[m] for m in split],
            float(len(split)),
            " | ".join(named),
            f"Spray in {len(split)} passes, the tank rinsed in between: "
            + "; then ".join(named)
            + ".",
        )
        if found is not None:
            yield found
            return
        failed = {m for m in split if asker.kept([tanks[m]]) is None}
        if not failed:
            break
        clear -= failed
    alone = [a.product.name for i, a in enumerate(mix.additions) if 1 << i not in clear]
    if alone:
        text = f"Separate passes: by itself in this water would not do: {'; '.join(alone)}."
    else:
        text = "Separate passes: none keeps every tank clear."
    yield NoUse("passes", text)


def _can_be_poured(mix: Mix) -> bool:
    """Whether a tank can be poured in some order that keeps every rule."""
    ordered = keeping_rules(mix)
    return ordered is not None and not rules_broken(ordered)


def _fewest(n: int, clear: set[int]) -> list[int] | None:
    """The fewest sets of `clear` that part n products; between as few, the most together.

    Sets are bit masks; each way starts with the set of the first product left.
    """
    best: dict[int, tuple[tuple[int, int], tuple[int, ...]]] = {0: ((0, 0), ())}
    for mask in range(1, 1 << n):
        first = mask & -mask
        rest = mask ^ first
        part = rest
        found = None
        while True:
            group = part | first
            if group in clear and mask ^ group in best:
                (count, size), way = best[mask ^ group]
                cost = (count + 1, size - group.bit_count() ** 2)
                if found is None or cost < found[0]:
                    found = (cost, (group, *way))
            if not part:
                break
            part = (part - 1) & rest
        if found is not None:
            best[mask] = found
    whole = best.get((1 << n) - 1)
    return None if whole is None else list(whole[1])


def _rounded_up(value: float) -> float:
    """Two figures, never less."""
    step = 10.0 ** (np.floor(np.log10(value)) - 1.0)
    return float(np.ceil(value / step - 1e-9) * step)


def _rounded_down(value: float) -> float:
    """Two figures, never more."""
    step = 10.0 ** (np.floor(np.log10(value)) - 1.0)
    return float(np.floor(value / step + 1e-9) * step)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
