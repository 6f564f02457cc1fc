"""Gases and heat in amounts, against arithmetic that anyone can do."""

from __future__ import annotations

from pathlib import Path

import pytest
from test_forecast import mix, product, run

from chem.forecast import Evolved
from chem.reference import read_csv


def found(path: Path) -> dict[str, Evolved]:
    return {g.key: g for g in run(path).gases}


def test_carbonate_into_acid_gives_the_gas_of_the_stoichiometry(tmp_path: Path) -> None:
    """5 mL of 46 % K2CO3 (1.47 kg/L) is 24.5 mmol, 0.59 L of gas at 20 C; a litre keeps 40 mmol.

    Henry: 0.039 mol/kg/atm at 20 C (Sander 2015). So 20 mL in a litre of strong acid: 98 mmol
    less 39 kept, about 1.4 L of gas; the upper end over labels (12 % more) and metering (6 %).
    """
    carbonate = product(
        tmp_path, "carbonate", density="1.47 kg/L", sources=["potassium carbonate"],
        guarantee={"soluble potash": 31.3},
    )  # fmt: skip
    acid = product(
        tmp_path, "acid", form="dry", also={"citric acid": 100.0}, known={"citric acid": 100.0}
    )
    path = mix(tmp_path, (acid, "60 g/L"), (carbonate, "20 mL/L"), water="unknown")
    gas = found(path)["carbon_dioxide"]
    assert gas.amount is not None
    assert gas.amount == pytest.approx(24.0 * (98.0 * 1.12 * 1.06 - 39.0), rel=0.1)
    assert "Never close" in gas.because
    little = mix(tmp_path, (carbonate, "1 mL/L"))
    assert "carbon_dioxide" not in found(little)


def test_ammonia_over_an_alkaline_tank(tmp_path: Path) -> None:
    """At pH 9.25 half the ammoniacal nitrogen is NH3; 59 mol/kg/atm: 10 mmol/kg is 170 ppm."""
    path = mix(
        tmp_path,
        ("ammonium-sulfate-liquor", "2 fl oz/1000 sq ft"),
        ("potassium-carbonate-liquor", "6 fl oz/1000 sq ft"),
    )
    gas = found(path)["ammonia"]
    assert gas.amount is not None and gas.limit == 25
    result = run(path)
    total = result.totals_mol_per_L["NH4"]
    share = 1.0 / (1.0 + 10.0 ** (9.3 - result.ph.median))
    assert gas.amount == pytest.approx(1e6 * total * share / 59.0, rel=0.35)


def test_thiosulfate_in_acid_is_bounded_by_its_sulfur(tmp_path: Path) -> None:
    path = mix(
        tmp_path,
        ("potassium-thiosulfate-liquor", "3 fl oz/1000 sq ft"),
        ("ph-buffer", "2 fl oz/1000 sq ft"),
    )
    gas = found(path)["sulfur_dioxide"]
    result = run(path)
    assert gas.amount == pytest.approx(24000.0 * result.totals_mol_per_L["S2O3"], rel=1e-6)
    assert gas.limit == 2


def test_strong_acid_warms_the_tank_by_its_heat(tmp_path: Path) -> None:
    """0.1 mol of sulfuric acid gives 9.5 kJ: 2.3 K in a litre of water (4.18 kJ/kg/K)."""
    acid = product(
        tmp_path, "strong", density="1.83 kg/L", also={"sulfuric acid": 93.0},
        known={"sulfuric acid": 93.0},
    )  # fmt: skip
    path = mix(tmp_path, (acid, f"{0.1 * 98.08 / 0.93:.4f} g/L"))
    heat = found(path)["heat"]
    assert heat.amount == pytest.approx(2.3, rel=0.1)


def test_every_gas_value_has_unit_and_source() -> None:
    references = {r["key"] for r in read_csv("references.csv")}
    for row in read_csv("gases.csv"):
        assert row["unit"] and row["source"] in references
        assert float(row["value"]) > 0.0
