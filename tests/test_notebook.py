"""The notebook: a look keeps the whole mix as read, and earlier lines stay readable."""

from __future__ import annotations

import csv
import errno
import hashlib
import io
import json
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from chem.errors import InputProblem
from chem.forecast import Forecast, forecast
from chem.notebook import (
    Entry,
    KeptMix,
    Sighting,
    kept_mix,
    must_be_writable,
    read_looks,
    record_sighting,
)
from chem.notebook.seen import OLD_HEADER
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


def saw(data: Path, *words: str, typed: bytes = b"", code: str = "") -> tuple[int, str, str]:
    run = "import sys; sys.argv[0] = 'jarsight'; from chem.cli.main import run; run()"
    done = subprocess.run(
        [sys.executable, "-c", code + run, "saw", str(CURDLES), "--draws", "16", *words],
        input=typed, capture_output=True, cwd=ROOT, check=False,
        env=os.environ | {"PYTHONPATH": str(ROOT), "JARSIGHT_DATA": str(data)},
    )  # fmt: skip
    return done.returncode, done.stdout.decode(), done.stderr.decode()


SAID = ("--seen", "flakes", "--after", "10min", "--ph", "6.4", "--note", "white curd")


def test_a_look_is_one_json_line_of_the_contract(tmp_path: Path, curdled: Forecast) -> None:
    note = 'a "note",\n\u2028 of two lines'
    for i in range(3):
        path = record_sighting(curdled, Sighting(("flakes", "grit"), 5.0 + i, 6.4, note), tmp_path)
    lines = path.read_bytes().split(b"\n")
    assert path.name == "seen.jsonl" and len(lines) == 4 and lines[-1] == b""
    data = json.loads(lines[2])
    assert {"id", "by", "at", "amends", "kind", "number", "mix", "seen", "ph", "sprayed",
            "forecast", "versions"} <= set(data)  # fmt: skip
    assert {"files", "lots", "rates", "order", "water", "carrier", "tank", "area",
            "temperatures"} <= set(data["mix"])  # fmt: skip
    assert data["seen"] == [
        {"word": "flakes", "after_s": 420.0}, {"word": "grit", "after_s": 420.0},
    ]  # fmt: skip
    assert set(data["ph"][0]) == {"value", "instrument", "step", "after_s", "t_C"}
    assert data["ph"][0]["value"] == 6.4 and data["ph"][0]["after_s"] is None
    assert data["by"] is data["amends"] is data["kind"] is data["number"] is data["sprayed"] is None
    assert data["mix"]["lots"] == [None, None] and data["note"] == note
    for file in data["mix"]["files"]:
        assert hashlib.sha256(file["text"].encode()).hexdigest() == file["hash"]
    assert data["forecast"]["for"] == "4h" and data["forecast"]["answer"] == "curdle"
    assert data["forecast"]["probability"] == dict(curdled.probability)
    assert data["forecast"]["ph"] == curdled.ph.as_dict()
    assert data["versions"] == dict(curdled.versions)
    assert len({json.loads(line)["id"] for line in lines[:3]}) == 3


def test_entries_come_back_as_they_were_kept(tmp_path: Path, curdled: Forecast) -> None:
    path = record_sighting(curdled, Sighting(("haze",), 5.0, None, ""), tmp_path)
    looks = read_looks(tmp_path)
    (entry,) = looks.entries
    assert looks.unread == () and entry.line() == path.read_bytes()
    assert Entry.model_validate_json(entry.line()) == entry
    later = json.loads(entry.line()) | {"weather": "dry"}
    kept = Entry.model_validate_json(json.dumps(later))
    assert json.loads(kept.line())["weather"] == "dry"


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
    assert [f.what for f in mix.files] == ["mix", "catch test", "water", *["product"] * 5]
    line = kept_mix(mix).model_dump_json()
    shutil.rmtree(shed)
    empty = tmp_path / "empty"
    empty.mkdir()
    monkeypatch.chdir(empty)
    monkeypatch.setattr("chem.files.reading.data_folder", lambda: empty)
    kept = KeptMix.model_validate_json(line)
    again = kept.reread()
    assert _same(mix, again) and not list(empty.iterdir())
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
    record_sighting(result, Sighting(("clear",), 5.0, None, ""), tmp_path)
    (entry,) = read_looks(tmp_path).entries
    assert entry.mix.files[1].text == before
    changed = change_mix(result.mix, ROOT, water="soft")
    assert [f.name for f in changed.files] == ["mix.toml", "soft.toml", "urea.toml"]


def test_lines_of_an_earlier_version_stay_and_are_read(tmp_path: Path, curdled: Forecast) -> None:
    bare = OLD_ROW | {"ph": "", "note": "", "worst_solid": "", "chance": "nan"}
    old = old_file(tmp_path, OLD_ROW, bare)
    path = record_sighting(curdled, Sighting(("haze",), 5.0, None, ""), tmp_path)
    record_sighting(curdled, Sighting(("gel",), 6.0, None, ""), tmp_path)
    assert path.name == "seen.csv" and path.read_bytes().startswith(old)
    looks = read_looks(tmp_path)
    assert looks.unread == ()
    first, second, third, fourth = looks.entries
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
    assert Entry.model_validate_json(first.line()) == first
    assert [e.seen[0].word for e in (third, fourth)] == ["haze", "gel"]
    assert _same(third.mix.reread(), curdled.mix)
    with pytest.raises(InputProblem, match="were not kept"):
        first.mix.reread()


def test_a_line_cut_short_does_not_swallow_the_next(tmp_path: Path, curdled: Forecast) -> None:
    path = record_sighting(curdled, Sighting(("haze",), 5.0, None, "first"), tmp_path)
    whole = path.read_bytes()
    path.write_bytes(whole + whole[:200])
    record_sighting(curdled, Sighting(("grit",), 6.0, None, "second"), tmp_path)
    assert path.read_bytes().startswith(whole + whole[:200] + b"\n{")
    looks = read_looks(tmp_path)
    assert [e.note for e in looks.entries] == ["first", "second"]
    (cut,) = looks.unread
    assert cut.read.endswith("seen.jsonl`, line 2")
    old = old_file(tmp_path / "old")
    (tmp_path / "old" / "seen.csv").write_bytes(old + b"2026-01-01,half a li\n\xff\n")
    looks = read_looks(tmp_path / "old")
    assert len(looks.entries) == 1 and len(looks.unread) == 2
    assert read_looks(tmp_path / "nowhere") == replace(looks, entries=(), unread=())


@pytest.mark.parametrize("what", ["full", "small", "folder", "file above"])
def test_what_cannot_be_kept_is_told_before_anything_is_asked(tmp_path: Path, what: str) -> None:
    data, code = tmp_path / "data", ""
    if what == "file above":
        data.write_text("a file where the folder should be")
        data = data / "jarsight"
    elif what == "small":  # as a full disk answers: no file may grow beyond a kilobyte
        code = "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (1024, 1024)); "
    else:
        data.mkdir()
        if what == "full":
            (data / "seen.jsonl").symlink_to("/dev/full")
        else:
            (data / "seen.jsonl").mkdir()
    for typed, words in ((b"flakes\n10min\n\n\n", ()), (b"", SAID)):
        exit_code, out, err = saw(data, *words, typed=typed, code=code)
        assert exit_code == 2 and out == "", err
        assert "it can't be written" in err and "Traceback" not in err
        assert "Seen (" not in err


def test_trying_the_disk_leaves_nothing(
    tmp_path: Path, curdled: Forecast, monkeypatch: pytest.MonkeyPatch
) -> None:
    must_be_writable(curdled, tmp_path / "a" / "b")
    assert not list(tmp_path.iterdir())
    path = record_sighting(curdled, Sighting(("haze",), 5.0, None, ""), tmp_path)
    before = path.read_bytes()
    must_be_writable(curdled, tmp_path)

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputProblem, match="No space left"):
        must_be_writable(curdled, tmp_path)
    assert path.read_bytes() == before and [p.name for p in tmp_path.iterdir()] == ["seen.jsonl"]


def test_saw_keeps_an_entry(tmp_path: Path) -> None:
    code, out, err = saw(tmp_path / "data", *SAID)
    assert code == 0, err
    kept, stood = out.splitlines()
    assert kept == f"Kept in {tmp_path / 'data' / 'seen.jsonl'}"
    assert stood == "The forecast gave it: over 19 in 20."
    (entry,) = read_looks(tmp_path / "data").entries
    assert entry.note == "white curd" and entry.seen[0].after_s == 600.0
    assert _same(entry.mix.reread(), read_mix(CURDLES))
