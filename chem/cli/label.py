"""`jarsight label`: what a label holds in ions, and whether it adds up."""

from __future__ import annotations

import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from chem.cli.answer import give
from chem.cli.options import DrawsOption, HtmlOption, JsonOption, SeedOption, UnitsOption
from chem.cli.owned import beside_owned_of
from chem.cli.saying import say

if TYPE_CHECKING:
    from chem.label import Product


def label_command(
    product: Annotated[
        Path | None,
        typer.Argument(metavar="PRODUCT", help="A product file; with --paste, its name."),
    ] = None,
    paste: Annotated[
        str | None,
        typer.Option(metavar="FILE|-", help="A label's text as printed, or - to type it in."),
    ] = None,
    photo: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="A picture of the label, read by tesseract."),
    ] = None,
    name: Annotated[str, typer.Option(help="With --paste: the product's name, too.")] = "",
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="With --paste: write the product file.")
    ] = None,
    coldest: Annotated[str, typer.Option(help='How cold the shed gets: "20 F".')] = "41 F",
    html: HtmlOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = "both",
    draws: DrawsOption = 256,
    seed: SeedOption = 1,
) -> None:
    """What does this label hold in ions; does it add up?"""
    from chem.advice.jug import jug
    from chem.errors import InputProblem, Problem
    from chem.files import find_file, is_file
    from chem.files.writing import write_text
    from chem.label import read_product
    from chem.sheets.buying import buying_json
    from chem.sheets.jug import jug_json, jug_sheet
    from chem.sheets.shelf import beside_owned
    from chem.units import read_temperature

    cold = read_temperature(coldest, "command line, --coldest")
    read_anew = paste is not None or photo is not None
    if product is not None and read_anew and not name and not is_file(product):
        name, product = str(product), None  # as `new water NAME --paste` has it
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
        from chem.files.kept import note
        from chem.label.paste import read_paste
        from chem.label.photo import read_photo
        from chem.sheets.paste import paste_remarks, read_back

        unsure: list[str] = []
        if photo is not None:
            note(photo)
            text, unsure = read_photo(photo)
        else:
            text = pasted_text(paste or "-")
        pasted = read_paste(text, name or "Product of a pasted label")
        watched = sys.stdout.isatty()
        for remark in [
            *(read_back(text, pasted) if watched else paste_remarks(pasted)),
            *unsure,
        ]:
            say(remark, err=True)
        if out is not None:
            write_text(out, pasted.toml)
            say(f"Product file written: {out}", err=True)
        if not as_json:
            say(pasted.toml, nl=False)
            return
        read = _read_text(pasted.toml)
    else:
        found = (
            product if is_file(product) else find_file(str(product), Path(), "products", "product")
        )
        read = read_product(found)
    result = jug(read, count=draws, seed=seed, coldest_celsius=cold)
    owned = None if product is None else beside_owned_of(found)
    more = [] if owned is None else beside_owned(*owned, units)
    told = [] if owned is None else buying_json(owned[1])
    give(partial(jug_sheet, result, units, more), partial(jug_json, result, told), as_json, html)


def _read_text(toml: str) -> Product:
    """A product from the text of its file."""
    import tempfile

    from chem.label import read_product

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "pasted.toml"
        path.write_text(toml, encoding="utf-8")
        return read_product(path)
