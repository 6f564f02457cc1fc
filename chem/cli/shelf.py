"""`jarsight shelf`: one product against all, all against all, or mine against a shop's."""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import nullcontext
from functools import partial
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from chem.cli.answer import write_page
from chem.cli.exits import Exit
from chem.cli.mixes import ShedUnits
from chem.cli.options import (
    DrawsOption,
    ForOption,
    HtmlOption,
    JsonOption,
    NoNotebookOption,
    NotebookOption,
    SeedOption,
)
from chem.cli.owned import ends, own_mixes
from chem.cli.saying import say

if TYPE_CHECKING:
    from chem.shelf import Item, LeftOut, Setting
    from chem.tank import Water
    from chem.units import Units

FEW = 12
"""Products of a folder whose passes are looked for without being asked."""
QUIET_S = 2.0
"""Work shorter than this needs no progress bar."""


def shelf_command(
    product: Annotated[
        str | None,
        typer.Argument(metavar="[PRODUCT]", help="A product file to try with all the others."),
    ] = None,
    folder: Annotated[
        str, typer.Option("--in", metavar="DIR", help="Folder of product files, or `demo`.")
    ] = ".",
    against: Annotated[
        str | None,
        typer.Option(metavar="DIR", help="A shop's labels: which get along with what I own?"),
    ] = None,
    wanting: Annotated[
        str | None,
        typer.Option(
            metavar="NUTRIENT",
            help="Only the shop's labels with it, by its cost; with PRODUCT, what to bring as "
            "much of.",
        ),
    ] = None,
    carrier: Annotated[
        str | None,
        typer.Option(
            metavar="RATE", help='Spray volume, "2 gal/1000 sq ft" (default: your sprayer\'s).'
        ),
    ] = None,
    sprayer: Annotated[
        str | None, typer.Option(metavar="NAME", help="Another sprayer of your shed.")
    ] = None,
    water: Annotated[
        str | None,
        typer.Option(metavar="FILE", help="A water file, or unknown (default: your shed's)."),
    ] = None,
    temperature: Annotated[
        str | None, typer.Option(help='Of the tank, "60 F" (default: your shed\'s, else 68 F).')
    ] = None,
    coldest: Annotated[str | None, typer.Option(help='Where it stands overnight: "40 F".')] = None,
    rate: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME=RATE", help="In place of a product's usual rate."),
    ] = None,
    use: Annotated[
        str | None,
        typer.Option(metavar="A,B,C", help="Only these of the folder, and their passes."),
    ] = None,
    ratios: Annotated[
        str | None, typer.Option(metavar="0.5,1,2", help="Times the first one's rate.")
    ] = None,
    triples: Annotated[bool, typer.Option("--triples", help="Three at a time too.")] = False,
    alone: Annotated[
        bool, typer.Option("--alone", help="Each product alone in this water.")
    ] = False,
    judged_at: ForOption = "4h",
    csv: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Also write a table of all tanks.")
    ] = None,
    html: HtmlOption = None,
    no_cache: Annotated[
        bool, typer.Option("--no-cache", help="Neither use nor keep earlier results.")
    ] = False,
    scheduler: Annotated[
        str | None,
        typer.Option(metavar="tcp://HOST:PORT", help="Compute on a dask cluster."),
    ] = None,
    notebook: NotebookOption = None,
    no_notebook: NoNotebookOption = False,
    as_json: JsonOption = False,
    units: ShedUnits = None,
    draws: DrawsOption = 64,
    seed: SeedOption = 1,
) -> None:
    """Would it get along with what I own? Without PRODUCT: all against all."""
    from chem.advice.jug import jug
    from chem.cli.noting import known_of
    from chem.files.writing import write_text
    from chem.reference.fingerprint import made_with
    from chem.sheets.blocks import as_text
    from chem.sheets.jug import seller_questions
    from chem.sheets.shelf import shelf_page, shelf_sheet
    from chem.sheets.shelf_data import shelf_csv, shelf_json_parts
    from chem.shelf import Cache, buying, cache_folder, cluster, local, read_item, shelf

    rates = _rates(rate or [])
    setting, units = _setting(
        folder, carrier, sprayer, water, temperature, coldest, units, draws, seed
    )
    asked, lower = None, None
    if product is not None:
        path = _product(product, folder)
        given = rates.pop(path.stem, None)
        asked = read_item(path, given)
        asked, lower = (asked, None) if given else ends(asked)
    _refuse_together(against, wanting, asked=asked is not None, triples=triples, alone=alone)
    only_it = asked is not None and (alone or against is not None)
    items, left_out = ((), ()) if only_it else _stock(folder, rates, use)
    shop: tuple[Item, ...] = ()
    if against is not None:
        shop, unread = _stock(against, {}, None)
        left_out = (*left_out, *unread)
    if asked is not None:
        left_out = tuple(out for out in left_out if out.file != asked.product.file)
    factors = _factors(ratios)
    for file in (csv, html):
        _writable(file)
    by = repr(sorted(made_with().items()))
    beside = Path() if folder == "demo" else Path(folder)
    known = known_of(beside, notebook, no_notebook, draws, seed)
    cache = None if no_cache else Cache(cache_folder(), by)
    bar = _Bar()
    try:
        with cache or nullcontext(), bar:
            result = shelf(
                items,
                setting,
                asked=asked,
                against=shop,
                wanting=wanting or "",
                triples=triples,
                ratios=factors,
                lower=lower if against is None else None,
                passes=use is not None or len(items) <= FEW,
                pairs=not alone,
                judged_at=judged_at,
                left_out=left_out,
                engine=local() if scheduler is None else cluster(scheduler),
                cache=cache,
                beliefs=known.study.beliefs,
                progress=bar.tell,
            )
    except KeyboardInterrupt:
        kept = "" if cache is None else "; what was computed is kept for the next run"
        say(f"Stopped. Nothing was written{kept}.", err=True)
        raise typer.Exit(Exit.INTERRUPTED) from None
    if cache is not None and cache.trouble:
        say(cache.trouble, err=True)
    if csv is not None:
        write_text(csv, shelf_csv(result))
        say(f"Table written: {csv}", err=True)
    more: dict[str, Any] = {}
    if asked is not None and not only_it:
        mine = [item for i, item in enumerate(result.items) if i != result.asked]
        mixes = [] if folder == "demo" else own_mixes(Path(folder))
        more = {
            "buy": buying(
                asked,
                mine,
                setting,
                mixes,
                wanting=wanting or "",
                judged_at=judged_at,
                study=known.study,
            ),
            "questions": seller_questions(jug(asked.product, count=draws, seed=seed)),
        }
    write_page(partial(shelf_page, result, units, alone=alone, **more), html)
    # Piece by piece: the pairs of a catalogue are never all in memory.
    told = (
        shelf_json_parts(result, **more)
        if as_json
        else [as_text(shelf_sheet(result, units, alone=alone, **more))]
    )
    for piece in chain(told, ["\n"] if as_json else []):
        say(piece, nl=False)


def _refuse_together(
    against: str | None, wanting: str | None, *, asked: bool, triples: bool, alone: bool
) -> None:
    """Options that have no meaning together. Raises: InputProblem."""
    from chem.errors import InputProblem, Problem

    problems = []
    if wanting is not None and against is None and not asked:
        wrong = "a nutrient is wanted of a product or of a shop's labels"
        problems.append(Problem("command line, --wanting", wrong, "PRODUCT or --against DIR too"))
    for word, given in (("triples", triples), ("alone", alone)):
        if given and against is not None:
            wrong = "a shop's labels are tried with yours, two at a time"
            problems.append(Problem(f"command line, --{word}", wrong, "without it"))
    if problems:
        raise InputProblem(problems)


def _setting(
    folder: str,
    carrier: str | None,
    sprayer: str | None,
    water: str | None,
    temperature: str | None,
    coldest: str | None,
    units: Units | None,
    draws: int,
    seed: int,
) -> tuple[Setting, Units]:
    """The tank that all meet in, what is not said taken from the shed, and the sheet's units.

    Raises: InputProblem, also where neither says the spray volume: none is ever assumed.
    """
    from chem.errors import InputProblem, Problem
    from chem.files import find_shed
    from chem.shelf import Setting
    from chem.tank import find_water, pick_sprayer
    from chem.units import read_carrier, read_temperature

    shed = find_shed(Path() if folder == "demo" else Path(folder))
    told = []
    machine = pick_sprayer(shed, sprayer) if shed is not None and carrier is None else None
    if carrier is None and machine is None:
        wrong = "no spray volume, and no sprayer in a shed.toml: none is assumed"
        instead = (
            '--carrier "2 gal/1000 sq ft", what leaves your nozzles; `jarsight new shed` keeps it'
        )
        raise InputProblem(Problem("command line, --carrier", wrong, instead))
    if machine is not None:
        told.append(f"spray volume {machine.carrier_text} of {machine.name}")
    if water is None and shed is not None and shed.form.water is not None:
        found = find_water(shed.form.water, shed.folder, "shed.toml, water")
        told.append(f"water {found.name}")
    else:
        found = _water(water or "unknown", folder)
    if temperature is None and shed is not None and shed.form.temperature is not None:
        temperature = shed.form.temperature
        told.append(f"temperature {temperature}")
    if told:
        say(f"From your shed: {'; '.join(told)}", err=True)
    setting = Setting(
        found,
        machine.carrier_L_per_m2
        if machine is not None
        else read_carrier(carrier or "", "command line, --carrier"),
        read_temperature(temperature or "68 F", "command line, --temperature"),
        None if coldest is None else read_temperature(coldest, "command line, --coldest"),
        draws,
        seed,
    )
    return setting, units or (shed.form.units if shed is not None else None) or "both"


def _folder(name: str) -> Path:
    """The folder named, the products of the shed there, or the demo shelf."""
    from chem.files import find_shed
    from chem.reference.files import data_folder
    from chem.tank import product_folder

    path = Path(name)
    if name == "demo" and not path.is_dir():
        return data_folder() / "demo" / "products"
    shed = find_shed(path)
    if shed is not None and shed.folder.resolve() == path.resolve():
        return product_folder(shed)
    inside = path / "products"
    return inside if inside.is_dir() and not any(path.glob("*.toml")) else path


def _water(name: str, folder: str) -> Water:
    """A water file: a path, or a name in the folder, in its `waters` or among the demo's.

    Raises: InputProblem.
    """
    from chem.tank import find_water, read_water

    if Path(name).is_file():
        return read_water(Path(name))
    plain = name.removesuffix(".toml")
    inside = Path(folder) / "waters" / f"{plain}.toml"
    return read_water(inside) if inside.is_file() else find_water(name, Path(folder))


def _product(name: str, folder: str) -> Path:
    """The file asked for: a path, or a name in the folder or on the demo shelf.

    Raises: InputProblem.
    """
    from chem.errors import InputProblem, Problem
    from chem.reference.files import data_folder
    from chem.shelf.stock import near_names

    plain = name.removesuffix(".toml")
    places = (_folder(folder), data_folder() / "demo" / "products")
    for path in (Path(name), *(place / f"{plain}.toml" for place in places)):
        if path.is_file():
            return path
    known = {p.stem for place in places for p in place.glob("*.toml")}
    wrong = f"there is no such file, nor is it in `{folder}`"
    raise InputProblem(Problem(f"`{name}`", wrong, " or ".join(near_names(plain, sorted(known)))))


def _writable(file: Path | None) -> None:
    """Told before the work, not after it. Raises: InputProblem."""
    from chem.errors import InputProblem, Problem

    if file is None:
        return
    if file.is_dir():
        raise InputProblem(Problem(f"`{file}`", "it is a folder", f"a file, `{file}/shelf`"))
    if not file.parent.is_dir():
        raise InputProblem(
            Problem(f"`{file}`", "it can't be written (no such folder)", "a folder that exists")
        )


def _stock(
    folder: str, rates: dict[str, str], use: str | None
) -> tuple[tuple[Item, ...], tuple[LeftOut, ...]]:
    """The products of a folder, or those named. Raises: InputProblem."""
    from chem.errors import InputProblem, Problem
    from chem.shelf import read_stock
    from chem.shelf.stock import near_names

    items, left_out = read_stock(_folder(folder), rates)
    if use is None:
        return items, left_out
    wanted = [name.strip().removesuffix(".toml") for name in use.split(",") if name.strip()]
    keys = {item.product.key: item for item in items}
    problems = []
    for name in dict.fromkeys(wanted):
        if name not in keys:
            why = next((o.why for o in left_out if o.file == f"{name}.toml"), "no such product")
            near = " or ".join(near_names(name, list(keys)))
            problems.append(Problem(f"command line, --use {name}", why, near))
    if not wanted:
        problems.append(
            Problem(f"command line, --use {use}", "no product is named", ",".join(list(keys)[:3]))
        )
    if problems:
        raise InputProblem(problems)
    return tuple(keys[name] for name in dict.fromkeys(wanted)), ()


def _rates(given: list[str]) -> dict[str, str]:
    """`NAME=RATE` options. Raises: InputProblem."""
    from chem.errors import InputProblem, Problem

    out = {}
    for text in given:
        name, equals, value = text.partition("=")
        if not (equals and name.strip() and value.strip()):
            raise InputProblem(
                Problem(
                    f"command line, --rate {text}",
                    "a product and its rate are needed",
                    '--rate "calcium-nitrate-liquor=4 fl oz/1000 sq ft"',
                )
            )
        out[name.strip().removesuffix(".toml")] = value.strip()
    return out


def _factors(text: str | None) -> list[float]:
    """`0.5,1,2`. Raises: InputProblem."""
    from chem.errors import InputProblem, Problem

    if text is None:
        return []
    try:
        return [float(part) for part in text.split(",")]
    except ValueError:
        raise InputProblem(
            Problem(f"command line, --ratios {text}", "numbers with commas are needed", "0.5,1,2")
        ) from None


class _Bar:
    """A progress bar on the error stream, once the work has taken a while."""

    def __init__(self) -> None:
        self._start = time.perf_counter()
        self._bar: Callable[[int], None] | None = None
        self._open: object | None = None
        self._done = 0

    def __enter__(self) -> _Bar:
        return self

    def __exit__(self, *_: object) -> None:
        self._close()

    def _close(self) -> None:
        if self._open is not None:
            self._open.__exit__(None, None, None)  # type: ignore[attr-defined]
            self._open = self._bar = None

    def tell(self, done: int, whole: int) -> None:
        """So many tanks of so many are done."""
        import sys

        if self._bar is None:
            late = time.perf_counter() - self._start > QUIET_S
            if not late or done >= whole or not sys.stderr.isatty():
                return
            bar = typer.progressbar(length=whole, label="Tanks", file=sys.stderr)
            self._open, self._bar, self._done = bar, bar.__enter__().update, 0
        self._bar(done - self._done)
        self._done = done
        if done >= whole:
            self._close()
