"""The sheet of an acid ladder: a jar of the mix, a thin stock, a millilitre at a time."""

from __future__ import annotations

from chem.advice.agents import LICENCE
from chem.advice.ladder import STEP_ML, STOCK, Ladder, Rung
from chem.forecast import broken
from chem.notebook.tried import Told
from chem.sheets.as_json import as_json
from chem.sheets.blocks import BLANK, Block, Sheet
from chem.sheets.contract import tank as contract
from chem.sheets.contract.parts import RangeEntry
from chem.sheets.forecast import answer_lines
from chem.sheets.jar import (
    CANT_SAY,
    METER,
    amounts,
    between,
    cautions,
    first,
    fumes,
    notes,
    ph_expected,
    poured_names,
    size_text,
    whole,
    write_here,
)
from chem.sheets.jar_data import jar_entry
from chem.sheets.rules import evolved_sentence, forbids, rule_next, rule_sentence, rules_json
from chem.units import Units, format_mass, format_volume

STOCK_ML = 100.0


def ladder_sheet(result: Ladder, units: Units = "both", number: str | None = None) -> Sheet:
    """What to make up, each step with the dose it stands for, and room for what is read."""
    jar, mix = result.jar, result.jar.forecast.mix
    agent = result.reagent.own_form
    heading = f"Ladder of {agent}: {mix.name}"
    if result.refused:
        told = [f"{r[0].upper()}{r[1:]}." for r in forbids(result.rules, result.ruled)]
        do = rule_next(broken(result.rules)[0], result.ruled, units)
        blocks = [
            Block("Never in one tank", items=told, kind="stop"),
            Block("Do this next", [do], kind="next"),
        ]
        answer = [f"Toxic gas: no ladder, no jar. Never {agent} in this mix."]
        return whole(heading, answer, blocks, cautions(jar))
    gas = [evolved_sentence(g, result.dosed) for g in result.gases]
    gas = list(dict.fromkeys([*fumes(jar), *gas]))
    blocks = [
        *first(jar.forecast, units),
        Block("Gas or heat", items=gas, kind="gas"),
        Block("Make the stock", stock_text(result)),
        Block("Make the jar", [f"{size_text(jar)}. {between(jar)}"], items=amounts(jar, units)),
        Block("", notes(jar, units)),
        Block(
            "The ladder",
            [
                f"Add {STEP_ML:g} mL of stock at a time, stir, wait a minute, read the pH, look. "
                "Stop at the pH you want, at the first haze, or where it fizzes. "
                "Where no range is told, the labels can't say."
            ],
            rows=_rows(result, units),
        ),
        Block("pH", [METER]),
        write_here(number, [poured_names(jar), [agent]]),
        Block("Mind", items=_minded(result)),
        Block("Then", _then(result)),
    ]
    answer = [_answer(result), *answer_lines(jar.forecast)]
    return whole(heading, answer, blocks, cautions(jar))


def _answer(result: Ladder) -> str:
    first_, last = result.rungs[0].ph, result.rungs[-1].ph
    if first_ is None or last is None:
        return "What the acid does here can't be said: read it."
    stock = f"{result.rungs[-1].stock_mL:g} mL of stock"
    ends = [ph_expected(first_), ph_expected(last)]
    if CANT_SAY in ends:
        return f"Where {stock} take this jar: {CANT_SAY}."
    return f"{stock[0].upper()}{stock[1:]} should take this jar from pH {ends[0]} to pH {ends[1]}."


def stock_text(result: Ladder) -> list[str]:
    """How the stock is made, in order."""
    unit = "g" if result.reagent.dry else "mL"
    how = (
        f"{STOCK * STOCK_ML:g} {unit} of {result.reagent.own_form} into about "
        f"{0.8 * STOCK_ML:g} mL of clean water, stirred, then water to {STOCK_ML:g} mL: 1 mL "
        f"holds {STOCK:g} {unit}."
    )
    kind = "the acid into the water, never the water into the acid"
    care = f"Goggles and gloves; {kind}." if result.reagent.acid else "Goggles and gloves."
    return [how, f"{care} Label it, and keep it for today only."]


def _rows(result: Ladder, units: Units) -> list[tuple[str, ...]]:
    where = "the tank" if result.jar.forecast.mix.tank_L else "a litre"
    rows: list[tuple[str, ...]] = [("mL", f"is in {where}", "expected", "pH read", "look")]
    for rung in result.rungs:
        expected = CANT_SAY if rung.ph is None else ph_expected(rung.ph)
        expected = expected.removeprefix("can't say: ")
        rows.append((f"{rung.stock_mL:g}", rung_text(result, rung, units), expected, BLANK, BLANK))
    return rows


def rung_text(result: Ladder, rung: Rung, units: Units) -> str:
    """What a step is in the tank, in the agent's own form."""
    if rung.stock_mL == 0.0:
        return "none"
    amount = rung.in_tank / 1000.0
    return format_mass(amount, units) if result.reagent.dry else format_volume(amount, units)


def _then(result: Ladder) -> list[str]:
    """Only an agent is named so; a product by its file."""
    if result.reagent.agent is None:
        return []
    file = result.jar.forecast.mix.file
    return [f'jarsight ph {file} --to PH --with "{result.reagent.name}"']


def _minded(result: Ladder) -> list[str]:
    agent, out = result.reagent.agent, []
    if agent is not None and agent.named_only:
        out.append(LICENCE)
    out += [f"{rule_sentence(r, result.dosed)}." for r in result.minded.rules]
    if agent is not None:
        out += [*agent.care, f"{agent.key[0].upper()}{agent.key[1:]}: {agent.hazard_class}."]
    if result.reagent.taken:
        out.append(result.reagent.taken)
    if result.reagent.acid:
        out.append("In the tank it goes in alone, into at least half the water, stirring.")
    return list(dict.fromkeys(out))


def ladder_json(
    result: Ladder, units: Units = "both", number: str | None = None, told: Told | None = None
) -> str:
    """The JSON object of the jar, the ladder in it; without steps where it must never be poured."""
    unit = "g" if result.reagent.dry else "mL"
    steps = [
        contract.RungEntry(
            stock_mL=rung.stock_mL,
            in_tank=rung.in_tank,
            unit=unit,
            text=rung_text(result, rung, units),
            ph=RangeEntry.known(rung.ph),
        )
        for rung in result.rungs
    ]
    entry = contract.LadderEntry(
        agent=result.reagent.name,
        form=result.reagent.form,
        stock=stock_text(result) if steps else [],
        steps=steps,
    )
    own = jar_entry(result.jar, units, number, told, ladder=entry)
    ruling = rules_json(result.rules, result.ruled, result.refused)
    return as_json(own.model_copy(update=dict(ruling)))
