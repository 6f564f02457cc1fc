"""`jarsight rinse`: from one tank to the next."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from chem.cli.answer import give
from chem.cli.options import (
    DrawsOption,
    HtmlOption,
    JsonOption,
    NoNotebookOption,
    NotebookOption,
    SeedOption,
    UnitsOption,
)


def rinse_command(
    before: Annotated[Path, typer.Argument(metavar="FROM", help="The mix that was sprayed.")],
    after: Annotated[Path, typer.Argument(metavar="TO", help="The mix that comes next.")],
    sump: Annotated[
        str | None,
        typer.Option(help='What stays in sump and hoses once drained: "1 gal".'),
    ] = None,
    html: HtmlOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = "both",
    notebook: NotebookOption = None,
    no_notebook: NoNotebookOption = False,
    draws: DrawsOption = 64,
    seed: SeedOption = 1,
) -> None:
    """What must not meet in hose and sump, how many rinses."""
    from chem.advice.rinse import rinsing
    from chem.cli.noting import known_of
    from chem.sheets.rinse import rinse_json, rinse_sheet
    from chem.tank import read_mix
    from chem.units import read_volume

    stays = None if sump is None else read_volume(sump, "command line, --sump")
    known = known_of(after, notebook, no_notebook, draws, seed)
    result = rinsing(read_mix(before), read_mix(after), sump_L=stays, study=known.study)
    give(partial(rinse_sheet, result, units), partial(rinse_json, result, units), as_json, html)
