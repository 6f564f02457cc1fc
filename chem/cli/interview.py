"""Files by asking: the questions of a form, put one by one and each answer checked.

Questions go to stderr. `back` mends the line before. What was answered when somebody stops is kept
beside the file, and the same command goes on from there.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from chem.cli.asking import Unreadable, ask_line
from chem.cli.saying import say
from chem.errors import InputProblem

if TYPE_CHECKING:
    from chem.cli.kinds import Kind
    from chem.files.table import Answers, Field

BACK, NONE = "back", "-"
COLUMNS = 60
UNFINISHED = ".unfinished"


class OneBack(Exception):
    """The answer was `back`."""


def by_asking(
    kind: Kind,
    path: Path,
    answers: Answers,
    write: Callable[[Answers], None],
) -> None:
    """Ask from `answers` on until `write` takes what was answered.

    Raises: typer.Abort where somebody stops; what was answered is then kept beside `path`.
    """
    draft = path.with_suffix(UNFINISHED)
    before = {**answers}
    answers |= _kept(kind, draft)
    say(
        "Enter = not there, or keep the answer shown in [ ].\n"
        f"`{BACK}` = one question back; `{NONE}` takes an answer out.\n"
        "Ctrl-C stops; what was answered is kept.",
        err=True,
    )
    start = 0
    try:
        while True:
            _converse(kind, answers, start)
            try:
                write(kind.form.settled(answers))
                break
            except InputProblem as problem:
                start = _where(problem, kind.asked)
                if start < 0:
                    raise
                explain(problem)
    except (typer.Abort, KeyboardInterrupt, EOFError, InputProblem) as stop:
        _keep(kind, draft, answers, before)
        if isinstance(stop, InputProblem):
            raise
        raise typer.Abort from None
    draft.unlink(missing_ok=True)


def _kept(kind: Kind, draft: Path) -> Answers:
    """What was answered before somebody stopped."""
    from chem.files import answers_of, is_file, load_toml

    if not is_file(draft):
        return {}
    say(f"Going on from {draft}.", err=True)
    return answers_of(kind.form, load_toml(draft, kind.name))


def _keep(kind: Kind, draft: Path, answers: Answers, before: Answers) -> None:
    from chem.files import raw_of, rewritten

    if answers == before:
        say("\nStopped before the end: nothing was written.", err=True)
        return
    try:
        draft.write_text(rewritten(raw_of(kind.form, answers)), encoding="utf-8")
    except OSError as error:
        say(f"\nStopped; the answers can't be kept ({error.strerror}).", err=True)
        return
    say(
        f"\nStopped: {len(answers)} answers are kept in {draft}.\nThe same command goes on from "
        "there; no other file was written.",
        err=True,
    )


def _where(problem: InputProblem, fields: tuple[Field, ...]) -> int:
    """The question that a problem of the finished file speaks of, or -1."""
    key = problem.problems[0].key.replace("[", ".").replace("]", "")
    return next((i for i, one in enumerate(fields) if key and one.key == key), -1)


def _converse(kind: Kind, answers: Answers, start: int) -> None:
    """Put the questions from `start` on; fills `answers`."""
    fields = kind.asked
    asked = [i for i in range(start) if fields[i].when(answers)]
    at, headed = start, -1
    while at < len(fields):
        one = fields[at]
        if not one.when(answers):
            answers.pop(one.key, None)
            at += 1
            continue
        if one.ask.heading and headed != at:
            say(f"\n{one.ask.heading}", err=True)
            headed = at
        before = answers.get(one.key, "")
        try:
            typed = ask(kind.words(one, answers) + (f" [{before}]" if before else ""))
            text = "" if typed == NONE else typed or before
            kept = kind.check(one, text, answers)
        except Unreadable:
            raise
        except InputProblem as problem:
            explain(problem)
            continue
        except OneBack:
            at = asked.pop() if asked else at
            continue
        answers.pop(one.key, None)
        if kept:
            answers[one.key] = kept
        elif before and _closed_up(answers, one.key):
            continue
        asked.append(at)
        at += 1


def _closed_up(answers: Answers, key: str) -> bool:
    """Where the first answer of a row was taken out and rows follow, they move up by one."""
    table, number, first = [*key.rsplit(".", 2), "", ""][:3]
    if not number.isdigit() or f"{table}.{int(number) + 1}.{first}" not in answers:
        return False
    rows = {k: v for k, v in answers.items() if k.startswith(f"{table}.")}
    for one, text in rows.items():
        del answers[one]
        row, _, rest = one.removeprefix(f"{table}.").partition(".")
        if int(row) != int(number):
            answers[f"{table}.{int(row) - (int(row) > int(number))}.{rest}"] = text
    return True


def ask(words: str) -> str:
    """Raises: OneBack, InputProblem, Unreadable, or typer.Abort at the end of the input."""
    from chem.files import plain_text

    typed = plain_text(ask_line(words)).strip()
    if typed.casefold() == BACK:
        raise OneBack
    return typed


def explain(problem: InputProblem) -> None:
    """What is wrong with an answer, on stderr."""
    for one in problem.problems[:3]:
        own = one.key and not one.read.startswith("`")
        about = one.key.partition(".")[2] or one.key if own else one.read.partition(" = ")[0]
        _indented(f"{about}: {one.wrong}" if about else one.wrong)
        if one.instead.startswith("\n"):
            say(one.instead[1:], err=True)
        else:
            _indented(f"write: {one.instead}")


def _indented(text: str) -> None:
    lines = textwrap.fill(
        text, COLUMNS, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False
    )
    say(lines, err=True)
