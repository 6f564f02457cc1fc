"""Between two tanks: rinses by hand, and what must not meet."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from chem.advice.rinse import rinses_needed, rinsing
from chem.cli.main import whole_app
from chem.sheets.blocks import as_text
from chem.sheets.rinse import rinse_json, rinse_sheet
from chem.tank import Mix, Sprayer, only, read_mix

EXAMPLES = Path(__file__).parent.parent / "examples"
CURD = read_mix(EXAMPLES / "calcium-and-potash.toml")
FIVE = read_mix(EXAMPLES / "five-products.toml")


@pytest.mark.parametrize(
    ("stays", "water", "rinses"),
    [(1.0, 5.0, 3), (1.0, 9.0, 2), (1.0, 99.0, 1), (2.0, 2.0, 7), (5.0, 0.5, 49)],
)
def test_rinses_by_hand(stays: float, water: float, rinses: int) -> None:
    """1 gal and 5 gal: 1/6, 1/36, 1/216 < 1/100; 1 and 9: 1/10, 1/100; halves: 2^-7 = 1/128;
    (10/11)^48 = 0.01031, (10/11)^49 = 0.00937."""
    assert rinses_needed(stays, water) == rinses
    share = stays / (stays + water)
    assert share**rinses <= 0.01 + 1e-12 < share ** (rinses - 1) + 1e-12


def test_nothing_is_no_amount() -> None:
    for pair in ((0.0, 1.0), (1.0, 0.0), (-1.0, 1.0), (float("inf"), 1.0)):
        with pytest.raises(ValueError, match="above zero"):
            rinses_needed(*pair)


def jug(folder: Path, name: str, source: str) -> Mix:
    (folder / f"{name}.toml").write_text(
        f'name = "{name}, invented"\ndensity = "1.2 kg/L"\nsources = ["{source}"]\n'
        f'[known]\n"{source}" = 20\n',
        encoding="utf-8",
    )
    path = folder / f"{name}-mix.toml"
    path.write_text(
        f'name = "{name}, invented"\nwater = "soft.toml"\ncarrier = "2 gal/1000 sq ft"\n'
        f'tank = "50 gal"\n[[add]]\nproduct = "{name}.toml"\nrate = "3 fl oz/1000 sq ft"\n',
        encoding="utf-8",
    )
    return read_mix(path)


def test_acid_and_thiosulfate_must_not_meet_even_in_the_sump(tmp_path: Path) -> None:
    sour, thio = (
        jug(tmp_path, "sour", "citric acid"),
        jug(tmp_path, "thio", "potassium thiosulfate"),
    )
    for one, other in ((sour, thio), (thio, sour)):
        found = rinsing(one, other, sump_L=3.785, count=16)
        told = json.loads(rinse_json(found))
        assert told["refused"] == "sulfur_in_acid" and "sulfur dioxide" in told["must_not_meet"][0]
        said = as_text(rinse_sheet(found)).splitlines()
        assert "These two must never meet: toxic gas." in said
        # 1 gal stays of 50, rinsed with a tenth of the tank: 3 times.
        assert told["rinses"] == 3
    bleach = jug(tmp_path, "white", "sodium hypochlorite")
    found = rinsing(bleach, sour, count=16)
    assert found.stops == "hypochlorite" and found.clouds is None
    assert "must never meet" in " ".join(as_text(rinse_sheet(found)).split())


def test_what_meets_in_a_hose_is_looked_at_in_equal_parts() -> None:
    calcium, potash = only(CURD, [0]), only(CURD, [1])
    found = rinsing(calcium, potash, count=16)
    assert found.clouds is not None and found.clouds > 0.5 > found.alone
    assert found.culprit is not None and "lime" in found.culprit
    assert found.rules == () and found.stops is None
    said = " ".join(as_text(rinse_sheet(found)).split())
    assert "solids show within 15 minutes" in said and "which nobody measured" in said
    assert [n for _, n in found.by_sump] == [2, 3, 5]
    same = rinsing(FIVE, FIVE, sump_L=1.0, count=16)
    assert same.rules == () and same.clouds == pytest.approx(same.alone, abs=1e-6)
    bare = replace(FIVE, tank_L=None)
    assert rinsing(bare, bare, sump_L=1.0, count=16).rinses is None or bare.tank_L


def test_the_sprayers_own_sump_is_taken() -> None:
    boom = Sprayer("boom", 0.08, 0.03, "2 gal/1000 sq ft", stays_in_sump_L=3.785)
    found = rinsing(replace(FIVE, sprayer=boom), FIVE, count=16)
    assert found.sump_L == 3.785 and found.rinses == 3 and found.by_sump == ()


def test_the_command_prints_and_asks_nothing() -> None:
    run = CliRunner().invoke
    files = [str(EXAMPLES / "stays-clear.toml"), str(EXAMPLES / "curdles.toml")]
    done = run(whole_app(), ["rinse", *files, "--sump", "1 gal", "--draws", "16", "--json"])
    assert done.exit_code == 0 and json.loads(done.stdout)["rinses"] >= 1
    metric = run(whole_app(), ["rinse", *files, "--draws", "16", "--units", "metric"]).stdout
    assert not any(word in metric for word in (" fl oz", " gal", " tsp"))


def test_a_sheets_number_or_quick_mixes_stand_for_either_tank(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "boom.toml").write_text(
        'name = "Boom"\ncarrier = "2 gal/1000 sq ft"\ntank = "50 gal"\nstays_in_sump = "1 gal"\n'
    )
    (tmp_path / "shed.toml").write_text('sprayers = ["boom.toml"]\nwater = "soft"\n')

    def said(*words: str, code: int = 0) -> str:
        done = CliRunner().invoke(whole_app(), [*words, "--draws", "16"])
        assert done.exit_code == code, done.output
        return " ".join(done.stdout.split())

    poured = said("pour", "--add", "urea liquor", "--json")
    number = json.loads(poured)["number"]
    assert number.endswith("-1")
    assert f"`jarsight saw {number}`" in said("pour", "--add", "urea liquor")
    assert "Kept" in said("saw", number, "--seen", "clear", "--after", "15min")
    assert "Kept" in said("saw", "--add", "urea liquor", "--seen", "clear", "--after", "15min")
    quick = said("rinse", "--had", "calcium nitrate", "--add", "8-8-8")
    by_number = said("rinse", number, "--add", "8-8-8")
    assert "once" in quick or "twice" in quick or "Rinse 3 times" in quick
    assert "Rinse: Quick mix, then Quick mix" in by_number
    # A leftover is named by its number, and the mix that takes it can be read again.
    (tmp_path / "next.toml").write_text(
        'name = "Next, invented"\n[[add]]\nproduct = "iron-edta.toml"\n'
        f'[[add]]\nleftover = "{number}"\namount = "10 gal"\n'
    )
    data = json.loads(said("jar", "next.toml", "--json"))
    assert data["number"] != number
    again = said("forecast", data["number"])
    assert "10 gal" in again and "Next, invented" in again
    # The tank sprayed last stays in the sump of the next, and its strength is remembered.
    assert "Kept" in said("sprayed", "--add", "8-8-8", "--quick")
    told = said("forecast", "--add", "calcium nitrate")
    assert "BEFORE YOU FILL" in told and "never with calcium nitrate" in told
    assert "stays in the sump (8-8-8 with orthophosphate, invented)" in told
    # 1 gal stays, 5 gal a rinse: 1/6, 1/36, 1/216 < 1/100.
    assert "Rinse 3 times first" in told
    assert "BEFORE YOU FILL" in said("pour", "--add", "calcium nitrate")
    assert "BEFORE YOU FILL" not in said("forecast", "--add", "8-8-8")
    assert "The strongest you have sprayed" in told
    twice = said("forecast", "--add", "8-8-8", "--carrier", "1 gal/1000 sq ft")
    # Half the carrier holds twice as much; a little more, for the water gives way to it.
    assert "this is 2.0 times that" in twice or "this is 2.1 times that" in twice
    data = json.loads(said("forecast", "--add", "8-8-8", "--json"))["salt"]
    assert data["strongest_sprayed_g_per_L"] == pytest.approx(
        data["dissolved_g_per_L"]["median"], rel=0.02
    )
    wrong = CliRunner().invoke(whole_app(), ["forecast", number, "--carrier", "1 gal/1000 sq ft"])
    assert "as it was printed" in str(wrong.exception)
