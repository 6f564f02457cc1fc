"""What a real tank shows beside its salts: temperature, air through ligands, what isn't judged."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from test_clouding import tank
from test_forecast import mix, product

from chem.doubts import Draws
from chem.equilibrium import Conditions, build_system, solve
from chem.forecast import Forecast, forecast
from chem.forecast.aging import aging
from chem.forecast.filling import heats_kJ_per_mol
from chem.forecast.unjudged import beyond_ions
from chem.reference import catalogue, read_csv, tables
from chem.tank import change_mix, read_mix


def test_dry_urea_cools_the_tank_and_the_sheet_says_by_how_much(tmp_path: Path) -> None:
    """Urea takes up 250 J/g (Kustov and Smirnova 2010: 15.3 kJ/mol): 100 g/L, some 6 K."""
    prills = product(
        tmp_path, "prills", form="dry", sources=["urea"], guarantee={"urea nitrogen": 46.0}
    )
    strong = forecast(read_mix(mix(tmp_path, (prills, "100 g/L"))), count=32)
    (note,) = (n for n in strong.notes if "cool the tank" in n)
    kelvin = float(note.split("about ")[1].split(" K")[0])
    assert kelvin == pytest.approx(6.0, abs=1.0)
    weak = forecast(read_mix(mix(tmp_path, (prills, "2 g/L"))), count=32)
    assert not any("cool the tank" in n for n in weak.notes)


# Parker 1965 (NSRDS-NBS 2), CRC Handbook: heat is taken up by nitrates of potassium and ammonium
# and by urea, given off by calcium chloride.
def test_heats_have_signs_sources_and_sources_of_the_catalogue() -> None:
    heat = heats_kJ_per_mol()
    assert heat["potassium nitrate"] > heat["ammonium nitrate"] > heat["urea"] > 10.0
    assert heat["calcium chloride"] < heat["calcium chloride dihydrate"] < 0.0
    for row in read_csv("heats.csv"):
        assert row["salt"] in catalogue().sources, row["salt"]
        assert row["source"] in tables().references and row["how"] in {"read", "value from memory"}


def turned(ph_base: float, **more: float) -> float:
    """Share of 1 mmol/kg of ferrous iron that air has turned in an hour."""
    jar = tank(Fe2=0.001, SO4=0.00102, Na=ph_base, **more)
    aged = aging(jar, 20.0, Draws(64, 1))
    return float(np.median(aged.oxidised(3600.0))) / 0.001


def test_ferrous_iron_takes_up_air_faster_through_edta_and_citrate() -> None:
    """At pH 4 to 5 the free ion keeps for weeks, EDTA's minutes, citrate's hours (from memory)."""
    free = turned(0.0)
    assert free < 0.01
    edta = turned(0.0025, EDTA=0.0011)
    citrate = turned(0.004, citrate=0.002)
    assert edta > citrate > 10.0 * free
    for row in read_csv("oxidation.csv"):
        assert row["agent"] in tables().components and row["source"] in tables().references


def test_what_is_no_chemistry_of_ions_is_said_where_its_parts_meet(tmp_path: Path) -> None:
    path = mix(tmp_path, ("wetting-agent", "1 mL/L"), ("calcium-chloride-liquor", "10 mL/L"))
    with_soap = read_mix(path)
    assert any("scum" in n for n in forecast(with_soap, count=16).notes)
    assert not beyond_ions(with_soap, {"Ca": 0.0001})
    alone = read_mix(mix(tmp_path, ("calcium-chloride-liquor", "10 mL/L")))
    assert not beyond_ions(alone, {"Ca": 0.05})
    assert any("boric acid" in w for w in beyond_ions(alone, {"B": 0.01, "alginate": 0.002}))


# Common practice, no source: calcium, an iron with citric acid and kelp on one green, liquid in the
# first minutes, slight fines later, near pH 5. Both irons that such a label may hold are drawn.
TRADE_CASE = {
    "calcium": """
name = "Calcium, invented"
density = "11.2 lb/gal"
sources = ["calcium nitrate", "calcium chloride"]
[guarantee]
"nitrate nitrogen" = 4.0
"calcium" = 9.0
""",
    "ammoniated": """
name = "Ammoniated ferric citrate, invented"
density = "10.2 lb/gal"
sources = ["ferric ammonium citrate"]
[guarantee]
"ammoniacal nitrogen" = 2.1
"iron" = 5.0
""",
    "sulfate": """
name = "Iron sulfate with citric acid, invented"
density = "10.2 lb/gal"
sources = ["ferrous sulfate", "citric acid"]
[guarantee]
"iron" = 5.0
"sulfur" = 2.9
""",
    "kelp": """
name = "Kelp, invented"
density = "8.8 lb/gal"
sources = ["seaweed extract"]
[guarantee]
"soluble potash" = 1.0
""",
}


def trade_case(folder: Path, iron: str) -> Forecast:
    for name, text in TRADE_CASE.items():
        (folder / f"{name}.toml").write_text(text)
    parts = [("calcium", "8"), (iron, "8"), ("kelp", "0.5")]
    lines = ['name = "test"', 'water = "soft.toml"', 'carrier = "0.5 gal/1000 sq ft"']
    for name, rate in parts:
        lines += ["[[add]]", f'product = "{name}.toml"', f'rate = "{rate} fl oz/1000 sq ft"']
    path = folder / f"{iron}-mix.toml"
    path.write_text("\n".join(lines))
    return forecast(read_mix(path), count=128)


def test_iron_sulfate_beside_calcium_is_sour_and_gypsum(tmp_path: Path) -> None:
    found = trade_case(tmp_path, "sulfate")
    assert found.ph.median == pytest.approx(2.1, abs=0.5)
    assert found.solids[0].key == "gypsum" and found.solids[0].probability["24h"] > 0.9


def test_ammoniated_ferric_citrate_beside_calcium_stays_liquid_and_fines_come_by_hours(
    tmp_path: Path,
) -> None:
    found = trade_case(tmp_path, "ammoniated")
    assert found.probability["15min"] < 0.3
    assert found.solids[0].key == "calcium_citrate"
    assert 0.1 < found.solids[0].probability["4h"] < found.solids[0].probability["24h"]
    rust = next(s for s in found.solids if s.key == "ferrihydrite")
    assert rust.probability["24h"] < 0.1
    # The label says nothing of its pH; what makers trim it to is left to its reading.
    assert 4.5 < found.ph.median < 7.0


# CRC Handbook, concentrative properties: potassium chloride of 10 % freezes at -4.81 C, urea of
# 10 % at -3.26 C; a dilute tank near 0 C.
def test_a_tank_is_told_when_it_freezes(tmp_path: Path) -> None:
    path = mix(tmp_path, ("urea-liquor", "10 mL/L"))
    base = read_mix(path)
    cold = change_mix(base, tmp_path, coldest="20 F")
    assert any("Ice comes below about" in n for n in forecast(cold, count=16).notes)
    assert not any("Ice" in n for n in forecast(base, count=16).notes)
    per_ln = tables().value("freezing_per_ln_water_activity")
    for salt, percent, mass, ions, freezes in (
        ({"K": 1.0, "Cl": 1.0}, 10.0, 74.55, 2.0, -4.81),
        ({"urea": 1.0}, 10.0, 60.06, 1.0, -3.26),
    ):
        m = percent / mass / (100.0 - percent) * 1000.0
        system = build_system(salt)
        state = solve(
            system,
            system.totals({k: m * n for k, n in salt.items()}),
            Conditions.nominal(system, 0.0),
        )
        assert per_ln * float(state.ln_water_activity[0]) == pytest.approx(freezes, abs=0.5), ions


def test_lime_that_the_air_would_bring_is_said_not_judged(tmp_path: Path) -> None:
    path = mix(tmp_path, ("urea-liquor", "2 mL/L"))
    hard = change_mix(read_mix(path), tmp_path, water="hard-alkaline.toml")
    told = forecast(hard, count=32)
    assert any("may bring lime" in n for n in told.notes) or told.probability["24h"] >= 0.1
    soft = forecast(read_mix(path), count=32)
    assert not any("may bring lime" in n for n in soft.notes)
