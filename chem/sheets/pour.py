"""The sheet of pouring orders: what to pour when, and what the worst moment is."""

from __future__ import annotations

import math

from chem.advice.pour import MATTERS, Pour, PourOrder
from chem.forecast import ALWAYS, JAR_DECIDES, THRESHOLD, broken
from chem.forecast.order import CUSTOM
from chem.forecast.rules import name_of
from chem.notebook.sprayed import LeftInSump
from chem.notebook.tried import Told
from chem.sheets.as_json import as_json, odds_under
from chem.sheets.blocks import Block, Sheet
from chem.sheets.contract import tank as contract
from chem.sheets.contract.parts import tank_line
from chem.sheets.notebook import learned_entries
from chem.sheets.rinse import sump_block
from chem.sheets.rules import (
    HAZARD_WORDS,
    forbids,
    gas_sentence,
    minds,
    rule_next,
    rule_sentence,
    rules_json,
)
from chem.sheets.tank import line_name, line_text, tank_text
from chem.sheets.words import odds
from chem.units import Units

ODDS = "Odds of clouding on the way:"
HANDLING = (
    "Stir all the time. Wait until one product is mixed in before the next.",
    "Slowly, into the moving water: where the stream enters it is stronger than any step here.",
    "Rinse the measure with water in between, so that concentrates never meet.",
)
"""As sprayer guides say it: GRDC Spray Application Manual, module 7 (2025)."""


def pour_sheet(
    result: Pour,
    units: Units = "both",
    number: str | None = None,
    sump: LeftInSump | None = None,
) -> Sheet:
    """Answer first, then the order to pour with its amounts and the odds after each step.

    number: the sheet's own, by which `saw` and `sprayed` know the mix in this order again;
    sump: what stays of the tank before.
    """
    order = result.advised if not result.forbidden else None
    blocks = []
    warnings = [f"{r[0].upper()}{r[1:]}." for r in forbids(result.rules, result.mix)]
    if warnings:
        title = "Never in one tank" if result.refused else "A rule is broken as asked"
        blocks.append(Block(title, items=warnings, kind="stop"))
    if result.gases:
        items = [gas_sentence(g, result.mix) for g in result.gases]
        blocks.append(Block("Gas or heat", items=items, kind="gas"))
    if sump is not None and not result.refused:
        blocks.append(sump_block(sump, units))
    blocks.append(Block("Do this next", [_next(result, order, units)], kind="next"))
    if order is not None:
        blocks.append(_steps(result, order, units))
    if order is not result.asked and not result.refused:
        blocks.append(_asked(result))
    if result.matters and order is not None and result.ways > 1:
        blocks.append(
            Block(
                "Other orders",
                [
                    f"{result.ways:,} orders keep every rule; odds of clouding in the worst of "
                    f"them: {odds(result.most)}."
                ],
            )
        )
    if order is not None:
        blocks.append(Block("While pouring", items=[*_acids(result), *HANDLING]))
        if len(order.indices) > 1:
            blocks.append(Block("Where the order comes from", [_custom(result)]))
    granted = [
        f"{name} is not judged: its label says when it goes in" for name in result.not_judged
    ]
    if result.unsure:
        granted.append("Some steps had no answer in more than a tenth of the versions tried")
    if number is not None:
        then = f"`jarsight saw {number}` or `jarsight sprayed {number}` keeps what came of it."
        blocks.append(Block(f"This sheet is {number}", [then]))
    blocks += [
        Block("Taken for granted, check these", items=granted),
        Block("Always", items=[*minds(result.rules, result.mix), *ALWAYS]),
        Block("", [JAR_DECIDES]),
    ]
    keep = [b for b in blocks if b.paragraphs or b.items or b.rows]
    return Sheet(f"{result.mix.name}: pour", _answer(result, order), keep)


def pour_json(
    result: Pour, units: Units = "both", number: str | None = None, told: Told | None = None
) -> str:
    """The JSON object of the contract, with more about each order."""

    def one(order: PourOrder) -> contract.OrderEntry:
        return contract.OrderEntry(
            sequence=order.sequence,
            worst_step=order.worst_step,
            probability=order.probability,
            after_step=order.chances,
            culprit=order.culprit,
            breaks=[rule_sentence(r, result.mix) for r in order.breaks],
        )

    return as_json(
        contract.Pour(
            learned=learned_entries(told),
            mix=result.mix.name,
            orders=[one(o) for o in result.orders],
            asked=one(result.asked),
            advised=result.advised.sequence if result.advised else None,
            order_matters=result.matters,
            orders_that_keep_every_rule=result.ways,
            least=result.least,
            most=result.most,
            **rules_json(result.rules, result.mix, result.refused),
            because=None if result.orders else _why_none(result),
            gases=[gas_sentence(g, result.mix) for g in result.gases],
            not_judged=result.not_judged,
            draws=result.draws,
            all_water_first=result.all_water,
            number=number,
            seed=result.seed,
            tank=[
                tank_line(
                    line.product,
                    line.amount,
                    tank_text(line, result.load, result.mix, units),
                    by_mass=line.by_mass,
                    kind=line.kind,
                )
                for line in (result.lines(result.advised) if result.advised else ())
            ],
        )
    )


def _answer(result: Pour, order: PourOrder | None) -> list[str]:
    if result.refused:
        return ["Never in one tank: toxic gas. No order changes that."]
    if result.forbidden:
        return ["Don't pour these together: a label forbids it. No order changes that."]
    if order is None:
        return [f"Not in one tank: {_why_none(result)}."]
    chance = odds(order.probability)
    if len(order.indices) == 1:
        return [f"One product, one order. Odds of clouding as you pour: {chance}."]
    lines = []
    if result.asked.breaks:
        lines.append(
            f"Your order breaks a rule: pour as below. Odds of clouding on the way: {chance}."
        )
    elif order is not result.asked:
        lines.append(
            f"Pour in another order. {ODDS} {chance}, not {odds(result.asked.probability)}."
        )
    elif not result.matters:
        among = "" if result.ways == math.factorial(len(order.indices)) else " among those allowed"
        lines.append(
            f"The order makes no difference{among}. Odds of clouding on the way: {chance} in any."
        )
    else:
        lines.append(f"Your order is as good as any. {ODDS} {chance}.")
    if order.probability >= THRESHOLD:
        lines.append(f"At its worst {_worst(result, order)}.")
    return lines


def _worst(result: Pour, order: PourOrder) -> str:
    step = order.worst_step
    names = len(order.sequence)
    where = f"after {order.sequence[step - 1]}" if step <= names else "with the last water in"
    what = f", {order.culprit}" if order.culprit else ""
    return f"at step {step}, {where}: {odds(order.probability)}{what}"


def _why_none(result: Pour) -> str:
    """Why no order is proposed."""
    if result.refused:
        return "it must never be poured"
    if result.stuck is None:
        return "no order keeps every label's rule"
    acid, other, hazard = result.stuck
    words = HAZARD_WORDS.get(hazard, "gives sulfur dioxide and sulfur")
    return (
        f"no order keeps {name_of(result.mix, acid)} (acid) from standing next to "
        f"{name_of(result.mix, other)} ({words})"
    )


def _next(result: Pour, order: PourOrder | None, units: Units) -> str:
    if result.forbidden:
        return rule_next(broken(result.rules)[0], result.mix, units)
    if order is None:
        return "Spray them apart, the tank rinsed in between."
    if result.all_water is not None and result.all_water < THRESHOLD:
        return (
            "Put all the water in before the products, room for them left: then it clouds on the "
            f"way {odds_under(result.all_water)}. Try it so in a jar first."
        )
    if order.probability >= THRESHOLD:
        return "No order keeps it clear: ask `jarsight fix`, or try a jar before the tank."
    return "Pour it in this order in a jar at the same ratio first; then the tank."


def _steps(result: Pour, order: PourOrder, units: Units) -> Block:
    rows = [("Pour in this order", "amount", "shows")]
    chances = iter(order.chances)
    step = 0
    for line in result.lines(order):
        name, shows = line_name(line), ""
        if line.share not in {"first", "all"} and line.kind != "leftover":
            step += 1
            name = f"{step} {name}"
        if line.place is not None or line.share == "last":
            shows = odds(next(chances))
        rows.append((name, line_text(line, units), shows))
    lead = ["Odds that solids show within 15 minutes after each step."]
    if result.mix.tank_L is None and result.mix.area_m2 is None:
        lead.append("Amounts per litre of full tank.")
    return Block("Step by step", lead, rows=rows)


def _asked(result: Pour) -> Block:
    """The asked order beside the advised one, with its odds after each step."""
    asked = result.asked
    lead = [f"At its worst {_worst(result, asked)}."]
    if result.forbidden or len(asked.indices) == 1:
        return Block("The order you asked for", lead)
    rows = [("As you asked", "shows")]
    for step, (name, chance) in enumerate(zip(asked.sequence, asked.chances, strict=False), 1):
        rows.append((f"{step} {name}", odds(chance)))
    if len(asked.chances) > len(asked.indices):
        rows.append((f"{len(asked.chances)} water to the mark", odds(asked.chances[-1])))
    if asked.chances[-1] < THRESHOLD <= asked.probability:
        lead.append("What has fallen out by then may stay, even where the full tank could hold it.")
    return Block("The order you asked for", lead, rows=rows)


def _acids(result: Pour) -> list[str]:
    names = [result.mix.additions[i].product.name for i in result.acids]
    items = [f"{name} (acid): alone, stirred, into at least half the water." for name in names]
    for i, j in result.apart:
        pair = sorted((i, j), key=lambda k: k not in result.acids)
        acid, other = (result.mix.additions[k].product.name for k in pair)
        items.append(f"Never {acid} right before or after {other}.")
    return items


def _custom(result: Pour) -> str:
    groups = [CUSTOM[k] for k in sorted(set(result.custom))]
    custom = f" ({', then '.join(groups)})" if len(groups) > 1 else ""
    return (
        "The labels' own order first; then acids apart from what they set free; then the least "
        f"odds of clouding; between orders alike, the custom of the trade{custom}: common "
        f"practice, no source. Orders within {round(100 * MATTERS)} in 100 count as alike."
    )
