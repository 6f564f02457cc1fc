"""`jarsight fix`: the smallest changes that keep it clear."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from chem.cli.answer import give
from chem.cli.mixes import Asked, take, takes_mix
from chem.cli.options import (
    DrawsOption,
    ForOption,
    HtmlOption,
    JsonOption,
    NoNotebookOption,
    NotebookOption,
    SeedOption,
    UnitsOption,
)
from chem.cli.owned import own_waters


@takes_mix
def fix_command(
    asked: Asked,
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
    number: Annotated[
        int | None,
        typer.Option(
            "--take", metavar="N", min=1, help="Write the Nth change listed into the mix."
        ),
    ] = None,
    html: HtmlOption = None,
    notebook: NotebookOption = None,
    no_notebook: NoNotebookOption = False,
    as_json: JsonOption = False,
    units: UnitsOption = "both",
    draws: DrawsOption = 256,
    seed: SeedOption = 1,
) -> None:
    """The smallest changes that keep it clear."""
    from chem.advice.agents import choose_agent
    from chem.advice.fix import fix
    from chem.cli.noting import known_of
    from chem.errors import InputProblem, Problem
    from chem.label import read_shelf
    from chem.sheets.fix import fix_json, fix_sheet, listed_fixes

    known = known_of(asked.path or asked.beside, notebook, no_notebook, draws, seed)
    waters = own_waters(asked.beside)
    result = fix(
        asked.mix,
        judged_at=judged_at,
        study=known.study,
        shelf=read_shelf(shelf) if shelf is not None else None,
        waters=[water for _, water in waters],
        agents=[choose_agent(name, beside=asked.beside) for name in agents] if agents else None,
    )
    if number is not None:
        listed = listed_fixes(result)
        if number > len(listed) or len(listed[number - 1].mixes) != 1:
            wrong = f"change {number} is none that one mix file can hold" if listed else "no change"
            instead = f"1 to {len(listed)}, a change within one tank" if listed else "no --take"
            raise InputProblem(Problem("command line, --take", wrong, instead))
        taken = listed[number - 1]
        other = next((path for path, water in waters if water is taken.other), None)
        take(asked, taken.mixes[0], taken.reagent, water=(other, taken.factor or 0.0))
    own = partial(known.number_for, asked.mix, result.refused)
    sheet, told = partial(fix_sheet, result, units), partial(fix_json, result, units)
    give(sheet, told, as_json, html, number=own)
