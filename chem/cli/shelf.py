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
from chem.cli.shelf_reads import (
    factors_of,
    must_be_writable,
    product_of,
    rates_of,
    setting_of,
    stock_of,
)

if TYPE_CHECKING:
    from chem.shelf import Item

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

    rates = rates_of(rate or [])
    setting, units = setting_of(
        folder, carrier, sprayer, water, temperature, coldest, units, draws, seed
    )
    asked, lower = None, None
    if product is not None:
        path = product_of(product, folder)
        given = rates.pop(path.stem, None)
        asked = read_item(path, given)
        asked, lower = (asked, None) if given else ends(asked)
    _refuse_together(against, wanting, asked=asked is not None, triples=triples, alone=alone)
    only_it = asked is not None and (alone or against is not None)
    items, left_out = ((), ()) if only_it else stock_of(folder, rates, use)
    shop: tuple[Item, ...] = ()
    if against is not None:
        shop, unread = stock_of(against, {}, None)
        left_out = (*left_out, *unread)
    if asked is not None:
        left_out = tuple(out for out in left_out if out.file != asked.product.file)
    factors = factors_of(ratios)
    for file in (csv, html):
        must_be_writable(file)
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
