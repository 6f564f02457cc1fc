"""`jarsight why` and `jarsight pour`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

SHED = "In the shed"
_Mix = Annotated[Path, typer.Argument(metavar="MIX", help="A mix file.")]
_Json = Annotated[bool, typer.Option("--json", help="Print the JSON object instead.")]
_Units = Annotated[Literal["us", "metric", "both"], typer.Option(help="Units on the sheet.")]
_Draws = Annotated[
    int, typer.Option(min=16, max=20000, help="Versions of the tank that are tried.")
]
_Seed = Annotated[int, typer.Option(min=0, help="Seed of the draws.")]


def add_to(app: typer.Typer) -> None:
    """Register the commands."""
    app.command("why", rich_help_panel=SHED)(why_command)
    app.command("pour", rich_help_panel=SHED)(pour_command)


def why_command(
    mix: _Mix,
    judged_at: Annotated[
        Literal["15min", "4h", "24h"], typer.Option("--for", help="How long it must stay clear.")
    ] = "4h",
    as_json: _Json = False,
    units: _Units = "both",
    draws: _Draws = 256,
    seed: _Seed = 1,
) -> None:
    """What comes out, from whose ions, what holds it back."""
    from chem.advice.why import why
    from chem.sheets.blocks import as_text
    from chem.sheets.why import why_json, why_sheet
    from chem.tank import read_mix

    result = why(read_mix(mix), judged_at=judged_at, count=draws, seed=seed)
    typer.echo(why_json(result) if as_json else as_text(why_sheet(result, units)), nl=as_json)


def pour_command(
    mix: _Mix,
    as_json: _Json = False,
    units: _Units = "both",
    draws: _Draws = 64,
    seed: _Seed = 1,
) -> None:
    """The order least likely to cloud, step by step."""
    from chem.advice.pour import pour
    from chem.sheets.blocks import as_text
    from chem.sheets.pour import pour_json, pour_sheet
    from chem.tank import read_mix

    result = pour(read_mix(mix), count=draws, seed=seed)
    typer.echo(pour_json(result) if as_json else as_text(pour_sheet(result, units)), nl=as_json)
