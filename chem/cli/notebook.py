"""`jarsight notebook`: what was tried and seen; records; how good the forecasts were."""

from __future__ import annotations

from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from chem.cli.answer import give
from chem.cli.exits import Exit
from chem.cli.options import DrawsOption, HtmlOption, JsonOption, NotebookOption, SeedOption
from chem.cli.outputs import guarded
from chem.cli.saying import say

if TYPE_CHECKING:
    from chem.notebook import Notebook

app = typer.Typer(
    help="What was tried and seen: list, wall, season, next, score, export, import, check.",
    no_args_is_help=True,
)
FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="A notebook or its export.")]
InOption = Annotated[Path, typer.Option("--in", metavar="DIR", help="The shed's folder.")]


def _book(folder: Path, named: Path | None) -> Notebook:
    """The notebook in reach. Raises: InputProblem where there is none."""
    from chem.cli.noting import notebook_of
    from chem.errors import InputProblem, Problem

    book = notebook_of(folder, named)
    if not book.exists:
        wrong, instead = "there is no notebook yet", "`jarsight saw MIX` begins one"
        raise InputProblem(Problem(f"`{book.path}`", wrong, instead))
    return book


@app.command("list")
@guarded
def list_command(
    words: Annotated[
        list[str] | None, typer.Argument(metavar="[WORD...]", help="Only entries with all of them.")
    ] = None,
    folder: InOption = Path(),
    notebook: NotebookOption = None,
    as_json: JsonOption = False,
) -> None:
    """Every entry, or those that hold all the words asked for."""
    from chem.notebook.search import search
    from chem.sheets.records import list_json, list_sheet

    found = search(_book(folder, notebook).entries(), words or [])
    give(partial(list_sheet, found), partial(list_json, found), as_json)


@app.command("wall")
@guarded
def wall_command(
    folder: InOption = Path(),
    notebook: NotebookOption = None,
    html: HtmlOption = None,
    as_json: JsonOption = False,
    draws: DrawsOption = 64,
    seed: SeedOption = 1,
) -> None:
    """A page for the shed wall: works, doesn't, not tried."""
    from chem.cli.noting import what_it_teaches
    from chem.notebook.wall import wall
    from chem.sheets.records import wall_json, wall_sheet

    book = _book(folder, notebook)
    known = what_it_teaches(book, draws, seed)
    found = wall(known.kept, book.numbers(), known.study)
    give(partial(wall_sheet, found), partial(wall_json, found), as_json, html)


@app.command("season")
@guarded
def season_command(
    site: Annotated[str | None, typer.Option(help="One site alone.")] = None,
    first: Annotated[str | None, typer.Option("--from", help="First day: 2026-03-01.")] = None,
    last: Annotated[str | None, typer.Option("--to", help="Last day.")] = None,
    cap: Annotated[
        list[str] | None,
        typer.Option(metavar="NUTRIENT=RATE", help='Not to be passed: "N=4 lb/1000 sq ft".'),
    ] = None,
    csv: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Also write it for a spreadsheet.")
    ] = None,
    folder: InOption = Path(),
    notebook: NotebookOption = None,
    html: HtmlOption = None,
    as_json: JsonOption = False,
) -> None:
    """Records and sums of a season, against caps that you enter."""
    from chem.files.writing import write_text
    from chem.notebook.season import read_cap, season
    from chem.sheets.records import season_csv, season_json, season_sheet

    found = season(
        _book(folder, notebook).entries(),
        site=site,
        first=_day(first, "--from"),
        last=_day(last, "--to"),
        caps=[read_cap(text) for text in cap or []],
    )
    if csv is not None:
        write_text(csv, season_csv(found))
        say(f"Table written: {csv}", err=True)
    give(partial(season_sheet, found), partial(season_json, found), as_json, html)


def _day(text: str | None, option: str) -> date | None:
    from chem.errors import InputProblem, Problem

    try:
        return None if text is None else date.fromisoformat(text.strip())
    except ValueError:
        raise InputProblem(
            Problem(f"command line, {option} = {text!r}", "no day", "2026-03-01")
        ) from None


@app.command("next")
def next_command(
    folder: InOption = Path(),
    notebook: NotebookOption = None,
    as_json: JsonOption = False,
    draws: DrawsOption = 64,
    seed: SeedOption = 1,
) -> None:
    """The jar or reading that would teach most, and why."""
    from chem.cli.noting import what_it_teaches
    from chem.notebook.wall import teach_most
    from chem.sheets.records import next_json, next_sentence

    known = what_it_teaches(_book(folder, notebook), draws, seed)
    found = teach_most(known.kept, known.study)
    say(next_json(found) if as_json else next_sentence(found))


@app.command("score")
def score_command(
    chemist: Annotated[bool, typer.Option("--chemist", help="Brier, log score, ranges.")] = False,
    folder: InOption = Path(),
    notebook: NotebookOption = None,
    as_json: JsonOption = False,
) -> None:
    """How good the forecasts were: of the tanks called clear, how many were."""
    from chem.notebook.score import score
    from chem.sheets.records import score_json, score_sheet

    found = score(_book(folder, notebook).kept())
    give(partial(score_sheet, found, chemist=chemist), partial(score_json, found), as_json)


@app.command("export")
@guarded
def export_command(
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Into a file, not on the screen.")
    ] = None,
    folder: InOption = Path(),
    notebook: NotebookOption = None,
) -> None:
    """Everything as one JSON object."""
    from chem.files.writing import write_text

    text = _book(folder, notebook).export()
    if out is None:
        say(text)
    else:
        write_text(out, text)
        say(f"Written: {out}", err=True)


@app.command("import")
def import_command(
    file: FileArgument,
    same_shed: Annotated[
        bool, typer.Option("--same-shed", help="It is of this shed, and counts in full.")
    ] = False,
    remove: Annotated[
        bool, typer.Option("--remove", help="Leave out again what that shed brought.")
    ] = False,
    folder: InOption = Path(),
    notebook: NotebookOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take in another notebook, its export, or the lines of an earlier version; twice adds
    nothing."""
    from chem.cli.noting import notebook_of
    from chem.sheets.records import imported_json, imported_sentence

    if remove:
        count = _book(folder, notebook).hide(file)
        say(f"{count} entries are left out; importing it again brings them back.")
        return
    done = notebook_of(folder, notebook).take_in(file, same_shed=same_shed)
    for problem in done.unread:
        say(str(problem), err=True)
    say(imported_json(done) if as_json else imported_sentence(done))


@app.command("check")
def check_command(
    yes: Annotated[bool, typer.Option("--yes", help="Merge copies without asking.")] = False,
    folder: InOption = Path(),
    notebook: NotebookOption = None,
    as_json: JsonOption = False,
) -> None:
    """Whether every entry can be read, readings that look wrong; merges copies that two machines
    left."""
    from chem.cli.noting import answer
    from chem.notebook.learning import learn_from
    from chem.sheets.records import check_json, check_lines, imported_sentence

    book = _book(folder, notebook)
    found = book.check()
    asked = () if found.unread else tuple(learn_from(book)[1].readings.asked)
    told = check_json(found, asked) if as_json else "\n".join(check_lines(found, asked))
    say(told)
    for copy in found.copies:
        typed = "yes" if yes else answer(None, f"Merge {copy.name}? (yes or no)", str)
        if typed.strip().lower() == "yes":
            say(imported_sentence(book.take_in(copy)), err=as_json)
    if found.wrong or found.unread:
        raise typer.Exit(Exit.FAILED_CHECK)
