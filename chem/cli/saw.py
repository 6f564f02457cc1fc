"""`jarsight saw`: keep what the jar or tank showed."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from chem.cli.mixes import AddOption, CarrierOption, RateOption, TankOption, WaterOption, asked_mix
from chem.cli.options import DrawsOption, LotOption, NotebookOption, SeedOption
from chem.cli.saying import say

if TYPE_CHECKING:
    from chem.notebook import Entry, Notebook


def saw_command(
    mix: Annotated[
        Path | None,
        typer.Argument(metavar="MIX", help="A mix file, a sheet's number, or a product's file."),
    ] = None,
    add: AddOption = None,
    rate: RateOption = None,
    carrier: CarrierOption = None,
    water: WaterOption = None,
    tank: TankOption = None,
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
    lot: LotOption = None,
    density: Annotated[list[str] | None, typer.Option(help='Of a jug: "NAME=11.3 lb/gal".')] = None,
    ec: Annotated[
        list[str] | None,
        typer.Option(help='Of a jug in distilled water: "NAME=2.1 mS/cm at 1 %".'),
    ] = None,
    jug_ph: Annotated[
        list[str] | None, typer.Option(help='Of 1 part of a jug in 10 of water: "NAME=5.6".')
    ] = None,
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

    MIX is a mix file, the number of a sheet (J-0412-2), or --add for each product; a product's
    file, where its jug was measured. Asks only for what was not given, and nothing at all with
    --seen and --after, with --ladder, or where only a jug was measured.
    """
    from chem.cli.noting import answer, notebook_of, study_to_keep
    from chem.errors import InputProblem, Problem
    from chem.forecast import SEEN_WORDS, forecast, read_after, read_seen
    from chem.forecast.sight import OF_SOLIDS, sight
    from chem.label import read_product
    from chem.notebook import Reading, Sighting, Sprayed, entry_of, is_number, jug_entry
    from chem.notebook.facts import grams_per_L, reading_variance, spread_of
    from chem.notebook.readings import FAR
    from chem.notebook.written import (
        read_ladder,
        read_looks_written,
        read_lots,
        read_measured,
        read_named,
        read_reading,
        read_when,
    )
    from chem.reference.fingerprint import fingerprint
    from chem.sheets.words import odds
    from chem.units import read_volume

    book = notebook_of(None if mix is None or is_number(str(mix)) else mix, notebook)
    told = {"density": density or [], "ec": ec or [], "ph": jug_ph or []}
    old = None if amends is None else book.find(amends).id
    at = None if when is None else read_when(when)
    if mix is not None and _is_jug(mix):
        jug = read_product(mix)
        lots = dict(read_named(text, "lot", [jug.name]) for text in lot or [])
        measured = read_measured(told, [jug], lots)
        if not measured:
            wrong, instead = "nothing of this jug was measured", "--density, --ec or --jug-ph"
            raise InputProblem(Problem(f"`{mix}`", wrong, instead))
        sighting = Sighting(note=note or "", by=initials, amends=old, lots=lots, measured=measured)
        _keep(book, jug_entry(jug, sighting, fingerprint()), at)
        return
    asked = asked_mix(mix, add, rate, notebook=notebook, carrier=carrier, water=water, tank=tank)
    wanted, number = asked.mix, asked.number
    only_jugs = any(told.values()) and not seen
    read_only = ladder is not None and not seen
    silent = (bool(seen) and bool(after)) or only_jugs or read_only

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
    measured = read_measured(told, [a.product for a in wanted.additions], lots)
    study = study_to_keep(book, draws, seed)
    result = forecast(wanted, study=study)
    book.must_be_writable(len(entry_of(result, Sighting()).line()))
    if not seen and not only_jugs and not read_only:
        nothing = "; Enter: nothing looked at" if readings else ""
        question = f"Seen ({', '.join(SEEN_WORDS)}{nothing})"

        def words_seen(text: str) -> tuple[str, ...]:
            return () if readings and not text else tuple(read_seen(text, "seen"))

        found_words = answer(None, question, words_seen)
        seen = [" ".join(found_words)] if found_words else []
    if seen and not after:
        after = [answer(None, "After how long (15min, 2h)", _time)]
    looks = read_looks_written(seen or [], after or [])
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
            measured=measured,
        ),
    )
    _keep(book, entry, at)
    if any(one.dose is not None and grams_per_L(one.dose) is None for one in readings):
        say(
            "Rungs of the ladder teach nothing: --ladder-with names an acid or base that `jarsight "
            "ph` knows, --ladder-jar how much was in the jar, each dose g, or mL of a liquid."
        )
    found = study.look(wanted)
    middle, spread = spread_of(found.fresh.clear.ph)
    for one in readings:
        if (
            one.dose is None
            and abs(one.value - middle) > FAR * (spread.variance + reading_variance(one)) ** 0.5
        ):
            say(
                f"pH {one.value:g} is far from the {middle:.1f} expected. Read wrong? Then "
                f"again with --amends {entry.id[:6]}. Else measure the jugs."
            )
    last = (looks[-1].after_s or 0.0) if looks else 0.0
    said = tuple(look.word for look in looks if look.after_s == last)
    if OF_SOLIDS & set(said) or "clear" in said:
        say(f"The forecast gave it: {odds(sight(found, said, last).expected)}.")


def _is_jug(path: Path) -> bool:
    """Whether a file is a product's, not a mix: it pours nothing, and says what it holds."""
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, ValueError):
        return False
    says = {"form", "guarantee", "sources", "density", "derived_from"}
    return not {"add", "carrier", "water"} & set(raw) and bool(says & set(raw))


def _keep(book: Notebook, entry: Entry, at: str | None) -> None:
    """Keep an entry, as of another day where one was told."""
    from chem.cli.noting import begin, tell_copies

    begin(book)
    book.add(entry if at is None else entry.model_copy(update={"at": at}))
    say(f"Kept in {book.path}")
    tell_copies(book)


def _time(text: str) -> str:
    """A waiting time, as typed. Raises: InputProblem."""
    from chem.forecast import read_after

    read_after(text, "after")
    return text
