"""The sheet of adjuvants: which a tank suits, and what would make it suit the others."""

from __future__ import annotations

from chem.advice.agents import LICENCE
from chem.advice.suited import SuitedTo, Suiting
from chem.forecast import ALWAYS, JAR_DECIDES, broken
from chem.sheets.as_json import as_json
from chem.sheets.blocks import Block, Sheet
from chem.sheets.contract import advice as contract
from chem.sheets.contract.parts import RangeEntry
from chem.sheets.forecast import NEVER
from chem.sheets.ph import STRIP_TEST, UNSUITED
from chem.sheets.rules import (
    evolved_entries,
    evolved_sentence,
    forbids,
    minds,
    rule_next,
    rules_json,
)
from chem.sheets.window import window_entry, window_sentence
from chem.sheets.words import odds
from chem.units import Units, format_mass, format_volume

NO_DOSE = {
    **UNSUITED,
    "gas": "it would free a toxic gas",
    "forbidden": "a label in the tank forbids it",
    "never": "this tank must never be poured",
}
ASK = "A pH window that is not in a file is not guessed: read it on the label."


def suited_sheet(result: Suiting, units: Units = "both") -> Sheet:
    """Each adjuvant's odds at filling and by 4 h, and the smallest dose that makes it likely."""
    own, others = result.adjuvants[: result.in_mix], result.adjuvants[result.in_mix :]
    blocks = [
        Block(
            "A rule is broken",
            items=[f"{r[0].upper()}{r[1:]}." for r in forbids(result.rules, result.mix)],
        ),
        Block(
            "Do this next",
            [rule_next(broken(result.rules)[0], result.mix, units)] if broken(result.rules) else [],
        ),
        Block("Gas or heat", items=[evolved_sentence(g, result.mix) for g in result.gases]),
        Block("In this mix", items=[adjuvant_sentence(a, result, units) for a in own]),
        Block("On the shelf", items=[adjuvant_sentence(a, result, units) for a in others]),
        Block("Mind", [ASK, "Only the pH window is judged, not the adjuvant itself."]),
        Block("Always", items=[*minds(result.rules, result.mix), *ALWAYS]),
        Block("", [STRIP_TEST, JAR_DECIDES]),
    ]
    kept = [b for b in blocks if b.paragraphs or b.items]
    return Sheet(f"{result.mix.name}: adjuvants", _answer(result), kept)


def _answer(result: Suiting) -> list[str]:
    lines = [NEVER] if result.refused else []
    if not result.adjuvants:
        none = "No adjuvant in this mix or your shed"
        return [*lines, f"{none}: name a pH with `--to`, or a shelf with `--in`."]
    ph = result.ph
    lines.append(f"pH about {ph.median:.1f}, likely {ph.p05:.1f} to {ph.p95:.1f}.")
    likely = [a for a in result.adjuvants if a.dose_g_per_L == 0.0]
    lines.append(f"Suits {len(likely)} of {len(result.adjuvants)}: at least 9 in 10 at filling.")
    return lines


def adjuvant_sentence(one: SuitedTo, result: Suiting, units: Units) -> str:
    """An adjuvant's window, its odds, the dose that makes it likely, and what else would."""
    also = [_with_agent(other, "", result, units).strip() for other in one.also]
    return " ".join([_with_agent(one, window_sentence(one.found), result, units), *also])


def _with_agent(one: SuitedTo, text: str, result: Suiting, units: Units) -> str:
    if one.cause == "unknown" or one.dose_g_per_L == 0.0:
        return text
    name = one.reagent.own_form if one.reagent is not None else "An acid or base"
    if one.dose_g_per_L is None:
        return f"{text} No dose of {name}: {NO_DOSE[one.cause]}."
    assert one.reagent is not None and one.at_dose is not None and one.at_dose_4h is not None
    tank = result.mix.tank_L
    kg = one.dose_g_per_L * (tank or 1.0) / 1000.0
    amount = (
        format_mass(kg, units)
        if one.density_kg_per_L is None
        else format_volume(kg / one.density_kg_per_L, units)
    )
    where = format_volume(tank, units) if tank else "each litre"
    text += f" With {amount} of {name} in {where}: {odds(one.at_dose)}, {odds(one.at_dose_4h)} by"
    text += " 4 hours."
    agent = one.reagent.agent
    return f"{text} {LICENCE}" if agent is not None and agent.named_only else text


def suited_json(result: Suiting, units: Units = "both") -> str:
    """The JSON object: every adjuvant with its odds and dose."""
    return as_json(
        contract.Adjuvants(
            mix=result.mix.name,
            ph=RangeEntry.of(result.ph),
            adjuvants=[
                contract.AdjuvantEntry(
                    **window_entry(a.found).model_dump(),
                    in_mix=k < result.in_mix,
                    agent=None if a.reagent is None else a.reagent.name,
                    dose_g_per_L=a.dose_g_per_L,
                    suited_at_dose=a.at_dose,
                    suited_at_dose_4h=a.at_dose_4h,
                    because=a.cause or None,
                    sentence=adjuvant_sentence(a, result, units),
                    other_agents=[
                        contract.AgentDose(
                            agent=o.reagent.name,
                            dose_g_per_L=o.dose_g_per_L,
                            suited_at_dose=o.at_dose,
                            suited_at_dose_4h=o.at_dose_4h,
                            because=o.cause or None,
                        )
                        for o in a.also
                        if o.reagent is not None
                    ],
                )
                for k, a in enumerate(result.adjuvants)
            ],
            gases=evolved_entries(result.gases, result.mix),
            **rules_json(result.rules, result.mix, result.refused),
            draws=result.draws,
            seed=result.seed,
        )
    )
