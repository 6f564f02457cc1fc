"""`jarsight selfcheck`: check values and invariants on this machine."""

from __future__ import annotations

import typer

from chem.cli.exits import Exit
from chem.cli.options import JsonOption
from chem.cli.saying import say


def selfcheck_command(as_json: JsonOption = False) -> None:
    """Check values and invariants on this machine; exit 1 if one fails."""
    from chem.laboratory.selfcheck import self_check
    from chem.sheets.laboratory import selfcheck_json, selfcheck_text

    result = self_check()
    say(selfcheck_json(result) if as_json else selfcheck_text(result), nl=as_json)
    if not result.passed:
        raise typer.Exit(Exit.FAILED_CHECK)
