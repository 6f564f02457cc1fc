"""Today: what lies here, which sheets await a result, what is too old."""

from __future__ import annotations

import asyncio
from datetime import date, datetime
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import Response

from chem.errors import InputProblem

if TYPE_CHECKING:
    from chem.desk.app import Desk

FIRST_WORDS = ("clear", "haze", "flakes", "grit")
"""What most jars show; every word stands on the sheet's own page."""
SPRAYER_DAYS = 365
"""A sprayer is caught anew each season (common practice, no source)."""


class Today:
    """The first page."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    async def show(self, request: Request) -> Response:
        """What lies here, last changed first."""
        shed = self._desk.shed
        lying = await asyncio.to_thread(shed.lying)
        kinds = {k: [one for one in lying if one.kind == k] for k in ("mix", "product", "water")}
        awaited = self._desk.records.awaited(datetime.now().astimezone())
        return self._desk.page(
            "today.html",
            shed=shed.root.name,
            mixes=kinds["mix"],
            products=kinds["product"],
            waters=kinds["water"],
            sprayers=self._desk.gear.sprayers(),
            awaited=awaited,
            words=FIRST_WORDS,
            set_once=shed.set_once,
            choices=shed.waters(),
            booms=[(one.file, one.name) for one in lying if one.kind == "sprayer"],
            old=await asyncio.to_thread(self._old, [one.file for one in kinds["water"]]),
        )

    def _old(self, waters: list[str]) -> list[str]:
        """What should be measured anew."""
        from chem.tank import read_water

        today = date.today()
        said: list[str] = []
        for file in waters:
            try:
                said += read_water(self._desk.shed.path(file)).old(today)
            except InputProblem:
                continue
        for name, _, when in self._desk.gear.sprayers():
            try:
                days = (today - date.fromisoformat(when)).days
            except ValueError:
                continue
            if days > SPRAYER_DAYS:
                said.append(f"{name} was last caught {days // 30} months ago: catch it again")
        return said
