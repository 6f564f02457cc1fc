"""What a real tank shows beside its salts: temperature, air through ligands, what isn't judged."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from test_clouding import tank
from test_forecast import mix, product

from chem.advice.diagnose import diagnose
from chem.doubts import Draws
from chem.equilibrium import Conditions, build_system, solve
from chem.forecast import Forecast, Study, forecast
from chem.forecast.aging import aging
from chem.forecast.filling import heats_kJ_per_mol
from chem.forecast.unjudged import beyond_ions
from chem.reference import catalogue, read_csv, tables
from chem.tank import Mix, change_mix, read_mix


def test_dry_urea_cools_the_tank_and_the_sheet_says_by_how_much(tmp_path: Path) -> None:
    """Urea takes up 250 J/g (Kustov and Smirnova 2010: 15.3 kJ/mol): 100 g/L, some 6 K."""
    prills = product(
        tmp_path, "prills", form="dry", sources=["urea"], guarantee={"urea nitrogen": 46.0}
    )
    strong = forecast(read_mix(mix(tmp_path, (prills, "100 g/L"))), count=32)
    (note,) = (n for n in strong.notes if "cool the tank" in n)
    kelvin = float(note.split("about ")[1].split(" K")[0])
    assert kelvin == pytest.approx(6.0, abs=1.0)
    assert not any("Ice comes" in n for n in strong.notes)
    weak = forecast(read_mix(mix(tmp_path, (prills, "2 g/L"))), count=32)
    assert not any("cool the tank" in n for n in weak.notes)
    # 400 g/L takes water of 10 C to where a third of urea freezes, -11 C (value from memory).
    slush = read_mix(mix(tmp_path, (prills, "400 g/L"), temperature="10 C"))
    (ice,) = (n for n in forecast(slush, count=32).notes if "Ice comes" in n)
    assert float(ice.split("(")[1].split(" C")[0]) == pytest.approx(-13.0, abs=4.0)


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
    for meets in ({"alginate": 0.002}, {"gluconate": 0.01}, {"tartrate": 0.01}, {"citrate": 0.01}):
        assert any("boric acid" in w for w in beyond_ions(alone, {"B": 0.01, **meets}))
    assert any(
        "takes up air sooner" in w for w in beyond_ions(alone, {"Fe2": 0.01, "humate": 0.01})
    )
    assert any("bridged" in w for w in beyond_ions(with_soap, {"humate": 0.001}))
    assert not any("bridged" in w for w in beyond_ions(alone, {"humate": 0.001}))


@pytest.mark.parametrize("left", ["urea", "alginate", "humate"])
def test_a_leftover_tank_is_spoken_of_before_a_warm_night(tmp_path: Path, left: str) -> None:
    path = mix(tmp_path, ("calcium-chloride-liquor", "10 mL/L"))
    warm = change_mix(read_mix(path), tmp_path, coldest="66 F", temperature="77 F")
    assert any("warm night" in w for w in beyond_ions(warm, {left: 0.05}))
    cool = change_mix(read_mix(path), tmp_path, coldest="45 F")
    for other in (cool, read_mix(path)):
        assert not any("warm night" in w for w in beyond_ions(other, {left: 0.05}))


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
sources = ["ferric ammonium citrate", "citric acid"]
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
    "either": """
name = "Iron with urea and citric acid, invented"
density = "10.2 lb/gal"
sources = ["urea", "iron citrate", "citric acid"]
[guarantee]
"total nitrogen" = 6.0
"iron" = 5.0
""",
    "kelp": """
name = "Kelp, invented"
density = "8.8 lb/gal"
sources = ["seaweed extract"]
[guarantee]
"soluble potash" = 1.0
""",
}


def trade_mix(folder: Path, iron: str) -> Mix:
    for name, text in TRADE_CASE.items():
        (folder / f"{name}.toml").write_text(text)
    parts = [("calcium", "8"), (iron, "8"), ("kelp", "0.5")]
    lines = ['name = "test"', 'water = "soft.toml"', 'carrier = "0.5 gal/1000 sq ft"']
    for name, rate in parts:
        lines += ["[[add]]", f'product = "{name}.toml"', f'rate = "{rate} fl oz/1000 sq ft"']
    path = folder / f"{iron}-mix.toml"
    path.write_text("\n".join(lines))
    return read_mix(path)


def trade_case(folder: Path, iron: str) -> Forecast:
    return forecast(trade_mix(folder, iron), count=128)


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
    # The label says nothing of its pH: citric acid beside it tells the acid kind of the goods.
    assert 4.5 < found.ph.median < 5.5


def test_a_label_that_leaves_the_iron_open_draws_both_and_a_strip_tells_them_apart(
    tmp_path: Path,
) -> None:
    mix = trade_mix(tmp_path, "either")
    sour = diagnose(mix, seen=["grit"], after_min=240.0, ph=2.2, count=128, remedies=False)
    assert sour.causes[0].key == "gypsum" and sour.causes[0].probability > 0.9
    # Only where the iron is a sulfate does gypsum fall: its jug brings the sulfate then.
    giver = {component: jug for component, jug, _ in sour.causes[0].givers}
    assert giver["SO4"].startswith("Iron with urea")
    milder = diagnose(mix, seen=["haze"], after_min=240.0, ph=5.0, count=128, remedies=False)
    odds = {c.key: c.probability for c in milder.causes}
    assert odds["calcium_citrate"] > 0.25
    assert odds["calcium_citrate"] > 3.0 * next(
        (c.probability for c in sour.causes if c.key == "calcium_citrate"), 0.02
    )


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


# Degassing of hard water, Stumm and Morgan 1996, section 4.5: at 7 mmol/L of alkalinity and little
# else the water that lost its carbon dioxide to the air stands near pH 8.6 to 8.8.
def test_stirring_drives_carbon_dioxide_out_by_4_h_and_lime_may_follow(tmp_path: Path) -> None:
    path = mix(tmp_path, ("urea-liquor", "2 mL/L"))
    study = Study(64, 1)
    hard = study.look(change_mix(read_mix(path), tmp_path, water="hard-alkaline.toml"))
    assert hard.driven is not None
    moved = hard.driven.whole > 0.0
    assert moved.mean() > 0.5
    ph = [float(np.median(s.clear.ph[moved])) for s in (hard.fresh, *hard.states.values())]
    assert ph[0] == ph[1] < ph[2] - 0.3 and ph[2] <= ph[3]
    assert 8.2 < ph[3] < 8.9
    lime = hard.fresh.phases.keys.index("calcite")
    risen = [float(np.median(s.si[moved, lime])) for s in (hard.fresh, hard.states["24h"])]
    assert risen[1] > risen[0] + 0.8
    assert hard.shows_alone("15min")["calcite"] < hard.shows_alone("24h")["calcite"]
    # Each draw stirs at its own rate: some have lost nearly all by 4 h, some little.
    left = 1.0 - hard.driven.by(14400.0)[moved] / hard.driven.whole[moved]
    assert left.max() - left.min() > 0.5
    told = forecast(hard.ready.mix, count=64)
    assert any("drives carbon dioxide out" in n for n in told.notes)
    assert told.ph.median == pytest.approx(hard.ph.median, abs=1e-9)
    assert hard.ph.median < 7.8
    assert study.look(read_mix(path)).driven is None


def test_a_batch_loses_what_each_tank_loses_alone(tmp_path: Path) -> None:
    study = Study(16, 1)
    mixes = [
        change_mix(read_mix(mix(tmp_path, ("urea-liquor", rate))), tmp_path, water="hard-alkaline")
        for rate in ("2 mL/L", "4 mL/L")
    ]
    for one, batched in zip(mixes, study.follow(mixes), strict=True):
        alone = study.look(one)
        for t, chance in alone.probability.items():
            assert batched.probability[t] == pytest.approx(chance, abs=1e-6)
