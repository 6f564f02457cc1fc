"""`jarsight jar`: the jar-test sheet."""

from __future__ import annotations

from functools import partial
from typing import Annotated, Literal

import typer

from chem.cli.answer import give
from chem.cli.mixes import Asked, takes_mix
from chem.cli.options import (
    DrawsOption,
    HtmlOption,
    JsonOption,
    NoNotebookOption,
    NotebookOption,
    SeedOption,
    UnitsOption,
)


@takes_mix
def jar_command(
    asked: Asked,
    size: Annotated[str, typer.Option(help='The jar: "1 qt", "500 mL".')] = "1 qt",
    order: Annotated[
        Literal["asked", "best"], typer.Option(help="The mix's own pouring order, or the best.")
    ] = "asked",
    html: HtmlOption = None,
    notebook: NotebookOption = None,
    no_notebook: NoNotebookOption = False,
    as_json: JsonOption = False,
    units: UnitsOption = "both",
    draws: DrawsOption = 256,
    seed: SeedOption = 1,
) -> None:
    """The jar-test sheet at the sprayer's own ratio."""
    from chem.advice.jar import jar
    from chem.cli.noting import known_of
    from chem.sheets.jar import jar_json, jar_sheet
    from chem.units import read_volume

    millilitres = 1000.0 * read_volume(size, "command line, --size")
    wanted = asked.mix
    known = known_of(asked.path or asked.beside, notebook, no_notebook, draws, seed)
    result = jar(wanted, size_mL=millilitres, order=order, study=known.study)
    number = None if result.forecast.refused else known.number_for(result.forecast.mix)
    give(
        partial(jar_sheet, result, units, number),
        partial(jar_json, result, units, number),
        as_json,
        html,
    )
