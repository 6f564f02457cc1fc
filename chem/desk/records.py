"""The desk's notebook: what the jar or tank showed, what was sprayed, and what came of it all."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from chem.desk.draft import Draft
from chem.forecast import NOTHING_LEARNED, Beliefs, Forecast, Study, forecast
from chem.notebook import Notebook, Sighting, Sprayed, entry_of, find_place
from chem.notebook.learning import Learned, learn_from
from chem.notebook.tried import Told, told_of
from chem.sheets.blocks import Sheet
from chem.tank import Mix

if TYPE_CHECKING:
    from chem.desk.app import Desk
    from chem.notebook import Kept

LOOKS = ("clear", "haze", "flakes", "grit", "gel", "layers", "oil", "foam", "fizz")
FIELDS = {
    "site": "Site",
    "area": "Area, such as 2.6 acre",
    "used": "Went out, such as 50 gal",
    "left": "Left in the tank",
    "who": "Who sprayed",
    "licence": "Licence",
    "start": "Begun, such as 2026-11-04 07:30",
    "end": "Done",
    "wind": "Wind",
    "temperature": "Temperature of the air",
    "equipment": "Equipment",
    "screens": "Screens: clean, or what was in them",
}
REMEMBERED = ("who", "licence", "equipment")


class Records:
    """The notebook of the desk's shed, and what it taught."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self.book = Notebook(find_place(desk.shed.root).path)
        self._kept: tuple[Kept, ...] = ()
        self._learned: Learned | None = None
        self._stamp = 0.0

    def believed(self, study: Study) -> Study:
        """The Study with what the notebook holds now believed."""
        self._read(study.seed)
        beliefs: Beliefs = NOTHING_LEARNED if self._learned is None else self._learned.beliefs
        return study.believing(beliefs)

    def told(self, result: Forecast, study: Study) -> Told | None:
        """What the notebook says beside a forecast; None where it holds nothing."""
        if self._learned is None or not self._kept:
            return None
        return told_of(result, self._kept, self._learned, study)

    def _read(self, seed: int) -> None:
        stamp = self.book.path.stat().st_mtime if self.book.exists else 0.0
        if stamp != self._stamp:
            self._kept, self._learned = learn_from(self.book, seed)
            self._stamp = stamp

    def number_for(self, mix: Mix) -> str:
        """The number of a sheet of this mix."""
        return self.book.number_for(mix)

    # Doors

    async def saw(self, request: Request) -> Response:
        """Big words to press for what the jar or tank showed."""
        draft = Draft.of(request.query_params.multi_items(), self._desk.shed)
        draft.mix(self._desk.shed)
        return self._desk.page(
            "saw.html",
            title=f"{draft.texts['name']}: what it showed",
            sheet=Sheet(draft.texts["name"], ["What did the jar or the tank show?"], []),
            back=draft.query(),
            looks=LOOKS,
            fields=FIELDS,
            before=self._before(),
        )

    async def saw_keep(self, request: Request) -> Response:
        """Keep a look with the whole mix as it stands."""
        from chem.notebook.written import read_looks_written, read_reading

        form = {k: str(v).strip() for k, v in (await request.form()).items()}
        draft = Draft.of(request.query_params.multi_items(), self._desk.shed)
        mix = draft.mix(self._desk.shed)
        looks = read_looks_written([form.get("seen", "")], [form.get("after") or "0"])
        read = [read_reading(form["ph"], by=form.get("by") or "strip")] if form.get("ph") else []
        kind: Any = "tank" if form.get("in") == "tank" else "jar"
        sighting = Sighting(seen=looks, ph=tuple(read), note=form.get("note", ""), kind=kind)
        await self._keep(mix, draft, sighting)
        return RedirectResponse(f"/mix?{draft.query()}", 303)

    async def sprayed_keep(self, request: Request) -> Response:
        """Keep the spray record, and in one the evidence."""
        from chem.notebook.written import read_clean, read_moment
        from chem.units import read_area, read_volume

        form = {k: str(v).strip() for k, v in (await request.form()).items()}
        draft = Draft.of(request.query_params.multi_items(), self._desk.shed)
        mix = draft.mix(self._desk.shed)
        readers: dict[str, Any] = {
            "area": read_area, "used": read_volume, "left": read_volume,
            "start": read_moment, "end": read_moment, "screens": read_clean,
        }  # fmt: skip
        given: dict[str, Any] = {key: form[key] for key in FIELDS if form.get(key)}
        for key, read in readers.items():
            if key in given:
                found = read(given[key], FIELDS[key])
                given[key] = found if key == "screens" else given[key]
        sighting = Sighting(kind="sprayed", sprayed=Sprayed(through=True, **given))
        await self._keep(mix, draft, sighting)
        return RedirectResponse("/season", 303)

    async def _keep(self, mix: Mix, draft: Draft, sighting: Sighting) -> None:
        def keep(study: Study) -> None:
            result = forecast(mix, study=study, judged_at=draft.judged_at)
            self.book.add(entry_of(result, sighting))

        await self._desk.ask(keep)

    async def notebook(self, request: Request) -> Response:
        """What was tried and seen, the latest first."""
        from chem.notebook.search import search
        from chem.sheets.records import list_sheet

        words = request.query_params.get("words", "")
        entries = await asyncio.to_thread(self._entries)
        sheet = list_sheet(search(entries, words.split()))
        return self._desk.page("notebook.html", title="Notebook", sheet=sheet, words=words, back="")

    async def wall(self, request: Request) -> Response:
        """Works, doesn't, not tried: a page for the shed wall."""
        from chem.notebook.wall import wall
        from chem.sheets.records import wall_sheet

        def work(study: Study) -> Sheet:
            believed = study.few(64)
            numbers = self.book.numbers() if self.book.exists else []
            return wall_sheet(wall(self._kept, numbers, believed))

        sheet = await self._desk.ask(work)
        return self._desk.page("answer.html", title="Wall", sheet=sheet, back="")

    async def season(self, request: Request) -> Response:
        """Records and sums of a season."""
        from chem.notebook.season import season
        from chem.sheets.records import season_sheet

        site = request.query_params.get("site") or None
        entries = await asyncio.to_thread(self._entries)
        found = season(entries, site=site, first=None, last=None, caps=[])
        return self._desk.page("answer.html", title="Season", sheet=season_sheet(found), back="")

    def _entries(self) -> tuple[Any, ...]:
        return tuple(self.book.entries()) if self.book.exists else ()

    def _before(self) -> dict[str, str]:
        """Who, licence and equipment of the last record."""
        kept = [e.sprayed for e in self._entries() if e.kind == "sprayed" and e.sprayed]
        last = kept[-1] if kept else Sprayed()
        return {key: getattr(last, key) or "" for key in REMEMBERED}
