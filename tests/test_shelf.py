"""The shelf: what is told of many tanks at once is what the forecast says of each of them."""

from __future__ import annotations

import csv
import io
import json
import logging
import multiprocessing
import os
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chem.cli import main
from chem.cli import shelf as at_the_door
from chem.errors import InputProblem
from chem.forecast import Followed, Standing, Study
from chem.reference import molar_mass_g_per_mol
from chem.sheets.blocks import as_text
from chem.sheets.shelf import shelf_sheet
from chem.sheets.shelf_data import shelf_csv, shelf_json
from chem.shelf import (
    Cache,
    Engine,
    Item,
    Setting,
    Shelf,
    Together,
    cluster,
    engines,
    local,
    read_item,
    read_stock,
    shelf,
    tanks,
)
from chem.shelf.cache import FILE
from chem.shelf.engines import Done, Places
from chem.shelf.groups import cliques, fewest_passes, largest_groups
from chem.shelf.tanks import Batch, Tank, evaluate_batch
from chem.tank import find_water, read_water

ROOT = Path(__file__).parent.parent
DEMO = ROOT / "data" / "demo"
NITRATE, ORTHO, SULFATE = "calcium-nitrate-liquor", "npk-orthophosphate", "ammonium-sulfate-liquor"
CARRIER_L_PER_M2 = 0.0815


@pytest.fixture(autouse=True)
def cache_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """No test reads or writes the user's cache."""
    folder = tmp_path / "cache"
    monkeypatch.setenv("JARSIGHT_CACHE", str(folder))
    return folder


def setting(water: str = "soft", *, draws: int = 16, coldest: float | None = None) -> Setting:
    return Setting(find_water(water, None), CARRIER_L_PER_M2, 20.0, coldest, draws, 1)


def demo(*names: str) -> list[Item]:
    return [read_item(DEMO / "products" / f"{name}.toml") for name in names]


def copied(folder: Path, *names: str) -> Path:
    folder.mkdir(exist_ok=True)
    for name in names:
        shutil.copy(DEMO / "products" / f"{name}.toml", folder)
    return folder


def same(one: Shelf, other: Shelf) -> bool:
    """To the last digit."""
    return (one.pairs, one.triples, one.ratios, one.alone, one.groups, one.passes) == (
        other.pairs, other.triples, other.ratios, other.alone, other.groups, other.passes,
    )  # fmt: skip


def of(result: Shelf, *keys: str, factor: float = 1.0) -> Together:
    """The tank of these products, by their files."""
    places = {i for i, item in enumerate(result.items) if item.product.key in keys}
    every = (*result.alone, *result.pairs, *result.triples, *result.ratios)
    return next(t for t in every if set(t.members) == places and t.factor == factor)


def written(folder: Path, key: str, text: str) -> Item:
    path = folder / f"{key}.toml"
    path.write_text(text, encoding="utf-8")
    return read_item(path)


@dataclass(frozen=True)
class Said:
    """What the command line printed, and its exit code."""

    code: int
    out: str
    err: str


Command = Callable[..., Said]


@pytest.fixture
def command(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    """`jarsight ARGUMENTS`, in this process."""

    def called(*arguments: str) -> Said:
        given = "--carrier" in arguments or arguments[0] != "shelf"
        more = () if given else ("--carrier", "2 gal/1000 sq ft")
        monkeypatch.setattr(sys, "argv", ["jarsight", *arguments, *more])
        capsys.readouterr()
        with pytest.raises(SystemExit) as exit_:
            main.run()
        told = capsys.readouterr()
        return Said(int(exit_.value.code or 0), told.out, told.err)

    return called


# --- the same as the forecast ------------------------------------------------------------------

KINDS = (
    NITRATE, SULFATE, "humic-extract", "iron-citric", "iron-edta", "iron-partly-chelated",
    "magnesium-sulfate-heptahydrate", "micronutrient-pack", "potassium-carbonate-liquor",
)  # fmt: skip
"""A calcium, a sulfate, a colloid, free and held iron, a dry one, held traces, an alkali."""


@pytest.mark.parametrize(("water", "coldest"), [("soft", None), ("hard-alkaline", 4.0)])
def test_each_tank_has_exactly_the_odds_of_its_forecast(water: str, coldest: float | None) -> None:
    items, where = demo(*KINDS), setting(water, coldest=coldest)
    result = shelf(items, where)
    assert len(result.pairs) == len(KINDS) * (len(KINDS) - 1) // 2
    for found in (*result.pairs, *result.alone):
        mix = Tank(found.members).mix(items, where)
        alone = Study(where.draws, where.seed).look(mix)
        assert found.odds is not None
        assert found.odds.probability == alone.probability, mix.name
        assert found.odds.clogs == alone.clogs, mix.name
        assert found.answer == alone.answer("4h"), mix.name
    # Else the comparison would say little.
    chances = {found.shows("4h") for found in result.pairs}
    assert min(chances) < 0.1 and max(chances) > 0.85 and len(chances) >= 5


def test_triples_and_ratio_steps_started_from_one_another_have_the_odds_of_their_forecasts() -> (
    None
):
    items, where = demo(NITRATE, "iron-citric", SULFATE, "humic-extract"), setting(draws=32)
    result = shelf(items, where, triples=True, ratios=[3.0, 0.25])
    assert [t.factor for t in result.ratios[:3]] == [0.25, 1.0, 3.0]
    assert len(result.triples) == 4 and len(result.ratios) == 18
    for found in (*result.triples, *result.ratios):
        mix = Tank(found.members, found.factor).mix(items, where)
        alone = Study(where.draws, where.seed).look(mix)
        assert found.odds is not None
        assert found.odds.probability == alone.probability, (mix.name, found.factor)
        assert found.odds.clogs == alone.clogs, (mix.name, found.factor)
    swept = [of(result, NITRATE, SULFATE, factor=f).shows("4h") for f in (0.25, 1.0, 3.0)]
    assert swept[0] < swept[2]


def test_later_ratio_steps_start_from_the_one_before(monkeypatch: pytest.MonkeyPatch) -> None:
    started: list[bool] = []
    real = tanks.follow

    def watched(tank: Standing, *, quick: bool) -> Followed:
        started.append(tank.near is not None)
        return real(tank, quick=quick)

    monkeypatch.setattr(tanks, "follow", watched)
    shelf(demo(NITRATE, SULFATE), setting(), ratios=[0.5, 1, 2], engine=local(1))
    assert started.count(True) == 2 and started.count(False) == 2


def test_many_tanks_go_through_one_solver_call() -> None:
    sizes: list[int] = []

    def counting(work: Iterable[tuple[Places, Batch]], equilibria: int) -> Iterator[Done]:
        for places, batch in work:
            sizes.append(batch.tanks)
            yield places, evaluate_batch(batch)

    result = shelf(demo(NITRATE, SULFATE, "urea-liquor", "iron-edta", ORTHO), setting(),
                   engine=counting)  # fmt: skip
    assert max(sizes) >= 6
    assert result.solves == 16 * sum(sizes)


# --- where it is computed ----------------------------------------------------------------------

SIX = (NITRATE, SULFATE, "iron-citric", "iron-edta", "humic-extract", ORTHO)


def test_two_processes_give_what_one_gives(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tanks, "ROWS_AT_ONCE", 48)
    monkeypatch.setattr(engines, "ALONE_BELOW", 0)
    at_work: set[int | None] = set()

    def watch(done: int, whole: int) -> None:
        at_work.update(p.pid for p in multiprocessing.active_children())

    items, where = demo(*SIX), setting()
    two = shelf(items, where, triples=True, engine=local(2), progress=watch)
    assert len(at_work) >= 2
    assert not multiprocessing.active_children()
    at_work.clear()
    one = shelf(items, where, triples=True, engine=local(1), progress=watch)
    assert not at_work
    assert same(one, two)


def test_a_worker_process_ended_from_outside_costs_no_result(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(tanks, "ROWS_AT_ONCE", 48)
    monkeypatch.setattr(engines, "ALONE_BELOW", 0)
    ended: list[int] = []

    def end_one(done: int, whole: int) -> None:
        children = multiprocessing.active_children()
        if not ended and children and done < whole:
            pid = children[0].pid
            assert pid is not None
            ended.append(pid)
            os.kill(pid, signal.SIGKILL)

    items, where = demo(*SIX), setting()
    two = shelf(items, where, triples=True, engine=local(2), progress=end_one)
    assert ended
    assert same(shelf(items, where, triples=True, engine=local(1)), two)


@pytest.fixture(scope="module")
def workers() -> Iterator[Any]:
    """A scheduler with two worker processes, on this machine."""
    from distributed import LocalCluster

    quiet = logging.getLogger("distributed")
    before = quiet.level
    quiet.setLevel(logging.CRITICAL)
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0",
        silence_logs=logging.CRITICAL,
    ) as started:  # fmt: skip
        yield started
    quiet.setLevel(before)


def test_workers_with_other_tables_are_refused(
    workers: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    made_with = sys.modules["chem.reference.fingerprint"]
    monkeypatch.setattr(made_with, "data_hash", lambda: "other tables")
    with pytest.raises(InputProblem, match="data other tables, as here") as refused:
        shelf(demo(NITRATE, SULFATE), setting(), engine=cluster(workers.scheduler_address))
    assert len(refused.value.problems) == 2


def test_a_cluster_that_loses_a_worker_gives_the_same_to_the_last_digit(
    workers: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tanks, "ROWS_AT_ONCE", 48)
    items, where = demo(*SIX), setting()
    here = shelf(items, where, triples=True, engine=local(1))
    pids = [nanny.pid for nanny in workers.workers.values()]
    killed: list[tuple[int, int]] = []

    def kill_one(done: int, whole: int) -> None:
        if not killed:
            killed.append((done, whole))
            os.kill(pids[0], signal.SIGKILL)

    there = shelf(
        items, where, triples=True, engine=cluster(workers.scheduler_address), progress=kill_one
    )
    assert pids[0] not in [nanny.pid for nanny in workers.workers.values()]
    assert pids[1] in [nanny.pid for nanny in workers.workers.values()]
    done, whole = killed[0]
    assert 0 < done < whole / 2
    assert there.solves == here.solves
    assert same(here, there)


def test_a_scheduler_without_workers_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    from distributed import LocalCluster

    monkeypatch.setattr(engines, "ANSWERS_WITHIN_S", 0.5)
    with (
        LocalCluster(n_workers=0, dashboard_address=":0", silence_logs=logging.CRITICAL) as empty,
        pytest.raises(InputProblem, match="no workers"),
    ):
        shelf(demo(NITRATE, SULFATE), setting(), engine=cluster(empty.scheduler_address))


# --- the cache ---------------------------------------------------------------------------------


class Watched:
    """This process as an engine; which tanks were computed, by the files of their products."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.tanks: list[set[str]] = []
        room = sys.modules["chem.shelf.work"]
        real = room.batches

        def noted(rows: Any, items: Sequence[Item], *rest: Any) -> Any:
            self.tanks += [{items[i].product.key for i in t.members} for row in rows for t in row]
            return real(rows, items, *rest)

        monkeypatch.setattr(room, "batches", noted)


def run(folder: Path, cache: Path, where: Setting | None = None, **more: Any) -> Shelf:
    items, left_out = read_stock(folder, more.pop("rates", None))
    with Cache(cache, "these tables") as kept:
        found = shelf(
            items, where or setting(), left_out=left_out, cache=kept, engine=local(1), **more
        )
        assert kept.trouble is None
    return found


def test_a_second_run_computes_nothing_and_says_the_same(tmp_path: Path) -> None:
    folder = copied(tmp_path / "shed", NITRATE, SULFATE, "urea-liquor", "iron-edta")
    first = run(folder, tmp_path / "c", triples=True, ratios=[0.5, 1, 2])
    second = run(folder, tmp_path / "c", triples=True, ratios=[0.5, 1, 2])
    assert first.solves > 0 and second.solves == 0
    assert same(first, second)
    later = run(folder, tmp_path / "c", judged_at="24h")
    assert later.solves == 0 and later.judged_at == "24h"
    hotter = of(later, NITRATE, SULFATE)
    assert hotter.odds == of(first, NITRATE, SULFATE).odds
    assert hotter.answer.chance == hotter.odds.clogs["24h"]  # type: ignore[union-attr]


def test_a_new_product_costs_one_row(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = copied(tmp_path / "shed", NITRATE, SULFATE, "urea-liquor", "iron-edta")
    run(folder, tmp_path / "c")
    copied(folder, "magnesium-nitrate-liquor")
    computed = Watched(monkeypatch)
    after = run(folder, tmp_path / "c")
    assert all("magnesium-nitrate-liquor" in tank for tank in computed.tanks)
    assert [len(t) for t in computed.tanks].count(1) == 1
    assert [len(t) for t in computed.tanks].count(2) == 4
    monkeypatch.undo()
    fresh = run(folder, tmp_path / "another")
    assert after.groups == fresh.groups
    for one, other in zip(after.pairs, fresh.pairs, strict=True):
        assert one.odds is not None and other.odds is not None
        assert (one.members, one.answer) == (other.members, other.answer)
        assert one.odds.probability == other.odds.probability
        # In other company in its batch a sum may be taken in another order.
        assert one.odds.ph == pytest.approx(other.odds.ph, abs=1e-9)


def test_a_changed_file_costs_its_own_row(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = copied(tmp_path / "shed", NITRATE, SULFATE, "urea-liquor")
    run(folder, tmp_path / "c")
    path = folder / "urea-liquor.toml"
    path.write_text(path.read_text().replace("20.0", "21.0"))
    computed = Watched(monkeypatch)
    run(folder, tmp_path / "c")
    assert computed.tanks and all("urea-liquor" in tank for tank in computed.tanks)
    computed.tanks.clear()
    run(folder, tmp_path / "c", rates={"urea-liquor": "7 fl oz/1000 sq ft"})
    assert computed.tanks and all("urea-liquor" in tank for tank in computed.tanks)


@pytest.mark.parametrize(
    "changed",
    [
        {"water": find_water("saline", None)},
        {"carrier_L_per_m2": 2 * CARRIER_L_PER_M2},
        {"t_celsius": 10.0},
        {"coldest_celsius": 4.0},
        {"draws": 24},
        {"seed": 2},
    ],
    ids=lambda changed: next(iter(changed)),
)
def test_another_tank_is_not_taken_from_the_cache(tmp_path: Path, changed: dict[str, Any]) -> None:
    folder = copied(tmp_path / "shed", NITRATE, SULFATE)
    run(folder, tmp_path / "c")
    found = run(folder, tmp_path / "c", replace(setting(), **changed))
    assert found.solves == 3 * found.setting.draws


def test_rows_of_other_tables_are_dropped(tmp_path: Path) -> None:
    with Cache(tmp_path, "old tables") as old:
        old.put({"key": {"a": 1}})
        assert old.get(["key", "none"]) == {"key": {"a": 1}}
    with Cache(tmp_path, "new tables") as new:
        assert new.get(["key"]) == {}
    base = sqlite3.connect(tmp_path / FILE)
    assert base.execute("SELECT count(*) FROM tank").fetchone() == (0,)
    base.close()


def test_a_row_that_is_no_result_is_computed_anew(tmp_path: Path) -> None:
    folder = copied(tmp_path / "shed", NITRATE, SULFATE)
    first = run(folder, tmp_path / "c")
    base = sqlite3.connect(tmp_path / "c" / FILE)
    with base:
        base.execute("""UPDATE tank SET value = '{"probability": {}}'""")
    base.close()
    again = run(folder, tmp_path / "c")
    assert again.solves == first.solves and same(first, again)


@pytest.mark.parametrize("spoilt", ["garbage", "no folder"])
def test_a_spoilt_cache_leaves_the_answer_standing_and_says_so(
    spoilt: str, tmp_path: Path, cache_of_its_own: Path, command: Command
) -> None:
    copied(tmp_path / "shed", NITRATE, SULFATE)
    ask = ("shelf", "--in", str(tmp_path / "shed"), "--draws", "16", "--water", "soft", "--json")
    good = command(*ask, "--no-cache")
    assert good.err == ""
    if spoilt == "garbage":
        cache_of_its_own.mkdir()
        (cache_of_its_own / FILE).write_bytes(b"this is no table" * 100)
    else:
        cache_of_its_own.write_text("a file where the folder should be")
    found = command(*ask)
    assert found.code == 0
    assert "can't be used" in found.err and str(cache_of_its_own) in found.err
    assert "Traceback" not in found.err
    for answer in (one := json.loads(found.out)), (two := json.loads(good.out)):
        del answer["seconds"]
    assert one == two and one["solves"] > 0


def test_no_cache_leaves_no_file(tmp_path: Path, cache_of_its_own: Path, command: Command) -> None:
    copied(tmp_path / "shed", NITRATE)
    command("shelf", "--in", str(tmp_path / "shed"), "--draws", "16", "--no-cache")
    assert not cache_of_its_own.exists()
    command("shelf", "--in", str(tmp_path / "shed"), "--draws", "16")
    assert (cache_of_its_own / FILE).is_file()


# --- Ctrl-C ------------------------------------------------------------------------------------


def test_what_was_done_before_ctrl_c_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tanks, "ROWS_AT_ONCE", 48)
    folder = copied(tmp_path / "shed", *SIX)
    told: list[int] = []
    closed: list[bool] = []

    def stop(done: int, whole: int) -> None:
        told.append(done)
        if len(told) == 2:
            raise KeyboardInterrupt

    def engine(work: Iterable[tuple[Places, Batch]], equilibria: int) -> Iterator[Done]:
        try:
            yield from local(1)(work, equilibria)
        finally:
            closed.append(True)

    items, _ = read_stock(folder)
    with (
        Cache(tmp_path / "c", "these tables") as kept,
        pytest.raises(KeyboardInterrupt) as stopped,
    ):
        shelf(items, setting(), cache=kept, engine=engine, progress=stop)
    # Closed at once, not when the last trace of the interrupt is forgotten.
    assert closed == [True] and stopped.tb is not None
    after = run(folder, tmp_path / "c")
    fresh = run(folder, tmp_path / "another")
    assert after.solves == fresh.solves - 16 * told[1]
    assert same(after, fresh)


@pytest.mark.parametrize("by", ["progress", "engine"])
def test_ctrl_c_writes_nothing_and_exits_130(
    by: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: Command
) -> None:
    copied(tmp_path / "shed", NITRATE, SULFATE)

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    def broken() -> Engine:
        def engine(work: Iterable[tuple[Places, Batch]], equilibria: int) -> Iterator[Done]:
            raise KeyboardInterrupt
            yield

        return engine

    if by == "progress":
        monkeypatch.setattr("chem.cli.shelf._Bar.tell", stop)
    else:
        monkeypatch.setattr("chem.shelf.local", broken)
    page, table = tmp_path / "page.html", tmp_path / "table.csv"
    table.write_text("a,b,c,an older table")
    found = command(
        "shelf", "--in", str(tmp_path / "shed"), "--draws", "16",
        "--html", str(page), "--csv", str(table),
    )  # fmt: skip
    assert found.code == 130
    assert found.out == "" and "Stopped. Nothing was written" in found.err
    assert not page.exists() and table.read_text() == "a,b,c,an older table"
    assert not list(tmp_path.glob("*.partial"))


def test_a_real_ctrl_c_stops_all_processes(tmp_path: Path, cache_of_its_own: Path) -> None:
    table = tmp_path / "table.csv"
    working = subprocess.Popen(
        [sys.executable, "-m", "chem", "shelf", "--in", "demo", "--draws", "1024",
         "--carrier", "2 gal/1000 sq ft", "--csv", str(table)],
        cwd=ROOT, env=os.environ | {"PYTHONPATH": str(ROOT)}, start_new_session=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip

    def kept() -> int:
        if not (cache_of_its_own / FILE).exists():
            return 0
        base = sqlite3.connect(cache_of_its_own / FILE)
        try:
            return int(base.execute("SELECT count(*) FROM tank").fetchone()[0])
        except sqlite3.Error:
            return 0
        finally:
            base.close()

    by = time.monotonic() + 60.0
    while not kept() and working.poll() is None and time.monotonic() < by:
        time.sleep(0.05)
    os.killpg(working.pid, signal.SIGINT)
    out, err = working.communicate(timeout=60)
    assert working.returncode == 130
    assert out == "" and err.startswith("Stopped. Nothing was written")
    assert not table.exists()
    assert 0 < kept() < 210
    with pytest.raises(ProcessLookupError):
        os.killpg(working.pid, 0)


class Terminal(io.StringIO):
    """An error stream that people look at."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("quiet_s", "stream", "shown"),
    [(0.0, Terminal, True), (60.0, Terminal, False), (0.0, io.StringIO, False)],
)
def test_a_progress_bar_shows_long_work_to_people_only(
    quiet_s: float, stream: type[io.StringIO], shown: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(at_the_door, "QUIET_S", quiet_s)
    monkeypatch.setattr(tanks, "ROWS_AT_ONCE", 16)
    errors = stream()
    monkeypatch.setattr(sys, "stderr", errors)
    with at_the_door._Bar() as bar:
        shelf(demo(NITRATE, SULFATE, "iron-edta"), setting(), engine=local(1), progress=bar.tell)
    assert ("Tanks" in errors.getvalue() and "100%" in errors.getvalue()) is shown
    assert bool(errors.getvalue()) is shown


# --- what can't be used ------------------------------------------------------------------------

BAD = 'name = "No sources, invented"\n[guarantee]\n"iron" = "much"\n'
NO_RATE = """
name = "Urea without a rate, invented"
density = "1.12 kg/L"
sources = ["urea"]
[guarantee]
"total nitrogen" = 20.0
"urea nitrogen" = 20.0
"""


@pytest.mark.parametrize(
    ("arguments", "read", "wrong", "instead"),
    [
        (["--in", "nowhere"], "`nowhere`", "no such folder", "folder of product files"),
        (["--in", "empty"], "`empty`", "no product file there can be used", "usual_rate"),
        (["--in", "bad"], "`bad`", "bad.toml: guarantee.iron", "usual_rate"),
        (["--in", "shed", "--use", "urea-likor,ph-buffer"], "--use urea-likor", "no such product",
         "urea-liquor"),
        (["--in", "shed", "--use", "no-rate"], "--use no-rate", "no rate to try it at", "urea"),
        (["--in", "shed", "--use", ","], "--use ,", "no product is named", NITRATE),
        (["--in", "shed", "--ratios", "1,two"], "--ratios 1,two", "numbers", "0.5,1,2"),
        (["--in", "shed", "--ratios", "0,1"], "--ratios 0", "above 0", "0.5,1,2"),
        (["--in", "shed", "--ratios", "nan"], "--ratios nan", "above 0", "0.5,1,2"),
        (["--in", "shed", "--rate", "urea-liquor"], "--rate urea-liquor", "its rate", "fl oz"),
        (["--in", "shed", "--rate", "urea-liquor=plenty"], "--rate urea-liquor", "", ""),
        (["--in", "shed", "--rate", "urea-likor=1 % v/v"], "--rate", "no urea-likor.toml",
         "urea-liquor"),
        (["urea-likor", "--in", "shed"], "`urea-likor`", "no such file", "urea-liquor"),
        (["bad/bad.toml", "--in", "shed"], "bad.toml", "", ""),
        (["shed", "--in", "shed"], "`shed`", "no such file", ""),
        (["shed/no-rate.toml", "--in", "shed"], "usual_rate", "no rate to try it at", "--rate"),
        (["--in", "shed", "--carrier", "2 gal"], "--carrier", "", ""),
        (["--in", "shed", "--water", "sof"], "sof", "no such water", "soft.toml"),
        (["--in", "shed", "--csv", "nowhere/x.csv"], "nowhere", "no such folder", "exists"),
        (["--in", "shed", "--html", "shed"], "`shed`", "it is a folder", "a file"),
        (["--in", "shed", "--scheduler", "somewhere"], "--scheduler somewhere", "a port",
         "tcp://"),
        (["--in", "shed", "--scheduler", "tcp://127.0.0.1:1"], "--scheduler tcp://127.0.0.1:1",
         "no scheduler answers", "address"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_told_in_three_parts(
    arguments: list[str], read: str, wrong: str, instead: str,
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: Command,
) -> None:  # fmt: skip
    monkeypatch.setattr(engines, "ANSWERS_WITHIN_S", 0.5)
    copied(tmp_path / "shed", NITRATE, "urea-liquor", "ph-buffer")
    (tmp_path / "shed" / "no-rate.toml").write_text(NO_RATE)
    (tmp_path / "empty").mkdir()
    (tmp_path / "bad").mkdir()
    (tmp_path / "bad" / "bad.toml").write_text(BAD)
    monkeypatch.chdir(tmp_path)
    found = command("shelf", *arguments, "--draws", "16")
    assert found.code == 2
    assert found.out == ""
    first = found.err.splitlines()[0]
    told = found.err.split("  write: ")
    assert read in first
    assert wrong in told[0].split("  wrong: ")[1]
    assert instead in told[1] and told[1].strip()
    assert "Traceback" not in found.err
    assert not list(tmp_path.glob("*.csv"))


def test_without_the_cluster_extra_it_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: Command
) -> None:
    copied(tmp_path / "shed", NITRATE, "urea-liquor")
    monkeypatch.setitem(sys.modules, "distributed", None)
    found = command("shelf", "--in", str(tmp_path / "shed"), "--scheduler", "tcp://127.0.0.1:1")
    assert found.code == 2
    assert 'pip install "jarsight[cluster]"' in found.err and "Traceback" not in found.err


def test_one_bad_file_among_good_ones_is_left_out_and_named(
    tmp_path: Path, command: Command
) -> None:
    copied(tmp_path / "shed", NITRATE, "urea-liquor")
    (tmp_path / "shed" / "bad.toml").write_text(BAD)
    (tmp_path / "shed" / "binary.toml").write_bytes(b"\xff\xfe\x00")
    ask = ("shelf", "--in", str(tmp_path / "shed"), "--draws", "16")
    found = command(*ask)
    assert found.code == 0
    left = found.out.split("LEFT OUT\n")[1].split("\n\n")[0]
    assert "bad.toml: guarantee.iron" in left and "binary.toml: it is not plain UTF-8" in left
    files = [out["file"] for out in json.loads(command(*ask, "--json").out)["left_out"]]
    assert files == ["bad.toml", "binary.toml"]


DRY = """
name = "Epsom salt, dry, invented"
form = "dry"
sources = ["magnesium sulfate heptahydrate"]
usual_rate = "4 fl oz/1000 sq ft"
[guarantee]
"magnesium" = 9.8
"""


def test_a_dry_product_with_a_rate_by_volume_is_named_and_left_out(
    tmp_path: Path, command: Command
) -> None:
    copied(tmp_path / "shed", NITRATE, "urea-liquor")
    (tmp_path / "shed" / "dry.toml").write_text(DRY)
    ask = ("shelf", "--in", str(tmp_path / "shed"), "--draws", "16", "--water", "soft", "--json")
    found = json.loads(command(*ask).out)
    assert found["left_out"] == [
        {"file": "dry.toml", "why": "usual_rate: a dry product is weighed"}
    ]
    assert len(found["pairs"]) == 1
    weighed = json.loads(command(*ask, "--rate", "dry=4 oz wt/1000 sq ft").out)
    assert weighed["left_out"] == [] and len(weighed["pairs"]) == 3
    for more in (("dry",), ("--rate", "dry=4 fl oz/1000 sq ft")):
        told = command("shelf", *more, *ask[1:])
        assert told.code == 2 and "a dry product is weighed" in told.err
    mix = tmp_path / "shed" / "mix.toml"
    mix.write_text('name = "M"\ncarrier = "2 gal/1000 sq ft"\n[[add]]\nproduct = "dry.toml"\n')
    told = command("forecast", str(mix))
    assert told.code == 2
    assert "dry.toml, usual_rate = '4 fl oz/1000 sq ft'" in told.err and "oz wt" in told.err


ROOM = sys.modules["chem.shelf.work"]


def test_a_rate_given_for_the_product_asked_for_is_enough(tmp_path: Path, command: Command) -> None:
    copied(tmp_path / "shed", NITRATE)
    (tmp_path / "shed" / "no-rate.toml").write_text(NO_RATE)
    found = command(
        "shelf", "no-rate", "--in", str(tmp_path / "shed"), "--rate", "no-rate=1 % v/v",
        "--draws", "16", "--water", "soft", "--json",
    )  # fmt: skip
    answer = json.loads(found.out)
    assert answer["asked"] == "Urea without a rate, invented"
    assert [pair["b"] for pair in answer["pairs"]] == ["Calcium nitrate liquor, invented"]
    assert answer["left_out"] == []


def test_a_rate_in_place_of_the_usual_one_is_used(tmp_path: Path, command: Command) -> None:
    copied(tmp_path / "shed", NITRATE, SULFATE)
    ask = ("shelf", "--in", str(tmp_path / "shed"), "--draws", "16", "--water", "soft", "--json")
    usual = json.loads(command(*ask).out)["pairs"][0]
    little = json.loads(command(*ask, "--rate", f"{SULFATE}=0.1 fl oz/1000 sq ft").out)["pairs"][0]
    assert usual["probability"]["4h"] > 0.8 and usual["worst_solid"] == "gypsum"
    assert little["probability"]["4h"] < 0.1 and little["answer"] == "clear"


# --- safety ------------------------------------------------------------------------------------

BLEACH = """
name = "Bleach, invented"
density = "1.08 kg/L"
ph = 12.0
sources = ["sodium hypochlorite"]
usual_rate = "1 fl oz/1000 sq ft"
[guarantee]
"sodium" = 2.0
"""
BUFFER, CARBONATE = "ph-buffer", "potassium-carbonate-liquor"


@pytest.mark.parametrize("other", [BUFFER, SULFATE, "urea-liquor"])
def test_hypochlorite_never_shares_a_tank(other: str, tmp_path: Path) -> None:
    items = [written(tmp_path, "bleach", BLEACH), *demo(other, "magnesium-nitrate-liquor")]
    result = shelf(items, setting(), triples=True, passes=True)
    met = of(result, "bleach", other)
    assert met.toxic and met.odds is None and met.quarrels and not met.clear
    assert result.pairs[0].toxic and result.pairs[1].toxic and not result.pairs[2].toxic
    assert result.passes is not None
    assert (0,) in result.passes.tanks and len(result.passes.tanks) == 2
    assert not any(0 in group for group in result.groups)
    assert all(t.toxic for t in result.triples)
    text = as_text(shelf_sheet(result))
    kept_apart = text.split("BETTER KEPT APART, WORST FIRST\n")[1].split("\n\n")[0]
    plain = " ".join(kept_apart.split())
    assert plain.startswith("- Bleach, invented + ")
    assert "Toxic gas. Don't pour. Hypochlorite with acid gives chlorine" in plain
    assert "never in one tank." in plain
    entry = json.loads(shelf_json(result))["pairs"][0]
    assert entry["probability"] is None and "Toxic gas" in entry["because"]


def test_a_label_that_names_the_other_is_heeded(tmp_path: Path) -> None:
    text = (DEMO / "products" / "urea-liquor.toml").read_text()
    picky = written(tmp_path, "picky", f'{text}\n[says]\nnever_with = ["magnesium nitrate"]\n')
    result = shelf([picky, *demo("magnesium-nitrate-liquor", "iron-edta")], setting(), passes=True)
    kept = of(result, "picky", "magnesium-nitrate-liquor")
    assert kept.answer.word == "clear" and kept.new and kept.quarrels
    assert result.pairs[0] == kept
    assert "never with magnesium nitrate" in " ".join(as_text(shelf_sheet(result)).split())
    assert not any({0, 1} <= set(g) for g in (*result.groups, *result.passes.tanks))  # type: ignore[union-attr]
    assert of(result, "magnesium-nitrate-liquor", "iron-edta").clear


def test_gas_is_a_quarrel_told_before_solids_and_never_in_one_pass() -> None:
    items = demo(CARBONATE, BUFFER, NITRATE, SULFATE)
    result = shelf(items, setting(), passes=True)
    fizz = of(result, CARBONATE, BUFFER)
    assert fizz.quarrels and any(g.key == "carbon_dioxide" for g in fizz.gases)
    solids = [t for t in result.pairs if t.quarrels and not t.gases]
    assert solids and result.pairs.index(fizz) < result.pairs.index(solids[0])
    assert not any({0, 1} <= set(t) for t in (*result.groups, *result.passes.tanks))  # type: ignore[union-attr]


LYE = """
name = "Potash lye, invented"
density = "1.45 kg/L"
ph = 14
sources = ["potassium hydroxide"]
usual_rate = "0.1 fl oz/1000 sq ft"
[guarantee]
"soluble potash" = 38.0
"""


def test_what_a_product_does_alone_is_not_held_against_its_company(tmp_path: Path) -> None:
    # Lye heats up in any tank.
    lye = written(tmp_path, "lye", LYE)
    result = shelf([lye, *demo("urea-liquor")], setting())
    assert of(result, "lye").gases
    heats = of(result, "lye", "urea-liquor")
    assert heats.gases == () and heats.clear


def test_two_labels_that_both_say_pour_last_do_not_quarrel() -> None:
    both = demo(NITRATE, "potassium-thiosulfate-liquor")
    assert [i.product.says.pour for i in both] == ["last", "last"]
    met = shelf(both, setting()).pairs[0]
    assert met.rules == () and not met.quarrels, "either may be the last"


def test_a_tank_without_room_for_water_is_not_tried(tmp_path: Path) -> None:
    much = NO_RATE.replace("sources", 'usual_rate = "60 % v/v"\nsources')
    items = [written(tmp_path, "much", much), *demo(NITRATE)]
    result = shelf(items, setting(), ratios=[0.5, 1, 2])
    assert of(result, "much").odds is not None
    assert of(result, "much", NITRATE, factor=2.0).odds is None
    result = shelf([*items, written(tmp_path, "more", much)], setting())
    full = of(result, "much", "more")
    assert full.odds is None and not full.toxic and full.quarrels
    assert full.untried == "no_room" and full.filled == pytest.approx(1.2)
    text = " ".join(as_text(shelf_sheet(result)).split())
    assert "the products alone fill 120 %" in text.lower() and "Try: two passes." in text


def test_far_too_concentrated_is_neither_clear_nor_a_quarrel(tmp_path: Path) -> None:
    brine = """
name = "Calcium chloride brine, invented"
density = "1.40 kg/L"
sources = ["calcium chloride"]
usual_rate = "90 % v/v"
[guarantee]
"calcium" = 15.0
"chlorine" = 26.5
"""
    items = [written(tmp_path, "brine", brine), *demo("urea-liquor", "iron-edta")]
    result = shelf(items, setting(), passes=True)
    met = of(result, "brine", "urea-liquor")
    assert met.answer.word == "cannot tell" and met.answer.cause == "strong"
    assert met.unknown and not met.clear and not met.quarrels
    assert not any(0 in t for t in (*result.groups, *result.passes.tanks))  # type: ignore[union-attr]
    text = as_text(shelf_sheet(result))
    assert "CAN'T BE TOLD" in text and "0 of 3 pairs are better kept apart" in text


# --- what is printed ---------------------------------------------------------------------------


@pytest.fixture(scope="module")
def mixed() -> Shelf:
    """A shelf with quarrels, haze, gas, an emulsion and a product that hazes alone."""
    items = demo(
        NITRATE, SULFATE, ORTHO, "iron-partly-chelated", "humic-extract", CARBONATE, BUFFER,
        "urea-liquor", "wetting-agent",
    )  # fmt: skip
    return shelf(items, setting(draws=32), passes=True, ratios=[0.25, 1], judged_at="4h")


def section(text: str, title: str) -> str:
    return text.partition(f"{title}\n")[2].partition("\n\n")[0]


def test_the_list_is_worst_first(mixed: Shelf) -> None:
    gas = [bool(t.gases) for t in mixed.pairs]
    assert any(gas) and gas == sorted(gas, reverse=True)
    rank = {"curdle": 0, "haze": 1, "cannot tell": 2, "clear": 3}
    rest = [t for t in mixed.pairs if not t.gases]
    keys = [(rank[t.answer.word], -t.odds.clogs["4h"], -t.shows("4h")) for t in rest]  # type: ignore[union-attr]
    assert keys == sorted(keys) and len({k[0] for k in keys}) >= 3
    told = " ".join(section(as_text(shelf_sheet(mixed)), "BETTER KEPT APART, WORST FIRST").split())
    lines = told.removeprefix("- ").split(" - ")
    bad = [t for t in mixed.pairs if t.quarrels]
    assert len(lines) == len(bad)
    for line, found in zip(lines, bad, strict=True):
        assert line.startswith(" + ".join(mixed.items[i].name for i in found.members))


def test_a_line_says_what_it_does_how_likely_when_and_what(mixed: Shelf) -> None:
    text = " ".join(as_text(shelf_sheet(mixed)).split())
    assert re.search(
        r"Calcium nitrate liquor, invented \+ Ammonium sulfate liquor, invented: curdles, "
        r"(over 19 in 20|\d in 10), shows after about \d+ min, calcium sulfate \(gypsum\)\. "
        r"Try: two passes\.",
        text,
    )


def test_one_against_all_tells_it_alone_and_never_with_itself(command: Command) -> None:
    found = command("shelf", NITRATE, "--in", "demo", "--water", "hard-alkaline", "--draws", "16")
    assert found.code == 0 and found.err == ""
    assert found.out.startswith("Calcium nitrate liquor, invented against 19 products\n")
    assert "ALONE IN THIS WATER\nCalcium nitrate liquor, invented: " in found.out
    assert "with Calcium nitrate" not in found.out
    assert "- with Ammonium sulfate liquor, invented: curdles" in found.out


def test_the_table_is_full_symmetric_numbers_blank_under_5(mixed: Shelf) -> None:
    block = next(b for b in shelf_sheet(mixed).blocks if b.title.startswith("Chance in 100"))
    head, *rows = block.rows
    count = len(mixed.items)
    assert list(head) == ["", *map(str, range(1, count + 1))]
    cells = [list(row[1:]) for row in rows]
    assert len(cells) == count and all(len(row) == count for row in cells)
    for i, j in combinations(range(count), 2):
        chance = next(t for t in mixed.pairs if t.members == (i, j)).shows("4h")
        assert cells[i][j] == cells[j][i]
        assert cells[i][j] == ("" if chance < 0.05 else f"{100 * min(chance, 0.99):.0f}")
    for i in range(count):
        chance = next(t for t in mixed.alone if t.members == (i,)).shows("4h")
        assert cells[i][i] == ("" if chance < 0.05 else f"{100 * min(chance, 0.99):.0f}")
    assert any(any(row) for row in cells) and not all(all(row) for row in cells)
    every = [cell for row in cells for cell in row]
    assert all(re.fullmatch(r"|[5-9]|[1-9]\d", cell) for cell in every)
    lines = section(as_text(shelf_sheet(mixed)), "CHANCE IN 100 OF SOLIDS WITHIN 4 HOURS")
    printed = lines.splitlines()[-count - 1 :]
    assert all(re.fullmatch(r"[\d ]+", line) for line in printed)


def test_text_keeps_to_60_columns(mixed: Shelf, tmp_path: Path) -> None:
    name = "A name far longer than any that fits one line of a sheet, and then some, invented"
    long = NO_RATE.replace("Urea without a rate, invented", name)
    item = written(tmp_path, "long", long.replace("sources", 'usual_rate = "1 % v/v"\nsources'))
    asked = shelf(mixed.items, setting(), asked=item, ratios=[0.1, 0.2, 0.5, 1, 2, 3, 4, 5])
    for sheet in (
        shelf_sheet(mixed), shelf_sheet(mixed, alone=True), shelf_sheet(asked),
        shelf_sheet(asked, alone=True),
    ):  # fmt: skip
        lines = as_text(sheet).splitlines()
        assert max(map(len, lines)) <= 60, max(lines, key=len)


def test_the_page_is_one_offline_page_without_colour_and_holds_everything(
    tmp_path: Path, command: Command
) -> None:
    page = tmp_path / "shelf.html"
    found = command(
        "shelf", "--in", "demo", "--water", "soft", "--draws", "16", "--html", str(page)
    )
    assert found.code == 0 and "Page written" in found.err
    assert not list(tmp_path.glob("*.partial"))
    text = page.read_text(encoding="utf-8")
    assert text.startswith("<!doctype html>") and text.count("<html") == 1
    assert not re.search(r"https?:|src=|<script|<link|@import|url\(", text)
    for shade in re.findall(r"#([0-9a-fA-F]{3,6})\b", text):
        wide = shade if len(shade) == 6 else "".join(2 * digit for digit in shade)
        parts = [int(wide[k : k + 2], 16) for k in (0, 2, 4)]
        assert max(parts) - min(parts) <= 32, shade  # a grey, cold or warm
    assert not re.search(r"rgb|hsl|red|green|amber|✓|✗|✔|❌|⚠", text.split("</style>")[1])
    # The terminal's list stops at 30 and its table at 14 products; the page tells all.
    assert "more: --csv" in found.out and "more: --csv" not in text
    assert text.count("<h2>Chance in 100") == 1 and "Too wide" not in text
    table = text.split("<h2>Chance in 100")[1].split("</table>")[0].split("<table>")[1]
    assert table.count("<tr>") == 21
    cells = re.findall(r"<td[^>]*>(.*?)</td>", table.partition("</tr>")[2])
    assert len(cells) == 20 * 21 and all(re.fullmatch(r"\d*", c) for c in cells)


def test_csv_parses_back_to_the_same_numbers(mixed: Shelf) -> None:
    rows = list(csv.DictReader(io.StringIO("".join(shelf_csv(mixed)))))
    swept = [t for t in mixed.ratios if t.factor != 1.0]
    every = [*mixed.alone, *mixed.pairs, *mixed.triples, *swept]
    assert len(rows) == len(every) > len(mixed.pairs)
    for row, found in zip(rows, every, strict=True):
        names = [row[k] for k in "abc" if row[k]]
        assert names == [mixed.names[i] for i in found.members]
        assert row["answer"] == found.answer.word and float(row["rate_factor_of_a"]) == found.factor
        assert found.odds is not None
        for t, chance in found.odds.probability.items():
            assert float(row[f"probability_{t}"]) == pytest.approx(chance, abs=6e-5)
        assert float(row["clogs_4h"]) == pytest.approx(found.odds.clogs["4h"], abs=6e-5)
        assert (row["worst_solid"] or None) == found.odds.worst


def test_json_holds_the_contract(mixed: Shelf) -> None:
    answer = json.loads(shelf_json(mixed))
    assert {"pairs", "seconds", "solves"} <= set(answer)
    assert len(answer["pairs"]) == len(mixed.pairs)
    for entry, found in zip(answer["pairs"], mixed.pairs, strict=True):
        assert (entry["a"], entry["b"]) == tuple(mixed.names[i] for i in found.members)
        assert entry["answer"] == found.answer.word
        assert found.odds is not None and entry["probability"] == dict(found.odds.probability)
        assert entry["worst_solid"] == found.odds.worst
        assert entry["quarrels"] == found.quarrels
    assert answer["solves"] == mixed.solves > 0 and answer["seconds"] > 0
    assert sum(answer["quarrels"].values()) == 2 * sum(t.quarrels for t in mixed.pairs)


def test_alone_tells_each_in_this_water_and_tries_no_pair(command: Command) -> None:
    found = command(
        "shelf", "--in", "demo", "--alone", "--triples", "--water", "hard-alkaline", "--draws",
        "16", "--json",
    )  # fmt: skip
    answer = json.loads(found.out)
    assert len(answer["alone"]) == 20 and answer["pairs"] == answer["triples"] == []
    assert answer["solves"] == 20 * 16
    text = command("shelf", "--in", "demo", "--alone", "--water", "hard-alkaline", "--draws", "16")
    assert text.out.startswith("20 products, each alone\n")
    assert "8-8-8 with orthophosphate, invented: hazes" in " ".join(text.out.split())
    one = command("shelf", NITRATE, "--alone", "--water", "soft", "--draws", "16")
    assert one.out.startswith("Calcium nitrate liquor, invented alone\n")


def test_what_only_the_jar_can_tell_is_said_and_put_in_no_pass(mixed: Shelf) -> None:
    text = as_text(shelf_sheet(mixed))
    told = " ".join(section(text, "ONLY THE JAR CAN TELL").split())
    assert told.endswith("Wetting agent emulsion, invented.")
    passes = section(text, "THE FEWEST PASSES THAT USE THEM ALL")
    assert "In none, only the jar can tell: Wetting agent" in " ".join(passes.split())
    place = next(i for i, item in enumerate(mixed.items) if not item.product.judged)
    assert mixed.passes is not None
    assert not any(place in t for t in (*mixed.groups, *mixed.passes.tanks))


def test_ratios_name_every_product_in_full(mixed: Shelf) -> None:
    block = next(b for b in shelf_sheet(mixed).blocks if b.title.startswith("Other ratios"))
    assert not any("..." in item for item in block.items)
    names = [item.partition(": x")[0] for item in block.items]
    assert len(set(names)) == len(names) > 3
    line = next(i for i in block.items if i.startswith("Calcium") and "Ammonium sulfate" in i)
    low, usual = (of(mixed, NITRATE, SULFATE, factor=f).shows("4h") for f in (0.25, 1.0))
    assert line.endswith(f"x0.25 {100 * low:.0f}, x1 {100 * min(usual, 0.99):.0f}")
    assert low < usual


def test_two_products_of_one_name_are_told_apart(tmp_path: Path) -> None:
    text = (DEMO / "products" / "urea-liquor.toml").read_text()
    twins = [written(tmp_path, "old-jug", text), written(tmp_path, "new-jug", text)]
    result = shelf(twins, setting())
    assert result.names == ("Urea liquor, invented (old-jug)", "Urea liquor, invented (new-jug)")
    # The product asked for under the key of another jug has doubts of its own.
    asked = written(tmp_path, "old-jug", text.replace("20.0", "19.0"))
    against = shelf(twins, setting(), asked=asked)
    assert [i.product.key for i in against.items] == ["old-jug-2", "old-jug", "new-jug"]


def test_a_long_list_is_told_why_it_has_no_passes(tmp_path: Path) -> None:
    text = (DEMO / "products" / "urea-liquor.toml").read_text()
    many = [written(tmp_path, f"jug-{k}", text) for k in range(13)]
    result = shelf(many, setting(), passes=True)
    assert result.passes is None and "at most 12 products" in result.notes[0]
    assert "at most 12 products" in " ".join(as_text(shelf_sheet(result)).split())
    assert result.groups and len(result.groups[0]) == 12


def test_three_that_quarrel_though_no_two_do(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pairs among the others count, though only one product was asked for."""
    items = demo(NITRATE, SULFATE, "urea-liquor")
    asked = shelf(items[:2], setting(), asked=items[2], triples=True)
    assert [t.quarrels for t in asked.triples] == [True]
    assert len(asked.pairs) == 2 and not any(t.quarrels for t in asked.pairs)
    assert asked.only_three == ()
    # Where the two get along by half, and only the third carries them over.
    half = [replace(i, rate=replace(i.rate, value=0.36 * i.rate.value)) for i in items[:2]]
    third = demo("magnesium-sulfate-heptahydrate")[0]
    third = replace(third, rate=replace(third.rate, value=0.6 * third.rate.value))
    result = shelf([*half, third], setting(), triples=True)
    assert not any(t.quarrels for t in result.pairs)
    assert result.only_three == result.triples
    assert "QUARREL THOUGH NO TWO OF THEM DO" in as_text(shelf_sheet(result))


# --- groups and passes, against trying everything -------------------------------------------------


@st.composite
def quarrelsome(draw: st.DrawFn) -> tuple[list[int], set[tuple[int, int]], list[set[int]]]:
    """Products, pairs that quarrel, and threes or fours that fail though their pairs don't."""
    count = draw(st.integers(1, 7))
    pairs = list(combinations(range(count), 2))
    bad = set(draw(st.lists(st.sampled_from(pairs), unique=True))) if pairs else set()
    more = st.sets(st.integers(0, count - 1), min_size=min(3, count), max_size=4)
    failing = [s for s in draw(st.lists(more, max_size=3)) if len(s) > 2]
    return list(range(count)), bad, failing


def works_of(failing: list[set[int]]) -> Callable[[Sequence[tuple[int, ...]]], list[bool]]:
    return lambda groups: [not any(f <= set(g) for f in failing) for g in groups]


@settings(max_examples=120, deadline=None)
@given(quarrelsome())
def test_cliques_are_all_largest_sets_of_friends(
    case: tuple[list[int], set[tuple[int, int]], list[set[int]]],
) -> None:
    members, bad, _ = case
    friends = {i: {j for j in members if j != i} for i in members}
    for a, b in bad:
        friends[a].discard(b)
        friends[b].discard(a)
    sets = [set(s) for n in range(1, len(members) + 1) for s in combinations(members, n)]
    good = [s for s in sets if not any({a, b} <= s for a, b in bad)]
    largest = {tuple(sorted(s)) for s in good if not any(s < other for other in good)}
    found = list(cliques(friends))
    assert set(found) == largest and len(found) == len(largest)


@settings(max_examples=120, deadline=None)
@given(quarrelsome(), st.integers(3, 7))
def test_largest_groups_all_work_as_a_whole(
    case: tuple[list[int], set[tuple[int, int]], list[set[int]]], most: int
) -> None:
    members, bad, failing = case
    works = works_of(failing)
    groups = largest_groups(members, bad, works, most, 5)
    for group in groups:
        assert 3 <= len(group) <= most and works([group]) == [True]
        assert not any({a, b} <= set(group) for a, b in bad)
    assert [len(g) for g in groups] == sorted((len(g) for g in groups), reverse=True)
    assert not any(set(g) <= set(h) for g in groups for h in groups if g is not h)
    if not failing:
        sets = [s for n in range(3, most + 1) for s in combinations(members, n)]
        good = [s for s in sets if not any({a, b} <= set(s) for a, b in bad)]
        assert max(map(len, good), default=0) == (len(groups[0]) if groups else 0)


def partitions(members: Sequence[int]) -> Iterator[list[set[int]]]:
    if not members:
        yield []
        return
    first, *rest = members
    for parts in partitions(rest):
        yield [{first}, *parts]
        for k in range(len(parts)):
            yield [*parts[:k], parts[k] | {first}, *parts[k + 1 :]]


@settings(max_examples=150, deadline=None)
@given(quarrelsome())
def test_no_fewer_passes_would_do(
    case: tuple[list[int], set[tuple[int, int]], list[set[int]]],
) -> None:
    members, bad, failing = case
    works = works_of(failing)

    def well(tank: set[int]) -> bool:
        return works([tuple(tank)])[0] and not any({a, b} <= tank for a, b in bad)

    found, fewest = fewest_passes(members, bad, works)
    assert fewest
    assert sorted(i for tank in found for i in tank) == members
    assert all(well(set(tank)) for tank in found)
    assert len(found) == min(len(p) for p in partitions(members) if all(map(well, p)))


def test_passes_of_real_products_work_as_whole_tanks() -> None:
    items, where = demo(NITRATE, SULFATE, ORTHO, "urea-liquor", "iron-edta", BUFFER), setting()
    result = shelf(items, where, passes=True)
    assert result.passes is not None and result.passes.fewest
    assert sorted(i for t in result.passes.tanks for i in t) == list(range(6))
    assert len(result.passes.tanks) == 2
    assert result.groups
    for group in (*result.passes.tanks, *result.groups):
        seen = Study(where.draws, where.seed).look(Tank(group).mix(items, where))
        assert seen.answer("4h").word == "clear"


# --- a fact of the trade -------------------------------------------------------------------------


def salt(folder: Path, key: str, formula: str, grams_per_L: float, **percent_of: str) -> Item:
    """A pure salt, sold dry, at so many grams per litre of stock tank (1000 L/ha)."""
    whole = molar_mass_g_per_mol(formula)
    lines = "".join(
        f'"{line.replace("_", " ")}" = {100.0 * molar_mass_g_per_mol(part) / whole:.3f}\n'
        for line, part in percent_of.items()
    )
    return written(
        folder, key.replace(" ", "-"),
        f'name = "{key.capitalize()}, invented"\nform = "dry"\nsources = ["{key}"]\n'
        f'usual_rate = "{grams_per_L:g} kg/ha"\n[guarantee]\n{lines}',
    )  # fmt: skip


def test_calcium_nitrate_goes_with_potassium_nitrate_and_not_with_sulfates_or_phosphates(
    tmp_path: Path,
) -> None:
    # "Mixing a fertilizer that contains calcium with one that contains sulfate can cause calcium
    # sulfate (gypsum) to precipitate. One example ... calcium nitrate with potassium sulfate":
    # University of California, Maintenance of Microirrigation Systems, Prevention and Mitigation,
    # micromaintain.ucanr.edu (after Burt, O'Conner and Ruehr 1995, Fertigation).
    # Phosphates and potassium nitrate: the fertigation compatibility chart recalled from Landis et
    # al. 1989, USDA Agriculture Handbook 674 vol. 4 (value from memory), which is for stock tanks:
    # 10 g N/L of a nitrogen source, 0.2 mol/L of another.
    nitrate = salt(
        tmp_path, "calcium nitrate tetrahydrate", "Ca(NO3)2+4H2O", 84.3,
        total_nitrogen="N2", nitrate_nitrogen="N2", calcium="Ca",
    )  # fmt: skip
    items = [
        nitrate,
        salt(tmp_path, "potassium nitrate", "KNO3", 72.2,
             total_nitrogen="N", nitrate_nitrogen="N", soluble_potash="KO0.5"),
        salt(tmp_path, "potassium sulfate", "K2SO4", 34.9, soluble_potash="K2O", sulfur="S"),
        salt(tmp_path, "magnesium sulfate heptahydrate", "MgSO4+7H2O", 49.3,
             magnesium="Mg", sulfur="S"),
        salt(tmp_path, "diammonium phosphate", "(NH4)2HPO4", 47.1, total_nitrogen="N2",
             ammoniacal_nitrogen="N2", available_phosphate="PO2.5"),
    ]  # fmt: skip
    rain = tmp_path / "rain.water"  # no bicarbonate of its own that calcium could take out as lime
    rain.write_text('name = "Rain, invented"\nph = 6.0\nalkalinity = "1 mg/L as CaCO3"\n')
    result = shelf(items, Setting(read_water(rain), 0.1, 20.0, None, 32, 1), passes=True)
    for other, solid in (
        ("potassium-sulfate", "gypsum"),
        ("magnesium-sulfate-heptahydrate", "gypsum"),
        ("diammonium-phosphate", "brushite"),
    ):
        met = of(result, "calcium-nitrate-tetrahydrate", other)
        assert met.answer.word == "curdle" and met.answer.chance > 0.9 and met.quarrels, other
        assert met.odds is not None and met.odds.worst == solid
    beside = of(result, "calcium-nitrate-tetrahydrate", "potassium-nitrate")
    assert beside.answer.word == "clear" and beside.shows("24h") < 0.05 and beside.clear
    assert result.passes is not None
    assert not any(0 in t and {2, 3, 4} & set(t) for t in result.passes.tanks)


def test_a_shed_is_a_shelf(tmp_path: Path, command: Command) -> None:
    """What `jarsight new shed` lays out: products and waters found by the shed's own folder."""
    park = tmp_path / "park"
    copied_to = park / "products"
    copied_to.mkdir(parents=True)
    copied(copied_to, NITRATE, SULFATE)
    (park / "waters").mkdir()
    shutil.copy(DEMO / "waters" / "soft.toml", park / "waters" / "ours.toml")
    said = command("shelf", "--in", str(park), "--water", "ours", "--draws", "16", "--json")
    assert said.code == 0, said.err
    found = json.loads(said.out)
    assert len(found["pairs"]) == 1
    assert found["water"] == find_water("soft", None).name


def test_a_result_of_other_code_is_not_taken(
    cache_of_its_own: Path, monkeypatch: pytest.MonkeyPatch, command: Command
) -> None:
    """A version number does not change with every line of code; the code's own hash does."""
    park = copied(cache_of_its_own.parent / "park", NITRATE, SULFATE)
    asked = ("shelf", "--in", str(park), "--water", "soft", "--draws", "16", "--json")
    assert json.loads(command(*asked).out)["solves"] > 0
    assert json.loads(command(*asked).out)["solves"] == 0
    stamps = sys.modules["chem.reference.fingerprint"]
    monkeypatch.setattr(stamps, "code_hash", lambda: "other code")
    assert json.loads(command(*asked).out)["solves"] > 0
