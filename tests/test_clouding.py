"""When solids show: shared doubts, families, retarders by ratio; metals held for days."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from chem.doubts import Draws
from chem.equilibrium import build_phases, build_system, held_key
from chem.equilibrium.activity import Floats
from chem.forecast.aging import DAY_S, aging
from chem.forecast.clouding import (
    Growing,
    alone_g_per_L,
    clouding_time_s,
    clouding_times_s,
    cold_factor,
    damage,
    delay_factor,
    limits,
    onset_s,
    spread,
)
from chem.reference import tables
from chem.reference.holding import holdings
from chem.tank import Finished

RATIOS = np.array([0.01, 0.2, 1.0, 5.0, 50.0])


def test_magnesium_holds_calcite_back_by_its_ratio_to_calcium() -> None:
    """Berner 1975: no effect below Mg/Ca 0.2, some thirty times at 5 (seawater); one way only."""
    calcium = np.full(5, 2.0)
    factor = np.asarray(delay_factor("calcite", {"Ca": calcium, "Mg": calcium * RATIOS}))
    assert factor[0] == factor[1] == 1.0
    assert np.all(np.diff(factor[1:4]) > 0.0)
    assert factor[3] == factor[4] == pytest.approx(30.0)
    assert delay_factor("aragonite", {"Ca": calcium, "Mg": calcium * RATIOS}) == 1.0


def test_the_cold_holds_crystals_back() -> None:
    """Activation energies at one supersaturation: 30 +- 5 (gypsum nucleation, Lancia et al. 1999),
    42 to 48 kJ/mol (gypsum scale, Hoang et al. 2007): 2 to 4 times longer at 5 C than at 25."""
    assert 2.0 < cold_factor(5.0) / cold_factor(25.0) < 4.2
    assert cold_factor(20.0) == pytest.approx(1.0)
    phases = build_phases(build_system(["Ca", "SO4"]), ["gypsum"])
    si, draws = np.full((4, 1), 0.6), Draws(4, 1)
    warm, cold = (clouding_times_s(phases, si, {}, draws, t) for t in (25.0, 5.0))
    assert np.all(cold > 2.0 * warm)


def test_a_tank_that_worsens_on_the_way_shows_when_its_share_of_the_clock_is_over() -> None:
    """A clock of 10 minutes that the tank only comes to after 4 hours can't run out by the 11th
    minute; arithmetic: one that stays as it is runs out at its own time."""
    hour = 3600.0
    slow, fast, none = np.array([[1e6]]), np.array([[600.0]]), np.zeros((1, 1))
    t = onset_s(0.0, 4 * hour, none, slow, fast)
    assert 2 * hour < t[0, 0] < 4 * hour
    assert damage(float(t[0, 0]), slow, slow * (fast / slow) ** (t / (4 * hour)))[
        0, 0
    ] == pytest.approx(1.0)
    assert onset_s(0.0, 4 * hour, none, fast, fast)[0, 0] == pytest.approx(600.0)
    late = onset_s(0.0, 300.0, none, fast, fast)[0, 0]
    assert late == pytest.approx(600.0)
    half = onset_s(0.0, 4 * hour, np.array([[0.5]]), slow, fast)
    assert half[0, 0] < t[0, 0]


def test_ferric_iron_clouds_by_the_hour_in_acid_and_at_once_when_neutral() -> None:
    """0.01 mol/L of ferric nitrate, SI about 1 at its own pH of 2.3, stays clear for hours; brought
    to pH 6 it is brown at once (Dousma and de Bruyn 1976, J. Colloid Interface Sci. 56, 527: value
    from memory)."""
    curve = tables().clouding[tables().solids["ferrihydrite"].curve]
    acid, neutral = clouding_time_s(curve, np.array([0.25, 2.2]))
    assert acid > 2 * 3600.0 and neutral < 30.0


def test_newberyite_is_never_sooner_than_struvite() -> None:
    """Struvite comes first from solutions that are as far over either limit (Abbona, Lundager
    Madsen and Boistelle 1982, J. Cryst. Growth 57, 6: value from memory)."""
    si = np.arange(0.05, 2.5, 0.05)
    struvite, newberyite = (
        clouding_time_s(tables().clouding[k], si) for k in ("struvite", "magnesium_phosphate")
    )
    assert np.all(newberyite >= struvite)


def _growing(solids: list[str], settled: list[float], si: list[float], t: list[float]) -> Growing:
    components = {c.master: c.key for c in tables().components.values()}
    keys = {components[m] for k in solids for m in tables().solids[k].reaction if m in components}
    system = build_system(keys)
    phases = build_phases(system, solids)
    amounts = alone_g_per_L(phases, np.array([si]), np.full((1, len(system.components)), 0.01))
    return Growing.of(phases, np.array([settled]), amounts, np.array([t]))


def test_the_first_form_shows_and_what_it_turns_into_clogs() -> None:
    """Ostwald's rule: the amorphous phosphate comes in half a minute, brushite follows on it."""
    both = ["brushite", "amorphous_calcium_phosphate"]
    tank = _growing(both, [1.0, 0.0], [1.0, 1.5], [492.0, 22.0])
    alone = _growing(["brushite"], [1.0], [1.0], [492.0])
    assert tank.filled(20.0)[0][0] == 0.0
    assert tank.filled(60.0)[0][0] > 1.0 > alone.filled(60.0)[0][0]
    assert tank.filled(300.0)[1][0] > 1.0 > alone.filled(300.0)[1][0]
    # a trace of the first form, too little to be seen, does not make the second one seen
    faint = replace(tank, first=np.array([[1.0, 0.001]]))
    assert faint.filled(300.0)[0][0] < 1.0 < faint.filled(3600.0)[0][0]
    # a dormant form of the same ions starts nothing
    old = _growing(["brushite", "hydroxyapatite"], [1.0, 0.0], [1.0, 9.0], [492.0, 1.0])
    assert old.filled(60.0)[0][0] == 0.0


def test_many_equal_solids_are_hardly_sooner_than_one() -> None:
    """Dust and stirring are the tank's: the soonest of eight comes 3 times sooner, not 7."""
    draws = Draws(512, 3)
    times = np.stack([spread(draws, f"solid {k}", 4.0) for k in range(8)])
    assert np.log(times[0]).std() == pytest.approx(np.log(4.0), rel=0.1)
    sooner = float(np.exp(-np.median(np.log(times.min(axis=0)))))
    independent = np.exp(np.log(4.0) * 1.37)  # median of the least of eight normal deviates
    assert 1.5 < sooner < 0.6 * independent
    assert np.array_equal(spread(draws, "lime", 4.0), spread(draws, "lime", 4.0))


def test_a_solid_alone_leaves_its_solution_at_its_limit() -> None:
    system = build_system(("Ca", "SO4"))
    phases = build_phases(system, ["gypsum"])
    totals = np.array([[0.05, 0.05]])
    out = alone_g_per_L(phases, np.array([[1.0]]), totals)[0, 0] / 172.17
    assert (0.05 - out) ** 2 == pytest.approx(0.05**2 / 10.0, rel=1e-3)


def test_flocs_are_seen_before_crystals_and_clog_before_them() -> None:
    """Turbidity is seen from about 4 NTU, 5 to 15 mg/L of fine particles (WHO 2017)."""
    assert 0.005 <= limits()["floc"].shows_g_per_L <= 0.015 < limits()["crystals"].shows_g_per_L
    for limit in limits().values():
        assert limit.shows_g_per_L < 0.1 * limit.clogs_g_per_L * 2.0


def tank(count: int = 64, **mol_per_kg: float) -> Finished:
    """A finished solution known exactly."""
    keys = tuple(c for c in tables().components if c in mol_per_kg)
    rows = np.tile([mol_per_kg[k] for k in keys], (count, 1))
    none = np.zeros((count, len(keys)))
    return Finished(keys, rows, np.ones(count), np.ones(count), none[None], none, {})


def held(finished: Finished, metal: str, agent: str, t_s: float) -> Floats:
    """Share of a metal that an agent holds by a time, per draw."""
    aged = aging(finished, 20.0, Draws(len(finished.totals), 1))
    place = aged.system.components.index(held_key(metal, agent))
    return aged.totals(t_s)[:, place] / finished.totals[0, finished.components.index(metal)]


def test_every_pair_of_rows_covers_its_range_of_ph_without_a_gap() -> None:
    rows: dict[tuple[str, str], list[tuple[float, float]]] = {}
    for row in holdings():
        assert {row.metal, row.agent} <= set(tables().components)
        assert row.source in tables().references
        rows.setdefault((row.metal, row.agent), []).append((row.ph_from, row.ph_to))
        (_, low, high), (_, late_low, late_high) = row.gone
        assert 0.0 <= low <= high <= late_high <= 1.0 and low <= late_low
    for ranges in rows.values():
        assert all(a[1] == b[0] for a, b in itertools.pairwise(ranges))


@pytest.mark.parametrize("agent", ["citrate", "gluconate"])
def test_ferric_iron_stays_with_its_hydroxy_acid_for_a_day(agent: str) -> None:
    """EN 15962: complexed is what stays dissolved at pH 9 for hours to days."""
    z = {"citrate": 3.0, "gluconate": 1.0}[agent]
    jar = tank(Fe3=0.001, Na=0.003 + 0.001 * (z * 2.0 - 3.0), Cl=0.003, **{agent: 0.002})
    assert np.all(held(jar, "Fe3", agent, 4 * 3600.0) > 0.999)
    assert np.all(held(jar, "Fe3", agent, DAY_S) > 0.999)
    assert held(jar, "Fe3", agent, 30 * DAY_S).min() < 0.6


def test_alkaline_copper_citrate_is_held_by_its_ratio() -> None:
    """All of it from four citrates to a copper, half at two, none at one (value from memory)."""
    shares = []
    for citrate in (0.01, 0.02, 0.04, 0.08):
        jar = tank(Cu=0.01, citrate=citrate, Na=0.2 + 3.0 * citrate, SO4=0.01, CO3=0.1)
        shares.append(float(np.median(held(jar, "Cu", "citrate", 60.0))))
    assert shares == pytest.approx([0.0, 0.5, 1.0, 1.0], abs=1e-6)
    acid = tank(Cu=0.01, citrate=0.04, Na=0.12, SO4=0.01)
    assert np.all(held(acid, "Cu", "citrate", 60.0) == 0.0)


def test_a_chelate_of_the_label_lets_go_by_day_and_ph() -> None:
    """Fe-EDTA near pH 7 gives up 0 to a tenth by a day (value from memory), more when alkaline."""
    gone = {}
    for name, sodium in (("neutral", 0.0105), ("alkaline", 0.0145)):
        jar = tank(Fe3=0.001, EDTA=0.001, Na=sodium, Cl=0.005, CO3=0.005)
        jar = Finished(**{**vars(jar), "held": {("Fe3", "EDTA"): np.full(64, 0.001)}})
        gone[name] = 1.0 - held(jar, "Fe3", "EDTA", DAY_S)
        assert np.all(held(jar, "Fe3", "EDTA", 0.9 * DAY_S) > 0.999)
    assert gone["neutral"].min() >= 0.0 and gone["neutral"].max() <= 0.1
    assert gone["alkaline"].max() > 0.4
