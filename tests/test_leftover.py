"""Yesterday's rest in today's tank: mass by hand, nothing of it lost, no rule passed by."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from chem.advice.agents import choose_agent
from chem.advice.jar import jar
from chem.advice.ph import adjust
from chem.advice.pour import pour
from chem.errors import InputProblem, ToxicGas
from chem.forecast import Study, forecast, rules_of
from chem.sheets.blocks import as_text
from chem.sheets.forecast import forecast_blocks, forecast_sheet
from chem.sheets.page.pouring import pouring
from chem.sheets.pour import pour_sheet
from chem.sheets.tank import rows
from chem.sheets.why import why_sheet
from chem.tank import Leftover, Mix, loads, read_mix

EXAMPLES = Path(__file__).parent.parent / "examples"
GYPSUM = read_mix(EXAMPLES / "hazes-overnight.toml")
CLEAR = read_mix(EXAMPLES / "stays-clear.toml")
CURD = read_mix(EXAMPLES / "calcium-and-potash.toml")
DRAWS = 32


def topped(mix: Mix, earlier: Mix, share: float, hours: float = 0.0) -> Mix:
    return replace(mix, leftovers=(Leftover(earlier, share, 3600.0 * hours),))


def test_a_leftover_of_nothing_is_the_plain_mix() -> None:
    study = Study(DRAWS, 1)
    plain, empty = (forecast(m, study=study) for m in (GYPSUM, topped(GYPSUM, CURD, 0.0, 24)))
    for t in plain.probability:
        assert empty.probability[t] == pytest.approx(plain.probability[t], abs=1e-9)
    assert empty.ph.median == pytest.approx(plain.ph.median, abs=1e-9)
    for key, value in plain.totals_mol_per_L.items():
        assert empty.totals_mol_per_L[key] == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize("mix", [GYPSUM, CURD, CLEAR], ids=lambda m: m.file)
def test_a_tank_topped_with_its_fresh_self_has_the_same_odds(mix: Mix) -> None:
    study = Study(DRAWS, 1)
    plain, other = (forecast(m, study=study) for m in (mix, topped(mix, mix, 0.4)))
    for t in plain.probability:
        assert other.probability[t] == pytest.approx(plain.probability[t], abs=1e-6)
        assert other.clogs[t] == pytest.approx(plain.clogs[t], abs=1e-6)
    assert other.ph.median == pytest.approx(plain.ph.median, abs=1e-6)
    assert other.answer == plain.answer


def test_what_is_left_counts_by_its_share() -> None:
    """Volumes add: c = 0.3 c(earlier) + 0.7 c(fresh), for every component."""
    study = Study(DRAWS, 1)
    one, other, both = (study.stand(m).finished for m in (CURD, CLEAR, topped(CLEAR, CURD, 0.3)))
    for j, key in enumerate(both.components):
        parts = [
            share * f.totals_mol_per_L[:, f.components.index(key)]
            for share, f in ((0.3, one), (0.7, other))
            if key in f.components
        ]
        assert both.totals_mol_per_L[:, j] == pytest.approx(np.sum(parts, axis=0), rel=1e-9)
    assert both.from_leftover is not None
    whole = both.from_product.sum(axis=0) + both.from_water + both.from_leftover.sum(axis=0)
    assert whole == pytest.approx(both.totals_mol_per_L, rel=1e-9)


def test_a_cloudy_rest_shows_at_once_and_is_settled_by_its_age() -> None:
    """Gypsum that fell overnight doesn't go back into a tank that is as full of it."""
    study = Study(DRAWS, 1)
    young, old = (study.look(topped(GYPSUM, GYPSUM, 0.5, hours)) for hours in (0.0, 24.0))
    assert old.probability["15min"] > young.probability["15min"] + 0.1
    # Iron that air has turned in the rest holds more sulfate: a little less falls in the end.
    assert old.probability["24h"] == pytest.approx(young.probability["24h"], abs=0.05)
    (quick,) = study.follow([topped(GYPSUM, GYPSUM, 0.5, 24.0)], until="15min")
    assert quick.probability["15min"] == pytest.approx(old.probability["15min"], abs=0.05)
    assert old.clear_minutes() is None or old.probability["15min"] < 0.1


def test_lime_that_fell_goes_back_into_a_sour_tank() -> None:
    """Carbonate dissolves in acid: the rest's solids count only as far as the new tank holds them.
    The rule of acid beside carbonate is of concentrates; gas is still told."""
    sour = read_mix(EXAMPLES / "hazes-overnight.toml")
    found = Study(DRAWS, 1).look(topped(sour, CURD, 0.05, 24.0))
    lime = [k for k, part in enumerate(found.parts) if part.key == "calcite"]
    assert lime and (found.out["15min"].salts[:, lime[0]] < 0.05).mean() > 0.9


def written(folder: Path, rest: str, tank: str = 'tank = "50 gal"') -> Path:
    (folder / "yesterday.toml").write_text(
        (EXAMPLES / "calcium-and-potash.toml").read_text(encoding="utf-8"), encoding="utf-8"
    )
    path = folder / "today.toml"
    path.write_text(
        f'name = "Today, invented"\nwater = "soft.toml"\ncarrier = "2 gal/1000 sq ft"\n{tank}\n'
        f'{rest}\n[[add]]\nproduct = "urea-liquor.toml"\nrate = "3 fl oz/1000 sq ft"\n',
        encoding="utf-8",
    )
    return path


REST = '[[add]]\nleftover = "yesterday.toml"\namount = "{}"\nage = "{}"'


def test_a_mix_file_takes_what_is_left(tmp_path: Path) -> None:
    mix = read_mix(written(tmp_path, REST.format("10 gal", "1 day")))
    (left,) = mix.leftovers
    assert left.share == pytest.approx(0.2) and left.age_s == 86400.0
    assert {f.name for f in mix.files} >= {"yesterday.toml"} or len(mix.files) >= 4
    (load,) = loads(mix)
    first = load.lines[0]
    assert (first.kind, first.amount) == ("leftover", pytest.approx(37854.1, rel=1e-5))
    assert sum(line.amount or 0.0 for line in load.lines) == pytest.approx(189270.6, rel=1e-5)
    # 3 fl oz/1000 sq ft in the 40 gal of fresh spray alone: 20,000 sq ft take 60 fl oz.
    assert load.of(0).amount == pytest.approx(60.0 * 29.5735, rel=1e-4)
    said = " ".join(as_text(forecast_sheet(forecast(mix, count=16))).split())
    assert "Calcium and potash" in said or left.mix.name in said
    assert "20 % of the tank" in said and "24 h old" in said
    none = read_mix(written(tmp_path, REST.format("0 gal", "1 day")))
    assert none.leftovers[0].share == 0.0


@pytest.mark.parametrize(
    ("rest", "tank", "words"),
    [
        (REST.format("10 gal", "1 day"), "", "tank"),
        (REST.format("60 gal", "1 day"), 'tank = "50 gal"', "fills the tank"),
        (REST.format("10 sq ft", "1 day"), 'tank = "50 gal"', "amount"),
        (REST.format("10 gal", "blue"), 'tank = "50 gal"', "age"),
        (REST.split("\namount", maxsplit=1)[0], 'tank = "50 gal"', "how much is left"),
        (REST.format("10 gal", "1 h").replace("yesterday", "today"), 'tank = "50 gal"', "very mix"),
        (REST.format("10 gal", "1 h") + '\nrate = "1 fl oz/M"', 'tank = "50 gal"', "rate"),
        ('[[add]]\nrate = "1 fl oz/M"', 'tank = "50 gal"', "no product"),
    ],
)
def test_what_is_wrong_with_a_leftover_is_told(
    tmp_path: Path, rest: str, tank: str, words: str
) -> None:
    with pytest.raises(InputProblem, match=words):
        read_mix(written(tmp_path, rest, tank))


def jug(folder: Path, name: str, source: str, *, says: str = "") -> str:
    (folder / f"{name}.toml").write_text(
        f'name = "{name}, invented"\ndensity = "1.2 kg/L"\nsources = ["{source}"]\n'
        f'[known]\n"{source}" = 20\n{says}',
        encoding="utf-8",
    )
    return f'[[add]]\nproduct = "{name}.toml"\nrate = "3 fl oz/1000 sq ft"\n'


def tank(folder: Path, name: str, body: str) -> Mix:
    path = folder / f"{name}-mix.toml"
    path.write_text(
        f'name = "{name}, invented"\nwater = "soft.toml"\ncarrier = "2 gal/1000 sq ft"\n'
        f'tank = "50 gal"\n{body}',
        encoding="utf-8",
    )
    return read_mix(path)


def test_no_rule_is_passed_by_what_is_left(tmp_path: Path) -> None:
    """Acid on thiosulfate, bleach with anything: whichever of them stood in the tank first."""
    acid = tank(tmp_path, "acid", jug(tmp_path, "sour", "citric acid"))
    sulfur = tank(tmp_path, "sulfur", jug(tmp_path, "thio", "potassium thiosulfate"))
    for fresh, left in ((acid, sulfur), (sulfur, acid)):
        met = topped(fresh, left, 0.1, 24.0)
        assert [r.code for r in rules_of(met)] == ["sulfur_in_acid"]
        assert forecast(met, count=16).refused == "sulfur_in_acid"
        assert "gives" not in "".join(r.code for r in rules_of(fresh))
    bleach = tank(tmp_path, "bleach", jug(tmp_path, "white", "sodium hypochlorite"))
    with pytest.raises(ToxicGas):
        forecast(topped(acid, bleach, 0.1), count=16)
    said = '[says]\nnever_with = ["citric acid"]\n'
    alone = tank(tmp_path, "alone", jug(tmp_path, "loner", "urea", says=said))
    (rule,) = rules_of(topped(alone, acid, 0.1))
    assert rule.code == "never_with" and rule.other == 1
    text = " ".join(as_text(forecast_sheet(forecast(topped(alone, acid, 0.1), count=16))).split())
    assert "oner, invented: never with citric acid (sour, invented)" in text


def test_why_names_the_rest_as_a_giver() -> None:
    from chem.advice.why import why

    found = why(topped(CLEAR, CURD, 0.5, 1.0), count=16)
    assert CURD.name in " ".join(as_text(why_sheet(found)).split())


def test_pour_keeps_the_rest_before_the_water_and_each_step_its_odds() -> None:
    found = pour(topped(GYPSUM, CLEAR, 0.2, 1.0), count=16)
    kinds = [line.kind for line in found.lines(found.asked)]
    products = len(GYPSUM.additions)
    assert kinds == ["leftover", "water", *["product"] * products, "water"]
    text = as_text(pour_sheet(found))
    assert CLEAR.name in " ".join(text.split()) and "1 Iron with citric acid" in text


def test_the_jar_takes_its_share_of_the_rest() -> None:
    mix = topped(GYPSUM, CLEAR, 0.2, 1.0)
    found = jar(mix, count=16)
    first = found.steps[0]
    assert first.product == CLEAR.name
    assert first.amount == pytest.approx(0.2 * found.jar_mL, rel=0.02)
    plain = jar(GYPSUM, count=16)
    for with_rest, own in zip(found.steps[2:-1], plain.steps[1:-1], strict=True):
        share = with_rest.amount / found.jar_mL / (own.amount / plain.jar_mL)
        assert share == pytest.approx(0.8, rel=0.05)
    whole = sum(step.amount for step in found.steps if not step.by_mass)
    assert whole == pytest.approx(found.jar_mL, rel=0.02)


def test_a_dose_is_told_per_litre_of_the_whole_tank() -> None:
    """What is poured into the tank is what stands in it: moles times 192.124 g/mol."""
    mix = topped(CLEAR, GYPSUM, 0.25)
    result = adjust(mix, 2.5, choose_agent("citric acid"), count=16)
    assert result.dose_g_per_L
    held = Study(1).stand(result.dosed).finished.from_product[result.place, 0]
    components = Study(1).stand(result.dosed).finished.components
    grams = 192.124 * held[components.index("citrate")]
    assert grams == pytest.approx(result.dose_g_per_L, rel=0.02)


def test_what_is_left_goes_into_the_first_of_several_loads(tmp_path: Path) -> None:
    area = 'tank = "50 gal"\narea = "2.6 acre"'
    result = forecast(read_mix(written(tmp_path, REST.format("10 gal", "1 day"), area)), count=16)
    assert [load.count for load in result.loads] == [1, 3, 1]
    (heads, rest, water, *_) = rows(result.loads, "us")
    assert heads[1:] == ("the first", "each of 3", "the last")
    assert rest[2:] == ("-", "-") and rest[1] == "10 gal"
    assert "-" not in water
    page = pouring(result, forecast_blocks(result, "us")["tank"], "us")
    assert page.count('<td class="a more">-</td>') == 2 and "The next, 50 gal" in page
