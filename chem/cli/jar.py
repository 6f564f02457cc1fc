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
    jars: Annotated[
        Literal["rates", "orders"] | None,
        typer.Option(help="Several side by side: half, once and twice the rates, or both orders."),
    ] = None,
    ladder: Annotated[
        str | None,
        typer.Option(
            metavar="AGENT",
            help='An acid or base a millilitre at a time, the pH read after each: "citric acid".',
        ),
    ] = None,
    html: HtmlOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = "both",
    draws: DrawsOption = 256,
    seed: SeedOption = 1,
) -> None:
    """The jar-test sheet at the sprayer's own ratio."""
    from chem.forecast import Study
    from chem.tank import read_mix
    from chem.units import read_volume

    size_mL = 1000.0 * read_volume(size, "command line, --size")
    study = Study(draws, seed)
    _only_one(jars, ladder, order)
    if ladder is not None:
        from chem.advice.agents import choose_agent
        from chem.advice.ladder import ladder as plan
        from chem.sheets.ladder import ladder_json, ladder_sheet

        climbed = plan(
            read_mix(mix), choose_agent(ladder, beside=mix.parent), size_mL=size_mL, study=study
        )
        sheet, told = partial(ladder_sheet, climbed, units), partial(ladder_json, climbed, units)
    elif jars is not None:
        from chem.advice.jar import strip
        from chem.sheets.jars import jars_json, jars_sheet

        several = strip(read_mix(mix), jars, size_mL=size_mL, study=study)
        sheet, told = partial(jars_sheet, several, units), partial(jars_json, several, units)
    else:
        from chem.advice.jar import jar
        from chem.sheets.jar import jar_json, jar_sheet

        one = jar(read_mix(mix), size_mL=size_mL, order=order, study=study)
        sheet, told = partial(jar_sheet, one, units), partial(jar_json, one, units)
    give(sheet, told, as_json, html)


def _only_one(jars: str | None, ladder: str | None, order: str) -> None:
    """Raises: InputProblem where two are asked for that don't go together."""
    from chem.errors import InputProblem, Problem

    asked = [
        name
        for name, on in (("--jars", jars), ("--ladder", ladder), ("--order best", order == "best"))
        if on
    ]
    if len(asked) > 1:
        both = " and ".join(asked)
        raise InputProblem(
            Problem(f"command line, {both}", "one sheet at a time", f"{asked[0]} alone")
        )
