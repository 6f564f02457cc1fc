"""The sheet for a tank that went wrong."""

from __future__ import annotations

import json

from chem.advice.diagnose import OF_SOLIDS, Diagnosis
from chem.forecast import ALWAYS, IF_IT_GOES_WRONG
from chem.sheets.blocks import Block, Sheet
from chem.sheets.words import odds


def diagnose_sheet(result: Diagnosis) -> Sheet:
    """What it is, what to try first in a jar, whether it may be sprayed, how to clean out."""
    if result.causes:
        first = result.causes[0]
        answer = [f"Most likely {first.sentence[0].lower()}{first.sentence[1:]}"]
        salt = "" if result.agrees else ", if it is a salt at all"
        answer.append(f"How sure: {odds(first.probability)}{salt}.")
    elif OF_SOLIDS & set(result.seen):
        answer = ["No salt or colloid of this mix should show: look for an emulsion or dirt."]
    else:
        answer = ["What you saw tells of no solid."]
    if not result.agrees:
        answer.append(
            "The model did not expect what you saw: a salt may not be the cause. A curd of pouring "
            "too fast may go back, stirred a quarter of an hour."
            if OF_SOLIDS & set(result.seen)
            else "The model expects solids by now: look again against the light."
        )
    answer += result.remarks
    blocks = [
        Block("Now", items=IF_IT_GOES_WRONG),
        Block(
            "It could also be",
            items=[f"{c.sentence} {_odds(c.probability)}." for c in result.causes[1:]],
        ),
        Block("Try, first in a jar of it", items=[t.sentence for t in result.tries]),
        Block(
            "May it still be sprayed",
            [f"Screens stay open: {odds(result.sprayable)}. Try a screen on a jar of it first."],
        ),
        Block("Clean out", [result.clean_out, "Rinsate back on a labelled site within its rate."]),
        Block("Always", items=ALWAYS),
        Block("", ["A model can be wrong: what the jar shows decides. Then: jarsight saw MIX."]),
    ]
    kept = [b for b in blocks if b.paragraphs or b.items]
    return Sheet(f"What went wrong: {result.mix.name}", answer, kept)


def _odds(chance: float) -> str:
    """A chance that begins a sentence."""
    text = odds(chance)
    return text[0].upper() + text[1:]


def diagnose_json(result: Diagnosis) -> str:
    """The JSON object of the contract."""
    return json.dumps(
        {
            "mix": result.mix.name,
            "seen": list(result.seen),
            "causes": [
                {"key": c.key, "probability": c.probability, "sentence": c.sentence}
                for c in result.causes
            ],
            "try": [
                {"what": t.what, "works": t.works, "sentence": t.sentence} for t in result.tries
            ],
            "sprayable": result.sprayable,
            "clean_out": result.clean_out,
            "remarks": list(result.remarks),
            "model_agrees": result.agrees,
            "draws": result.draws,
            "seed": result.seed,
        },
        indent=2,
    )
