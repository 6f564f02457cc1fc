"""The sheet of a pH adjustment: the dose first; its titration curve as text and as SVG."""

from __future__ import annotations

from functools import partial

from chem.advice.agents import LICENCE
from chem.advice.ph import JAR_L, Adjustment
from chem.advice.titration import MOST_G_PER_L
from chem.forecast import ALWAYS, JAR_DECIDES, broken
from chem.forecast.rules import name_of
from chem.reference.colloids import colloids
from chem.sheets.blocks import Block, Sheet
from chem.sheets.rules import (
    HAZARD_WORDS,
    because,
    evolved_sentence,
    forbids,
    rule_next,
    rule_sentence,
)
from chem.sheets.salt import KG_PER_HA_TO_LB_PER_1000_SQ_FT
from chem.sheets.titration import curve, curve_text
from chem.sheets.window import window_words
from chem.sheets.words import TIME_WORDS, capital, odds
from chem.tank import grams_per_litre, millilitres_per_litre
from chem.units import (
    Units,
    format_area,
    format_mass,
    format_rate,
    format_volume,
)

GALLON_L = 3.785411784  # NIST Handbook 44, appendix C
SMALL_ML, SMALL_G = 1.0, 0.5
STRIP_TEST = "Strip test after mixing: the jar decides."
ANSWERS = {
    "clear": "stays clear",
    "haze": "clouds, but sprays",
    "curdle": "curdles",
    "cannot tell": "can't be told",
}


def ph_sheet(result: Adjustment, units: Units = "both") -> Sheet:
    """Dose, pH with its range, answer after the dose, the curve, cautions."""
    gases = [evolved_sentence(g, result.dosed) for g in result.gases]
    if result.refused:
        blocks = [
            _broken(result),
            Block(
                "Do this next",
                [rule_next(broken(result.rules)[0], result.ruled, units)],
                kind="next",
            ),
            Block("Gas or heat", items=gases, kind="gas"),
            _after(result),
            Block("Always", items=ALWAYS),
            Block("", [JAR_DECIDES]),
        ]
        kept = [b for b in blocks if b is not None and (b.paragraphs or b.items)]
        return Sheet(f"{result.mix.name}: to pH {result.target:g}", _answer(result, units), kept)
    blocks = [
        _broken(result),
        Block("Gas or heat", items=gases, kind="gas") if gases else None,
        Block("Do this next", [STRIP_TEST], kind="next"),
        _how_much(result, units),
        _after(result),
        _answer_after(result),
        _adjuvant(result, units),
        _firmness(result),
        Block(
            "Titration curve",
            rows=[(line,) for line in curve_text(result)],
            picture=partial(curve, result, units),
        ),
        _adds(result, units),
        Block("Mind", items=cautions(result)),
        Block("", [JAR_DECIDES]),
    ]
    return Sheet(
        f"{result.mix.name}: to pH {result.target:g}",
        _answer(result, units),
        [b for b in blocks if b is not None],
    )


def dose_text(result: Adjustment, units: Units = "both") -> str:
    """`72 fl oz (2.14 L) of 75 % phosphoric acid in 50 gal`; without a tank, per gallon."""
    if result.dose_g_per_L is None:
        return f"can't be reached: {unreached(result)}"
    name = result.reagent.own_form
    if result.dose_g_per_L == 0.0:
        return "none: the tank is there already"
    tank = result.mix.tank_L
    if tank is None:
        return f"{_amount(result, 1.0, units)} of {name} in each litre"
    return f"{_amount(result, tank, units)} of {name} in {format_volume(tank, units)}"


def doses(result: Adjustment, units: Units = "both") -> dict[str, str]:
    """The dose per tank, per 100 gallons, per gallon, per litre and for a one-quart jar."""
    if not result.dose_g_per_L:
        return {}
    out = {}
    tank = result.mix.tank_L
    if tank is not None:
        area = format_area(tank / result.mix.carrier_L_per_m2, units)
        volume = format_volume(tank, units)
        out["tank"] = f"{_amount(result, tank, units)} in {volume}, for {area}"
    if result.density_kg_per_L is None:
        rate = grams_per_litre(result.dose_g_per_L)
    else:
        rate = millilitres_per_litre(result.dose_g_per_L / result.density_kg_per_L)
    out["hundred_gallons"] = format_rate(rate, units)
    out["gallon"] = f"{_amount(result, GALLON_L, units)} in each gallon"
    out["litre"] = f"{_amount(result, 1.0, 'metric')} in each litre"
    out["jar"] = f"{_amount(result, JAR_L, units)} in a jar of {_jar(units)}"
    return out


def _answer(result: Adjustment, units: Units) -> list[str]:
    if result.refused:
        rule = broken(result.rules)[0]
        own, other = name_of(result.ruled, rule.product), name_of(result.ruled, rule.other)
        return [f"Toxic gas: no dose. Never {own} and {other} in one tank."]
    if result.dose_g_per_L is None:
        return [f"pH {result.target:g} can't be reached: {unreached(result)}."]
    if result.dose_g_per_L == 0.0:
        lines = [f"Nothing to add: the tank is at about pH {result.ph_before.median:.1f} already."]
        if result.back:
            way = "raise" if result.reagent.acid else "lower"
            lines.append(f"To {way} it to {result.target:g}: {' or '.join(result.back)}.")
        return lines
    return [f"Add {dose_text(result, units)}."]


UNSUITED = {
    "further": "this agent takes the pH further from what it wants",
    "too_much": f"not with {MOST_G_PER_L:g} g/L of it",
    "narrow": "its window is narrower than what is not known of the pH",
}


def unreached(result: Adjustment) -> str:
    """Why the target can't be reached."""
    match result.unreached:
        case "refused":
            return "it must never be poured"
        case "no_ph":
            return "no pH can be found on the way there: the tank is outside what the model covers"
        case "flat":
            return (
                f"{result.reagent.name} takes this tank to pH {result.ph_after.median:.1f} and "
                "hardly further, whatever the dose"
            )
    return (
        f"{MOST_G_PER_L:g} g/L, more than is sane to pour in, only brings it to pH "
        f"{result.ph_after.median:.1f}: the mix holds its pH too firmly for this agent"
    )


def _broken(result: Adjustment) -> Block | None:
    told = [f"{r[0].upper()}{r[1:]}." for r in forbids(result.rules, result.ruled)]
    title = "Never in one tank" if result.refused else "A rule is broken"
    return Block(title, items=told, kind="stop") if told else None


def cautions(result: Adjustment) -> list[str]:
    """What to mind, the most pressing first; the standing cautions last."""
    if result.refused:
        return list(ALWAYS)
    reagent, minded, after = result.reagent, result.minded, result.ph_after
    out = []
    if reagent.agent is not None and reagent.agent.named_only:
        out.append(LICENCE)
    for rule in minded.rules:
        if rule.code == "copper_in_acid" and result.copper_free is not None:
            was, now = (_share(share) for share in result.copper_free)
            out.append(
                f"Copper is in the mix: {was} of it is free before the acid, {now} after. "
                "Free copper burns leaves."
            )
        else:
            out.append(f"{rule_sentence(rule, result.dosed)}.")
    for index, hazard in minded.apart:
        why = HAZARD_WORDS.get(hazard, "gives sulfur dioxide and sulfur")
        out.append(
            f"Never right before or after {name_of(result.dosed, index)} ({why}): something else "
            "in between, well stirred in, or spray them apart."
        )
    if minded.loose:
        out.append(
            f"Little holds the pH here: the same dose may land at {after.p05:.1f} or at "
            f"{after.p95:.1f}. Put in half, test with a strip, then the rest bit by bit."
        )
    if reagent.agent is not None:
        out += [*reagent.agent.care, f"{capital(reagent.name)}: {reagent.agent.hazard_class}."]
    if reagent.acid:
        out.append("Alone into at least half the water, stirring; then the other products.")
    else:
        out.append("Slowly, stirring, once the acid products are well mixed in.")
    return list(dict.fromkeys([*out, *ALWAYS]))


def _share(share: float) -> str:
    return "under 1 %" if share < 0.01 else f"about {100.0 * share:.0f} %"


def _how_much(result: Adjustment, units: Units) -> Block | None:
    text = doses(result, units)
    if not text:
        return None
    names = {
        "tank": "tank",
        "hundred_gallons": "rate",
        "gallon": "per gallon",
        "litre": "per litre",
        "jar": "jar",
    }
    shown = [k for k in names if k in text and not (units == "metric" and k == "gallon")]
    items = [f"{names[k]}: {text[k]}" for k in shown]
    small = _stock(result)
    if small:
        items.append(small)
    items.append(_range(result, units))
    if result.reagent.taken:
        items.append(result.reagent.taken)
    return Block(f"How much {result.reagent.own_form}", items=items)


def _range(result: Adjustment, units: Units) -> str:
    """What the doubts make of the dose: from the least to the most that the tank may need."""
    low, high = result.dose_range_g_per_L
    litres = result.mix.tank_L or 1.0
    where = "the tank" if result.mix.tank_L else "a litre"
    least = _grams_as(result, low * litres, units) if low else "none"
    most = "more than is sane" if high is None else _grams_as(result, high * litres, units)
    return f"by what is not known, {where} may need from {least} to {most}"


def _stock(result: Adjustment) -> str | None:
    """A thinner stock where the jar's dose is too small for a spoon or a syringe."""
    assert result.dose_g_per_L is not None
    grams = result.dose_g_per_L * JAR_L
    if result.density_kg_per_L is None:
        if grams >= SMALL_G:
            return None
        parts = 100.0 if grams * 10.0 >= SMALL_G else 10.0
        return (
            f"too little to weigh for the jar: stir {parts:g} g into water to make 1 L, "
            f"use {1000.0 * grams / parts:.2g} mL of that"
        )
    millilitres = grams / result.density_kg_per_L
    if millilitres >= SMALL_ML:
        return None
    fold = 10.0 if millilitres * 10.0 >= SMALL_ML else 100.0
    return (
        f"too little to measure for the jar: 1 part into {fold - 1.0:g} parts of water, "
        f"use {fold * millilitres:.2g} mL of that"
    )


def _after(result: Adjustment) -> Block:
    before, after = result.ph_before, result.ph_after
    text = [f"Before: about {before.median:.1f}, likely {before.p05:.1f} to {before.p95:.1f}."]
    if result.refused:
        return Block("pH of the full tank", text)
    if result.dose_g_per_L is None:
        text.append(
            f"With {result.tried_g_per_L:.3g} g/L, the most that is tried: about "
            f"{after.median:.1f}, likely {after.p05:.1f} to {after.p95:.1f}."
        )
    elif result.dose_g_per_L > 0.0:
        text.append(f"After: about {after.median:.1f}, likely {after.p05:.1f} to {after.p95:.1f}.")
    if result.dose_g_per_L is not None and abs(result.ph_settled - after.median) > 0.2:
        text.append(f"About {result.ph_settled:.1f} once solids have come out.")
    return Block("pH of the full tank", text)


def _answer_after(result: Adjustment) -> Block | None:
    if result.dose_g_per_L is None:
        return None
    span = TIME_WORDS[result.judged_at]
    text = [
        f"Within {span}, before the dose: {ANSWERS[result.answer_before]}; after it: "
        f"{ANSWERS[result.answer_after.word]} ({odds(result.answer_after.chance)})."
    ]
    if result.answer_after.cause:
        text.append(f"{capital(because(result.answer_after))}.")
    for solid in result.made[:3]:
        cause = (
            f"{result.reagent.name} is part of it" if solid.of_the_agent else "the new pH drops it"
        )
        fate = colloids()[solid.key].because if solid.key in colloids() else solid.name
        text.append(
            f"The dose itself brings on: {fate} ({odds(solid.after)}, was "
            f"{odds(solid.before)}). {capital(cause)}."
        )
    return Block("Will it stay clear with that in it?", text)


def _adjuvant(result: Adjustment, units: Units) -> Block | None:
    suited = result.suited
    adjuvant = next((w for w in result.mix.windows if w.limits is not None), None)
    if suited is None or adjuvant is None:
        return None
    window = window_words(*suited.window)
    at_once, later = odds(suited.before), odds(suited.before_settled)
    text = [
        f"{capital(adjuvant.name)} wants pH {window}. Chance of that before the dose: {at_once} "
        f"at once, {later} once settled."
    ]
    if result.dose_g_per_L:
        at_once, later = odds(suited.at_once), odds(suited.settled)
        text.append(f"With the dose: {at_once} at once, {later} once settled.")
    likely = suited.likely_dose_g_per_L
    if likely is None:
        text.append(f"No dose makes it likely: {UNSUITED[suited.cause]}.")
    elif likely > 0.0 and suited.settled_at_likely is not None:
        tank = result.mix.tank_L
        amount = _grams_as(result, likely * (tank or 1.0), units)
        where = format_volume(tank, units) if tank else "each litre"
        text.append(
            f"9 in 10 from {amount} in {where} ({odds(suited.settled_at_likely)} once settled)."
        )
    text.append("Only its pH window is judged, not the adjuvant itself.")
    return Block("Adjuvant", text)


def _firmness(result: Adjustment) -> Block | None:
    unit = "mL" if result.density_kg_per_L is not None else "g"
    per = result.density_kg_per_L or 1.0
    steepest = max(abs(result.slope_start), abs(result.slope_target)) * per
    step = next((s for s in (1.0, 0.1, 0.01) if steepest * s <= 1.5), 0.001)
    text = [
        f"At the start {step:g} {unit} per litre moves the pH by about "
        f"{_two(result.slope_start * per * step)}, at the end by about "
        f"{_two(result.slope_target * per * step)}."
    ]
    return Block("How firmly the tank holds its pH", text)


def _adds(result: Adjustment, units: Units) -> Block | None:
    if result.dose_g_per_L is None or not result.adds_kg_per_ha:
        return None
    per_area = {"us": "lb/1000 sq ft", "metric": "kg/ha"}
    columns = ["us", "metric"] if units == "both" else [units]
    rows = [("The dose puts down", *(per_area[c] for c in columns))]
    for symbol, kg in result.adds_kg_per_ha.items():
        values = {"us": _two(kg * KG_PER_HA_TO_LB_PER_1000_SQ_FT), "metric": _two(kg)}
        rows.append((symbol, *(values[c] for c in columns)))
    return Block("Nutrients in the dose", rows=rows)


def _amount(result: Adjustment, litres: float, units: Units) -> str:
    assert result.dose_g_per_L is not None
    return _grams_as(result, result.dose_g_per_L * litres, units)


def _grams_as(result: Adjustment, grams: float, units: Units) -> str:
    """An amount in the agent's own form: weighed if dry, measured if liquid."""
    if result.density_kg_per_L is None:
        return format_mass(grams / 1000.0, units)
    return format_volume(grams / 1000.0 / result.density_kg_per_L, units)


def _jar(units: Units) -> str:
    return {"us": "1 qt", "metric": "946 mL", "both": "1 qt (946 mL)"}[units]


def _two(value: float) -> str:
    """Two figures, never an exponent."""
    size = abs(value)
    return f"{size:.2g}" if 1e-4 <= size < 99.5 else f"{size:.0f}"
