"""The chemists' commands: one solution, every constant, and the self-check."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from chem.cli.exits import Exit

if TYPE_CHECKING:
    from chem.forecast import RefereeReport

PANEL = "For chemists"

_Json = Annotated[bool, typer.Option("--json", help="Print the JSON object instead.")]


def add_to(app: typer.Typer) -> None:
    """Register the commands."""
    app.command("solution", rich_help_panel=PANEL)(solution_command)
    app.command("tables", rich_help_panel=PANEL)(tables_command)
    app.command("selfcheck", rich_help_panel=PANEL)(selfcheck_command)


def solution_command(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A solution file (TOML).")],
    saturate: Annotated[
        list[str] | None,
        typer.Option(metavar="SOLID", help="In unlimited excess; no other forms. Repeatable."),
    ] = None,
    let_settle: Annotated[
        bool, typer.Option("--settle", help="Let every prompt solid form.")
    ] = False,
    ph: Annotated[
        str | None, typer.Option(metavar="VALUE", help='A given pH, or "charge".')
    ] = None,
    temperature: Annotated[str | None, typer.Option(help='Try another: "10 C".')] = None,
    odds: Annotated[
        bool, typer.Option("--odds", help="Chance that solids show, from 1 min to 30 days.")
    ] = False,
    draws: Annotated[int, typer.Option(help="With --odds: how many draws.", min=1)] = 256,
    seed: Annotated[int, typer.Option(help="With --odds: where the draws start.", min=0)] = 1,
    everything: Annotated[
        bool, typer.Option("--all", help="Traces and far undersaturated solids as well.")
    ] = False,
    referee: Annotated[
        bool, typer.Option("--referee", help="Check our solver against PHREEQC.")
    ] = False,
    as_json: _Json = False,
) -> None:
    """pH, species, activities and saturation of one solution."""
    from chem.laboratory import change_recipe, equilibrate, read_recipe, referee_solution
    from chem.sheets import as_text
    from chem.sheets.laboratory import solution_json, solution_sheet

    if referee:
        must_have_referee()
    recipe = change_recipe(read_recipe(file), ph=ph, temperature=temperature)
    result = equilibrate(recipe, saturate=saturate or (), let_settle=let_settle)
    chances = None
    if odds:
        from chem.laboratory.odds import solution_odds

        chances = solution_odds(recipe, count=draws, seed=seed)
    if as_json:
        typer.echo(solution_json(result, chances))
    else:
        typer.echo(as_text(solution_sheet(result, chances, everything=everything)), nl=False)
    if referee:
        tell_referee(referee_solution(result))


def must_have_referee() -> None:
    """Say how to get PHREEQC before anything is worked out. Raises: InputProblem without it."""
    from chem.equilibrium.referee import phreeqc

    phreeqc()


def tell_referee(found: RefereeReport) -> None:
    """What PHREEQC says, beside the answer; exit 1 where it disagrees."""
    typer.echo(str(found), err=True)
    if not found.agrees:
        raise typer.Exit(Exit.FAILED_CHECK)


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
    as_json: _Json = False,
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
        typer.echo(tables_json(entries, summary(), fingerprint()))
    elif words or kind or missing:
        typer.echo(tables_text(entries), nl=False)
    else:
        typer.echo(summary_text(summary(), fingerprint()), nl=False)


def _write_schemas(folder: Path, *, alone: bool) -> None:
    from chem.cli.schemas import write_schemas
    from chem.errors import InputProblem, Problem

    if not alone:
        wrong = "it writes files and shows no constants"
        instead = "--schemas DIR alone, or the rest without it"
        raise InputProblem(Problem("command line, --schemas", wrong, instead))
    for path in write_schemas(folder):
        typer.echo(f"Written: {path}")


def selfcheck_command(as_json: _Json = False) -> None:
    """Check values and invariants on this machine; exit 1 if one fails."""
    from chem.laboratory.selfcheck import self_check
    from chem.sheets.laboratory import selfcheck_json, selfcheck_text

    result = self_check()
    typer.echo(selfcheck_json(result) if as_json else selfcheck_text(result), nl=as_json)
    if not result.passed:
        raise typer.Exit(Exit.FAILED_CHECK)
