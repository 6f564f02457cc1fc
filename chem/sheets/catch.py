"""The sheet of a catch test."""

from __future__ import annotations

from typing import Any

from chem.files.table import figure
from chem.sheets.as_json import as_json
from chem.sheets.blocks import Block, Sheet
from chem.sheets.contract import tank as contract
from chem.tank.catch import CatchTest
from chem.units import Units, format_carrier

L_PER_HA_OF_GPA = 9.353958  # one US gallon per acre, from exact definitions (NIST HB 44, app. C)
L_PER_HA = 1e4


def catch_sheet(result: CatchTest, file: str | None, units: Units = "both") -> Sheet:
    """Spray volume first, with its error; nozzles that stand out; where it was written."""
    spread = 100.0 * result.relative_error
    answer = [
        f"Spray volume {format_carrier(result.carrier_L_per_m2, units)}, "
        f"good to about {spread:.0f} %."
    ]
    blocks = [
        Block(
            "The same in other units",
            rows=[
                ("gal/1000 sq ft", "gal/acre", "L/ha", "L/100 m2"),
                (
                    f"{result.carrier_L_per_m2 * L_PER_HA / L_PER_HA_OF_GPA / 43.56:.3g}",
                    f"{result.carrier_L_per_m2 * L_PER_HA / L_PER_HA_OF_GPA:.3g}",
                    f"{result.carrier_L_per_m2 * L_PER_HA:.3g}",
                    f"{result.carrier_L_per_m2 * 100:.3g}",
                ),
            ],
        )
    ]
    if result.uneven:
        blocks.append(
            Block(
                "Clean or change these nozzles",
                items=[f"nozzle {i + 1}: {100 * d:+.0f} % off the mean" for i, d in result.uneven],
            )
        )
    step = (
        f'Name it in a mix: carrier = "{file}".'
        if file
        else "Write it in the mix as carrier; --out FILE keeps it as a file."
    )
    blocks.append(
        Block("Do this next", [step, "Calibrate with plain water, each season."], kind="next")
    )
    return Sheet("Catch test", answer, blocks)


def catch_figures(result: CatchTest) -> dict[str, Any]:
    """What a sprayer's file has of it."""
    return {
        "carrier": f"{L_PER_HA * result.carrier_L_per_m2:.4g} L/ha",
        "error_percent": figure(f"{100.0 * result.relative_error:.2g}"),
    }


def catch_json(result: CatchTest) -> str:
    """One object."""
    return as_json(
        contract.Calibrate(
            carrier_L_per_m2=result.carrier_L_per_m2,
            carrier_L_per_ha=result.carrier_L_per_m2 * L_PER_HA,
            relative_error=result.relative_error,
            uneven=[contract.UnevenNozzle(nozzle=i + 1, deviation=d) for i, d in result.uneven],
        )
    )
