"""`jarsight label`: what a label holds in ions, and whether it adds up."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

if TYPE_CHECKING:
    from chem.label import Product

SHELF = "On the shelf"


def add_to(app: typer.Typer) -> None:
    """Register the command."""

    @app.command("label", rich_help_panel=SHELF)
    def label_command(
        product: Annotated[
            Path | None, typer.Argument(metavar="PRODUCT", help="A product file.")
        ] = None,
        paste: Annotated[
            str | None,
            typer.Option(metavar="FILE|-", help="A label's text as printed, or - to type it in."),
        ] = None,
        photo: Annotated[
            Path | None,
            typer.Option(metavar="FILE", help="A picture of the label, read by tesseract."),
        ] = None,
        name: Annotated[str, typer.Option(help="With --paste: the product's name.")] = "",
        out: Annotated[
            Path | None, typer.Option(metavar="FILE", help="With --paste: write the product file.")
        ] = None,
        coldest: Annotated[str, typer.Option(help='How cold the shed gets: "20 F".')] = "41 F",
        as_json: Annotated[bool, typer.Option("--json", help="Print the JSON object.")] = False,
        units: Annotated[
            Literal["us", "metric", "both"], typer.Option(help="Units on the sheet.")
        ] = "both",
        draws: Annotated[int, typer.Option(min=16, max=20000, help="Versions tried.")] = 256,
        seed: Annotated[int, typer.Option(min=0, help="Seed of the draws.")] = 1,
    ) -> None:
        """What does this label hold in ions; does it add up?"""
        from chem.advice.jug import jug
        from chem.cli.writing import write_text
        from chem.errors import InputProblem, Problem
        from chem.label import find_file, is_file, read_product
        from chem.sheets.blocks import as_text
        from chem.sheets.jug import jug_json, jug_sheet
        from chem.units import read_temperature

        cold = read_temperature(coldest, "command line, --coldest")
        if sum(given is not None for given in (product, paste, photo)) != 1:
            raise InputProblem(
                Problem(
                    "command line",
                    "one label is needed",
                    "a product file, --paste FILE (or - for standard input), or --photo FILE",
                )
            )
        if product is not None and (out is not None or name):
            raise InputProblem(
                Problem(
                    f"command line, {'--out' if out is not None else '--name'}",
                    "it goes with --paste only: a product file has its name already",
                    "the product file alone, or --paste FILE with it",
                )
            )
        if product is None:
            from chem.cli.reading import pasted_text
            from chem.label.paste import read_paste
            from chem.label.photo import read_photo
            from chem.sheets.paste import paste_remarks, read_back

            unsure: list[str] = []
            if photo is not None:
                text, unsure = read_photo(photo)
            else:
                text = pasted_text(paste or "-")
            pasted = read_paste(text, name or "Product of a pasted label")
            watched = sys.stdout.isatty()
            for remark in [
                *(read_back(text, pasted) if watched else paste_remarks(pasted)),
                *unsure,
            ]:
                typer.echo(remark, err=True)
            if out is not None:
                write_text(out, pasted.toml)
                typer.echo(f"Product file written: {out}", err=True)
            if not as_json:
                typer.echo(pasted.toml, nl=False)
                return
            read = _read_text(pasted.toml)
        else:
            found = (
                product
                if is_file(product)
                else find_file(str(product), Path(), "products", "product")
            )
            read = read_product(found)
        result = jug(read, count=draws, seed=seed, coldest_celsius=cold)
        typer.echo(jug_json(result) if as_json else as_text(jug_sheet(result, units)), nl=as_json)


def _read_text(toml: str) -> Product:
    """A product from the text of its file."""
    import tempfile

    from chem.label import read_product

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "pasted.toml"
        path.write_text(toml, encoding="utf-8")
        return read_product(path)
