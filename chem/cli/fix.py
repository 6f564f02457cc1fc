"""`jarsight fix`: the smallest changes that keep it clear."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from chem.cli.answer import give
from chem.cli.options import (
    DrawsOption,
    ForOption,
    HtmlOption,
    JsonOption,
    MixArgument,
    SeedOption,
    UnitsOption,
)


def fix_command(
    mix: MixArgument,
    judged_at: ForOption = "4h",
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
    html: HtmlOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = "both",
    draws: DrawsOption = 256,
    seed: SeedOption = 1,
) -> None:
    """The smallest changes that keep it clear."""
    from chem.advice.agents import choose_agent
    from chem.advice.fix import fix
    from chem.label import read_shelf
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
    give(partial(fix_sheet, result, units), partial(fix_json, result, units), as_json, html)
