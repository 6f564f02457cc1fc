"""`jarsight pour`: the order least likely to cloud."""

from __future__ import annotations

from functools import partial

from chem.cli.answer import Answering, answers


@answers(draws=64)
def pour_command(
    asked: Answering,
) -> None:
    """The order least likely to cloud, step by step."""
    from chem.advice.pour import pour
    from chem.sheets.pour import pour_json, pour_sheet
    from chem.tank import in_order

    known = asked.known
    result = pour(asked.mix, study=known.study)
    order = result.advised
    number = None
    if order is not None and not result.forbidden:
        number = known.number_for(in_order(asked.mix, order.indices), result.refused)
    sheet = partial(pour_sheet, result, asked.units, number, known.sump(asked.mix))
    told = partial(pour_json, result, asked.units, number, asked.learned)
    asked.give(asked.noted(sheet), told, number=lambda: number)
