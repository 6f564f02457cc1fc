"""What others measured, against our tables and solver.

Every row of `validation/values.csv` that has a tolerance is one test; its source stands in the row
and in the failure's message. The tests below them judge whole series, and signs that have no
number. A row not yet at the tolerance wanted says so in its note.
"""

from __future__ import annotations

import statistics
from collections.abc import Callable, Iterable
from functools import cache

import numpy as np
import pytest
from validation.build import README as PAGE
from validation.build import RESULTS, page, pictures, read_results
from validation.runner import (
    Check,
    computed,
    dissolved,
    distance,
    read_checks,
    saturated,
    system_of,
)

from chem.reference import tables

CHECKS = read_checks()
BY_ID = {c.id: c for c in CHECKS}
JUDGED = [c for c in CHECKS if c.tolerance]


@cache
def ours(check_id: str) -> float | str:
    return computed(BY_ID[check_id])


def off(check: Check, tolerance: str = "1 %") -> float:
    """Signed distance in the measure of a tolerance."""
    return distance(check, ours(check.id), tolerance)[0]


def chosen(keep: Callable[[Check], bool]) -> list[Check]:
    found = [c for c in CHECKS if keep(c)]
    assert found
    return found


@pytest.mark.parametrize("check", JUDGED, ids=[c.id for c in JUDGED])
def test_each_value_within_its_tolerance(check: Check) -> None:
    got = ours(check.id)
    error, limit = distance(check, got)
    assert abs(error) <= limit, (
        f"{check.system}, {check.quantity}: measured {check.value}, ours {got}, "
        f"off by {error:.4g} of {check.tolerance} ({check.source})"
    )


@pytest.mark.parametrize("check", [c for c in CHECKS if not c.tolerance], ids=lambda c: c.id)
def test_a_value_outside_the_range_still_gives_a_number(check: Check) -> None:
    got = ours(check.id)
    assert isinstance(got, float) and np.isfinite(got) and got > 0.0


def test_rows_are_whole() -> None:
    assert len(BY_ID) == len(CHECKS)
    for check in CHECKS:
        assert check.source.strip(), check.id
        assert check.how_known in {"read", "package data", "value from memory"}, check.id
        assert check.fitted in {"yes", "no", "partly", "not blind"}, check.id
        assert check.kind in {"fitted", "blind", "recalled", "not blind"}, check.id
        assert set(check.totals) <= set(tables().components), check.id
        assert "ionic strength above" in check.note or check.tolerance or "not judged" in check.note


def test_no_fitted_coefficient_passes_for_a_check() -> None:
    for check in chosen(lambda c: c.quantity.startswith("mean activity coefficient")):
        ions = check.quantity.removeprefix("mean activity coefficient of ").split(" with ")
        row = tables().interactions[frozenset(ions)]
        assert (check.fitted == "yes") == (row.kind == "fitted"), check.id
    for check in chosen(lambda c: c.quantity.startswith(("solubility of", "log K: "))):
        solid = check.quantity.removeprefix("log K: ").removeprefix("solubility of ").split()[0]
        if solid in tables().solids and tables().solids[solid].constant.kind == "fitted":
            no_medium = not check.totals and "soil" not in check.id
            assert check.fitted != "no" or not no_medium, check.id


# European Pharmacopoeia 5.0, table 2.2.3-2; JIS Z 8802 (2011); Staples and Bates, J. Res. NBS 73A
# (1969) 37; Hetzer, Durst, Robinson and Bates, J. Res. NBS 81A (1977).
def test_ph_standards_as_a_whole() -> None:
    errors = [off(c, "0.02") for c in chosen(lambda c: c.group.startswith("1 "))]
    assert statistics.median(map(abs, errors)) < 0.01
    assert abs(statistics.mean(errors)) < 0.01


# Bower and Bates, J. Res. NBS 55 (1955) 197; Bates and Bower, Anal. Chem. 28 (1956) 1322;
# McIlvaine, J. Biol. Chem. 49 (1921) 183, on Sorensen's scale.
def test_buffer_series_have_no_common_bias() -> None:
    rows = chosen(lambda c: "_buffer_" in c.id and c.kind != "not blind")
    errors = [off(c, "0.08") for c in rows]
    assert abs(statistics.mean(errors)) < 0.03
    assert statistics.mean(map(abs, errors)) < 0.05


# ACS Reagent Chemicals (2017), pH of a 5 % solution; USP 35; handbook list of approximate pH.
def test_ph_of_salts_as_a_whole() -> None:
    rest = chosen(
        lambda c: c.group.startswith("2 ") and c.quantity == "pH" and not c.id.startswith("window")
    )
    errors = [abs(off(c, "0.1")) for c in rest]
    assert statistics.median(errors) < 0.15
    assert max(errors) < 0.4


def judged_gypsum(keep: Callable[[Check], bool]) -> list[float]:
    rows = chosen(lambda c: c.id.startswith("gypsum_") and "solub" in c.quantity and keep(c))
    return [abs(off(c)) for c in rows if c.tolerance]


# Marshall and Slusher, J. Phys. Chem. 70 (1966) 4015.
def test_gypsum_in_sodium_chloride_as_a_whole() -> None:
    errors = judged_gypsum(lambda c: "_nacl_" in c.id)
    assert statistics.mean(errors) < 0.015
    assert max(errors) < 0.04


# Seidell and Smith, J. Phys. Chem. 8 (1904) 493: values from memory, in no fit.
def test_gypsum_in_nitrates_that_entered_no_fit() -> None:
    errors = judged_gypsum(lambda c: c.fitted == "no")
    assert len(errors) >= 12
    assert statistics.mean(errors) < 0.07
    assert max(errors) < 0.18


# Block and Waters, J. Chem. Eng. Data 13 (1968) 336; Cameron and co-workers, J. Phys. Chem.
# 5-10 (1901-1906); Sullivan, J. Am. Chem. Soc. 27 (1905) 529.
def test_gypsum_in_other_media_as_a_whole() -> None:
    errors = judged_gypsum(lambda c: "_water" not in c.id and "_nacl_" not in c.id)
    assert statistics.mean(errors) < 0.07
    assert max(errors) < 0.18


# CRC Handbook 97th ed. (Hamer and Wu; Staples; Goldberg); Robinson and Stokes (from memory).
@pytest.mark.parametrize("fitted", [("no",), ("no", "yes", "partly")])
def test_activity_coefficients_as_a_whole(fitted: Iterable[str]) -> None:
    rows = chosen(lambda c: c.id.startswith("gamma_") and bool(c.tolerance) and c.fitted in fitted)
    errors = [abs(off(c)) for c in rows]
    assert statistics.median(errors) < 0.03
    assert max(errors) < 0.12


def brushite_calcium(ph: float, t_celsius: float) -> float:
    """Dissolved calcium [mol/kg] over brushite in just as much phosphoric acid as gives this pH."""
    system = system_of(frozenset({"Ca", "PO4"}))
    low, high = 1e-5, 0.3
    for _ in range(18):
        acid = (low * high) ** 0.5
        state = saturated(system, {"PO4": acid}, "brushite", t_celsius)
        low, high = (acid, high) if state.ph[0] > ph else (low, acid)
    return dissolved(state, "Ca")


# Gregory, Moreno and Brown, J. Res. NBS 74A (1970) 461: at 5-37.5 C and pH 3.5-7 less brushite
# dissolves in warmer water, although its product is highest near 25 C.
@pytest.mark.parametrize("ph", [3.5, 4.0, 5.0, 6.0, 7.0])
def test_brushite_dissolves_less_in_warm_water(ph: float) -> None:
    assert brushite_calcium(ph, 37.5) < brushite_calcium(ph, 5.0)


# Wollmann and Voigt, J. Chem. Eng. Data 53 (2008) 1375: in metal sulfates gypsum falls to a
# minimum and rises again towards 1.2 mol/kg.
@pytest.mark.parametrize("t_celsius", [25.0, 40.0])
def test_gypsum_in_magnesium_sulfate_passes_a_minimum(t_celsius: float) -> None:
    system = system_of(frozenset({"Ca", "SO4", "Mg"}))
    medium = (0.003, 0.15, 0.75)
    calcium = [
        dissolved(saturated(system, {"Mg": m, "SO4": m}, "gypsum", t_celsius), "Ca") for m in medium
    ]
    assert calcium[1] < calcium[0]
    assert calcium[2] > calcium[1]


def test_stored_results_are_those_of_today() -> None:
    stored = read_results()
    assert [r["id"] for r in stored] == [c.id for c in CHECKS]
    stale = []
    for row in stored:
        got = ours(row["id"])
        if isinstance(got, str):
            same = row["ours"] == got
        else:
            same = bool(np.isclose(float(row["ours"]), got, rtol=2e-3, atol=0.0))
        if not same:
            stale.append(row["id"])
    assert not stale, f"run `python tests/validation/build.py`: {RESULTS.name} is old for {stale}"


def test_the_page_is_the_one_that_the_results_give() -> None:
    stored = read_results()
    assert PAGE.read_text(encoding="utf-8") == page(CHECKS, stored)
    for path, text in pictures(CHECKS, stored).items():
        assert path.read_text(encoding="utf-8") == text
