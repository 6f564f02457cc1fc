"""`jarsight diagnose`: it went wrong."""

from __future__ import annotations

from functools import partial
from typing import Annotated

import typer

from chem.cli.answer import Answering, answers


@answers(draws=512)
def diagnose_command(
    asked: Answering,
    seen: Annotated[str, typer.Option(help="What was seen: haze, flakes, gel ...")],
    after: Annotated[
        str, typer.Option(help="How long after the last pour: minutes, or 2h.")
    ] = "15",
    ph: Annotated[str | None, typer.Option(help="pH on the strip.")] = None,
    poured: Annotated[
        int | None, typer.Option(min=1, help="How many of the products were in by then.")
    ] = None,
) -> None:
    """It went wrong: what is it, will anything bring it back."""
    from chem.advice.diagnose import diagnose
    from chem.forecast import read_after, read_seen
    from chem.sheets.diagnose import diagnose_json, diagnose_sheet
    from chem.units import read_ph

    result = diagnose(
        asked.mix,
        seen=read_seen(seen, "command line, --seen"),
        after_min=read_after(after, "command line, --after") / 60.0,
        ph=None if ph is None else read_ph(ph, "command line, --ph").value,
        poured=poured,
        study=asked.known.study,
    )
    number = partial(asked.known.number_for, asked.mix, result.refused)
    sheet, told = (
        partial(diagnose_sheet, result, asked.units),
        partial(diagnose_json, result, asked.units),
    )
    asked.give(sheet, told, number=number)
