"""Everything poured stands in one table, and loads add up to rate times area."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chem.advice.pour import pour
from chem.errors import InputProblem
from chem.forecast import Study, forecast
from chem.sheets.blocks import as_text
from chem.sheets.forecast import forecast_sheet
from chem.sheets.forecast_data import forecast_json
from chem.sheets.pour import pour_json
from chem.sheets.tank import jugs, line_text
from chem.tank import Load, Mix, TankLine, change_mix, covered_m2, loads, read_mix, tank_amounts
from chem.units import read_area

ROOT = Path(__file__).parent.parent
EXAMPLES = ROOT / "examples"
FIVE = read_mix(EXAMPLES / "five-products.toml")
BUFFERED = read_mix(EXAMPLES / "acid-decides.toml")
ACRE_M2 = 4046.8564224
"""43,560 sq ft of 0.3048 m a side, exact by definition."""


def filled(mix: Mix) -> list[float]:
    """[mL] of each line by hand: liquids as they are, dry goods by 0.5 mL/g at most."""
    return [line.amount or 0.0 for line in loads(mix)[0].lines if not line.by_mass]


def test_everything_poured_stands_in_its_order() -> None:
    (load,) = loads(FIVE)
    assert [line.kind for line in load.lines] == [
        "water",
        *["product"] * 5,
        "adjuvant",
        "water",
    ]
    (load,) = loads(BUFFERED)
    kinds = [line.kind for line in load.lines]
    assert kinds[:2] == ["water", "agent"] and kinds[-1] == "water", "the buffer is an agent"
    assert kinds.count("product") == len(BUFFERED.additions) - 1


def test_the_tank_is_full_by_hand() -> None:
    """50 gal is 189.27 L; 125 + 50 + 75 + 50 fl oz of liquids are 8.872 L (29.5735 mL each)."""
    (load,) = loads(FIVE)
    assert load.litres == pytest.approx(189.2706, rel=1e-6)
    liquids = [line.amount for line in load.lines if line.kind == "product" and not line.by_mass]
    assert sum(a or 0.0 for a in liquids) == pytest.approx(300.0 * 29.5735, rel=1e-4)
    water = sum(line.amount or 0.0 for line in load.lines if line.kind == "water")
    adjuvant = next(line.amount for line in load.lines if line.kind == "adjuvant")
    # 0.25 % v/v of 189.27 L.
    assert adjuvant == pytest.approx(473.18, rel=1e-4)
    dry = next(line.amount or 0.0 for line in load.lines if line.by_mass)
    room = 189270.6 - water - 300.0 * 29.5735 - 473.18
    assert 0.2 < room / dry < 0.7, "dissolved solids take some room, less than their own bulk"


@given(
    gallons=st.floats(5.0, 400.0),
    acres=st.floats(0.05, 40.0),
    fill=st.sampled_from(["to mark", "water first"]),
)
@settings(max_examples=40, deadline=None)
def test_loads_sum_to_rate_times_area(gallons: float, acres: float, fill: str) -> None:
    mix = replace(FIVE, tank_L=gallons * 3.785411784, area_m2=acres * ACRE_M2, fill=fill)
    found = loads(mix)
    assert len(found) <= 2 and all(one.litres <= mix.tank_L * (1 + 1e-9) for one in found)
    assert sum(one.count * one.area_m2 for one in found) == pytest.approx(mix.area_m2, rel=5e-3)
    for i, addition in enumerate(mix.additions, start=1):
        if addition.rate.per != "area":
            continue
        total = sum(one.count * (one.lines[i].amount or 0.0) for one in found)
        assert total == pytest.approx(addition.rate.value * mix.area_m2, rel=5e-3)
    for one in found:
        liquids = sum(line.amount or 0.0 for line in one.lines if not line.by_mass) / 1000.0
        assert 0.97 * one.litres < liquids <= one.litres * (1 + 1e-9)
    if fill == "water first":
        water = sum(one.count * (one.lines[0].amount or 0.0) for one in found) / 1000.0
        assert water == pytest.approx(mix.carrier_L_per_m2 * mix.area_m2, rel=5e-3)


def test_an_area_of_two_acres_and_six_tenths() -> None:
    """2.6 acre at 2 gal/1000 sq ft: 113,256 sq ft x 2/1000 = 226.5 gal: 4 of 50 and 1 of 26.5."""
    mix = replace(FIVE, area_m2=read_area("2.6 acre", "test"))
    full, rest = loads(mix)
    assert (full.count, rest.count) == (4, 1)
    assert rest.litres / 3.785411784 == pytest.approx(26.512, abs=1e-3)
    exact = replace(mix, area_m2=4 * covered_m2(mix, mix.tank_L or 0.0))
    assert [one.count for one in loads(exact)] == [4]
    small = replace(mix, area_m2=1000.0)
    (one,) = loads(small)
    assert one.count == 1 and one.area_m2 == pytest.approx(1000.0)
    (whole,) = loads(replace(mix, tank_L=None))
    assert whole.litres / 3.785411784 == pytest.approx(226.512, abs=1e-3)


def test_the_sheet_and_json_have_a_column_for_each_load() -> None:
    mix = replace(FIVE, area_m2=read_area("2.6 acre", "test"))
    found = forecast(mix, study=Study(16, 1))
    told = json.loads(forecast_json(found))
    assert [one["count"] for one in told["loads"]] == [4, 1]
    assert told["tank"] == told["loads"][0]["tank"]
    kinds = [line["kind"] for line in told["tank"]]
    assert kinds == ["water", *["product"] * 5, "adjuvant", "water"]
    said = " ".join(as_text(forecast_sheet(found, "us")).split())
    assert "4 tanks of 50 gal and 1 tank of 26.5 gal for 2.6 acre" in said
    assert "each of 4: 125 fl oz the last: 66 fl oz" in said
    metric = as_text(forecast_sheet(found, "metric"))
    assert not any(word in metric for word in (" fl oz", " tsp", " gal", " F ", "sq ft"))
    assert forecast_json(replace(found, refused="sulfur_in_acid")).count('"kind"') == 0


def test_an_area_may_stand_in_the_file_or_be_asked(tmp_path: Path) -> None:
    text = (EXAMPLES / "stays-clear.toml").read_text(encoding="utf-8")
    path = tmp_path / "mix.toml"
    path.write_text(text.replace("[[add]]", 'area = "2.6 acre"\n\n[[add]]', 1), encoding="utf-8")
    mix = read_mix(path)
    assert mix.area_m2 == pytest.approx(2.6 * ACRE_M2)
    asked = change_mix(read_mix(EXAMPLES / "stays-clear.toml"), EXAMPLES, area="2.6 acre")
    assert loads(asked)[1].litres == pytest.approx(loads(mix)[1].litres)
    with pytest.raises(InputProblem, match="area"):
        change_mix(mix, EXAMPLES, area="2.6 gal")


def test_pour_tells_the_same_table_in_the_order_it_advises() -> None:
    found = pour(BUFFERED, count=16)
    told = json.loads(pour_json(found))["tank"]
    asked = forecast(BUFFERED, study=Study(16, 1)).loads[0]
    assert sorted(line["product"] for line in told) == sorted(x.product for x in asked.lines)
    assert [line["product"] for line in told if line["kind"] != "water"] == json.loads(
        pour_json(found)
    )["advised"]
    volume = sum(line.get("amount_mL") or 0.0 for line in told) / 1000.0
    assert volume == pytest.approx(BUFFERED.tank_L, rel=1e-6)


def test_an_adjuvant_without_a_rate_is_poured_at_its_labels() -> None:
    assert FIVE.adjuvant is not None
    mix = replace(FIVE, adjuvant=replace(FIVE.adjuvant, rate=None))
    line = loads(mix)[0].lines[-2]
    assert line.kind == "adjuvant" and line.amount is None
    assert line_text(line, "both") == "at its label's rate"
    assert sum(filled(mix)) > sum(filled(FIVE)) - 1000.0


@pytest.mark.parametrize(
    ("amount", "words"),
    [
        (9000.0, ""),
        (9463.5, ", 1 jug"),
        (9440.0, ", 1 jug"),
        (12420.7, ", 1 jug and 100 fl oz (2.96 L)"),
        (28390.6, ", 3 jugs"),
    ],
)
def test_amounts_are_told_in_jugs(amount: float, words: str) -> None:
    """A jug of 2.5 gal is 9463.5 mL; 100 fl oz are 2957.4 mL."""
    line = TankLine("Urea liquor, invented", amount, False, jug_mL=9463.53)
    assert jugs(line, "both") == words
    assert jugs(replace(line, jug_mL=None), "both") == ""


def test_amounts_of_a_tank_are_those_of_its_lines() -> None:
    for mix in (FIVE, BUFFERED, replace(FIVE, fill="water first")):
        (load,) = loads(mix)
        for line, amount in zip(load.lines[1:], tank_amounts(mix), strict=False):
            assert line.amount == pytest.approx(1000.0 * amount)
        assert isinstance(load, Load)
