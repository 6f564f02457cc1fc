"""`jarsight calibrate`: spray volume from a catch test."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from chem.cli.answer import give
from chem.cli.options import HtmlOption, JsonOption, UnitsOption


def calibrate_command(
    catch: Annotated[
        str, typer.Option(help='Caught per nozzle, commas between: "22 fl oz, 23 fl oz".')
    ],
    time: Annotated[str | None, typer.Option(help='Time of the catch: "30 s".')] = None,
    width: Annotated[
        str | None, typer.Option(help='What one nozzle (or swath) covers: "20 in".')
    ] = None,
    speed: Annotated[str | None, typer.Option(help='Speed: "4 mph", "6 km/h".')] = None,
    area: Annotated[
        str | None,
        typer.Option(help='Gun or knapsack: the area sprayed in that time: "1000 sq ft".'),
    ] = None,
    sprayed_in: Annotated[
        str | None,
        typer.Option(help='How long that area took, where the catch took --time: "78 s".'),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Keep it; a mix can name the file.")
    ] = None,
    html: HtmlOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = "both",
) -> None:
    """Spray volume from a catch test, with its error."""
    from chem.errors import InputProblem, Problem
    from chem.files.writing import write_text
    from chem.sheets.catch import catch_json, catch_sheet
    from chem.tank import by_area, by_speed
    from chem.units import (
        possible_carrier,
        read_area,
        read_duration,
        read_length,
        read_speed,
        read_volume,
    )

    where = "command line"
    caught = [read_volume(part, f"{where}, --catch") for part in catch.split(",")]
    if area is not None:
        if sprayed_in and not time:
            raise InputProblem(
                Problem(
                    "command line, --sprayed-in",
                    "the time of the catch is missing",
                    "--time as well, such as `--time 30s`; or catch for as long as the area "
                    "takes, and leave out both",
                )
            )
        result = by_area(
            caught,
            read_area(area, f"{where}, --area"),
            caught_s=read_duration(time, f"{where}, --time") if time and sprayed_in else None,
            sprayed_s=read_duration(sprayed_in, f"{where}, --sprayed-in") if sprayed_in else None,
        )
    elif time and width and speed:
        result = by_speed(
            caught,
            read_duration(time, f"{where}, --time"),
            read_length(width, f"{where}, --width"),
            read_speed(speed, f"{where}, --speed"),
        )
    else:
        raise InputProblem(
            Problem(
                "command line",
                "the catch alone gives no spray volume",
                "--time, --width and --speed (boom), or --area (gun, knapsack)",
            )
        )
    possible_carrier(result.carrier_L_per_m2, catch, f"{where}, --catch")
    if out is not None:
        litres = 1e4 * result.carrier_L_per_m2
        write_text(
            out,
            f'name = "Catch test"\ncarrier = "{litres:.4g} L/ha"\n'
            f"error_percent = {100 * result.relative_error:.2g}\n",
        )
    named = out.name if out else None
    give(partial(catch_sheet, result, named, units), partial(catch_json, result), as_json, html)
