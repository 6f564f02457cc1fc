"""`jarsight solution`: one solution as chemists write it."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from chem.cli.answer import give
from chem.cli.options import JsonOption
from chem.cli.referee import must_have_referee, tell_referee


def solution_command(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A solution file (TOML).")],
    saturate: Annotated[
        list[str] | None,
        typer.Option(metavar="SOLID", help="In unlimited excess; no other forms. Repeatable."),
    ] = None,
    let_settle: Annotated[
        bool, typer.Option("--settle", help="Let every prompt solid form.")
    ] = False,
    ph: Annotated[
        str | None, typer.Option(metavar="VALUE", help='A given pH, or "charge".')
    ] = None,
    temperature: Annotated[str | None, typer.Option(help='Try another: "10 C".')] = None,
    odds: Annotated[
        bool, typer.Option("--odds", help="Chance that solids show, from 1 min to 30 days.")
    ] = False,
    draws: Annotated[
        int, typer.Option(help="With --odds: how many draws.", min=1, max=20000)
    ] = 256,
    seed: Annotated[int, typer.Option(help="With --odds: where the draws start.", min=0)] = 1,
    everything: Annotated[
        bool, typer.Option("--all", help="Traces and far undersaturated solids as well.")
    ] = False,
    referee: Annotated[
        bool, typer.Option("--referee", help="Check our solver against PHREEQC.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """pH, species, activities and saturation of one solution."""
    from chem.laboratory import change_recipe, equilibrate, read_recipe, referee_solution
    from chem.sheets.laboratory import solution_json, solution_sheet

    if referee:
        must_have_referee()
    recipe = change_recipe(read_recipe(file), ph=ph, temperature=temperature)
    result = equilibrate(recipe, saturate=saturate or (), let_settle=let_settle)
    chances = None
    if odds:
        from chem.laboratory.odds import solution_odds

        chances = solution_odds(recipe, count=draws, seed=seed)
    give(
        partial(solution_sheet, result, chances, everything=everything),
        partial(solution_json, result, chances),
        as_json,
    )
    if referee:
        tell_referee(referee_solution(result))
