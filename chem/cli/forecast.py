"""`jarsight forecast`: will it stay clear? The main job."""

from __future__ import annotations

from functools import partial
from typing import Annotated

import typer

from chem.cli.answer import give, write_page
from chem.cli.options import (
    DrawsOption,
    ForOption,
    HtmlOption,
    JsonOption,
    MixArgument,
    NoNotebookOption,
    NotebookOption,
    SeedOption,
    UnitsOption,
)
from chem.cli.referee import must_have_referee, tell_referee


def forecast_command(
    mix: MixArgument,
    carrier: Annotated[
        str | None, typer.Option(help='Try another spray volume: "2 gal/1000 sq ft".')
    ] = None,
    water: Annotated[str | None, typer.Option(help="Try another water file.")] = None,
    temperature: Annotated[str | None, typer.Option(help='Try another: "50 F".')] = None,
    coldest: Annotated[str | None, typer.Option(help='Where it stands overnight: "40 F".')] = None,
    tank: Annotated[str | None, typer.Option(help='Another tank: "50 gal".')] = None,
    area: Annotated[
        str | None, typer.Option(help='Work out the loads for an area: "2.6 acre".')
    ] = None,
    judged_at: ForOption = "4h",
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
    from chem.tank import change_mix, read_mix

    if referee:
        must_have_referee()
    wanted = change_mix(
        read_mix(mix),
        mix.parent,
        carrier=carrier,
        water=water,
        temperature=temperature,
        coldest=coldest,
        tank=tank,
        area=area,
    )
    known = known_of(mix, notebook, no_notebook, draws, seed)
    result = forecast(wanted, judged_at=judged_at, study=known.study)
    told = known.told(result)
    sheet = partial(forecast_sheet, result, units, chemist=chemist, told=told)

    def page() -> str:
        from chem.advice.jar import jar_of
        from chem.sheets.page.forecast import forecast_page

        return forecast_page(result, jar_of(result), units, chemist=chemist, told=told)

    if short and not as_json:
        write_page(sheet, html, page)
        typer.echo(forecast_short(result, units))
    else:
        give(sheet, partial(forecast_json, result, units, told), as_json, html, page)
    if referee:
        tell_referee(referee_mix(wanted, count=draws, seed=seed))
