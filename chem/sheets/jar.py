"""The jar-test sheet: one page to take outside and write on."""

from __future__ import annotations

import json

from chem.advice.jar import Jar
from chem.forecast import JAR_DECIDES, SEEN_WORDS
from chem.sheets.blocks import Block, Sheet
from chem.sheets.forecast import answer_lines
from chem.units import Units, format_temperature

SETTLED_PH = 0.2


def jar_sheet(result: Jar, units: Units = "both") -> Sheet:
    """What to measure, when to look, what to write down."""
    mix = result.forecast.mix
    amounts = [f"{i} {step.product}: {step.text}" for i, step in enumerate(result.steps, start=1)]
    low, high = result.ph
    scale = [] if result.scale is None else [f"Your tank is {_times(result.scale)} times this."]
    strip = f"A strip should read {low:.1f} to {high:.1f}."
    if abs(result.forecast.ph_settled - result.forecast.ph.median) > SETTLED_PH:
        strip = f"{strip[:-1]}, about {result.forecast.ph_settled:.1f} once solids are out."
    blocks = [
        Block(
            "Measure",
            [
                f"{result.jar_mL:.0f} mL in a clear jar of {result.vessel_mL:.0f} mL or more, at "
                f"the sprayer's own ratio, with the tank's own water, at "
                f"{format_temperature(mix.t_celsius, units)}.",
                *scale,
                result.order,
            ],
            items=amounts,
        ),
        Block("", [result.between, *result.notes]),
        Block("Gas or heat", items=result.fumes),
        Block("Look", items=[f"{_when(look.minutes)}: {look.what}" for look in result.looks]),
        Block("Fine or not", [result.fine]),
        Block("pH", [strip]),
        Block(
            "Write down",
            items=[
                "date, products with lot numbers, water, temperature, order",
                "at each look: " + ", ".join(SEEN_WORDS) + "; does it go back when stirred; pH",
                f"then: jarsight saw {mix.file}",
            ],
        ),
        Block("Always", items=result.cautions),
        Block("", [JAR_DECIDES]),
    ]
    kept = [b for b in blocks if b.paragraphs or b.items]
    return Sheet(f"Jar test: {mix.name}", answer_lines(result.forecast), kept)


def _times(scale: float) -> str:
    return f"{scale:.0f}" if scale >= 100.0 else f"{scale:.3g}"


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
            "order": result.order,
            "steps": [
                {
                    "product": s.product,
                    ("amount_g" if s.by_mass else "amount_mL"): s.amount,
                    "text": s.text,
                }
                for s in result.steps
            ],
            "look": [{"minutes": look.minutes, "for": look.what} for look in result.looks],
            "between": result.between,
            "fine": result.fine,
            "gases": list(result.fumes),
            "ph": {"p05": result.ph[0], "p95": result.ph[1]},
            "cautions": list(result.cautions),
            "notes": list(result.notes),
            "scale": result.scale,
        },
        indent=2,
    )
