"""The notebook: a look keeps the whole mix as read, and earlier lines stay readable."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from chem.errors import InputProblem
from chem.forecast import Forecast, forecast
from chem.notebook import (
    Entry,
    KeptMix,
    Look,
    Notebook,
    Place,
    Reading,
    Sighting,
    entry_of,
    find_place,
    is_number,
    kept_mix,
    read_looks,
)
from chem.notebook.seen import OLD_HEADER
from chem.notebook.written import (
    read_ladder,
    read_looks_written,
    read_lots,
    read_reading,
    read_when,
)
from chem.tank import Mix, change_mix, read_mix
from chem.units import read_carrier, read_volume

ROOT = Path(__file__).parent.parent
CURDLES = ROOT / "examples" / "curdles.toml"
OLD_ROW = {
    "when": "2025-11-04T10:00:00+01:00", "mix": "Tuesday, invented", "file": "tuesday.toml",
    "products": "Iron, invented; Calcium liquor, invented", "water": "Borehole, invented",
    "seen": "haze grit", "after_min": "15", "ph": "6.4", "note": 'a "note", with commas',
    "answer": "haze", "judged_at": "4h", "chance": "0.312", "probability_15min": "0.100",
    "probability_4h": "0.312", "probability_24h": "0.500", "clogs_4h": "0.020",
    "ph_median": "6.10", "ph_p05": "5.80", "ph_p95": "6.50", "worst_solid": "gypsum",
    "draws": "256", "seed": "1", "versions": "jarsight 0.1.0; data abc; platform Linux x86_64",
}  # fmt: skip


@pytest.fixture(scope="module")
def curdled() -> Forecast:
    return forecast(read_mix(CURDLES), count=32)


def old_file(folder: Path, *rows: dict[str, str]) -> bytes:
    """What an earlier version has written."""
    text = io.StringIO()
    writer = csv.DictWriter(text, OLD_HEADER, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows or [OLD_ROW])
    folder.mkdir(exist_ok=True)
    (folder / "seen.csv").write_text(text.getvalue(), encoding="utf-8")
    return (folder / "seen.csv").read_bytes()


def saw(
    data: Path, *words: str, typed: bytes = b"", code: str = "", mix: str = str(CURDLES)
) -> tuple[int, str, str]:
    run = "import sys; sys.argv[0] = 'jarsight'; from chem.cli.main import run; run()"
    done = subprocess.run(
        [sys.executable, "-c", code + run, "saw", mix, "--draws", "16", *words],
        input=typed, capture_output=True, cwd=ROOT, check=False,
        env=os.environ | {"PYTHONPATH": str(ROOT), "JARSIGHT_DATA": str(data)},
    )  # fmt: skip
    return done.returncode, done.stdout.decode(), done.stderr.decode()


SAID = ("--seen", "flakes", "--after", "10min", "--ph", "6.4", "--note", "white curd")


def look(word: str, after_s: float = 300.0) -> Sighting:
    return Sighting((Look(word=word, after_s=after_s),))


@pytest.fixture
def book(tmp_path: Path) -> Notebook:
    return Notebook(tmp_path / "notebook.sqlite")


def test_an_entry_is_one_json_object_of_the_contract(book: Notebook, curdled: Forecast) -> None:
    note = 'a "note",\n\u2028 of two lines'
    for i in range(3):
        seen = (Look(word="flakes", after_s=300.0 + i), Look(word="grit", after_s=14400.0))
        ph = (Reading(value=6.4, instrument="strip", step=0.5, after_s=0.0, t_C=15.0),)
        book.add(entry_of(curdled, Sighting(seen, ph, note, kind="jar", by="ab")))
    told = json.loads(book.export())
    assert len(told["entries"]) == 3 and len({e["id"] for e in told["entries"]}) == 3
    data = told["entries"][1]
    assert {"id", "by", "at", "amends", "kind", "number", "mix", "seen", "ph", "sprayed",
            "forecast", "versions"} <= set(data)  # fmt: skip
    assert {"files", "lots", "rates", "order", "water", "carrier", "tank", "area",
            "temperatures"} <= set(data["mix"])  # fmt: skip
    assert data["seen"] == [
        {"word": "flakes", "after_s": 301.0}, {"word": "grit", "after_s": 14400.0},
    ]  # fmt: skip
    assert {"value", "instrument", "step", "after_s", "t_C"} <= set(data["ph"][0])
    assert data["ph"][0]["value"] == 6.4 and data["kind"] == "jar" and data["by"] == "ab"
    assert data["amends"] is data["number"] is data["sprayed"] is None
    assert data["mix"]["lots"] == [None, None] and data["note"] == note
    for file in data["mix"]["files"]:
        assert hashlib.sha256(file["text"].encode()).hexdigest() == file["hash"]
    assert data["forecast"]["for"] == "4h" and data["forecast"]["answer"] == "curdle"
    assert data["forecast"]["probability"] == dict(curdled.probability)
    assert data["forecast"]["ph"] == curdled.ph.as_dict()
    assert data["versions"] == dict(curdled.versions)


def test_entries_come_back_as_they_were_kept(book: Notebook, curdled: Forecast) -> None:
    first = entry_of(curdled, look("haze"))
    later = Entry.model_validate(json.loads(first.line()) | {"weather": "dry", "id": "0" * 16})
    book.add(first)
    book.add(later)
    book.add(first)
    assert book.entries() == (first, later)
    assert json.loads(book.entries()[1].line())["weather"] == "dry"
    mended = entry_of(curdled, replace(look("clear"), amends=first.id))
    book.add(mended)
    assert [e.id for e in book.entries()] == [later.id, mended.id]
    assert [k.entry.id for k in book.kept()] == [first.id, later.id, mended.id]
    assert book.find(first.id[:7]) == first
    for wrong in ("", "zz"):
        with pytest.raises(InputProblem, match=r"notebook list"):
            book.find(wrong)


def test_the_figures_kept_are_those_of_the_mix(curdled: Forecast) -> None:
    mix = replace(curdled.mix, coldest_celsius=4.0)
    kept = kept_mix(mix)
    assert kept.carrier is not None and kept.tank is not None and mix.tank_L is not None
    assert read_carrier(kept.carrier, "") == pytest.approx(mix.carrier_L_per_m2, rel=1e-9)
    assert read_volume(kept.tank, "") == pytest.approx(mix.tank_L, rel=1e-9)
    assert (kept.temperatures.tank_C, kept.temperatures.coldest_C) == (mix.t_celsius, 4.0)
    assert kept.order == tuple(a.product.name for a in mix.additions)
    assert kept.rates == tuple(a.rate.text for a in mix.additions)


def _same(one: Mix, other: Mix) -> bool:
    """All but where the files were."""
    return one == other and one.files == other.files


def test_an_entry_is_enough_to_read_the_mix_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A mix that names files in every way: beside it, in another folder, by an absolute path,
    without its ending, with backslashes, from the demo shelf; a water and a product of one name;
    a catch test."""
    shed = tmp_path / "shed"
    (shed / "mixes").mkdir(parents=True)
    (shed / "jugs").mkdir()
    demo = ROOT / "data" / "demo"
    shutil.copy(demo / "products" / "urea-liquor.toml", shed / "jugs" / "urea.toml")
    shutil.copy(demo / "products" / "npk-orthophosphate.toml", shed / "jugs" / "salt.toml")
    shutil.copy(demo / "products" / "iron-edta.toml", shed / "iron.toml")
    bom = b"\xef\xbb\xbf" + (demo / "products" / "kelp-extract.toml").read_bytes()
    (shed / "mixes" / "soft.toml").write_bytes(bom.replace(b"\n", b"\r\n"))
    (shed / "mixes" / "catch.toml").write_text('name = "Catch test"\ncarrier = "815 L/ha"\n')
    path = shed / "mixes" / "tuesday.toml"
    path.write_text(
        'name = "Tuesday, invented"\nwater = "saline"\ncarrier = "catch.toml"\n'
        'temperature = "60 F"\n'
        '[[add]]\nproduct = "../jugs/urea"\n'
        f'[[add]]\nproduct = "{(shed / "iron.toml").as_posix()}"\nrate = "3 fl oz/1000 sq ft"\n'
        '[[add]]\nproduct = "./soft.toml"\n'
        "[[add]]\nproduct = '..\\jugs\\salt'\n"
        '[[add]]\nproduct = "calcium-nitrate-liquor"\nrate = "1 fl oz/1000 sq ft"\n'
    )
    mix = read_mix(path)
    assert [f.what for f in mix.files] == ["mix", "sprayer", "water", *["product"] * 5]
    line = kept_mix(mix).model_dump_json()
    shutil.rmtree(shed)
    empty = tmp_path / "empty"
    empty.mkdir()
    monkeypatch.chdir(empty)
    monkeypatch.setattr("chem.files.reading.data_folder", lambda: empty)
    kept = KeptMix.model_validate_json(line)
    again = kept.reread()
    assert _same(mix, again) and not list(empty.iterdir())
    # A shed that stands there now is another, and lends it nothing.
    (empty / "shed.toml").write_text('water = "saline"\nproducts = "jugs"\n')
    assert _same(mix, kept.reread())
    (empty / "shed.toml").unlink()
    assert forecast(again, count=16).ph == forecast(mix, count=16).ph
    hurt = kept.files[2].model_copy(update={"text": f"{kept.files[2].text} "})
    for files, wrong in (
        ((*kept.files[:2], hurt, *kept.files[3:]), "no longer the text that was read"),
        (kept.files[:2] + kept.files[3:], "was not kept"),
        ((), "were not kept"),
    ):
        with pytest.raises(InputProblem, match=wrong):
            kept.model_copy(update={"files": files}).reread()
    with pytest.raises(InputProblem, match="there is no such file"):
        read_mix(path)


@pytest.mark.parametrize("example", sorted(ROOT.glob("examples/*.toml")), ids=lambda p: p.stem)
def test_every_example_can_be_read_again(example: Path) -> None:
    mix = read_mix(example)
    assert _same(mix, KeptMix.model_validate_json(kept_mix(mix).model_dump_json()).reread())


def test_a_file_edited_after_it_was_read_slips_not_in(tmp_path: Path) -> None:
    product = tmp_path / "urea.toml"
    shutil.copy(ROOT / "data" / "demo" / "products" / "urea-liquor.toml", product)
    path = tmp_path / "mix.toml"
    path.write_text('name = "M"\ncarrier = "2 gal/1000 sq ft"\n[[add]]\nproduct = "urea.toml"\n')
    before = product.read_text(encoding="utf-8")
    result = forecast(read_mix(path), count=16)
    product.write_text(before.replace("Urea", "Another"), encoding="utf-8")
    path.unlink()
    entry = entry_of(result, look("clear"))
    assert entry.mix.files[1].text == before
    changed = change_mix(result.mix, ROOT, water="soft")
    assert [f.name for f in changed.files] == ["mix.toml", "soft.toml", "urea.toml"]


def test_lines_of_an_earlier_version_are_read_and_imported(
    tmp_path: Path, book: Notebook, curdled: Forecast
) -> None:
    bare = OLD_ROW | {"ph": "", "note": "", "worst_solid": "", "chance": "nan"}
    old = old_file(tmp_path, OLD_ROW, bare)
    third = entry_of(curdled, replace(look("haze"), note="third")).line()
    (tmp_path / "seen.jsonl").write_bytes(third + third[:200] + b"\n\xff\n")
    looks = read_looks(tmp_path)
    assert len(looks.unread) == 2 and looks.unread[0].read.endswith("seen.jsonl`, line 2")
    first, second, last = looks.entries
    assert first.at == OLD_ROW["when"] and first.mix.name == "Tuesday, invented"
    assert first.mix.order == ("Iron, invented", "Calcium liquor, invented")
    assert first.mix.rates == first.mix.lots == (None, None)
    assert [(s.word, s.after_s) for s in first.seen] == [("haze", 900.0), ("grit", 900.0)]
    assert [r.value for r in first.ph] == [6.4] and first.note == OLD_ROW["note"]
    assert first.forecast is not None
    assert first.forecast.probability == {"15min": 0.1, "4h": 0.312, "24h": 0.5}
    assert first.forecast.clogs == {"15min": None, "4h": 0.02, "24h": None}
    assert [s.key for s in first.forecast.solids] == ["gypsum"]
    assert first.versions["platform"] == "Linux x86_64"
    assert second.ph == () and second.note is None and second.id != first.id
    assert last.line() == third and _same(last.mix.reread(), curdled.mix)
    with pytest.raises(InputProblem, match="were not kept"):
        first.mix.reread()
    for times in (1, 2):
        for name, count in (("seen.csv", 2), ("seen.jsonl", 1)):
            done = book.take_in(tmp_path / name)
            assert (done.new, done.known) == ((count, 0) if times == 1 else (0, count))
            assert done.ours
    assert [e.line() for e in book.entries()] == [e.line() for e in looks.entries]
    assert (tmp_path / "seen.csv").read_bytes() == old
    assert read_looks(tmp_path / "nowhere") == replace(looks, entries=(), unread=())
    (tmp_path / "novel.txt").write_text("It was a dark and stormy night.\n")
    with pytest.raises(InputProblem, match="no line of it is an entry"):
        book.take_in(tmp_path / "novel.txt")


# --- the file ----------------------------------------------------------------------------------

WRITER = """
import sys
from pathlib import Path
from chem.notebook import Entry, Notebook
book, line = Notebook(Path(sys.argv[1])), Path(sys.argv[2]).read_bytes()
plain = Entry.model_validate_json(line)
for i in range(int(sys.argv[3])):
    entry = plain.model_copy(update={"id": f"{sys.argv[4]}{i:012d}"})
    book.add(entry)
    print(entry.id, flush=True)
"""


def writer(book: Notebook, line: Path, count: int, named: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(book.path), str(line), str(count), named],
        stdout=subprocess.PIPE, env=os.environ | {"PYTHONPATH": str(ROOT)},
    )  # fmt: skip


def test_two_that_write_and_one_killed_lose_nothing(
    tmp_path: Path, book: Notebook, curdled: Forecast
) -> None:
    line = tmp_path / "line"
    line.write_bytes(entry_of(curdled, look("haze")).line())
    steady = [writer(book, line, 40, name) for name in ("aaaa", "bbbb")]
    told = []
    for k in range(3):
        doomed = writer(book, line, 10_000, f"ccc{k}")
        assert doomed.stdout is not None
        told += [doomed.stdout.readline() for _ in range(1 + 5 * k)]
        doomed.kill()
        told += doomed.communicate()[0].splitlines(keepends=True)
    for one in steady:
        told += one.communicate()[0].splitlines(keepends=True)
        assert one.returncode == 0
    acknowledged = {t.decode().strip() for t in told if t.endswith(b"\n")}
    assert acknowledged <= {k.entry.id for k in book.kept()} and len(acknowledged) >= 80
    checked = book.check()
    assert checked.wrong == () and checked.unread == ()


def test_a_file_that_cannot_serve_is_told_in_a_sentence(
    tmp_path: Path, book: Notebook, curdled: Forecast
) -> None:
    entry = entry_of(curdled, look("haze"))
    book.add(entry)
    whole = book.path.read_bytes()

    def problem(change: Callable[[], object], wrong: str) -> None:
        change()
        before = book.path.read_bytes()
        for attempt in (book.entries, lambda: book.add(entry)):
            with pytest.raises(InputProblem, match=wrong):
                attempt()
        assert book.path.read_bytes() == before
        book.path.write_bytes(whole)

    def newer() -> None:
        with sqlite3.connect(book.path) as file:
            file.execute("PRAGMA user_version = 9")
        file.close()

    def another() -> None:
        book.path.unlink()
        with sqlite3.connect(book.path) as file:
            file.execute("CREATE TABLE songs (title TEXT)")
        file.close()

    problem(newer, "a newer version of jarsight wrote it")
    problem(another, "it is no notebook")
    problem(lambda: book.path.write_bytes(b"plain text, nothing else " * 99), "damaged")
    problem(
        lambda: book.path.write_bytes(whole[:2000] + bytes(len(whole) - 2000)),
        r"damaged|no notebook|can't be",
    )
    assert [e.id for e in book.entries()] == [entry.id]
    with pytest.raises(InputProblem, match="no plain file"):
        Notebook(tmp_path).must_be_writable()
    with pytest.raises(InputProblem, match="can't be written"):
        Notebook(book.path / "below" / "notebook.sqlite").add(entry)


def test_a_full_disk_keeps_what_was_kept(tmp_path: Path, book: Notebook, curdled: Forecast) -> None:
    """As a full disk answers: no file may grow beyond what it has."""
    line = tmp_path / "line"
    line.write_bytes(entry_of(curdled, look("haze")).line())
    done = writer(book, line, 2, "aaaa").communicate()[0].split()
    code = (
        "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (9000, 9000));"
        f"import sys; sys.argv = ['', {str(book.path)!r}, {str(line)!r}, '9', 'bbbb']\n"
    )
    full = subprocess.run(
        [sys.executable, "-c", code + WRITER], capture_output=True, check=False,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert full.returncode != 0 and b"nothing was kept" in full.stderr
    kept = [e.id for e in book.entries()]
    assert kept == [t.decode() for t in [*done, *full.stdout.split()]]
    assert book.check().wrong == ()


def test_a_folder_that_is_read_only_can_be_read(
    book: Notebook, curdled: Forecast, monkeypatch: pytest.MonkeyPatch
) -> None:
    entry = entry_of(curdled, look("haze"))
    book.add(entry)
    connect = sqlite3.connect

    def refused(database: str, **how: object) -> sqlite3.Connection:
        """As SQLite answers where no file may be made beside the notebook."""
        if str(book.path) in database and "immutable" not in database:
            raise sqlite3.OperationalError("unable to open database file")
        return connect(database, **how)  # type: ignore[call-overload, no-any-return]

    monkeypatch.setattr(sqlite3, "connect", refused)
    assert book.entries() == (entry,)
    with pytest.raises(InputProblem, match="can't be written"):
        book.add(entry)


# --- other notebooks ---------------------------------------------------------------------------


def test_importing_twice_adds_nothing_and_another_shed_can_be_left_out(
    tmp_path: Path, book: Notebook, curdled: Forecast
) -> None:
    other = Notebook(tmp_path / "theirs.sqlite")
    mine, theirs = (entry_of(curdled, look(word)) for word in ("haze", "grit"))
    book.add(mine)
    other.add(theirs)
    other.number_for(curdled.mix)
    exported = tmp_path / "theirs.json"
    exported.write_text(other.export(), encoding="utf-8")
    for path, new in ((exported, 1), (exported, 0), (other.path, 0)):
        done = book.take_in(path)
        assert (done.new, done.numbers, done.ours) == (new, new, False)
    assert [(k.entry.id, k.ours) for k in book.kept()] == [(mine.id, True), (theirs.id, False)]
    assert len(book.numbers()) == 1
    assert book.hide(exported) == 1 and book.entries() == (mine,)
    assert book.take_in(other.path).new == 0 and len(book.entries()) == 2
    with pytest.raises(InputProblem, match="it is of this shed"):
        book.hide(book.path)
    third = Notebook(tmp_path / "third.sqlite")
    back = tmp_path / "all.json"
    back.write_text(book.export(), encoding="utf-8")
    assert third.take_in(back).new == 2 and {e.id for e in third.entries()} == {mine.id, theirs.id}
    exported.write_text(other.export()[:-40], encoding="utf-8")
    with pytest.raises(InputProblem, match="no whole export"):
        book.take_in(exported)
    with pytest.raises(InputProblem, match="no such file"):
        book.take_in(tmp_path / "nowhere.json")


def test_a_copy_that_two_machines_left_is_found_and_merged(
    tmp_path: Path, book: Notebook, curdled: Forecast
) -> None:
    first, mine, theirs = (entry_of(curdled, look(word)) for word in ("haze", "grit", "gel"))
    book.add(first)
    copy = Notebook(tmp_path / "notebook (conflict 2026-11-04).sqlite")
    shutil.copy(book.path, copy.path)
    (tmp_path / "notebook-old.sqlite").write_bytes(b"no notebook")
    assert book.copies() == ()
    book.add(mine)
    copy.add(theirs)
    assert book.copies() == (copy.path,)
    done = book.take_in(copy.path)
    assert (done.new, done.known, done.ours) == (1, 1, True) and book.copies() == ()
    assert all(k.ours for k in book.kept()) and len(book.kept()) == 3


# --- numbers -----------------------------------------------------------------------------------


def test_a_number_freezes_the_mix_as_printed(book: Notebook, curdled: Forecast) -> None:
    mix = curdled.mix
    number = book.number_for(mix)
    assert is_number(number) and number.endswith("-1") and book.number_for(mix) == number
    changed = change_mix(mix, ROOT, temperature="50 F")
    other = book.number_for(changed)
    assert other.endswith("-2")
    assert _same(book.mix_of(number.lower()).mix.reread(), mix)
    assert book.mix_of(other).mix.temperatures.tank_C == pytest.approx(10.0)
    with pytest.raises(InputProblem, match=number):
        book.mix_of("J-0101-9")


def test_where_a_notebook_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("JARSIGHT_NOTEBOOK", "JARSIGHT_DATA"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("JARSIGHT_DATA", str(tmp_path / "data"))
    mixes = tmp_path / "shed" / "mixes"
    mixes.mkdir(parents=True)
    mix = mixes / "mix.toml"
    mix.write_text("")
    assert find_place(mix) == Place(tmp_path / "data" / "notebook.sqlite", False)
    shed = tmp_path / "shed" / "shed.toml"
    shed.write_text('notebook = "books/jars.sqlite"\n')
    assert find_place(mix) == Place(tmp_path / "shed" / "books" / "jars.sqlite", True)
    shed.write_text('water = "well.toml"\n')
    assert find_place(mixes).path == tmp_path / "shed" / "notebook.sqlite"
    monkeypatch.setenv("JARSIGHT_NOTEBOOK", str(tmp_path / "named.sqlite"))
    assert find_place(mix).path == tmp_path / "named.sqlite"
    assert find_place(mix, Path("mine.sqlite")).path == Path("mine.sqlite")
    monkeypatch.delenv("JARSIGHT_NOTEBOOK")
    for wrong in ("nonsense = 4", "notebook = "):
        shed.write_text(wrong)
        with pytest.raises(InputProblem, match=r"shed\.toml"):
            find_place(mix)


# --- what people write -------------------------------------------------------------------------


def test_looks_ladders_and_lots_as_written(curdled: Forecast) -> None:
    looks = read_looks_written(["clear", "flakes, grit"], ["right away", "4h"])
    assert [(x.word, x.after_s) for x in looks] == [
        ("clear", 0.0), ("flakes", 14400.0), ("grit", 14400.0),
    ]  # fmt: skip
    ladder = read_ladder(
        "0:6.8, 1 mL:6.1, 3 mL:5.0", agent="citric acid", jar="1 L", by="meter", after=None
    )
    assert [(r.value, r.dose and r.dose.amount) for r in ladder] == [
        (6.8, None), (6.1, "1 mL"), (5.0, "3 mL"),
    ]  # fmt: skip
    reading = read_reading("6.5", by="strip", after="10min", temperature="50 F")
    assert (reading.instrument, reading.step, reading.after_s) == ("strip", 0.5, 600.0)
    assert reading.t_C == pytest.approx(10.0)
    iron, calcium = (a.product.name for a in curdled.mix.additions)
    part = next(w for w in iron.split() if w.lower() not in calcium.lower())
    assert read_lots([f"{part}=B24"], curdled.mix) == {iron: "B24"}
    for attempt in (
        lambda: read_looks_written(["haze"], []),
        lambda: read_ladder("6.8", agent=None, jar=None, by=None, after=None),
        lambda: read_reading("6.5", by="tongue"),
        lambda: read_reading("6.5", step="7"),
        lambda: read_lots(["B24"], curdled.mix),
        lambda: read_lots(["nothing such=B24"], curdled.mix),
        lambda: read_lots(["iron="], curdled.mix),
        lambda: read_when("yesterday"),
    ):
        with pytest.raises(InputProblem):
            attempt()
    assert read_when("2026-11-04 10:30").startswith("2026-11-04T10:30:00")


# --- the command -------------------------------------------------------------------------------


def test_what_cannot_be_kept_is_told_before_anything_is_asked(tmp_path: Path) -> None:
    for what in ("small", "folder", "file above"):
        data, code = tmp_path / what / "data", ""
        data.parent.mkdir()
        if what == "file above":
            data.write_text("a file where the folder should be")
        elif what == "small":
            code = "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (1024, 1024)); "
        else:
            (data / "notebook.sqlite").mkdir(parents=True)
        exit_code, out, err = saw(data, typed=b"flakes\n10min\n\n\n", code=code)
        assert exit_code == 2 and out == "", err
        assert "it can't be written" in err and "Traceback" not in err
        assert "Seen (" not in err


def test_a_line_that_cannot_be_read_keeps_nobody_from_keeping_more(tmp_path: Path) -> None:
    data = tmp_path / "data"
    assert saw(data, *SAID)[0] == 0
    with sqlite3.connect(data / "notebook.sqlite") as file:
        file.execute("UPDATE entries SET line = '{}'")
    code, _, err = saw(data, *SAID)
    assert code == 0 and "By the labels alone" in err and "it is no entry" in err
    with sqlite3.connect(data / "notebook.sqlite") as file:
        assert file.execute("SELECT count(*) FROM entries").fetchone() == (2,)


def test_saw_keeps_an_entry_and_takes_in_earlier_ones(tmp_path: Path) -> None:
    data = tmp_path / "data"
    old_file(data)
    code, out, err = saw(data, *SAID, "--in", "jar", "--initials", "ab")
    assert code == 0, err
    kept, stood = out.splitlines()
    assert kept == f"Kept in {data / 'notebook.sqlite'}" and "1 earlier entries" in err
    assert stood == "The forecast gave it: over 19 in 20."
    book = Notebook(data / "notebook.sqlite")
    first, entry = book.entries()
    assert first.note == OLD_ROW["note"] and entry.note == "white curd"
    assert entry.seen[0].after_s == 600.0 and (entry.kind, entry.by) == ("jar", "ab")
    assert entry.ph[0].value == 6.4 and entry.ph[0].after_s == 0.0
    assert _same(entry.mix.reread(), read_mix(CURDLES))
    number = book.number_for(entry.mix.reread())
    code, _, err = saw(
        data, "--seen", "clear", "--after", "0", "--seen", "flakes", "--after", "2h",
        "--amends", entry.id[:8], mix=number,
    )  # fmt: skip
    assert code == 0, err
    assert [e.number for e in book.entries()] == [None, number]
    assert [s.after_s for s in book.entries()[1].seen] == [0.0, 7200.0]
