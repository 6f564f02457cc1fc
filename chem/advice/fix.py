"""The smallest change of each kind that keeps a mix clear, or that none does.

Every proposal is forecast again with the same draws, meets the gas and heat check, keeps every
label's rules and rate range, and never uses a strong acid or base that the user did not name.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from chem.advice.acid_rules import hazards_of
from chem.advice.agents import choose_agent
from chem.doubts import Draws
from chem.errors import InputProblem
from chem.forecast import THRESHOLD, TIMES_S, Outlook, gases, label_forbids, outlook, prepare
from chem.label import Product
from chem.reference import tables
from chem.tank import (
    Mix,
    Water,
    grams_per_litre,
    only,
    with_carrier,
    with_product,
    with_rate,
    with_swap,
)
from chem.units import Interval, Rate, Units, format_carrier, format_rate

SEARCH_DRAWS = 64
BISECTIONS = 6
MOST_CARRIER = 4.0
LEAST_RATE = 0.1
MARGIN = 0.02
"""Searches aim this far under the threshold, so that the full number of draws keeps it."""
MOST_ACID_G_PER_L = 30.0
MINUTE_S = 60.0
TRACE_NUTRIENT = 0.2
MINOR_LINES = {"sulfur", "chlorine"}


@dataclass(frozen=True)
class Fix:
    """One change that works.

    lever: carrier | rate | passes | acid | base | water | swap; factor: on carrier, rate or water;
    probability_after: by time, of the worst tank where there are several; mixes: the tanks.
    """

    lever: str
    change: str
    factor: float | None
    probability_after: dict[str, float]
    sentence: str
    mixes: tuple[Mix, ...]


@dataclass(frozen=True)
class Fixes:
    """What works for a mix, the smallest change of each kind; `because`: why nothing does.

    label_forbids: rules that the mix as asked breaks; no proposal does.
    """

    mix: Mix
    judged_at: str
    probability: dict[str, float]
    fixes: tuple[Fix, ...]
    label_forbids: tuple[str, ...]
    spray_within_minutes: float | None
    because: str | None
    draws: int
    seed: int


class _Asker:
    """Forecasts variants of one mix with the same draws."""

    def __init__(self, mix: Mix, judged_at: str, count: int, seed: int) -> None:
        self.mix, self.judged_at, self.count, self.seed = mix, judged_at, count, seed
        first = self.outlook(mix, count)
        self.first = first
        self.gases = {g.key for g in gases(mix, _ph(first))} if first else set()

    def outlook(self, mix: Mix, count: int) -> Outlook | None:
        """The outlook of a variant; None where it can't be forecast or must never be poured."""
        try:
            return outlook(prepare(mix, Draws(count, self.seed)))
        except InputProblem:
            return None

    def chance(self, mix: Mix) -> float:
        """Chance of solids in a search."""
        found = self.outlook(mix, min(SEARCH_DRAWS, self.count))
        return 1.0 if found is None else found.probability[self.judged_at]

    def works(self, mix: Mix) -> bool:
        """Whether a search takes it as clear."""
        return self.chance(mix) < THRESHOLD - MARGIN

    def kept(self, mixes: Sequence[Mix]) -> dict[str, float] | None:
        """Probabilities with all draws, the worst of the tanks, if every check holds."""
        worst = dict.fromkeys(TIMES_S, 0.0)
        for mix in mixes:
            found = self.outlook(mix, self.count)
            if found is None or found.answer(self.judged_at)[0] in {"haze", "curdle"}:
                return None
            if found.probability[self.judged_at] >= THRESHOLD:
                return None
            if label_forbids(mix):
                return None
            if {g.key for g in gases(mix, _ph(found))} - self.gases:
                return None
            worst = {t: max(worst[t], found.probability[t]) for t in worst}
        return worst

    def smallest(self, change: Callable[[float], Mix], start: float, end: float) -> float | None:
        """The value nearest `start` that works, between it and `end`; None if `end` doesn't."""
        if not self.works(change(end)):
            return None
        good, bad = end, start
        for _ in range(BISECTIONS):
            middle = float(np.sqrt(good * bad)) if good * bad > 0.0 else 0.5 * (good + bad)
            if self.works(change(middle)):
                good = middle
            else:
                bad = middle
        return good


def mild_agents() -> tuple[Product, ...]:
    """Citric acid and potassium bicarbonate: what may be tried unasked."""
    return tuple(choose_agent(name).product for name in ("citric acid", "potassium bicarbonate"))


def fix(
    mix: Mix,
    *,
    judged_at: str = "4h",
    count: int = 256,
    seed: int = 1,
    shelf: Sequence[Product] = (),
    agents: Sequence[Product] | None = None,
    units: Units = "both",
) -> Fixes:
    """Search the levers of a mix.

    shelf: products that may stand in for one of the mix; agents: acids and bases that may be
    tried, as dry products (default `mild_agents`).

    Raises: InputProblem as `forecast`.
    """
    prepare(mix, Draws(16, seed))  # raises what the mix itself has wrong
    asker = _Asker(mix, judged_at, count, seed)
    tried = mild_agents() if agents is None else agents
    first = asker.first
    assert first is not None
    found: list[Fix] = []
    because = None
    forbidden = label_forbids(mix)
    if first.probability[judged_at] < THRESHOLD and not forbidden:
        because = "nothing to change: the salts stay clear"
    else:
        for lever in (_carrier, _rates, _water, _agents, _swaps, _passes):
            found += lever(asker, shelf, tried, units)
        if not found and forbidden:
            because = "a label forbids this mix, and no separate passes were found"
        elif not found:
            because = (
                "no more carrier, lower rate, other water, mild acid, swap or second pass "
                "keeps these clear"
            )
    return Fixes(
        mix=mix,
        judged_at=judged_at,
        probability=dict(first.probability),
        fixes=tuple(found),
        label_forbids=tuple(forbidden),
        spray_within_minutes=_spray_within(first),
        because=because,
        draws=count,
        seed=seed,
    )


def _ph(found: Outlook | None) -> float:
    return 7.0 if found is None else float(np.nanmedian(found.fresh.clear.ph))


def _spray_within(found: Outlook) -> float | None:
    """Minutes until the chance that solids show reaches the threshold; None if under a minute.

    A tank that stays clear for a day gives a day.
    """
    draws = found.ready.draws
    grid = np.unique(np.round(np.geomspace(1.0, TIMES_S["24h"] / MINUTE_S, 60)))
    last = None
    for minutes in grid:
        t = minutes * MINUTE_S
        state = next(found.states[n] for n, s in TIMES_S.items() if t <= s)
        shows = np.nan_to_num(state.amounts(t)).sum(axis=1) > tables().value("show_limit")
        if draws.chance(shows, found.ok) >= THRESHOLD:
            return last
        last = float(minutes)
    return last


def _carrier(
    asker: _Asker, shelf: Sequence[Product], agents: Sequence[Product], units: Units
) -> Iterator[Fix]:
    mix = asker.mix
    if all(a.rate.per != "area" for a in mix.additions):
        return
    most = MOST_CARRIER
    for addition in mix.additions:
        limit = addition.product.says.carrier_at_most
        if limit is not None:
            most = min(most, limit / mix.carrier_L_per_m2)
    if most <= 1.0:
        return
    factor = asker.smallest(lambda f: with_carrier(mix, f), 1.0, most)
    if factor is None:
        return
    factor = min(_rounded_up(factor), most)
    changed = with_carrier(mix, factor)
    after = asker.kept([changed])
    if after is None:
        return
    text = format_carrier(changed.carrier_L_per_m2, units)
    yield Fix(
        "carrier",
        f"spray volume {text}",
        factor,
        after,
        f"Put the same amounts in {factor:.2g} times the water: {text}.",
        (changed,),
    )


def _rates(
    asker: _Asker, shelf: Sequence[Product], agents: Sequence[Product], units: Units
) -> Iterator[Fix]:
    mix = asker.mix
    best: list[tuple[float, Fix]] = []
    for i, addition in enumerate(mix.additions):
        least = LEAST_RATE
        span = addition.product.rate_range
        if span is not None and (span[0].kind, span[0].per) == (
            addition.rate.kind,
            addition.rate.per,
        ):
            least = max(least, span[0].value / addition.rate.value)
        if least >= 1.0:
            continue

        def changed(f: float, index: int = i) -> Mix:
            return with_rate(mix, index, f)

        factor = asker.smallest(changed, 1.0, least)
        if factor is None:
            continue
        factor = max(_rounded_down(factor), least)
        tried = changed(factor)
        after = asker.kept([tried])
        if after is None:
            continue
        text = format_rate(tried.additions[i].rate, units)
        name = addition.product.name
        best.append(
            (
                -factor,
                Fix(
                    "rate",
                    f"{name}: {text}",
                    factor,
                    after,
                    f"Put in {100 * factor:.0f} % of {name}: {text}.",
                    (tried,),
                ),
            )
        )
    best.sort(key=lambda pair: pair[0])
    yield from (one for _, one in best)


def _diluted(water: Water, factor: float) -> Water:
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


def _water(
    asker: _Asker, shelf: Sequence[Product], agents: Sequence[Product], units: Units
) -> Iterator[Fix]:
    mix = asker.mix
    if mix.water.unknown:
        return
    factor = asker.smallest(lambda f: replace(mix, water=_diluted(mix.water, f)), 1.0, 0.02)
    if factor is None:
        return
    factor = max(_rounded_down(factor), 0.02)
    changed = replace(mix, water=_diluted(mix.water, factor))
    after = asker.kept([changed])
    if after is None:
        return
    rain = 100.0 * (1.0 - factor)
    yield Fix(
        "water",
        f"{rain:.0f} % rain or other soft water",
        factor,
        after,
        f"Fill with at least {rain:.0f} % rain or other soft water.",
        (changed,),
    )


def _agents(
    asker: _Asker, shelf: Sequence[Product], agents: Sequence[Product], units: Units
) -> Iterator[Fix]:
    from chem.units import format_per_gallon_and_litre

    mix = asker.mix
    for agent in agents:
        acid = any("acid" in hazard for hazard in hazards_of(agent))

        def changed(dose: float, product: Product = agent, first: bool = acid) -> Mix:
            rate = grams_per_litre(dose, f"{dose:.3g} g/L")
            return with_product(mix, product, rate, 0 if first else None)

        doses = [d for d in (2.0, 5.0, 12.0, MOST_ACID_G_PER_L) if asker.works(changed(d))]
        if not doses:
            continue
        dose = asker.smallest(changed, 0.02, doses[0])
        if dose is None:
            continue
        dose = _rounded_up(dose)
        tried = changed(dose)
        after = asker.kept([tried])
        if after is None:
            continue
        amount = format_per_gallon_and_litre(dose, units)
        where = "in half the water, before the rest" if acid else "last"
        yield Fix(
            "acid" if acid else "base",
            f"{amount} of {agent.name}",
            None,
            after,
            f"Stir {amount} of {agent.name} {where}; check with a pH strip.",
            (tried,),
        )


def _swaps(
    asker: _Asker, shelf: Sequence[Product], agents: Sequence[Product], units: Units
) -> Iterator[Fix]:
    """A product of the shelf that brings the same main nutrient at the same weight per area."""
    mix = asker.mix
    for i, addition in enumerate(mix.additions):
        for other in shelf:
            rate = _same_nutrient(addition.product, addition.rate, other)
            if rate is None or other.key in {a.product.key for a in mix.additions}:
                continue
            tried = with_swap(mix, i, other, rate)
            if not asker.works(tried):
                continue
            after = asker.kept([tried])
            if after is None:
                continue
            text = format_rate(rate, units)
            yield Fix(
                "swap",
                f"{other.name} for {addition.product.name}",
                None,
                after,
                f"Use {other.name} at {text} in place of {addition.product.name}.",
                (tried,),
            )


def _main_nutrient(product: Product) -> tuple[str, float] | None:
    """The guarantee that the product is bought for: not nitrogen or sulfur if there is another."""
    lines = {k: v for k, v in product.guarantee.items() if v >= TRACE_NUTRIENT}
    others = {
        k: v for k, v in lines.items() if "nitrogen" not in k and k not in {"sulfur", "chlorine"}
    }
    pool = others or lines
    if not pool:
        return None
    key = max(pool, key=lambda k: pool[k])
    return key, pool[key]


def _same_nutrient(product: Product, rate: Rate, other: Product) -> Rate | None:
    """The other product's rate that brings as much of the first one's main nutrient."""
    main, theirs = _main_nutrient(product), _main_nutrient(other)
    if main is None or theirs is None or other.key == product.key or not other.judged:
        return None
    if main[0] != theirs[0]:
        return None
    grams = rate.value * main[1] / theirs[1]
    if rate.kind == "volume":
        if product.density is None:
            return None
        grams *= 0.5 * sum(product.density)
    if other.dry:
        return replace(rate, kind="mass", value=grams, text="")
    if other.density is None:
        return None
    swapped = replace(rate, kind="volume", value=grams / (0.5 * sum(other.density)), text="")
    span = other.rate_range
    same = span is not None and (span[0].kind, span[0].per) == (swapped.kind, swapped.per)
    if span is not None and same:
        inside = span[0].value * 0.999 <= swapped.value <= span[1].value * 1.001
        return swapped if inside else None
    return swapped


def _passes(
    asker: _Asker, shelf: Sequence[Product], agents: Sequence[Product], units: Units
) -> Iterator[Fix]:
    """The fewest tanks in which the products go, each clear."""
    mix = asker.mix
    n = len(mix.additions)
    if n < 2:
        return
    clear: dict[frozenset[int], bool] = {}

    def works(group: frozenset[int]) -> bool:
        if group not in clear:
            if len(group) > 2 and not all(works(group - {i}) or len(group) == 1 for i in group):
                # A smaller tank that clouds nearly always clouds with one product more.
                clear[group] = False
            else:
                clear[group] = asker.works(only(mix, group))
        return clear[group]

    for groups in _partitions(n):
        if len(groups) < 2 or not all(works(g) for g in groups):
            continue
        tanks = [only(mix, g) for g in groups]
        after = asker.kept(tanks)
        if after is None:
            continue
        named = [", ".join(a.product.name for a in tank.additions) for tank in tanks]
        yield Fix(
            "passes",
            " | ".join(named),
            float(len(groups)),
            after,
            f"Spray in {len(groups)} passes: " + "; then ".join(named) + ".",
            tuple(tanks),
        )
        return


def _partitions(n: int) -> Iterator[list[frozenset[int]]]:
    """Partitions of n products, fewest groups first, even groups last (one odd one out first)."""
    for k in range(2, n + 1):
        found = [p for p in _into(tuple(range(n)), k)]
        found.sort(key=lambda p: -max(len(g) for g in p))
        yield from found


def _into(items: tuple[int, ...], k: int) -> Iterator[list[frozenset[int]]]:
    if k == 1:
        yield [frozenset(items)]
        return
    first, rest = items[0], items[1:]
    for size in range(0, len(rest) - k + 2):
        for others in combinations(rest, size):
            group = frozenset((first, *others))
            left = tuple(i for i in rest if i not in group)
            for tail in _into(left, k - 1):
                yield [group, *tail]


def _rounded_up(value: float) -> float:
    """Two figures, never less."""
    step = 10.0 ** (np.floor(np.log10(value)) - 1.0)
    return float(np.ceil(value / step - 1e-9) * step)


def _rounded_down(value: float) -> float:
    """Two figures, never more."""
    step = 10.0 ** (np.floor(np.log10(value)) - 1.0)
    return float(np.floor(value / step + 1e-9) * step)
