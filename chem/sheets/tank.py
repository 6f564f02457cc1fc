"""What is poured: one table for every sheet, amounts also in jugs of the size on the label."""

from __future__ import annotations

from collections.abc import Sequence

from chem.sheets.contract.parts import LoadEntry, TankLine, tank_line
from chem.tank import WHOLE_JUG, Load, Mix, side_by_side
from chem.tank import TankLine as Line
from chem.units import Units, format_area, format_mass, format_volume

WATER = {
    "first": "water, half of it, stirring",
    "all": "water, all of it, stirring",
    "last": "water to the mark",
}
AT_ITS_LABELS = "at its label's rate"


def line_name(line: Line) -> str:
    """What is poured, in words."""
    return WATER[line.share] if line.kind == "water" else line.product


def line_text(line: Line, units: Units) -> str:
    """How much of it: `100 fl oz (2.96 L)`, with jugs where it takes whole ones."""
    if line.amount is None:
        return AT_ITS_LABELS
    if line.by_mass:
        text = format_mass(line.amount / 1000.0, units)
    else:
        text = format_volume(line.amount / 1000.0, units) + jugs(line, units)
    return text if line.by is None else f"{text}: {line.by.text}"


def jugs(line: Line, units: Units) -> str:
    """`, 2 jugs and 12 fl oz (355 mL)`; empty below a jug or where its size isn't known."""
    if line.jug_mL is None or line.amount is None or line.amount < line.jug_mL * (1 - WHOLE_JUG):
        return ""
    whole = int(line.amount / line.jug_mL + WHOLE_JUG)
    left = line.amount - whole * line.jug_mL
    text = f", {whole} jug{'s' * (whole > 1)}"
    if left > WHOLE_JUG * line.jug_mL:
        text += f" and {format_volume(left / 1000.0, units)}"
    return text


def load_title(load: Load, units: Units) -> str:
    """`2 tanks of 50 gal (189 L)`."""
    tanks = "1 tank" if load.count == 1 else f"{load.count} tanks"
    return f"{tanks} of {format_volume(load.litres, units)}"


def rows(loads: Sequence[Load], units: Units) -> list[tuple[str, ...]]:
    """The pouring table, a column for each load."""
    out = [("Pour in this order", *_heads(loads))]
    step = 0
    for first, *others in side_by_side(loads):
        assert first is not None
        name = line_name(first)
        if first.share not in {"first", "all"}:
            step += 1
            name = f"{step} {name}"
        texts = ("-" if line is None else line_text(line, units) for line in others)
        out.append((name, line_text(first, units), *texts))
    return out


def _heads(loads: Sequence[Load]) -> list[str]:
    """What stands over each load's amounts."""
    alone = len(loads) == 1
    begins = len({len(load.lines) for load in loads}) > 1  # with what is left of an earlier tank
    heads = []
    for place, load in enumerate(loads):
        if load.count > 1:
            heads.append(f"each of {load.count}")
        elif place == 0:
            heads.append("amount" if alone else "the first" if begins else "the full tank")
        else:
            heads.append("the last" if load is loads[-1] else "the next")
    return heads


def tank_text(line: Line, load: Load, mix: Mix, units: Units) -> str:
    """`100 fl oz (2.96 L) in 50 gal (25,000 sq ft)`."""
    text = line_text(line, units)
    if mix.tank_L is None and mix.area_m2 is None:
        return f"{text} in each {'litre' if units == 'metric' else '1 L (34 fl oz)'}"
    one: Units = "us" if units == "both" else units
    return f"{text} in {format_volume(load.litres, one)} ({format_area(load.area_m2, one)})"


def tank_entries(load: Load, mix: Mix, units: Units) -> list[TankLine]:
    """Everything poured into one load, for JSON."""
    return [
        tank_line(
            line.product,
            line.amount,
            tank_text(line, load, mix, units),
            by_mass=line.by_mass,
            kind=line.kind,
        )
        for line in load.lines
    ]


def load_entries(loads: Sequence[Load], mix: Mix, units: Units) -> list[LoadEntry]:
    """Every load, for JSON."""
    return [
        LoadEntry(
            count=load.count,
            litres=load.litres,
            area_m2=load.area_m2,
            tank=tank_entries(load, mix, units),
        )
        for load in loads
    ]
