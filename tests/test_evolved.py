"""Gases and heat in amounts, against arithmetic that anyone can do."""

from __future__ import annotations

from pathlib import Path

import pytest
from test_forecast import mix, product, run

from chem.errors import ToxicGas
from chem.forecast import Evolved
from chem.reference import read_csv
from chem.sheets.rules import gas_sentence
from chem.tank import read_mix


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
    assert gas.gas.cause == "meets" and "Never close" in gas_sentence(gas.gas, read_mix(path))
    little = mix(tmp_path, (carbonate, "1 mL/L"))
    assert "carbon_dioxide" not in found(little)


def test_fizz_on_the_way_though_the_full_tank_is_alkaline(tmp_path: Path) -> None:
    """Carbonate into acid fizzes until the acid is used up, whatever the tank is in the end.

    60 g/L citric acid is 312 mmol/L, 937 meq/L of acid; carbonate takes two for each carbon
    dioxide, so no more than 0.47 mol/L can leave however much is poured (stoichiometry), less the
    third proton of citric acid, which is too weak to free it all (pKa 6.4 against 6.35).
    """
    carbonate = product(
        tmp_path, "carbonate", density="1.47 kg/L", sources=["potassium carbonate"],
        guarantee={"soluble potash": 31.3},
    )  # fmt: skip
    acid = product(
        tmp_path, "acid", form="dry", also={"citric acid": 100.0}, known={"citric acid": 100.0}
    )
    path = mix(tmp_path, (acid, "60 g/L"), (carbonate, "200 mL/L"), water="unknown")
    result = run(path)
    gas = {g.key: g for g in result.gases}["carbon_dioxide"]
    assert result.ph.median > 8.5
    assert gas.amount is not None and gas.limit == 5000
    assert 0.4 * 24.0 * 468.0 < gas.amount < 24.0 * 468.0 * 1.15


def test_no_gas_figure_rests_on_a_tank_beyond_the_model(tmp_path: Path) -> None:
    """Above 4 mol/kg of ionic strength the activity model gives none; the warning stays."""
    carbonate = product(
        tmp_path, "carbonate", density="1.47 kg/L", sources=["potassium carbonate"],
        guarantee={"soluble potash": 31.3},
    )  # fmt: skip
    acid = product(
        tmp_path, "acid", form="dry", also={"citric acid": 100.0}, known={"citric acid": 100.0}
    )
    result = run(mix(tmp_path, (acid, "60 g/L"), (carbonate, "500 mL/L"), water="unknown"))
    assert result.ionic_strength_mol_per_kg > 4.0
    gas = {g.key: g for g in result.gases}["carbon_dioxide"]
    assert gas.amount is None and "Never close" in gas_sentence(gas.gas, result.mix)
    assert "ammonia" not in {g.key for g in result.gases}


def test_sulfite_counts_with_thiosulfate(tmp_path: Path) -> None:
    """10 g/L of sodium metabisulfite, 190.1 g/mol with two sulfurs: 105 mmol/L, 2.5 L of gas."""
    sulfite = product(
        tmp_path, "sulfite", form="dry", also={"sodium metabisulfite": 100.0},
        known={"sodium metabisulfite": 100.0},
    )  # fmt: skip
    path = mix(tmp_path, (sulfite, "10 g/L"), ("ph-buffer", "2 fl oz/1000 sq ft"))
    gas = found(path)["sulfur_dioxide"]
    assert gas.amount == pytest.approx(24000.0 * 2 * 10.0 / 190.1, rel=0.02)


def test_sulfide_alone_is_told_with_the_gas_that_acid_would_free(tmp_path: Path) -> None:
    """1 g/L of calcium polysulfide gives one H2S per formula (Sx-2 + 2 H+)."""
    from chem.reference import catalogue

    sulfide = product(
        tmp_path, "sulfide", form="dry", also={"calcium polysulfide": 100.0},
        known={"calcium polysulfide": 100.0},
    )  # fmt: skip
    gas = found(mix(tmp_path, (sulfide, "1 g/L")))["hydrogen_sulfide"]
    mol = 1.0 / catalogue().sources["calcium polysulfide"].molar_mass
    assert gas.amount == pytest.approx(24000.0 * mol, rel=0.02)
    assert gas.limit == 10 and gas.bound == "if acid got in"
    with pytest.raises(ToxicGas):
        run(mix(tmp_path, (sulfide, "1 g/L"), ("ph-buffer", "2 fl oz/1000 sq ft")))


def test_acid_and_lye_warm_the_tank_by_dilution_and_neutralisation(tmp_path: Path) -> None:
    """0.1 mol each of sulfuric acid and potassium hydroxide in a litre.

    9.5 kJ and 5.7 kJ of dilution, and one H+ of each met by one OH-: 5.6 kJ; 20.8 kJ over
    4.18 kJ/K is 5.0 K (enthalpies: Wagman et al. 1982; ionisation of water: CODATA 1989).
    """
    acid = product(
        tmp_path, "strong", density="1.83 kg/L", also={"sulfuric acid": 93.0},
        known={"sulfuric acid": 93.0},
    )  # fmt: skip
    lye = product(
        tmp_path, "lye", form="dry", also={"potassium hydroxide": 100.0},
        known={"potassium hydroxide": 100.0},
    )  # fmt: skip
    path = mix(tmp_path, (acid, f"{0.1 * 98.08 / 0.93:.4f} g/L"), (lye, f"{0.1 * 56.11:.4f} g/L"))
    assert found(path)["heat"].amount == pytest.approx(5.0, rel=0.1)


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
    milky = [n for n in result.notes if "milky" in n]
    assert bool(milky) == (result.ph.median < 4.0)
    sourer = mix(
        tmp_path,
        ("potassium-thiosulfate-liquor", "3 fl oz/1000 sq ft"),
        ("ph-buffer", "12 fl oz/1000 sq ft"),
    )
    told = run(sourer)
    assert told.ph.median < 4.0 and any("milky is a guide only" in n for n in told.notes)


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
