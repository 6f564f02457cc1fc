"""The jar test at exactly the sprayer's ratio: what to measure, when to look, what for.

It follows published practice: products one by one in pouring order, mixed after each, looked at
after 15 min (Utah State University Extension, Using a Jar Test, 2012) and 5 min (University of
Arizona, Turf Tips, May 1999); the tank's rates divided down, a clear jar, the jar open where it may
build pressure, never food glass again (GRDC, Spray Application Manual, module 7, 2025); left
overnight, felt for heat (University of California ANR, micro-irrigation maintenance); what must
pass a 50-mesh sieve (ASTM E1518); what to look for (University of Nebraska, G2350). Looks at 1, 4
and 24 h and a second jar in the cold are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from chem.advice.pour import pour
from chem.forecast import THRESHOLD, Evolved, Forecast, Study, forecast
from chem.reference import tables
from chem.tank import Mix, in_order, room_taken, with_rate
from chem.units import Measure, Rate

Order = Literal["asked", "best"]
HEADSPACE = 0.8
LARGEST_JAR_ML = 10_000.0
RATES = (0.5, 1.0, 2.0)
STEPS = (10.0, 5.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01)
TOLERANCE = 0.01
OWN_LEAST_MARKS = 10.0
"""Half a mark of ten is 5 %."""
QUART_ML = 946.352946
FIXED_LOOKS = (0.0, 5.0, 15.0, 60.0, 240.0, 1440.0)
"""[min] after the last pour; the last is the morning after."""
OPEN = frozenset({"carbon_dioxide", "sulfur_dioxide", "ammonia", "hydrogen_sulfide", "heat"})


@dataclass(frozen=True)
class JarStep:
    """One thing poured: product, or water where it is None, and its amount [mL] or [g].

    mark: the coarsest mark [mL or g] that measures it; parts: to how many parts one is made up
    first, 1 where it is measured neat; water: `first`, `all` or `last` of the water; tool: the
    shed's own measure, empty for a usual one.
    """

    product: str | None
    amount: float
    by_mass: bool
    mark: float
    parts: int = 1
    water: str = ""
    tool: str = ""


@dataclass(frozen=True)
class Look:
    """When to look [min]; expected: (kind, key, chance) of what should start to show about then.

    kind: `colloid` or `salt`.
    """

    minutes: float
    expected: tuple[tuple[str, str, float], ...]


@dataclass(frozen=True)
class Jar:
    """A jar-test sheet: the liquid in the jar [mL], the jar it needs [mL], steps and looks.

    order: `asked`, `asked_best` (no other is better), `best`, or `stuck` (none can be proposed);
    fumes: the jar must stay open; enlarged: whether it is larger than asked so that the smallest
    dose can be measured; thinned: whether a dose must be thinned even so; unrated: an adjuvant
    without a rate, last at its label's; scale: the tank's litres per litre of jar, None where the
    mix names no tank. No steps where the forecast refuses the mix.
    """

    forecast: Forecast
    jar_mL: float
    vessel_mL: float
    order: str
    steps: tuple[JarStep, ...]
    looks: tuple[Look, ...]
    fumes: tuple[Evolved, ...]
    enlarged: bool
    thinned: bool
    unrated: str | None
    scale: float | None


def own_tools(measures: Sequence[Measure], by_mass: bool) -> list[Measure]:
    """Scales, or syringes and marked jugs, of a shed; spoons are too rough for a jar."""
    return [m for m in measures if m.by_mass == by_mass and m.unit != "tsp"]


def least_dose(by_mass: bool, measures: Sequence[Measure] = ()) -> float:
    """The smallest dose [g] or [mL] that a scale or a syringe measures well: the shed's own, within
    5 % at half a mark, else usual ones."""
    own = own_tools(measures, by_mass)
    if own:
        return min(OWN_LEAST_MARKS * m.mark for m in own)
    return tables().value("jar_scale_least" if by_mass else "jar_syringe_least")


def least_error(by_mass: bool) -> float:
    """The error [%] of a usual one at its smallest dose."""
    return tables().value("jar_scale_error" if by_mass else "jar_syringe_error")


def measuring_step(amount: float) -> float:
    """The coarsest mark [mL or g] of usual measures that keeps an amount within 1 %."""
    return next((s for s in STEPS if 0.5 * s <= TOLERANCE * amount), STEPS[-1])


def own_step(amount: float, own: Sequence[Measure]) -> Measure:
    """Of the shed's own measures, that with the coarsest mark that does so; else the finest."""
    fine = [m for m in own if 0.5 * m.mark <= TOLERANCE * amount and m.holds >= amount]
    return max(fine, key=_mark) if fine else min(own, key=_mark)


def _mark(measure: Measure) -> float:
    return measure.mark


def jar(
    mix: Mix,
    *,
    size_mL: float = QUART_ML,
    order: Order = "asked",
    count: int = 256,
    seed: int = 1,
    study: Study | None = None,
) -> Jar:
    """Plan the jar test of a mix in a jar of `size_mL`, larger where a dose would be too small.

    order: `asked`, or `best` for the one that `pour` advises; study: what is believed and worked
    out already, in place of count and seed.

    Raises: InputProblem and ToxicGas as `forecast`; ValueError for a size that is none or another
    order.
    """
    if not 0.0 < size_mL < math.inf:
        raise ValueError(f"size_mL is above zero and finite, not {size_mL!r}")
    if order not in ("asked", "best"):
        raise ValueError(f"order is asked or best, not {order!r}")
    study = Study(count, seed) if study is None else study
    said = "asked"
    if order == "best":
        mix, said = _best(mix, study)
    return jar_of(forecast(mix, study=study), size_mL=size_mL, said=said)


def jar_of(result: Forecast, *, size_mL: float = QUART_ML, said: str = "asked") -> Jar:
    """The jar test of a mix that is forecast already; said: where its order comes from."""
    mix = result.mix
    fumes = tuple(g for g in result.gases if g.key in OPEN)
    looks = tuple(_looks(result))
    if result.refused:
        return Jar(result, 0.0, size_mL, said, (), looks, fumes, False, False, None, None)
    per_L = [a.amount_per_L(mix.carrier_L_per_m2) for a in mix.additions]
    if mix.fill == "water first":
        liquids = sum(p for p, a in zip(per_L, mix.additions, strict=True) if not a.by_mass)
        per_L = [p / (1.0 + liquids / 1000.0) for p in per_L]
    doses = [
        (a.product.name, p, a.by_mass, a.product.dry)
        for p, a in zip(per_L, mix.additions, strict=True)
    ]
    unrated = None
    if mix.adjuvant is not None and mix.adjuvant.rate is not None:
        rate = mix.adjuvant.rate
        doses.append((mix.adjuvant.name, _per_L(rate, mix), rate.kind == "mass", False))
    elif mix.adjuvant is not None:
        unrated = mix.adjuvant.name
    doses = [(n, p * mix.fresh_share, by_mass, dry) for n, p, by_mass, dry in doses]
    rest = [(left.mix.name, 1000.0 * left.share) for left in mix.leftovers if left.share > 0.0]
    room = sum(_room_mL(p, by_mass, dry) for _, p, by_mass, dry in doses) / 1000.0
    room += sum(p for _, p in rest) / 1000.0
    asked = liquid = size_mL * HEADSPACE
    own = mix.measures
    least = min((p / least_dose(m, own) for _, p, m, _ in doses if p > 0.0), default=1e9)
    if least * liquid < 1000.0 * (1.0 - 1e-9):
        liquid = min(_rounded_up(1000.0 / least), LARGEST_JAR_ML)
    poured = [_dose(n, p * liquid / 1000.0, by_mass, own) for n, p, by_mass, _ in doses]
    left = [_dose(n, p * liquid / 1000.0, False) for n, p in rest]
    water = (1.0 - room) * liquid
    if mix.fill == "water first":
        steps = [*left, _water(water, "all"), *poured]
    else:
        steps = [*left, _water(0.5 * water, "first"), *poured, _water(0.5 * water, "last")]
    return Jar(
        forecast=result,
        jar_mL=liquid,
        vessel_mL=max(size_mL, liquid / HEADSPACE),
        order=said,
        steps=tuple(steps),
        looks=looks,
        fumes=fumes,
        enlarged=liquid != asked,
        thinned=any(s.parts > 1 for s in steps),
        unrated=unrated,
        scale=None if mix.tank_L is None else mix.tank_L * 1000.0 / liquid,
    )


@dataclass(frozen=True)
class Strip:
    """Jars side by side, all of one size; kind: `rates` or `orders`.

    factors: of each jar's rates; left_out: factors at which the products leave no room for water.
    """

    kind: str
    jars: tuple[Jar, ...]
    factors: tuple[float, ...]
    left_out: tuple[float, ...]


def strip(
    mix: Mix,
    kind: Literal["rates", "orders"],
    *,
    size_mL: float = QUART_ML,
    study: Study | None = None,
) -> Strip:
    """The mix at half, once and twice its rates, or in its own order and in the best one.

    One jar where no other order is better, or where the mix must never be poured.

    Raises: InputProblem and ToxicGas as `forecast`.
    """
    study = Study() if study is None else study
    factors, left_out = [1.0], []
    found = [jar_of(forecast(mix, study=study), size_mL=size_mL)]
    if found[0].forecast.refused:
        return Strip(kind, tuple(found), (1.0,), ())
    if kind == "orders":
        other, said = _best(mix, study)
        if said == "best":
            found.append(jar_of(forecast(other, study=study), size_mL=size_mL, said=said))
            factors.append(1.0)
        else:
            found[0] = replace(found[0], order=said)
    for factor in RATES if kind == "rates" else ():
        if factor == 1.0:
            continue
        at = mix
        for index in range(len(mix.additions)):
            at = with_rate(at, index, factor)
        if mix.fill != "water first" and room_taken(at.additions, at.carrier_L_per_m2) >= 1.0:
            left_out.append(factor)
            continue
        place = sum(f < factor for f in factors)
        found.insert(place, jar_of(forecast(at, study=study), size_mL=size_mL))
        factors.insert(place, factor)
    vessel = max(j.vessel_mL for j in found)
    same = [jar_of(j.forecast, size_mL=vessel, said=j.order) for j in found]
    return Strip(kind, tuple(same), tuple(factors), tuple(left_out))


def _best(mix: Mix, study: Study) -> tuple[Mix, str]:
    """The mix in the order that `pour` advises, and where that order comes from."""
    found = pour(mix, study=study)
    best = found.advised
    if best is None:
        return mix, "stuck"
    if best.indices == found.asked.indices:
        return mix, "asked_best"
    return in_order(mix, best.indices), "best"


def _per_L(rate: Rate, mix: Mix) -> float:
    """[mL] or [g] per litre of finished spray."""
    if rate.per == "area":
        return rate.value / mix.carrier_L_per_m2
    return rate.value if rate.per == "volume" else 1000.0 * rate.value


def _room_mL(amount: float, by_mass: bool, dry: bool) -> float:
    """[mL] that an amount takes up; a weighed liquid counts as water."""
    return amount * tables().value("apparent_specific_volume_solids") if by_mass and dry else amount


def _rounded_up(value: float) -> float:
    step = 100.0 if value < 5000.0 else 500.0
    return step * math.ceil(value / step - 1e-9)


def _water(amount: float, which: str) -> JarStep:
    mark = measuring_step(amount)
    return JarStep(None, round(amount / mark) * mark, False, mark, 1, which)


def _dose(name: str, amount: float, by_mass: bool, measures: Sequence[Measure] = ()) -> JarStep:
    """One product, rounded to a mark that a syringe, spoon or scale shows.

    A dose too small for any jar is taken from one part made up to ten, a hundred ... with water.
    """
    parts = 1
    if 0.0 < amount < least_dose(by_mass, measures) * (1.0 - 1e-9):
        parts = 10 ** math.ceil(math.log10(least_dose(False, measures) / amount))
    own = own_tools(measures, by_mass and parts == 1)
    by = own_step(amount * parts, own) if own else None
    mark, tool = (measuring_step(amount * parts), "") if by is None else (by.mark, by.name)
    amount = round(amount * parts / mark) * mark / parts
    return JarStep(name, amount, by_mass, mark, parts, tool=tool)


def _looks(result: Forecast) -> list[Look]:
    """The fixed times of practice, and the time at which each threat should start to show."""
    expected: dict[float, list[tuple[str, str, float]]] = {m: [] for m in FIXED_LOOKS}
    for colloid in result.colloids:
        if colloid.risk >= THRESHOLD:
            minutes = colloid.after_s / 60.0
            near = min(FIXED_LOOKS[1:], key=lambda m: abs(m - minutes) / (m + 1.0))
            expected[near].append(("colloid", colloid.key, colloid.risk))
    for solid in result.solids:
        chance = solid.probability["24h"]
        if solid.clouds_after_s is None or not solid.decides or chance < THRESHOLD:
            continue
        minutes = solid.clouds_after_s.median / 60.0
        near = min(FIXED_LOOKS, key=lambda m: abs(m - minutes) / (m + 1.0))
        expected[near].append(("salt", solid.name, chance))
    return [Look(m, tuple(expected[m])) for m in FIXED_LOOKS]
