"""What stands around a tank: waters, sprayers, the shelf, rinsing."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from datetime import date
from functools import partial
from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from chem.desk.fields import Fields
from chem.desk.labels import checked, free
from chem.errors import InputProblem, Problem
from chem.files import file_name, rewritten
from chem.files.water import IONS
from chem.files.writing import write_text
from chem.forecast import Study
from chem.sheets.blocks import Sheet

if TYPE_CHECKING:
    from chem.desk.app import Desk
    from chem.shelf import Item
    from chem.tank import CatchTest

WATER = ("name", "ph", "alkalinity", "hardness", "sampled")
CATCH = {
    "catch": ("Caught under each nozzle", "22 fl oz, 23 fl oz"),
    "time": ("In how long", "30 s"),
    "width": ("One nozzle covers", "20 in"),
    "speed": ("Speed", "4 mph"),
    "area": ("Or, for a gun or knapsack: the area sprayed", "1000 sq ft"),
}
SPRAYER = {
    "name": ("What you call it", "Boom"),
    "tank": ("Its tank", "50 gal"),
    "finest_screen": ("Finest screen", "50 mesh"),
    "agitation": ("Agitation: none, return or mechanical", "return"),
    "stays_in_sump": ("Left in sump and hose when empty", "1 qt"),
}
SORTS = {"worst": "worst first", "clear": "those that stay clear first"}
SHELF_DRAWS = 64


class Gear:
    """Waters, sprayers, the shelf and rinsing."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    # Waters

    def _water_page(self, fields: Fields, unread: tuple[Any, ...] = ()) -> Response:
        return self._desk.page(
            "water.html",
            422 if fields.problems else 200,
            title="A water",
            asked=fields.given,
            ions=IONS,
            unread=unread,
            filled=any(key.startswith("ions.") for key in fields.given if key in fields),
            problems=fields.problems,
        )

    async def water(self, request: Request) -> Response:
        """A water to enter."""
        return self._water_page(Fields({}))

    async def report(self, request: Request) -> Response:
        """A laboratory's report, pasted: its figures in their fields, what isn't read beside."""
        from chem.tank.report import read_report

        given = {k: str(v) for k, v in (await request.form()).items()}
        found = await asyncio.to_thread(read_report, given.get("report", ""))
        return self._water_page(Fields({**given, **found.answers}), found.unread)

    async def water_keep(self, request: Request) -> Response:
        """Write a new water file."""
        from chem.tank import read_water

        fields = Fields({k: str(v) for k, v in (await request.form()).items()})
        told = {key: fields[key] for key in WATER if key in fields}
        ions = {ion: fields[f"ions.{ion}"] for ion in IONS if f"ions.{ion}" in fields}
        text = rewritten({**told, **({"ions": ions} if ions else {})})
        fields.need("name", str, "such as Borehole")
        try:
            fields.done()
            path = free(self._desk, self._desk.shed.folder_of("waters") + file_name(fields["name"]))
            checked(text, path.name, read_water)
            write_text(path, text)
        except InputProblem as problem:
            fields.problems = list(problem.problems)
            return self._water_page(fields)
        return RedirectResponse("/", 303)

    # Sprayers

    def sprayers(self) -> list[tuple[str, str, str]]:
        """(name, spray volume, when it was measured) of the shed's sprayers."""
        from chem.files import load_toml

        found = []
        for one in self._desk.shed.lying("sprayer"):
            raw = load_toml(self._desk.shed.path(one.file), "sprayer")
            if isinstance(raw.get("carrier"), str):
                found.append((one.name, raw["carrier"], str(raw.get("when", ""))))
        return found

    async def calibrate(self, request: Request) -> Response:
        """Spray volume from a catch test."""
        fields = Fields(request.query_params)
        caught = _catch(fields) if "catch" in fields else None
        return self._catch_page(fields, caught)

    def _catch_page(self, fields: Fields, caught: CatchTest | None) -> Response:
        from chem.sheets.catch import catch_sheet

        sheet = Sheet("Calibrate", ["Catch what each nozzle gives, with plain water."], [])
        if caught is not None:
            sheet = catch_sheet(caught, None, self._desk.shed.units)
            sheet = replace(sheet, blocks=[b for b in sheet.blocks if b.kind != "next"])
        return self._desk.page(
            "calibrate.html",
            422 if fields.problems else 200,
            title="Calibrate",
            sheet=sheet,
            asked=fields.given,
            catch=CATCH,
            sprayer=SPRAYER,
            caught=caught,
            sprayers=self.sprayers(),
            problems=fields.problems,
            back="",
        )

    async def sprayer_keep(self, request: Request) -> Response:
        """Write a new sprayer's file from a catch test."""
        from chem.sheets.catch import catch_figures
        from chem.tank import read_sprayer

        fields = Fields({k: str(v) for k, v in (await request.form()).items()})
        caught = _catch(fields)
        fields.need("name", str, "such as Boom")
        try:
            fields.done()
            assert caught is not None
            shed = self._desk.shed
            path = free(self._desk, shed.folder_of("sprayers") + file_name(fields["name"]))
            told = {key: fields[key] for key in SPRAYER if key in fields}
            how = {"how": "catch test", "when": date.today().isoformat()}
            text = rewritten({**told, **catch_figures(caught), **how})
            checked(text, path.name, read_sprayer)
            write_text(path, text)
        except InputProblem as problem:
            fields.problems = list(problem.problems)
            return self._catch_page(fields, caught)
        return RedirectResponse("/", 303)

    # What is set once

    async def shed_keep(self, request: Request) -> Response:
        """Start a shed: what every mix takes that leaves it out, and a notebook beside it."""
        from chem.files import SHED, read_shed
        from chem.units import read_temperature

        fields = Fields({k: str(v) for k, v in (await request.form()).items()})
        shed = self._desk.shed
        fields.read("temperature", lambda text: read_temperature(text, "Usual temperature"))
        for key, folder in (("water", "waters"), ("sprayer", "")):
            if fields[key] not in ("", "unknown"):
                fields.read(key, partial(shed.named, folder=folder))
        fields.done()
        if shed.set_once:
            raise InputProblem(
                Problem(f"`{SHED}`", "a shed stands here already", "a text editor for that file")
            )
        told: dict[str, Any] = {"water": fields["water"] or "unknown"}
        told |= {"sprayers": [fields["sprayer"]]} if "sprayer" in fields else {}
        told |= {k: fields[k] for k in ("temperature", "units") if k in fields}
        products = {"products": "products"} if shed.folder_of("products") else {}
        text = rewritten({**told, **products})
        checked(text, SHED, read_shed)
        write_text(shed.root / SHED, text)
        self._desk.records.open()
        return RedirectResponse("/", 303)

    # Rinsing

    async def rinse(self, request: Request) -> Response:
        """From one tank to the next: what must not meet, how many rinses."""
        from chem.advice.rinse import rinsing
        from chem.sheets.rinse import rinse_sheet
        from chem.tank import read_mix
        from chem.units import read_volume

        fields = Fields(request.query_params)
        mixes = [(one.file, one.name) for one in self._desk.shed.lying("mix")]
        sheet = Sheet("Rinse", ["From which tank to which?"], [])
        sump = fields.read("sump", lambda text: read_volume(text, "Left in sump and hose"))
        if "before" in fields and "after" in fields and not fields.problems:
            shed = self._desk.shed
            before, after = (read_mix(shed.path(fields[k])) for k in ("before", "after"))
            sheet = await self._desk.ask(
                lambda study: rinse_sheet(
                    rinsing(before, after, sump_L=sump, study=study.few(SHELF_DRAWS)),
                    shed.units,
                )
            )
        return self._desk.page(
            "rinse.html",
            title="Rinse",
            sheet=sheet,
            mixes=mixes,
            asked=fields.given,
            problems=fields.problems,
            back="",
        )

    # The shelf

    async def shelf(self, request: Request) -> Response:
        """Would they get along: every pair of the shelf, or one jug against all."""
        from chem.shelf import make_setting
        from chem.tank import read_water
        from chem.tank.water import UNKNOWN_WATER

        shed = self._desk.shed
        fields = Fields(request.query_params)
        sheet = Sheet("The shelf", ["Every pair of your jugs, in one tank."], [])
        if "carrier" in fields or "water" in fields:
            fields.need("carrier", str, "such as 2 gal/1000 sq ft")
            name = fields["water"] or "unknown"
            water = UNKNOWN_WATER
            if name != "unknown":
                water = read_water(shed.named(name, "waters"))
            setting = fields.read("carrier", lambda text: make_setting(carrier=text, water=water))
            if setting is not None:
                sheet = await self._desk.ask(partial(self._tried, setting, fields))
        return self._desk.page(
            "shelf.html",
            422 if fields.problems else 200,
            title="The shelf",
            sheet=sheet,
            asked=fields.given,
            waters=[w for w in shed.waters() if w[0]],
            jugs=[(one.file, one.name) for one in shed.lying("product")],
            sorts=SORTS,
            problems=fields.problems,
            back="",
        )

    def _tried(self, setting: Any, fields: Fields, study: Study) -> Sheet:
        """The sheet of pairs, without its table: a list, in the order asked for."""
        from chem.advice.jug import jug
        from chem.reference.files import data_folder
        from chem.sheets.jug import seller_questions
        from chem.sheets.shelf import shelf_page
        from chem.shelf import buying, read_item, read_stock, shelf

        shed = self._desk.shed
        own = shed.lying("product")
        folders = dict.fromkeys(shed.path(one.file).parent for one in own)
        items: tuple[Item, ...] = ()
        left_out: tuple[Any, ...] = ()
        for folder in folders or (data_folder() / "demo" / "products",):
            more, out = read_stock(folder, {})
            items, left_out = (*items, *more), (*left_out, *out)
        kept = {one.file.rpartition("/")[2] for one in own}
        left_out = tuple(out for out in left_out if not own or out.file in kept)
        asked = None
        if "jug" in fields:
            asked = read_item(shed.path(fields["jug"]), None)
            items = tuple(item for item in items if item.product.key != asked.product.key)
        result = shelf(
            items, setting, asked=asked, left_out=left_out, pairs=True, beliefs=study.beliefs
        )
        bought: dict[str, Any] = {}
        if asked is not None:
            mine = [item for i, item in enumerate(result.items) if i != result.asked]
            bought = {
                "buy": buying(asked, mine, setting, shed.read_mixes()),
                "questions": seller_questions(jug(asked.product)),
            }
        sheet = shelf_page(result, shed.units, **bought)
        blocks = [block for block in sheet.blocks if not block.rows]
        if fields["sort"] == "clear":
            blocks.sort(key=lambda block: not block.title.lower().startswith("stay"))
        return replace(sheet, blocks=blocks)


def _catch(fields: Fields) -> CatchTest | None:
    """The catch test that the fields tell; None where one is wrong."""
    from chem.tank import by_area, by_speed
    from chem.units import (
        possible_carrier,
        read_area,
        read_duration,
        read_length,
        read_speed,
        read_volume,
    )

    def each(text: str) -> list[float]:
        return [read_volume(part, CATCH["catch"][0]) for part in text.split(",")]

    caught = fields.need("catch", each, "such as 22 fl oz, 23 fl oz")
    area = fields.read("area", lambda text: read_area(text, "Area"))
    if "area" in fields:
        if fields.problems or caught is None or area is None:
            return None
        found = by_area(caught, area)
    else:
        time = fields.need("time", lambda text: read_duration(text, "In how long"), "such as 30 s")
        width = fields.need("width", lambda text: read_length(text, "Width"), "such as 20 in")
        speed = fields.need("speed", lambda text: read_speed(text, "Speed"), "such as 4 mph")
        if fields.problems or caught is None or time is None or width is None or speed is None:
            return None
        found = by_speed(caught, time, width, speed)
    try:
        possible_carrier(found.carrier_L_per_m2, fields["catch"], "Caught")
    except InputProblem as problem:
        fields.take(problem, "catch")
        return None
    return found
