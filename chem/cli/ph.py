"""`jarsight ph`: how much acid or base, and is the adjuvant suited."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from chem.cli.answer import Answering, answers
from chem.cli.mixes import take
from chem.cli.options import ForOption
from chem.cli.owned import own_products
from chem.cli.saying import say

if TYPE_CHECKING:
    from chem.advice.agents import Reagent
    from chem.label import Product


@answers()
def ph_command(
    asked: Answering,
    to: Annotated[
        str | None,
        typer.Option(
            "--to",
            metavar="PH",
            help="The pH wanted, such as 5.0; without it, which adjuvants the tank suits.",
        ),
    ] = None,
    agent: Annotated[
        str | None,
        typer.Option(
            "--with",
            metavar="AGENT",
            help='Such as "citric acid", "phosphoric acid", "potassium carbonate", or the file '
            "of a product. Strong ones only by name.",
        ),
    ] = None,
    shelf: Annotated[
        Path | None,
        typer.Option("--in", metavar="DIR", help="Without --to: a folder's adjuvants as well."),
    ] = None,
    strength: Annotated[
        str | None,
        typer.Option(help='What the jug or bag says: "50 %", "dry", "monohydrate".'),
    ] = None,
    judged_at: ForOption = "4h",
    svg: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Also draw the titration curve.")
    ] = None,
    keep: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Also write the agent as a product file for the mix."),
    ] = None,
    take_it: Annotated[
        bool, typer.Option("--take", help="Write the dose into the mix, poured where it was tried.")
    ] = False,
) -> None:
    """How much acid or base; is the adjuvant suited."""
    from chem.advice.agents import choose_agent, product_file
    from chem.advice.ph import adjust
    from chem.errors import InputProblem, Problem
    from chem.files.writing import write_texts
    from chem.label import read_shelf
    from chem.sheets.ph import ph_sheet
    from chem.sheets.ph_data import ph_json
    from chem.sheets.titration import curve_svg
    from chem.units import read_ph

    if to is None:
        reagents = [] if agent is None else [choose_agent(agent, strength, asked.beside)]
        for option, value in (("--svg", svg), ("--keep", keep), ("--take", take_it or None)):
            if value is not None:
                raise InputProblem(Problem(option, "goes with one pH", f"`{option}` with `--to`"))
        shed = own_products(asked.beside) if shelf is None else read_shelf(shelf)
        _tell_adjuvants(asked, shed, reagents)
        return
    if agent is None:
        raise InputProblem(
            Problem("command line, --with", "an acid or base is wanted", '`--with "citric acid"`')
        )
    given = read_ph(to, "--to")
    if not given.single:
        raise InputProblem(Problem(f'--to = "{to}"', "one pH is wanted", f"such as {given.low:g}"))
    reagent = choose_agent(agent, strength, asked.beside)
    study = asked.known.study
    result = adjust(asked.mix, given.value, reagent, judged_at=judged_at, study=study)
    files = {}
    if svg is not None:
        files[svg] = curve_svg(result, asked.units)
    if keep is not None and reagent.agent is not None:
        files[keep] = product_file(reagent)
    write_texts(files)
    if svg is not None:
        say(f"Curve drawn: {svg}", err=True)
    if keep in files:
        say(f"Product written: {keep}", err=True)
    elif keep is not None:
        say(f"Not written: {reagent.name} has its product file already", err=True)
    if take_it:
        if not result.dose_g_per_L or result.refused:
            wrong, instead = "no dose to write into the mix", "another agent or target"
            raise InputProblem(Problem("command line, --take", wrong, instead))
        take(asked, result.dosed, reagent)
    sheet = asked.noted(partial(ph_sheet, result, asked.units))
    asked.give(sheet, partial(ph_json, result, asked.units, asked.learned))


def _tell_adjuvants(asked: Answering, shelf: Sequence[Product], reagents: list[Reagent]) -> None:
    """Every adjuvant of the mix, and of a shelf, beside the tank, and which acid or base of the
    shelf, or else a mild one, leads there."""
    from chem.advice.agents import mild_reagents, shelf_agents
    from chem.advice.suited import suiting
    from chem.sheets.suited import suited_json, suited_sheet
    from chem.tank import window_of

    mine = {a.product.name for a in asked.mix.additions}
    windows = [window_of(p) for p in shelf if p.form == "adjuvant" and p.name not in mine]
    reagents = reagents or [*shelf_agents(shelf), *mild_reagents()]
    result = suiting(asked.mix, windows, reagents=reagents, study=asked.known.study)
    sheet, told = partial(suited_sheet, result), partial(suited_json, result)
    asked.give(partial(sheet, asked.units), partial(told, asked.units))
