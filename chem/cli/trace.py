"""`jarsight trace`: any number walked back."""

from __future__ import annotations

from typing import Annotated

import typer

from chem.cli.mixes import Asked, takes_mix
from chem.cli.options import JsonOption
from chem.cli.saying import say


@takes_mix
def trace_command(
    asked: Asked,
    what: Annotated[
        str | None, typer.Argument(help="ph, si:gypsum, total:PO4 or species:Ca+2.")
    ] = None,
    of: Annotated[
        str | None, typer.Option("--of", help="The same, with --add in place of MIX.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Walk a printed number back to constants, citations and label lines."""
    from chem.errors import InputProblem, Problem
    from chem.laboratory.trace import trace
    from chem.sheets.trace import trace_json, trace_text

    wanted = what or of
    if wanted is None or (what and of):
        wrong = "what is to be walked back is not named" if wanted is None else "named twice"
        raise InputProblem(Problem("command line", wrong, "`ph` after MIX, or `--of ph`"))
    walk = trace(asked.mix, wanted)
    say(trace_json(walk) if as_json else trace_text(walk), nl=as_json)
