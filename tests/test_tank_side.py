"""At the tank: the jar at the sprayer's ratio, what was seen, the catch test."""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from test_cli import jarsight

from chem.advice.jar import jar, measuring_step
from chem.errors import InputProblem
from chem.forecast import forecast, read_seen
from chem.notebook import Sighting, record_sighting
from chem.sheets.blocks import as_html, as_text
from chem.sheets.jar import jar_json, jar_sheet
from chem.tank import by_area, by_speed, read_mix, tank_amounts
from chem.units import read_area, read_carrier, read_length, read_speed, read_volume

ROOT = Path(__file__).parent.parent
EXAMPLES = sorted((ROOT / "examples").glob("*.toml"))


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_jar_times_scale_is_the_tank_and_every_product_at_its_ratio(path: Path) -> None:
    mix = read_mix(path)
    sheet = jar(mix, count=32)
    doses = [s for s in sheet.steps if s.product != "water"]
    assert [s.product for s in doses] == [a.product.name for a in mix.additions]
    for step, addition in zip(doses, mix.additions, strict=True):
        exact = addition.amount_per_L(mix.carrier_L_per_m2) * sheet.jar_mL / 1000.0
        assert step.amount == pytest.approx(exact, rel=0.02)
        assert step.amount >= 0.5
        assert step.by_mass == addition.by_mass
    assert sheet.scale is not None
    for step, tank in zip(doses, tank_amounts(mix), strict=True):
        half_mark = 0.5 * measuring_step(step.amount) * sheet.scale
        assert abs(step.amount * sheet.scale - 1000.0 * tank) <= half_mark + 1e-6
    water = sum(s.amount for s in sheet.steps if s.product == "water")
    room = sum(s.amount for s in doses if not s.by_mass)
    assert water + room == pytest.approx(sheet.jar_mL, rel=0.02)


def test_small_doses_make_a_larger_jar() -> None:
    mix = read_mix(ROOT / "examples" / "hazes-overnight.toml")
    small = jar(mix, size_mL=20.0, count=32)
    assert small.jar_mL > 20.0
    assert any("larger jar" in n.lower() for n in small.notes)


def test_jar_sheet_says_what_practice_says() -> None:
    fizzing = read_mix(ROOT / "examples" / "alkali-decides.toml")
    sheet = jar(fizzing, count=32)
    text = " ".join(as_text(jar_sheet(sheet)).split())
    for words in (
        "Never shake or close a jar that fizzes", "Never a food jar again", "After 15 min",
        "After 24 h", "A strip should read", "jarsight saw", "jar test at the same ratio decides",
    ):  # fmt: skip
        assert words in text
    assert max(len(line) for line in as_text(jar_sheet(sheet)).splitlines()) <= 60
    assert "<h2>Look</h2>" in as_html(jar_sheet(sheet))
    data = json.loads(jar_json(sheet))
    assert {"jar_mL", "steps", "look", "cautions"} <= set(data)
    assert {"minutes", "for"} == set(data["look"][0])
    assert {"product", "amount_mL", "text"} == set(data["steps"][0])


def test_saw_keeps_whole_lines(tmp_path: Path) -> None:
    result = forecast(read_mix(ROOT / "examples" / "curdles.toml"), count=32)
    for i in range(3):
        path = record_sighting(result, Sighting(("flakes",), 5.0 + i, 6.4, 'a "note",\n'), tmp_path)
    rows = list(csv.DictReader(path.open(encoding="utf-8")))
    assert [r["after_min"] for r in rows] == ["5", "6", "7"]
    assert rows[0]["seen"] == "flakes" and rows[0]["note"] == 'a "note",'
    assert rows[0]["answer"] == "curdle" and "data " in rows[0]["versions"]


def test_saw_asks_or_takes_options(tmp_path: Path) -> None:
    os.environ["JARSIGHT_DATA"] = str(tmp_path)
    try:
        done = jarsight(
            "saw", "examples/curdles.toml", "--seen", "flakes", "--after", "10min",
            "--ph", "6.4", "--note", "white curd", "--draws", "32",
        )  # fmt: skip
        asked = subprocess.run(
            [sys.executable, "-m", "chem", "saw", "examples/curdles.toml", "--draws", "32"],
            input="haze\n2h\n\n\n", capture_output=True, text=True, cwd=ROOT, check=False,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
        )  # fmt: skip
        wrong = jarsight("saw", "examples/curdles.toml", "--seen", "milky", "--after", "10min",
                         "--ph", "", "--note", "")  # fmt: skip
    finally:
        del os.environ["JARSIGHT_DATA"]
    assert done.returncode == 0, done.stderr
    assert asked.returncode == 0, asked.stderr
    assert wrong.returncode == 2 and "flakes" in wrong.stderr
    rows = list(csv.DictReader((tmp_path / "seen.csv").open(encoding="utf-8")))
    assert [r["seen"] for r in rows] == ["flakes", "haze"]
    assert rows[1]["ph"] == ""


def test_words_seen_are_one_list() -> None:
    assert read_seen("Haze, gel", "seen") == ("haze", "gel")
    with pytest.raises(InputProblem, match="one or the other"):
        read_seen("clear haze", "seen")


def test_catch_test_against_published_rules() -> None:
    """1/128 acre: fluid ounces caught are gallons per acre (Larimer County, CO, extension).

    Boom: GPM per nozzle = GPA x mph x W / 5940, W in inches; L/min = L/ha x km/h x W / 600,
    W in metres (extension sprayer calibration guides; common practice).
    """
    square = read_length("18.5 ft", "t") ** 2
    exact = read_area("1 acre", "t") / 128.0
    assert square == pytest.approx(exact, rel=0.01)
    found = by_area([read_volume("40 fl oz", "t")], exact)
    assert found.carrier_L_per_m2 == pytest.approx(read_carrier("40 gal/acre", "t"), rel=0.01)
    gallons = 20.0 * 4.0 * 20.0 / 5940.0
    boom = by_speed(
        [gallons * 3.785411784], 60.0, read_length("20 in", "t"), read_speed("4 mph", "t")
    )
    assert boom.carrier_L_per_m2 == pytest.approx(read_carrier("20 GPA", "t"), rel=0.01)
    litres = 400.0 * 6.0 * 0.5 / 600.0
    metric = by_speed([litres], 60.0, 0.5, read_speed("6 km/h", "t"))
    assert metric.carrier_L_per_m2 == pytest.approx(read_carrier("400 L/ha", "t"), rel=0.01)
    assert 0.02 < boom.relative_error < 0.06


def test_uneven_nozzles_and_impossible_catches() -> None:
    assert by_area([1.0, 1.0, 1.0, 1.3], 10.0).uneven[0][0] == 3
    for bad in ([], [0.0], [float("nan")]):
        with pytest.raises(ValueError, match="above zero"):
            by_area(bad, 10.0)


def test_a_mix_can_name_a_kept_catch_test(tmp_path: Path) -> None:
    kept = tmp_path / "sprayer.toml"
    done = jarsight(
        "calibrate", "--catch", "43 fl oz, 44 fl oz, 45 fl oz", "--area", "340.3 sq ft",
        "--out", str(kept),
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    text = (ROOT / "examples" / "curdles.toml").read_text(encoding="utf-8")
    line = next(x for x in text.splitlines() if x.startswith("carrier"))
    (tmp_path / "mix.toml").write_text(text.replace(line, 'carrier = "sprayer.toml"'))
    mix = read_mix(tmp_path / "mix.toml")
    assert mix.carrier_L_per_m2 == pytest.approx(read_carrier("44 GPA", "t"), rel=0.01)
    assert mix.carrier_error is not None
    missing = jarsight("calibrate", "--catch", "43 fl oz")
    assert missing.returncode == 2 and "--speed" in missing.stderr
