"""`jarsight saw`: keep what the jar or tank showed."""

from __future__ import annotations

from typing import Annotated, Literal

import typer

from chem.cli.mixes import Asked, takes_mix
from chem.cli.options import DrawsOption, NotebookOption, SeedOption
from chem.cli.saying import say


@takes_mix
def saw_command(
    asked: Asked,
    seen: Annotated[
        list[str] | None, typer.Option(help="What was seen: haze, flakes ...; once per look.")
    ] = None,
    after: Annotated[
        list[str] | None, typer.Option(help='After how long: 15min, 2h, "right away".')
    ] = None,
    ph: Annotated[str | None, typer.Option(help="pH read, or empty.")] = None,
    ph_by: Annotated[Literal["strip", "meter"] | None, typer.Option(help="Read with.")] = None,
    ph_step: Annotated[str | None, typer.Option(help="Step of the strip's colours: 0.5.")] = None,
    ph_after: Annotated[
        str | None, typer.Option(help="Read how long after the last pour (unless said: at once).")
    ] = None,
    ph_temperature: Annotated[str | None, typer.Option(help='Read at: "60 F".')] = None,
    ladder: Annotated[
        str | None, typer.Option(help='Doses and pH by turns: "0:6.8, 1 mL:6.1, 3 mL:5.0".')
    ] = None,
    ladder_with: Annotated[
        str | None, typer.Option(help='The acid or base of the ladder: "citric acid 50 %".')
    ] = None,
    ladder_jar: Annotated[str | None, typer.Option(help='In how much: "500 mL".')] = None,
    lot: Annotated[list[str] | None, typer.Option(help="NAME=LOT, once per product.")] = None,
    where: Annotated[
        Literal["jar", "tank"] | None, typer.Option("--in", help="Seen in a jar or the tank.")
    ] = None,
    sprayed: Annotated[
        Literal["yes", "no"] | None, typer.Option(help="Whether it went through the nozzles.")
    ] = None,
    when: Annotated[str | None, typer.Option(help="The day, where not today.")] = None,
    initials: Annotated[str | None, typer.Option(help="Who saw it.")] = None,
    amends: Annotated[
        str | None, typer.Option(metavar="ID", help="An entry that this one corrects.")
    ] = None,
    note: Annotated[str | None, typer.Option(help="Anything else, in your words.")] = None,
    notebook: NotebookOption = None,
    draws: DrawsOption = 256,
    seed: SeedOption = 1,
) -> None:
    """Keep what the jar or tank showed, with the whole mix as poured.

    MIX is a mix file, the number of a sheet (J-0412-2), or --add for each product. Asks only for
    what was not given, and nothing at all with --seen and --after.
    """
    from chem.cli.noting import answer, begin, notebook_of, tell_copies
    from chem.forecast import SEEN_WORDS, Study, forecast, read_after, read_seen
    from chem.forecast.sight import OF_SOLIDS, sight
    from chem.notebook import Reading, Sighting, Sprayed, entry_of
    from chem.notebook.facts import reading_variance, spread_of
    from chem.notebook.readings import FAR
    from chem.notebook.written import (
        read_ladder,
        read_looks_written,
        read_lots,
        read_reading,
        read_when,
    )
    from chem.sheets.words import odds
    from chem.units import read_volume

    book = notebook_of(asked.path or asked.beside, notebook)
    wanted, number = asked.mix, asked.number
    silent = bool(seen) and bool(after)

    def reading(text: str) -> Reading:
        return read_reading(
            text, by=ph_by, step=ph_step, after=ph_after, temperature=ph_temperature
        )

    # Options are read, the forecast made and the disk tried first, so that nothing waits
    # between the last answer and the disk, and nobody answers in vain.
    if silent:
        read_looks_written(seen or [], after or [])
    for words in seen or []:
        read_seen(words, "seen")
    for time in after or []:
        read_after(time, "after")
    readings = [reading(ph)] if ph is not None and ph.strip() else []
    if ladder_jar is not None:
        read_volume(ladder_jar, "ladder-jar")
    if ladder is not None:
        readings += read_ladder(ladder, agent=ladder_with, jar=ladder_jar, by=ph_by, after=ph_after)
    lots = read_lots(lot or [], wanted)
    at = None if when is None else read_when(when)
    old = None if amends is None else book.find(amends).id
    study = Study(draws, seed)
    result = forecast(wanted, study=study)
    book.must_be_writable(len(entry_of(result, Sighting()).line()))
    if not seen:
        question = f"Seen ({', '.join(SEEN_WORDS)})"
        seen = [" ".join(answer(None, question, lambda text: read_seen(text, "seen")))]
    looks = read_looks_written(seen, after or [answer(None, "After how long (15min, 2h)", _time)])
    if ph is None and ladder is None and not silent:
        typed = answer(
            None, "pH on the strip (Enter: not read)", lambda text: reading(text) if text else None
        )
        readings = [typed] if typed is not None else []
    if note is None and not silent:
        note = answer(None, "Note (Enter: none)", str)
    went = None if sprayed is None else Sprayed(through=sprayed == "yes")
    entry = entry_of(
        result,
        Sighting(
            seen=looks,
            ph=tuple(readings),
            note=note or "",
            by=initials,
            kind=where or ("tank" if went is not None else None),
            number=number,
            amends=old,
            lots=lots,
            sprayed=went,
        ),
    )
    if at is not None:
        entry = entry.model_copy(update={"at": at})
    begin(book)
    book.add(entry)
    say(f"Kept in {book.path}")
    tell_copies(book)
    found = study.look(wanted)
    middle, spread = spread_of(found.fresh.clear.ph)
    for one in readings:
        if (
            one.dose is None
            and abs(one.value - middle) > FAR * (spread + reading_variance(one)) ** 0.5
        ):
            say(
                f"pH {one.value:g} is far from the {middle:.1f} of the labels. Read wrong? Then "
                f"again with --amends {entry.id[:6]}. Else measure the jugs."
            )
    last = looks[-1].after_s or 0.0
    said = tuple(look.word for look in looks if look.after_s == last)
    if OF_SOLIDS & set(said) or "clear" in said:
        told = sight(found, said, last)
        say(f"The forecast gave it: {odds(told.expected)}.")


def _time(text: str) -> str:
    """A waiting time, as typed. Raises: InputProblem."""
    from chem.forecast import read_after

    read_after(text, "after")
    return text
