"""What a notebook learns by, in small cases: each expected value reckoned by hand or by another way.

Where a value is a practitioner's judgement (how often a word is misused, what another shed's
reading counts) the case says what follows from it, not what it is.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime
from math import exp, log, pi, sqrt
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chem.doubts import doubts
from chem.doubts.spread import blurred
from chem.errors import InputProblem
from chem.notebook import Entry, Look, Sprayed, kept_mix
from chem.notebook import readings as of_readings
from chem.notebook.entry import Dose, KeptMix, Reading, Stood, Temperatures, Threat
from chem.notebook.facts import (
    LEAST_SPREAD,
    Facts,
    Jug,
    LookFact,
    PhFact,
    Spread,
    _near,
    grams_per_L,
    last_told,
    likely_of,
    log_odds,
    packed,
    reach_of,
    reading_variance,
    spread_of,
    unpacked,
    word_chances,
)
from chem.notebook.memory import FAR, Memory, Seen, _log_likelihood, alike, seen_of
from chem.notebook.readings import Move, Readings, student_4
from chem.notebook.replay import LATEST, _old, _until
from chem.notebook.score import chance_of, score, shown
from chem.notebook.season import _told as told_of_area
from chem.notebook.season import moment_of, read_cap, season
from chem.notebook.sprayed import went_out
from chem.notebook.store import Kept
from chem.notebook.tried import Told, _alike_rate, like, outcome_of
from chem.notebook.written import read_left, read_when
from chem.tank import read_mix

ROOT = Path(__file__).parent.parent
CLEAR = read_mix(ROOT / "examples" / "stays-clear.toml")
NUMBERS = itertools.count()


def entry(kind: str = "jar", mix: KeptMix | None = None, **told: Any) -> Entry:
    n = next(NUMBERS)
    parts: dict[str, Any] = {
        "id": f"{n:016x}", "by": None, "at": f"2026-05-01T{n // 60 % 24:02d}:{n % 60:02d}:00+00:00",
        "amends": None, "kind": kind, "number": None, "mix": mix or kept_mix(CLEAR), "seen": (),
        "ph": (), "sprayed": None, "forecast": None, "versions": {}, "note": None,
    }  # fmt: skip
    return Entry(**(parts | told))


def looks(*words: str, after_s: float | None = 900.0) -> tuple[Look, ...]:
    return tuple(Look(word=word, after_s=after_s) for word in words)


# --- what an entry says --------------------------------------------------------------------------


def test_a_spread_has_two_sides_and_a_floor() -> None:
    """The middle 90 % of an even range 0 to 1 end 0.45 from its middle; of a normal, 1.645 sd."""
    middle, spread = spread_of(np.linspace(6.0, 7.0, 2001))
    assert middle == pytest.approx(6.5) and spread.below == pytest.approx(0.45 / 1.645, rel=2e-3)
    assert spread.above == pytest.approx(spread.below)
    lopsided = spread_of(np.concatenate([np.linspace(5.0, 7.0, 1001), np.linspace(7, 7.5, 1001)]))
    assert lopsided[1].below > 3.0 * lopsided[1].above
    assert spread_of(np.full(64, 7.0)) == (7.0, LEAST_SPREAD)
    assert Spread(0.2, 0.4).variance == pytest.approx(0.09)
    assert (Spread(0.2, 0.4).side(True), Spread(0.2, 0.4).side(False)) == (0.4, 0.2)


def test_a_step_adds_the_variance_of_an_even_interval() -> None:
    """Width w: w^2 / 12 (the variance of an even distribution)."""
    for how in ("meter", "strip"):
        fine, coarse = (
            reading_variance(Reading(value=7.0, instrument=how, step=step)) for step in (0.1, 0.7)
        )
        assert coarse - fine == pytest.approx((0.49 - 0.01) / 12.0)
    plain = reading_variance(Reading(value=7.0, instrument="strip"))
    assert plain == pytest.approx(
        reading_variance(Reading(value=7.0, instrument="strip", step=0.5))
    )
    assert reading_variance(Reading(value=7.0, instrument="meter")) == pytest.approx(0.06**2)
    assert reading_variance(Reading(value=7.0)) == pytest.approx(0.3**2)


def test_words_at_one_time_multiply_and_some_are_wrong() -> None:
    clear = likely_of(entry(seen=looks("clear")), 900.0)
    assert clear is not None and sum(clear) == pytest.approx(1.0)
    assert clear[1] == clear[2] == pytest.approx((1.0 - clear[0]) / 2.0) and clear[0] > 0.9
    haze, curdle = (np.array(word_chances(w)) for w in ("haze", "flakes"))
    both = likely_of(entry(seen=(*looks("haze", "flakes"), *looks("gel", after_s=60.0))), 900.0)
    right = haze * curdle
    assert both is not None
    share = (both[2] - both[0]) / (right[2] - right[0])  # the words that are right
    assert np.array(both) == pytest.approx(share * right + (1.0 - share) / 3.0)
    assert likely_of(entry(seen=looks("foam")), 900.0) is None
    assert likely_of(entry(seen=looks("clear")), 60.0) is None


def test_odds_of_draws_are_held_half_a_draw_from_the_ends() -> None:
    """3 of 4: ln 3; none or all of 4: 1 / 8 from the end, ln 7; draws that failed don't count."""
    a, ok = doubts()["unknown_odds"].a, np.ones(4, dtype=bool)
    assert log_odds(np.array([1, 1, 1, 0], bool), ok) - a == pytest.approx(log(3.0))
    assert log_odds(ok, ok) - a == pytest.approx(log(7.0))
    assert log_odds(~ok, ok) - a == pytest.approx(-log(7.0))
    some = np.array([1, 1, 0, 1], bool)
    assert log_odds(np.array([1, 0, 1, 0], bool), some) - a == pytest.approx(log(0.5))
    assert log_odds(~ok, ~ok) - a == pytest.approx(-log(7.0))


@pytest.mark.parametrize(
    ("amount", "agent", "jar", "wanted"),
    [
        ("2 g", "citric acid", "500 mL", 4.0),
        ("500 mg", "citric acid", "1 L", 0.5),
        ("2 g", None, "500 mL", None),
        ("2 g", "citric acid", None, None),
        ("2 g", "lemonade", "500 mL", None),
        ("2 g", "citric acid", "half", None),
        ("some", "citric acid", "500 mL", None),
        ("2 mL", "citric acid", "500 mL", None),  # crystals have no density
    ],
)
def test_a_dose_in_grams_per_litre_of_jar(
    amount: str, agent: str | None, jar: str | None, wanted: float | None
) -> None:
    assert grams_per_L(Dose(amount=amount, agent=agent, jar=jar)) == pytest.approx(wanted)


def test_a_dose_of_a_liquid_goes_by_its_density() -> None:
    """2 mL in 0.5 L are 4 mL/L; as much by weight is 4 times the density [kg/L] in g/L."""
    found = grams_per_L(Dose(amount="2 mL", agent="phosphoric acid", jar="500 mL"))
    assert found is not None and 1.5 < found / 4.0 < 1.75  # 75 to 85 %: 1.58 to 1.69 kg/L


@pytest.mark.parametrize(
    ("one", "other", "near"),
    [
        (None, 0.0, False), (0.0, None, False), (0.0, 119.0, True), (0.0, 121.0, False),
        (900.0, 900.0, True), (1000.0, 441.0, True), (1000.0, 439.0, False),
        (439.0, 1000.0, False), (0.0, 0.0, True), (100.0, 0.0, True),
    ],
)  # fmt: skip
def test_two_times_are_near_within_half_and_a_minute(
    one: float | None, other: float | None, near: bool
) -> None:
    assert _near(one, other) is near


def test_how_long_a_tank_is_followed() -> None:
    assert [_until(t) for t in (0.0, 1.0, 900.0, 901.0, 14400.0, 86400.0, 1e6)] == [
        "fresh", "15min", "15min", "4h", "4h", "24h", "24h",
    ]  # fmt: skip
    assert last_told(entry()) == 0.0
    assert last_told(entry(seen=looks("haze", after_s=None))) == 1.0
    assert last_told(entry(seen=looks("foam", after_s=900.0))) == 0.0
    assert last_told(entry(seen=looks("haze", "clear", after_s=60.0))) == 60.0
    read = (
        Reading(value=7.0, after_s=300.0),
        Reading(value=5.0, after_s=600.0, dose=Dose(amount="1 mL")),
    )
    assert last_told(entry(ph=read)) == 300.0
    for sprayed in (Sprayed(through=True), Sprayed(screens="clean"), Sprayed(through=False)):
        assert last_told(entry("sprayed", sprayed=sprayed)) == 14400.0
    assert last_told(entry("sprayed", sprayed=Sprayed(site="4 green"))) == 0.0


def test_what_was_measured_reaches_least() -> None:
    def of(ph: object, measured: bool) -> float:
        return reach_of(cast(Any, SimpleNamespace(ph=ph, ph_measured=measured)))

    assert of(None, False) > of("6", False) > of("6", True) > 0.0
    assert of(None, True) == of("6", True)


def test_facts_come_back_from_json() -> None:
    fact = Facts(
        "e", False, "m", (Jug("a", None, "i", 0.7), Jug("b", "L1", "j", 1.4)),
        (PhFact(6.5, 0.02, 6.8, Spread(0.2, 0.3), 0.4),),
        (LookFact(900.0, (0.9, 0.05, 0.05), -1.0, -2.0),), Spread(0.1, 0.2), (0.4, 0.6), "why",
    )  # fmt: skip
    assert unpacked(packed(fact)) == fact


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


def gauss(tanks: Sequence[str], offs: Sequence[float], asked: str) -> tuple[float, float]:
    """Mean and variance of the tank asked for, by conditioning one joint normal per setting of the
    grid on all readings at once; settings weighed by Student's t, each reading given those before.
    """
    sides = [BROAD.side(off > 0.0) for off in offs]
    out = []
    for t, c, s0 in of_readings.GRID:

        def shared(one: str, other: str, sides: float, t: float = t, c: float = c) -> float:
            own = sum(
                ((t * JUGS[j].reach) ** 2 + of_readings.OF_JUGS * c * sides)
                / sqrt(len(one) * len(other))
                for j in set(one) & set(other)
            )
            return float(own)

        def alone(side: float, c: float = c, s0: float = s0) -> float:
            return float(of_readings.OF_ERROR * c * side**2 + s0)

        n = len(tanks)
        cov = np.array(
            [[shared(a, b, x * y) for b, y in zip(tanks, sides, strict=True)]
             for a, x in zip(tanks, sides, strict=True)]
        ) + np.diag([alone(side) + 0.04 for side in sides])  # fmt: skip
        weight = 0.0
        for i in range(n):
            before = np.linalg.solve(cov[:i, :i], cov[:i, i]) if i else np.zeros(0)
            mean = float(before @ np.array(offs[:i]))
            var = float(cov[i, i] - before @ cov[:i, i])
            x2 = (offs[i] - mean) ** 2 / (var / 2.0)
            weight += log(0.375 * (1.0 + x2 / 4.0) ** -2.5 / sqrt(var / 2.0))
        side = BROAD.side(True)
        with_it = np.array([shared(a, asked, x * side) for a, x in zip(tanks, sides, strict=True)])
        gain = np.linalg.solve(cov, with_it)
        mean = float(gain @ np.array(offs))
        var = shared(asked, asked, side**2) + alone(side) - float(gain @ with_it)
        out.append((weight, mean, var))
    logs, means, variances = np.array(out).T
    each = np.exp(logs - logs.max())
    each /= each.sum()
    middle = float(each @ means)
    return middle, float(each @ (variances + (means - middle) ** 2))


@pytest.mark.parametrize(
    ("tanks", "offs", "asked"),
    [
        (["a"], [0.4], "a"),
        (["ab", "bc"], [0.3, 0.5], "ab"),
        (["ab", "bc", "ab"], [0.3, 0.5, 0.4], "ac"),
        (["abc", "a"], [0.5, -0.2], "abc"),
    ],
)
def test_readings_teach_as_one_joint_normal_does(
    tanks: list[str], offs: list[float], asked: str
) -> None:
    found = Readings([fact(str(n), *x) for n, x in enumerate(zip(tanks, offs, strict=True))])
    assert set(found.credit.values()) == {1.0} and not found.asked
    mean, variance, own, side = found.ahead(
        list(asked), [JUGS[j].reach for j in asked], [1.0 / len(asked)] * len(asked), BROAD
    )
    assert (mean, variance / found.stretch**2) == pytest.approx(gauss(tanks, offs, asked), rel=1e-9)
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
    some = [Seen(("a",), likely, 0.0, -log(3.0), worth)
            for likely, worth in (((1, 0, 0), 1.0), ((0, 1, 0), 1.0), ((0, 0, 1), 0.5))]  # fmt: skip
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


# --- score ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("likely", "wanted"),
    [
        ((1.0, 0.0, 0.0), False), ((0.9, 0.31, 0.0), None), ((0.9, 0.29, 0.1), False),
        ((0.0, 1.0, 1.0), True), ((0.3, 0.4, 0.5), True), ((0.3, 0.2, 0.5), None),
        ((0.3, 0.2, 0.95), True), ((0.5, 0.5, 0.0), None), ((0.9, 0.0, 0.31), None),
    ],
)  # fmt: skip
def test_what_a_look_shows(likely: tuple[float, float, float], wanted: bool | None) -> None:
    assert shown(LookFact(900.0, likely, 0.0, 0.0)) is wanted


def test_chances_stay_off_the_ends() -> None:
    assert [chance_of(x) for x in (0.0, log(3.0), 50.0, -50.0)] == pytest.approx(
        [0.5, 0.75, 0.999, 0.001]
    )


def stood(answer: str, key: str, chance: float) -> Stood:
    return Stood.model_validate({
        "answer": answer, "for": "4h", "chance": chance, "because": None,
        "probability": {"4h": chance}, "clogs": {}, "ph": {},
        "solids": (Threat(key=key, probability={"4h": chance}),), "rules": (), "draws": 16,
        "seed": 1,
    })  # fmt: skip


class Replayed:
    """Facts as given, moved by nothing."""

    def __init__(self, facts: list[Facts]) -> None:
        self.given = facts

    def facts(self, kept: object) -> list[Facts]:
        return self.given

    def after(self, kept: object, facts: list[Facts], readings: object) -> list[Facts]:
        return facts


def test_a_notebook_is_scored_by_hand() -> None:
    """Two looks at raw odds of 1: each a chance of 1/2, Brier 1/4, log score ln 2; of three tanks
    called clear two were; gypsum was foretold with 0.2 and 0.6 and showed once of twice."""
    some = [
        entry(seen=looks("clear"), forecast=stood("clear", "gypsum", 0.2)),
        entry(seen=looks("gel"), forecast=stood("clear", "gypsum", 0.6)),
        entry(seen=looks("clear"), forecast=stood("clear", "struvite", 0.1)),
        entry(seen=looks("foam"), forecast=stood("haze", "gypsum", 0.9)),
    ]
    facts = [
        Facts(e.id, True, e.id, (JUGS[jug],), (PhFact(7.0 + off, 0.0, 7.0, Spread(0.2, 0.2)),),
              (LookFact(900.0, likely, 0.0, -1.0),), BROAD, (1.0,))
        for e, likely, off, jug in zip(some, (FINE, CURDLED), (0.3, -0.36), "ab", strict=False)
    ]  # fmt: skip
    found = score([Kept(e, True) for e in some], cast(Any, Replayed(facts)))
    assert [(c.word, c.clear, c.of) for c in found.called] == [("clear", 2, 3)]
    assert [(s.key, s.showed, s.of, round(s.chance, 9)) for s in found.solids] == [
        ("gypsum", 1, 2, 0.4), ("struvite", 0, 1, 0.1),
    ]  # fmt: skip
    assert found.brier is not None and found.brier[0] == pytest.approx(0.25)
    assert found.log_score is not None and found.log_score[0] == pytest.approx(log(2.0))
    assert found.brier[1] == pytest.approx(0.25)  # the second jug is a stranger to the first
    assert found.ph_inside is not None and found.ph_inside[0] == 0.5  # 0.329 is the end
    assert (found.entries, found.looks, found.readings) == (4, 2, 2)


# --- what was tried, sprayed and summed ----------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "sprayed", "wanted"),
    [
        ((), None, None), (("foam",), None, None), (("clear",), None, "fine"),
        (("clear", "gel"), None, "solids"), (("haze",), Sprayed(through=True), "solids"),
        ((), Sprayed(through=True), "fine"), ((), Sprayed(screens="clean"), "fine"),
        ((), Sprayed(screens="white grit"), "blocked"), ((), Sprayed(site="4 green"), "fine"),
        (("clear",), Sprayed(through=False), "blocked"),
    ],
)  # fmt: skip
def test_what_came_of_a_tank(
    words: tuple[str, ...], sprayed: Sprayed | None, wanted: str | None
) -> None:
    assert outcome_of(entry(seen=looks(*words), sprayed=sprayed)) == wanted


def test_when_a_forecast_has_moved() -> None:
    def told(before: Any, after: Any) -> bool:
        return Told((), (), (), before, after, 1.0, 1).moved

    assert not told(None, (0.5, 7.0)) and not told((0.5, 7.0), None)
    assert not told((0.5, 7.0), (0.46, 7.09)) and not told((0.5, 7.0), (0.5, 6.91))
    assert told((0.5, 7.0), (0.44, 7.0)) and told((0.5, 7.0), (0.5, 6.89))


def test_rates_are_alike_to_a_millionth() -> None:
    rate = CLEAR.additions[0].rate
    assert _alike_rate(rate, replace(rate, value=rate.value * (1.0 + 5e-7)))
    assert not _alike_rate(rate, replace(rate, value=rate.value * (1.0 + 5e-6)))
    assert not _alike_rate(rate, replace(rate, value=rate.value * (1.0 - 5e-6)))
    assert not _alike_rate(rate, replace(rate, per="volume" if rate.per == "area" else "area"))


def test_what_is_otherwise_than_in_a_tank_kept() -> None:
    jugs = cast(Any, SimpleNamespace(lot_of=lambda product: None))
    kept = entry(seen=looks("clear"))
    names = [a.product.name for a in CLEAR.additions]
    same = like(CLEAR, kept, jugs)
    assert same is not None and same.stands and same.shared == tuple(names)
    turned = replace(CLEAR, additions=CLEAR.additions[::-1])
    found = like(turned, kept, jugs)
    assert found is not None and [c.code for c in found.changes] == ["order"] and not found.stands
    thin = like(replace(CLEAR, carrier_L_per_m2=2.0 * CLEAR.carrier_L_per_m2), kept, jugs)
    assert thin is not None and [c.code for c in thin.changes] == ["carrier"]
    one = replace(CLEAR, additions=CLEAR.additions[:1])
    fewer = like(one, kept, jugs)
    assert fewer is not None and not fewer.whole and fewer.changes == ()
    assert like(CLEAR, entry(), jugs) is None
    lots = kept.mix.model_copy(update={"lots": ("L1",) + kept.mix.lots[1:]})
    lot = cast(Any, SimpleNamespace(lot_of=lambda p: "L2" if p.name == names[0] else None))
    new = like(CLEAR, kept.model_copy(update={"mix": lots}), lot)
    assert new is not None and [(c.code, c.product, c.was, c.now) for c in new.changes] == [
        ("lot", names[0], "L1", "L2")
    ]


def test_tanks_that_went_out_come_latest_first_and_once() -> None:
    def at(n: int, **told: Any) -> Kept:
        mix = kept_mix(CLEAR).model_copy(update={"area": f"{n} ha"})
        one = entry("sprayed", mix, sprayed=Sprayed(through=True))
        return Kept(one.model_copy(update={"at": f"2026-05-{n:02d}T08:00:00+00:00"} | told), True)

    unread = kept_mix(CLEAR).model_copy(update={"files": ()})
    some = [
        at(3), at(1), at(2, sprayed=Sprayed(through=False)), at(4, kind="jar"), at(5, sprayed=None),
        at(6, mix=unread), at(8, mix=kept_mix(CLEAR)), at(9, mix=kept_mix(CLEAR)), at(7),
    ]  # fmt: skip
    assert [e.at[8:10] for e, _ in went_out(some)] == ["09", "07", "03", "01"]


def test_what_was_used_is_what_was_not_left() -> None:
    """100 gal less 20 gal: 80 gal of 3.785411784 L (NIST Handbook 44, appendix C)."""
    mix = kept_mix(CLEAR).model_copy(update={"tank": "100 gal"})

    def told(**sprayed: str) -> tuple[float | None, float | None]:
        return told_of_area(entry("sprayed", mix, sprayed=Sprayed(**sprayed)))

    assert told(left="20 gal", area="1 ha") == (
        pytest.approx(10000.0), pytest.approx(80.0 * 3.785411784, rel=1e-6),
    )  # fmt: skip
    assert told(left="100 gal") == (None, None) == told(left="120 gal")
    assert told(left="20 gal", used="1 L")[1] == pytest.approx(1.0)
    assert told_of_area(entry()) == (None, None)
    assert [read_left(t, "left") for t in ("0", "none", "0 gal", "2 L")] == [0.0, 0.0, 0.0, 2.0]
    with pytest.raises(InputProblem):
        read_left("0 acres", "left")


def test_the_day_of_a_spraying_is_its_start_where_told() -> None:
    kept = entry("sprayed", sprayed=Sprayed(start="2026-04-30T06:00:00+00:00"))
    assert moment_of(kept) == datetime.fromisoformat("2026-04-30T06:00:00+00:00")
    for start in (None, "06:00"):
        one = entry("sprayed", sprayed=Sprayed(start=start))
        assert moment_of(one) == datetime.fromisoformat(one.at)
    local = moment_of(entry("sprayed", sprayed=Sprayed(start="2026-04-30T06:00:00")))
    assert local.tzinfo is not None and local.replace(tzinfo=None) == datetime(2026, 4, 30, 6)
    assert read_when("2026-04-30T06:00:00+00:00") == "2026-04-30T06:00:00+00:00"


def test_sums_are_by_site_and_days_count_to_their_ends() -> None:
    def sprayed(day: str, site: str | None) -> Entry:
        return entry("sprayed", at=f"2026-05-{day}T08:00:00+00:00", sprayed=Sprayed(site=site))

    some = [sprayed("03", "b"), sprayed("01", "a"), sprayed("02", "a"), entry()]
    found = season(some, first=date(2026, 5, 1), last=date(2026, 5, 3))
    assert [r.site for r in found.rows] == ["a", "a", "b"]
    one, two, three = (r.so_far["N"] for r in found.rows)
    assert two == pytest.approx(2.0 * one) and three == pytest.approx(one)
    assert found.totals["a"]["N"] == pytest.approx(two)
    caps = [replace(read_cap("N=1 kg/ha"), kg_per_ha=x * one) for x in (1.0, 2.0, 1.999)]
    over = season(some, caps=caps).over
    assert [(site, caps.index(cap)) for site, cap in over] == [("a", 0), ("a", 2)]
    assert read_cap("potash = 2 kg/ha").nutrient == "K2O"
    assert read_cap("phosphate=2 kg/ha").kg_per_ha == pytest.approx(2.0)
    assert [len(season(some, first=date(2026, 5, d)).rows) for d in (1, 2, 3, 4)] == [3, 2, 1, 0]


def test_mixes_beyond_the_latest_are_old() -> None:
    def of(n: int) -> Kept:
        mix = KeptMix(
            name="m", files=({"name": "m", "what": "mix", "text": "", "hash": str(n)},),  # type: ignore[arg-type]
            lots=(), rates=(), order=(), water=None, carrier=None, tank=None, area=None,
            temperatures=Temperatures(tank_C=None, coldest_C=None),
        )  # fmt: skip
        return Kept(entry(mix=mix), True)

    some = [of(n) for n in range(LATEST + 2)]
    assert _old(some) == {some[0].entry.id, some[1].entry.id}
    again = [*some, of(0)]
    assert _old(again) == {some[1].entry.id, some[2].entry.id}
