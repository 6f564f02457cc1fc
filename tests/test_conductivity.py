"""Conductivity against measured salts; sources stand in `validation/conductivity.csv`."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from chem.equilibrium import Conditions, Equilibrium, build_system, conductivity_mS_per_cm, solve
from chem.reference import read_csv, tables

ROWS = list(
    csv.DictReader((Path(__file__).parent / "validation" / "conductivity.csv").open(newline=""))
)


def solved(t_celsius: float, **totals: float) -> Equilibrium:
    system = build_system(totals)
    return solve(system, system.totals(totals), Conditions.nominal(system, t_celsius))


def figure(t_celsius: float, **totals: float) -> float:
    return float(conductivity_mS_per_cm(solved(t_celsius, **totals))[0])


def within(row: dict[str, str]) -> bool | None:
    """Within 5 % up to I = 0.1 mol/kg, 10 % up to 0.7, and the rounding of the figure."""
    parts = (p.split("=") for p in row["composition"].split(";"))
    totals = {k.strip(): float(v) for k, v in parts}
    state = solved(float(row["t_celsius"]), **totals)
    ours, measured = float(conductivity_mS_per_cm(state)[0]), float(row["kappa_mS_per_cm"])
    if not np.isfinite(ours):
        return None
    tolerance = 0.05 if float(state.ionic_strength[0]) <= 0.1 else 0.10
    return abs(ours - measured) <= tolerance * measured + float(row["rounding"])


@pytest.mark.parametrize(("kinds", "least"), [(("blind", "recalled"), 0.90), (("fitted",), 0.95)])
def test_nine_in_ten_measured_rows_are_within_tolerance(
    kinds: tuple[str, ...], least: float
) -> None:
    judged = [within(row) for row in ROWS if row["kind"] in kinds]
    told = [w for w in judged if w is not None]
    assert len(told) > 100
    assert sum(told) / len(told) >= least


# Wu, Koch and Pratt 1991, J. Res. NIST 96, 191: potassium chloride of 0.01 and 0.1 D.
@pytest.mark.parametrize(
    ("m", "t_celsius", "measured"),
    [(0.01, 0.0, 0.77292), (0.01, 25.0, 1.40823), (0.1, 10.0, 9.29172), (0.1, 25.0, 12.8246)],
)
def test_potassium_chloride_standards(m: float, t_celsius: float, measured: float) -> None:
    assert figure(t_celsius, K=m, Cl=m) == pytest.approx(measured, rel=0.02)


def test_no_figure_beyond_its_range() -> None:
    assert np.isnan(figure(25.0, K=0.8, Cl=0.8))
    assert np.isnan(figure(25.0, Cl=0.01))  # hydrochloric acid, pH 2
    assert np.isfinite(figure(25.0, K=0.6, Cl=0.6))


def test_ions_that_leave_carry_nothing_and_warmth_speeds_the_rest() -> None:
    salt = figure(25.0, Ca=0.01, Cl=0.02)
    assert figure(25.0, Ca=0.01, Cl=0.02, urea=0.5) == pytest.approx(salt, rel=1e-3)
    assert figure(25.0, Ca=0.01, EDTA=0.01, Na=0.02, Cl=0.0) < salt * 1.3
    # 1.9 to 2.1 % per degree at 25 C (McCleskey et al. 2012)
    rise = figure(26.0, Ca=0.01, Cl=0.02) / salt - 1.0
    assert 0.018 < rise < 0.022


def test_rows_have_sources() -> None:
    for table in ("conductivity.csv", "conductivity_pairs.csv"):
        for row in read_csv(table):
            assert row["source"] in tables().references, row
    known = {s.key for s in tables().species} | {c.master for c in tables().components.values()}
    extra = {r["species"] for r in read_csv("conductivity.csv")} - known - {"H+", "NaSO4-"}
    assert not extra
    assert {r["kind"] for r in ROWS} == {"fitted", "blind", "recalled"}
