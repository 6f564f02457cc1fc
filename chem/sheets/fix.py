"""The sheet of changes that work."""

from __future__ import annotations

from chem.advice.fix import LEVERS, Fix, Fixes
from chem.forecast import ALWAYS, JAR_DECIDES, THRESHOLD
from chem.sheets.as_json import as_json, odds_under
from chem.sheets.blocks import Block, Sheet
from chem.sheets.words import TIME_WORDS, odds

TITLES = {
    "carrier": "More water",
    "rate": "Less of one product",
    "water": "Other water",
    "acid": "An acid",
    "base": "A base",
    "swap": "Another product",
    "order": "Another order",
    "passes": "Separate passes",
}
MOST_SHOWN = 4


def fix_sheet(result: Fixes) -> Sheet:
    """Answer first: the smallest change of each kind, with the odds that are left."""
    blocks = []
    if result.label_forbids:
        blocks.append(Block("A rule is broken as asked", items=result.label_forbids))
    if result.gases:
        blocks.append(Block("Gas or heat", items=result.gases))
    blocks.append(Block("Do this next", [_next(result)]))
    for lever in LEVERS:
        found = [_words(result, f) for f in result.fixes if f.lever == lever]
        if found:
            blocks.append(Block(TITLES[lever], items=found[:MOST_SHOWN]))
    spray = _spray(result)
    if spray:
        blocks.append(Block("Or spray it at once", [spray]))
    if result.no_use:
        blocks.append(Block("What would not do", items=[n.sentence for n in result.no_use]))
    granted = [f"{name} is not judged: only the jar can tell" for name in result.not_judged]
    if granted:
        blocks.append(Block("Taken for granted, check these", items=granted))
    blocks += [Block("Always", items=ALWAYS), Block("", [JAR_DECIDES])]
    return Sheet(f"{result.mix.name}: fix", _answer(result), blocks)


def _answer(result: Fixes) -> list[str]:
    span = TIME_WORDS[result.judged_at]
    chance = result.probability[result.judged_at]
    lines = [f"Solids within {span}: {odds(chance)}."]
    if chance < THRESHOLD <= result.on_the_way:
        lines = [
            f"The full tank stays clear, but it clouds on the way as you pour it: "
            f"{odds(result.on_the_way)}."
        ]
    if result.label_forbids:
        lines[0] = f"A rule forbids it as asked. {lines[0]}"
    count = len(result.fixes)
    if count == 1:
        lines[0] += " One change would do."
    elif count:
        lines[0] += f" {count} changes would do, each alone."
    elif result.because and result.because.startswith("nothing to change"):
        lines = [f"Nothing to change. Solids within {span}: {odds(chance)}."]
    else:
        because = result.because or ""
        lines[0] += f" {because[:1].upper()}{because[1:]}."
    tomorrow = result.probability["24h"]
    if chance < THRESHOLD <= tomorrow:
        lines.append(f"Left until tomorrow: {odds(tomorrow)}. Ask again with `--for 24h`.")
    return lines


def _next(result: Fixes) -> str:
    if result.fixes:
        return "Try the change in a jar at the same ratio before the tank."
    if result.because and result.because.startswith("nothing to change"):
        if result.probability["24h"] >= THRESHOLD:
            return "Jar test at the same ratio, then fill; leave none standing overnight."
        return "Jar test at the same ratio, then fill."
    return "Don't fill the tank with these. `jarsight why` tells what meets what."


def _words(result: Fixes, found: Fix) -> str:
    span = TIME_WORDS[result.judged_at]
    text = f"{found.sentence} Then solids within {span}: "
    text += f"{odds_under(found.probability_after[result.judged_at])}."
    if result.judged_at != "24h" and found.probability_after["24h"] >= THRESHOLD:
        text += f" By tomorrow: {odds(found.probability_after['24h'])}."
    if found.all_water_first:
        text += " Put all the water in before the products, or it clouds on the way."
    elif found.on_the_way >= THRESHOLD:
        text += f" It may cloud on the way ({odds(found.on_the_way)}): watch the jar as you pour."
    return " ".join((text, *found.mind))


def _spray(result: Fixes) -> str | None:
    """What spraying at once would do, apart from the changes."""
    if result.label_forbids or result.probability[result.judged_at] < THRESHOLD:
        return None
    if result.spray_within_minutes is None:
        return "No use: it may show within a minute."
    return (
        f"Clear for about {_minutes(result.spray_within_minutes)}, then it shows: spray within "
        "that, or change it."
    )


def _minutes(minutes: float) -> str:
    return f"{minutes:.0f} min" if minutes < 90.0 else f"{minutes / 60.0:.0f} h"


def fix_json(result: Fixes) -> str:
    """The JSON object of the contract."""

    def one(found: Fix) -> dict[str, object]:
        return {
            "lever": found.lever,
            "change": found.change,
            "factor": found.factor,
            "probability_after": found.probability_after,
            "sentence": found.sentence,
            "tanks": [[a.product.name for a in mix.additions] for mix in found.mixes],
            "on_the_way": found.on_the_way,
            "all_water_first": found.all_water_first,
            "mind": list(found.mind),
        }

    return as_json(
        {
            "mix": result.mix.name,
            "for": result.judged_at,
            "probability": result.probability,
            "fixes": [one(f) for f in result.fixes],
            "no_use": [{"lever": n.lever, "sentence": n.sentence} for n in result.no_use],
            "spray_within_minutes": result.spray_within_minutes,
            "because": result.because,
            "label_forbids": list(result.label_forbids),
            "on_the_way": result.on_the_way,
            "gases": list(result.gases),
            "not_judged": list(result.not_judged),
            "draws": result.draws,
            "seed": result.seed,
        }
    )
