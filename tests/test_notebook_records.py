"""Spray records: what is asked, remembered, summed and printed."""

from __future__ import annotations

import csv
import io
import json
from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner

from chem.cli.main import whole_app
from chem.errors import InputProblem
from chem.notebook import Entry, Notebook, Sprayed, kept_mix
from chem.notebook.search import search
from chem.notebook.season import LB_PER_1000_SQ_FT, LB_PER_ACRE, read_cap, season
from chem.notebook.written import read_left
from chem.sheets.blocks import as_text
from chem.sheets.records import list_sheet, season_csv, season_json, season_sheet
from chem.shelf.pairs import TAUGHT
from chem.tank import delivered_kg_per_ha, nitrogen_forms_kg_per_ha, read_mix

ROOT = Path(__file__).parent.parent
FIVE, CLEAR = ROOT / "examples" / "five-products.toml", ROOT / "examples" / "stays-clear.toml"


def entry(n: int, mix: Path, day: str, site: str | None, **told: str) -> Entry:
    return Entry(
        id=f"{n:016x}", by="ab", at=f"{day}T08:00:00+00:00", amends=None, kind="sprayed",
        number=None, mix=kept_mix(read_mix(mix)), seen=(), ph=(),
        sprayed=Sprayed(site=site, through=True, **told), forecast=None, versions={}, note=None,
    )  # fmt: skip


@pytest.fixture(scope="module")
def entries() -> list[Entry]:
    return [
        entry(2, CLEAR, "2026-05-02", "4 green", who="=SUM(A1)", wind="4 mph SW"),
        entry(1, FIVE, "2026-04-01", "4 green", area="6000 sq ft", used="12 gal"),
        entry(3, FIVE, "2026-06-01", "fairways", area="6000 sq ft", used="24 gal"),
    ]


def test_sums_are_those_of_the_labels(entries: list[Entry]) -> None:
    found = season(entries, caps=[read_cap("N=3 lb/1000 sq ft"), read_cap("iron=0.1 kg/ha")])
    assert [r.entry.id[-1] for r in found.rows] == ["1", "2", "3"]
    five, clear = read_mix(FIVE), read_mix(CLEAR)
    first, second, third = found.rows
    put = delivered_kg_per_ha(five)
    share = 12.0 * 3.785411784 / (6000.0 * 0.09290304) / five.carrier_L_per_m2
    assert first.put_down is not None and third.put_down is not None
    assert first.put_down["N"] == pytest.approx(share * put["N"], rel=1e-6)
    assert third.put_down["N"] == pytest.approx(2.0 * first.put_down["N"], rel=1e-9)
    assert second.so_far["N"] == pytest.approx(
        first.put_down["N"] + delivered_kg_per_ha(clear)["N"], rel=1e-9
    )
    forms = nitrogen_forms_kg_per_ha(clear)
    assert sum(forms.values()) == pytest.approx(delivered_kg_per_ha(clear)["N"], rel=1e-6)
    assert second.put_down is not None
    assert second.put_down["N urea"] == pytest.approx(forms["urea nitrogen"])
    assert [(site, cap.nutrient) for site, cap in found.over] == [
        ("4 green", "Fe"), ("fairways", "Fe"),
    ]  # fmt: skip
    only = season(entries, site="4 Green", first=date(2026, 4, 2), last=date(2026, 5, 2))
    assert [r.entry.id[-1] for r in only.rows] == ["2"]


def test_units_of_the_sums_are_those_of_the_trade() -> None:
    """1 lb/1000 sq ft is 43.56 lb/acre and 48.8 kg/ha (NIST Handbook 44, appendix C: 1 acre is
    43,560 sq ft, 1 lb 0.45359237 kg, 1 ha 107,639 sq ft)."""
    assert pytest.approx(43.56, rel=1e-4) == LB_PER_1000_SQ_FT / LB_PER_ACRE
    assert pytest.approx(0.45359237 * 107.639, rel=1e-4) == LB_PER_1000_SQ_FT
    assert read_cap("N=1 lb/1000 sq ft").kg_per_ha == pytest.approx(LB_PER_1000_SQ_FT, rel=1e-6)
    for wrong in ("N", "N=4 gal/acre", "gold=1 lb/acre", "N=plenty"):
        with pytest.raises(InputProblem):
            read_cap(wrong)


def test_what_is_printed_and_exported(entries: list[Entry]) -> None:
    found = season(entries, caps=[read_cap("N=9 lb/1000 sq ft")])
    text = as_text(season_sheet(found))
    lines = " ".join(text.split())
    assert "3 tanks sprayed." in lines and "Within the caps you entered" in lines
    assert "Yours may differ: ask." in lines and "ALL AT 4 GREEN" in lines
    data = json.loads(season_json(found))
    assert data["rows"][0]["area"] == "6000 sq ft" and set(data["totals"]) == {
        "4 green", "fairways",
    }  # fmt: skip
    rows = list(csv.DictReader(io.StringIO(season_csv(found))))
    assert rows[1]["who"] == "'=SUM(A1)"  # no spreadsheet reckons what somebody typed
    assert float(rows[0]["N kg/ha"]) == pytest.approx(data["rows"][0]["kg_per_ha"]["N"], rel=1e-5)
    assert [e.id[-1] for e in search(entries, ["urea", "mph"])] == ["2"]
    assert "3 entries." in as_text(list_sheet(entries))


def test_the_commands_keep_and_tell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("DATA", "CACHE"):
        monkeypatch.setenv(f"JARSIGHT_{name}", str(tmp_path / name.lower()))
    book = tmp_path / "notebook.sqlite"
    monkeypatch.setenv("JARSIGHT_NOTEBOOK", str(book))
    run = CliRunner()

    def jarsight(*words: str, typed: str = "") -> str:
        done = run.invoke(whole_app(), list(words), input=typed)
        assert done.exit_code == 0, (done.output, done.exception)
        return done.stdout

    few = ("--draws", "16")
    jarsight(
        "sprayed", str(CLEAR), *few, "--site", "4 green", "--area", "6000 sq ft", "--who", "ab",
        "--equipment", "boom", "--screens", "yes", "--quick",
    )  # fmt: skip
    typed = "5 green\n\n12 gal\n2 gal\n\n-\n2026-11-04 07:30\n\n\n\n\nflakes\n"
    told = json.loads(jarsight("sprayed", str(CLEAR), *few, "--json", typed=typed))
    first, second = Notebook(book).entries()
    assert second.id == told["entry"] and first.sprayed is not None and second.sprayed is not None
    assert (first.sprayed.screens, second.sprayed.screens) == ("clean", "flakes")
    assert (second.sprayed.site, second.sprayed.used) == ("5 green", "12 gal")
    assert (second.sprayed.who, second.sprayed.equipment) == ("ab", "boom")  # remembered
    assert second.sprayed.licence is None and second.sprayed.area is None
    begun = jarsight("sprayed", str(CLEAR), *few, "--quick", "--site", "3 green", "--left", "0 gal",
                     "--start", "2019-05-04 07:30")  # fmt: skip
    assert "Kept in" in begun
    third = Notebook(book).entries()[-1]
    assert third.sprayed is not None and third.sprayed.left == "0 gal"
    assert "4 May 2019" in jarsight("notebook", "list", "3 green")
    assert "5 GREEN" in jarsight("notebook", "season", "--site", "5 green")
    assert "1 entry." in jarsight("notebook", "list", "flakes")
    number = json.loads(jarsight("jar", str(CLEAR), *few, "--json"))["number"]
    assert number.endswith("-1")
    jarsight("saw", number, "--seen", "clear", "--after", "4h", "--in", "jar", *few)
    sheet = " ".join(jarsight("forecast", str(CLEAR), *few).split())
    assert f"({number}): clear after 4 h." in sheet and "Jar passed" in sheet
    alone = json.loads(jarsight("forecast", str(CLEAR), *few, "--json", "--no-notebook"))
    assert alone["learned"] == []
    out = tmp_path / "all.json"
    jarsight("notebook", "export", "--out", str(out))
    other = ("--notebook", str(tmp_path / "other.sqlite"))
    assert "4 entries taken in" in jarsight("notebook", "import", str(out), *other)
    assert "0 entries taken in, 4 were here" in jarsight("notebook", "import", str(out), *other)
    assert "4 entries can be read." in jarsight("notebook", "check")
    far = jarsight("saw", number, "--seen", "clear", "--after", "0", "--ph", "13", *few)
    assert "Read wrong?" in far and "--amends" in far
    assert json.loads(jarsight("notebook", "next", "--json"))["kind"] in ("jar", "reading")
    jug = str(ROOT / "data/demo/products/urea-liquor.toml")
    jarsight("saw", jug, "--density", "1.13 kg/L", "--ec", "0.5 mS/cm at 1 %", "--lot", "B7")
    jarsight("saw", str(CLEAR), "--jug-ph", "edta=6.5", *few)  # nothing is asked
    told = json.loads(jarsight("forecast", str(CLEAR), *few, "--json"))["learned"]
    assert sum("goes by it" in x["sentence"] for x in told) == 2
    aims = ("shelf", "--in", "demo", "--carrier", "2 gal/1000 sq ft", "--alone", *few, "--json")
    each = [json.loads(jarsight(*aims, *more)) for more in ((), ("--no-notebook",))]
    assert [TAUGHT in one["notes"] for one in each] == [True, False]
    for wrong in (("--density", "B7=1.13 kg/L"), ("--ec", "urea=wet"), ("--density", "heavy")):
        done = run.invoke(whole_app(), ["saw", jug, *wrong])
        assert isinstance(done.exception, InputProblem), done.exception
    none = run.invoke(whole_app(), ["notebook", "list", "--notebook", str(tmp_path / "none")])
    assert isinstance(none.exception, InputProblem)


@pytest.mark.parametrize(
    ("text", "litres"), [("0", 0.0), ("none", 0.0), ("0 gal", 0.0), ("2 L", 2.0)]
)
def test_nothing_is_left_in_a_tank_that_was_sprayed_out(text: str, litres: float) -> None:
    assert read_left(text, "left") == litres


def test_a_ladder_alone_asks_nothing_and_one_that_teaches_nothing_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("DATA", "CACHE"):
        monkeypatch.setenv(f"JARSIGHT_{name}", str(tmp_path / name.lower()))
    book = tmp_path / "notebook.sqlite"
    words = [
        "saw",
        str(CLEAR),
        "--draws",
        "16",
        "--notebook",
        str(book),
        "--ladder",
        "0:5, 1 g:4.2",
    ]
    run = CliRunner()
    done = run.invoke(whole_app(), [*words, "--ladder-with", "citric acid", "--ladder-jar", "1 L"])
    assert done.exit_code == 0 and "teach nothing" not in done.output, done.output
    done = run.invoke(whole_app(), [*words, "--ladder-with", "magic", "--ladder-jar", "1 L"])
    assert done.exit_code == 0 and "teach nothing" in done.output, done.output
    done = run.invoke(whole_app(), [*words[:-2], "--ph", "5.2"], input="\n\n")
    assert done.exit_code == 0, done.output
    entries = Notebook(book).entries()
    assert [len(e.ph) for e in entries] == [2, 2, 1] and not any(e.seen for e in entries)
