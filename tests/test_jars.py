"""The jar at the sink: several side by side, an acid ladder, what is written down where."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from chem.advice.agents import choose_agent
from chem.advice.jar import jar, jar_of, least_dose, least_error, strip
from chem.advice.ladder import STEPS, Ladder, ladder
from chem.cli.main import whole_app
from chem.doubts import Range, quantile
from chem.errors import InputProblem, ToxicGas
from chem.forecast import SEEN_WORDS, Study, forecast
from chem.sheets import as_html, as_text
from chem.sheets.jar import CANT_SAY, MEANS, TIMES, blanks, jar_sheet, ph_expected
from chem.sheets.jar_data import jar_json
from chem.sheets.jars import jars_json, jars_sheet
from chem.sheets.ladder import ladder_json, ladder_sheet
from chem.tank import grams_per_litre, read_mix, with_product, with_rate

ROOT = Path(__file__).parent.parent
EXAMPLES = ROOT / "examples"
METRIC_ONLY = re.compile(r"\b(fl oz|tsp|oz wt|gal|sq ft|acre|lb|drops)\b|\d F\b")


@pytest.fixture(scope="module")
def study() -> Study:
    return Study(32)


@pytest.fixture(scope="module")
def climbed(study: Study) -> Ladder:
    return ladder(read_mix(EXAMPLES / "five-products.toml"), choose_agent("citric acid"),
                  study=study)  # fmt: skip


def words(text: str) -> str:
    return " ".join(text.split())


def mix_file(folder: Path, *names: str, more: str = "") -> Path:
    lines = ['name = "Trial, invented"', 'water = "soft.toml"', 'carrier = "2 gal/1000 sq ft"']
    lines += ['tank = "50 gal"', 'temperature = "60 F"']
    for name in names:
        lines += ["[[add]]", f'product = "{name}.toml"', 'rate = "3 fl oz/1000 sq ft"']
    path = folder / "trial.toml"
    path.write_text("\n".join([*lines, more]), encoding="utf-8")
    return path


def test_a_jar_leaves_room_for_all_that_a_notebook_asks(study: Study) -> None:
    result = jar(read_mix(EXAMPLES / "five-products.toml"), study=study)
    left = blanks(result)
    for product in result.steps:
        assert product.product is None or f"lot of {product.product}" in left
    for look in ("0 min", "5 min", "15 min", "1 h", "4 h", "overnight"):
        assert f"look at {look}" in left and f"pH at {look}" in left
    assert left.index("first pour at") < left.index("last pour at, time zero")
    said = words(as_text(jar_sheet(result, number="J-0412-2")))
    assert "J-0412-2" in said and "wet edge" in said and "time zero" in said
    page = as_html(jar_sheet(result), number="J-0412-2")
    assert page.count('class="blank"') >= len(left) - 2
    data = json.loads(jar_json(result, number="J-0412-2"))
    assert data["number"] == "J-0412-2" and data["blanks"] == left
    assert data["jars"] == [] and data["ladder"] is None
    assert json.loads(jar_json(result))["number"] is None


def test_every_look_is_told_in_one_line() -> None:
    assert set(MEANS) == set(SEEN_WORDS)
    assert all(len(f"- {word}: {what}") <= 60 for word, what in MEANS.items())
    assert list(TIMES) == sorted(TIMES)


def test_a_wide_range_of_ph_says_nothing(study: Study) -> None:
    assert ph_expected(Range(5.0, 4.2, 5.8)) == CANT_SAY
    assert ph_expected(Range(5.0, 4.5, 5.9)) == "4.5 to 5.9"
    assert ph_expected(Range(float("nan"), float("nan"), float("nan"))) == CANT_SAY
    result = forecast(read_mix(EXAMPLES / "stays-clear.toml"), study=study)
    wide = jar_of(replace(result, ph=Range(5.0, 3.0, 7.0)))
    assert "can't say: read it" in words(as_text(jar_sheet(wide)))
    assert "should read 3" not in words(as_text(jar_sheet(wide)))


def test_what_a_syringe_can_measure_is_a_row_with_its_error() -> None:
    """ISO 7886-1: to 5 % of what is expelled from half of a small syringe on (value from memory).

    What a scale right to 0.02 g makes of half a gram is reckoned here.
    """
    assert least_dose(False) == 0.5 and least_error(False) == 5.0
    assert least_error(True) == pytest.approx(100.0 * 0.02 / least_dose(True))


@pytest.mark.parametrize("name", ["curdles", "five-products"])
def test_the_sheet_carries_every_broken_rule(name: str, study: Study) -> None:
    result = jar(read_mix(EXAMPLES / f"{name}.toml"), study=study)
    said = words(as_text(jar_sheet(result))).lower()
    rules = json.loads(jar_json(result))["rules_broken"]
    assert bool(rules) == (name == "curdles")
    for rule in rules:
        assert words(rule["sentence"]).lower() in said


def test_jars_at_other_rates_stand_in_one_size_and_proportion(study: Study) -> None:
    mix = read_mix(EXAMPLES / "five-products.toml")
    result = strip(mix, "rates", study=study)
    assert result.factors == (0.5, 1.0, 2.0)
    half, own, twice = result.jars
    assert half.jar_mL == own.jar_mL == twice.jar_mL
    for a, b, c in zip(half.steps, own.steps, twice.steps, strict=True):
        assert a.product == b.product == c.product
        if b.product is None or b.product == "spreader":  # by the volume of spray, not by area
            continue
        assert a.amount == pytest.approx(0.5 * b.amount, rel=0.02)
        assert c.amount == pytest.approx(2.0 * b.amount, rel=0.02)
    sheet = jars_sheet(result, numbers=("J-1", "J-2", "J-3"))
    said = words(as_text(sheet))
    assert "A, half the rates" in said and "C, twice the rates" in said and "J-2" in said
    # Half and twice the rates leave the label's range; the mix's own rates don't.
    assert "A: Magnesium" in said and "C: Micronutrient" in said
    data = json.loads(jars_json(result, numbers=("J-1", "J-2", "J-3")))
    assert [j["factor"] for j in data["jars"]] == [0.5, 1.0, 2.0]
    assert data["number"] == "J-2" and not data["rules_broken"]
    assert data["steps"] == data["jars"][1]["steps"]


def test_no_room_at_twice_the_rates_is_said(study: Study) -> None:
    mix = read_mix(EXAMPLES / "stays-clear.toml")
    heavy = with_rate(mix, 0, 0.6 / (mix.additions[0].amount_per_L(mix.carrier_L_per_m2) / 1000.0))
    result = strip(heavy, "rates", study=study)
    assert result.left_out == (2.0,) and len(result.jars) == 2
    assert "No jar at 2 times the rates" in words(as_text(jars_sheet(result)))


def test_jars_in_both_orders_or_one_that_says_none_is_better(study: Study) -> None:
    """The buffer's own label wants it first (see the example)."""
    result = strip(read_mix(EXAMPLES / "acid-poured-last.toml"), "orders", study=study)
    assert [j.order for j in result.jars] == ["asked", "best"]
    first = [next(s.product for s in j.steps if s.product) for j in result.jars]
    assert first[0] != first[1]
    said = words(as_text(jars_sheet(result)))
    assert "A, the mix's order" in said.replace("THE MIX'S ORDER", "the mix's order")
    one = strip(read_mix(EXAMPLES / "five-products.toml"), "orders", study=study)
    assert len(one.jars) == 1 and one.jars[0].order == "asked_best"
    assert as_text(jars_sheet(one)) == as_text(jar_sheet(one.jars[0]))


def test_a_rung_poured_into_the_tank_has_the_ph_it_says(climbed: Ladder, study: Study) -> None:
    mix = read_mix(EXAMPLES / "five-products.toml")
    assert mix.tank_L is not None and climbed.jar.scale is not None
    assert len(climbed.rungs) == STEPS + 1
    for rung in climbed.rungs[1::4]:
        # One part in ten of the stock is acid; the tank is so many times the jar.
        assert rung.in_jar == pytest.approx(0.1 * rung.stock_mL)
        assert rung.in_tank == pytest.approx(rung.in_jar * climbed.jar.scale)
        dosed = with_product(
            mix, climbed.reagent.product, grams_per_litre(rung.in_tank / mix.tank_L), 0
        )
        ph = quantile(study.stand(dosed).at(0.0).clear.ph, 0.5)
        assert rung.ph is not None and rung.ph.median == pytest.approx(ph, abs=0.01)
    medians = [r.ph.median for r in climbed.rungs if r.ph is not None]
    assert medians == sorted(medians, reverse=True)


def test_a_ladder_says_what_each_step_is_in_the_tank(climbed: Ladder) -> None:
    text = as_text(ladder_sheet(climbed, number="J-0412-3"))
    # 0.1 g in a jar of 757 mL is 25 g in 250 times as much; 28.35 g are an ounce.
    assert re.search(r"^1 +0\.88 oz wt \(25 g\)", text, re.M)
    assert re.search(r"^10 +8\.8 oz wt \(250 g\)", text, re.M)
    said = words(text)
    for part in ("never the water into the acid", "Goggles", "J-0412-3", "lot of citric acid"):
        assert part in said
    assert "Copper is in the mix" in said
    assert max(map(len, text.splitlines())) <= 60
    data = json.loads(ladder_json(climbed))
    steps = data["ladder"]["steps"]
    assert [s["stock_mL"] for s in steps] == list(range(STEPS + 1))
    assert steps[1]["in_tank"] == pytest.approx(25.0, rel=0.01) and steps[1]["unit"] == "g"


def test_a_liquid_acid_is_measured_by_volume(study: Study) -> None:
    found = ladder(
        read_mix(EXAMPLES / "stays-clear.toml"), choose_agent("sulfuric acid"), study=study
    )
    text = as_text(ladder_sheet(found))
    assert "10 mL of" in words(text) and re.search(r"^10 +[\d.]+ fl oz \([\d.]+ m?L\)", text, re.M)
    assert "licence" in text  # a strong acid, dosed only because it was named


def test_no_ladder_where_a_rule_forbids_acid(tmp_path: Path, study: Study) -> None:
    """S2O3-2 + 2 H+ = S + SO2 + H2O (Holleman-Wiberg, Inorganic Chemistry: value from memory)."""
    acid = choose_agent("citric acid")
    held = read_mix(mix_file(tmp_path, "potassium-thiosulfate-liquor"))
    refused = ladder(held, acid, study=study)
    assert refused.refused == "sulfur_in_acid" and not refused.rungs
    sheet = ladder_sheet(refused)
    said = words(as_text(sheet))
    assert sheet.answer[0].startswith("Toxic gas: no ladder") and "stock" not in said
    assert not re.search(r"\d ?(mL|g|fl oz|oz wt)\b", said)
    data = json.loads(ladder_json(refused))
    assert data["refused"] == "sulfur_in_acid" and data["ladder"]["steps"] == []
    assert data["rules_broken"]
    bleach = tmp_path / "sanitiser.toml"
    bleach.write_text(
        'name = "Sanitiser, invented"\ndensity = "1.2 kg/L"\nsources = ["sodium hypochlorite"]\n'
        '[known]\n"sodium hypochlorite" = 12\n'
    )
    with pytest.raises(ToxicGas):
        ladder(read_mix(mix_file(tmp_path, "sanitiser")), acid, study=study)
    shy = tmp_path / "shy.toml"
    shy.write_text(
        'name = "Shy liquor, invented"\ndensity = "1.2 kg/L"\nsources = ["urea"]\n'
        '[guarantee]\n"urea nitrogen" = 15\n[says]\nnever_with = ["citric acid"]\n'
    )
    with pytest.raises(InputProblem, match="label forbids"):
        ladder(read_mix(mix_file(tmp_path, "shy")), acid, study=study)


def test_a_jar_that_fizzes_with_the_acid_stays_open(study: Study) -> None:
    found = ladder(
        read_mix(EXAMPLES / "alkali-decides.toml"), choose_agent("citric acid"), study=study
    )
    said = words(as_text(ladder_sheet(found)))
    assert "Fizzes" in said and "Never close the jar" in said and "never shake or close" in said


def test_metric_sheets_hold_no_us_measure(climbed: Ladder, study: Study) -> None:
    mix = read_mix(EXAMPLES / "five-products.toml")
    sheets = (
        jar_sheet(jar(mix, study=study), "metric"),
        jars_sheet(strip(mix, "rates", study=study), "metric"),
        ladder_sheet(climbed, "metric"),
    )
    for sheet in sheets:
        assert not METRIC_ONLY.search(as_text(sheet)), METRIC_ONLY.search(as_text(sheet))


def test_commands_and_what_does_not_go_together(tmp_path: Path) -> None:
    mix = str(EXAMPLES / "stays-clear.toml")
    page = tmp_path / "jars.html"
    run, jarsight, few = CliRunner(), whole_app(), ["--draws", "16"]
    done = run.invoke(jarsight, ["jar", mix, "--jars", "rates", *few, "--html", str(page)])
    assert done.exit_code == 0 and "Jars side by side" in done.output
    assert page.read_text().count('class="blank"') > 20
    done = run.invoke(jarsight, ["jar", mix, "--ladder", "citric acid", *few, "--json"])
    assert json.loads(done.stdout)["ladder"]["agent"] == "citric acid"
    both = run.invoke(jarsight, ["jar", mix, "--ladder", "citric acid", "--jars", "orders"])
    assert isinstance(both.exception, InputProblem) and "one sheet" in str(both.exception)
