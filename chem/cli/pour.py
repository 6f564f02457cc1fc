"""`jarsight pour`: the order least likely to cloud."""

from __future__ import annotations

from functools import partial

from chem.cli.answer import give
from chem.cli.options import (
    DrawsOption,
    HtmlOption,
    JsonOption,
    MixArgument,
    SeedOption,
    UnitsOption,
)


def pour_command(
    mix: MixArgument,
    html: HtmlOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = "both",
    draws: DrawsOption = 64,
    seed: SeedOption = 1,
) -> None:
    """The order least likely to cloud, step by step."""
    from chem.advice.pour import pour
    from chem.sheets.pour import pour_json, pour_sheet
    from chem.tank import read_mix

    result = pour(read_mix(mix), count=draws, seed=seed)
    give(partial(pour_sheet, result, units), partial(pour_json, result, units), as_json, html)
