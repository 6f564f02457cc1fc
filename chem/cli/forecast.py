"""`jarsight forecast`: will it stay clear? The main job."""

from __future__ import annotations

from functools import partial
from typing import Annotated

import typer

from chem.cli.answer import give, write_page
from chem.cli.mixes import Asked, takes_mix
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
from chem.cli.referee import must_have_referee, tell_referee
from chem.cli.saying import say


@takes_mix
def forecast_command(
    asked: Asked,
    judged_at: ForOption = "4h",
    read: Annotated[
        str | None, typer.Option(help="A pH read in the full tank: what explains it?")
    ] = None,
    html: HtmlOption = None,
    short: Annotated[bool, typer.Option("--short", help="Six lines for a text message.")] = False,
    chemist: Annotated[bool, typer.Option("--chemist", help="SI, totals, draws as well.")] = False,
    referee: Annotated[
        bool, typer.Option("--referee", help="Check our solver against PHREEQC (slow).")
    ] = False,
    notebook: NotebookOption = None,
    no_notebook: NoNotebookOption = False,
    as_json: JsonOption = False,
    units: UnitsOption = "both",
    draws: DrawsOption = 256,
    seed: SeedOption = 1,
) -> None:
    """Will it stay clear? The main job."""
    from chem.cli.noting import known_of
    from chem.forecast import forecast, referee_mix
    from chem.sheets import forecast_json, forecast_sheet, forecast_short

    if referee:
        must_have_referee()
    wanted = asked.mix
    known = known_of(asked.path or asked.beside, notebook, no_notebook, draws, seed)
    result = forecast(wanted, judged_at=judged_at, study=known.study)
    told = known.told(result)
    seen = None
    if read is not None:
        from chem.advice.reading import read_ph_of
        from chem.units import read_ph

        figure = read_ph(read, "command line, --read").value
        seen = read_ph_of(result, figure, study=known.study)
    sheet = partial(forecast_sheet, result, units, chemist=chemist, told=told, read=seen)

    def page() -> str:
        from chem.advice.jar import jar_of
        from chem.sheets.page.forecast import forecast_page

        number = known.number_for(result.mix, result.refused)
        jar = jar_of(result)
        return forecast_page(result, jar, units, number=number or "", chemist=chemist, told=told)

    if short and not as_json:
        write_page(sheet, html, page)
        say(forecast_short(result, units))
    else:
        give(sheet, partial(forecast_json, result, units, told, seen), as_json, html, page)
    if referee:
        tell_referee(referee_mix(wanted, count=draws, seed=seed))
