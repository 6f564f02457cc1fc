"""The doors from a mix: each asks a room of what the address holds, and shows its sheet."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, ClassVar

from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from chem.desk.answers import sheet_of
from chem.desk.draft import Draft
from chem.desk.fields import Fields
from chem.errors import InputProblem, Problem
from chem.forecast import Study, never
from chem.sheets.blocks import Sheet
from chem.tank import Mix

if TYPE_CHECKING:
    from chem.desk.app import Desk

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
NUMBERED = ("jar", "pour")
"""Sheets that can be printed under a number, by which what they showed is recorded."""


class Doors:
    """What can be asked of one mix."""

    PLAIN: ClassVar[tuple[str, ...]] = ("forecast", "why", "pour", "jar", "diagnose")

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    async def answer(self, door: str, request: Request) -> Response:
        """A sheet of the mix that the address holds, or that was printed under a number."""
        query = request.query_params
        number = query.get("number", "")
        draft = Draft.of(query.multi_items(), self._desk.shed)
        if number and door in NUMBERED:
            mix = self._desk.records.book.mix_of(number).mix.reread()
        else:
            mix = draft.mix(self._desk.shed)
        asked = {k: v for k, v in query.items() if v}
        fields = Fields({"seen": "", **asked})
        sheet = Sheet(mix.name, ["What did you see?"], [])
        if door != "diagnose" or "seen" in asked:
            try:
                sheet = await self._desk.ask(
                    partial(sheet_of, door, mix, draft.judged_at, asked, self._desk.shed.units)
                )
                if door != "diagnose":
                    sheet = self._desk.records.noted(sheet, mix)
            except InputProblem as problem:
                if door != "diagnose":
                    raise
                fields.take(problem, "after")
        return self._desk.page(
            "diagnose.html" if door == "diagnose" else "answer.html",
            title=f"{mix.name}: {DOORS[door]}",
            sheet=sheet,
            back="" if number and not draft.jugs else draft.query(),
            number=number,
            numbering=door if door in NUMBERED and not number else "",
            page_of=door == "forecast",
            pairs=_pairs(request, "seen", "after"),
            asked=asked,
            problems=fields.problems,
        )

    async def number(self, request: Request) -> Response:
        """Keep the mix as it stands under a number, for a sheet that is printed now."""
        door = request.query_params.get("door", "")
        draft = Draft.of(request.query_params.multi_items(), self._desk.shed)
        mix = draft.mix(self._desk.shed)
        number = await self._desk.ask(partial(self._number, mix))
        door = door if door in NUMBERED else NUMBERED[0]
        return RedirectResponse(f"/{door}?{draft.query()}&number={number}", 303)

    def _number(self, mix: Mix, study: Study) -> str:
        """The number of a sheet of this mix. Raises: InputProblem where it must not be poured."""
        if never(study.rules(mix)):
            wrong = "this mix must never be poured, so that no sheet of it is numbered"
            raise InputProblem(Problem(mix.name, wrong, "`What to change`"))
        return self._desk.records.number_for(mix)

    async def fix(self, request: Request) -> Response:
        """What would keep it clear, each change taken over with one press."""
        from chem.desk.takes import fixes_of, takes_of
        from chem.sheets.fix import fix_sheet

        shed = self._desk.shed
        draft = Draft.of(request.query_params.multi_items(), shed)
        mix = draft.mix(shed)
        result = await self._desk.ask(partial(fixes_of, mix, draft, shed))
        return self._desk.page(
            "fix.html",
            title=f"{mix.name}: {DOORS['fix']}",
            sheet=self._desk.records.noted(fix_sheet(result, shed.units), mix),
            back=draft.query(),
            takes=takes_of(result, draft, shed),
        )

    async def ph(self, request: Request) -> Response:
        """Which adjuvants the tank suits; how much acid or base for a pH, and its curve."""
        from chem.advice.agents import agents, choose_agent
        from chem.advice.ph import adjust
        from chem.desk.takes import dose_of
        from chem.sheets.ph import ph_sheet
        from chem.units import read_ph

        shed = self._desk.shed
        draft = Draft.of(request.query_params.multi_items(), shed)
        mix = draft.mix(shed)
        fields = Fields(request.query_params)
        take = None
        if "to" not in fields and "with" not in fields:
            sheet = await self._desk.ask(partial(self._suited, mix))
        else:
            sheet = Sheet(mix.name, ["That can't be used as it stands."], [])
            to = fields.need("to", lambda text: read_ph(text, "To pH"), "such as 5.0")
            strength = fields["strength"] or None
            beside = shed.path(draft.file).parent if draft.file else shed.root
            agent = fields.need(
                "with", lambda text: choose_agent(text, strength, beside), "citric acid"
            )
            if to is not None and agent is not None and not fields.problems:
                try:
                    result = await self._desk.ask(
                        lambda study: adjust(
                            mix, to.value, agent, judged_at=draft.judged_at, study=study
                        )
                    )
                    sheet = self._desk.records.noted(ph_sheet(result, shed.units), mix)
                    named = fields["with"] if not strength else f"{strength} {fields['with']}"
                    take = dose_of(result, draft, named)
                except InputProblem as problem:
                    fields.take(problem, "with")
        return self._desk.page(
            "ph.html",
            title=f"{mix.name}: pH",
            sheet=sheet,
            back=draft.query(),
            pairs=_pairs(request, "to", "with", "strength"),
            asked=fields.given,
            agents=list(agents()),
            take=take,
            problems=fields.problems,
        )

    def _suited(self, mix: Mix, study: Study) -> Sheet:
        """The mix's adjuvants and the shed's beside the tank."""
        from chem.advice.suited import suiting
        from chem.sheets.suited import suited_sheet
        from chem.tank import window_of

        mine = {a.product.name for a in mix.additions}
        shelf = [p for p in self._desk.shed.read_products().values() if p.form == "adjuvant"]
        others = [window_of(p) for p in shelf if p.name not in mine]
        return suited_sheet(suiting(mix, others, study=study), self._desk.shed.units)

    async def page(self, request: Request) -> Response:
        """The forecast as a page of its own, to print or send: nothing in it is fetched."""
        from chem.advice.jar import jar_of
        from chem.forecast import forecast
        from chem.sheets.page.forecast import forecast_page
        from chem.sheets.page.whole import policy

        draft = Draft.of(request.query_params.multi_items(), self._desk.shed)
        mix = draft.mix(self._desk.shed)
        records, units = self._desk.records, self._desk.shed.units

        def whole(study: Study) -> str:
            result = forecast(mix, judged_at=draft.judged_at, study=study)
            return forecast_page(result, jar_of(result), units, told=records.told(result, study))

        text = await self._desk.ask(whole)
        headers = {"Content-Security-Policy": f"{policy(script=True)}; frame-ancestors 'none'"}
        return HTMLResponse(text, headers=headers)


def _pairs(request: Request, *without: str) -> list[tuple[str, str]]:
    """What the address holds, without what a form of the page asks for."""
    return [pair for pair in request.query_params.multi_items() if pair[0] not in without]
