"""The pouring table of a page: amounts that follow what is left to fill, ticks, a clock, a code."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from chem.forecast import Forecast
from chem.sheets.blocks import Block
from chem.sheets.page.parts import safe, wrapped
from chem.sheets.tank import AT_ITS_LABELS, line_name
from chem.units import Units, format_area, format_mass, format_volume

GALLON_L = 3.785411784  # NIST Handbook 44, appendix C
THOUSAND_SQ_FT_M2, ACRE_M2, HECTARE_M2 = 92.90304, 4046.8564224, 1e4
SMALL_ACRES, SMALL_HECTARES = 2.0, 1.0
NAME_IN_CODE = 32
WATER_MARKS = {"first": "½", "all": "~", "last": "↑"}


@dataclass(frozen=True)
class Poured:
    """A line of the table: its mark in the order, what, how much [L] or [kg], None by its label."""

    mark: str
    name: str
    amount: float | None
    by_mass: bool = False
    water: bool = False


def poured(result: Forecast) -> list[Poured]:
    """Everything that goes into one tank, or into a litre where the mix names none."""
    out, step = [], 0
    for line in result.loads[0].lines:
        water = line.kind == "water"
        step += not water
        mark = WATER_MARKS[line.share] if water else str(step)
        name = line_name(line)
        amount = None if line.amount is None else line.amount / 1000.0
        name = name[0].upper() + name[1:] if water else name
        out.append(Poured(mark, name, amount, line.by_mass, water))
    return out


def amount_text(line: Poured, units: Units) -> str:
    """An amount in words."""
    if line.amount is None:
        return AT_ITS_LABELS
    return format_mass(line.amount, units) if line.by_mass else format_volume(line.amount, units)


def pouring(
    result: Forecast, block: Block, units: Units = "both", made: datetime | None = None
) -> str:
    """The table with a place for the time of each; a script moves its amounts in proportion.

    block: the tank's block of the sheet, whose sentences stand over and under the table.
    """
    mix, lines = result.mix, poured(result)
    tank, area = result.loads[0].litres, result.loads[0].area_m2
    metric = units == "metric"
    fill_unit, fill_L = ("L", 1.0) if metric else ("gal", GALLON_L)
    area_unit, area_m2 = _area_unit(area, metric)
    data = {
        "litres": f"{tank:.9g}",
        "m2": f"{area:.9g}",
        "units": units,
        "fill-unit": fill_unit,
        "fill-litres": f"{fill_L:.9g}",
        "area-unit": area_unit,
        "area-m2": f"{area_m2:.9g}",
        "made": f"{mix.name} {made.isoformat(timespec='seconds') if made else ''}".strip(),
    }
    facts = " ".join(f'data-{key}="{safe(value)}"' for key, value in data.items())
    said, *how = block.paragraphs
    rows = "".join(_row(line, units) for line in lines)
    return "\n".join(
        [
            f'<section class="pour" {facts}>',
            "<h2>Pour in this order</h2>",
            *(f"<p>{safe(text)}</p>" for text in how),
            _tools(fill_unit, area_unit),
            f"<table><caption>{safe(said)}</caption>",
            '<thead><tr><td class="n"></td><th scope="col">what</th>'
            '<th scope="col">amount</th><th class="blank" scope="col">poured at</th></tr></thead>',
            f"<tbody>{rows}</tbody></table>",
            '<p class="status" role="status"></p>',
            "</section>",
        ]
    )


def _tools(fill_unit: str, area_unit: str) -> str:
    """Hidden until the script is there to serve them."""
    asked = (("fill", f"{fill_unit} to fill"), ("spray", f"or {area_unit} to spray"))
    inputs = "".join(
        f'<label>{safe(words)}<input name="{name}" type="number" min="0" step="any" '
        'inputmode="decimal" autocomplete="off"></label>'
        for name, words in asked
    )
    return f'<div class="tools" hidden>{inputs}<button type="button">Full tank</button></div>'


def _row(line: Poured, units: Units) -> str:
    big, _, small = amount_text(line, units).partition(" (")
    text = safe(big) + (f"<small>{safe(small.removesuffix(')'))}</small>" if small else "")
    kind = "kg" if line.by_mass else "L"
    water = ' class="water"' if line.water else ""
    moves = f' data-amount="{line.amount:.9g}" data-kind="{kind}"' if line.amount else ""
    return (
        f'<tr{water}><td class="n">{safe(line.mark)}</td><th scope="row">{safe(line.name)}</th>'
        f'<td class="a"{moves}>{text}</td>'
        f'<td class="blank"><input type="checkbox" aria-label="poured: {safe(line.name)}">'
        "<span></span></td></tr>"
    )


def _area_unit(area_m2: float, metric: bool) -> tuple[str, float]:
    """The unit [m2] in which such an area is told."""
    if metric:
        return ("m2", 1.0) if area_m2 < SMALL_HECTARES * HECTARE_M2 else ("ha", HECTARE_M2)
    small = area_m2 < SMALL_ACRES * ACRE_M2
    return ("1000 sq ft", THOUSAND_SQ_FT_M2) if small else ("acre", ACRE_M2)


def pouring_text(result: Forecast, units: Units = "both", number: str = "") -> str:
    """The pouring list and the sheet's number as plain text, for the code."""
    mix = result.mix
    one: Units = "metric" if units == "metric" else "us"
    lines = [f"{number} {mix.name}".strip()]
    if mix.tank_L is not None:
        area = format_area(mix.tank_L / mix.carrier_L_per_m2, one)
        lines.append(f"{format_volume(mix.tank_L, one)}, {area}")
    else:
        lines.append("in each litre")
    for line in poured(result):
        mark = "" if line.water else f"{line.mark} "
        lines.append(f"{mark}{line.name[:NAME_IN_CODE]}: {amount_text(line, one)}")
    lines.append("Jar test decides.")
    return "\n".join(lines)


def code(text: str, title: str) -> str:
    """A QR code of plain text, dark on light whatever the page's ink, with its quiet zone."""
    import segno  # only pages draw codes

    made = segno.make(text, error="l", micro=False, boost_error=True)
    rows = [list(row) for row in made.matrix_iter(border=4)]
    runs = []
    for y, row in enumerate(rows):
        x = 0
        while x < len(row):
            length = 0
            while x + length < len(row) and row[x + length]:
                length += 1
            if length:
                runs.append(f"M{x} {y}h{length}v1h-{length}z")
            x += length or 1
    side = len(rows)
    return (
        f'<svg viewBox="0 0 {side} {side}" role="img" aria-label="{safe(title)}" '
        f'shape-rendering="crispEdges"><path d="{"".join(runs)}" fill="#000"/></svg>'
    )


def code_part(result: Forecast, units: Units = "both", number: str = "") -> str:
    """The code with what it holds."""
    drawn = code(pouring_text(result, units, number), "QR code: the pouring list as plain text")
    for_ = "" if result.mix.tank_L is None else " of the full tank"
    said = f"The pouring list{for_} as plain text: no address in it, no network needed."
    return wrapped(f"{drawn}<p>{safe(said)}</p>", "qr")
