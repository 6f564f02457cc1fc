"""The rules of the day, each alone: what changes in a tank as it stands, and what then counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from chem.equilibrium import build_system, held_key, settle
from chem.forecast import Followed, Study, state
from chem.forecast.aging import DAY_S, TRACE_MOL_PER_KG, Aging, Hold
from chem.forecast.answer import FAILED_SHARE, THRESHOLD, answer_from
from chem.forecast.clouding import Growing, Limit, limits
from chem.forecast.colloids import GROWTH_TIMES, ColloidOutlook
from chem.forecast.course import STRETCHED_LEAST, follow
from chem.forecast.out import Out, show_limit
from chem.forecast.times import TIMES_S
from chem.reference import molar_mass_g_per_mol, tables
from chem.tank import Finished, Mix, read_mix

EXAMPLES = Path(__file__).parent.parent / "examples"
DRAWS = 64


def example(name: str) -> Mix:
    return read_mix(EXAMPLES / f"{name}.toml")


def followed(mix: Mix, *, until: str = "24h", quick: bool = False) -> Followed:
    return follow(Study(DRAWS, 1).stand(mix), until=until, quick=quick)


# ---- a cold night


def test_a_cold_night_is_at_the_end_of_the_day_and_only_there() -> None:
    mix = example("hazes-overnight")
    warm, cold = (followed(replace(mix, coldest_celsius=t)) for t in (None, 0.0))
    for t in ("15min", "4h"):
        np.testing.assert_array_equal(warm.out[t].each, cold.out[t].each)
    at_night, by_day = cold.out["24h"], warm.out["24h"]
    assert (at_night.each >= by_day.each).all()
    assert (at_night.each > by_day.each).any()
    assert (at_night.seen >= by_day.seen).all()
    early = followed(replace(mix, coldest_celsius=0.0), until="4h")
    np.testing.assert_array_equal(early.out["4h"].each, cold.out["4h"].each)


# ---- measuring


def test_what_is_measured_wrong_is_wrong_in_the_tank() -> None:
    """By hand: rate / carrier, each with its own error, over one litre of water and its room."""
    mix = replace(example("stays-clear"), fill="water first")
    ready = Study(DRAWS, 1).stand(mix)
    carrier = ready.doubts["metering:carrier"]
    measured = [
        a.amount_per_L(mix.carrier_L_per_m2) / 1000.0 * ready.doubts[f"metering:{a.product.key}"]
        for a in mix.additions
    ]
    volumes = [m / carrier for m in measured]
    final = 1.0 + np.sum(volumes, axis=0)
    for k, (inside, volume) in enumerate(zip(ready.contents, volumes, strict=True)):
        for j, component in enumerate(inside.components):
            mol = inside.mol_per_kg[:, j] * inside.density_kg_per_L * volume / final
            place = ready.finished.components.index(component)
            np.testing.assert_allclose(ready.finished.from_product[k, :, place], mol, rtol=1e-12)
    assert np.std(np.log(carrier)) == pytest.approx(0.03, rel=0.15)
    keys = [a.product.key for a in mix.additions]
    spreads = [np.std(np.log(ready.doubts[f"metering:{k}"])) for k in keys]
    assert spreads == pytest.approx(len(keys) * [0.03], rel=0.15)


@pytest.mark.parametrize("error", [0.01, 0.10])
def test_a_stated_error_of_the_sprayer_takes_the_place_of_the_usual_one(error: float) -> None:
    ready = Study(DRAWS, 1).stand(replace(example("stays-clear"), carrier_error=error))
    assert np.std(np.log(ready.doubts["metering:carrier"])) == pytest.approx(error, rel=0.15)


# ---- iron and air, metals and what holds them


def standing(totals: dict[str, float], rate: float, supply: float, **holds: Hold) -> Aging:
    """Three equal rows of a solution of these totals [mol/kg] that takes up air."""
    components = tuple(c for c in tables().components if c in totals)
    pairs = (("Fe3", "citrate"),) if holds else ()
    every = tuple(c for c in tables().components if c in {*totals, "Fe3"})
    rows = np.tile([totals[c] for c in components], (3, 1))
    finished = Finished(
        components=components,
        totals=rows,
        water_kg_per_L=np.ones(3),
        density_kg_per_L=np.ones(3),
        from_product=np.zeros((0, 3, len(components))),
        from_water=np.zeros((3, len(components))),
        held={},
    )
    return Aging(
        build_system(every, held=pairs),
        finished,
        np.full(3, rate),
        np.full(3, supply),
        1e-3,
        {pair: holds["citrate"] for pair in pairs},
    )


def test_ferrous_iron_turns_by_first_order_while_there_is_oxygen() -> None:
    tank = standing({"Fe2": 0.02, "Cl": 0.04}, rate=1e-4, supply=1.0)
    for t in (600.0, 14400.0):
        np.testing.assert_allclose(tank.oxidised(t), 0.02 * (1.0 - np.exp(-1e-4 * t)), rtol=1e-12)
    starved = standing({"Fe2": 0.02, "Cl": 0.04}, rate=1.0, supply=1e-8)
    np.testing.assert_allclose(starved.oxidised(3600.0), 1e-3 + 1e-8 * 3600.0)
    slow = standing({"Fe2": 0.02, "Cl": 0.04}, rate=0.5 * TRACE_MOL_PER_KG / 0.02, supply=1.0)
    assert not slow.oxidised(1.0).any()
    assert not standing({"Cl": 0.04}, rate=1.0, supply=1.0).oxidised(DAY_S).any()


def test_what_turned_is_ferric_then_and_no_iron_is_lost() -> None:
    tank = standing({"Fe2": 0.02, "Cl": 0.04}, rate=1e-4, supply=1.0)
    place = tank.system.components.index
    totals, turned = tank.totals(7200.0), tank.oxidised(7200.0)
    np.testing.assert_allclose(totals[:, place("Fe3")], turned)
    np.testing.assert_allclose(totals[:, place("Fe2")], 0.02 - turned)
    assert tank.changes
    assert not standing({"Fe2": 0.02, "Cl": 0.04}, rate=0.0, supply=1.0).changes


def held(made: float = 0.0, gone_day: float = 0.0, gone_month: float = 0.0) -> Hold:
    return Hold(*(np.full(3, x) for x in (made, 0.5, 2.0, gone_day, gone_month)))


@pytest.mark.parametrize(
    ("citrate", "share"), [(0.005, 0.0), (0.01, 0.0), (0.02, 0.5), (0.04, 1.0), (0.08, 1.0)]
)
def test_iron_that_the_air_turned_is_held_by_citrate_by_its_ratio(
    citrate: float, share: float
) -> None:
    """None under 0.5 moles for each, all above 2, half between on the logarithm; only ferric."""
    totals = {"Fe2": 0.02, "citrate": citrate, "Cl": 0.04}
    tank = standing(totals, rate=1.0, supply=1.0, citrate=held())
    place = tank.system.components.index
    fresh, old = tank.totals(0.0), tank.totals(7200.0)
    key = held_key("Fe3", "citrate")
    assert not fresh[:, place(key)].any()
    np.testing.assert_allclose(old[:, place(key)], share * 0.02, atol=1e-9)
    np.testing.assert_allclose(old[:, place("Fe3")] + old[:, place(key)], 0.02)
    np.testing.assert_allclose(old[:, place("citrate")] + old[:, place(key)], citrate)


def test_a_chelate_stays_whole_for_a_day_then_lets_go_on_the_logarithm_of_time() -> None:
    hold = held(gone_day=0.1, gone_month=0.5)
    assert (hold.kept(0.999 * DAY_S) == 1.0).all()
    np.testing.assert_allclose(hold.kept(DAY_S), 0.9)
    np.testing.assert_allclose(hold.kept(np.sqrt(30.0) * DAY_S), 0.7)
    np.testing.assert_allclose(hold.kept(30.0 * DAY_S), 0.5)
    np.testing.assert_allclose(hold.kept(300.0 * DAY_S), 0.5)
    totals = {"Fe2": 0.0, "Fe3": 0.02, "citrate": 0.03, "Cl": 0.06}
    tank = standing(totals, rate=0.0, supply=0.0, citrate=replace(hold, made=np.full(3, 0.01)))
    place = tank.system.components.index(held_key("Fe3", "citrate"))
    assert (tank.totals(0.0)[:, place] >= 0.01).all()


# ---- what counts


def out(
    salts: Sequence[float] = (),
    crystals: Sequence[float] = (),
    colloids: Sequence[float] = (),
    swollen: Sequence[float] | None = None,
    seen: float = 0.0,
    full: float = 0.0,
) -> Out:
    loose = colloids if swollen is None else swollen
    parts = [np.array(x, dtype=float)[None, :] for x in (salts, crystals, colloids, loose)]
    return Out(*parts, np.array([seen]), np.array([full]))


def test_it_shows_once_any_one_thing_passes_its_own_limit() -> None:
    most = show_limit()
    assert not out(salts=[9.0], seen=0.99, full=0.0).shows[0], "salts go by their own limits"
    assert out(seen=1.01).shows[0]
    assert not out(crystals=[0.9 * most, 0.9 * most], colloids=[0.9 * most]).shows[0]
    assert out(crystals=[0.1 * most, 1.1 * most]).shows[0]
    assert out(colloids=[1.1 * most]).shows[0]
    assert not out(crystals=[0.6 * most], seen=0.6).shows[0], "no sum of a salt and crystals"
    assert not out(colloids=[0.9 * most], swollen=[50.0 * most]).shows[0]


def test_a_screen_is_blocked_by_all_that_is_out_together() -> None:
    most = tables().value("clog_limit")
    assert not out(full=0.99).blocks[0]
    assert out(full=1.01).blocks[0]
    assert out(full=0.6, crystals=[0.5 * most]).blocks[0]
    assert out(full=0.6, colloids=[0.0], swollen=[0.5 * most]).blocks[0]
    assert out(colloids=[0.0, 0.0], swollen=[0.6 * most, 0.6 * most]).blocks[0]
    assert not out(crystals=[0.6 * most, 0.6 * most]).blocks[0], "each is of that salt alone"
    assert not out(colloids=[2.0 * most], swollen=[0.9 * most]).blocks[0]


def test_crystals_weigh_as_the_one_of_which_most_is_out() -> None:
    assert out([1.0, 2.0], [3.0, 4.0], [5.0, 6.0]).total[0] == pytest.approx(3.0 + 4.0 + 11.0)


@pytest.mark.parametrize("name", ["curdles", "hazes-overnight", "iron-in-hard-water"])
def test_what_was_out_stays_seen(name: str) -> None:
    found = followed(example(name))
    names = list(TIMES_S)
    for before, after in pairwise(names):
        for field in ("salts", "crystals", "colloids", "swollen", "seen", "full"):
            earlier, later = (getattr(found.out[t], field) for t in (before, after))
            assert (later >= earlier).all(), (field, after)
    gone = found.states["24h"]
    gone = replace(gone, settled=0.0 * gone.settled, alone=0.0 * gone.alone)
    after = found.out_by(TIMES_S["24h"], gone)
    np.testing.assert_array_equal(after.salts, found.out["24h"].salts)
    np.testing.assert_array_equal(after.seen, found.out["24h"].seen)
    np.testing.assert_array_equal(after.full, found.out["24h"].full)
    more = replace(found.out["24h"], crystals=found.out["24h"].crystals + 1.0)
    assert more.crystals.size
    again = replace(found, out={**found.out, "24h": more}).out_by(TIMES_S["24h"], gone)
    np.testing.assert_array_equal(again.crystals, more.crystals)
    nothing = found.out_by(1.0, gone)
    assert not nothing.salts.any()
    assert not nothing.seen.any()


def growing(settled: Sequence[float], first: Sequence[float]) -> tuple[Growing, list[Limit]]:
    """Two solids that are all out at once, of families of their own, and their limits."""
    every = followed(example("curdles"), until="15min").fresh.phases
    keys = [i for i, s in enumerate(every.solids) if s.kinetics == "prompt"][:2]
    phases = every.pick(np.array(keys))
    rows = [np.array(x, dtype=float)[None, :] for x in (settled, first)]
    at_once = np.full((1, 2), 1e-3)
    found = Growing(phases, rows[0], rows[1], at_once, at_once)
    return found, [limits()[s.shows_as] for s in phases.solids]


def test_salts_are_seen_each_by_its_own_limit_and_clog_together() -> None:
    _, of = growing([0.0, 0.0], [0.0, 0.0])
    shows, clogs = [x.shows_g_per_L for x in of], [x.clogs_g_per_L for x in of]
    some = [0.6 * shows[0], 0.6 * shows[1]]
    both, _ = growing(some, some)
    assert both.filled(1e6)[0][0] == pytest.approx(0.6)
    both, _ = growing([0.6 * clogs[0], 0.6 * clogs[1]], [0.0, 0.0])
    assert both.filled(1e6)[1][0] == pytest.approx(1.2)
    early, _ = growing([0.0, 0.0], [0.0, 1.5 * shows[1]])
    seen, full = early.filled(1e6)
    assert seen[0] == pytest.approx(1.5)
    assert full[0] == 0.0, "what only comes first is seen, and clogs as what it turns into"


def test_what_forms_first_is_seen_though_it_dissolves_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A prompt solid that a slower one uses up stands in the tank until then."""
    done: list[tuple[Any, Any, Any]] = []

    def recorded(*args: Any, **how: Any) -> Any:
        done.append((args[3], settle(*args, **how), how["only"]))
        return done[-1][1]

    monkeypatch.setattr(state, "settle", recorded)
    fresh = followed(example("alkali-decides"), until="15min").fresh
    (phases, first, _), (_, last, slow) = done[:2]
    gone = np.where(slow[:, None], np.nan_to_num(first.amounts - last.amounts), 0.0)
    assert gone.max() > 1e-3, "the example has such a solid"
    share = np.where(gone > 1e-4, gone / np.maximum(first.amounts, 1e-9), 0.0)
    assert share.max() > 0.5
    row, m = np.unravel_index(share.argmax(), share.shape)
    there = fresh.settled[row, fresh.phases.keys.index(phases.keys[m])]
    mass = molar_mass_g_per_mol(phases.solids[m].formula)
    assert there == pytest.approx(first.amounts[row, m] * mass, rel=0.05)


def test_a_gel_is_there_at_once_and_what_falls_out_in_time_grows() -> None:
    yes = np.array([True, True])
    two = ColloidOutlook("x", "y", yes, np.array([2.0, 2.0]), np.ones(2), np.array([0.0, 100.0]))
    np.testing.assert_allclose(two.share_by(0.0), [1.0, 0.0])
    np.testing.assert_allclose(two.share_by(1.0), [1.0, 0.0])
    np.testing.assert_allclose(two.share_by(100.0), [1.0, 0.0])
    late = 1.0 - np.exp(-900.0 / (GROWTH_TIMES * 100.0))
    np.testing.assert_allclose(two.amount_by(1000.0), [2.0, 2.0 * late])
    np.testing.assert_allclose(two.swollen_by(1000.0), [1.0, late])


@pytest.mark.parametrize("name", ["stays-clear", "curdles", "hazes-overnight", "five-products"])
def test_settling_only_what_shows_changes_no_odds(name: str) -> None:
    full, quick = (followed(example(name), quick=q) for q in (False, True))
    assert quick.probability == pytest.approx(full.probability, abs=1e-12)
    assert quick.clogs == pytest.approx(full.clogs, abs=1e-12)


def test_minutes_of_clear_end_where_the_chance_reaches_the_threshold() -> None:
    found = followed(example("hazes-overnight"))
    minutes = found.clear_minutes()
    assert minutes is not None
    by_then = found.odds(found.out_by(60.0 * minutes).shows, whole=True)
    soon = found.odds(found.out_by(60.0 * 1.3 * minutes + 60.0).shows, whole=True)
    assert by_then < THRESHOLD
    assert minutes == 1440.0 or soon >= THRESHOLD
    assert followed(example("stays-clear")).clear_minutes() == 1440.0


def test_a_tank_beyond_the_model_is_never_clear_beyond_nine_in_ten() -> None:
    found = followed(example("stays-clear"), until="4h")
    assert max(found.probability.values()) < STRETCHED_LEAST
    strong = replace(found)
    strong.__dict__["ionic_mol_per_kg"] = tables().value("ionic_strength_valid") + 0.01
    assert set(strong.probability.values()) == {STRETCHED_LEAST}
    assert strong.answer("4h").word == "clear"


# ---- the answer


def word(
    shows: float = 0.0,
    clogs: float = 0.0,
    ionic: float = 0.1,
    failed: float = 0.0,
    unjudged: Sequence[str] = (),
) -> tuple[str, str]:
    found = answer_from(
        {"4h": shows, "24h": 1.0}, {"4h": clogs, "24h": 1.0}, "4h", ionic, failed, unjudged
    )
    return found.word, found.cause


def test_the_answer_goes_by_chances_at_its_own_time() -> None:
    assert word() == ("clear", "")
    assert word(shows=0.0999) == ("clear", "")
    assert word(shows=0.10) == ("haze", "")
    assert word(shows=0.9, clogs=0.0999) == ("haze", "")
    assert word(shows=0.9, clogs=0.10) == ("curdle", "")


def test_a_product_that_is_no_salt_never_hides_what_the_salts_do() -> None:
    assert word(unjudged=["wetter"]) == ("cannot tell", "unjudged")
    assert word(shows=0.5, unjudged=["wetter"]) == ("haze", "")
    assert word(shows=0.5, clogs=0.5, unjudged=["wetter"]) == ("curdle", "")


def test_what_the_model_cannot_do_it_does_not_answer() -> None:
    most = tables().value("ionic_strength_limit")
    assert word(failed=FAILED_SHARE) == ("clear", "")
    assert word(failed=FAILED_SHARE + 0.01, clogs=1.0) == ("cannot tell", "failed")
    assert word(ionic=most, clogs=1.0) == ("curdle", "")
    assert word(ionic=1.01 * most, clogs=1.0) == ("cannot tell", "strong")
    assert word(ionic=float("nan")) == ("cannot tell", "strong")
