"""An answer goes out: the sheet or its JSON on stdout, the page into a file.

`@answers` gives a command that answers about a mix what all of them take: MIX and a quick mix's
options, the notebook, draws and seed, and how the answer goes out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Concatenate, ParamSpec

from chem.cli.mixes import Asked, ShedUnits, units_of, with_options
from chem.cli.options import (
    DrawsOption,
    HtmlOption,
    JsonOption,
    NoNotebookOption,
    NotebookOption,
    SeedOption,
    Units,
)
from chem.cli.saying import say

if TYPE_CHECKING:
    from chem.cli.noting import Known
    from chem.notebook.tried import Told
    from chem.sheets.blocks import Sheet

P = ParamSpec("P")


@dataclass(frozen=True, kw_only=True)
class Answering(Asked):
    """A mix that is asked about, by which notebook and draws, and how the answer goes out."""

    html: Path | None
    notebook: Path | None
    no_notebook: bool
    as_json: bool
    units: Units
    draws: int
    seed: int

    @cached_property
    def known(self) -> Known:
        """What the notebook in reach teaches. Raises: InputProblem where it can't be read."""
        from chem.cli.noting import known_of

        beside = self.path or self.beside
        return known_of(beside, self.notebook, self.no_notebook, self.draws, self.seed)

    @cached_property
    def learned(self) -> Told | None:
        """What the notebook says of the mix; None where it holds nothing."""
        return self.known.told_of_mix(self.mix)

    def noted(self, sheet: Callable[[], Sheet]) -> Callable[[], Sheet]:
        """A sheet of advice with what the notebook says of the mix."""
        from chem.sheets.notebook import noted

        return lambda: noted(sheet(), self.learned)

    def give(
        self,
        sheet: Callable[[], Sheet],
        told: Callable[[], str],
        page: Callable[[], str] | None = None,
        number: Callable[[], str | None] | None = None,
    ) -> None:
        """As `give`, the way that was asked for."""
        give(sheet, told, self.as_json, self.html, page, number)


def answers(
    draws: int = 256,
) -> Callable[[Callable[Concatenate[Answering, P], None]], Callable[..., None]]:
    """The command with MIX, a quick mix's options and those of every answer in place of its first
    parameter; draws: unless the user says another number."""
    more: dict[str, tuple[Any, Any]] = {
        "html": (HtmlOption, None),
        "notebook": (NotebookOption, None),
        "no_notebook": (NoNotebookOption, False),
        "as_json": (JsonOption, False),
        "units": (ShedUnits, None),
        "draws": (DrawsOption, draws),
        "seed": (SeedOption, 1),
    }

    def made(command: Callable[Concatenate[Answering, P], None]) -> Callable[..., None]:
        def run(asked: Asked, given: dict[str, Any]) -> None:
            way = {name: given.pop(name) for name in more}
            way["units"] = way["units"] or units_of(asked.beside)
            command(Answering(**vars(asked), **way), **given)  # type: ignore[call-arg]

        return with_options(command, run, more)

    return made


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
