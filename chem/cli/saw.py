"""`jarsight saw`: keep what the jar or tank showed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, TypeVar

import typer

from chem.cli.exits import Exit
from chem.cli.options import DrawsOption, MixArgument, SeedOption

T = TypeVar("T")


def saw_command(
    mix: MixArgument,
    seen: Annotated[str | None, typer.Option(help="What was seen: haze, flakes ...")] = None,
    after: Annotated[str | None, typer.Option(help="After how long: 15min, 2h.")] = None,
    ph: Annotated[str | None, typer.Option(help="pH read, or empty.")] = None,
    note: Annotated[str | None, typer.Option(help="Anything else, in your words.")] = None,
    draws: DrawsOption = 256,
    seed: SeedOption = 1,
) -> None:
    """Keep what the jar or tank showed: four questions, one line in your own file."""
    from chem.cli.asking import Unreadable, ask_line
    from chem.errors import InputProblem
    from chem.forecast import SEEN_WORDS, Study, forecast, read_seen
    from chem.forecast.sight import OF_SOLIDS, sight
    from chem.notebook import Sighting, must_be_writable, record_sighting
    from chem.sheets.words import odds
    from chem.tank import read_mix
    from chem.units import read_duration, read_ph

    def answer(given: str | None, question: str, read: Callable[[str], T]) -> T:
        """What an option says, else what is typed, asked again until it can be read."""
        if given is not None:
            return read(given)
        while True:
            try:
                return read(ask_line(question).strip())
            except typer.Abort:
                typer.echo("\nStopped before the end: nothing was kept.", err=True)
                raise typer.Exit(Exit.INPUT) from None
            except Unreadable:
                raise
            except InputProblem as problem:
                typer.echo(str(problem), err=True)

    def words(text: str) -> tuple[str, ...]:
        return read_seen(text, "seen")

    def minutes(text: str) -> float:
        return read_duration(text, "after") / 60.0

    def reading(text: str) -> float | None:
        return read_ph(text, "ph").value if text.strip() else None

    # Options are read, the forecast made and the disk tried first, so that nothing waits
    # between the last answer and the disk, and nobody answers in vain.
    wanted = read_mix(mix)
    for given, read in ((seen, words), (after, minutes), (ph, reading)):
        if given is not None:
            read(given)
    study = Study(draws, seed)
    result = forecast(wanted, study=study)
    must_be_writable(result)
    sighting = Sighting(
        answer(seen, f"Seen ({', '.join(SEEN_WORDS)})", words),
        answer(after, "After how long (15min, 2h)", minutes),
        answer(ph, "pH on the strip (Enter: not read)", reading),
        answer(note, "Note (Enter: none)", str),
    )
    typer.echo(f"Kept in {record_sighting(result, sighting)}")
    if OF_SOLIDS & set(sighting.seen) or "clear" in sighting.seen:
        told = sight(study.look(wanted), sighting.seen, 60.0 * sighting.after_min, sighting.ph)
        typer.echo(f"The forecast gave it: {odds(told.expected)}.")
