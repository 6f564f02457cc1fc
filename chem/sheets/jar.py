"""The jar-test sheet: one page to take outside and write on."""

from __future__ import annotations

import json

from chem.advice.jar import Jar
from chem.forecast import JAR_DECIDES, SEEN_WORDS
from chem.sheets.blocks import Block, Sheet
from chem.sheets.forecast import answer_lines
from chem.units import Units, format_temperature


def jar_sheet(result: Jar, units: Units = "both") -> Sheet:
    """What to measure, when to look, what to write down."""
    mix = result.forecast.mix
    amounts = [f"{i} {step.product}: {step.text}" for i, step in enumerate(result.steps, start=1)]
    low, high = result.ph
    blocks = [
        Block(
            "Measure",
            [
                f"{result.jar_mL:.0f} mL in a clear jar of {result.vessel_mL:.0f} mL or more, at "
                f"the sprayer's own ratio, with the tank's own water, at "
                f"{format_temperature(mix.t_celsius, units)}.",
                *result.notes,
            ],
            items=amounts,
        ),
        Block("Look", items=[f"{_when(look.minutes)}: {look.what}" for look in result.looks]),
        Block("Fine or not", [result.fine]),
        Block("pH", [f"A strip should read {low:.1f} to {high:.1f}."]),
        Block(
            "Write down",
            items=[
                "date, products with lot numbers, water, temperature, order, times",
                "at each look: " + ", ".join(SEEN_WORDS) + "; does it go back when stirred; pH",
                "then: jarsight saw MIX",
            ],
        ),
        Block("Always", items=result.cautions),
        Block("", [JAR_DECIDES]),
    ]
    return Sheet(f"Jar test: {mix.name}", answer_lines(result.forecast), blocks)


def _when(minutes: float) -> str:
    if minutes == 0.0:
        return "At once"
    return f"After {minutes:.0f} min" if minutes < 60.0 else f"After {minutes / 60.0:.0f} h"


def jar_json(result: Jar) -> str:
    """The JSON object of the contract."""
    return json.dumps(
        {
            "mix": result.forecast.mix.name,
            "jar_mL": result.jar_mL,
            "vessel_mL": result.vessel_mL,
            "steps": [
                {
                    "product": s.product,
                    ("amount_g" if s.by_mass else "amount_mL"): s.amount,
                    "text": s.text,
                }
                for s in result.steps
            ],
            "look": [{"minutes": look.minutes, "for": look.what} for look in result.looks],
            "ph": {"p05": result.ph[0], "p95": result.ph[1]},
            "cautions": list(result.cautions),
            "notes": list(result.notes),
            "scale": result.scale,
        },
        indent=2,
    )
