"""`jarsight jar`: the jar-test sheet."""

from __future__ import annotations

from functools import partial
from typing import Annotated, Literal

import typer

from chem.cli.answer import give
from chem.cli.options import (
    DrawsOption,
    HtmlOption,
    JsonOption,
    MixArgument,
    SeedOption,
    UnitsOption,
)


def jar_command(
    mix: MixArgument,
    size: Annotated[str, typer.Option(help='The jar: "1 qt", "500 mL".')] = "1 qt",
    order: Annotated[
        Literal["asked", "best"], typer.Option(help="The mix's own pouring order, or the best.")
    ] = "asked",
    html: HtmlOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = "both",
    draws: DrawsOption = 256,
    seed: SeedOption = 1,
) -> None:
    """The jar-test sheet at the sprayer's own ratio."""
    from chem.advice.jar import jar
    from chem.sheets.jar import jar_json, jar_sheet
    from chem.tank import read_mix
    from chem.units import read_volume

    millilitres = 1000.0 * read_volume(size, "command line, --size")
    result = jar(read_mix(mix), size_mL=millilitres, order=order, count=draws, seed=seed)
    give(partial(jar_sheet, result, units), partial(jar_json, result, units), as_json, html)
