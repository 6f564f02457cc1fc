"""The jar-test sheet: one page to take outside and write on."""

from __future__ import annotations

import math

from chem.advice.jar import Jar, JarStep, Look
from chem.forecast import ALWAYS, JAR_DECIDES, SEEN_WORDS, Evolved
from chem.reference.colloids import colloids
from chem.sheets.as_json import as_json
from chem.sheets.blocks import Block, Sheet
from chem.sheets.contract import tank as contract
from chem.sheets.contract.parts import Between, tank_line
from chem.sheets.forecast import answer_lines, next_step
from chem.sheets.rules import evolved_unit, forbids, gas_sentence, minds, rules_json
from chem.units import Units, format_temperature

SETTLED_PH = 0.2
TEASPOON_ML, DROP_ML = 4.92892159375, 0.05
ORDERS = {
    "asked": "Poured in the order of the mix.",
    "asked_best": "Poured in the order of the mix: no other is better.",
    "best": "Poured in the best order, not that of the mix.",
    "stuck": "As in the mix: no order keeps every rule.",
}
LOOKS = {
    0.0: "warmth, fizz, smell, curd where a product goes in.",
    15.0: "haze, flakes, gel, layers; then stir: does it go back?",
    60.0: "haze, grit on the bottom.",
    240.0: "the same: this is a spray day.",
    1440.0: "the same, after a night: what a stranded tank would do.",
}
HANDLING = (
    "Label the jar: what, strength, date. Never a food jar again; keep spoons, syringes and "
    "scale for spray work.",
    "If it warms, fizzes or smells all the same: lid off, outdoors, leave it until it stops.",
    "Empty the jar into the spray tank or onto a labelled site, never a drain.",
)


def jar_sheet(result: Jar, units: Units = "both", number: str | None = None) -> Sheet:
    """What to measure, when to look, what to write down; no amounts for a mix that is refused.

    number: the sheet's own, by which `saw` knows it again.
    """
    found = result.forecast
    mix = found.mix
    rules = [f"{r[0].upper()}{r[1:]}." for r in forbids(found.rules, mix)]
    blocks = [
        Block("Never in one tank" if found.refused else "A rule is broken", items=rules),
        Block("Do this next", [next_step(found, units)] if rules else []),
        *([] if found.refused else _measured(result, units)),
        Block("Gas or heat", items=_fumes(result)),
    ]
    if not found.refused:
        low, high = found.ph.p05, found.ph.p95
        strip = f"A strip should read {low:.1f} to {high:.1f}."
        if abs(found.ph_settled - found.ph.median) > SETTLED_PH:
            strip = f"{strip[:-1]}, about {found.ph_settled:.1f} once solids are out."
        blocks += [
            Block("Look", items=[f"{_when(look.minutes)}: {_look(look)}" for look in result.looks]),
            Block("Fine or not", [_fine(result)]),
            Block("pH", [strip]),
            Block(
                "Write down",
                items=[
                    "date, products with lot numbers, water, temperature, order",
                    "at each look: " + ", ".join(SEEN_WORDS) + "; does it go back when stirred; pH",
                    f"then: jarsight saw {number or mix.file}",
                ],
            ),
        ]
    blocks += [Block("Always", items=_cautions(result)), Block("", [JAR_DECIDES])]
    kept = [b for b in blocks if b.paragraphs or b.items]
    answer = answer_lines(found)
    if found.refused:
        answer = ["Never in one tank: toxic gas. No jar of it either.", *answer]
    heading = f"Jar test {number}: {mix.name}" if number else f"Jar test: {mix.name}"
    return Sheet(heading, answer, kept)


def jar_short(result: Jar, units: Units = "both") -> tuple[list[str], list[str]]:
    """What to measure and when to look, in few lines: paragraphs and items."""
    size = f"{result.jar_mL:.0f} mL with the tank's own water."
    items = [
        f"{step.product or 'water'}: {step_text(result, step, units)}" for step in result.steps
    ]
    return [size], [*items, _between(result)]


def _measured(result: Jar, units: Units) -> list[Block]:
    mix = result.forecast.mix
    amounts = [
        f"{i} {step.product or 'water'}: {step_text(result, step, units)}"
        for i, step in enumerate(result.steps, start=1)
    ]
    scale = [] if result.scale is None else [f"Your tank is {_times(result.scale)} times this."]
    return [
        Block(
            "Measure",
            [
                f"{result.jar_mL:.0f} mL in a clear jar of {result.vessel_mL:.0f} mL or more, at "
                f"the sprayer's own ratio, with the tank's own water, at "
                f"{format_temperature(mix.t_celsius, units)}.",
                *scale,
                ORDERS[result.order],
            ],
            items=amounts,
        ),
        Block("", [_between(result), *_notes(result, units)]),
    ]


def step_text(result: Jar, step: JarStep, units: Units) -> str:
    """One thing to measure, in words."""
    if step.product is None:
        words = {
            "all": "all the water, stirring",
            "first": "about half the water, stirring",
            "last": f"the rest, to {result.jar_mL:.0f} mL in all",
        }
        return f"{step.amount:.0f} mL, {words[step.water]}"
    shown = _shown(step.amount * step.parts, step.mark)
    if step.parts > 1:
        one = "1 g" if step.by_mass else "1 mL"
        return f"{shown} mL of {one} made up to {step.parts} mL with the same water"
    if step.by_mass:
        return f"{shown} g on a scale"
    tool = "syringe" if step.amount <= 60.0 else "measuring cylinder"
    text = f"{shown} mL by {tool}"
    if units != "metric":
        spoons = step.amount / TEASPOON_ML
        if spoons >= 0.5:
            text += f" (about {spoons:.1f} tsp)"
        elif step.amount < 1.0:
            text += f" (about {step.amount / DROP_ML:.0f} drops)"
    return text


def _shown(amount: float, mark: float) -> str:
    digits = max(0, -math.floor(math.log10(mark)))
    return f"{amount:.{digits}f}"


def _between(result: Jar) -> str:
    """What to do after each product."""
    if result.fumes:
        mixing = "stir with a rod, lid off: never shake or close this jar"
    else:
        mixing = "lid on, turn it over ten times, lid off"
    return f"After each product: {mixing}; wait 5 min, look, then the next."


def _notes(result: Jar, units: Units) -> list[str]:
    notes = []
    mix = result.forecast.mix
    if result.unrated:
        notes.append(f"{result.unrated} has no rate in the mix: last, at its label's rate.")
    if result.enlarged:
        size = f"{result.jar_mL:.0f} mL"
        notes.append(f"More than asked, so that the smallest dose can be measured: {size}.")
    if result.thinned:
        notes.append("Thinning one first hides what its concentrate does to the others.")
    if mix.coldest_celsius is not None and result.steps:
        cold = format_temperature(mix.coldest_celsius, units)
        notes.append(f"Stand a second jar overnight at {cold}: a warm jar hides a cold morning.")
    return notes


def _look(look: Look) -> str:
    words = [LOOKS[look.minutes]]
    for kind, key, chance in look.expected:
        what = colloids()[key].because if kind == "colloid" else key
        words.append(f"{'Expected' if chance >= 0.5 else 'Perhaps'} about now: {what}.")
    return " ".join(words)


def _fine(result: Jar) -> str:
    """What a good jar looks like."""
    liquid = "one clear liquid, whatever its colour"
    unjudged = result.forecast.not_judged
    if unjudged:
        liquid = f"one even liquid, no cloudier than {' and '.join(unjudged)} alone"
    return (
        f"If it is fine you see {liquid}: no layer, no grains, nothing left on a 50-mesh nozzle "
        "screen, no warmth, no bubbles."
    )


def _fumes(result: Jar) -> list[str]:
    """Each gas or heat with its amount in this jar, and what to do."""
    out = [_fume(result, gas) for gas in result.fumes]
    if out:
        out.append(
            "Outdoors, upwind, lid off. Never shake or close it; leave it alone until it stops."
        )
    return out


def _fume(result: Jar, gas: Evolved) -> str:
    text = gas_sentence(gas.gas, result.forecast.mix)
    if gas.amount is not None and gas.unit == "mL/L":
        if result.steps:
            text += f" Up to {_two_figures(gas.amount * result.jar_mL / 1000.0)} mL of gas "
            text += "from this jar."
    elif gas.amount is not None and gas.amount >= 0.5:
        text += f" About {_two_figures(gas.amount)} {evolved_unit(gas)}"
        text += "." if gas.limit is None else f" (limit {gas.limit:g} ppm)."
    return text


def _two_figures(value: float) -> str:
    if value < 10.0:
        return f"{value:.2g}"
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return f"{step * round(value / step):.0f}"


def _cautions(result: Jar) -> list[str]:
    handling = () if result.forecast.refused else HANDLING
    return [*minds(result.forecast.rules, result.forecast.mix), *ALWAYS, *handling]


def _times(scale: float) -> str:
    return f"{scale:.0f}" if scale >= 100.0 else f"{scale:.3g}"


def _when(minutes: float) -> str:
    if minutes == 0.0:
        return "At once"
    return f"After {minutes:.0f} min" if minutes < 60.0 else f"After {minutes / 60.0:.0f} h"


def jar_json(result: Jar, units: Units = "both", number: str | None = None) -> str:
    """The JSON object of the contract; number: the sheet's own."""
    found = result.forecast
    kinds = {line.product: line.kind for line in found.loads[0].lines}
    return as_json(
        contract.Jar(
            mix=found.mix.name,
            **rules_json(found.rules, found.mix, found.refused),
            jar_mL=result.jar_mL,
            vessel_mL=result.vessel_mL,
            order=ORDERS[result.order],
            steps=[
                tank_line(
                    s.product or "water",
                    s.amount,
                    step_text(result, s, units),
                    by_mass=s.by_mass,
                    kind=kinds.get(s.product or "water", "product"),
                )
                for s in result.steps
            ],
            look=[
                contract.LookEntry(minutes=look.minutes, what_for=_look(look))
                for look in result.looks
            ],
            between=_between(result),
            fine=_fine(result),
            gases=_fumes(result),
            ph=Between(p05=found.ph.p05, p95=found.ph.p95),
            cautions=_cautions(result),
            notes=_notes(result, units),
            scale=result.scale,
            number=number,
        )
    )
