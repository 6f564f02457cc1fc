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
from dataclasses import dataclass
from typing import Literal

from chem.advice.pour import pour
from chem.forecast import ALWAYS, THRESHOLD, Evolved, Forecast, forecast
from chem.reference import tables
from chem.tank import Mix, in_order
from chem.units import Rate, Units, format_temperature

Order = Literal["asked", "best"]
LEAST_ML, LEAST_G = 0.5, 0.5
"""Smallest dose that a 1 mL syringe or 0.01 g scale measures well (common practice, no source)."""
HEADSPACE = 0.8
LARGEST_JAR_ML = 10_000.0
STEPS = (10.0, 5.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01)
TOLERANCE = 0.01
TEASPOON_ML, DROP_ML = 4.92892159375, 0.05
QUART_ML = 946.352946
FIXED_LOOKS = (0.0, 15.0, 60.0, 240.0, 1440.0)
OPEN = frozenset({"carbon_dioxide", "sulfur_dioxide", "ammonia", "hydrogen_sulfide", "heat"})


@dataclass(frozen=True)
class JarStep:
    """One thing poured: product (or water), its amount [mL] or [g] and the words for it."""

    product: str
    amount: float
    by_mass: bool
    text: str


@dataclass(frozen=True)
class Look:
    """When to look [min] and what for."""

    minutes: float
    what: str


@dataclass(frozen=True)
class Jar:
    """A jar-test sheet: the liquid in the jar [mL], the jar it needs [mL], steps, looks, cautions.

    order: where the pouring order comes from; between: what to do after each product; fumes: the
    jar must stay open; scale: the tank's litres per litre of jar, None where the mix names no tank.
    """

    forecast: Forecast
    jar_mL: float
    vessel_mL: float
    order: str
    steps: tuple[JarStep, ...]
    between: str
    looks: tuple[Look, ...]
    fine: str
    ph: tuple[float, float]
    fumes: tuple[str, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    scale: float | None


def measuring_step(amount: float) -> float:
    """The coarsest mark [mL or g] that keeps an amount within 1 %."""
    return next((s for s in STEPS if 0.5 * s <= TOLERANCE * amount), STEPS[-1])


def jar(
    mix: Mix,
    *,
    size_mL: float = QUART_ML,
    order: Order = "asked",
    count: int = 256,
    seed: int = 1,
    units: Units = "both",
) -> Jar:
    """Plan the jar test of a mix in a jar of `size_mL`, larger where a dose would be too small.

    order: `asked`, or `best` for the one that `pour` advises.

    Raises: InputProblem and ToxicGas as `forecast`; ValueError for a size that is none or another
    order.
    """
    if not 0.0 < size_mL < math.inf:
        raise ValueError(f"size_mL is above zero and finite, not {size_mL!r}")
    if order not in ("asked", "best"):
        raise ValueError(f"order is asked or best, not {order!r}")
    said = "Poured in the order of the mix."
    if order == "best":
        mix, said = _best(mix, seed)
    result = forecast(mix, count=count, seed=seed)
    per_L = [a.amount_per_L(mix.carrier_L_per_m2) for a in mix.additions]
    if mix.fill == "water first":
        liquids = sum(p for p, a in zip(per_L, mix.additions, strict=True) if not a.by_mass)
        per_L = [p / (1.0 + liquids / 1000.0) for p in per_L]
    doses = [
        (a.product.name, p, a.by_mass, a.product.dry)
        for p, a in zip(per_L, mix.additions, strict=True)
    ]
    notes = []
    if mix.adjuvant is not None and mix.adjuvant.rate is not None:
        rate = mix.adjuvant.rate
        doses.append((mix.adjuvant.name, _per_L(rate, mix), rate.kind == "mass", False))
    elif mix.adjuvant is not None:
        notes.append(f"{mix.adjuvant.name} has no rate in the mix: last, at its label's rate.")
    room = sum(_room_mL(p, by_mass, dry) for _, p, by_mass, dry in doses) / 1000.0
    liquid = size_mL * HEADSPACE
    least = min((p / (LEAST_G if m else LEAST_ML) for _, p, m, _ in doses if p > 0.0), default=1e9)
    if least * liquid < 1000.0 * (1.0 - 1e-9):
        liquid = min(_rounded_up(1000.0 / least), LARGEST_JAR_ML)
        notes.append(
            f"More than asked, so that the smallest dose can be measured: {liquid:.0f} mL."
        )
        if least * liquid < 1000.0 * (1.0 - 1e-9):
            notes.append("Thinning one first hides what its concentrate does to the others.")
    poured = [_dose(n, p * liquid / 1000.0, by_mass, units) for n, p, by_mass, _ in doses]
    water = (1.0 - room) * liquid
    if mix.fill == "water first":
        steps = [_water(water, "all the water, stirring"), *poured]
    else:
        steps = [
            _water(0.5 * water, "about half the water, stirring"),
            *poured,
            _water(0.5 * water, f"the rest, to {liquid:.0f} mL in all"),
        ]
    if mix.coldest_celsius is not None:
        cold = format_temperature(mix.coldest_celsius, units)
        notes.append(f"Stand a second jar overnight at {cold}: a warm jar hides a cold morning.")
    return Jar(
        forecast=result,
        jar_mL=liquid,
        vessel_mL=max(size_mL, liquid / HEADSPACE),
        order=said,
        steps=tuple(steps),
        between=_between(result),
        looks=tuple(_looks(result)),
        fine=_fine(result),
        ph=(result.ph.p05, result.ph.p95),
        fumes=tuple(_fumes(result, liquid)),
        cautions=_cautions(),
        notes=tuple(notes),
        scale=None if mix.tank_L is None else mix.tank_L * 1000.0 / liquid,
    )


def _best(mix: Mix, seed: int) -> tuple[Mix, str]:
    """The mix in the order that `pour` advises, and where that order comes from."""
    found = pour(mix, seed=seed)
    best = found.advised
    if best is None:
        return mix, f"As in the mix: {found.because}."
    if best.indices == found.asked.indices:
        return mix, "Poured in the order of the mix: no other is better."
    return in_order(mix, best.indices), "Poured in the best order, not that of the mix."


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


def _water(amount: float, text: str) -> JarStep:
    step = measuring_step(amount)
    rounded = round(amount / step) * step
    return JarStep("water", rounded, False, f"{rounded:.0f} mL, {text}")


def _dose(name: str, amount: float, by_mass: bool, units: Units) -> JarStep:
    """One product, rounded to a mark that a syringe, spoon or scale shows."""
    least = LEAST_G if by_mass else LEAST_ML
    if 0.0 < amount < least * (1.0 - 1e-9):
        return _thinned(name, amount, by_mass)
    step = measuring_step(amount)
    rounded = round(amount / step) * step
    if by_mass:
        return JarStep(name, rounded, True, f"{_shown(rounded, step)} g on a scale")
    tool = "syringe" if rounded <= 60.0 else "measuring cylinder"
    text = f"{_shown(rounded, step)} mL by {tool}"
    if units != "metric":
        spoons = rounded / TEASPOON_ML
        if spoons >= 0.5:
            text += f" (about {spoons:.1f} tsp)"
        elif rounded < 1.0:
            text += f" (about {rounded / DROP_ML:.0f} drops)"
    return JarStep(name, rounded, False, text)


def _thinned(name: str, amount: float, by_mass: bool) -> JarStep:
    """A dose too small for any jar: from one part made up to ten, a hundred ... with water."""
    parts = 10 ** math.ceil(math.log10(LEAST_ML / amount))
    step = measuring_step(amount * parts)
    rounded = round(amount * parts / step) * step
    one = "1 g" if by_mass else "1 mL"
    text = f"{_shown(rounded, step)} mL of {one} made up to {parts} mL with the same water"
    return JarStep(name, rounded / parts, by_mass, text)


def _shown(amount: float, step: float) -> str:
    digits = max(0, -math.floor(math.log10(step)))
    return f"{amount:.{digits}f}"


def _open(result: Forecast) -> list[Evolved]:
    """Gases and heat for which a jar stays open."""
    return [g for g in result.gases if g.key in OPEN]


def _between(result: Forecast) -> str:
    """What to do after each product."""
    if _open(result):
        mixing = "stir with a rod, lid off: never shake or close this jar"
    else:
        mixing = "lid on, turn it over ten times, lid off"
    return f"After each product: {mixing}; wait 5 min, look, then the next."


def _looks(result: Forecast) -> list[Look]:
    """The fixed times of practice, and the time at which each threat should start to show."""
    looks = {
        0.0: "warmth, fizz, smell, curd where a product goes in.",
        15.0: "haze, flakes, gel, layers; then stir: does it go back?",
        60.0: "haze, grit on the bottom.",
        240.0: "the same: this is a spray day.",
        1440.0: "the same, after a night: what a stranded tank would do.",
    }
    expected: dict[float, list[str]] = {m: [] for m in FIXED_LOOKS}
    for colloid in result.colloids:
        if colloid.risk >= THRESHOLD:
            minutes = colloid.after_s / 60.0
            near = min(FIXED_LOOKS[1:], key=lambda m: abs(m - minutes) / (m + 1.0))
            expected[near].append(_expected(colloid.because, colloid.risk))
    for solid in result.solids:
        chance = solid.probability["24h"]
        if solid.clouds_after_s is None or not solid.decides or chance < THRESHOLD:
            continue
        minutes = solid.clouds_after_s.median / 60.0
        near = min(FIXED_LOOKS, key=lambda m: abs(m - minutes) / (m + 1.0))
        expected[near].append(_expected(solid.name, chance))
    return [Look(m, " ".join([looks[m], *expected[m]])) for m in FIXED_LOOKS]


def _expected(what: str, chance: float) -> str:
    return f"{'Expected' if chance >= 0.5 else 'Perhaps'} about now: {what}."


def _fine(result: Forecast) -> str:
    """What a good jar looks like."""
    liquid = "one clear liquid, whatever its colour"
    if result.not_judged:
        liquid = f"one even liquid, no cloudier than {' and '.join(result.not_judged)} alone"
    return (
        f"If it is fine you see {liquid}: no layer, no grains, nothing left on a 50-mesh nozzle "
        "screen, no warmth, no bubbles."
    )


def _fumes(result: Forecast, jar_mL: float) -> list[str]:
    """Each gas or heat with its amount in this jar, and what to do."""
    out = []
    for gas in _open(result):
        text = gas.because
        if gas.amount is not None and gas.unit.startswith("mL gas per litre"):
            text += f" Up to {_two_figures(gas.amount * jar_mL / 1000.0)} mL of gas from this jar."
        elif gas.amount is not None and gas.amount >= 0.5:
            text += f" About {_two_figures(gas.amount)} {gas.unit}"
            text += "." if gas.limit is None else f" (limit {gas.limit:g} ppm)."
        out.append(text)
    if out:
        out.append(
            "Outdoors, upwind, lid off. Never shake or close it; leave it alone until it stops."
        )
    return out


def _two_figures(value: float) -> str:
    if value < 10.0:
        return f"{value:.2g}"
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return f"{step * round(value / step):.0f}"


def _cautions() -> tuple[str, ...]:
    return (
        *ALWAYS,
        "Label the jar: what, strength, date. Never a food jar again; keep spoons, syringes and "
        "scale for spray work.",
        "If it warms, fizzes or smells all the same: lid off, outdoors, leave it until it stops.",
        "Empty the jar into the spray tank or onto a labelled site, never a drain.",
    )
