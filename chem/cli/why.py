"""`jarsight why`: what comes out, and from whose ions."""

from __future__ import annotations

from functools import partial

from chem.cli.answer import give
from chem.cli.mixes import Asked, takes_mix
from chem.cli.options import (
    DrawsOption,
    ForOption,
    HtmlOption,
    JsonOption,
    NoNotebookOption,
    NotebookOption,
    SeedOption,
    UnitsOption,
)


@takes_mix
def why_command(
    asked: Asked,
    judged_at: ForOption = "4h",
    html: HtmlOption = None,
    notebook: NotebookOption = None,
    no_notebook: NoNotebookOption = False,
    as_json: JsonOption = False,
    units: UnitsOption = "both",
    draws: DrawsOption = 256,
    seed: SeedOption = 1,
) -> None:
    """What comes out, from whose ions, what holds it back."""
    from chem.advice.why import why
    from chem.cli.noting import known_of
    from chem.sheets.why import why_json, why_sheet

    known = known_of(asked.path or asked.beside, notebook, no_notebook, draws, seed)
    result = why(asked.mix, judged_at=judged_at, study=known.study)
    number = partial(known.number_for, asked.mix, result.refused)
    sheet, told = partial(why_sheet, result, units), partial(why_json, result)
    give(sheet, told, as_json, html, number=number)
