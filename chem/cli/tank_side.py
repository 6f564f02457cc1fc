"""`jarsight jar`, `diagnose`, `saw` and `calibrate`: at the tank."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Literal, TypeVar

import typer

from chem.cli.exits import Exit

T = TypeVar("T")
SHED, SHELF = "In the shed", "On the shelf"
MixArgument = Annotated[Path, typer.Argument(metavar="MIX", help="A mix file.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print the JSON object.")]
UnitsOption = Annotated[Literal["us", "metric", "both"], typer.Option(help="Units on the sheet.")]
DrawsOption = Annotated[int, typer.Option(min=16, max=20000, help="Versions tried.")]
SeedOption = Annotated[int, typer.Option(min=0, help="Seed of the draws.")]


def add_to(app: typer.Typer) -> None:
    """Register the commands."""

    @app.command("jar", rich_help_panel=SHED)
    def jar_command(
        mix: MixArgument,
        size: Annotated[str, typer.Option(help='The jar: "1 qt", "500 mL".')] = "1 qt",
        order: Annotated[
            Literal["asked", "best"], typer.Option(help="The mix's own pouring order, or the best.")
        ] = "asked",
        html: Annotated[
            Path | None, typer.Option(metavar="FILE", help="Also write the sheet as one page.")
        ] = None,
        as_json: JsonOption = False,
        units: UnitsOption = "both",
        draws: DrawsOption = 256,
        seed: SeedOption = 1,
    ) -> None:
        """The jar-test sheet at the sprayer's own ratio."""
        from chem.advice.jar import jar
        from chem.cli.writing import write_text
        from chem.sheets.blocks import as_html, as_text
        from chem.sheets.jar import jar_json, jar_sheet
        from chem.tank import read_mix
        from chem.units import read_volume

        millilitres = 1000.0 * read_volume(size, "command line, --size")
        result = jar(read_mix(mix), size_mL=millilitres, order=order, count=draws, seed=seed)
        if html is not None:
            write_text(html, as_html(jar_sheet(result, units)))
            typer.echo(f"Page written: {html}", err=True)
        typer.echo(
            jar_json(result, units) if as_json else as_text(jar_sheet(result, units)), nl=as_json
        )

    @app.command("diagnose", rich_help_panel=SHED)
    def diagnose_command(
        mix: MixArgument,
        seen: Annotated[str, typer.Option(help="What was seen: haze, flakes, gel ...")],
        after: Annotated[
            str, typer.Option(help="How long after the last pour: minutes, or 2h.")
        ] = "15",
        ph: Annotated[str | None, typer.Option(help="pH on the strip.")] = None,
        poured: Annotated[
            int | None, typer.Option(min=1, help="How many of the products were in by then.")
        ] = None,
        as_json: JsonOption = False,
        draws: DrawsOption = 512,
        seed: SeedOption = 1,
    ) -> None:
        """It went wrong: what is it, will anything bring it back."""
        from chem.advice.diagnose import diagnose
        from chem.forecast import read_seen
        from chem.sheets.blocks import as_text
        from chem.sheets.diagnose import diagnose_json, diagnose_sheet
        from chem.tank import read_mix
        from chem.units import read_duration, read_ph

        text = after if any(c.isalpha() for c in after) else f"{after} min"
        result = diagnose(
            read_mix(mix),
            seen=read_seen(seen, "command line, --seen"),
            after_min=read_duration(text, "command line, --after") / 60.0,
            ph=None if ph is None else read_ph(ph, "command line, --ph").value,
            poured=poured,
            count=draws,
            seed=seed,
        )
        typer.echo(
            diagnose_json(result) if as_json else as_text(diagnose_sheet(result)), nl=as_json
        )

    @app.command("saw", rich_help_panel=SHED)
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

    @app.command("calibrate", rich_help_panel=SHELF)
    def calibrate_command(
        catch: Annotated[
            str, typer.Option(help='Caught per nozzle, commas between: "22 fl oz, 23 fl oz".')
        ],
        time: Annotated[str | None, typer.Option(help='Time of the catch: "30 s".')] = None,
        width: Annotated[
            str | None, typer.Option(help='What one nozzle (or swath) covers: "20 in".')
        ] = None,
        speed: Annotated[str | None, typer.Option(help='Speed: "4 mph", "6 km/h".')] = None,
        area: Annotated[
            str | None,
            typer.Option(help='Gun or knapsack: the area sprayed in that time: "1000 sq ft".'),
        ] = None,
        sprayed_in: Annotated[
            str | None,
            typer.Option(help='How long that area took, where the catch took --time: "78 s".'),
        ] = None,
        out: Annotated[
            Path | None, typer.Option(metavar="FILE", help="Keep it; a mix can name the file.")
        ] = None,
        as_json: JsonOption = False,
        units: UnitsOption = "both",
    ) -> None:
        """Spray volume from a catch test, with its error."""
        from chem.cli.writing import write_text
        from chem.errors import InputProblem, Problem
        from chem.sheets.blocks import as_text
        from chem.sheets.catch import catch_json, catch_sheet
        from chem.tank import by_area, by_speed
        from chem.units import (
            possible_carrier,
            read_area,
            read_duration,
            read_length,
            read_speed,
            read_volume,
        )

        where = "command line"
        caught = [read_volume(part, f"{where}, --catch") for part in catch.split(",")]
        if area is not None:
            if sprayed_in and not time:
                raise InputProblem(
                    Problem(
                        "command line, --sprayed-in",
                        "the time of the catch is missing",
                        "--time as well, such as `--time 30s`; or catch for as long as the area "
                        "takes, and leave out both",
                    )
                )
            result = by_area(
                caught,
                read_area(area, f"{where}, --area"),
                caught_s=read_duration(time, f"{where}, --time") if time and sprayed_in else None,
                sprayed_s=read_duration(sprayed_in, f"{where}, --sprayed-in")
                if sprayed_in
                else None,
            )
        elif time and width and speed:
            result = by_speed(
                caught,
                read_duration(time, f"{where}, --time"),
                read_length(width, f"{where}, --width"),
                read_speed(speed, f"{where}, --speed"),
            )
        else:
            raise InputProblem(
                Problem(
                    "command line",
                    "the catch alone gives no spray volume",
                    "--time, --width and --speed (boom), or --area (gun, knapsack)",
                )
            )
        possible_carrier(result.carrier_L_per_m2, catch, f"{where}, --catch")
        if out is not None:
            litres = 1e4 * result.carrier_L_per_m2
            write_text(
                out,
                f'name = "Catch test"\ncarrier = "{litres:.4g} L/ha"\n'
                f"error_percent = {100 * result.relative_error:.2g}\n",
            )
        named = out.name if out else None
        typer.echo(
            catch_json(result) if as_json else as_text(catch_sheet(result, named, units)),
            nl=as_json,
        )
