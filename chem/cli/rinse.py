"""`jarsight rinse`: from one tank to the next."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from chem.cli.answer import give
from chem.cli.options import (
    DrawsOption,
    HtmlOption,
    JsonOption,
    NoNotebookOption,
    NotebookOption,
    SeedOption,
    UnitsOption,
)

if TYPE_CHECKING:
    from chem.tank import Mix


def rinse_command(
    before: Annotated[
        Path | None,
        typer.Argument(metavar="FROM", help="The mix that was sprayed: a file, a sheet's number."),
    ] = None,
    after: Annotated[
        Path | None, typer.Argument(metavar="TO", help="The mix that comes next, likewise.")
    ] = None,
    had: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME=RATE", help="In place of FROM: a product that was in it."),
    ] = None,
    add: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME=RATE", help="In place of TO: a product that goes in next."),
    ] = None,
    carrier: Annotated[
        str | None, typer.Option(help='Spray volume of a quick mix: "2 gal/1000 sq ft".')
    ] = None,
    tank: Annotated[str | None, typer.Option(help='Tank of a quick mix: "50 gal".')] = None,
    water: Annotated[str | None, typer.Option(help="Water file of a quick mix.")] = None,
    sump: Annotated[
        str | None,
        typer.Option(help='What stays in sump and hoses once drained: "1 gal".'),
    ] = None,
    html: HtmlOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = "both",
    notebook: NotebookOption = None,
    no_notebook: NoNotebookOption = False,
    draws: DrawsOption = 64,
    seed: SeedOption = 1,
) -> None:
    """What must not meet in hose and sump, how many rinses."""
    from chem.advice.rinse import rinsing
    from chem.cli.mixes import asked_mix
    from chem.cli.noting import known_of
    from chem.errors import InputProblem, Problem
    from chem.sheets.rinse import rinse_json, rinse_sheet
    from chem.units import read_volume

    stays = None if sump is None else read_volume(sump, "command line, --sump")
    if had and after is None:
        before, after = None, before
    for name, file, quick in (("FROM", before, had), ("TO", after, add)):
        if (file is None) == (not quick):
            option = "--had" if name == "FROM" else "--add"
            wrong = f"{name} is named twice" if quick else f"{name} is not named"
            instead = f'a mix file, a sheet\'s number, or {option} "NAME=RATE" for each product'
            raise InputProblem(Problem("command line", wrong, instead))

    def mix_of(file: Path | None, quick: list[str] | None) -> Mix:
        if not quick:
            return asked_mix(file, notebook=notebook).mix
        return asked_mix(None, quick, carrier=carrier, tank=tank, water=water).mix

    earlier, later = mix_of(before, had), mix_of(after, add)
    known = known_of(after or Path(), notebook, no_notebook, draws, seed)
    result = rinsing(earlier, later, sump_L=stays, study=known.study)
    give(partial(rinse_sheet, result, units), partial(rinse_json, result, units), as_json, html)
