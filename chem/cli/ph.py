"""`jarsight ph`: how much acid or base, and is the adjuvant suited."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from chem.cli.answer import give
from chem.cli.options import (
    DrawsOption,
    ForOption,
    HtmlOption,
    JsonOption,
    MixArgument,
    SeedOption,
    UnitsOption,
)


def ph_command(
    mix: MixArgument,
    to: Annotated[str, typer.Option("--to", metavar="PH", help="The pH wanted, such as 5.0.")],
    agent: Annotated[
        str,
        typer.Option(
            "--with",
            metavar="AGENT",
            help='Such as "citric acid", "phosphoric acid", "potassium carbonate", or the file '
            "of a product. Strong ones only by name.",
        ),
    ],
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
    html: HtmlOption = None,
    as_json: JsonOption = False,
    units: UnitsOption = "both",
    draws: DrawsOption = 256,
    seed: SeedOption = 1,
) -> None:
    """How much acid or base; is the adjuvant suited."""
    from chem.advice.agents import choose_agent, product_file
    from chem.advice.ph import adjust
    from chem.errors import InputProblem, Problem
    from chem.files.writing import write_texts
    from chem.sheets.ph import curve_svg, ph_json, ph_sheet
    from chem.tank import read_mix
    from chem.units import read_ph

    wanted = read_mix(mix)
    given = read_ph(to, "--to")
    if not given.single:
        raise InputProblem(Problem(f'--to = "{to}"', "one pH is wanted", f"such as {given.low:g}"))
    reagent = choose_agent(agent, strength, mix.parent)
    result = adjust(wanted, given.value, reagent, judged_at=judged_at, count=draws, seed=seed)
    files = {}
    if svg is not None:
        files[svg] = curve_svg(result, units)
    if keep is not None and reagent.agent is not None:
        files[keep] = product_file(reagent)
    write_texts(files)
    if svg is not None:
        typer.echo(f"Curve drawn: {svg}", err=True)
    if keep in files:
        typer.echo(f"Product written: {keep}", err=True)
    elif keep is not None:
        typer.echo(f"Not written: {reagent.name} has its product file already", err=True)
    give(partial(ph_sheet, result, units), partial(ph_json, result, units), as_json, html)
