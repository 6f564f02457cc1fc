"""The page of a forecast: the sheet's sentences in the order of phone and print, with pictures."""

from __future__ import annotations

from datetime import datetime

from chem.advice.jar import Jar
from chem.forecast import Forecast
from chem.notebook.tried import Told
from chem.sheets.blocks import BLANK, Block, Sheet
from chem.sheets.forecast import (
    chemist_blocks,
    forecast_answer,
    forecast_blocks,
    forecast_first,
)
from chem.sheets.jar import jar_short
from chem.sheets.page.parts import listed, safe, section, wrapped
from chem.sheets.page.pictures import chance_picture, limit_picture
from chem.sheets.page.pouring import code_part, pouring
from chem.sheets.page.whole import flow, head, page
from chem.units import Units


def forecast_page(
    result: Forecast,
    jar: Jar,
    units: Units = "both",
    *,
    made: datetime | None = None,
    number: str = "",
    chemist: bool = False,
    told: Told | None = None,
) -> str:
    """The whole page; jar: of the same forecast; number: the sheet's own, a blank without one;
    told: what the notebook says of it."""
    made = datetime.now() if made is None else made
    part = forecast_blocks(result, units, told)
    first = forecast_first(result, units, told)
    sheet = Sheet(result.mix.name, forecast_answer(result, told), first)
    poured = not result.refused
    parts = [
        ph_part(part["ph"]),
        chance_part(result, part["out"]),
        section(part["wrong"]),
        *([section(Block("The jar at the same ratio", *jar_short(jar, units)))] if poured else []),
        section(part["granted"]),
        limit_part(result),
        *([section(part["sprayer"])] if part["sprayer"].items else []),
        section(part["nutrients"]),
        *([section(part["salt"])] if part["salt"].items else []),
        section(part["always"]),
        *(map(section, chemist_blocks(result)) if chemist else []),
    ]
    table = section(part["tank"])
    if poured:
        both = (pouring(result, part["tank"], units, made), code_part(result, units, number))
        table = f'<div class="top">{"".join(both)}</div>'
    last = section(Block(paragraphs=part["decides"].paragraphs, kind="last"))
    body = "\n".join([head(sheet, made, number), table, flow([p for p in parts if p]), last])
    return page(sheet.heading, body, script=poured)


def ph_part(block: Block) -> str:
    """The pH expected, and a place for what the strip or the meter says."""
    rows = [("read at the last pour", "strip or meter"), (BLANK, BLANK)]
    return section(Block(block.title, block.paragraphs, block.items, rows))


def chance_part(result: Forecast, out: Block) -> str:
    """What would come out, and its chance against time."""
    words = "".join(f"<p>{safe(p)}</p>" for p in out.paragraphs)
    if out.items:
        words += listed(out.items)
    drawn = chance_picture(result).figure()
    return wrapped(f"<h2>{safe(out.title)}</h2>{words}{drawn}")


def limit_part(result: Forecast) -> str:
    """How far each salt is from its limit; empty where none is near."""
    drawn = limit_picture(result)
    return "" if drawn is None else section(Block("How near its limit", picture=drawn.figure))
