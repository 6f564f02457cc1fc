"""`jarsight why`: what comes out, and from whose ions."""

from __future__ import annotations

from functools import partial

from chem.cli.answer import Answering, answers
from chem.cli.options import ForOption


@answers()
def why_command(
    asked: Answering,
    judged_at: ForOption = "4h",
) -> None:
    """What comes out, from whose ions, what holds it back."""
    from chem.advice.why import why
    from chem.sheets.why import why_json, why_sheet

    result = why(asked.mix, judged_at=judged_at, study=asked.known.study)
    number = partial(asked.known.number_for, asked.mix, result.refused)
    sheet, told = partial(why_sheet, result, asked.units), partial(why_json, result, asked.learned)
    asked.give(asked.noted(sheet), told, number=number)
