"""`jarsight pour`: the order least likely to cloud."""

from __future__ import annotations

from functools import partial

from chem.cli.answer import give
from chem.cli.mixes import Asked, takes_mix
from chem.cli.options import (
    DrawsOption,
    HtmlOption,
    JsonOption,
    NoNotebookOption,
    NotebookOption,
    SeedOption,
    UnitsOption,
)


@takes_mix
def pour_command(
    asked: Asked,
    html: HtmlOption = None,
    notebook: NotebookOption = None,
    no_notebook: NoNotebookOption = False,
    as_json: JsonOption = False,
    units: UnitsOption = "both",
    draws: DrawsOption = 64,
    seed: SeedOption = 1,
) -> None:
    """The order least likely to cloud, step by step."""
    from chem.advice.pour import pour
    from chem.cli.noting import known_of
    from chem.sheets.pour import pour_json, pour_sheet
    from chem.tank import in_order

    known = known_of(asked.path or asked.beside, notebook, no_notebook, draws, seed)
    result = pour(asked.mix, study=known.study)
    order = result.advised
    number = None
    if order is not None and not result.forbidden:
        number = known.number_for(in_order(asked.mix, order.indices), result.refused)
    sheet = partial(pour_sheet, result, units, number, known.sump(asked.mix))
    told = partial(pour_json, result, units, number)
    give(sheet, told, as_json, html, number=lambda: number)
