"""The sheet between two tanks."""

from __future__ import annotations

from chem.advice.rinse import CLEAN, RINSE_SHARE, Rinsing
from chem.forecast import ALWAYS, THRESHOLD
from chem.forecast.rules import STOP_WORDS
from chem.notebook.sprayed import LeftInSump
from chem.sheets.as_json import as_json
from chem.sheets.blocks import Block, Sheet
from chem.sheets.contract import advice as contract
from chem.sheets.notebook import day_of
from chem.sheets.rules import gas_sentence, rule_sentence
from chem.sheets.words import capital, odds
from chem.units import Units, format_volume

HOW = (
    "Drain first: what stays counts. Each rinse: stir 5 min, through hoses, boom and nozzles.",
    "Screens and filters out and into the last rinse.",
    "Rinsate back on a labelled site within its rate.",
)


def rinse_sheet(result: Rinsing, units: Units = "both") -> Sheet:
    """How often first, then what must not meet and what would show."""
    blocks = [
        Block("Must not meet", items=must_not_meet(result)),
        Block("Where they meet", [_where_they_meet(result)]),
        Block("How often", _how_often(result, units)),
        Block("How", items=HOW),
        Block("Always", items=ALWAYS),
    ]
    kept = [b for b in blocks if b.paragraphs or b.items]
    heading = f"Rinse: {result.before.name}, then {result.after.name}"
    return Sheet(heading, _answer(result, units), kept)


def sump_block(found: LeftInSump, units: Units = "both") -> Block:
    """What stays of the tank sprayed last, before the next is filled."""
    result = found.rinsing
    assert result.sump_L is not None
    stays = format_volume(result.sump_L, units)
    held = ", ".join(dict.fromkeys(a.product.name for a in result.before.additions))
    words = f"{stays} of the tank sprayed {day_of(found.entry)} stays in the sump ({held})."
    apart = must_not_meet(result)
    clouds = result.clouds is not None and result.clouds >= max(THRESHOLD, result.alone + THRESHOLD)
    if clouds:
        apart.append(_where_they_meet(result))
    needed = "Rinse" if apart else "If it must go, rinse"
    often = "" if result.rinses is None else f"{needed} {_times(result.rinses)} first"
    if often and result.rinse_L is not None:
        often += f", {format_volume(result.rinse_L, units)} of clean water each"
    said = [words, f"{often}." if often else "", "" if apart else "It may meet this mix."]
    kind = "stop" if result.stops is not None or result.rules else ""
    return Block("Before you fill", [" ".join(s for s in said if s)], apart, kind=kind)


def _times(number: int) -> str:
    return {1: "once", 2: "twice"}.get(number, f"{number} times")


def must_not_meet(result: Rinsing) -> list[str]:
    """Rules and gases of the two together that neither has alone."""
    if result.stops is not None:
        return [f"{STOP_WORDS[result.stops][0]}."]
    told = [rule_sentence(r, result.meets) + "." for r in result.rules if r.severity != "mind"]
    told += [gas_sentence(g, result.meets) for g in result.gases]
    told += [rule_sentence(r, result.meets) + "." for r in result.rules if r.severity == "mind"]
    return list(dict.fromkeys(capital(t) for t in told))


def _answer(result: Rinsing, units: Units) -> list[str]:
    water = "a tenth of the tank"
    if result.rinse_L is not None:
        water = format_volume(result.rinse_L, units)
    if result.rinses is not None:
        often = f"Rinse {_times(result.rinses)} with {water} of clean water"
    else:
        least, most = result.by_sump[0][1], result.by_sump[-1][1]
        often = f"Rinse {least} to {most} times with {water} of clean water"
    lines = [f"{often}: then a hundredth of it is left."]
    if result.stops is not None or any(r.severity == "never" for r in result.rules):
        lines.insert(0, "These two must never meet: toxic gas.")
    return lines


def _where_they_meet(result: Rinsing) -> str:
    if result.clouds is None:
        return "Not even a trace of one may stand when the other comes."
    if result.clouds < THRESHOLD:
        return (
            f"In equal parts in a hose they stay clear for 15 minutes: {odds(1 - result.clouds)}."
        )
    what = f", {result.culprit}" if result.culprit else ""
    text = f"In equal parts in a hose solids show within 15 minutes: {odds(result.clouds)}{what}."
    if result.alone >= THRESHOLD:
        text += f" One of the two does so by itself: {odds(result.alone)}."
    return text


def _how_often(result: Rinsing, units: Units) -> list[str]:
    if result.rinses is not None and result.sump_L is not None and result.rinse_L is not None:
        left = (result.sump_L / (result.sump_L + result.rinse_L)) ** result.rinses
        return [
            f"{format_volume(result.sump_L, units)} stays: each rinse leaves "
            f"{100 * result.sump_L / (result.sump_L + result.rinse_L):.0f} % of what was there, "
            f"{result.rinses} of them {100 * left:.2g} %."
        ]
    text = "; ".join(f"{100 * share:.0f} % of the tank: {n}" for share, n in result.by_sump)
    return [
        f"By what stays in sump and hoses, which nobody measured: {text}. Measure it: `--sump`."
    ]


def rinse_json(result: Rinsing, units: Units = "both") -> str:
    """The JSON object."""
    return as_json(
        contract.Rinse(
            before=result.before.name,
            after=result.after.name,
            refused=result.stops
            or next((r.code for r in result.rules if r.severity == "never"), None),
            must_not_meet=must_not_meet(result),
            clouds=result.clouds,
            culprit=result.culprit,
            residue=CLEAN,
            rinse_litres=result.rinse_L,
            rinse_share=RINSE_SHARE,
            sump_litres=result.sump_L,
            rinses=result.rinses,
            by_sump=[contract.SumpEntry(share=s, rinses=n) for s, n in result.by_sump],
            sentence=" ".join(_answer(result, units)),
            draws=result.draws,
            seed=result.seed,
        )
    )
