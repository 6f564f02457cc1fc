"""The pouring table of a page: amounts that follow what is left to fill, ticks, a clock, a code."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from chem.forecast import Forecast
from chem.sheets.blocks import Block
from chem.sheets.page.parts import safe, wrapped
from chem.sheets.tank import jugs, line_name, line_text, load_title, rows
from chem.sheets.words import capital
from chem.tank import Load, TankLine, side_by_side
from chem.units import Units, format_area, format_volume

GALLON_L = 3.785411784  # NIST Handbook 44, appendix C
THOUSAND_SQ_FT_M2, ACRE_M2, HECTARE_M2 = 92.90304, 4046.8564224, 1e4
SMALL_ACRES, SMALL_HECTARES = 2.0, 1.0
NAME_IN_CODE = 32
WATER_MARKS = {"first": "½", "all": "~", "last": "↑"}


def marks(load: Load) -> list[str]:
    """The mark of each line in the order: a number, or where the water stands."""
    out, step = [], 0
    for line in load.lines:
        step += line.kind != "water"
        out.append(WATER_MARKS[line.share] if line.kind == "water" else str(step))
    return out


def _name(line: TankLine) -> str:
    name = line_name(line)
    return capital(name) if line.kind == "water" else name


def pouring(
    result: Forecast, block: Block, units: Units = "both", made: datetime | None = None
) -> str:
    """The table with a place for the time of each; a script moves its amounts in proportion.

    block: the tank's block of the sheet, whose sentences stand over and under the table.
    """
    mix, load = result.mix, result.loads[0]
    metric = units == "metric"
    fill_unit, fill_L = ("L", 1.0) if metric else ("gal", GALLON_L)
    area_unit, area_m2 = _area_unit(load.area_m2, metric)
    data = {
        "litres": f"{load.litres:.9g}",
        "m2": f"{load.area_m2:.9g}",
        "units": units,
        "fill-unit": fill_unit,
        "fill-litres": f"{fill_L:.9g}",
        "area-unit": area_unit,
        "area-m2": f"{area_m2:.9g}",
        "made": f"{mix.name} {made.isoformat(timespec='seconds') if made else ''}".strip(),
    }
    facts = " ".join(f'data-{key}="{safe(value)}"' for key, value in data.items())
    _, *heads = rows(result.loads, units)[0]
    columns = "".join(
        f'<th{" class=more" if k else ""} scope="col">{safe(head)}</th>'
        for k, head in enumerate(heads)
    )
    again = '<th class="blank more" scope="col">poured at</th>' * (len(heads) - 1)
    lines = zip(marks(load), side_by_side(result.loads), strict=True)
    body = "".join(_row(mark, each, units) for mark, each in lines)
    said, *how = block.paragraphs
    many = len(result.loads) > 1
    return "\n".join(
        [
            f'<section class="pour{" many" * many}" {facts}>',
            "<h2>Pour in this order</h2>",
            *(f"<p>{safe(text)}</p>" for text in how),
            _tools(fill_unit, area_unit, result.loads[1:], units),
            '<div class="wide" tabindex="0" role="region" aria-label="what to pour">' * many,
            f"<table><caption>{safe(said)}</caption>",
            f'<thead><tr><td class="n"></td><th scope="col">what</th>{columns}'
            f'<th class="blank" scope="col">poured at</th>{again}</tr></thead>',
            f"<tbody>{body}</tbody></table>",
            "</div>" * many,
            '<p class="status" role="status"></p>',
            "</section>",
        ]
    )


def _tools(fill_unit: str, area_unit: str, others: Sequence[Load], units: Units) -> str:
    """Hidden until the script is there to serve them."""
    asked = (("fill", f"{fill_unit} to fill"), ("spray", f"or {area_unit} to spray"))
    inputs = "".join(
        f'<label>{safe(words)}<input name="{name}" type="number" min="0" step="any" '
        'inputmode="decimal" autocomplete="off"></label>'
        for name, words in asked
    )
    buttons = '<button type="button" name="full">Full tank</button>'
    for load in others:
        mark = format_volume(load.litres, "metric" if units == "metric" else "us")
        fill = f'data-fill="{load.litres:.9g}"'
        which = "The last" if load is others[-1] else "The next"
        buttons += f'<button type="button" {fill}>{which}, {safe(mark)}</button>'
    buttons += '<button type="button" name="again">Untick all</button>'
    return f'<div class="tools" hidden>{inputs}{buttons}</div>'


def _row(mark: str, each: Sequence[TankLine | None], units: Units) -> str:
    """A line for every load; the first one's amount moves, and is ticked."""
    first = each[0]
    assert first is not None
    amounts = ""
    for k, line in enumerate(each):
        moves = ""
        if k == 0 and line is not None and line.amount:
            kind = "kg" if line.by_mass else "L"
            moves = f' data-amount="{line.amount / 1000.0:.9g}" data-kind="{kind}"'
        more = " more" if k else ""
        amounts += (
            f'<td class="a{more}"{moves}>{"-" if line is None else _amount(line, units)}</td>'
        )
    water = ' class="water"' if first.kind == "water" else ""
    name = safe(_name(first))
    again = '<td class="blank more"></td>' * (len(each) - 1)
    return (
        f'<tr{water}><td class="n">{mark}</td><th scope="row">{name}</th>{amounts}'
        f'<td class="blank"><input type="checkbox" aria-label="poured: {name}"><span></span></td>'
        f"{again}</tr>"
    )


def _amount(line: TankLine, units: Units) -> str:
    """Large in the first unit, small in the other and in jugs."""
    plain = replace(line, jug_mL=None)
    big, _, small = line_text(plain, units).partition(" (")
    also = [small.removesuffix(")"), jugs(line, units).removeprefix(", ")]
    told = safe(big)
    for text in filter(None, also):
        told += f"<small>{safe(text)}</small>"
    return told


def _area_unit(area_m2: float, metric: bool) -> tuple[str, float]:
    """The unit [m2] in which such an area is told."""
    if metric:
        return ("m2", 1.0) if area_m2 < SMALL_HECTARES * HECTARE_M2 else ("ha", HECTARE_M2)
    small = area_m2 < SMALL_ACRES * ACRE_M2
    return ("1000 sq ft", THOUSAND_SQ_FT_M2) if small else ("acre", ACRE_M2)


def pouring_text(result: Forecast, units: Units = "both", number: str = "") -> str:
    """The pouring list of every load and the sheet's number as plain text, for the code."""
    mix = result.mix
    one: Units = "metric" if units == "metric" else "us"
    told = [f"{number} {mix.name}".strip()]
    for load in result.loads:
        if mix.tank_L is None and mix.area_m2 is None:
            told.append("in each litre" if one == "metric" else "in each 1 L")
        else:
            told.append(f"{load_title(load, one)}, {format_area(load.area_m2, one)} each")
        for mark, line in zip(marks(load), load.lines, strict=True):
            place = "" if line.kind == "water" else f"{mark} "
            told.append(f"{place}{_name(line)[:NAME_IN_CODE]}: {line_text(line, one)}")
    told.append("Jar test decides.")
    return "\n".join(told)


def code(text: str, title: str) -> str:
    """A QR code of plain text, dark on light whatever the page's ink, with its quiet zone."""
    import segno  # only pages draw codes

    made = segno.make(text, error="l", micro=False, boost_error=True)
    dots = [list(row) for row in made.matrix_iter(border=4)]
    runs = []
    for y, row in enumerate(dots):
        x = 0
        while x < len(row):
            length = 0
            while x + length < len(row) and row[x + length]:
                length += 1
            if length:
                runs.append(f"M{x} {y}h{length}v1h-{length}z")
            x += length or 1
    side = len(dots)
    return (
        f'<svg viewBox="0 0 {side} {side}" role="img" aria-label="{safe(title)}" '
        f'shape-rendering="crispEdges"><path d="{"".join(runs)}" fill="#000"/></svg>'
    )


def code_part(result: Forecast, units: Units = "both", number: str = "") -> str:
    """The code with what it holds."""
    drawn = code(pouring_text(result, units, number), "QR code: the pouring list as plain text")
    said = "The whole pouring list as plain text: no address in it, no network needed."
    return wrapped(f"{drawn}<p>{said}</p>", "qr")
