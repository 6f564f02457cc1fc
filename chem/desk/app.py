"""The desk's doors: each reads an address, asks a room over the one Study, and shows its sheet."""

from __future__ import annotations

import asyncio
import secrets
from collections import OrderedDict, deque
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import quote

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from chem.desk.answers import forecast_of, slider_of
from chem.desk.doors import DOORS, Doors
from chem.desk.draft import KINDS, Draft
from chem.desk.gear import Gear
from chem.desk.keep import NO_VERSION, save, version_of
from chem.desk.labels import Labels
from chem.desk.records import Records
from chem.desk.shed import Shed
from chem.desk.today import Today
from chem.desk.worker import Busy, Worker
from chem.errors import InputProblem, Problem
from chem.forecast import Forecast, Study
from chem.notebook.tried import Told
from chem.sheets.blocks import Sheet
from chem.sheets.page.parts import section
from chem.tank import Mix

DRAWS = 256
MOST_UNDO = 50
MOST_WINDOWS = 200
TIMES = (("15min", "15 minutes"), ("4h", "4 hours, a spray day"), ("24h", "24 hours"))
REAGENTS = ("citric acid", "potassium bicarbonate")
"""Acids and bases that the column offers; others are named under pH."""
BELOW = ("ph", "granted", "tank", "sprayer", "nutrients", "salt", "always", "wrong")
"""Parts of the sheet that stand below jars and pictures, in this order."""
Answer = Callable[[Request], Awaitable[Response]]


class Desk:
    """One shed, one warm Study, and the pages over them."""

    def __init__(self, folder: Path, *, draws: int = DRAWS, seed: int = 1) -> None:
        self.shed = Shed(folder)
        self.worker = Worker(Study(draws, seed))
        self._pages = Environment(
            loader=PackageLoader("chem.desk"), autoescape=True, undefined=StrictUndefined
        )
        self.records = Records(self)
        self.labels, self.gear, self.doors = Labels(self), Gear(self), Doors(self)
        self._today = Today(self)
        self._pages.globals["section"] = section
        self._trails: OrderedDict[str, deque[str]] = OrderedDict()

    def app(self) -> Starlette:
        """The pages, without the guard."""
        doors, records, gear = self.doors, self.records, self.gear
        get: list[tuple[str, Answer]] = [
            ("/", self._today.show),
            ("/mix", self.mix),
            ("/move", self.move),
            ("/label", self.labels.ask),
            ("/product", self.labels.product),
            ("/water", gear.water),
            ("/shelf", gear.shelf),
            ("/calibrate", gear.calibrate),
            ("/rinse", gear.rinse),
            ("/saw", records.saw),
            ("/notebook", records.notebook),
            ("/wall", records.wall),
            ("/season", records.season),
            ("/score", records.score),
            ("/export", records.export),
            ("/fix", doors.fix),
            ("/ph", doors.ph),
            ("/page", doors.page),
            *((f"/{door}", partial(doors.answer, door)) for door in doors.PLAIN),
        ]
        post: list[tuple[str, Answer]] = [
            ("/save", self.save),
            ("/number", doors.number),
            ("/label", self.labels.read),
            ("/photo", self.labels.photo),
            ("/product", self.labels.keep),
            ("/report", gear.report),
            ("/water", gear.water_keep),
            ("/sprayer", gear.sprayer_keep),
            ("/shed", gear.shed_keep),
            ("/saw", records.saw_keep),
            ("/sprayed", records.sprayed_keep),
        ]
        routes = [Route(path, self._told(door), methods=["GET"]) for path, door in get]
        routes += [Route(path, self._told(door), methods=["POST"]) for path, door in post]
        static = StaticFiles(packages=[("chem.desk", "static")])
        return Starlette(
            routes=[*routes, Mount("/static", static)],
            exception_handlers={HTTPException: self._not_there, Exception: self._our_fault},
        )

    def close(self) -> None:
        """Let the Study go."""
        self.worker.close()

    def page(self, template: str, /, status: int = 200, **more: Any) -> HTMLResponse:
        """A page from its template."""
        usual: dict[str, Any] = {"title": "Jarsight", "problems": (), "number": "", "numbering": ""}
        more = {**usual, "page_of": False, **more}
        return HTMLResponse(self._pages.get_template(template).render(**more), status)

    def _part(self, template: str, **more: Any) -> str:
        return self._pages.get_template(template).render(**more)

    def _told(self, door: Answer) -> Answer:
        """A door whose problems become a page in the command line's words."""

        async def told(request: Request) -> Response:
            try:
                return await door(request)
            except InputProblem as problem:
                return self._problem(problem.problems, 422)
            except Busy:
                words = "Others are being answered: try again in a moment.\n"
                return Response(words, 503, {"Retry-After": "1"}, "text/plain")

        return told

    def _problem(self, problems: Sequence[Problem], status: int) -> Response:
        sheet = Sheet("The desk", ["That can't be used as it stands."], [])
        return self.page("wrong.html", status, problems=problems, sheet=sheet, back="")

    async def _not_there(self, request: Request, error: Exception) -> Response:
        status = error.status_code if isinstance(error, HTTPException) else 500
        return self._problem([Problem(request.url.path, "no such page", "a page of Today")], status)

    async def _our_fault(self, request: Request, error: Exception) -> Response:
        wrong = f"a fault of ours ({type(error).__name__}); nothing was written"
        instead = "the address and what you pressed, to whoever keeps this program"
        return self._problem([Problem(request.url.path, wrong, instead)], 500)

    async def ask(
        self, work: Callable[[Study], Any], window: str = "", *, moving: bool = False
    ) -> Any:
        """The answer of the one thread that owns the Study. Raises: what `work` raises; Busy."""

        def believing(study: Study) -> Any:
            return work(self.records.believed(study))

        return await asyncio.wrap_future(self.worker.ask(believing, window, moving=moving))

    # The mix

    async def mix(self, request: Request) -> Response:
        """The pouring column, and what the tank will look like."""
        query = request.query_params
        draft = Draft.of(query.multi_items(), self.shed)
        if not draft.window:
            draft = replace(draft, window=secrets.token_hex(6))
        changed = self._pressed(draft, dict(query))
        if changed is not None:
            return RedirectResponse(f"/mix?{changed}", 303)
        self._remember(draft)
        shown = await self._shown(draft, moving=False)
        path = self.shed.path(draft.file) if draft.file else None
        return self.page(
            "mix.html",
            title=draft.texts["name"],
            draft=draft,
            **shown,
            waters=self._waters(draft),
            products=self.shed.products(),
            earlier=self.shed.lying("mix"),
            reagents=REAGENTS,
            sprayers=self.gear.sprayers(),
            carrier=slider_of(draft.texts["carrier"], least=0.25),
            times=TIMES,
            doors=DOORS.items(),
            query=draft.query(),
            undo=len(self._trails[draft.window]) > 1,
            version=version_of(path) if path else NO_VERSION,
        )

    async def move(self, request: Request) -> Response:
        """The same parts while the hand moves: the first draws of the many."""
        draft = Draft.of(request.query_params.multi_items(), self.shed)
        moving = "moving" in request.query_params
        if not moving and draft.window:
            self._remember(draft)
        shown = await self._shown(draft, moving=moving)
        return JSONResponse(
            {
                "strip": self._part("strip.html", draft=draft, **shown),
                "stack": self._part("stack.html", draft=draft, **shown),
                "amounts": [jug["amount_text"] for jug in shown["jugs"]],
                "wrong": {p.key: f"{p.wrong}. Write: {p.instead}" for p in shown["problems"]},
                "query": draft.query(),
                "undo": len(self._trails.get(draft.window, ())) > 1,
            }
        )

    def _waters(self, draft: Draft) -> list[tuple[str, str]]:
        """What to choose from, what the mix has among it."""
        waters, own = self.shed.waters(), draft.texts["water"]
        return waters if own in dict(waters) else [(own, own), *waters]

    def _pressed(self, draft: Draft, query: dict[str, str]) -> str | None:
        """The address that a button of the column leads to."""
        for name, by in (("up", -1), ("down", 1)):
            if query.get(name, "").isdecimal():
                return draft.moved(int(query[name]), by).query()
        if query.get("out", "").isdecimal():
            return draft.without(int(query["out"])).query()
        if "add" in query and query.get("jug"):
            return draft.with_jug(query["jug"]).query()
        if "undo" in query:
            trail = self._trails.get(draft.window, deque())
            if len(trail) > 1:
                trail.pop()
            return trail[-1] if trail else draft.query()
        if "show" in query or "add" in query:
            return draft.query()
        return None

    def _remember(self, draft: Draft) -> None:
        trail = self._trails.setdefault(draft.window, deque(maxlen=MOST_UNDO + 1))
        self._trails.move_to_end(draft.window)
        while len(self._trails) > MOST_WINDOWS:
            self._trails.popitem(last=False)
        address = draft.query()
        if not trail or trail[-1] != address:
            trail.append(address)

    async def _shown(self, draft: Draft, *, moving: bool) -> dict[str, Any]:
        """What a template needs of a draft; problems instead of a forecast where it is no mix."""
        from chem.sheets.forecast import forecast_answer, forecast_blocks, forecast_first
        from chem.sheets.glance import glasses, ph_line, ph_rule_svg
        from chem.sheets.page.forecast import chance_part, limit_part

        shown: dict[str, Any] = {"result": None, "problems": (), "jugs": []}
        names = {} if moving else self._names()
        shown["jugs"] = self._jugs(draft, None, names)
        if not draft.jugs:
            return shown
        try:
            mix = draft.mix(self.shed, moving=moving)
            found, told = await self.ask(
                partial(self._forecast, mix, draft.judged_at, moving), draft.window, moving=moving
            )
        except InputProblem as problem:
            return shown | {"problems": problem.problems}
        part = forecast_blocks(found, self.shed.units)
        rest = [part[name] for name in BELOW if part[name].told]
        return shown | {
            "result": found,
            "answer": forecast_answer(found, told),
            "first": [b for b in forecast_first(found, self.shed.units, told) if b.told],
            "glasses": glasses(found),
            "chance": chance_part(found, part["out"]) + limit_part(found),
            "ph_line": ph_line(found),
            "ph_svg": ph_rule_svg(found),
            "sheet": Sheet("", [], rest),
            "jugs": self._jugs(draft, found, names),
        }

    def _forecast(
        self, mix: Mix, judged_at: str, moving: bool, study: Study
    ) -> tuple[Forecast, Told | None]:
        found = forecast_of(mix, judged_at, study, moving=moving)
        return found, None if moving else self.records.told(found, study)

    def _names(self) -> dict[str, str]:
        """File -> name of all that can be poured."""
        return dict(self.shed.products()) | {m.file: m.name for m in self.shed.lying("mix")}

    def _jugs(
        self, draft: Draft, found: Forecast | None, names: dict[str, str]
    ) -> list[dict[str, Any]]:
        from chem.sheets.tank import tank_text

        places = {index: place for place, index in enumerate(draft.additions)}
        out: list[dict[str, Any]] = []
        for i, jug in enumerate(draft.jugs):
            usual = amount = ""
            name = names.get(jug.what, jug.what)
            if jug.kind == "left":
                name = f"Left of {name}"
            elif found is not None:
                usual = found.mix.additions[places[i]].rate.text
                if not found.refused:
                    amount = "; ".join(
                        tank_text(load.of(places[i]), load, found.mix, self.shed.units)
                        + (f" in each of {load.count}" if load.count > 1 else "")
                        for load in found.loads
                    )
            slider = None if jug.kind == "left" else slider_of(jug.amount or usual, least=0.0)
            more = {"key": KINDS[jug.kind], "name": name[:1].upper() + name[1:], "usual": usual}
            out.append({**vars(jug), **more, "amount_text": amount, "slider": slider})
        return out

    async def save(self, request: Request) -> Response:
        """Write the mix into its file."""
        form = await request.form()
        draft = Draft.of(request.query_params.multi_items(), self.shed)
        saved = save(draft, self.shed, str(form.get("version", NO_VERSION)))
        return RedirectResponse(f"/mix?mix={quote(saved.file)}&w={saved.window}", 303)
