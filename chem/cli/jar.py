"""`jarsight jar`: the jar-test sheet."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from chem.cli.answer import Answering, answers

if TYPE_CHECKING:
    from chem.forecast import Forecast


@answers()
def jar_command(
    asked: Answering,
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
) -> None:
    """The jar-test sheet at the sprayer's own ratio."""
    from chem.units import read_volume

    size_mL = 1000.0 * read_volume(size, "command line, --size")
    _only_one(jars, ladder, order)
    known, units = asked.known, asked.units
    study = known.study

    def number_of(result: Forecast) -> str | None:
        return known.number_for(result.mix, result.refused)

    number: str | None = None
    if ladder is not None:
        from chem.advice.agents import choose_agent
        from chem.advice.ladder import ladder as plan
        from chem.sheets.ladder import ladder_json, ladder_sheet

        reagent = choose_agent(ladder, beside=asked.beside)
        climbed = plan(asked.mix, reagent, size_mL=size_mL, study=study)
        number = None if climbed.refused else number_of(climbed.jar.forecast)
        sheet = partial(ladder_sheet, climbed, units, number)
        told = partial(ladder_json, climbed, units, number, asked.learned)
    elif jars is not None:
        from chem.advice.jar import strip
        from chem.sheets.jars import jars_json, jars_sheet

        several = strip(asked.mix, jars, size_mL=size_mL, study=study)
        numbers = [number_of(jar.forecast) for jar in several.jars]
        sheet = partial(jars_sheet, several, units, numbers)
        told = partial(jars_json, several, units, numbers, asked.learned)
    else:
        from chem.advice.jar import jar
        from chem.sheets.jar import jar_sheet
        from chem.sheets.jar_data import jar_json

        one = jar(asked.mix, size_mL=size_mL, order=order, study=study)
        number = number_of(one.forecast)
        sheet = partial(jar_sheet, one, units, number)
        told = partial(jar_json, one, units, number, asked.learned)

    asked.give(asked.noted(sheet), told, number=lambda: number)


def _only_one(jars: str | None, ladder: str | None, order: str) -> None:
    """Raises: InputProblem where two are asked for that don't go together."""
    from chem.errors import InputProblem, Problem

    given = (("--jars", jars), ("--ladder", ladder), ("--order best", order == "best"))
    asked = [name for name, on in given if on]
    if len(asked) > 1:
        both = " and ".join(asked)
        raise InputProblem(
            Problem(f"command line, {both}", "one sheet at a time", f"{asked[0]} alone")
        )
