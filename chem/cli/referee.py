"""`--referee`: our solver beside PHREEQC."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from chem.cli.exits import Exit
from chem.cli.saying import say

if TYPE_CHECKING:
    from chem.forecast import RefereeReport


def must_have_referee() -> None:
    """Say how to get PHREEQC before anything is worked out. Raises: InputProblem without it."""
    from chem.equilibrium.referee import phreeqc

    phreeqc()


def tell_referee(found: RefereeReport) -> None:
    """What PHREEQC says, beside the answer; exit 1 where it disagrees."""
    say(str(found), err=True)
    if not found.agrees:
        raise typer.Exit(Exit.FAILED_CHECK)
