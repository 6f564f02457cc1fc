"""Very soluble salts against published solubilities, mixtures, trends and plain sense."""

from __future__ import annotations

import math
import re
from collections import Counter

import numpy as np
import periodictable
import pytest

from chem.doubts import Draws
from chem.equilibrium import Conditions, Equilibrium, build_phases, build_system, solve
from chem.forecast.crystals import (
    Crystals,
    _molality,
    crystals,
    log_share,
    mixed_crystals,
    saturation_molality,
    saturation_temperature,
    soluble_salts,
)
from chem.laboratory import Recipe
from chem.laboratory.odds import solution_odds
from chem.reference import molar_mass_g_per_mol, read_csv, tables

ROWS = read_csv("soluble_salts.csv")


def grams(formula: str, g_per_kg: float) -> float:
    """mol/kg of so many g/kg water."""
    return g_per_kg / molar_mass_g_per_mol(formula)


def speciated(totals: dict[str, float], t_celsius: float, count: int = 1) -> Equilibrium:
    system = build_system(totals)
    rows = np.repeat(system.totals(totals), count, axis=0)
    return solve(system, rows, Conditions.nominal(system, t_celsius))


def found(totals: dict[str, float], t_celsius: float, water_kg_per_L: float = 1.0) -> Crystals:
    """The middle of every doubt."""
    clear = speciated(totals, t_celsius)
    return crystals(clear, np.array([water_kg_per_L]), t_celsius, Draws(1, 1))


def si_of(result: Crystals, key: str) -> float:
    return float(result.si[0, result.keys.index(key)])


def grams_of(result: Crystals, key: str) -> float:
    return float(result.amount_g_per_L[0, result.keys.index(key)])


# table -----------------------------------------------------------------------------------------


def test_every_row_has_a_source_and_a_basis() -> None:
    for row in ROWS:
        assert row["source"] in tables().references and row["where"], row
        assert row["basis"] in {"anhydrous", "hydrate formula"}, row
        assert 0.0 <= float(row["t_celsius"]) <= 40.0, row
        assert float(row["solubility_g_per_100g_water"]) > 0.0, row
    for salt in soluble_salts():
        assert (
            len({(r["name"], r["formula"], r["reaction"]) for r in ROWS if r["salt"] == salt}) == 1
        )


def test_formulas_and_reactions_balance() -> None:
    masters = {c.master: c.formula for c in tables().components.values()}
    masters |= {"H+": "H", "H2O": "H2O"}
    species = {s.key: s.reaction for s in tables().species}
    for salt in soluble_salts().values():
        made: Counter[str] = Counter()
        for ion, n in [*salt.reaction.items(), ("H2O", salt.water)]:
            for part, k in species.get(ion, {ion: 1.0}).items():
                for element, count in periodictable.formula(masters[part]).atoms.items():
                    made[str(element)] += n * k * count
        written = {str(e): n for e, n in periodictable.formula(salt.formula).atoms.items()}
        assert {k: v for k, v in made.items() if abs(v) > 1e-9} == pytest.approx(written), salt.key


def test_a_hydrate_is_weighed_with_or_without_its_water() -> None:
    # 100 g of water and 71.1 g of MgSO4.7H2O are 34.7 g of MgSO4 in 136.4 g of water
    hydrate = {
        "salt": "x",
        "formula": "MgSO4+7H2O",
        "basis": "hydrate formula",
        "solubility_g_per_100g_water": "71.1",
    }
    dry = molar_mass_g_per_mol("MgSO4") / molar_mass_g_per_mol("MgSO4+7H2O") * 71.1
    per_100_g = 100.0 * dry / (171.1 - dry)
    anhydrous = hydrate | {
        "basis": "anhydrous",
        "solubility_g_per_100g_water": repr(per_100_g),
    }
    assert _molality(hydrate) == pytest.approx(_molality(anhydrous), rel=1e-12)
    with pytest.raises(ValueError, match="basis"):
        _molality(hydrate | {"basis": "moist"})


# single salts ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("salt", "molality", "t_celsius"),
    [
        # IUPAC-NIST Solubility Data Series 66 (Eysseltova and Dirkse 1998): 18.4, 21.3 mass % and
        # 40.7 g/100 g, the evaluated fit at 15, 25, 35 C; 11.2 mass % KNO3
        ("ammonium_dihydrogen_phosphate", grams("NH4H2PO4", 1000 * 18.4 / 81.6), 0.0),
        ("ammonium_dihydrogen_phosphate", grams("NH4H2PO4", 1000 * 21.3 / 78.7), 10.0),
        ("ammonium_dihydrogen_phosphate", grams("NH4H2PO4", 407.0), 25.0),
        ("ammonium_dihydrogen_phosphate", 2.815, 15.0),
        ("ammonium_dihydrogen_phosphate", 3.571, 25.0),
        ("ammonium_dihydrogen_phosphate", 4.450, 35.0),
        ("potassium_dihydrogen_phosphate", 1.460, 15.0),
        ("potassium_dihydrogen_phosphate", 1.821, 25.0),
        ("potassium_dihydrogen_phosphate", 2.244, 35.0),
        ("potassium_nitrate", grams("KNO3", 1000 * 11.2 / 88.8), 0.0),
        # Pabalan and Pitzer 1987, Geochim. Cosmochim. Acta 51, 2429 (as tabulated in PHREEQC's
        # test suite)
        ("magnesium_sulfate", 3.018, 25.0),
        ("potassium_chloride", 4.15, 10.0),
        ("potassium_chloride", 4.79, 25.0),
        ("potassium_chloride", 5.358, 40.0),
        # 50 % urea salts out near 16 C (value from memory)
        ("urea", grams("CO(NH2)2", 1000.0), 16.0),
    ],
)
def test_single_salts_crystallise_within_two_degrees(
    salt: str, molality: float, t_celsius: float
) -> None:
    assert saturation_temperature(salt, molality) == pytest.approx(t_celsius, abs=2.0)


@pytest.mark.parametrize(("t", "molality"), [(15.0, 4.967), (25.0, 5.42), (35.0, 5.918)])
def test_diammonium_phosphate_is_within_its_published_spread(t: float, molality: float) -> None:
    # IUPAC-NIST Solubility Data Series 66, evaluated fit: too flat to tell a temperature by, and up
    # to 3.4 % above the handbook's
    assert saturation_molality("diammonium_phosphate", t) == pytest.approx(molality, rel=0.04)


@pytest.mark.parametrize("salt", sorted(soluble_salts()))
def test_the_temperature_is_the_inverse_of_the_solubility(salt: str) -> None:
    for t in (-5.0, 3.0, 15.0, 21.0):
        there = saturation_temperature(salt, saturation_molality(salt, t))
        assert there == pytest.approx(t, abs=1e-6)


@pytest.mark.parametrize(
    "salt",
    [
        "potassium_nitrate",
        "potassium_sulfate",
        "potassium_dihydrogen_phosphate",
        "ammonium_dihydrogen_phosphate",
        "urea",
        "magnesium_sulfate",
        "boric_acid",
        "borax",
    ],
)
def test_cold_takes_salts_out(salt: str) -> None:
    values = [saturation_molality(salt, t) for t in np.arange(-5.0, 41.0, 1.0)]
    assert np.all(np.diff(values) > 0.0)


def test_potassium_nitrate_loses_most_and_table_salt_nothing() -> None:
    loss = {s: saturation_molality(s, 0.0) / saturation_molality(s, 25.0) for s in soluble_salts()}
    assert loss["potassium_nitrate"] < 0.4 < loss["potassium_sulfate"] < 0.7
    assert loss["sodium_chloride"] > 0.98


def test_glaubers_salt_has_its_kink_at_32_degrees() -> None:
    # decahydrate to anhydrous at 32.4 C, a fixed point of thermometry
    values = {t: saturation_molality("sodium_sulfate", t) for t in np.arange(20.0, 40.1, 0.1)}
    top = max(values, key=lambda t: values[t])
    assert top == pytest.approx(32.4, abs=0.11)
    assert values[top] > saturation_molality("sodium_sulfate", 40.0)
    assert math.isinf(saturation_temperature("sodium_sulfate", 1.02 * values[top]))
    assert saturation_temperature("sodium_sulfate", 0.98 * values[top]) == pytest.approx(
        32.2, abs=0.3
    )


def test_unfit_questions() -> None:
    with pytest.raises(KeyError):
        saturation_molality("unobtainium", 20.0)
    with pytest.raises(ValueError, match="positive"):
        saturation_temperature("urea", 0.0)


# in a tank -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("totals", "salt", "t"),
    [
        ({"K": 1.0, "NO3": 1.0}, "potassium_nitrate", 5.0),
        ({"NH4": 1.0, "PO4": 1.0}, "ammonium_dihydrogen_phosphate", 5.0),
        ({"K": 1.0, "PO4": 1.0}, "potassium_dihydrogen_phosphate", 10.0),
        ({"Na": 2.0, "SO4": 1.0}, "sodium_sulfate", 10.0),
        ({"Mg": 1.0, "SO4": 1.0}, "magnesium_sulfate", 5.0),
        ({"NH4": 1.0, "NO3": 1.0}, "ammonium_nitrate", 5.0),
        ({"urea": 1.0}, "urea", 5.0),
        ({"Ca": 1.0, "NO3": 2.0}, "calcium_nitrate", 5.0),
        ({"Cu": 1.0, "SO4": 1.0}, "copper_sulfate", 5.0),
        ({"Fe2": 1.0, "SO4": 1.0}, "ferrous_sulfate", 5.0),
    ],
)
def test_one_salt_alone_comes_back_to_its_solubility(
    totals: dict[str, float], salt: str, t: float
) -> None:
    table = soluble_salts()[salt]
    limit = saturation_molality(salt, t)
    just = found({k: v * limit for k, v in totals.items()}, t)
    assert si_of(just, salt) == pytest.approx(0.0, abs=0.02)
    made = 1.25 * limit
    result = found({k: v * made for k, v in totals.items()}, t, water_kg_per_L=0.8)
    assert si_of(result, salt) > 0.0
    moles = grams_of(result, salt) / 0.8 / molar_mass_g_per_mol(table.formula)
    bound = molar_mass_g_per_mol("H2O") / 1000.0 * table.water * moles
    # up to the hydrolysis and the ion pairs that SIT sees at that strength
    assert (made - moles) / (1.0 - bound) == pytest.approx(limit, rel=0.02)


def _phosphate_and_nitrate(map_percent: float, nitrate_percent: float) -> dict[str, float]:
    water = 100.0 - map_percent - nitrate_percent
    x = grams("NH4H2PO4", 1000.0 * map_percent / water)
    y = grams("KNO3", 1000.0 * nitrate_percent / water)
    return {"NH4": x, "PO4": x, "K": y, "NO3": y}


def _with_ammonium_nitrate() -> dict[str, float]:
    x, y = grams("NH4H2PO4", 1000 * 12.4 / 70.0), grams("NH4NO3", 1000 * 17.6 / 70.0)
    return {"NH4": x + y, "NO3": y, "PO4": x}


def _with_phosphoric_acid() -> dict[str, float]:
    x = grams("NH4H2PO4", 519.0)
    return {"NH4": x, "PO4": x + grams("H3PO4", 205.0)}


def _liquid_fertilizer(n: float, p2o5: float, k2o: float) -> dict[str, float]:
    """Grade from KCl, ammonium nitrate, and ammonium phosphates of NH3 : H3PO4 = 1.5."""
    p = 2.0 * p2o5 / molar_mass_g_per_mol("P2O5")
    k = 2.0 * k2o / molar_mass_g_per_mol("K2O")
    nitrate = 0.5 * (n / molar_mass_g_per_mol("N") - 1.5 * p)
    solute = nitrate * molar_mass_g_per_mol("NH4NO3") + k * molar_mass_g_per_mol("KCl")
    solute += p * (molar_mass_g_per_mol("H3PO4") + 1.5 * molar_mass_g_per_mol("NH3"))
    per_kg = 1000.0 / (100.0 - solute)
    amounts = {"NH4": 1.5 * p + nitrate, "NO3": nitrate, "PO4": p, "K": k, "Cl": k}
    return {c: a * per_kg for c, a in amounts.items()}


# Measured solutions at the point where the salt named crystallises, so that SI is 0; IUPAC-NIST
# Solubility Data Series 66 (Eysseltova and Dirkse 1998; NIST SRD 106): Bergman and Bochkarev
# 1937/38, Sorina 1987, Uno 1940, Slack et al. 1959. The last number is what this model says.
MIXTURES = [
    ("potassium_nitrate", _phosphate_and_nitrate(13.7, 11.6), 0.0, -0.18),
    ("ammonium_dihydrogen_phosphate", _phosphate_and_nitrate(13.7, 11.6), 0.0, -0.20),
    ("ammonium_dihydrogen_phosphate", _phosphate_and_nitrate(15.8, 8.4), 0.0, -0.09),
    ("potassium_nitrate", _phosphate_and_nitrate(5.4, 11.4), 0.0, -0.11),
    ("ammonium_dihydrogen_phosphate", _with_ammonium_nitrate(), 20.5, -0.09),
    ("ammonium_dihydrogen_phosphate", _with_phosphoric_acid(), 25.0, 0.19),
    ("potassium_nitrate", _liquid_fertilizer(5.08, 2.54, 5.08), -1.5, -0.02),
    ("potassium_nitrate", _liquid_fertilizer(16.1 / 3, 16.1 / 3, 16.1 / 3), -1.5, 0.02),
]


@pytest.mark.parametrize(("salt", "totals", "t", "error"), MIXTURES)
def test_published_mixtures(salt: str, totals: dict[str, float], t: float, error: float) -> None:
    result = found(totals, t)
    assert abs(si_of(result, salt)) < 0.25
    assert si_of(result, salt) == pytest.approx(error, abs=0.03)
    # and no other salt is told to come out long before it
    others = [si_of(result, k) for k in result.keys if k != salt]
    assert max(others) < si_of(result, salt) + 0.15


def test_a_salt_alone_is_as_sure_as_its_table() -> None:
    alone = crystals(speciated({"K": 2.0, "NO3": 2.0}, 5.0, 512), np.ones(512), 5.0, Draws(512, 3))
    mixed = {"K": 2.0, "NO3": 2.0, "NH4": 2.0, "Cl": 2.0}
    beside = crystals(speciated(mixed, 5.0, 512), np.ones(512), 5.0, Draws(512, 3))
    sd = [float(np.std(x.si[:, x.keys.index("potassium_nitrate")])) for x in (alone, beside)]
    assert sd[0] < 0.05 and sd[1] == pytest.approx(0.14, abs=0.02)


def test_the_doubt_is_the_spread_of_the_published_mixtures() -> None:
    errors = [si_of(found(totals, t), salt) for salt, totals, t, _ in MIXTURES]
    spread = float(np.sqrt(np.mean(np.square(errors))))
    clear = speciated({"K": 1.5, "NO3": 1.5}, 5.0, 512)
    column = Draws(512, 3)
    crystals(clear, np.ones(512), 5.0, column)
    assert float(np.std(column.used["crystals:potassium_nitrate"])) == pytest.approx(
        spread, abs=0.02
    )


def test_a_mixed_crystal_comes_before_either_pure_salt() -> None:
    """Ideal mixing: at equal SI each holds half the sites, and ln 4 of the product is gained."""
    si = np.array([-0.6, -0.5, -0.6])
    gained = log_share(si, np.array([-0.6, -9.0, 9.0]), 2.0)
    assert gained == pytest.approx([-2.0 * np.log10(2.0), 0.0, -9.6], abs=1e-3)
    for key, (other, _) in mixed_crystals().items():
        assert {key, other} <= set(tables().solids) | set(soluble_salts())
    # Ammonium sulfate brings potassium sulfate out sooner (fertilizer compatibility notes).
    both = {"K": 1.1, "SO4": 1.55, "NH4": 2.0}
    clear = speciated(both, 20.0)
    phases = build_phases(clear.system)
    place = phases.keys.index("arcanite")
    pure = clear.saturation_index(phases, phases.log_k(20.0)[None, :])[0, place]
    odds = solution_odds(Recipe("both", 20.0, None, both), count=1)
    (mixed,) = (s.si for s in odds.solids if s.key == "arcanite")
    assert mixed is not None and 0.05 < mixed - pure < 0.3


def test_ordinary_tanks_have_no_crystals() -> None:
    nutrient = {"Ca": 4e-3, "Mg": 1.5e-3, "K": 6e-3, "NH4": 1e-3, "NO3": 1.4e-2, "PO4": 1e-3}
    nutrient |= {"SO4": 1.5e-3, "B": 4e-5, "Cl": 5e-4}
    spray = {"urea": 0.8, "K": 0.3, "NO3": 0.3, "NH4": 0.2, "SO4": 0.12, "PO4": 0.06, "Mg": 0.05}
    spray |= {"B": 0.01, "citrate": 0.01, "Na": 0.02, "Cl": 0.05, "Zn": 2e-3, "Mn": 2e-3}
    for totals in (nutrient, spray):
        clear = speciated(totals, 2.0, 128)
        result = crystals(clear, np.ones(128), 2.0, Draws(128, 1))
        assert clear.converged.all() and len(result.keys) > 5
        assert result.si.max() < -0.3
        assert not result.amount_g_per_L.any()


def test_cooling_brings_a_strong_tank_down() -> None:
    totals = {"K": 2.2, "NO3": 2.2, "urea": 1.0}
    index = [si_of(found(totals, t), "potassium_nitrate") for t in (25.0, 15.0, 10.0, 5.0, 0.0)]
    assert index == sorted(index) and index[0] < 0.0 < index[-1]
    amounts = [grams_of(found(totals, t), "potassium_nitrate") for t in (10.0, 5.0, 0.0)]
    assert amounts == sorted(amounts)


def test_a_common_ion_makes_it_worse() -> None:
    plain = si_of(found({"K": 1.5, "NO3": 1.5}, 5.0), "potassium_nitrate")
    more = si_of(found({"K": 1.5, "NO3": 2.5, "NH4": 1.0}, 5.0), "potassium_nitrate")
    assert more > plain


def test_salts_that_a_solid_stands_for_are_left_to_it() -> None:
    keys = found({"K": 1.0, "SO4": 0.5, "Na": 0.2, "B": 0.4}, 10.0).keys
    assert "potassium_sulfate" not in keys and "borax" not in keys
    assert "sodium_sulfate" in keys and "boric_acid" in keys


def test_rows_without_a_result_stay_unknown() -> None:
    clear = speciated({"K": 2.5, "NO3": 2.5}, 5.0, 3)
    for values in (clear.ln_molality, clear.ionic_strength):
        values[1] = np.nan
    clear.converged[1] = False
    result = crystals(clear, np.ones(3), 5.0, Draws(3, 1))
    assert np.isnan(result.si[1]).all() and np.isnan(result.amount_g_per_L[1]).all()
    assert (result.amount_g_per_L[[0, 2], 0] > 0.0).all()


def test_no_ions_no_crystals() -> None:
    result = found({"Ca": 0.01, "Cl": 0.02}, 10.0)
    assert result.keys == ("calcium_chloride",)
    none = found({"Si": 1e-3, "Na": 1e-3}, 10.0)
    assert none.keys == () and none.si.shape == (1, 0)


def test_names_are_plain_words() -> None:
    for salt in soluble_salts().values():
        assert re.fullmatch(r"[A-Za-z ]+( \([A-Za-z' ]+\))?", salt.name), salt.name
        assert len(salt.name) < 45
