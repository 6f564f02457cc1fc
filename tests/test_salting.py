"""Salting out and freezing of strong liquids against figures that stand in no table of ours."""

from __future__ import annotations

import numpy as np
import pytest

from chem.label.salting import salting_out
from chem.reference import catalogue, read_csv, tables
from chem.reference.liquidus import ICE, liquiduses


def jug(**percent: float) -> tuple[float, float, str]:
    """Salts of a liquid in percent by mass without crystal water -> salt and ice [C], reason."""
    moles: dict[str, float] = {}
    for name, w in percent.items():
        source = catalogue().sources[name.replace("_", " ")]
        dry = source.molar_mass * (1.0 - source.water_share)
        for component, n in source.components.items():
            moles[component] = moles.get(component, 0.0) + 10.0 * w * n / dry
    water = np.array([1.0 - sum(percent.values()) / 100.0])
    found = salting_out(tuple(moles), np.array([list(moles.values())]), water)
    reason = found.reasons[found.reason[0]] if found.reason[0] >= 0 else ""
    return float(found.salt_celsius[0]), float(found.ice_celsius[0]), reason


# UAN: Reiter, Virginia Cooperative Extension SPES-199NP, and a sheet of physical characteristics
# of fertilizer materials (1 F, 14 F, 28 F and -1 F); urea 50 %: common practice, no source. The
# rest are tables of older handbooks (Seidell, Lange, Perry), of which no row stands in ours.
@pytest.mark.parametrize(
    ("percent", "measured"),
    [
        ({"ammonium_nitrate": 40, "urea": 30}, -17.2),
        ({"ammonium_nitrate": 42, "urea": 33}, -10.0),
        ({"ammonium_nitrate": 45, "urea": 35}, -2.2),
        ({"urea": 50}, 16.0),
        ({"urea": 51.92}, 20.0),
        ({"potassium_nitrate": 24.01}, 20.0),
        ({"potassium_chloride": 25.48}, 20.0),
        ({"ammonium_sulfate": 42.99}, 20.0),
        ({"calcium_chloride": 42.69}, 20.0),
        ({"calcium_nitrate": 53.49}, 10.0),
        ({"magnesium_nitrate": 41.0}, 20.0),
        ({"monopotassium_phosphate": 18.43}, 20.0),
        ({"monoammonium_phosphate": 27.22}, 20.0),
        ({"diammonium_phosphate": 42.89}, 30.0),
        ({"potassium_bicarbonate": 25.21}, 20.0),
        ({"potassium_acetate": 71.91}, 20.0),
        ({"ammonium_nitrate": 65.75}, 20.0),
        ({"magnesium_sulfate": 25.98}, 20.0),
        ({"zinc_sulfate": 34.98}, 20.0),
        ({"copper_sulfate": 17.01}, 20.0),
        ({"boric_acid": 4.72}, 20.0),
        ({"potassium_thiosulfate": 60.78}, 20.0),
        ({"sodium_nitrate": 46.7}, 20.0),
    ],
)
def test_salting_out_within_5_kelvin_where_a_table_holds(
    percent: dict[str, float], measured: float
) -> None:
    assert jug(**percent)[0] == pytest.approx(measured, abs=5.0)


# Forsythe, Smithsonian Physical Tables, 9th ed. (1956); VDI Heat Atlas: freezing points.
@pytest.mark.parametrize(
    ("percent", "measured"),
    [
        ({"calcium_chloride": 18.16}, -15.27),
        ({"calcium_chloride": 25.7}, -31.2),
        ({"magnesium_chloride": 13.8}, -14.5),
        ({"potassium_carbonate": 27.0}, -15.0),
        ({"potassium_carbonate": 34.0}, -25.0),
        ({"potassium_chloride": 10.06}, -4.88),
        ({"potassium_nitrate": 4.81}, -1.47),
        ({"magnesium_sulfate": 10.74}, -2.08),
    ],
)
def test_ice_is_told_from_salt(percent: dict[str, float], measured: float) -> None:
    salt, ice, _ = jug(**percent)
    assert salt == -np.inf
    assert ice == pytest.approx(measured, abs=2.5)  # independent sources differ by up to 2 K


def test_outside_the_tables_it_says_so_and_nothing_is_clamped() -> None:
    for percent, words in (
        ({"potassium_chloride": 10.0, "urea": 10.0}, "no measured table"),
        ({"ammonium_nitrate": 20.0, "urea": 60.0}, "no measured table"),
        ({"ammonium_nitrate": 36.0, "urea": 27.0}, "ends at -18 C"),
        ({"magnesium_thiosulfate": 20.0}, "ends at 0 C"),
    ):
        salt, _, reason = jug(**percent)
        assert np.isnan(salt) and words in reason, percent
    salt, _, reason = jug(potassium_nitrate=60.0)
    assert salt == np.inf and "ends at 60 C" in reason
    assert jug(calcium_chloride=33.0)[0] < -20.0


def test_every_line_has_a_source_and_rises_with_temperature() -> None:
    for row in read_csv("liquidus.csv"):
        assert row["source"] in tables().references, row
        assert row["how"] in {"read", "value from memory"} and float(row["u_K"]) > 0.0
    for system in liquiduses().values():
        assert set(system.salts) <= set(catalogue().sources), system.key
        for line in system.lines:
            assert line.solid != ICE
            steps = np.diff(line.w_percent)
            assert (steps > -1.0).all() or line.falls, (system.key, line.solid)
        if system.ice is not None:
            order = np.argsort(system.ice.w_percent)
            assert (np.diff(system.ice.t_celsius[order]) < 1.0).all(), system.key
