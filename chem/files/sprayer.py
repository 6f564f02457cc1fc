"""A sprayer's file as written: its spray volume as measured, its tank, screens and sump."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from chem.files.reading import FormModel, Name
from chem.files.table import Ask, Reader
from chem.units import read_carrier, read_percent, read_screen, read_volume


class SprayerForm(FormModel):
    """A sprayer file as written; `jarsight calibrate --out` writes one."""

    title: ClassVar[str] = "A sprayer; `jarsight calibrate --out` measures it and writes this."

    name: Annotated[Name, Ask("What you call this sprayer", note="REQUIRED: what you call it")]
    carrier: Annotated[
        str,
        Reader(read_carrier),
        Ask(
            "Spray volume",
            "2 gal/1000 sq ft",
            note="REQUIRED: what leaves the nozzles",
            open=True,
        ),
    ]
    error_percent: Annotated[
        str,
        Reader(read_percent, bare=True),
        Ask(example="3", note="how far off that may be, percent"),
    ] = "3"
    tank: Annotated[str | None, Reader(read_volume), Ask("Its tank", "50 gal")] = None
    finest_screen: Annotated[
        str | None,
        Reader(read_screen),
        Ask(
            "Finest screen, mesh or micron, such as 50 mesh",
            "50 mesh",
            note="in tank, line or nozzle, whichever is finest: mesh or micron",
        ),
    ] = None
    agitation: Annotated[
        Literal["none", "return", "mechanical"] | None,
        Ask(
            "Agitation: none, return or mechanical",
            "return",
            note="none, return (the pump's bypass) or mechanical",
        ),
    ] = None
    stays_in_sump: Annotated[
        str | None,
        Reader(read_volume),
        Ask("Left in sump and hose when empty, as 1 qt", "1 qt", note="when run empty"),
    ] = None
    how: Annotated[str | None, Ask("How it was measured", "catch test, 4 nozzles")] = None
    when: Annotated[str | None, Ask("When, as 2026-04-12", "2026-04-12")] = None
