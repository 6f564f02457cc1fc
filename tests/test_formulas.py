"""Formulas held to what they are derived from: slopes by differences, densities by their integrals,
small cases by hand. Sources are those of the formulas, in the modules."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from chem.doubts import doubts
from chem.equilibrium import Conditions, build_phases, build_system, coverage, solve
from chem.equilibrium.activity import LN10, debye_hueckel_a, osmotic_debye_hueckel
from chem.forecast import Study
from chem.forecast.sight import sight
from chem.forecast.state import _per_degree
from chem.forecast.study import _Kept
from chem.label.closing import FINE, _band, _blurred
from chem.label.evidence import t4
from chem.label.paste import _list_alone
from chem.notebook.entry import Dose
from chem.notebook.facts import HALF_90, _near, grams_per_L, log_odds, spread_of
from chem.notebook.memory import Seen, _log_likelihood
from chem.tank import read_mix

EXAMPLES = Path(__file__).parent.parent / "examples"
STEP = float(FINE[1] - FINE[0])


def test_the_osmotic_part_is_the_integral_of_the_activity_coefficients() -> None:
    """Gibbs-Duhem of a 1:1 salt: d sum m (1 - phi) = -2 m d ln gamma; Robinson and Stokes,
    Electrolyte Solutions (2nd ed. 1959), chapter 2."""
    a, ba = debye_hueckel_a(25.0), 1.5
    molality = np.linspace(0.0, 2.0, 200_001)
    ln_gamma = -a * LN10 * np.sqrt(molality) / (1.0 + ba * np.sqrt(molality))
    middle = 0.5 * (molality[1:] + molality[:-1])
    by_steps = np.cumsum(-2.0 * middle * np.diff(ln_gamma))
    for end in (20_000, 100_000, 199_999):
        root = np.array([np.sqrt(molality[end + 1])])
        assert osmotic_debye_hueckel(root, a, ba)[0] == pytest.approx(by_steps[end], rel=1e-5)


def test_coverage_counts_pairs_by_the_strength_that_meets_in_them() -> None:
    system = build_system(("Ca", "Cu", "K", "NO3", "S2O3", "Cl"))
    totals = np.array([[0.02, 0.005, 0.1, 0.06, 0.03, 0.029]])
    state = solve(system, totals, Conditions.nominal(system, 25.0), ph=np.array([6.0]))
    m, z = state.molality[0], system.charge
    guessed = system.estimated.sum(axis=0)
    measured = total = 0.0
    for i in np.flatnonzero(z > 0):
        for j in np.flatnonzero(z < 0):
            meets = m[i] * z[i] * m[j] * -z[j]
            total += meets
            measured += meets * (1.0 - guessed[i, j])
    assert 0.0 < measured / total < 1.0
    assert coverage(state)[0] == pytest.approx(measured / total, rel=1e-12)


def test_the_slope_of_a_constant_is_that_of_its_table() -> None:
    phases = build_phases(build_system(("Ca", "SO4", "CO3")))
    wide = (phases.log_k(35.0) - phases.log_k(15.0)) / 20.0
    assert _per_degree(phases, 25.0) == pytest.approx(wide, abs=2e-3)
    assert np.abs(wide).max() > 5e-3  # calcite falls by 0.01 a degree


@pytest.mark.parametrize("blur", [1.0, 1.8])
def test_the_memory_climbs_by_true_slopes(blur: float) -> None:
    """Slope and curvature against differences."""
    seen = [
        Seen(("a", "b"), (0.8, 0.15, 0.05), 0.4, -1.2, 1.0),
        Seen(("a",), (0.1, 0.6, 0.3), -0.7, -0.9, 0.5),
        Seen(("b", "c"), (0.05, 0.25, 0.7), 2.0, 1.0, 0.3),
    ]
    f, h = np.array([0.3, -0.4, 0.1]), 1e-4
    value, slope, curve = _log_likelihood(f, seen, blur)
    above, up, _ = _log_likelihood(f + h, seen, blur)
    below, down, _ = _log_likelihood(f - h, seen, blur)
    assert slope == pytest.approx((above - below) / (2.0 * h), abs=1e-6)
    steep = (up - down) / (2.0 * h)
    assert curve == pytest.approx(np.minimum(steep, -1e-9), abs=1e-6)
    sure = 1.0 / (1.0 + np.exp(-(0.4 + 0.3) / blur)), 1.0 / (1.0 + np.exp((1.2 - 0.3) / blur))
    by_hand = 0.8 * (1.0 - sure[0]) + 0.15 * (sure[0] - sure[1]) + 0.05 * sure[1]
    assert value[0] == pytest.approx(np.log(by_hand))


def test_a_look_counts_by_its_worth() -> None:
    f = np.array([0.2])
    full = _log_likelihood(f, [Seen(("a",), (0.1, 0.6, 0.3), 0.5, -0.5, 1.0)], 1.0)
    half = _log_likelihood(f, [Seen(("a",), (0.1, 0.6, 0.3), 0.5, -0.5, 0.5)], 1.0)
    for one, other in zip(full, half, strict=True):
        assert other[0] == pytest.approx(0.5 * one[0])


def test_densities_of_goods_as_sold_are_densities() -> None:
    band = _band(4.0, 6.0)
    assert band.sum() * STEP == pytest.approx(1.0, abs=0.01)
    inside = band[(FINE >= 4.0) & (FINE <= 6.0)].sum() * STEP
    assert inside == pytest.approx(0.90, abs=0.01)
    assert t4(np.array([0.0, 2.132]))[0] == pytest.approx(0.375)
    z = np.linspace(2.132, 400.0, 2_000_000)
    assert t4(z).sum() * (z[1] - z[0]) == pytest.approx(0.05, abs=1e-4)  # Student's table
    even = _blurred(5.0, 7.0, 0.3)
    assert even.sum() * STEP / np.sqrt(2.0 * np.pi) == pytest.approx(1.0, abs=0.01)
    assert float((even * FINE).sum() / even.sum()) == pytest.approx(6.0, abs=1e-6)


def test_odds_by_counting() -> None:
    happens = np.array([True, True, True, False, False, True, False, False])
    ok = np.array([True, True, True, True, True, False, True, True])
    unknown = doubts()["unknown_odds"].a
    assert log_odds(happens, ok) == pytest.approx(np.log(3.0 / 4.0) + unknown)
    assert log_odds(~happens & happens, ok) == pytest.approx(np.log(0.0625 / 0.9375) + unknown)


def test_spread_by_the_middle_nine_tenths() -> None:
    ph = np.linspace(5.0, 7.0, 100_001)
    middle, spread = spread_of(ph)
    assert middle == pytest.approx(6.0)
    assert spread.below == pytest.approx(0.9 / HALF_90, rel=1e-4)
    assert spread.above == pytest.approx(0.9 / HALF_90, rel=1e-4)
    assert pytest.approx(1.645, abs=1e-3) == HALF_90


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [(600.0, 640.0, True), (600.0, 1500.0, False), (30.0, 100.0, True), (30.0, 300.0, False),
     (3600.0, 2000.0, True), (None, 60.0, False), (60.0, None, False)],
)  # fmt: skip
def test_two_times_are_near(one: float | None, other: float | None, same: bool) -> None:
    """Within half of the longer and a minute."""
    assert _near(one, other) is same


def test_a_dose_of_a_ladder_is_grams_per_litre() -> None:
    weighed = Dose(amount="2 g", agent="citric acid", jar="500 mL")
    assert grams_per_L(weighed) == pytest.approx(4.0)
    assert grams_per_L(Dose(amount="2 g", agent=None, jar="500 mL")) is None
    assert grams_per_L(Dose(amount="2 g", agent="citric acid", jar=None)) is None


def test_the_result_longest_unused_gives_way() -> None:
    kept: _Kept[int] = _Kept(2)
    assert [kept.of(word, lambda n=n: n) for n, word in enumerate("abac")] == [0, 1, 0, 3]
    assert list(kept) == ["a", "c"]


def test_a_list_of_sources_may_stand_without_a_heading() -> None:
    line = "urea, ferrous sulfate, citric acid"
    assert _list_alone(line) == line
    for other in (
        "urea, ferrous sulfate, good ideas",
        "urea, citric acid",
        "urea 46, ferrous sulfate, citric acid",
        "urea and ferrous sulfate",
    ):
        assert _list_alone(other) is None


@pytest.mark.parametrize("words", [("clear",), ("haze",), ("flakes", "haze")])
def test_what_was_seen_weighs_versions_between_never_and_fully(words: tuple[str, ...]) -> None:
    """A version that fits counts fully at most, and what was seen parts them."""
    found = Study(32, 1).look(read_mix(EXAMPLES / "hazes-overnight.toml"))
    night = sight(found, words, 86400.0)
    assert ((night.fits >= 0.0) & (night.fits <= 1.0)).all()
    heavy, light = night.fits[night.shows], night.fits[~night.shows]
    assert heavy.size and light.size
    assert bool(heavy.mean() > light.mean()) is (words != ("clear",))
