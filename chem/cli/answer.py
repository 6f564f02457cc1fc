"""An answer goes out: the sheet or its JSON on stdout, the page into a file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from chem.cli.saying import say

if TYPE_CHECKING:
    from chem.sheets.blocks import Sheet


def give(
    sheet: Callable[[], Sheet],
    told: Callable[[], str],
    as_json: bool,
    html: Path | None = None,
    page: Callable[[], str] | None = None,
    number: Callable[[], str | None] | None = None,
) -> None:
    """Print the sheet, or `told`, its JSON object, where that is asked for; write the page first.

    page: the whole of it, where it holds more than the sheet; number: the page's own, by which
    `saw` knows the mix again. Raises: InputProblem where the page can't be written.
    """
    from chem.sheets.blocks import as_text

    write_page(sheet, html, page, number)
    if as_json:
        say(told())
    else:
        say(as_text(sheet()), nl=False)


def write_page(
    sheet: Callable[[], Sheet],
    html: Path | None,
    page: Callable[[], str] | None = None,
    number: Callable[[], str | None] | None = None,
) -> None:
    """Write the page where a file is given. Raises: InputProblem."""
    from chem.files.writing import write_text
    from chem.sheets.page import as_html

    if html is not None:
        own = None if number is None else number()
        write_text(html, as_html(sheet(), number=own or "") if page is None else page())
        say(f"Page written: {html}", err=True)
