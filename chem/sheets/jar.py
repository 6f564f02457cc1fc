"""The jar-test sheet: one page to take outside and write on."""

from __future__ import annotations

import math
from collections.abc import Sequence

from chem.advice.jar import Jar, JarStep, Look, least_dose, least_error, own_tools
from chem.doubts import Range
from chem.forecast import ALWAYS, JAR_DECIDES, SEEN_WORDS, Evolved, Forecast
from chem.reference.colloids import colloids
from chem.sheets.blocks import BLANK, Block, Sheet
from chem.sheets.contract.parts import TankLine, tank_line
from chem.sheets.forecast import answer_lines, next_step
from chem.sheets.rules import evolved_unit, forbids, gas_sentence, minds
from chem.sheets.words import sentence
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
    5.0: "haze, flakes, gel.",
    15.0: "haze, flakes, gel, layers; then stir: does it go back?",
    60.0: "haze, grit on the bottom.",
    240.0: "the same: this is a spray day.",
    1440.0: "the same, after a night: what a stranded tank would do.",
}
TIMES = {
    0.0: "0 min",
    5.0: "5 min",
    15.0: "15 min",
    60.0: "1 h",
    240.0: "4 h",
    1440.0: "overnight",
}
MEANS = {
    "clear": "nothing is out yet",
    "haze": "something comes out; sprays while it stays thin",
    "flakes": "curd: blocks screens; not into the tank",
    "grit": "crystals that settle: keep stirring, or not at all",
    "gel": "threads or lumps: not into the tank",
    "layers": "two liquids: stirred, does it stay one?",
    "oil": "an emulsion breaks: not into the tank",
    "foam": "too much air or wetter: a defoamer, slower stirring",
    "fizz": "gas: lid off, outdoors, leave it",
    "heat": "acid meets base: slower, into more water",
    "smell": "gas: stand upwind; not into the tank",
    "colour": "a metal turns: look for rust or curd an hour later",
}
"""What each look means, in a line: common practice, no source."""
OVERNIGHT = 1440.0
WIDE_PH = 1.5
"""A range of pH wider than this tells nothing: read it."""
CANT_SAY = "can't say: read it"
METER = "A dyed or dark liquid: a meter, or the strip's wet edge instead of its pad."
LOT, FIRST, LAST = "lot of", "first pour at", "last pour at, time zero"
HANDLING = (
    "Label the jar: what, strength, date. Never a food jar again; keep spoons, syringes and "
    "scale for spray work.",
    "If it warms, fizzes or smells all the same: lid off, outdoors, leave it until it stops.",
    "Empty the jar into the spray tank or onto a labelled site, never a drain.",
)


def jar_sheet(result: Jar, units: Units = "both", number: str | None = None) -> Sheet:
    """What to measure, when to look, what to write down; no amounts for a mix that is refused.

    number: the sheet's own, by which `saw` knows it again; a blank without one.
    """
    found = result.forecast
    mix = found.mix
    blocks = first(found, units)
    if not found.refused:
        blocks += _measured(result, units)
    blocks.append(Block("Gas or heat", items=fumes(result), kind="gas"))
    if not found.refused:
        blocks += [
            write_here(number, [poured_names(result)]),
            Block(
                "Look",
                items=[f"{_when(look.minutes)}: {look_text(look)}" for look in result.looks],
                rows=[
                    ("after the last pour", "what you see", "pH"),
                    *((TIMES[look.minutes], BLANK, BLANK) for look in result.looks),
                ],
            ),
            meaning(result),
            Block("pH", [_strip_reads(found), METER]),
            then(found, number),
        ]
    heading = f"Jar test {number}: {mix.name}" if number else f"Jar test: {mix.name}"
    return whole(heading, _answer(found), blocks, cautions(result))


def ph_expected(ph: Range) -> str:
    """`4.1 to 5.2`, or that it can't be said."""
    if not ph.p95 - ph.p05 <= WIDE_PH:
        return CANT_SAY
    return f"{ph.p05:.1f} to {ph.p95:.1f}"


def blanks(result: Jar) -> list[str]:
    """What the sheet leaves room to write down, in its order."""
    if result.forecast.refused:
        return []
    looks = [TIMES[look.minutes] for look in result.looks]
    return [
        "number",
        "date",
        *(f"{LOT} {name}" for name in poured_names(result)),
        FIRST,
        LAST,
        *(f"{kind} at {look}" for look in looks for kind in ("look", "pH")),
    ]


def poured_names(result: Jar) -> list[str]:
    """What is poured besides water, in order."""
    return [s.product for s in result.steps if s.product is not None]


def _answer(found: Forecast) -> list[str]:
    if found.refused:
        return ["Never in one tank: toxic gas. No jar of it either.", *answer_lines(found)]
    return answer_lines(found)


def first(found: Forecast, units: Units, told: Sequence[str] | None = None) -> list[Block]:
    """Every rule that the jar breaks, and what to do.

    told: the rules in words, where there are other jars beside it.
    """
    own = [f"{r[0].upper()}{r[1:]}." for r in forbids(found.rules, found.mix)]
    title = "Never in one tank" if found.refused else "A rule is broken"
    return [
        Block(title, items=own if told is None else told, kind="stop"),
        Block("Do this next", [next_step(found, units)], kind="next"),
    ]


def write_here(number: str | None, jars: Sequence[Sequence[str]]) -> Block:
    """Number, date, times and lots."""
    names = list(dict.fromkeys(name for jar in jars for name in jar))
    return Block(
        "Write here",
        rows=[
            ("what", "here"),
            ("number", number or BLANK),
            ("date", BLANK),
            (FIRST, BLANK),
            (LAST, BLANK),
            *((f"{LOT} {name}", BLANK) for name in names),
        ],
    )


def _strip_reads(found: Forecast) -> str:
    expected = ph_expected(found.ph)
    if expected == CANT_SAY:
        return f"What a strip should read: {CANT_SAY}."
    strip = f"A strip should read {expected}"
    if abs(found.ph_settled - found.ph.median) > SETTLED_PH:
        strip += f", about {found.ph_settled:.1f} once solids are out"
    return f"{strip}."


def meaning(result: Jar) -> Block:
    """What a good jar looks like, and what each other look means."""
    told = [f"{word}: {MEANS[word]}" for word in SEEN_WORDS]
    return Block("What you see, and what it means", [fine(result)], items=told)


def then(found: Forecast, number: str | None = None) -> Block:
    """What to do with what is written down."""
    return Block("Then", [f"jarsight saw {number or found.mix.file}"])


def whole(
    heading: str, answer: Sequence[str], blocks: Sequence[Block], cautions: Sequence[str]
) -> Sheet:
    """The sheet with the cautions at its end."""
    ending = [Block("Always", items=cautions), Block("", [JAR_DECIDES])]
    return Sheet(heading, answer, [b for b in (*blocks, *ending) if b.told])


def jar_short(result: Jar, units: Units = "both") -> tuple[list[str], list[str]]:
    """What to measure and when to look, in few lines: paragraphs and items."""
    size = f"{result.jar_mL:.0f} mL with the tank's own water."
    items = [
        f"{step.product or 'water'}: {step_text(result, step, units)}" for step in result.steps
    ]
    return [size], [*items, between(result)]


def _measured(result: Jar, units: Units) -> list[Block]:
    mix = result.forecast.mix
    scale = [] if result.scale is None else [f"Your tank is {_times(result.scale)} times this."]
    return [
        Block(
            "Measure",
            [
                f"{size_text(result)}, at the sprayer's own ratio, with the tank's own water, at "
                f"{format_temperature(mix.t_celsius, units)}.",
                *scale,
                ORDERS[result.order],
            ],
            items=amounts(result, units),
        ),
        Block("", [between(result), *notes(result, units)]),
    ]


def size_text(result: Jar) -> str:
    """How much in how large a jar."""
    return f"{result.jar_mL:.0f} mL in a clear jar of {result.vessel_mL:.0f} mL or more"


def amounts(result: Jar, units: Units) -> list[str]:
    """Everything to measure, numbered."""
    return [
        f"{i} {step.product or 'water'}: {step_text(result, step, units)}"
        for i, step in enumerate(result.steps, start=1)
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
    read = shown(step.amount * step.parts, step.mark)
    if step.parts > 1:
        least = max(1.0, least_dose(step.by_mass, result.forecast.mix.measures))
        one, whole = f"{least:g} {'g' if step.by_mass else 'mL'}", least * step.parts
        by = f" by the {step.tool}" if step.tool else ""
        return f"{read} mL{by} of {one} made up to {whole:g} mL with the same water"
    if step.tool:
        return f"{read} {'g' if step.by_mass else 'mL'} {_on(step)} the {step.tool}"
    if step.by_mass:
        return f"{read} g on a scale"
    tool = "syringe" if step.amount <= 60.0 else "measuring cylinder"
    text = f"{read} mL by {tool}"
    if units != "metric":
        spoons = step.amount / TEASPOON_ML
        if spoons >= 0.5:
            text += f" (about {spoons:.1f} tsp)"
        elif step.amount < 1.0:
            text += f" (about {step.amount / DROP_ML:.0f} drops)"
    return text


def _on(step: JarStep) -> str:
    return "on" if step.by_mass else "by"


def shown(amount: float, mark: float) -> str:
    """An amount to the mark that measures it."""
    digits = max(0, -math.floor(math.log10(mark)))
    return f"{amount:.{digits}f}"


def between(result: Jar) -> str:
    """What to do after each product."""
    if result.fumes:
        mixing = "stir with a rod, lid off: never shake or close this jar"
    else:
        mixing = "lid on, turn it over ten times, lid off"
    return f"After each product: {mixing}; wait 5 min, look, then the next."


def notes(result: Jar, units: Units) -> list[str]:
    """What else to know of the measuring."""
    said = [_measures(result)]
    mix = result.forecast.mix
    if result.unrated:
        said.append(f"{result.unrated} has no rate in the mix: last, at its label's rate.")
    if result.enlarged:
        size = f"{result.jar_mL:.0f} mL"
        said.append(f"More than asked, so that the smallest dose can be measured: {size}.")
    if result.thinned:
        said.append("Thinning one first hides what its concentrate does to the others.")
    if mix.coldest_celsius is not None and result.steps:
        cold = format_temperature(mix.coldest_celsius, units)
        said.append(f"Stand a second jar overnight at {cold}: a warm jar hides a cold morning.")
    return said


def _measures(result: Jar) -> str:
    """What a syringe and a scale can do, and which of the shed's own stand in for them."""
    own = [m for by_mass in (False, True) for m in own_tools(result.forecast.mix.measures, by_mass)]
    usual = []
    if all(m.by_mass for m in own):
        least = f"{least_dose(False):g} mL"
        usual.append(f"a syringe is right to {least_error(False):g} % from {least} on")
    if not any(m.by_mass for m in own):
        least = f"{least_dose(True):g} g"
        usual.append(f"a 0.01 g scale to {least_error(True):g} % from {least} on")
    told = [f"by your own measures: {', '.join(m.name for m in own)}"] if own else []
    return sentence(", ".join([*told, *usual]))


def look_text(look: Look) -> str:
    """What to look for."""
    words = [LOOKS[look.minutes]]
    for kind, key, chance in look.expected:
        what = colloids()[key].because if kind == "colloid" else key
        words.append(f"{'Expected' if chance >= 0.5 else 'Perhaps'} about now: {what}.")
    return " ".join(words)


def fine(result: Jar) -> str:
    """What a good jar looks like."""
    liquid = "one clear liquid, whatever its colour"
    unjudged = result.forecast.not_judged
    if unjudged:
        liquid = f"one even liquid, no cloudier than {' and '.join(unjudged)} alone"
    return (
        f"If it is fine you see {liquid}: no layer, no grains, nothing left on a 50-mesh nozzle "
        "screen, no warmth, no bubbles."
    )


def fumes(result: Jar) -> list[str]:
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


def cautions(result: Jar) -> list[str]:
    """What to mind of the mix, standing cautions, how to handle the jar."""
    handling = () if result.forecast.refused else HANDLING
    return [*minds(result.forecast.rules, result.forecast.mix), *ALWAYS, *handling]


def _times(scale: float) -> str:
    return f"{scale:.0f}" if scale >= 100.0 else f"{scale:.3g}"


def _when(minutes: float) -> str:
    if minutes == 0.0:
        return "At once"
    return "Overnight" if minutes == OVERNIGHT else f"After {TIMES[minutes]}"


def step_lines(result: Jar, units: Units) -> list[TankLine]:
    """Everything measured, in order."""
    kinds = {line.product: line.kind for line in result.forecast.loads[0].lines}
    return [
        tank_line(
            s.product or "water",
            s.amount,
            step_text(result, s, units),
            by_mass=s.by_mass,
            kind=kinds.get(s.product or "water", "product"),
        )
        for s in result.steps
    ]
