"""What readings and looks teach, in small cases: by hand, or by another way to the same figure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import exp, lgamma, log, pi, sqrt
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chem.doubts import doubts
from chem.doubts.spread import blurred
from chem.notebook import readings as of_readings
from chem.notebook.facts import Facts, Jug, LookFact, PhFact, Spread
from chem.notebook.memory import FAR, Memory, Seen, _log_likelihood, alike, seen_of
from chem.notebook.readings import Move, Readings, student_4

# --- readings ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("level", "wanted"),
    [(0.5, 0.0), (0.9, 1.5332), (0.95, 2.1318), (0.975, 2.7764), (0.025, -2.7764)],
)
def test_students_quantiles(level: float, wanted: float) -> None:
    """Student's t with 4 degrees of freedom, any table of it (value from memory)."""
    assert float(student_4(np.array([level]))[0]) == pytest.approx(wanted, abs=1e-4)


def test_students_density_is_one_and_as_its_table_has_it() -> None:
    """f(x) = 3/8 (1 + x^2 / 4)^-2.5, of variance 2; in two directions 1 / (2 pi) at the middle."""
    x = np.linspace(-60.0, 60.0, 24001)
    density = np.exp(of_readings._log_t(x[:, None], np.full((1, 1), 2.0)))
    assert float(density.sum() * 0.005) == pytest.approx(1.0, abs=1e-4)
    for at in (0.0, 1.0, 3.0):
        one = float(of_readings._log_t(np.array([at]), np.full((1, 1), 2.0)))
        assert exp(one) == pytest.approx(0.375 * (1.0 + at**2 / 4.0) ** -2.5)
    wide = float(of_readings._log_t(np.array([3.0]), np.full((1, 1), 18.0)))
    assert exp(wide) == pytest.approx(0.375 * 1.25**-2.5 / 3.0)
    two = float(of_readings._log_t(np.zeros(2), 2.0 * np.eye(2)))
    assert exp(two) == pytest.approx(1.0 / (2.0 * pi))
    mixed = of_readings._mixed_log(np.array([0.25, 0.75]), np.array([0.0, log(3.0)]))
    assert float(mixed) == pytest.approx(log(2.5))


def test_a_move_shifts_shrinks_and_widens_but_for_those_that_stay() -> None:
    levels = {"learned:stays": [0.05, 0.5, 0.5, 0.5], "learned:ph": [0.9, 0.5, 0.5, 0.975]}
    draws = SimpleNamespace(uniform=lambda name, low, high: np.array(levels[name]))
    clear = SimpleNamespace(ph=np.array([6.0, 6.0, 8.0, 7.0]))
    found = Move(0.5, 0.8, 0.1).of(
        cast(Any, SimpleNamespace(draws=draws)), cast(Any, clear)
    )  # the middle of the four is 6.5
    assert found == pytest.approx(
        [0.0, 0.5 + 0.1, 0.5 - 0.3, 0.5 - 0.1 + 0.27764 / sqrt(2.0)], abs=1e-5
    )
    assert not Move(0.0, 1.0, 0.0) and Move(0.0, 0.9, 0.0)
    assert Move(0.24, 0.96, 0.05).rounded() == Move(0.2, 1.0, 0.0)
    assert str(Move(-0.01, 1.0, 0.0).rounded().mean) == "0.0"


JUGS = {name: Jug(name, None, name, reach) for name, reach in (("a", 1.4), ("b", 0.7), ("c", 0.3))}
BROAD = Spread(0.4, 0.6)


def fact(entry: str, jugs: str, off: float, variance: float = 0.04, **more: Any) -> Facts:
    """Jugs share a tank's spread evenly; its reading is `off` the labels' median 7."""
    point = PhFact(7.0 + off, variance, 7.0, BROAD)
    shares = tuple(1.0 / len(jugs) for _ in jugs)
    parts = {"ph": (point,), "looks": (), "spread": BROAD, "shares": shares} | more
    return Facts(entry, True, entry, tuple(JUGS[j] for j in jugs), **parts)


def gauss(tanks: Sequence[Facts], asked: str) -> tuple[float, float]:
    """Mean and variance of the tank asked for, by conditioning one joint normal per setting of the
    grid on all readings at once; settings weighed by Student's t, each entry given those before.
    """
    points = [(n, p) for n, fact in enumerate(tanks) for p in fact.ph]
    jugs = [[j.name for j in tanks[n].jugs] for n, _ in points] + [list(asked)]
    sides = [BROAD.side(p.value > p.median) for _, p in points] + [BROAD.side(True)]
    first = [BROAD.side(tanks[n].ph[0].value > 7.0) for n, _ in points] + [BROAD.side(True)]
    entry = [n for n, _ in points] + [len(tanks)]
    offs, k = np.array([p.value - p.median for _, p in points]), len(points)
    read = np.array(
        [
            p.variance + (0.45 * p.moved * s) ** 2
            for (_, p), s in zip(points, sides[:-1], strict=True)
        ]
    )
    out = []
    for t, c, s0 in of_readings.GRID:
        cov = np.zeros((k + 1, k + 1))
        for i in range(k + 1):
            for j in range(k + 1):
                ways = (sides[i] / first[i]) * (sides[j] / first[j])
                for jug in set(jugs[i]) & set(jugs[j]):
                    own = (t * JUGS[jug].reach) ** 2 + 0.7 * c * first[i] * first[j]
                    cov[i, j] += ways * own / sqrt(len(jugs[i]) * len(jugs[j]))
                if entry[i] == entry[j]:
                    cov[i, j] += 0.3 * c * sides[i] * sides[j] + s0 * (1.0 if i == j else 0.8)
        cov[range(k), range(k)] += read
        weight = 0.0
        for n in range(len(tanks)):
            now, old = ([i for i in range(k) if test(entry[i])] for test in (n.__eq__, n.__gt__))
            gain = np.linalg.solve(cov[np.ix_(old, old)], cov[np.ix_(old, now)])
            off = offs[now] - gain.T @ offs[old]
            scale = 0.5 * (cov[np.ix_(now, now)] - gain.T @ cov[np.ix_(old, now)])
            m = len(now)
            square = float(off @ np.linalg.solve(scale, off))
            whole = lgamma((4 + m) / 2) - lgamma(2) - 0.5 * m * log(4 * pi)
            weight += whole - 0.5 * log(np.linalg.det(scale)) - (4 + m) / 2 * log(1 + square / 4)
        gain = np.linalg.solve(cov[:k, :k], cov[:k, k])
        out.append((weight, float(gain @ offs), float(cov[k, k] - gain @ cov[:k, k])))
    logs, means, variances = np.array(out).T
    each = np.exp(logs - logs.max())
    each /= each.sum()
    middle = float(each @ means)
    return middle, float(each @ (variances + (means - middle) ** 2))


def rung(value: float, moved: float) -> PhFact:
    """A reading with acid in the jar, which had moved the labels' median of 7."""
    return PhFact(value, 0.04, 7.0 - moved, BROAD, moved)


LADDER = (rung(7.3, 0.0), rung(6.5, 0.8), rung(4.9, 2.0))


@pytest.mark.parametrize(
    ("some", "asked"),
    [
        ([fact("1", "a", 0.4)], "a"),
        ([fact("1", "ab", 0.3), fact("2", "bc", 0.5)], "ab"),
        ([fact("1", "ab", 0.3), fact("2", "bc", 0.5), fact("3", "ab", 0.4)], "ac"),
        ([fact("1", "abc", 0.5), fact("2", "a", -0.2)], "abc"),
        ([fact("1", "ab", 0.0, ph=LADDER), fact("2", "bc", 0.2)], "ab"),
    ],
)
def test_readings_teach_as_one_joint_normal_does(some: list[Facts], asked: str) -> None:
    found = Readings(some)
    assert set(found.credit.values()) == {1.0} and not found.asked
    mean, variance, own, side = found.ahead(
        list(asked), [JUGS[j].reach for j in asked], [1.0 / len(asked)] * len(asked), BROAD
    )
    assert (mean, variance / found.stretch**2) == pytest.approx(gauss(some, asked), rel=1e-9)
    assert side == BROAD.above and 0.0 < own < variance
    moved = found.move(
        list(asked), [JUGS[j].reach for j in asked], [1.0 / len(asked)] * len(asked), BROAD
    )
    left = max(variance - moved.shrunk**2 * BROAD.variance, 0.0)
    assert moved.mean == mean and moved.sd == pytest.approx(sqrt(left))
    assert moved.shrunk == pytest.approx(min(1.0, sqrt(own) / side))


def test_a_jug_that_nobody_read_is_as_before_any_reading() -> None:
    """Its offset and its share of the spread are added to what the other leaves."""
    found = Readings([fact("1", "a", 0.3)])
    alone = found.ahead(["a"], [1.4], [0.5], BROAD)
    both = found.ahead(["a", "new"], [1.4, 0.7], [0.5, 0.5], BROAD)
    label = of_readings.OF_JUGS * of_readings.GRID[:, 1] * 0.5 * BROAD.above**2
    offset = (of_readings.GRID[:, 0] * 0.7) ** 2 * 0.5
    assert both[0] == alone[0]
    assert (both[1] - alone[1]) / found.stretch**2 == pytest.approx(
        float(found.weights @ (label + offset))
    )
    assert both[2] - alone[2] == pytest.approx(float(found.weights @ label))
    assert not found.knows(["new"]) and found.knows(["new", "a"])
    assert found.move_of(fact("2", "b", 0.3)) == Move(0.0, 1.0, 0.0)
    assert found.move_of(fact("2", "a", 0.3)).mean > 0.1


def test_the_lot_read_last_speaks_for_a_jug_and_its_brother_in_part() -> None:
    old, new = Jug("a", "L1", "a", 1.4), Jug("a", "L2", "a", 1.4)
    other = Jug("a", None, "another edition", 1.4)
    first = replace(fact("1", "a", 0.4), jugs=(old,))
    alone = Readings([first])
    both = Readings([first, replace(fact("2", "a", -0.3), jugs=(new,))])
    assert len(both.members) == 2 and both.latest == {"a": "L2"}
    assert (
        both.ahead(["a"], [1.4], [1.0], BROAD)[0] < 0.0 < alone.ahead(["a"], [1.4], [1.0], BROAD)[0]
    )
    edition = Readings([first, replace(fact("2", "a", 0.0, 1e6), jugs=(other,))])
    brother = edition.ahead([other.identity], [1.4], [1.0], BROAD)[0]
    assert brother == pytest.approx(
        of_readings.BROTHERS * edition.ahead(["a"], [1.4], [1.0], BROAD)[0], rel=1e-4
    )


def test_ranges_are_stretched_by_how_far_readings_fell() -> None:
    """(4 + sum of z^2, none above 9) / (4 + how many), and never narrowed."""
    found = Readings([])
    assert found.stretch == 1.0
    found._z2 = [(16.0, 1.0), (1.0, 1.0)]
    assert found.stretch == pytest.approx(sqrt((4.0 + 9.0 + 1.0) / 6.0))
    found._z2 = [(4.0, 0.5)]
    assert found.stretch == pytest.approx(sqrt((4.0 + 2.0) / 4.5))
    found._z2 = [(0.1, 1.0)]
    assert found.stretch == 1.0


def test_a_reading_far_from_all_others_is_asked_about() -> None:
    some = [fact(str(n), "ab", 0.1 + 0.02 * n) for n in range(5)]
    found = Readings([*some, fact("far", "ab", 4.0)])
    assert [a.entry for a in found.asked] == ["far"] and found.credit["far"] < 0.1
    asked = found.asked[0]
    assert asked.value == 11.0 and asked.expected == pytest.approx(7.14, abs=0.15)
    assert 0.1 < asked.sd < 0.8
    assert all(found.credit[f.entry] == 1.0 for f in some)
    without = Readings(some).ahead(["a", "b"], [1.4, 0.7], [0.5, 0.5], BROAD)
    with_it = found.ahead(["a", "b"], [1.4, 0.7], [0.5, 0.5], BROAD)
    assert with_it[0] == pytest.approx(without[0], abs=0.05)
    assert found.inside.count(False) == 1


def test_a_reading_is_believed_by_how_much_likelier_right_than_wrong() -> None:
    """Alone, by the labels: a chance of 1 in 10 that it was written wrong by 2 units more."""
    for off, variance in ((0.3, 0.04), (2.5, 0.04), (2.2, 0.04), (2.0, 0.04), (6.0, 0.04)):
        found = Readings([fact("1", "a", off, variance)])
        right = wrong = 0.0
        for (t, c, s0), weight in zip(of_readings.GRID, found.weights, strict=True):
            var = (t * 1.4) ** 2 + c * BROAD.above**2 + s0 + variance
            for extra, name in ((0.0, "right"), (4.0, "wrong")):
                x2, scale = off**2 / ((var + extra) / 2.0), sqrt((var + extra) / 2.0)
                one = weight * 0.375 * (1.0 + x2 / 4.0) ** -2.5 / scale
                right, wrong = right + one * (name == "right"), wrong + one * (name == "wrong")
        chance = 1.0 / (1.0 + wrong / right / 9.0)
        believed = min(max((chance - 0.4) / 0.4, 0.02), 1.0)
        assert found.credit["1"] == pytest.approx(believed, abs=0.06)
        assert (off < 1.0) == (found.credit["1"] == 1.0)
        assert bool(found.asked) is (found.credit["1"] < 0.5)


# --- memory --------------------------------------------------------------------------------------


def seen(jugs: str, likely: tuple[float, float, float], worth: float = 1.0) -> Seen:
    return Seen(tuple(jugs), likely, 0.0, -2.0, worth)


CURDLED, FINE = (0.03, 0.07, 0.9), (0.93, 0.04, 0.03)


def test_mixes_are_alike_by_jugs_and_pairs_in_common() -> None:
    jugs, pairs = alike(["abc", "aab", ""], ["cab", "cd"])
    assert jugs.tolist() == [[3.0, 1.0], [2.0, 0.0], [0.0, 0.0]]
    assert pairs.tolist() == [[3.0, 0.0], [1.0, 0.0], [0.0, 0.0]]


def test_how_likely_a_look_is() -> None:
    """Solids show at odds of 1, block at odds of 1 / 3: clear 1/2, haze 1/4, curdle 1/4."""
    each = ((1, 0, 0), 1.0), ((0, 1, 0), 1.0), ((0, 0, 1), 0.5)
    some = [Seen(("a",), likely, 0.0, -log(3.0), worth) for likely, worth in each]
    told, _, _ = _log_likelihood(np.zeros(3), some, 1.0)
    assert np.exp(told) == pytest.approx([0.5, 0.25, 0.25**0.5])
    blurry, _, _ = _log_likelihood(np.zeros(3), some, 2.0)
    assert exp(blurry[1]) == pytest.approx(0.5 - 1.0 / (1.0 + sqrt(3.0)))
    above = [Seen(("a",), (0, 1, 0), -1.0, 1.0, 1.0)]  # what blocks shows
    assert _log_likelihood(np.zeros(1), [replace(above[0], likely=(0.1, 0, 1))], 1.0)[0] == (
        pytest.approx(log(0.1 * (1.0 - 1.0 / (1.0 + exp(1.0))) + 1.0 / (1.0 + exp(1.0))))
    )


@given(
    st.floats(-4.0, 4.0), st.floats(0.5, 3.0), st.floats(-3.0, 3.0), st.floats(0.0, 3.0),
    st.sampled_from([CURDLED, FINE, (0.1, 0.8, 0.1)]), st.sampled_from([1.0, 0.3]),
)  # fmt: skip
def test_slope_and_curvature_are_those_of_the_likelihood(
    f: float, blur: float, shows: float, less: float, likely: tuple[float, float, float],
    worth: float,
) -> None:  # fmt: skip
    one, h = [Seen(("a",), likely, shows, shows - less, worth)], 1e-4
    at = [_log_likelihood(np.array([x]), one, blur) for x in (f - h, f, f + h)]
    assert at[1][1][0] == pytest.approx((at[2][0][0] - at[0][0][0]) / (2.0 * h), abs=1e-5)
    curve = float((at[2][1][0] - at[0][1][0]) / (2.0 * h))
    assert at[1][2][0] == pytest.approx(min(curve, -1e-9), abs=1e-5)


def test_what_a_look_counts() -> None:
    look = LookFact(900.0, CURDLED, 1.0, -1.0)
    through = LookFact(14400.0, (0.49, 0.49, 0.02), 1.0, -1.0)
    assert through.only_through and not look.only_through
    assert not LookFact(0.0, (0.3, 0.3, 0.4), 0.0, 0.0).only_through
    ours = Facts("1", True, "m", (JUGS["a"], JUGS["b"]), (), (look, through))
    worth = [s.worth for s in seen_of([ours, replace(ours, entry="2", ours=False)], {"2": 0.5})]
    assert 0.0 < worth[1] < worth[0] == 1.0 and 0.0 < worth[2] < 0.5
    assert worth[3] == pytest.approx(worth[1] * worth[2])
    first = seen_of([ours], {})[0]
    assert (first.jugs, first.likely, first.shows, first.blocks) == (("a", "b"), CURDLED, 1.0, -1.0)


def remembered(*some: Seen) -> Memory:
    """A memory of looks, as facts would give it."""
    facts = [
        Facts(str(n), True, str(n), tuple(Jug(j, None, j, 1.0) for j in s.jugs), (),
              (LookFact(900.0, s.likely, s.shows, s.blocks),))
        for n, s in enumerate(some)
    ]  # fmt: skip
    return Memory(facts, {str(n): s.worth for n, s in enumerate(some)})


def test_one_look_shifts_by_the_most_likely_and_is_foretold_by_none() -> None:
    """At the mode the shift is its prior variance times the slope there; with its own look left
    out nothing is known, so that every width of prior foretells it alike."""
    found = remembered(seen("ab", CURDLED))
    blur = blurred(doubts()["unknown_odds"].b)
    assert found.weights == pytest.approx([1.0 / len(found.fits)] * len(found.fits))
    for fit in found.fits:
        a, b = fit.spreads
        prior = 2.0 * a**2 + b**2
        _, slope, _ = _log_likelihood(prior * fit.alpha, found.seen, blur)
        assert fit.alpha[0] == pytest.approx(slope[0], rel=1e-2)
    wanted = np.mean(
        [(2.0 * f.spreads[0] ** 2 + f.spreads[1] ** 2) * f.alpha[0] for f in found.fits]
    )
    assert found.shift("ab") == found.shift("ba") == pytest.approx(wanted) and wanted > 0.5
    one = np.mean([f.spreads[0] ** 2 * f.alpha[0] for f in found.fits])
    assert found.shift("ax") == pytest.approx(one)
    assert found.shift("xy") == 0.0 and Memory([]).shift("ab") == 0.0


def test_looks_that_agree_add_up_and_those_that_differ_cancel() -> None:
    once, twice = remembered(seen("ab", CURDLED)), remembered(*[seen("ab", CURDLED)] * 2)
    many = remembered(*[seen("ab", CURDLED)] * 400)
    half = remembered(seen("ab", CURDLED, 0.5))
    assert 0.0 < half.shift("ab") < once.shift("ab") < twice.shift("ab") < many.shift("ab") <= FAR
    assert remembered(seen("ab", FINE)).shift("ab") < 0.0
    mixed = remembered(*[seen("ab", CURDLED), seen("ab", FINE)] * 3)
    assert abs(mixed.shift("ab")) < once.shift("ab")
    assert len(remembered(seen("ab", CURDLED), seen("ba", FINE)).mixes) == 1
    apart = remembered(*[seen("ab", CURDLED)] * 6, *[seen("ac", FINE)] * 6, *[seen("bc", FINE)] * 6)
    weight = dict(zip([f.spreads for f in apart.fits], apart.weights, strict=True))
    assert weight[0.0, 1.5] > weight[1.0, 0.0]  # pairs foretell these better than jugs
    assert apart.shift("ab") > 0.5 and apart.shift("ac") < -0.3
