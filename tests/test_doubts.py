"""Draws and the shares of their doubts."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from chem.doubts import Draws, chance, doubts, first_order, quantile, range_of
from chem.forecast.settling import settle_by

DATA = Path(__file__).parent.parent / "data"


def test_columns_depend_on_their_own_name_and_seed_only() -> None:
    one, two = Draws(64, 5), Draws(64, 5)
    two.normal("something:else")
    assert (one.normal("a") == two.normal("a")).all()
    assert (one.normal("a") != Draws(64, 6).normal("a")).any()
    with pytest.raises(ValueError, match="read-only"):
        one.normal("a")[0] = 1.0


def test_stratified_columns_have_the_moments_asked_for() -> None:
    draws = Draws(1000, 1)
    column = draws.normal("n", 2.0, 0.5)
    assert column.mean() == pytest.approx(2.0, abs=1e-9)
    assert column.std() == pytest.approx(0.5, rel=0.01)
    assert np.log(draws.factor("f", 0.3)).std() == pytest.approx(0.3, rel=0.01)
    even = draws.uniform("u", 1.0, 3.0)
    assert (even.min(), even.max()) == pytest.approx((1.001, 2.999))


def test_quantiles_and_chances() -> None:
    values = np.array([1.0, 2.0, 3.0, 4.0])
    assert quantile(values, 0.5) == pytest.approx(2.5)
    assert quantile([*values, np.nan, np.inf], 0.5) == pytest.approx(2.5)
    assert chance(values > 3.5) == pytest.approx(0.25)
    seen = np.array([0.0, 0.0, 0.0, 1.0])
    assert chance(values > 3.5, weights=seen) == pytest.approx(1.0)
    assert chance(values > 3.5, np.array([True, True, True, False])) == 0.0
    assert np.isnan(chance(values > 3.5, np.zeros(4, dtype=bool)))
    assert range_of(values, 2.0).p95 - 2.5 == pytest.approx(2.0 * (range_of(values).p95 - 2.5))


def test_a_remembered_shift_moves_odds_and_never_to_certainty() -> None:
    none, all_ = np.zeros(100, dtype=bool), np.ones(100, dtype=bool)
    assert chance(none) == 0.0 and chance(all_) == 1.0
    assert 0.0 < chance(none, shift=-1.0) < chance(none, shift=1.0) < 0.02
    half = np.arange(100) < 50
    assert chance(half, shift=1.0) == pytest.approx(1.0 / (1.0 + np.exp(-1.0)))


def test_few_rows_are_the_first_of_the_many_and_spread_evenly() -> None:
    whole = Draws(256, 3)
    for count in (16, 64):
        few = whole.first(count)
        column = few.uniform("u", 0.0, 1.0)
        np.testing.assert_array_equal(column, whole.uniform("u", 0.0, 1.0)[:count])
        assert sorted((column * count).astype(int)) == list(range(count))


def test_a_column_is_known_by_what_it_is_of() -> None:
    """A jug edited from a range to a figure must not find the old jug's column."""
    draws = Draws(64, 1)
    one, other = draws.scoped("jug as read"), draws.scoped("jug edited")
    wide, narrow = one.uniform("density", 1.0, 2.0), other.uniform("density", 1.3, 1.4)
    assert narrow.min() > 1.3 and narrow.max() < 1.4
    assert (np.argsort(wide) == np.argsort(narrow)).all(), "the order comes from the name alone"
    assert set(one.used) == {"density"} and not draws.used


def test_what_no_draw_can_know_keeps_odds_from_none_and_all() -> None:
    """The mean of a logistic of a normal: by numbers, with a trapezoid over the normal."""
    happens = np.arange(200) < 20
    z = np.linspace(-8.0, 8.0, 4001)
    weight = np.exp(-0.5 * z**2) / np.sqrt(2.0 * np.pi)
    for sd in (0.5, 1.0, 2.0):
        exact = np.trapezoid(weight / (1.0 + np.exp(-(np.log(0.1 / 0.9) + sd * z))), z)
        assert chance(happens, unknown=sd) == pytest.approx(exact, abs=0.02)
    assert 0.0 < chance(np.zeros(256, dtype=bool), unknown=2.0) < 0.05
    assert 0.95 < chance(np.ones(256, dtype=bool), unknown=2.0) < 1.0


def test_shares_of_an_additive_response_are_exact() -> None:
    """Y = X1 + 2 X2 of even X: shares 1/5 and 4/5 (variances add)."""
    draws = Draws(4096, 3)
    x1, x2, x3 = (draws.uniform(n, 0.0, 1.0) for n in ("1", "2", "3"))
    y = x1 + 2.0 * x2
    assert first_order(y, x1) == pytest.approx(0.2, abs=0.02)
    assert first_order(y, x2) == pytest.approx(0.8, abs=0.02)
    assert first_order(y, x3) < 0.02


def test_shares_of_the_ishigami_function() -> None:
    """Ishigami and Homma 1990 with a = 7, b = 0.1: S1 = 0.3139, S2 = 0.4424, S3 = 0."""
    draws = Draws(8192, 2)
    x1, x2, x3 = (draws.uniform(n, -np.pi, np.pi) for n in ("1", "2", "3"))
    y = np.sin(x1) + 7.0 * np.sin(x2) ** 2 + 0.1 * x3**4 * np.sin(x1)
    assert first_order(y, x1) == pytest.approx(0.3139, abs=0.03)
    assert first_order(y, x2) == pytest.approx(0.4424, abs=0.03)
    assert first_order(y, x3) < 0.03


def test_noise_is_not_reported_at_256_draws() -> None:
    shares = []
    for seed in range(40):
        draws = Draws(256, seed)
        y = draws.normal("y")
        shares.append(first_order(y, draws.normal("unrelated")))
    assert np.quantile(shares, 0.9) < 0.05


def test_every_doubt_has_reason_source_and_something_to_do() -> None:
    references = {r["key"] for r in csv.DictReader((DATA / "references.csv").open())}
    for doubt in doubts().values():
        assert doubt.reason and doubt.settle_by and doubt.unit
        assert doubt.source in references
        assert doubt.distribution in {"uniform", "normal", "factor", "chance"}
        if doubt.distribution == "uniform":
            assert doubt.a < doubt.b


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("product:iron:guarantee:iron", "true iron content of iron"),
        ("product:npk:ph", "measure the pH of npk"),
        ("product:npk:undeclared sodium chloride", "chloride content of npk"),
        ("product:npk:source:urea", "how much urea is in npk"),
        ("product:npk:reading of iron chelate", "what the iron chelate of npk is"),
        ("metering:carrier", "tank mark"),
        ("metering:iron", "measure iron closely"),
        ("water:Ca", "tested for Ca"),
        ("log_k:gypsum", "limit of the model"),
        ("tank:temperature", "temperature of the tank"),
        ("tank:stirring", "stir less"),
    ],
)
def test_settling_a_doubt_in_words(name: str, words: str) -> None:
    assert words in settle_by(name)
