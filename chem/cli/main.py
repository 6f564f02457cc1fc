"""The command line: each command calls one function of the rooms and prints its sheet.

Rooms are imported inside the commands, so that `jarsight --help` answers at once.
"""

from __future__ import annotations

import contextlib
import io
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from importlib import import_module
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from chem.cli.exits import Exit
from chem.cli.outputs import guarded
from chem.cli.progress import sign_of_life
from chem.cli.saying import NEAREST, harmless, say
from chem.errors import InputProblem, Problem
from chem.version import VERSION

SHED, SHELF, CHEMISTS = "In the shed", "On the shelf", "For chemists"
COMMANDS = {
    SHED: (
        "forecast",
        "why",
        "fix",
        "pour",
        "ph",
        "jar",
        "diagnose",
        "saw",
        "sprayed",
        "rinse",
        "edit",
        "desk",
    ),
    SHELF: ("label", "shelf", "calibrate"),
    CHEMISTS: ("solution", "tables", "trace", "selfcheck"),
}
"""Every command by its group: `NAME_command` in the file of its name."""


class _Commands(TyperGroup):
    """Commands whose answer may find its reader gone (`| head -1`) or its disk full."""

    def make_context(self, *given: Any, **more: Any) -> Any:
        with _harmless_refusals():
            return super().make_context(*given, **more)

    def invoke(self, ctx: typer.Context) -> object:  # type: ignore[override]
        try:
            name = ctx._protected_args[0] if ctx._protected_args else None
            with sign_of_life(name), _harmless_refusals():
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


@contextmanager
def _harmless_refusals() -> Iterator[None]:
    """Refusals of an option quote it, and the parser's own words pass by our door."""
    try:
        yield
    except Exception as error:
        if isinstance(said := getattr(error, "message", None), str):
            error.message = harmless(said)  # type: ignore[attr-defined]
        raise


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
        "Exit codes: 0 a forecast was made, 1 a check failed, 2 the input can't be used, "
        "70 a fault of ours."
    ),
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode="rich",
    pretty_exceptions_enable=False,
)


def _version(asked: bool) -> None:
    if asked:
        say(f"jarsight {VERSION}")
        raise typer.Exit()


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    pass


@cache
def whole_app() -> typer.Typer:
    """The app with every command mounted."""
    app.add_typer(import_module("chem.cli.new").app, name="new", rich_help_panel=SHED)
    notebook = import_module("chem.cli.notebook").app
    app.add_typer(notebook, name="notebook", rich_help_panel=SHED)
    for group, names in COMMANDS.items():
        for name in names:
            command = getattr(import_module(f"chem.cli.{name}"), f"{name}_command")
            app.command(name, rich_help_panel=group)(guarded(command))
    return app


def _show(problem: InputProblem) -> None:
    for one in problem.problems:
        say(str(one), err=True)
    count = len(problem.problems)
    if count > 1:
        say(f"{count} problems in all.", err=True)


def _own_fault(error: Exception) -> Exit:
    """The last resort: say that the fault is ours, and leave on disk what to send."""
    import tempfile
    import traceback

    told = f"jarsight {VERSION}, Python {sys.version.split()[0]}\n{sys.argv[1:]!r}\n\n"
    told += "".join(traceback.format_exception(error))
    where = ""
    with (
        contextlib.suppress(OSError),
        tempfile.NamedTemporaryFile(
            "w", prefix="jarsight-fault-", suffix=".txt", delete=False, encoding="utf-8"
        ) as file,
    ):
        file.write(told)
        where = file.name
    say(f"A fault of ours, not of your files ({type(error).__name__}).", err=True)
    if where:
        say(f"What to send, with the files that you used: {where}", err=True)
    return Exit.FAULT


def run() -> None:
    """Entry point. Exit codes as `Exit`; a problem of the input is told without traceback."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors=NEAREST)
    try:
        for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
            os.environ.setdefault(name, "1")
        whole_app()()
    except InputProblem as problem:
        _show(problem)
        sys.exit(Exit.INPUT)
    except KeyboardInterrupt:
        sys.exit(Exit.INTERRUPTED)
    except Exception as error:
        sys.exit(_own_fault(error))


if __name__ == "__main__":
    run()
