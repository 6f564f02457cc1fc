"""The command line: each command calls one function of the rooms and prints its sheet.

Rooms are imported inside the commands, so that `jarsight --help` answers at once.
"""

from __future__ import annotations

import contextlib
import io
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer
from typer.core import TyperGroup

from chem.cli.exits import Exit
from chem.errors import InputProblem, Problem
from chem.version import VERSION

if TYPE_CHECKING:
    from chem.tank import Mix

SHED, SHELF, CHEMISTS = "In the shed", "On the shelf", "For chemists"


class _Commands(TyperGroup):
    """Commands whose answer may find its reader gone (`| head -1`) or its disk full."""

    def invoke(self, ctx: typer.Context) -> object:  # type: ignore[override]
        try:
            done = super().invoke(ctx)
            if sys.stdout is not None:  # closed by `>&-`
                sys.stdout.flush()
        except BrokenPipeError:
            _silence()
            raise typer.Exit(Exit.OK) from None
        except OSError as error:
            _silence()
            where = f"`{error.filename}`" if error.filename else "the answer"
            why = error.strerror or str(error)
            raise InputProblem(
                Problem(where, f"it can't be read or written ({why})", "another file or folder")
            ) from None
        return done


def _silence() -> None:
    """What is left in the output's buffer goes nowhere, instead of failing once more at exit."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


app = typer.Typer(
    name="jarsight",
    cls=_Commands,
    help=(
        "Will the tank stay clear, haze or curdle? Forecasts a mix of liquid products from their "
        "labels before any jar test. A forecast never replaces the jar test.\n\n"
        "Exit codes: 0 a forecast was made, 1 a check failed, 2 the input can't be used."
    ),
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode="rich",
    pretty_exceptions_enable=False,
)

UnitsOption = Annotated[
    Literal["us", "metric", "both"], typer.Option(help="Units on the sheet.", show_default=True)
]
DrawsOption = Annotated[
    int, typer.Option(min=16, max=20000, help="Versions of the tank that are tried.")
]
SeedOption = Annotated[int, typer.Option(min=0, help="Seed of the draws.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print the JSON object instead.")]


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"jarsight {VERSION}")
        raise typer.Exit()


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    pass


@app.command("forecast", rich_help_panel=SHED)
def forecast_command(
    mix: Annotated[Path, typer.Argument(metavar="MIX", help="A mix file.")],
    carrier: Annotated[
        str | None, typer.Option(help='Try another spray volume: "2 gal/1000 sq ft".')
    ] = None,
    water: Annotated[str | None, typer.Option(help="Try another water file.")] = None,
    temperature: Annotated[str | None, typer.Option(help='Try another: "50 F".')] = None,
    coldest: Annotated[str | None, typer.Option(help='Where it stands overnight: "40 F".')] = None,
    judged_at: Annotated[
        Literal["15min", "4h", "24h"], typer.Option("--for", help="How long it must stay clear.")
    ] = "4h",
    html: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Also write the sheet as one page.")
    ] = None,
    short: Annotated[bool, typer.Option("--short", help="Six lines for a text message.")] = False,
    chemist: Annotated[bool, typer.Option("--chemist", help="SI, totals, draws as well.")] = False,
    referee: Annotated[
        bool, typer.Option("--referee", help="Check our solver against PHREEQC (slow).")
    ] = False,
    as_json: JsonOption = False,
    units: UnitsOption = "both",
    draws: DrawsOption = 256,
    seed: SeedOption = 1,
) -> None:
    """Will it stay clear? The main job."""
    from chem.cli.chemists import must_have_referee, tell_referee
    from chem.cli.writing import write_text
    from chem.forecast import forecast, referee_mix
    from chem.sheets import as_html, as_text, forecast_json, forecast_sheet, forecast_short

    if referee:
        must_have_referee()
    wanted = _changed(_read(mix), mix, carrier, water, temperature, coldest)
    result = forecast(wanted, count=draws, seed=seed, judged_at=judged_at)
    if html is not None:
        write_text(html, as_html(forecast_sheet(result, units, chemist=chemist)))
        typer.echo(f"Page written: {html}", err=True)
    if as_json:
        typer.echo(forecast_json(result, units))
    elif short:
        typer.echo(forecast_short(result, units))
    else:
        typer.echo(as_text(forecast_sheet(result, units, chemist=chemist)), nl=False)
    if referee:
        tell_referee(referee_mix(wanted, count=draws, seed=seed))


@app.command("trace", rich_help_panel=CHEMISTS)
def trace_command(
    mix: Annotated[Path, typer.Argument(metavar="MIX", help="A mix file.")],
    what: Annotated[str, typer.Argument(help="ph, si:gypsum, total:PO4 or species:Ca+2.")],
    as_json: JsonOption = False,
) -> None:
    """Walk a printed number back to constants, citations and label lines."""
    from chem.laboratory.trace import trace
    from chem.sheets.trace import trace_json, trace_text

    walk = trace(_read(mix), what)
    typer.echo(trace_json(walk) if as_json else trace_text(walk), nl=as_json)


def _read(path: Path) -> Mix:
    from chem.tank import read_mix

    return read_mix(path)


def _changed(
    mix: Mix,
    path: Path,
    carrier: str | None,
    water: str | None,
    temperature: str | None,
    coldest: str | None,
) -> Mix:
    """The mix with what the options ask for; every problem of them at once."""
    from chem.tank import change_mix

    return change_mix(
        mix,
        path.parent,
        carrier=carrier,
        water=water,
        temperature=temperature,
        coldest=coldest,
    )


def _show(problem: InputProblem) -> None:
    for one in problem.problems:
        typer.echo(str(one), err=True)
    count = len(problem.problems)
    if count > 1:
        typer.echo(f"{count} problems in all.", err=True)


def run() -> None:
    """Entry point. Exit codes as `Exit`; a problem of the input is told without traceback."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    try:
        from chem.cli import (
            acids,
            changes,
            chemists,
            new,
            reasons,
            screening,
            shelf_side,
            tank_side,
        )

        for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
            os.environ.setdefault(name, "1")
        app.add_typer(new.app, name="new", rich_help_panel=SHED)
        reasons.add_to(app)
        changes.add_to(app)
        acids.add_to(app)
        tank_side.add_to(app)
        shelf_side.add_to(app)
        screening.add_to(app)
        chemists.add_to(app)
        app()
    except InputProblem as problem:
        _show(problem)
        sys.exit(Exit.INPUT)
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)


INTERRUPTED = 130
"""Ctrl-C, as shells number it."""

if __name__ == "__main__":
    run()
