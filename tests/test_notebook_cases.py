"""What a notebook says, in small cases: each expected value reckoned by hand or another way.

Where a value is a practitioner's judgement (how often a word is misused, what another shed's
reading counts) the case says what follows from it, not what it is.
"""

from __future__ import annotations

import itertools
import sqlite3
from dataclasses import replace
from datetime import date, datetime
from math import log
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from chem.doubts import doubts
from chem.errors import InputProblem
from chem.notebook import Entry, Look, Notebook, Sprayed, data_folder, kept_mix
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
    told = ((0.93, 0.04, 0.03), 0.3, "a"), ((0.03, 0.07, 0.9), -0.36, "b")
    facts = [
        Facts(
            e.id, True, e.id, (Jug(jug, None, jug, 1.0),),
            (PhFact(7.0 + off, 0.0, 7.0, Spread(0.2, 0.2)),),
            (LookFact(900.0, likely, 0.0, -1.0),), Spread(0.4, 0.6), (1.0,),
        )
        for e, (likely, off, jug) in zip(some, told, strict=False)
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
    lots = kept.mix.model_copy(update={"lots": ("L1", *kept.mix.lots[1:])})
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


def test_a_copy_of_what_could_not_be_read_is_said(tmp_path: Path) -> None:
    """A line of another making stands in the notebook; the rest is read."""
    book = Notebook(tmp_path / "notebook.sqlite")
    one = entry(seen=looks("clear"))
    book.add(one)
    with sqlite3.connect(book.path) as file:
        file.execute("INSERT INTO entries (id, shed, line) SELECT 'x', shed, '{}' FROM entries")
    found, problems = book._read()
    assert [k.entry for k in found] == [one] and found[0].ours
    assert len(problems) == 1 and "entry 2" in problems[0].read


@pytest.mark.parametrize(
    ("system", "named", "wanted"),
    [
        ("win32", {"APPDATA": "/roaming"}, "/roaming/jarsight"),
        ("darwin", {"XDG_DATA_HOME": "/x"}, "/home/u/Library/Application Support/jarsight"),
        ("linux", {"XDG_DATA_HOME": "/x"}, "/x/jarsight"),
        ("linux", {}, "/home/u/.local/share/jarsight"),
        ("linux", {"JARSIGHT_DATA": "/mine", "XDG_DATA_HOME": "/x"}, "/mine"),
    ],
)
def test_where_a_notebook_lies(
    system: str, named: dict[str, str], wanted: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The usual places of each system (XDG Base Directory Specification; others from memory)."""
    for name in ("JARSIGHT_DATA", "APPDATA", "XDG_DATA_HOME"):
        monkeypatch.delenv(name, raising=False)
    for name, value in {"HOME": "/home/u", **named}.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr("sys.platform", system)
    assert data_folder().as_posix() == wanted


def test_rates_are_read_again_out_of_the_kept_texts_alone() -> None:
    kept = kept_mix(CLEAR)
    again = kept.reread()
    assert [a.product.identity for a in again.additions] == [
        a.product.identity for a in CLEAR.additions
    ]
    for gone in ({"text": None}, {"hash": None}, {"hash": "0" * 64}):
        first = kept.files[0].model_copy(update=gone)
        with pytest.raises(InputProblem):
            kept.model_copy(update={"files": (first, *kept.files[1:])}).reread()
