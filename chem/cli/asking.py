"""One typed answer, from a terminal or a pipe."""

from __future__ import annotations

import sys

import typer

from chem.cli.saying import harmless, say
from chem.errors import InputProblem, Problem


class Unreadable(InputProblem):
    """The input is no UTF-8 text, so that no later answer can be read either."""


def ask_line(words: str) -> str:
    """What is typed after `words`, which go to stderr.

    Raises: typer.Abort at the end of the input and on Ctrl-C; Unreadable.
    """
    if sys.stdin is None:
        raise typer.Abort
    try:
        if sys.stdin.isatty():
            return str(typer.prompt(harmless(words), default="", show_default=False, err=True))
        say(f"{words}:", err=True)
        typed = sys.stdin.readline()
    except UnicodeDecodeError:
        problem = Problem("an answer", "some of its letters can't be read", "plain UTF-8 text")
        raise Unreadable(problem) from None
    if not typed:
        raise typer.Abort
    return typed
