"""At the tank: the jar at the sprayer's ratio, what was seen, the catch test."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from test_cli import jarsight

from chem.advice.jar import LARGEST_JAR_ML, jar, least_dose, measuring_step
from chem.errors import InputProblem
from chem.forecast import forecast, read_seen
from chem.notebook import Look, Notebook, Sighting, entry_of
from chem.sheets import as_html, as_text
from chem.sheets.jar import between, fumes, jar_sheet, look_text, notes, step_text
from chem.sheets.jar_data import jar_json
from chem.tank import by_area, by_speed, read_mix, tank_amounts, with_carrier, with_rate
from chem.units import read_area, read_carrier, read_length, read_speed, read_volume

ROOT = Path(__file__).parent.parent
EXAMPLES = sorted((ROOT / "examples").glob("*.toml"))


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_jar_times_scale_is_the_tank_and_every_product_at_its_ratio(path: Path) -> None:
    mix = read_mix(path)
    sheet = jar(mix, count=32)
    doses = [s for s in sheet.steps if s.product is not None]
    if mix.adjuvant is not None:
        assert doses.pop().product == mix.adjuvant.name
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
    water = sum(s.amount for s in sheet.steps if s.product is None)
    room = sum(s.amount for s in sheet.steps if s.product is not None and not s.by_mass)
    assert water + room == pytest.approx(sheet.jar_mL, rel=0.02)


def test_small_doses_make_a_larger_jar() -> None:
    mix = read_mix(ROOT / "examples" / "hazes-overnight.toml")
    small = jar(mix, size_mL=20.0, count=32)
    assert small.jar_mL > 20.0
    assert small.enlarged
    doses = [s for s in small.steps if s.product is not None]
    assert min(s.amount for s in doses) >= least_dose(False)
    for step, addition in zip(doses, mix.additions, strict=True):
        exact = addition.amount_per_L(mix.carrier_L_per_m2) * small.jar_mL / 1000.0
        assert step.amount == pytest.approx(exact, rel=0.02)


@pytest.mark.parametrize("factor", [2e-3, 1e-4, 3e-6])
def test_a_dose_too_small_for_any_jar_is_thinned_first(factor: float) -> None:
    mix = with_rate(read_mix(ROOT / "examples" / "five-products.toml"), 4, factor)
    mix = with_rate(mix, 0, factor)
    sheet = jar(mix, count=32)
    assert sheet.jar_mL == LARGEST_JAR_ML
    for index, unit in ((0, "1 g"), (4, "1 mL")):
        step, addition = sheet.steps[index + 1], mix.additions[index]
        exact = addition.amount_per_L(mix.carrier_L_per_m2) * sheet.jar_mL / 1000.0
        assert step.product == addition.product.name
        assert step.amount == pytest.approx(exact, rel=0.02)
        text = step_text(sheet, step, "both")
        poured, parts = re.match(rf"([\d.]+) mL of {unit} made up to (\d+) mL", text).groups()  # type: ignore[union-attr]
        assert float(poured) >= least_dose(False)
        assert float(poured) / float(parts) == pytest.approx(exact, rel=0.02)


def test_a_tank_filled_with_water_first_is_a_jar_filled_with_water_first() -> None:
    mix = replace(read_mix(ROOT / "examples" / "stays-clear.toml"), fill="water first")
    sheet = jar(mix, count=32)
    assert [s.product is None for s in sheet.steps] == [True, False, False, False]
    assert sheet.scale is not None
    for step, tank in zip(sheet.steps[1:], tank_amounts(mix), strict=True):
        assert step.amount * sheet.scale == pytest.approx(1000.0 * tank, rel=0.01)


def test_an_adjuvant_goes_in_by_the_volume_of_spray_not_by_area() -> None:
    """0.25 % v/v is 2.5 mL per litre whatever the carrier."""
    mix = read_mix(ROOT / "examples" / "five-products.toml")
    for factor in (1.0, 2.0):
        sheet = jar(with_carrier(mix, factor), count=32)
        step = sheet.steps[-2]
        assert step.product == "spreader"
        assert step.amount == pytest.approx(2.5e-3 * sheet.jar_mL, rel=0.02)
    assert mix.adjuvant is not None
    unrated = replace(mix, adjuvant=replace(mix.adjuvant, rate=None))
    assert jar(unrated, count=32).unrated == "spreader"


def test_jar_takes_the_best_order_on_demand() -> None:
    """The buffer's own label wants it first; poured last it meets curd (see the example)."""
    mix = read_mix(ROOT / "examples" / "acid-poured-last.toml")
    asked, best = jar(mix, count=32), jar(mix, order="best", count=32)
    assert asked.steps[-2].product == best.steps[1].product == mix.additions[2].product.name
    assert {s.product for s in asked.steps} == {s.product for s in best.steps}
    assert best.order == "best"
    same = jar(read_mix(ROOT / "examples" / "five-products.toml"), order="best", count=32)
    assert same.order == "asked_best"


def test_a_jar_that_may_fizz_is_never_shaken_or_closed() -> None:
    """GRDC, Spray Application Manual, module 7: a jar that builds pressure stays open."""
    fizzing = jar(read_mix(ROOT / "examples" / "alkali-decides.toml"), count=32)
    assert "never shake or close" in between(fizzing)
    amount = next(g.amount for g in fizzing.forecast.gases if g.key == "carbon_dioxide")
    assert amount is not None
    said = float(re.search(r"Up to (\d+) mL of gas", fumes(fizzing)[0]).group(1))  # type: ignore[union-attr]
    assert said == pytest.approx(amount * fizzing.jar_mL / 1000.0, rel=0.05)
    quiet = jar(read_mix(ROOT / "examples" / "stays-clear.toml"), count=32)
    assert "turn it over" in between(quiet) and not quiet.fumes


def test_looks_follow_the_clouding_times() -> None:
    result = jar(read_mix(ROOT / "examples" / "hazes-overnight.toml"), count=64)
    gypsum = next(s for s in result.forecast.solids if s.key == "gypsum")
    assert gypsum.clouds_after_s is not None and gypsum.clouds_after_s.median > 7200.0
    told = [look.minutes for look in result.looks if "gypsum" in look_text(look)]
    assert told and min(told) >= 240.0
    gel = jar(read_mix(ROOT / "examples" / "kelp-and-calcium.toml"), count=64)
    assert "alginate" in next(look_text(look) for look in gel.looks if look.minutes == 5.0)
    assert any("second jar" in note for note in notes(result, "both"))


def test_jar_sheet_says_what_practice_says() -> None:
    fizzing = read_mix(ROOT / "examples" / "alkali-decides.toml")
    sheet = jar(fizzing, count=32)
    text = " ".join(as_text(jar_sheet(sheet)).split())
    for words in (
        "Never shake or close it", "Never a food jar again", "After 15 min",
        "Overnight", "A strip should read", "jarsight saw", "jar test at the same ratio decides",
    ):  # fmt: skip
        assert words in text
    assert max(len(line) for line in as_text(jar_sheet(sheet)).splitlines()) <= 60
    assert "saw alkali-decides.toml" in text and "times this" in text and "wait 5 min" in text
    assert "<h2>Look</h2>" in as_html(jar_sheet(sheet))
    data = json.loads(jar_json(sheet))
    assert {"jar_mL", "steps", "look", "cautions"} <= set(data)
    assert {"minutes", "for"} == set(data["look"][0])
    assert {"product", "amount_mL", "kind", "text"} == set(data["steps"][0])


def test_saw_killed_while_asking_leaves_the_file_as_it_was(tmp_path: Path) -> None:
    result = forecast(read_mix(ROOT / "examples" / "curdles.toml"), count=32)
    book = Notebook(tmp_path / "notebook.sqlite")
    book.add(entry_of(result, Sighting((Look(word="haze", after_s=300.0),))))
    before = book.path.read_bytes()
    command = [sys.executable, "-m", "chem", "saw", "examples/curdles.toml", "--draws", "32"]
    running = subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT), "JARSIGHT_DATA": str(tmp_path)},
    )  # fmt: skip
    assert running.stdin is not None and running.stderr is not None
    running.stdin.write(b"flakes\n10min\n")
    running.stdin.flush()
    asked = b""
    while b"pH on the strip" not in asked:
        asked += running.stderr.read(1)
    running.kill()
    running.communicate()
    assert book.path.read_bytes() == before and len(book.entries()) == 1


def test_saw_asks_or_takes_options(tmp_path: Path) -> None:
    os.environ["JARSIGHT_DATA"] = str(tmp_path)
    try:
        done = jarsight(
            "saw", "examples/curdles.toml", "--seen", "flakes", "--after", "10min",
            "--ph", "6.4", "--note", "white curd", "--draws", "32",
        )  # fmt: skip
        asked = subprocess.run(
            [sys.executable, "-m", "chem", "saw", "examples/curdles.toml", "--draws", "32"],
            input="sparkling\nhaze\n2 parsecs\n2h\n\n\n", capture_output=True, text=True, cwd=ROOT,
            check=False,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
        )  # fmt: skip
        wrong = jarsight("saw", "examples/curdles.toml", "--seen", "sparkling", "--after", "10min",
                         "--ph", "", "--note", "")  # fmt: skip
    finally:
        del os.environ["JARSIGHT_DATA"]
    assert done.returncode == 0, done.stderr
    assert asked.returncode == 0, asked.stderr
    assert "not in the list of seen words" in asked.stderr
    assert wrong.returncode == 2 and "flakes" in wrong.stderr
    first, second = Notebook(tmp_path / "notebook.sqlite").entries()
    assert [[look.word for look in e.seen] for e in (first, second)] == [["flakes"], ["haze"]]
    assert [reading.value for reading in first.ph] == [6.4] and second.ph == ()
    assert first.note == "white curd" and second.note is None


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


def test_catch_test_against_published_worked_examples() -> None:
    """Each result within 1 % of the printed one."""
    # Spray gun: 77, 79 and 78 s over 200 ft of a 5 ft swath, 5.25 gal caught in 78 s is 5.25 gal
    # per 1000 sq ft or 228.7 gal/acre; hose-end: 250 sq ft in 20 s, 1.25 gal caught in 20 s is
    # 5 gal per 1000 sq ft (Pesticide Environmental Stewardship, North Carolina State University,
    # Calibration, Spray Gun; Hose-end Sprayer Calibration).
    gun = by_area([read_volume("5.25 gal", "t")], read_area("1000 sq ft", "t"))
    assert gun.carrier_L_per_m2 == pytest.approx(read_carrier("228.7 gal/acre", "t"), rel=0.01)
    hose = by_area([read_volume("1.25 gal", "t")], read_area("250 sq ft", "t"))
    assert hose.carrier_L_per_m2 == pytest.approx(read_carrier("5 gal/1000 sq ft", "t"), rel=0.01)
    # Bands: one tip gives 26 oz over 300 ft of a 12 inch band: 29.5 gal/acre; 16 oz over 300 ft of
    # a 15 inch band: 14.5 gal/acre (University of Florida, Sprayer calibration table for
    # band-spraying of herbicides). The speed cancels: 300 ft in 60 s.
    speed = read_length("300 ft", "t") / 60.0
    for ounces, inches, gallons in ((26, 12, 29.5), (16, 15, 14.5)):
        boom = by_speed(
            [read_volume(f"{ounces} fl oz", "t")], 60.0, read_length(f"{inches} in", "t"), speed
        )
        wanted = read_carrier(f"{gallons} gal/acre", "t")
        assert boom.carrier_L_per_m2 == pytest.approx(wanted, rel=0.01)
    # Knapsack: 46 m walked in a minute, swath 0.51 m, mean of five catches (1.2, 1.0, 1.0, 0.92,
    # 0.92 L/min, rounded there to 1.01): 430.5 L/ha (Calibration with knapsack sprayer, a
    # horticulture class's page, 2009).
    knapsack = by_speed([1.2, 1.0, 1.0, 0.92, 0.92], 60.0, 0.51, 46.0 / 60.0)
    assert knapsack.carrier_L_per_m2 == pytest.approx(430.52e-4, rel=0.01)


def test_a_gun_may_be_caught_for_less_time_than_the_area_takes() -> None:
    """The same gun as published, caught for 30 s only: 5.25 gal in 78 s is 2.019 gal in 30 s."""
    done = jarsight(
        "calibrate", "--catch", "2.019 gal", "--time", "30s", "--area", "1000 sq ft",
        "--sprayed-in", "78s", "--json",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)["carrier_L_per_m2"]
    assert found == pytest.approx(read_carrier("5.25 gal/1000 sq ft", "t"), rel=0.01)
    wrong = jarsight("calibrate", "--catch", "2 gal", "--area", "1000 sq ft", "--sprayed-in", "78s")
    assert wrong.returncode == 2 and "--time" in wrong.stderr
    for times in ({"caught_s": 30.0}, {"sprayed_s": 30.0}, {"caught_s": 0.0, "sprayed_s": 9.0}):
        with pytest.raises(ValueError, match="both times"):
            by_area([1.0], 10.0, **times)


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


def test_a_water_names_ions_as_its_report_does(tmp_path: Path) -> None:
    from chem.tank import read_water

    path = tmp_path / "w.toml"
    path.write_text(
        'name = "W"\n[ions]\ncalcium = "50 mg/L"\n"SO\u2084" = "10 mg/L"\n', encoding="utf-8"
    )
    assert set(read_water(path).ions) == {"Ca", "SO4"}
    path.write_text('name = "W"\n[ions]\ncalcium = "50 mg/L"\nCa = "50 mg/L"\n', encoding="utf-8")
    with pytest.raises(InputProblem, match="Ca is given twice"):
        read_water(path)


def test_saw_keeps_nothing_where_the_answers_end(tmp_path: Path) -> None:
    for typed in (b"", b"haze\n", b"haze\n2h\n", b"haze\n2h\n\n", b"\xff\xfe\n"):
        done = subprocess.run(
            [sys.executable, "-m", "chem", "saw", "examples/stays-clear.toml", "--draws", "16"],
            input=typed, capture_output=True, cwd=ROOT, check=False,
            env=os.environ | {"PYTHONPATH": str(ROOT), "JARSIGHT_DATA": str(tmp_path / "data")},
        )  # fmt: skip
        assert done.returncode == 2 and done.stdout == b""
        assert b"Traceback" not in done.stderr
    assert not (tmp_path / "data").exists()


def test_the_data_folder_without_a_home(monkeypatch: pytest.MonkeyPatch) -> None:
    from chem.notebook.seen import data_folder

    def homeless() -> Path:
        raise RuntimeError("no home")

    for name in ("JARSIGHT_DATA", "XDG_DATA_HOME", "APPDATA"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(Path, "home", staticmethod(homeless))
    with pytest.raises(InputProblem, match="JARSIGHT_DATA"):
        data_folder()
    monkeypatch.setenv("JARSIGHT_DATA", "here")
    assert data_folder() == Path("here")
