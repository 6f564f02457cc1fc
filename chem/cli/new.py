"""`jarsight new`: writes a product, water, mix, sprayer or shed by asking, or as a blank form.

Where the file stands and what comes next goes to stdout. A file is written whole, after it has
been read back, or not at all.
"""

from __future__ import annotations

import os
import shlex
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from chem.cli.exits import Exit
from chem.cli.saying import say
from chem.errors import InputProblem, Problem

if TYPE_CHECKING:
    from chem.cli.kinds import Kind

SHELVES = {"products": "product", "waters": "water", "mixes": "mix", "sprayers": "sprayer"}

app = typer.Typer(
    name="new",
    help="Write a product, water, mix, sprayer or shed by asking.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

Name = Annotated[str, typer.Argument(metavar="NAME", help="Its name; the file is named by it.")]
Folder = Annotated[Path, typer.Option("--in", metavar="DIR", help="Folder of the file.")]
Force = Annotated[bool, typer.Option("--force", help="Write over a file of that name.")]
Blank = Annotated[bool, typer.Option("--blank", help="A form with comments, no questions.")]
HERE = Path()


@app.command("product")
def product_command(
    name: Name, folder: Folder = HERE, force: Force = False, blank: Blank = False
) -> None:
    """A product, asked in its label's own order."""
    path = _new("product", name, folder, force, blank)
    _next(
        path,
        f"jarsight label {_shell(path)}",
        "jarsight new mix NAME",
        "jarsight forecast NAME.toml",
    )


@app.command("water")
def water_command(
    name: Name,
    folder: Folder = HERE,
    force: Force = False,
    blank: Blank = False,
    paste: Annotated[
        str | None,
        typer.Option(metavar="FILE|-", help="A report's text as printed, or - to type it in."),
    ] = None,
) -> None:
    """A water, asked in its report's order, or read from a pasted report."""
    path = _new("water", name, folder, force, blank, paste)
    _next(path, "jarsight new mix NAME", f"jarsight forecast NAME.toml --water {_shell(path)}")


@app.command("mix")
def mix_command(
    name: Name, folder: Folder = HERE, force: Force = False, blank: Blank = False
) -> None:
    """A mix: water, spray volume, products in the order poured."""
    path = _new("mix", name, folder, force, blank)
    _next(path, f"jarsight forecast {_shell(path)}")


@app.command("sprayer")
def sprayer_command(
    name: Name, folder: Folder = HERE, force: Force = False, blank: Blank = False
) -> None:
    """A sprayer: what leaves its nozzles, its tank and screens."""
    path = _new("sprayer", name, folder, force, blank)
    _next(path, "jarsight calibrate --help", f'sprayers = ["{path.name}"] in your shed.toml')


@app.command("shed")
def shed_command(
    name: Name, folder: Folder = HERE, force: Force = False, blank: Blank = False
) -> None:
    """A folder for all of them, with what is set once: water, sprayers, adjuvant, units."""
    from chem.cli.interview import by_asking
    from chem.cli.kinds import kind_of
    from chem.files import SHED, plain_text, raw_of, rewritten, save, there_already

    with _told():
        shed = folder / plain_text(name)
        if not name.strip():
            raise InputProblem(Problem(f"`{name}`", "a shed needs a name", "a folder's name"))
        if shed.exists() and not (force and shed.is_dir()):
            raise there_already(shed, "folder" if shed.is_dir() else "file")
        kind = kind_of("shed", shed)

        def write(answers: dict[str, str]) -> None:
            _make_shed(shed)
            save(shed / SHED, rewritten(raw_of(kind.form, answers)), kind.read, force=force)

        if blank:
            _make_shed(shed)
            _write_blank(kind, name, shed / SHED, force)
        else:
            by_asking(kind, folder / f"{shed.name}.toml", {"products": "products"}, write)
        say(f"Made: {shed}, with {', '.join(SHELVES)}.")
        say(f"What is set once stands in {shed / SHED}; `jarsight edit` mends it. Next:")
        for shelf, what in SHELVES.items():
            say(f"  jarsight new {what} NAME --in {_shell(shed / shelf)}")
        say(f"  jarsight forecast {_shell(shed / 'mixes')}/NAME.toml")


@contextmanager
def _told() -> Iterator[None]:
    """Problems and an early end become words on stderr and `Exit.INPUT`."""
    try:
        yield
    except InputProblem as problem:
        say(str(problem), err=True)
    except (typer.Abort, KeyboardInterrupt, EOFError):
        pass
    else:
        return
    raise typer.Exit(Exit.INPUT)


def _new(
    what: str, name: str, folder: Path, force: bool, blank: bool, paste: str | None = None
) -> Path:
    """The file that was written."""
    from chem.cli.interview import by_asking
    from chem.cli.kinds import kind_of
    from chem.files import raw_of, rewritten, save

    with _told():
        path = _target(name, folder, force)
        kind = kind_of(what, folder)
        answers = {"name": " ".join(name.removesuffix(".toml").split())}
        if blank:
            _write_blank(kind, name, path, force)
        elif paste is not None:
            answers |= _report(paste)
            save(path, rewritten(raw_of(kind.form, answers)), kind.read, force=force)
        else:
            by_asking(
                kind,
                path,
                answers,
                lambda a: save(path, rewritten(raw_of(kind.form, a)), kind.read, force=force),
            )
    return path


def _target(name: str, folder: Path, force: bool) -> Path:
    """The file to write. Raises: InputProblem before any question is put in vain."""
    from chem.files import cannot_write, file_name, there_already

    path = folder / file_name(name)
    if not folder.is_dir():
        raise InputProblem(
            Problem(
                f"--in `{folder}`",
                "there is no such folder",
                "a folder that exists; `jarsight new shed NAME` makes one",
            )
        )
    if path.exists() and not force:
        raise there_already(path, "file")
    if not os.access(folder, os.W_OK):
        raise cannot_write(path, "no permission")
    return path


def _write_blank(kind: Kind, name: str, path: Path, force: bool) -> None:
    from chem.files import blank, load_toml, plain_text, save

    text = blank(kind.form, plain_text(name))
    save(path, text, lambda p: load_toml(p, kind.name), force=force)
    say("A blank form: fill in what is marked REQUIRED.")


def _report(paste: str) -> dict[str, str]:
    """A water's answers from a report's text, what was not read of it told."""
    from chem.cli.reading import pasted_text
    from chem.tank.report import read_report

    report = read_report(pasted_text(paste))
    for key, value in report.answers.items():
        say(f"{key.removeprefix('ions.')}: {value}", err=True)
    for number, line, why in report.unread:
        say(f"Not read: line {number}: {line} ({why})", err=True)
    if not report.answers:
        raise InputProblem(
            Problem("the report", "no reading in it can be used", "such as `Calcium 68 mg/L`")
        )
    return report.answers


def _make_shed(shed: Path) -> None:
    """Raises: InputProblem where one can't be; then nothing is left behind."""
    fresh = not shed.exists()
    try:
        for shelf in SHELVES:
            (shed / shelf).mkdir(parents=fresh and shed.parent.is_dir(), exist_ok=True)
    except OSError as error:
        if fresh:
            shutil.rmtree(shed, ignore_errors=True)
        raise InputProblem(
            Problem(
                f"`{shed}`",
                f"it can't be made ({error.strerror})",
                "a name in a folder that exists and that you may write to",
            )
        ) from None


def _next(path: Path, *commands: str) -> None:
    say(f"Written: {path}")
    say("Next:")
    for command in commands:
        say(f"  {command}")


def _shell(path: Path) -> str:
    return shlex.quote(str(path)) if os.name == "posix" else f'"{path}"'
