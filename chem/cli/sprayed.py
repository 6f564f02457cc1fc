"""`jarsight sprayed`: the spray record, and evidence in the same entry."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from chem.cli.mixes import Asked, takes_mix
from chem.cli.options import DrawsOption, JsonOption, LotOption, NotebookOption, SeedOption
from chem.cli.saying import say

if TYPE_CHECKING:
    from chem.notebook import Sprayed


@takes_mix
def sprayed_command(
    asked: Asked,
    site: Annotated[str | None, typer.Option(help="Where.")] = None,
    area: Annotated[str | None, typer.Option(help='How much of it: "2.6 acre".')] = None,
    used: Annotated[str | None, typer.Option(help='How much went out: "50 gal".')] = None,
    left: Annotated[str | None, typer.Option(help='How much was left: "4 gal".')] = None,
    who: Annotated[str | None, typer.Option(help="Who sprayed.")] = None,
    licence: Annotated[str | None, typer.Option(help="Licence or certificate.")] = None,
    start: Annotated[str | None, typer.Option(help='Begun: "2026-11-04 07:30".')] = None,
    end: Annotated[str | None, typer.Option(help="Done.")] = None,
    wind: Annotated[str | None, typer.Option(help='Wind: "4 mph SW".')] = None,
    temperature: Annotated[str | None, typer.Option(help='Of the air: "60 F".')] = None,
    equipment: Annotated[str | None, typer.Option(help="Sprayer, nozzles.")] = None,
    screens: Annotated[
        str | None, typer.Option(help="`clean`, or what was in them: the best evidence.")
    ] = None,
    lot: LotOption = None,
    initials: Annotated[str | None, typer.Option(help="Who writes this.")] = None,
    amends: Annotated[
        str | None, typer.Option(metavar="ID", help="An entry that this one corrects.")
    ] = None,
    note: Annotated[str | None, typer.Option(help="Anything else, in your words.")] = None,
    quick: Annotated[bool, typer.Option("--quick", help="Ask for nothing more.")] = False,
    notebook: NotebookOption = None,
    as_json: JsonOption = False,
    draws: DrawsOption = 256,
    seed: SeedOption = 1,
) -> None:
    """The spray record, and in one the evidence: did it go through, were the screens clean.

    MIX is a mix file, the number of a sheet, or --add for each product. Each field is asked for
    once; Enter takes what the last record said of who, licence and equipment, or leaves it open;
    "-" leaves it open.
    """
    from chem.cli.noting import answer, begin, notebook_of, study_to_keep, tell_copies
    from chem.forecast import forecast
    from chem.notebook import Sighting, Sprayed, entry_of
    from chem.notebook.written import read_clean, read_left, read_lots, read_moment
    from chem.sheets.records import sprayed_json
    from chem.units import format_carrier, read_area, read_volume

    book = notebook_of(asked.path or asked.beside, notebook)
    wanted, number = asked.mix, asked.number
    lots = read_lots(lot or [], wanted)
    old = None if amends is None else book.find(amends).id
    result = forecast(wanted, study=study_to_keep(book, draws, seed))
    book.must_be_writable(len(entry_of(result, Sighting()).line()))
    last = [e.sprayed for e in (book.entries() if book.exists else ()) if e.kind == "sprayed"]
    before = last[-1] if last and last[-1] is not None else Sprayed()

    def told(name: str, given: str | None, question: str, read: object = None) -> str | None:
        """What was given, else typed; nothing where it is left open."""
        remembered = getattr(before, name) if name in ("who", "licence", "equipment") else None

        def checked(text: str) -> str | None:
            text = text.strip() or (remembered or "")
            if text in ("", "-"):
                return None
            if read is not None:
                assert callable(read)
                read(text, name)
            return text

        if given is None and quick:
            return remembered
        shown = f"{question} [{remembered}]" if remembered else question
        return answer(given, shown, checked)

    sprayed = Sprayed(
        site=told("site", site, "Site (Enter: not told)"),
        area=told("area", area, "Area", read_area),
        used=told("used", used, "Went out", read_volume),
        left=told("left", left, "Left in the tank (0: nothing)", read_left),
        who=told("who", who, "Who sprayed"),
        licence=told("licence", licence, "Licence"),
        start=told("start", start, "Begun (2026-11-04 07:30)", read_moment),
        end=told("end", end, "Done", read_moment),
        wind=told("wind", wind, "Wind"),
        temperature=told("temperature", temperature, "Temperature of the air"),
        equipment=told("equipment", equipment, "Equipment"),
        screens=told("screens", screens, "Screens (clean, or what was in them)", read_clean),
    )
    clean = None if sprayed.screens is None else read_clean(sprayed.screens, "screens")
    sprayed = sprayed.model_copy(update={"screens": clean, "through": True})
    entry = entry_of(
        result,
        Sighting(
            note=note or "",
            by=initials,
            kind="sprayed",
            number=number,
            amends=old,
            lots=lots,
            sprayed=sprayed,
        ),
    )
    begin(book)
    book.add(entry)
    tell_copies(book)
    say(sprayed_json(entry) if as_json else f"Kept in {book.path}")
    put = _went_out(sprayed)
    if put is not None and abs(put / wanted.carrier_L_per_m2 - 1.0) > OTHERWISE:
        say(
            f"{sprayed.used} on {sprayed.area} is {format_carrier(put)}; the mix was reckoned for "
            f"{format_carrier(wanted.carrier_L_per_m2)}. Typed wrong? Then again with --amends "
            f"{entry.id[:6]}.",
            err=True,
        )


OTHERWISE = 0.15
"""A spray volume this far from the mix's own is told (common practice, no source)."""


def _went_out(sprayed: Sprayed) -> float | None:
    """The spray volume of a record [L/m2], where both its figures are told."""
    from chem.units import read_area, read_volume

    if sprayed.used is None or sprayed.area is None:
        return None
    return read_volume(sprayed.used, "used") / read_area(sprayed.area, "area")
