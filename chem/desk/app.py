"""The desk's doors: each reads an address, asks a room over the one Study, and shows its sheet."""

from __future__ import annotations

import asyncio
import secrets
import socket
import webbrowser
from collections import OrderedDict, deque
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import quote

import uvicorn
from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from chem.desk.answers import MOVING_DRAWS, forecast_of, sheet_of, slider_of, takes_of
from chem.desk.draft import Draft
from chem.desk.guard import Guard
from chem.desk.keep import NO_VERSION, save, version_of
from chem.desk.records import Records
from chem.desk.shed import Shed
from chem.desk.worker import Busy, Worker
from chem.errors import InputProblem, Problem
from chem.files import file_name, rewritten
from chem.files.writing import write_text
from chem.forecast import Forecast, Study
from chem.notebook.tried import Told
from chem.sheets.blocks import Sheet
from chem.sheets.page.parts import section
from chem.tank import Mix

DRAWS = 256
MOST_UNDO = 50
MOST_WINDOWS = 200
TIMES = (("15min", "15 minutes"), ("4h", "4 hours, a spray day"), ("24h", "24 hours"))
DOORS = {
    "forecast": "The whole sheet",
    "why": "Why",
    "fix": "What to change",
    "pour": "The order",
    "ph": "pH",
    "jar": "Jar sheet",
    "diagnose": "It went wrong",
    "saw": "What it showed, sprayed",
}
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
        self._pages.globals["section"] = section
        self._trails: OrderedDict[str, deque[str]] = OrderedDict()

    def app(self) -> Starlette:
        """The pages, without the guard."""
        get: list[tuple[str, Answer]] = [
            ("/", self.today),
            ("/mix", self.mix),
            ("/move", self.move),
            ("/label", self.label),
            ("/water", self.water),
            ("/product", self.product),
            ("/shelf", self.shelf),
            ("/calibrate", self.calibrate),
            ("/rinse", self.rinse),
            ("/saw", self.records.saw),
            ("/notebook", self.records.notebook),
            ("/wall", self.records.wall),
            ("/season", self.records.season),
            *((f"/{door}", partial(self.answer, door)) for door in DOORS if door != "saw"),
        ]
        post: list[tuple[str, Answer]] = [
            ("/save", self.save),
            ("/label", self.label_read),
            ("/keep", self.keep),
            ("/saw", self.records.saw_keep),
            ("/sprayed", self.records.sprayed_keep),
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
        more.setdefault("title", "Jarsight")
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

    # Today

    async def today(self, request: Request) -> Response:
        """What lies here, last changed first."""
        lying = self.shed.lying()
        kinds = {k: [one for one in lying if one.kind == k] for k in ("mix", "product", "water")}
        return self.page(
            "today.html",
            shed=self.shed.root.name,
            mixes=kinds["mix"],
            products=kinds["product"],
            waters=kinds["water"],
            problems=(),
        )

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
            waters=self.shed.waters(),
            products=self.shed.products(),
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
                "amounts": [jug["amount"] for jug in shown["jugs"]],
                "query": draft.query(),
                "undo": len(self._trails.get(draft.window, ())) > 1,
            }
        )

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

        shown: dict[str, Any] = {"result": None, "problems": (), "jugs": self._jugs(draft, None)}
        if not draft.jugs:
            return shown
        try:
            mix = draft.mix(self.shed)
            found, told = await self.ask(
                partial(self._forecast, mix, draft.judged_at, moving), draft.window, moving=moving
            )
        except InputProblem as problem:
            return shown | {"problems": problem.problems}
        part = forecast_blocks(found)
        rest = [part[name] for name in BELOW if part[name].told]
        return shown | {
            "result": found,
            "answer": forecast_answer(found, told),
            "first": [b for b in forecast_first(found, told=told) if b.told],
            "glasses": glasses(found),
            "chance": chance_part(found, part["out"]) + limit_part(found),
            "ph_line": ph_line(found),
            "ph_svg": ph_rule_svg(found),
            "sheet": Sheet("", [], rest),
            "jugs": self._jugs(draft, found),
        }

    def _forecast(
        self, mix: Mix, judged_at: str, moving: bool, study: Study
    ) -> tuple[Forecast, Told | None]:
        found = forecast_of(mix, judged_at, MOVING_DRAWS if moving else None, study)
        return found, None if moving else self.records.told(found, study)

    def _jugs(self, draft: Draft, found: Forecast | None) -> list[dict[str, Any]]:
        from chem.sheets.tank import tank_text

        names = dict(self.shed.products())
        out: list[dict[str, Any]] = []
        for i, (file, rate) in enumerate(draft.jugs):
            usual = amount = ""
            if found is not None:
                usual = found.mix.additions[i].rate.text
                if not found.refused:
                    load = found.loads[0]
                    amount = tank_text(load.of(i), load, found.mix, "both")
            slider = slider_of(rate or usual, least=0.0)
            name = names.get(file, file)
            out.append(
                {"file": file, "name": name, "rate": rate, "usual": usual, "amount": amount}
                | {"slider": slider}
            )
        return out

    # Answers

    async def answer(self, door: str, request: Request) -> Response:
        """A sheet of the mix that the address holds."""
        query = request.query_params
        draft = Draft.of(query.multi_items(), self.shed)
        mix = draft.mix(self.shed)
        asked = {k: v for k, v in query.items() if v}
        if door == "ph" and not ("to" in asked and "with" in asked):
            sheet: Sheet | None = None
        elif door == "diagnose" and "seen" not in asked:
            sheet = None
        else:
            sheet = await self.ask(partial(sheet_of, door, mix, draft.judged_at, asked))
        takes = []
        if door == "fix" and sheet is not None:
            takes = await self.ask(partial(takes_of, mix, draft))
        return self.page(
            f"{door}.html" if door in ("ph", "diagnose", "fix") else "answer.html",
            title=f"{draft.texts['name']}: {DOORS[door]}",
            sheet=sheet or Sheet(draft.texts["name"], [DOORS[door]], []),
            back=draft.query(),
            pairs=[p for p in query.multi_items() if p[0] not in ("to", "with", "seen", "after")],
            asked=asked,
            takes=takes,
        )

    async def save(self, request: Request) -> Response:
        """Write the mix into its file."""
        form = await request.form()
        draft = Draft.of(request.query_params.multi_items(), self.shed)
        saved = save(draft, self.shed, str(form.get("version", NO_VERSION)))
        return RedirectResponse(f"/mix?mix={quote(saved.file)}&w={saved.window}", 303)

    async def rinse(self, request: Request) -> Response:
        """From one tank to the next: what must not meet, how many rinses."""
        from chem.advice.rinse import rinsing
        from chem.sheets.rinse import rinse_sheet
        from chem.tank import read_mix

        asked = {k: v for k, v in request.query_params.items() if v}
        mixes = [(one.file, one.name) for one in self.shed.lying("mix")]
        sheet = Sheet("Rinse", ["From which tank to which?"], [])
        if {"before", "after"} <= set(asked):
            before, after = (read_mix(self.shed.path(asked[k])) for k in ("before", "after"))
            sheet = await self.ask(
                lambda study: rinse_sheet(rinsing(before, after, count=study.few(64).count))
            )
        return self.page("rinse.html", sheet=sheet, mixes=mixes, asked=asked, back="")

    # The shelf

    async def label(self, request: Request) -> Response:
        """A label to paste or type."""
        return self.page("label.html", name="", text="", back_lines=(), toml="", problems=())

    async def label_read(self, request: Request) -> Response:
        """The text back with what was understood, and the file that would be written."""
        from chem.label.paste import read_paste
        from chem.sheets.paste import read_back

        form = await request.form()
        name, text = str(form.get("name", "")).strip(), str(form.get("text", ""))
        lines: list[str] = []
        toml = ""
        problems: Sequence[Problem] = ()
        try:
            pasted = await asyncio.to_thread(read_paste, text, name)
            lines, toml = read_back(text, pasted), pasted.toml
        except InputProblem as problem:
            problems = problem.problems
        shown: dict[str, Any] = {"name": name, "text": text, "back_lines": lines, "toml": toml}
        return self.page("label.html", **shown, problems=problems)

    async def water(self, request: Request) -> Response:
        """A water to enter."""
        return self.page("water.html", problems=())

    async def keep(self, request: Request) -> Response:
        """Write a new product or water file, once it reads back without a problem."""
        form = await request.form()
        kind, text = str(form.get("kind", "")), str(form.get("toml", ""))
        if kind == "water":
            text = _water_text({k: str(v).strip() for k, v in form.items()})
        folder = {"product": "products", "water": "waters"}.get(kind)
        if folder is None:
            raise InputProblem(Problem("kind", "a product or a water is kept here", "one of them"))
        name = str(form.get("name", "")).strip()
        base = f"{folder}/" if (self.shed.root / folder).is_dir() else ""
        file = base + file_name(name)
        path = self.shed.path(file)
        if path.exists():
            raise InputProblem(
                Problem(f"`{file}`", "a file of that name lies there already", "another name")
            )
        _checked(kind, text, path.name)
        write_text(path, text)
        where = f"/product?file={quote(file)}" if kind == "product" else "/"
        return RedirectResponse(where, 303)

    async def product(self, request: Request) -> Response:
        """What a label holds in ions."""
        from chem.advice.jug import jug
        from chem.label import read_product
        from chem.sheets.jug import jug_sheet

        path = self.shed.named(request.query_params.get("file", ""), "products")
        product = read_product(path)
        sheet = await self.ask(lambda _: jug_sheet(jug(product)))
        return self.page("answer.html", title=product.name, sheet=sheet, back="")

    async def shelf(self, request: Request) -> Response:
        """Would they get along: every pair of a shelf."""
        from chem.errors import InputProblem as Wrong
        from chem.reference.files import data_folder
        from chem.sheets.shelf import shelf_sheet
        from chem.shelf import make_setting, read_stock, shelf
        from chem.tank import read_water
        from chem.tank.water import UNKNOWN_WATER

        asked = {k: v for k, v in request.query_params.items() if v}
        shown: dict[str, Any] = {"waters": self.shed.waters(), "asked": asked, "back": ""}
        empty = Sheet("The shelf", ["Every pair of your jugs, in one tank."], [])
        if "carrier" not in asked:
            return self.page("shelf.html", sheet=empty, problems=(), **shown)
        try:
            water = asked.get("water", "unknown")
            setting = make_setting(
                carrier=asked["carrier"],
                water=UNKNOWN_WATER
                if water == "unknown"
                else read_water(self.shed.named(water, "waters")),
            )
            own = self.shed.root / "products"
            folder = own if own.is_dir() else self.shed.root
            if not self.shed.lying("product"):
                folder = data_folder() / "demo" / "products"
            items, left_out = read_stock(folder, {})
            result = await self.ask(lambda _: shelf(items, setting, left_out=left_out, pairs=True))
        except Wrong as problem:
            return self.page("shelf.html", 422, sheet=empty, problems=problem.problems, **shown)
        return self.page("shelf.html", sheet=shelf_sheet(result), problems=(), **shown)

    async def calibrate(self, request: Request) -> Response:
        """Spray volume from a catch test."""
        from chem.sheets.catch import catch_sheet
        from chem.tank import by_area
        from chem.units import read_area, read_volume

        asked = {k: v for k, v in request.query_params.items() if v}
        sheet = Sheet("Calibrate", ["Catch what one pass over a known area takes."], [])
        problems: Sequence[Problem] = ()
        if "catch" in asked:
            try:
                caught = [read_volume(part, "Caught") for part in asked["catch"].split(",")]
                result = by_area(caught, read_area(asked.get("area", ""), "Area"))
                sheet = catch_sheet(result, None, "both")
            except InputProblem as problem:
                problems = problem.problems
        return self.page("calibrate.html", sheet=sheet, asked=asked, problems=problems, back="")


def _water_text(form: dict[str, str]) -> str:
    keys = ("name", "ph", "alkalinity", "hardness")
    return rewritten({key: form[key] for key in keys if form.get(key)})


def _checked(kind: str, text: str, file: str) -> None:
    """Raises: InputProblem where a file of that text could not be read back."""
    import tempfile

    from chem.label import read_product
    from chem.tank import read_water

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / file
        path.write_text(text, encoding="utf-8")
        read = read_product if kind == "product" else read_water
        read(path)


def build(
    folder: Path, key: str, hosts: frozenset[str], *, draws: int = DRAWS
) -> tuple[Guard, Desk]:
    """The guarded application over a shed's folder, and the desk in it."""
    desk = Desk(folder, draws=draws)
    return Guard(desk.app(), key, hosts), desk


def serve(folder: Path, port: int, *, show: bool, tell: Callable[[str], None]) -> None:
    """Answer on this machine until Ctrl-C; port 0 takes a free one.

    Raises: InputProblem where the folder is none or the port is taken.
    """
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(("127.0.0.1", port))
    except OSError as error:
        listening.close()
        wrong = f"it can't be used ({error.strerror})"
        raise InputProblem(Problem(f"--port {port}", wrong, "another port, or 0")) from None
    taken = listening.getsockname()[1]
    key = secrets.token_urlsafe(24)
    app, desk = build(folder, key, frozenset({f"127.0.0.1:{taken}", f"localhost:{taken}"}))
    address = f"http://127.0.0.1:{taken}/?key={key}"
    tell(address)
    if show:
        webbrowser.open(address)
    config = uvicorn.Config(app, log_level="error", access_log=False, server_header=False)
    try:
        uvicorn.Server(config).run(sockets=[listening])
    finally:
        desk.close()
