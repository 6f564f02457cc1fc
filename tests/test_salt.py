"""Salt and acid on the leaf, by hand sums, and never a verdict."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from chem.advice.fix import fix
from chem.forecast import Study, forecast, salt
from chem.sheets.blocks import as_text
from chem.sheets.fix import fix_sheet
from chem.sheets.forecast import forecast_sheet
from chem.sheets.forecast_data import forecast_json
from chem.tank import Mix, read_mix, with_carrier

EXAMPLES = Path(__file__).parent.parent / "examples"
IRON = """
name = "Iron liquor, invented"
density = "1.2 kg/L"
sources = ["ferrous sulfate"]
usual_rate = "3 fl oz/1000 sq ft"
rate_range = "1-6 fl oz/1000 sq ft"
[guarantee]
"iron" = 5
[says]
carrier_at_least = "1 gal/1000 sq ft"
"""
UREA = """
name = "Urea, dry, invented"
form = "dry"
sources = ["urea"]
[known]
urea = 100
"""
ACID = """
name = "Citric acid, dry, invented"
form = "dry"
sources = ["citric acid"]
[known]
"citric acid" = 100
"""


def mix(folder: Path, text: str, rate: str, carrier: str = "2 gal/1000 sq ft") -> Mix:
    (folder / "jug.toml").write_text(text, encoding="utf-8")
    path = folder / "mix.toml"
    path.write_text(
        f'name = "Trial, invented"\nwater = "soft.toml"\ncarrier = "{carrier}"\n'
        f'temperature = "68 F"\n[[add]]\nproduct = "jug.toml"\nrate = "{rate}"\n',
        encoding="utf-8",
    )
    return read_mix(path)


def test_a_tenth_of_a_pound_of_nitrogen_as_urea(tmp_path: Path) -> None:
    """0.1 lb N/1000 sq ft is 0.2144 lb urea (60.056 g/mol, 28.014 of it N): 97.25 g in 2 gal
    (7.5708 L) are 12.85 g/L, 1.7 times an ounce per gallon (28.3495 g in 3.78541 L)."""
    found = salt(Study(16, 1).look(mix(tmp_path, UREA, "0.2144 lb/1000 sq ft")))
    assert found.dissolved_g_per_L.median == pytest.approx(12.85, rel=0.06)
    assert found.of_rule == pytest.approx(12.85 / 7.489, rel=0.06)
    # 0.2144 lb over 92.903 m2: 1.0468 g/m2, 10.47 kg/ha.
    assert found.kg_per_ha == pytest.approx(10.47, rel=0.06)
    assert found.free_acid_mmol_per_L is None


def test_half_the_carrier_doubles_salt_and_keeps_it_per_area(tmp_path: Path) -> None:
    asked = mix(tmp_path, IRON, "3 fl oz/1000 sq ft")
    study = Study(16, 1)
    one, half = (salt(study.look(with_carrier(asked, f))) for f in (1.0, 0.5))
    assert half.dissolved_g_per_L.median == pytest.approx(
        2.0 * one.dissolved_g_per_L.median, rel=0.03
    )
    assert half.kg_per_ha == pytest.approx(one.kg_per_ha, rel=0.03)
    said = " ".join(as_text(fix_sheet(fix(asked, count=16))).split())
    assert "Half the spray volume doubles the salt in it" in said


def test_free_acid_is_that_of_a_titration_by_hand(tmp_path: Path) -> None:
    """10 g/L citric acid (192.12 g/mol, pK1 3.13, pK2 4.76 at I = 0: value from memory): 52 mmol/L.
    At pH 4 about 0.88 + 0.15 protons of each are gone with ions about; at the start hardly any."""
    grams = 10.0 * 7.5708 / 28.3495
    found = salt(Study(16, 1).look(mix(tmp_path, ACID, f"{grams:.4f} oz wt/1000 sq ft")))
    assert found.free_acid_mmol_per_L is not None
    assert found.free_acid_mmol_per_L.median == pytest.approx(52.0 * 1.03, rel=0.15)


def test_the_strength_is_told_beside_the_label(tmp_path: Path) -> None:
    """6 fl oz in 1 gal is the label's most; 3 fl oz in 2 gal are a quarter of it."""
    asked = mix(tmp_path, IRON, "3 fl oz/1000 sq ft")
    found = forecast(asked, study=Study(16, 1))
    (one,) = found.salt.of_label
    assert one.share == pytest.approx(0.25)
    data = json.loads(forecast_json(found))["salt"]
    assert data["of_label"] == [{"product": "Iron liquor, invented", "share": one.share}]
    said = " ".join(as_text(forecast_sheet(found)).split())
    assert "0.25 times as strong as its label's most in its least water" in said
    assert "isn't judged here" in said and "safe" not in said.split("SALT ON")[1].split("ALWAYS")[0]
    plain = mix(tmp_path, IRON.split("[says]", maxsplit=1)[0], "3 fl oz/1000 sq ft")
    assert salt(Study(16, 1).look(plain)).of_label[0].share is None


def test_water_first_puts_as_much_on_the_area(tmp_path: Path) -> None:
    """The same rate on the same area, whichever way the tank is filled."""
    asked = mix(tmp_path, UREA, "1 lb/1000 sq ft")
    study = Study(16, 1)
    marked, first = (
        salt(study.look(replace(asked, fill=fill))).kg_per_ha for fill in ("to mark", "water first")
    )
    assert first == pytest.approx(marked, rel=0.01)
    assert np.isfinite(first)
