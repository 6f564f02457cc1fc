"""The jar sheet as the JSON object of the contract."""

from __future__ import annotations

from collections.abc import Sequence

from chem.advice.jar import Jar
from chem.notebook.tried import Told
from chem.sheets.as_json import as_json
from chem.sheets.contract import tank as contract
from chem.sheets.contract.parts import Between
from chem.sheets.jar import (
    ORDERS,
    between,
    blanks,
    cautions,
    fine,
    fumes,
    look_text,
    notes,
    step_lines,
)
from chem.sheets.notebook import learned_entries
from chem.sheets.rules import rules_json
from chem.units import Units


def jar_json(
    result: Jar, units: Units = "both", number: str | None = None, told: Told | None = None
) -> str:
    """The JSON object of the contract; told: what the notebook says of the mix."""
    return as_json(jar_entry(result, units, number, told))


def jar_entry(
    result: Jar,
    units: Units = "both",
    number: str | None = None,
    told: Told | None = None,
    *,
    jars: Sequence[contract.JarBeside] = (),
    ladder: contract.LadderEntry | None = None,
) -> contract.Jar:
    """The object; jars, ladder: where there are any."""
    found = result.forecast
    return contract.Jar(
        mix=found.mix.name,
        **rules_json(found.rules, found.mix, found.refused),
        jar_mL=result.jar_mL,
        vessel_mL=result.vessel_mL,
        order=ORDERS[result.order],
        steps=step_lines(result, units),
        look=[
            contract.LookEntry(minutes=look.minutes, what_for=look_text(look))
            for look in result.looks
        ],
        between=between(result),
        fine=fine(result),
        gases=fumes(result),
        ph=Between(p05=found.ph.p05, p95=found.ph.p95),
        cautions=cautions(result),
        notes=notes(result, units),
        scale=result.scale,
        number=number,
        blanks=blanks(result),
        jars=jars,
        ladder=ladder,
        learned=learned_entries(told),
    )
