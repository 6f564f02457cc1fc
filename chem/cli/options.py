"""Options that several commands take, each declared once."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

Units = Literal["us", "metric", "both"]
JsonOption = Annotated[bool, typer.Option("--json", help="Print the JSON object instead.")]
UnitsOption = Annotated[Units, typer.Option(help="Units on the sheet.")]
LotOption = Annotated[list[str] | None, typer.Option("--lot", help="NAME=LOT, once per product.")]
DrawsOption = Annotated[
    int, typer.Option(min=16, max=20000, help="Versions of the tank that are tried.")
]
SeedOption = Annotated[int, typer.Option(min=0, help="Seed of the draws.")]
ForOption = Annotated[
    Literal["15min", "4h", "24h"], typer.Option("--for", help="How long it must stay clear.")
]
HtmlOption = Annotated[
    Path | None, typer.Option(metavar="FILE", help="Also write the sheet as one page.")
]
NotebookOption = Annotated[
    Path | None,
    typer.Option("--notebook", metavar="FILE", help="The notebook, where not the shed's own."),
]
NoNotebookOption = Annotated[
    bool, typer.Option("--no-notebook", help="By the labels alone, and nothing is written.")
]
