"""`jarsight edit`: the questions of `new`, with today's values."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from chem.cli.exits import Exit
from chem.cli.saying import say


def edit_command(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A file that `new` writes.")],
) -> None:
    """Mend a file: the questions of `new`, with today's values in brackets."""
    from chem.cli.interview import by_asking
    from chem.cli.kinds import kind_of, what_is
    from chem.files import answers_of, load_file, must_be_shaped, raw_of, rewritten, save

    raw, read = load_file(file, "product, water, mix, sprayer or shed")
    kind = kind_of(what_is(file, raw), file.parent)
    must_be_shaped(kind.form, raw, file.name)
    rows = raw.get("add", [])
    unasked = [row for row in rows if "product" not in row]  # what is left of an earlier tank
    asked = {**raw, "add": [row for row in rows if row not in unasked]} if unasked else raw
    before = answers_of(kind.form, asked)

    def write(answers: dict[str, str]) -> None:
        new = raw_of(kind.form, answers, asked)
        new |= {"add": [*unasked, *new.get("add", [])]} if unasked else {}
        save(file, rewritten(new, read.text), kind.read, over=read.hash)

    answers = dict(before)
    try:
        by_asking(kind, file, answers, write)
    except (typer.Abort, KeyboardInterrupt, EOFError):
        raise typer.Exit(Exit.INPUT) from None
    changed = [key for key in {**before, **answers} if before.get(key) != answers.get(key)]
    say(f"Written: {file}" if changed else f"As it was: {file}")
    for key in changed:
        say(f"  {key}: {before.get(key, '-')} -> {answers.get(key, '-')}")
