"""The desk's notebook: what the jar or tank showed, what was sprayed, and what came of it all."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from chem.desk.draft import Draft
from chem.desk.fields import Fields
from chem.errors import InputProblem, Problem
from chem.forecast import NOTHING_LEARNED, Beliefs, Forecast, Study, forecast
from chem.notebook import Notebook, Sighting, Sprayed, entry_of, find_place
from chem.notebook.learning import Learned, learn_from
from chem.notebook.tried import Told, told_of, told_of_mix
from chem.sheets.blocks import Sheet
from chem.sheets.notebook import noted
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
FEW = 64
LOOKS_S = {900.0: "15 min", 14400.0: "4 h", 86400.0: "overnight"}
"""When a jar is looked at [s after the last pour], in words."""
LAST_LOOK_S = 86400.0
AWAITED = timedelta(days=14)
REMEMBERED = ("who", "licence", "equipment")


@dataclass(frozen=True)
class Awaited:
    """A printed sheet whose next look is due, so long after the last pour; late: whether that time
    has passed."""

    number: str
    name: str
    look: str
    after: str
    due: datetime
    late: bool


class Records:
    """The notebook of the desk's shed, and what it taught."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self.open()

    def open(self) -> None:
        """The notebook where the shed has it now."""
        self.book = Notebook(find_place(self._desk.shed.root).path)
        self._kept: tuple[Kept, ...] = ()
        self._learned: Learned | None = None
        self._stamp = 0.0
        self._believing: tuple[Study, Study] | None = None

    def believed(self, study: Study) -> Study:
        """The Study with what the notebook holds now believed."""
        changed = self._read(study.seed)
        if changed or self._believing is None or self._believing[0] is not study:
            beliefs: Beliefs = NOTHING_LEARNED if self._learned is None else self._learned.beliefs
            self._believing = study, study.believing(beliefs)
        return self._believing[1]

    def told(self, result: Forecast, study: Study) -> Told | None:
        """What the notebook says beside a forecast; None where it holds nothing."""
        if self._learned is None or not self._kept:
            return None
        return told_of(result, self._kept, self._learned, study)

    def noted(self, sheet: Sheet, mix: Mix) -> Sheet:
        """A sheet of advice with what the notebook says of the mix."""
        if self._learned is None or not self._kept:
            return sheet
        return noted(sheet, told_of_mix(mix, self._kept, self._learned))

    def _read(self, seed: int) -> bool:
        """Read the notebook where it has changed; whether it had."""
        stamp = self.book.path.stat().st_mtime if self.book.exists else 0.0
        if stamp == self._stamp:
            return False
        self._kept, self._learned = learn_from(self.book, seed)
        self._stamp = stamp
        return True

    def awaited(self, now: datetime) -> list[Awaited]:
        """Sheets of the last days that were printed and have no result yet, the latest first."""
        told: dict[str, list[float]] = {}
        for entry in self._entries():
            if entry.number:
                told.setdefault(entry.number, []).extend(
                    [look.after_s or 0.0 for look in entry.seen] or [LAST_LOOK_S]
                )
        out = []
        for one in self.book.numbers():
            at = datetime.fromisoformat(one.at)
            seen = max(told.get(one.number, [-1.0]))
            following = next((s for s in LOOKS_S if s > seen), None)
            if now - at < AWAITED and following is not None:
                due = at + timedelta(seconds=following)
                look, after = LOOKS_S[following], f"{following / 60.0:g} min"
                out.append(Awaited(one.number, one.mix.name, look, after, due, due < now))
        return out[::-1]

    def number_for(self, mix: Mix) -> str:
        """The number of a sheet of this mix."""
        return self.book.number_for(mix)

    # Doors

    def _meant(self, request: Request) -> tuple[Mix, Draft, str]:
        """The mix of the address, or that which was printed under its number."""
        draft = Draft.of(request.query_params.multi_items(), self._desk.shed)
        number = request.query_params.get("number", "")
        if number:
            return self.book.mix_of(number).mix.reread(), draft, number
        return draft.mix(self._desk.shed), draft, ""

    async def saw(self, request: Request) -> Response:
        """Big words to press for what the jar or tank showed."""
        mix, draft, number = self._meant(request)
        return self._saw_page(mix, draft, number, Fields({}))

    def _saw_page(self, mix: Mix, draft: Draft, number: str, fields: Fields) -> Response:
        asked = f"What did {number} show?" if number else "What did the jar or the tank show?"
        return self._desk.page(
            "saw.html",
            422 if fields.problems else 200,
            title=f"{mix.name}: what it showed",
            sheet=Sheet(mix.name, [asked], []),
            back="" if number else draft.query(),
            where=f"number={number}" if number else draft.query(),
            looks=LOOKS,
            fields=FIELDS,
            products=[a.product.name for a in mix.additions],
            asked={**self._before(), **fields.given},
            problems=fields.problems,
        )

    async def saw_keep(self, request: Request) -> Response:
        """Keep a look with the whole mix as it stands."""
        from chem.forecast import read_after
        from chem.notebook.written import read_looks_written, read_reading

        mix, draft, number = self._meant(request)
        fields = Fields({k: str(v) for k, v in (await request.form()).items()})
        after = fields["after"] or "0 min"
        fields.read("after", lambda text: read_after(text, "How long after the last pour"))
        by = fields["by"] or "strip"
        ph = fields.read("ph", lambda text: read_reading(text, by=by))
        if fields.problems:
            return self._saw_page(mix, draft, number, fields)
        sighting = Sighting(
            seen=read_looks_written([fields["seen"]], [after]),
            ph=() if ph is None else (ph,),
            note=fields["note"],
            kind="tank" if fields["in"] == "tank" else "jar",
            number=number or None,
            lots=_lots(fields, mix),
        )
        await self._keep(mix, draft, sighting)
        return RedirectResponse("/" if number else f"/mix?{draft.query()}", 303)

    async def sprayed_keep(self, request: Request) -> Response:
        """Keep the spray record, and in one the evidence."""
        from chem.notebook.written import read_clean, read_left, read_moment
        from chem.units import read_area, read_volume

        mix, draft, number = self._meant(request)
        fields = Fields({k: str(v) for k, v in (await request.form()).items()})
        readers: dict[str, Callable[..., object]] = {
            "area": read_area, "used": read_volume, "left": read_left,
            "start": read_moment, "end": read_moment,
        }  # fmt: skip
        for key, read in readers.items():
            fields.read(key, partial(read, where=FIELDS[key]))
        if fields.problems:
            return self._saw_page(mix, draft, number, fields)
        given: dict[str, Any] = {key: fields[key] for key in FIELDS if key in fields}
        if "screens" in given:
            given["screens"] = read_clean(given["screens"], FIELDS["screens"])
        record = Sprayed(through=True, **given)
        lots = _lots(fields, mix)
        sighting = Sighting(kind="sprayed", sprayed=record, number=number or None, lots=lots)
        await self._keep(mix, draft, sighting)
        return RedirectResponse("/season", 303)

    async def _keep(self, mix: Mix, draft: Draft, sighting: Sighting) -> None:
        def keep(study: Study) -> None:
            result = forecast(mix, study=study, judged_at=draft.judged_at)
            self.book.add(entry_of(result, sighting))

        await self._desk.ask(keep)

    async def notebook(self, request: Request) -> Response:
        """What was tried and seen, the latest first; the jar that would teach most."""
        from chem.notebook.search import search
        from chem.notebook.wall import teach_most
        from chem.sheets.records import list_sheet, next_sentence

        words = request.query_params.get("words", "")
        found = search(await asyncio.to_thread(self._entries), words.split())
        sheet = list_sheet(found[::-1])

        def would_teach(study: Study) -> str:
            return next_sentence(teach_most(self._kept, study.few(FEW)))

        teaches = await self._desk.ask(would_teach)
        return self._desk.page(
            "notebook.html", title="Notebook", sheet=sheet, words=words, teaches=teaches, back=""
        )

    async def score(self, request: Request) -> Response:
        """How good the forecasts were."""
        from chem.notebook.score import score
        from chem.sheets.records import score_sheet

        kept = await asyncio.to_thread(self.book.kept)
        sheet = await self._desk.ask(lambda _: score_sheet(score(kept), chemist=True))
        return self._desk.page("answer.html", title="How good it was", sheet=sheet, back="")

    async def export(self, request: Request) -> Response:
        """Everything as one JSON object, into a file of the browser's."""
        if not self.book.exists:
            wrong, instead = "there is no notebook yet", "a look or a spray record begins one"
            raise InputProblem(Problem("Notebook", wrong, instead))
        text = await asyncio.to_thread(self.book.export)
        name = {"Content-Disposition": 'attachment; filename="notebook.json"'}
        return Response(text, headers=name, media_type="application/json")

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


def _lots(fields: Fields, mix: Mix) -> dict[str, str]:
    """Product -> lot, of the lots that were told."""
    each = {a.product.name: fields[f"lot-{i}"] for i, a in enumerate(mix.additions)}
    return {name: lot for name, lot in each.items() if lot}
