"""The sheet of changes that work."""

from __future__ import annotations

import json

from chem.advice.fix import Fix, Fixes
from chem.forecast import ALWAYS, JAR_DECIDES, THRESHOLD
from chem.sheets.blocks import Block, Sheet
from chem.sheets.words import TIME_WORDS, odds

TITLES = {
    "carrier": "More water",
    "rate": "Less of one product",
    "passes": "Two passes",
    "acid": "A mild acid",
    "base": "A mild base",
    "water": "Other water",
    "swap": "Another product",
}


def fix_sheet(result: Fixes) -> Sheet:
    """Answer first: the smallest change of each kind, with the odds that are left."""
    span = TIME_WORDS[result.judged_at]
    chance = result.probability[result.judged_at]
    if result.fixes:
        answer = [
            f"Solids within {span}: {odds(chance)}. {len(result.fixes)} "
            f"change{'s' if len(result.fixes) > 1 else ''} would keep it clear, each alone."
        ]
    elif chance < THRESHOLD and not result.label_forbids:
        answer = [f"Nothing to change: solids within {span} {odds(chance)}."]
    else:
        answer = [f"Solids within {span}: {odds(chance)}. {(result.because or '').capitalize()}."]
    broken = Block("A label's own rule is broken", items=result.label_forbids)
    blocks = [broken] if result.label_forbids else []
    blocks += [
        Block(
            TITLES[lever],
            items=[
                f"{f.sentence} Then solids within {span}: "
                f"{odds(f.probability_after[result.judged_at])}."
                for f in result.fixes
                if f.lever == lever
            ][:4],
        )
        for lever in dict.fromkeys(f.lever for f in result.fixes)
    ]
    if result.spray_within_minutes is not None and chance >= THRESHOLD:
        blocks.append(
            Block(
                "Or spray it at once",
                [f"Clear for about {_minutes(result.spray_within_minutes)}, then it shows."],
            )
        )
    step = "Try the change in a jar at the same ratio before the tank."
    blocks += [
        Block("Do this next", [step]),
        Block("Always", items=ALWAYS),
        Block("", [JAR_DECIDES]),
    ]
    return Sheet(f"{result.mix.name}: what would fix it", answer, blocks)


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
        }

    return json.dumps(
        {
            "mix": result.mix.name,
            "for": result.judged_at,
            "probability": result.probability,
            "fixes": [one(f) for f in result.fixes],
            "spray_within_minutes": result.spray_within_minutes,
            "because": result.because,
            "label_forbids": list(result.label_forbids),
            "draws": result.draws,
            "seed": result.seed,
        },
        indent=2,
    )
