"""Adjuvants as products: several windows in a tank, the smallest dose, and no window made up."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from chem.advice.suited import LIKELY, suiting
from chem.cli.main import whole_app
from chem.errors import InputProblem
from chem.forecast import Study, forecast
from chem.label import read_product
from chem.sheets.blocks import as_text
from chem.sheets.forecast import forecast_sheet
from chem.sheets.forecast_data import forecast_json
from chem.sheets.suited import suited_json, suited_sheet
from chem.tank import Mix, grams_per_litre, lines, read_mix, with_product
from chem.units import read_ph_window

EXAMPLES = Path(__file__).parent.parent / "examples"
DRAWS = 64


def adjuvant(folder: Path, name: str, more: str = "") -> str:
    path = folder / f"{name}.toml"
    path.write_text(
        f'name = "{name}, invented"\nform = "adjuvant"\nusual_rate = "0.25 % v/v"\n{more}',
        encoding="utf-8",
    )
    return f'[[add]]\nproduct = "{name}.toml"\n'


def tank(folder: Path, *names: str, extra: str = "") -> Mix:
    path = folder / "mix.toml"
    path.write_text(
        'name = "Trial, invented"\nwater = "soft.toml"\ncarrier = "2 gal/1000 sq ft"\n'
        'tank = "50 gal"\ntemperature = "68 F"\n[[add]]\nproduct = "urea-liquor.toml"\n'
        f'rate = "3 fl oz/1000 sq ft"\n{"".join(names)}{extra}',
        encoding="utf-8",
    )
    return read_mix(path)


@pytest.mark.parametrize(
    ("text", "window"),
    [("4-6.5", (4.0, 6.5)), ("at most 5", (0.0, 5.0)), ("at least 6", (6.0, 14.0)),
     ("5 to 9", (5.0, 9.0)), ("below 8.5", (0.0, 8.5))],
)  # fmt: skip
def test_a_window_is_read_as_labels_print_it(text: str, window: tuple[float, float]) -> None:
    assert read_ph_window(text, "test") == window
    for wrong in ("5", "at most blue", "6 gal", "3-15"):
        with pytest.raises(InputProblem):
            read_ph_window(wrong, "test")


def test_several_adjuvants_each_with_its_window(tmp_path: Path) -> None:
    sour = adjuvant(tmp_path, "conditioner", 'ph_window = "at most 5"\ngood_for = "24 h"\n')
    wide = adjuvant(tmp_path, "wetter", 'ph_window = "5-9"\n')
    silent = adjuvant(tmp_path, "sticker")
    mix = tank(tmp_path, sour, wide, silent)
    assert [w.limits for w in mix.windows] == [(0.0, 5.0), (5.0, 9.0), None]
    found = forecast(mix, study=Study(DRAWS, 1))
    assert found.answer == "clear", "adjuvants leave it standing"
    low, good, _ = found.windows
    assert low.at_filling < 0.1 and good.at_filling > 0.9
    # 0.25 % v/v of 50 gal is 473.2 mL of each.
    kinds = [(line.kind, line.amount) for line in lines(mix, mix.tank_L or 0.0)]
    assert [k for k, _ in kinds] == ["water", "product", *["adjuvant"] * 3, "water"]
    assert all(a == pytest.approx(473.18, rel=1e-4) for k, a in kinds if k == "adjuvant")
    told = json.loads(forecast_json(found))["adjuvants"]
    assert [t["window"] for t in told] == [[0.0, 5.0], [5.0, 9.0], None]
    assert told[0]["good_for_s"] == 86400.0 and told[2]["suited"] is None
    said = " ".join(as_text(forecast_sheet(found)).split())
    assert "conditioner, invented wants pH at most 5: under 1 in 20" in said
    assert "good for 24 h" in said
    assert "sticker, invented: what pH does its label want?" in said


def test_the_smallest_dose_makes_it_so_and_a_little_less_does_not(tmp_path: Path) -> None:
    mix = tank(tmp_path, adjuvant(tmp_path, "conditioner", 'ph_window = "at most 5"\n'))
    study = Study(DRAWS, 1)
    (one,) = suiting(mix, study=study).adjuvants
    assert one.reagent is not None and one.reagent.acid and one.dose_g_per_L
    place = 0
    # One draw in 64 is held as a margin: a dose of a few per cent less may still be told so.
    for factor, enough in ((1.0, True), (0.85, False)):
        rate = grams_per_litre(factor * one.dose_g_per_L)
        seen = study.look(with_product(mix, one.reagent.product, rate, place))
        assert (seen.inside(0.0, 5.0) >= LIKELY) == enough
    # The water's alkalinity and a little more, to pH 5, of citric acid at 64 to 96 g/eq (192.12
    # g/mol, two to three protons gone).
    alkalinity = mix.water.alkalinity
    assert alkalinity is not None
    grams = alkalinity.low / 1000.0
    # Nine tanks of ten: what a jug may hold to keep its pH takes more than the water does.
    assert 55.0 * grams < one.dose_g_per_L < 400.0 * grams
    text = " ".join(as_text(suited_sheet(suiting(mix, study=study))).split())
    assert "of citric acid" in text and "in 50 gal" in text


def test_a_base_where_it_must_rise_and_none_where_it_may_not(tmp_path: Path) -> None:
    high = adjuvant(tmp_path, "alkaline", 'ph_window = "9.6-9.7"\n')
    mix = tank(tmp_path, high)
    (one,) = suiting(mix, study=Study(DRAWS, 1)).adjuvants
    assert one.reagent is not None and not one.reagent.acid
    assert one.dose_g_per_L is None and one.cause in {"too_much", "further", "narrow"}
    sulfur = '[[add]]\nproduct = "potassium-thiosulfate-liquor.toml"\nrate = "3 fl oz/1000 sq ft"\n'
    low = adjuvant(tmp_path, "sour", 'ph_window = "at most 4"\n')
    (one,) = suiting(tank(tmp_path, low, extra=sulfur), study=Study(DRAWS, 1)).adjuvants
    assert one.dose_g_per_L is None and one.cause == "gas", "acid frees sulfur dioxide"


def test_adjuvants_of_the_shelf_and_the_one_of_the_file(tmp_path: Path) -> None:
    adjuvant(tmp_path, "wetter", 'ph_window = "5-9"\n')
    mix = tank(tmp_path, extra='[adjuvant]\nname = "spreader"\nph_at_most = 5.0\n')
    shelf = tmp_path / "shelf"
    shelf.mkdir()
    (tmp_path / "wetter.toml").rename(shelf / "wetter.toml")
    done = CliRunner().invoke(
        whole_app(),
        ["ph", str(tmp_path / "mix.toml"), "--in", str(shelf), "--draws", "32", "--json"],
    )  # fmt: skip
    told = json.loads(done.stdout)["adjuvants"]
    assert [(t["name"], t["in_mix"]) for t in told] == [
        ("spreader", True), ("wetter, invented", False),
    ]  # fmt: skip
    assert told[1]["suited"] > 0.9 and told[1]["dose_g_per_L"] == 0.0
    bare = suiting(replace(mix, adjuvant=None), count=32)
    assert "No adjuvant in this mix" in as_text(suited_sheet(bare))
    assert json.loads(suited_json(bare))["adjuvants"] == []


def test_ph_asks_for_an_agent_where_a_ph_is_wanted() -> None:
    mix = str(EXAMPLES / "stays-clear.toml")
    done = CliRunner().invoke(whole_app(), ["ph", mix, "--to", "5"])
    assert isinstance(done.exception, InputProblem) and "--with" in str(done.exception)


def test_a_window_is_of_an_adjuvant_alone(tmp_path: Path) -> None:
    path = tmp_path / "jug.toml"
    path.write_text(
        'name = "X, invented"\ndensity = "1.1 kg/L"\nsources = ["urea"]\nph_window = "4-6"\n'
        '[guarantee]\n"total nitrogen" = 5\n',
        encoding="utf-8",
    )
    with pytest.raises(InputProblem, match="only an adjuvant"):
        read_product(path)
