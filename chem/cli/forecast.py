"""`jarsight forecast`: will it stay clear? The main job."""

from __future__ import annotations

from functools import partial
from typing import Annotated

import typer

from chem.cli.answer import Answering, answers, write_page
from chem.cli.options import ForOption
from chem.cli.referee import must_have_referee, tell_referee
from chem.cli.saying import say


@answers()
def forecast_command(
    asked: Answering,
    judged_at: ForOption = "4h",
    read: Annotated[
        str | None, typer.Option(help="A pH read in the full tank: what explains it?")
    ] = None,
    short: Annotated[bool, typer.Option("--short", help="Six lines for a text message.")] = False,
    chemist: Annotated[bool, typer.Option("--chemist", help="SI, totals, draws as well.")] = False,
    referee: Annotated[
        bool, typer.Option("--referee", help="Check our solver against PHREEQC (slow).")
    ] = False,
) -> None:
    """Will it stay clear? The main job."""
    from chem.forecast import forecast, referee_mix
    from chem.sheets import forecast_json, forecast_sheet, forecast_short

    if referee:
        must_have_referee()
    known = asked.known
    result = forecast(asked.mix, judged_at=judged_at, study=known.study)
    told = known.told(result)
    seen = None
    if read is not None:
        from chem.advice.reading import read_ph_of
        from chem.units import read_ph

        figure = read_ph(read, "command line, --read").value
        seen = read_ph_of(result, figure, study=known.study)
    sheet = partial(forecast_sheet, result, asked.units, chemist=chemist, told=told, read=seen)

    def page() -> str:
        from chem.advice.jar import jar_of
        from chem.sheets.page.forecast import forecast_page

        number = known.number_for(result.mix, result.refused)
        jar = jar_of(result)
        return forecast_page(
            result, jar, asked.units, number=number or "", chemist=chemist, told=told
        )

    if short and not asked.as_json:
        write_page(sheet, asked.html, page)
        say(forecast_short(result, asked.units))
    else:
        asked.give(sheet, partial(forecast_json, result, asked.units, told, seen), page)
    if referee:
        tell_referee(referee_mix(asked.mix, count=asked.draws, seed=asked.seed))
