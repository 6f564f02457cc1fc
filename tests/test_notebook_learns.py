"""What entries teach: pH, odds, what was tried; and what no belief may lift."""

from __future__ import annotations

import itertools
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from chem.forecast import Study, forecast
from chem.label import Product, as_measured, read_product
from chem.notebook import (
    Dose,
    Entry,
    Kept,
    Look,
    Measured,
    Reading,
    Sighting,
    Sprayed,
    jug_entry,
    kept_mix,
)
from chem.notebook.facts import Facts
from chem.notebook.learning import Learned, learn
from chem.notebook.memory import Memory
from chem.notebook.readings import Readings
from chem.notebook.replay import Replay
from chem.notebook.score import score
from chem.notebook.tried import told_of
from chem.notebook.wall import teach_most, wall
from chem.sheets import forecast_json, forecast_sheet
from chem.sheets.blocks import as_text
from chem.tank import Mix, change_mix, read_mix

ROOT = Path(__file__).parent.parent
ROWS = 32
IDS = itertools.count()


def example(name: str) -> Mix:
    return read_mix(ROOT / "examples" / f"{name}.toml")


CURDLES, CLEAR, ALKALI = example("curdles"), example("stays-clear"), example("alkali-decides")


@pytest.fixture(scope="module")
def replay() -> Replay:
    return Replay(ROWS)


def kept(
    mix: Mix, *words: str, after_s: float = 14400.0, ph: tuple[Reading, ...] = (),
    ours: bool = True, sprayed: Sprayed | None = None, kind: str = "jar", number: str | None = None,
) -> Kept:  # fmt: skip
    n = next(IDS)
    return Kept(
        Entry(
            id=f"{n:016x}", by=None, at=f"2026-05-{1 + n // 12:02d}T{8 + n % 12:02d}:00:00+00:00",
            amends=None, kind=kind, number=number,  # type: ignore[arg-type]
            mix=kept_mix(mix), seen=tuple(Look(word=w, after_s=after_s) for w in words), ph=ph,
            sprayed=sprayed, forecast=None, versions={}, note=None,
        ),
        ours,
    )  # fmt: skip


def strip(value: float, after_s: float | None = 0.0) -> Reading:
    return Reading(value=value, instrument="strip", step=0.5, after_s=after_s)


def meter(value: float, dose: Dose | None = None) -> Reading:
    return Reading(value=value, instrument="meter", step=0.01, after_s=0.0, dose=dose)


def width(learned: Learned, replay: Replay, mix: Mix) -> tuple[float, float]:
    found = replay.study.believing(learned.beliefs).look(mix)
    return found.ph.median, found.ph.p95 - found.ph.p05


def test_a_reading_moves_the_next_tank_and_strangers_keep_their_very_numbers(
    replay: Replay,
) -> None:
    before = replay.study.look(CLEAR)
    plain = before.ph
    learned = learn([kept(CLEAR, ph=(meter(plain.median - 1.2),))], replay)
    moved, wide = width(learned, replay, CLEAR)
    assert plain.median - 1.3 < moved < plain.median - 0.3
    closer = learn([kept(CLEAR, ph=(meter(plain.median - 1.2),)) for _ in range(4)], replay)
    assert abs(width(closer, replay, CLEAR)[0] - (plain.median - 1.2)) < 0.3
    assert width(closer, replay, CLEAR)[1] < wide
    study = replay.study.believing(learned.beliefs)
    assert not {a.product.identity for a in ALKALI.additions} & {
        a.product.identity for a in CLEAR.additions
    }
    for mine, labels in zip(study.follow([ALKALI]), replay.study.follow([ALKALI]), strict=True):
        assert np.array_equal(mine.fresh.clear.ph, labels.fresh.clear.ph)
        assert mine.probability == labels.probability and mine.clogs == labels.clogs


def test_a_solid_moves_with_the_ph_of_its_tank(replay: Replay) -> None:
    """Calcium phosphates dissolve in acid (common practice): at pH 3.5 less comes out."""
    plain = replay.study.look(CURDLES)
    learned = learn([kept(CURDLES, ph=(meter(3.5),)) for _ in range(6)], replay)
    moved = replay.study.believing(learned.beliefs).look(CURDLES)
    assert moved.ph.median < plain.ph.median - 0.5
    assert moved.fresh.clear.converged.all()
    place = [moved.fresh.phases.keys.index("brushite"), plain.fresh.phases.keys.index("brushite")]
    assert np.median(moved.fresh.si[:, place[0]]) < np.median(plain.fresh.si[:, place[1]])
    balance = moved.fresh.clear.charge_balance_relative
    assert float(balance.max()) < 1e-8


def test_looks_shift_the_odds_of_their_jugs_alone(replay: Replay) -> None:
    fine = learn([kept(ALKALI, "clear") for _ in range(5)], replay)
    jugs = [a.product.identity for a in ALKALI.additions]
    assert fine.beliefs.memory(jugs) < -0.5
    assert fine.beliefs.memory([a.product.identity for a in CLEAR.additions]) == 0.0
    bad = learn([kept(CLEAR, "flakes") for _ in range(3)], replay)
    assert bad.beliefs.memory([a.product.identity for a in CLEAR.additions]) > 0.5
    others = learn([kept(CLEAR, "flakes", ours=False) for _ in range(3)], replay)
    shifts = [
        x.beliefs.memory([a.product.identity for a in CLEAR.additions]) for x in (others, bad)
    ]
    assert 0.0 < shifts[0] < shifts[1]
    went = learn([kept(CLEAR, sprayed=Sprayed(through=True), kind="tank")], replay)
    assert abs(went.beliefs.memory([a.product.identity for a in CLEAR.additions])) < 0.3


def test_nothing_learned_is_the_labels(replay: Replay) -> None:
    for nothing in (learn([], replay), learn([kept(CLEAR)], replay)):
        assert nothing.beliefs.moves is None
        assert nothing.beliefs.memory(["any"]) == 0.0
    assert Memory([]).shift(["any"]) == 0.0 and not Readings([]).knows(["any"])


def test_a_wild_reading_is_asked_about_and_believed_in_part(replay: Replay) -> None:
    plain = replay.study.look(CLEAR).ph.median
    learned = learn(
        [kept(CLEAR, ph=(meter(plain),)), kept(CLEAR, ph=(meter(plain + 5.0),))], replay
    )
    (asked,) = learned.readings.asked
    assert asked.value == plain + 5.0 and abs(asked.expected - plain) < 0.5
    moved, _ = width(learned, replay, CLEAR)
    assert plain < moved < plain + 2.5
    # The line is doubted, not its jugs: read so again and again, it is believed.
    again = learn([kept(CLEAR, ph=(meter(plain + 2.0),)) for _ in range(4)], replay)
    assert not again.readings.asked and min(again.readings.credit.values()) > 0.9
    assert width(again, replay, CLEAR)[0] > plain + 1.5


def test_a_line_that_its_reading_gives_away_teaches_no_odds(replay: Replay) -> None:
    plain = replay.study.look(CLEAR).ph.median
    lines = [kept(CLEAR, "clear", ph=(meter(plain),)) for _ in range(4)]
    wrong = kept(CLEAR, "flakes", ph=(meter(plain + 4.0),))
    jugs = [a.product.identity for a in CLEAR.additions]
    with_it, without = (learn(x, replay).beliefs.memory(jugs) for x in ([*lines, wrong], lines))
    assert without < 0.0 and abs(with_it - without) < 0.25 * abs(without)


def test_solids_and_no_minute_teach_no_ph(replay: Replay) -> None:
    entry = kept(CURDLES, "flakes", ph=(strip(5.0, None),))
    learned = learn([entry], replay)
    (fact,) = learned.facts
    assert fact.ph == () and fact.silent is not None and len(fact.looks) == 1
    later = learn([kept(CURDLES, "flakes", ph=(strip(5.0, 14400.0),))], replay)
    at_once = learn([kept(CURDLES, ph=(strip(5.0),))], replay)
    assert later.facts[0].ph[0].median != at_once.facts[0].ph[0].median


def test_a_ladder_narrows_more_than_a_strip(replay: Replay) -> None:
    """Rungs that agree, each in the labels' dosed tank; one that doesn't is no second reading."""
    rungs = [
        None,
        *(Dose(amount=f"{g} g", agent="citric acid", jar="1 L") for g in (0.2, 0.6, 1.2)),
    ]
    (ladder,) = replay.facts([kept(CLEAR, ph=tuple(meter(5.0, d) for d in rungs))])
    (one,) = replay.facts([kept(CLEAR, ph=(strip(5.0),))])
    assert [p.median for p in ladder.ph] == sorted((p.median for p in ladder.ph), reverse=True)
    assert ladder.ph[0].moved == 0.0 < ladder.ph[1].moved < ladder.ph[3].moved
    reaches, jugs = [j.reach for j in ladder.jugs], [j.identity for j in ladder.jugs]
    off = 0.3 / ladder.ph[0].spread.below

    def width(*facts: Facts) -> float:
        agreeing = [
            replace(f, ph=tuple(replace(p, value=p.median - off * p.spread.below) for p in f.ph))
            for f in facts
        ]
        ahead = Readings(agreeing).ahead(jugs, reaches, ladder.shares, ladder.spread)
        return float(ahead[1] ** 0.5)

    narrower = width() - width(one)
    assert width() - width(ladder) >= 1.3 * narrower > 0.0
    assert width(ladder) > 0.1  # the next tank is poured anew


def test_rungs_that_are_off_together_widen_ranges_no_more_than_one(replay: Replay) -> None:
    (one,) = replay.facts([kept(CLEAR, ph=(meter(5.0),))])
    (point,) = one.ph
    off = replace(point, value=point.median + 3.0 * (point.spread.variance + 0.1) ** 0.5)
    alone = Readings([replace(one, ph=(off,))]).stretch
    ladder = Readings([replace(one, ph=(off, off, off, off))]).stretch
    assert 1.0 < ladder <= 1.01 * alone


def test_a_tenth_of_the_draws_stays_where_the_labels_have_it(replay: Replay) -> None:
    plain = replay.study.look(CLEAR).fresh
    learned = learn([kept(CLEAR, ph=(meter(plain.clear.ph.mean() - 1.2),))], replay)
    assert learned.beliefs.moves is not None
    shift = learned.beliefs.moves.shift(replay.study.stand(CLEAR), plain.clear)
    assert 0 < np.count_nonzero(shift == 0.0) <= 0.2 * ROWS


def test_old_mixes_are_followed_by_few_draws_and_only_them(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("chem.notebook.replay.LATEST", 1)
    entries = [kept(ALKALI, "clear"), kept(CLEAR, "clear"), kept(CLEAR, "clear")]
    some = Replay(ROWS)
    old, new, again = some.facts(entries)
    (by_few,), (by_all,) = Replay(24).facts(entries[:1]), some.facts(entries[:1])
    assert old.looks == by_few.looks != by_all.looks  # alone it is the latest
    assert new.looks == again.looks == some.facts(entries[1:2])[0].looks


# --- what no belief may lift -------------------------------------------------------------------


def test_no_entry_lifts_a_rule_a_gas_or_a_caution(replay: Replay) -> None:
    praise = [
        kept(mix, "clear", ph=(meter(7.0),), sprayed=Sprayed(through=True, screens="clean"))
        for mix in (ALKALI, example("smells-of-ammonia"), CURDLES)
        for _ in range(3)
    ]
    learned = learn(praise, replay)
    believing = Study(ROWS, 1, learned.beliefs)
    for mix in (ALKALI, example("smells-of-ammonia"), CURDLES):
        plain, told = forecast(mix, study=Study(ROWS, 1)), forecast(mix, study=believing)
        assert told.rules == plain.rules and told.refused == plain.refused
        assert [g.gas for g in told.gases] == [g.gas for g in plain.gases]
        text = as_text(forecast_sheet(told))
        assert "jar test at the same ratio decides" in " ".join(text.split())
        assert 0.0 < told.probability["4h"] < 1.0


# --- what is said ------------------------------------------------------------------------------


def test_a_passed_jar_stands_until_something_changes(replay: Replay) -> None:
    passed = kept(CLEAR, "clear", ph=(strip(5.5),), number="J-0504-2")
    learned = learn([passed], replay)
    study = Study(ROWS, 1, learned.beliefs)
    lots = [replace(a, product=replace(a.product, lot="B7")) for a in CLEAR.additions]
    first = CLEAR.additions[0]
    rate = replace(first, rate=replace(first.rate, value=2.0 * first.rate.value, text="twice"))
    for mix, change in (
        (CLEAR, None),
        (replace(CLEAR, additions=CLEAR.additions[::-1]), "another pouring order"),
        (replace(CLEAR, additions=(rate, *CLEAR.additions[1:])), "another rate of"),
        (change_mix(CLEAR, ROOT, carrier="3 gal/1000 sq ft"), "another spray volume"),
        (change_mix(CLEAR, ROOT, water="saline"), "another water"),
        (replace(CLEAR, additions=tuple(lots)), None),  # no lot was told of the jar
    ):
        now = forecast(mix, study=study)
        told = told_of(now, [passed], learned, study)
        text = as_text(forecast_sheet(now, told=told))
        lines = " ".join(text.split())
        if change is None:
            assert "Jar passed 4 May" in lines or "Jar passed" in lines
            assert "J-0504-2" in lines and told.like[0].stands
        else:
            assert change in lines and "Jar again." in lines and not told.like[0].stands
            assert json.loads(forecast_json(now, told=told))["learned"][0]["entry"]
    with_lots = kept(replace(CLEAR, additions=tuple(lots)), "clear")
    new = tuple(replace(a, product=replace(a.product, lot="C1")) for a in CLEAR.additions)
    now = forecast(replace(CLEAR, additions=new), study=study)
    told = told_of(now, [with_lots], learned, study)
    assert {c.code for c in told.like[0].changes} == {"lot"}
    # A lot that was told of a later tank is the one in use.
    later = kept(replace(CLEAR, additions=new))
    both = [with_lots, later]
    told = told_of(forecast(CLEAR, study=study), both, learn(both, replay), study)
    assert {c.code for x in told.like for c in x.changes} == {"lot"}


def test_how_far_the_forecast_moved_and_what_the_strip_says(replay: Replay) -> None:
    plain = forecast(ALKALI, study=Study(ROWS, 1))
    entries = [kept(ALKALI, "clear", ph=(strip(5.0),)) for _ in range(3)]
    learned = learn(entries, replay)
    now = forecast(ALKALI, study=Study(ROWS, 1, learned.beliefs))
    told = told_of(now, entries, learned, Study(ROWS, 1, learned.beliefs))
    lines = " ".join(as_text(forecast_sheet(now, told=told)).split())
    assert told.moved and "By the labels alone" in lines and "Your reading said pH 5" in lines
    said = [x["sentence"] for x in json.loads(forecast_json(now, told=told))["learned"]]
    assert any("measure the jugs" in sentence for sentence in said)
    rung = replace(told, off=tuple(replace(x, rung=True) for x in told.off))
    lines = " ".join(as_text(forecast_sheet(now, told=rung)).split())
    assert "A rung of your ladder said pH 5" in lines
    assert now.ph.median < plain.ph.median


def test_wall_next_and_score(replay: Replay) -> None:
    entries = [
        kept(CLEAR, "clear", ph=(strip(5.5),)), kept(CLEAR, "clear"), kept(ALKALI, "flakes"),
        kept(CURDLES, "flakes"), kept(CURDLES, "haze"),
    ]  # fmt: skip
    found = wall(entries, (), Study(16, 1))
    assert [(t.fine, t.of) for t in found.works] == [(2, 2)]
    assert sorted((t.fine, t.of) for t in found.dont) == [(0, 1), (0, 2)]
    met = {frozenset(e.entry.mix.order) for e in entries}
    assert found.untried and all(frozenset(u.products) not in met for u in found.untried)
    for u in found.untried:  # nobody is told to try acid with carbonate
        assert not ("Iron with citric acid, invented" in u.products
                    and "Potassium carbonate liquor, invented" in u.products)  # fmt: skip
    best = teach_most(entries, Study(16, 1))
    assert best is not None and best.tanks >= 1 and best.kind in ("jar", "reading")
    assert teach_most([], Study(16, 1)) is None
    scored = score(entries, replay)
    assert scored.entries == 5 and scored.looks == 5 and scored.readings == 1
    assert scored.brier is not None and all(0.0 <= b < 0.5 for b in scored.brier)
    assert score([], replay).brier is None


def test_a_measured_jug_is_believed_as_its_own_file_would_be(
    replay: Replay, tmp_path: Path
) -> None:
    """Density and conductivity of a jug count as under [known]; those of another lot don't, and
    what the file itself says wins."""
    product = CLEAR.additions[0].product
    told = {"density": "1.18 kg/L", "ec": "1.5 mS/cm at 1 %", "ph": "5.1"}
    learned = learn([jug(product, **told)], replay)
    believed = replay.study.believing(learned.beliefs)
    text = (ROOT / "data/demo/products" / product.file).read_text()
    known = "".join(f'{key} = "{value}"\n' for key, value in told.items())
    assert "[known]" not in text
    (tmp_path / product.file).write_text(f"{text}\n[known]\n{known}")
    edited = read_product(tmp_path / product.file)
    by_file, by_book = replay.study.contents(edited), believed.contents(product)
    np.testing.assert_array_equal(by_book.mol_per_kg, by_file.mol_per_kg)
    assert not np.array_equal(by_book.ph, replay.study.contents(product).ph)
    assert believed.look(CLEAR).ph.median != replay.study.look(CLEAR).ph.median
    assert as_measured(edited, {"density": "1.3 kg/L"}) is edited
    now = forecast(CLEAR, study=believed)
    lines = as_text(forecast_sheet(now, told=told_of(now, [], learned, believed)))
    assert "1.5 mS/cm at 1 %" in lines and "goes by it" in " ".join(lines.split())
    other = learn([jug(replace(product, lot="B7"), **told)], replay).beliefs.jug
    assert other(replace(product, lot="C1")) == replace(product, lot="C1")
    assert other(replace(product, lot="B7")).ph_measured


def jug(product: Product, **told: str) -> Kept:
    measured = Measured(product=product.name, lot=product.lot, **told)
    return Kept(jug_entry(product, Sighting(measured=(measured,)), {}), True)
