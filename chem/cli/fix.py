"""`jarsight fix`: the smallest changes that keep it clear."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from chem.cli.answer import Answering, answers
from chem.cli.mixes import take
from chem.cli.options import ForOption
from chem.cli.owned import own_waters


@answers()
def fix_command(
    asked: Answering,
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
) -> None:
    """The smallest changes that keep it clear."""
    from chem.advice.agents import choose_agent
    from chem.advice.fix import fix
    from chem.errors import InputProblem, Problem
    from chem.label import read_shelf
    from chem.sheets.fix import fix_json, fix_sheet, listed_fixes

    waters = own_waters(asked.beside)
    result = fix(
        asked.mix,
        judged_at=judged_at,
        study=asked.known.study,
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
    own = partial(asked.known.number_for, asked.mix, result.refused)
    sheet = asked.noted(partial(fix_sheet, result, asked.units))
    asked.give(sheet, partial(fix_json, result, asked.units, asked.learned), number=own)
