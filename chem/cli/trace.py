"""`jarsight trace`: any number walked back."""

from __future__ import annotations

from typing import Annotated

import typer

from chem.cli.options import JsonOption, MixArgument
from chem.cli.saying import say


def trace_command(
    mix: MixArgument,
    what: Annotated[str, typer.Argument(help="ph, si:gypsum, total:PO4 or species:Ca+2.")],
    as_json: JsonOption = False,
) -> None:
    """Walk a printed number back to constants, citations and label lines."""
    from chem.laboratory.trace import trace
    from chem.sheets.trace import trace_json, trace_text
    from chem.tank import read_mix

    walk = trace(read_mix(mix), what)
    say(trace_json(walk) if as_json else trace_text(walk), nl=as_json)
