"""The jar test at exactly the sprayer's ratio: what to measure, when to look, what for.

It follows published practice: the sprayer's own ratio, the products in pouring order, looked at
over a spray day and again after a night (Utah State University Extension, Using a Jar Test, 2012;
GRDC Spray Application Manual, module 7, 2025; University of California ANR, overnight).
"""

from __future__ import annotations

from dataclasses import dataclass

from chem.forecast import ALWAYS, Forecast, forecast
from chem.tank import Mix
from chem.units import Units

LEAST_ML, LEAST_G = 0.5, 0.5
"""Smallest dose that a 1 mL syringe or 0.01 g scale measures well (common practice, no source)."""
HEADSPACE = 0.8
ROUND_ML = 50.0
LARGEST_JAR_ML = 10_000.0
STEPS = (10.0, 5.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01)
TOLERANCE = 0.01
TEASPOON_ML, DROP_ML = 4.92892159375, 0.05
QUART_ML = 946.352946
FIXED_LOOKS = (0.0, 15.0, 60.0, 240.0, 1440.0)


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

    scale: the tank's litres per litre of jar, None where the mix names no tank.
    """

    forecast: Forecast
    jar_mL: float
    vessel_mL: float
    steps: tuple[JarStep, ...]
    looks: tuple[Look, ...]
    fine: str
    ph: tuple[float, float]
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
    count: int = 256,
    seed: int = 1,
    units: Units = "both",
) -> Jar:
    """Plan the jar test of a mix in a jar of `size_mL`, larger where a dose would be too small.

    Raises: InputProblem and ToxicGas as `forecast`.
    """
    result = forecast(mix, count=count, seed=seed)
    per_L = [a.amount_per_L(mix.carrier_L_per_m2) for a in mix.additions]
    room = sum(p / 1000.0 for p, a in zip(per_L, mix.additions, strict=True) if not a.by_mass)
    if mix.fill == "water first":
        per_L = [p / (1.0 + room) for p in per_L]
        room = room / (1.0 + room)
    liquid = size_mL * HEADSPACE
    notes = []
    least = min(
        (
            p / (LEAST_G if a.by_mass else LEAST_ML)
            for p, a in zip(per_L, mix.additions, strict=True)
        ),
        default=1.0,
    )
    if least * liquid / 1000.0 < 1.0:
        wanted = 1000.0 / max(least, 1e-9)
        if wanted > LARGEST_JAR_ML:
            wanted = LARGEST_JAR_ML
            notes.append(
                "The smallest dose is under half a mL even so: mix 1 part of it with 9 of the "
                "same water first, and use ten times as much of that."
            )
        liquid = _rounded_up(wanted)
        notes.append(f"A larger jar, so that the smallest dose can be measured: {liquid:.0f} mL.")
    steps = [_water(0.5 * (1.0 - room) * liquid, "about half the water, stirring")]
    for amount, addition in zip(per_L, mix.additions, strict=True):
        steps.append(
            _dose(addition.product.name, amount * liquid / 1000.0, addition.by_mass, units)
        )
    steps.append(_water(0.5 * (1.0 - room) * liquid, f"the rest, to {liquid:.0f} mL in all"))
    return Jar(
        forecast=result,
        jar_mL=liquid,
        vessel_mL=max(size_mL, liquid / HEADSPACE),
        steps=tuple(steps),
        looks=tuple(_looks(result)),
        fine=(
            "If it is fine you see one clear liquid, no layer, no grains on the bottom, "
            "nothing on a fine cloth, no warmth, no bubbles."
        ),
        ph=(result.ph.p05, result.ph.p95),
        cautions=tuple(_cautions(result)),
        notes=tuple(notes),
        scale=None if mix.tank_L is None else mix.tank_L * 1000.0 / liquid,
    )


def _rounded_up(value: float) -> float:
    step = 100.0 if value < 5000.0 else 500.0
    return step * -(-value // step)


def _water(amount: float, text: str) -> JarStep:
    step = measuring_step(amount)
    rounded = round(amount / step) * step
    return JarStep("water", rounded, False, f"{rounded:.0f} mL, {text}")


def _dose(name: str, amount: float, by_mass: bool, units: Units) -> JarStep:
    """One product, rounded to a mark that a syringe, spoon or scale shows."""
    step = measuring_step(amount)
    rounded = round(amount / step) * step
    digits = max(0, -int(f"{step:e}".split("e")[1]))
    if by_mass:
        return JarStep(name, rounded, True, f"{rounded:.{digits}f} g on a scale")
    tool = "syringe" if rounded <= 60.0 else "measuring cylinder"
    text = f"{rounded:.{digits}f} mL by {tool}"
    if units != "metric":
        spoons = rounded / TEASPOON_ML
        if spoons >= 0.5:
            text += f" (about {spoons:.1f} tsp)"
        elif rounded < 1.0:
            text += f" (about {rounded / DROP_ML:.0f} drops)"
    return JarStep(name, rounded, False, text)


def _looks(result: Forecast) -> list[Look]:
    """The fixed times of practice, and the time at which each threat should start to show."""
    looks = {
        0.0: "warmth, fizz, smell, curd where a product goes in",
        15.0: "haze, flakes, gel, layers; then stir: does it go back?",
        60.0: "haze, grit on the bottom",
        240.0: "the same: this is a spray day",
        1440.0: "the same, after a night: what a stranded tank would do",
    }
    for solid in result.solids:
        if solid.clouds_after_s is None or not solid.decides or solid.probability["24h"] < 0.1:
            continue
        minutes = solid.clouds_after_s.median / 60.0
        near = min(FIXED_LOOKS, key=lambda m: abs(m - minutes) / (m + 1.0))
        looks[near] += f"; {solid.name} should start to show about now"
    return [Look(m, looks[m]) for m in FIXED_LOOKS]


def _cautions(result: Forecast) -> list[str]:
    out = [g.because for g in result.gases]
    if any(g.key in {"carbon_dioxide", "sulfur_dioxide", "ammonia", "heat"} for g in result.gases):
        out.append("Never shake or close a jar that fizzes, warms or smells; stand upwind.")
    out += [
        *ALWAYS,
        "Label the jar: what, strength, date. Never a food jar again; keep spoons, syringes and "
        "scale for spray work.",
        "Warm, fizzing or smelling: outdoors, lid off, leave it alone until it stops.",
        "Empty the jar into the spray tank or onto a labelled site, never a drain.",
    ]
    return out
