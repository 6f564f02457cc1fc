"""`jarsight new`: writes a product, water or mix by asking, or as a blank form; makes a shed.

Questions go to stderr, where the file stands and what comes next to stdout. A file is written
whole, after it has been read back, or not at all.
"""

from __future__ import annotations

import os
import shlex
import shutil
import textwrap
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from chem.cli import forms
from chem.cli.asking import Unreadable, ask_line
from chem.cli.exits import Exit
from chem.errors import InputProblem, Problem

if TYPE_CHECKING:
    from chem.cli.questions import Answers, Question

BACK, NONE = "back", "-"
COLUMNS = 60
SHELVES = {"products": "product", "waters": "water", "mixes": "mix"}

app = typer.Typer(
    name="new",
    help="Write a product, water or mix by asking.",
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
    with _told():
        path = _target(name, folder, force)
        if blank:
            _write_blank("product", name, path, force)
        else:
            from chem.cli.questions import product_questions
            from chem.label import read_product

            questions = product_questions(_ask, _explain)
            _write_asked(name, questions, forms.product_text, read_product, path, force)
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
    with _told():
        path = _target(name, folder, force)
        if blank:
            _write_blank("water", name, path, force)
        elif paste is not None:
            _write_report(name, paste, path, force)
        else:
            from chem.cli.questions import water_questions
            from chem.tank import read_water

            questions = water_questions()
            _write_asked(name, questions, forms.water_text, read_water, path, force)
        _next(path, "jarsight new mix NAME", f"jarsight forecast NAME.toml --water {_shell(path)}")


@app.command("mix")
def mix_command(
    name: Name, folder: Folder = HERE, force: Force = False, blank: Blank = False
) -> None:
    """A mix: water, spray volume, products in the order poured."""
    with _told():
        path = _target(name, folder, force)
        if blank:
            _write_blank("mix", name, path, force)
        else:
            from chem.cli.questions import mix_questions
            from chem.tank import read_mix

            questions = mix_questions(folder)
            _write_asked(name, questions, forms.mix_text, read_mix, path, force)
        _next(path, f"jarsight forecast {_shell(path)}")


@app.command("shed")
def shed_command(name: Name, folder: Folder = HERE, force: Force = False) -> None:
    """A folder for all three, with blank forms to copy."""
    with _told():
        shed = folder / forms.plain_text(name)
        if not name.strip():
            raise InputProblem(Problem(f"`{name}`", "a shed needs a name", "a folder's name"))
        if shed.exists() and not (force and shed.is_dir()):
            raise forms.there_already(shed, "folder" if shed.is_dir() else "file")
        _make_shed(shed)
        typer.echo(f"Made: {shed}, with products, waters and mixes.")
        typer.echo("Each holds a blank form: copy it, or be asked. Next:")
        for shelf, kind in SHELVES.items():
            typer.echo(f"  jarsight new {kind} NAME --in {_shell(shed / shelf)}")
        typer.echo(f"  jarsight forecast {_shell(shed / 'mixes')}/NAME.toml")


@contextmanager
def _told() -> Iterator[None]:
    """Problems and an early end become words on stderr and `Exit.INPUT`."""
    try:
        yield
    except InputProblem as problem:
        typer.echo(str(problem), err=True)
    except (typer.Abort, KeyboardInterrupt, EOFError):
        typer.echo("\nStopped before the end: nothing was written.", err=True)
    else:
        return
    raise typer.Exit(Exit.INPUT)


def _target(name: str, folder: Path, force: bool) -> Path:
    """The file to write. Raises: InputProblem before any question is put in vain."""
    path = folder / forms.file_name(name)
    if not folder.is_dir():
        raise InputProblem(
            Problem(
                f"--in `{folder}`",
                "there is no such folder",
                "a folder that exists; `jarsight new shed NAME` makes one",
            )
        )
    if path.exists() and not force:
        raise forms.there_already(path, "file")
    if not os.access(folder, os.W_OK):
        raise forms.cannot_write(path, "no permission")
    return path


def _write_blank(kind: str, name: str, path: Path, force: bool) -> None:
    from chem.files import load_toml

    forms.place(path, forms.blank(kind, name), lambda p: load_toml(p, kind), force=force)
    typer.echo("A blank form: fill in what is marked REQUIRED.")


def _write_report(name: str, paste: str, path: Path, force: bool) -> None:
    """A water from a report's text, what was not read of it told."""
    from chem.cli.reading import pasted_text
    from chem.tank import read_water
    from chem.tank.report import read_report

    report = read_report(pasted_text(paste))
    for key, value in report.answers.items():
        typer.echo(f"{key.removeprefix('ions.')}: {value}", err=True)
    for number, line, why in report.unread:
        typer.echo(f"Not read: line {number}: {line} ({why})", err=True)
    if not report.answers:
        raise InputProblem(
            Problem("the report", "no reading in it can be used", "such as `Calcium 68 mg/L`")
        )
    title = " ".join(name.removesuffix(".toml").split())
    text = forms.water_text({"name": title, **report.answers})
    forms.place(path, text, read_water, force=force)


def _write_asked(
    name: str,
    questions: list[Question],
    text: Callable[[Answers], str],
    read: Callable[[Path], object],
    path: Path,
    force: bool,
) -> None:
    """Ask until the file reads back without a problem."""
    answers = {"name": " ".join(name.removesuffix(".toml").split())}
    typer.echo(
        "Enter = not there, or keep the answer shown in [ ].\n"
        f"`{BACK}` = one question back; `{NONE}` takes an answer out.\n"
        "Ctrl-C stops, and nothing is written.",
        err=True,
    )
    start = 0
    while True:
        _converse(questions, answers, start)
        try:
            forms.place(path, text(answers), read, force=force)
        except InputProblem as problem:
            if path.exists() and not force:
                raise
            _explain(problem)
            start = _where(problem, questions)
        else:
            return


def _where(problem: InputProblem, questions: list[Question]) -> int:
    """The question that a problem of the finished file speaks of, else the last one."""
    for i, question in enumerate(questions):
        if f", {question.key} = " in problem.problems[0].read:
            return i
    return len(questions) - 1


def _converse(questions: list[Question], answers: Answers, start: int) -> None:
    """Put the questions from `start` on; fills `answers`.

    Raises: typer.Abort at the end of the input and on Ctrl-C.
    """
    asked = [i for i in range(start) if questions[i].when(answers)]
    at, headed = start, -1
    while at < len(questions):
        question = questions[at]
        if not question.when(answers):
            answers.pop(question.key, None)
            at += 1
            continue
        if question.heading and headed != at:
            typer.echo(f"\n{question.heading}", err=True)
            headed = at
        before = answers.get(question.key, "")
        try:
            typed = _ask(question.asked(answers) + (f" [{before}]" if before else ""))
            kept = question.read("" if typed == NONE else typed or before, answers)
        except Unreadable:
            raise
        except InputProblem as problem:
            _explain(problem)
            continue
        except _OneBack:
            at = asked.pop() if asked else at
            continue
        answers.pop(question.key, None)
        if kept:
            answers[question.key] = kept
        asked.append(at)
        at += 1


class _OneBack(Exception):
    """The answer was `back`."""


def _ask(words: str) -> str:
    """Raises: _OneBack, InputProblem, Unreadable, or typer.Abort at the end of the input."""
    typed = forms.plain_text(ask_line(words)).strip()
    if typed.casefold() == BACK:
        raise _OneBack
    return typed


def _explain(problem: InputProblem) -> None:
    for one in problem.problems[:3]:
        about = "" if one.read.startswith(" =") or not one.read else f"{one.read}: "
        _indented(f"{about}{one.wrong}")
        if one.instead.startswith("\n"):
            typer.echo(one.instead[1:], err=True)
        else:
            _indented(f"write: {one.instead}")


def _indented(text: str) -> None:
    lines = textwrap.fill(
        text, COLUMNS, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False
    )
    typer.echo(lines, err=True)


def _make_shed(shed: Path) -> None:
    """Raises: InputProblem where the folder can't be made; then nothing is left behind."""
    from chem.files import load_toml

    fresh = not shed.exists()
    try:
        for shelf, kind in SHELVES.items():
            (shed / shelf).mkdir(parents=fresh and shed.parent.is_dir(), exist_ok=True)
            path = shed / shelf / f"blank-{kind}.txt"
            text = "# Copy this to NAME.toml, then fill it in.\n" + forms.blank(kind, f"My {kind}")
            forms.place(path, text, lambda p: load_toml(p, "form"), force=True)
    except (OSError, InputProblem) as error:
        if fresh:
            shutil.rmtree(shed, ignore_errors=True)
        if isinstance(error, InputProblem):
            raise
        raise InputProblem(
            Problem(
                f"`{shed}`",
                f"it can't be made ({error.strerror})",
                "a name in a folder that exists and that you may write to",
            )
        ) from None


def _next(path: Path, *commands: str) -> None:
    typer.echo(f"Written: {path}")
    typer.echo("Next:")
    for command in commands:
        typer.echo(f"  {command}")


def _shell(path: Path) -> str:
    return shlex.quote(str(path)) if os.name == "posix" else f'"{path}"'
