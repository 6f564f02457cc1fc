"""`jarsight calibrate`: spray volume from a catch test."""

from __future__ import annotations

from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from chem.cli.answer import give
from chem.cli.options import HtmlOption, JsonOption, UnitsOption

if TYPE_CHECKING:
    from chem.tank import CatchTest


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
        Path | None,
        typer.Option(metavar="FILE", help="Keep it as a sprayer's file, for a shed or a mix."),
    ] = None,
    name: Annotated[str | None, typer.Option(help="With --out: the sprayer's name.")] = None,
    tank: Annotated[str | None, typer.Option(help='With --out: its tank, "50 gal".')] = None,
    screen: Annotated[
        str | None, typer.Option(help='With --out: its finest screen, "50 mesh".')
    ] = None,
    agitation: Annotated[
        Literal["none", "return", "mechanical"] | None, typer.Option(help="With --out.")
    ] = None,
    sump: Annotated[
        str | None, typer.Option(help='With --out: what stays in it when run empty, "1 qt".')
    ] = None,
    anyway: Annotated[
        bool, typer.Option("--anyway", help="Keep it although nozzles are uneven.")
    ] = False,
    html: HtmlOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = "both",
) -> None:
    """Spray volume from a catch test, with its error."""
    from chem.errors import InputProblem, Problem
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
        nozzles = f"{len(caught)} nozzles" if len(caught) > 1 else "1 nozzle"
        keep_sprayer(
            out,
            result,
            anyway,
            name=name,
            tank=tank,
            finest_screen=screen,
            agitation=agitation,
            stays_in_sump=sump,
            how=f"catch test by {'speed' if area is None else 'area'}, {nozzles}",
            when=date.today().isoformat(),
        )
    named = out.name if out else None
    give(partial(catch_sheet, result, named, units), partial(catch_json, result), as_json, html)


def keep_sprayer(out: Path, result: CatchTest, anyway: bool, **told: str | None) -> None:
    """Write a catch test into a sprayer's file; one that is there keeps all that was not measured.

    Raises: InputProblem where nozzles are uneven, another file stands there, or it does not read.
    """
    from chem.cli.kinds import what_is
    from chem.errors import InputProblem, Problem
    from chem.files import is_file, load_file, rewritten, save
    from chem.files.writing import forced
    from chem.sheets.catch import catch_figures
    from chem.tank import read_sprayer

    if result.uneven and not anyway:
        worn = ", ".join(f"{i + 1} ({100 * d:+.0f} %)" for i, d in result.uneven)
        raise InputProblem(
            Problem(
                f"command line, --catch: nozzle {worn}",
                "that far off the mean, no spray volume is worth keeping",
                "clean or change it and catch again, or --anyway",
            )
        )
    raw, read = ({"name": out.stem.replace("-", " ").capitalize()}, None)
    if is_file(out) and not forced():
        raw, read = load_file(out, "sprayer")
        if what_is(out, raw) != "sprayer":
            wrong = "a file stands there that is no sprayer's"
            raise InputProblem(Problem(f"`{out}`", wrong, "another name, or --force"))
    whole = {
        **raw,
        **catch_figures(result),
        **{key: text for key, text in told.items() if text is not None},
    }
    text = rewritten(whole, "" if read is None else read.text)
    over = None if read is None else read.hash
    save(out, text, read_sprayer, over=over, force=forced())
