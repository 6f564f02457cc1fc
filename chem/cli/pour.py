"""`jarsight pour`: the order least likely to cloud."""

from __future__ import annotations

from functools import partial

from chem.cli.answer import give
from chem.cli.mixes import Asked, takes_mix
from chem.cli.options import (
    DrawsOption,
    HtmlOption,
    JsonOption,
    SeedOption,
    UnitsOption,
)


@takes_mix
def pour_command(
    asked: Asked,
    html: HtmlOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = "both",
    draws: DrawsOption = 64,
    seed: SeedOption = 1,
) -> None:
    """The order least likely to cloud, step by step."""
    from chem.advice.pour import pour
    from chem.sheets.pour import pour_json, pour_sheet

    result = pour(asked.mix, count=draws, seed=seed)
    give(partial(pour_sheet, result, units), partial(pour_json, result, units), as_json, html)
