"""`jarsight tables`: every constant with its source."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from chem.cli.options import JsonOption
from chem.cli.saying import say


def tables_command(
    words: Annotated[
        list[str] | None, typer.Argument(metavar="WORDS", help="What must be mentioned.")
    ] = None,
    kind: Annotated[
        list[str] | None,
        typer.Option(help="Only a table (solids) or a kind (estimate). Repeatable."),
    ] = None,
    missing: Annotated[
        bool, typer.Option("--missing", help="Only what no constant is known of.")
    ] = False,
    schemas: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Write the JSON Schemas of what --json prints there."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Every constant with unit, uncertainty, range and source."""
    if schemas is not None:
        _write_schemas(schemas, alone=not (words or kind or as_json))
        return
    from chem.laboratory import find_entries, summary
    from chem.reference.fingerprint import fingerprint
    from chem.sheets.laboratory import summary_text, tables_json, tables_text

    entries = find_entries(words or (), [*(kind or ()), *(("missing",) if missing else ())])
    if as_json:
        say(tables_json(entries, summary(), fingerprint()))
    elif words or kind or missing:
        say(tables_text(entries), nl=False)
    else:
        say(summary_text(summary(), fingerprint()), nl=False)


def _write_schemas(folder: Path, *, alone: bool) -> None:
    from chem.cli.schemas import write_schemas
    from chem.errors import InputProblem, Problem

    if not alone:
        wrong = "it writes files and shows no constants"
        instead = "--schemas DIR alone, or the rest without it"
        raise InputProblem(Problem("command line, --schemas", wrong, instead))
    for path in write_schemas(folder):
        say(f"Written: {path}")
