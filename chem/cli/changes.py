"""`jarsight fix`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

SHED = "In the shed"


def add_to(app: typer.Typer) -> None:
    """Register the command."""

    @app.command("fix", rich_help_panel=SHED)
    def fix_command(
        mix: Annotated[Path, typer.Argument(metavar="MIX", help="A mix file.")],
        judged_at: Annotated[
            Literal["15min", "4h", "24h"],
            typer.Option("--for", help="How long it must stay clear."),
        ] = "4h",
        shelf: Annotated[
            Path | None,
            typer.Option("--in", metavar="DIR", help="Products that may stand in for another."),
        ] = None,
        agents: Annotated[
            list[str] | None,
            typer.Option(
                "--with",
                metavar="AGENT",
                help="An acid or base that may be tried, strong ones only if named here; repeat "
                "for more (default citric acid, potassium bicarbonate).",
            ),
        ] = None,
        as_json: Annotated[bool, typer.Option("--json", help="Print the JSON object.")] = False,
        units: Annotated[
            Literal["us", "metric", "both"], typer.Option(help="Units on the sheet.")
        ] = "both",
        draws: Annotated[int, typer.Option(min=16, max=20000, help="Versions tried.")] = 256,
        seed: Annotated[int, typer.Option(min=0, help="Seed of the draws.")] = 1,
    ) -> None:
        """The smallest changes that keep it clear."""
        from chem.advice.agents import choose_agent
        from chem.advice.fix import fix
        from chem.label import read_shelf
        from chem.sheets.blocks import as_text
        from chem.sheets.fix import fix_json, fix_sheet
        from chem.tank import read_mix

        result = fix(
            read_mix(mix),
            judged_at=judged_at,
            count=draws,
            seed=seed,
            shelf=read_shelf(shelf) if shelf is not None else None,
            agents=[choose_agent(name, beside=mix.parent) for name in agents] if agents else None,
        )
        typer.echo(
            fix_json(result, units) if as_json else as_text(fix_sheet(result, units)), nl=as_json
        )
