"""The solver on hard mixes: every row solved or an honest reason, and the invariants."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from functools import cache

import numpy as np
import pytest
from corpus import ADDED_SINCE, KINDS, Family, closed, families, family, system_of, with_doubts
from hypothesis import given, settings
from hypothesis import strategies as st

from chem.equilibrium import (
    Conditions,
    Equilibrium,
    Phases,
    RowStatus,
    aired,
    build_phases,
    build_system,
    coverage,
    settle,
    solve,
)
from chem.equilibrium.elimination import Elimination, solve_each
from chem.equilibrium.medium import Scratch
from chem.reference import tables

settings.register_profile("frozen", derandomize=True, deadline=None, max_examples=40)
settings.load_profile("frozen")

FAMILIES, CORPUS_SEED = 40, 1
COMMON = ("Ca", "Mg", "K", "Na", "NH4", "Fe3", "Cl", "NO3", "SO4", "CO3", "PO4", "citrate")
MODEL_END_I = 6.0
SAME = 1e-7
"""Largest difference of ln molality between two solutions of one row (stop test 1e-8)."""


@cache
def corpus() -> tuple[Family, ...]:
    """2,000 hard mixes."""
    return tuple(families(FAMILIES, CORPUS_SEED))


def solved(mixes: tuple[Family, ...]) -> Iterator[tuple[Family, Equilibrium]]:
    for mix in mixes:
        yield mix, solve(mix.system, mix.totals, Conditions.nominal(mix.system, mix.t_celsius))


log_totals = st.lists(
    st.floats(-6.0, 0.3, allow_nan=False), min_size=len(COMMON), max_size=len(COMMON)
)


def _totals(logs: list[float]) -> np.ndarray:
    """Totals of COMMON, neutralised with sodium or chloride towards pH 6."""
    return closed(system_of(COMMON), 10.0 ** np.array([logs]), 25.0, np.array([6.0]))


def test_the_corpus_is_as_hard_as_it_says() -> None:
    mixes = corpus()
    assert sum(len(m.totals) for m in mixes) == 2000
    assert {k for m in mixes for k in m.kinds} == set(KINDS)
    sizes = [len(m.system.components) for m in mixes]
    assert min(sizes) <= 8
    assert max(sizes) == len(set(tables().components) - ADDED_SINCE)
    iron_edta = [
        np.abs(m.totals[i, m.system.components.index("Fe3")] / edta - 1.0)
        for m in mixes
        if {"Fe3", "EDTA"} <= set(m.system.components)
        for i, kind in enumerate(m.kinds)
        if kind == "equal"
        for edta in [m.totals[i, m.system.components.index("EDTA")]]
    ]
    assert len(iron_edta) > 100
    assert max(iron_edta) <= 1.1e-9
    assert (np.concatenate([m.totals.ravel() for m in mixes]) == 1e-12).sum() > 1000


@pytest.mark.parametrize("seed", [CORPUS_SEED, 2])
def test_every_hard_mix_is_solved(seed: int) -> None:
    mixes = corpus() if seed == CORPUS_SEED else tuple(families(FAMILIES, seed))
    ph = []
    for _, state in solved(mixes):
        assert state.converged.all()
        assert (state.reason == RowStatus.CONVERGED).all()
        assert state.balance.max() < 1e-9
        assert state.charge_balance_relative.max() < 1e-9
        ph.append(state.ph)
    reached = np.concatenate(ph)
    assert ((reached > 0.9) & (reached < 11.1)).all()
    assert reached.min() < 1.5
    assert reached.max() > 10.5


def test_mass_balance_by_hand() -> None:
    """Not the solver's own sum: totals from molalities and the stoichiometry of the tables."""
    by_key = {s.key: s for s in tables().species}
    for mix, state in solved(corpus()[::8]):
        system, m = mix.system, state.molality
        for c, component in enumerate(system.components):
            master = tables().components[component].master
            held = m[:, c].copy()
            for s, key in enumerate(system.species):
                if key in by_key and s > len(system.components):
                    held += by_key[key].reaction.get(master, 0.0) * m[:, s]
            np.testing.assert_allclose(held, mix.totals[:, c], rtol=1e-9)


def test_mass_action_holds() -> None:
    for mix, state in solved(corpus()[::8]):
        system = mix.system
        expected = state.ln_component_activity @ system.nu
        expected += state.ln_water_activity[:, None] * system.water
        expected += np.log(10.0) * state.conditions.log_k
        seen = state.ln_molality > -290.0
        assert np.abs(state.ln_activity - expected)[seen].max() < 1e-6


def test_a_batch_row_is_the_single_row() -> None:
    for mix in corpus()[::5]:
        conditions = with_doubts(mix.system, mix.t_celsius, len(mix.totals))
        batch = solve(mix.system, mix.totals, conditions)
        for i in (0, 17, 49):
            single = solve(
                mix.system,
                mix.totals[[i]],
                Conditions(mix.t_celsius, conditions.log_k[[i]], conditions.eps_shift[[i]]),
            )
            assert _distance(batch, i, single, 0) < SAME


def _distance(a: Equilibrium, i: int, b: Equilibrium, j: int) -> float:
    """Largest difference of ln molality among species that count."""
    counts = a.ln_molality[i] > np.log(1e-20)
    return float(np.abs(a.ln_molality[i] - b.ln_molality[j])[counts].max())


def test_solving_twice_changes_nothing() -> None:
    for mix, state in solved(corpus()[::5]):
        again = solve(mix.system, mix.totals, state.conditions, start=state)
        assert again.converged.all()
        assert max(_distance(state, i, again, i) for i in range(len(mix.totals))) < SAME


def test_row_order_and_chunks_change_nothing() -> None:
    mix = family(np.random.default_rng(3), COMMON, 600)
    conditions = Conditions.nominal(mix.system, mix.t_celsius)
    forward = solve(mix.system, mix.totals, conditions)
    backward = solve(mix.system, mix.totals[::-1], conditions)
    assert forward.converged.all()
    assert max(_distance(forward, i, backward, 599 - i) for i in range(600)) < SAME


def test_a_start_from_any_other_row_changes_nothing() -> None:
    for mix in corpus()[::5]:
        conditions = with_doubts(mix.system, mix.t_celsius, len(mix.totals))
        cold = solve(mix.system, mix.totals, conditions)
        other = solve(mix.system, mix.totals[::-1], conditions)
        warm = solve(mix.system, mix.totals, conditions, start=other)
        assert warm.converged.all()
        assert max(_distance(cold, i, warm, i) for i in range(len(mix.totals))) < SAME


def test_rows_that_elimination_without_pivots_leaves_are_solved_with_them(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    mix = corpus()[9]
    conditions = Conditions.nominal(mix.system, mix.t_celsius)
    direct = solve(mix.system, mix.totals, conditions)
    monkeypatch.setattr(sys.modules["chem.equilibrium.newton"], "DIRECT_ITERATIONS", 1)
    pivoted = solve(mix.system, mix.totals, conditions)
    assert pivoted.converged.all()
    assert max(_distance(direct, i, pivoted, i) for i in range(len(mix.totals))) < SAME


@pytest.mark.parametrize("given", [False, True])
def test_a_set_of_solids_as_a_change_of_basis_gives_what_pivots_give(
    given: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Gypsum and struvite, brucite: whichever of its ions each row has least of."""
    system = system_of(COMMON)
    phases = build_phases(system, ("gypsum", "struvite", "brucite"))
    rng = np.random.default_rng(4)
    logs = rng.uniform(-2.0, -1.0, (96, len(COMMON)))
    logs[:, [COMMON.index("Ca"), COMMON.index("SO4")]] += 0.9
    totals = np.concatenate([_totals(list(row)) for row in logs])
    conditions = Conditions.nominal(system)
    ph = np.full(len(totals), 9.8) if given else None
    basis = sys.modules["chem.equilibrium.basis"]
    calls = []
    step = basis.BoundStep.solve

    def counted(self: object, *rest: object) -> object:
        calls.append(1)
        return step(self, *rest)

    monkeypatch.setattr(basis.BoundStep, "solve", counted)
    together = settle(system, totals, conditions, phases, ph=ph)
    assert calls
    monkeypatch.setattr(basis, "LEAST_ROWS", len(totals) + 1)
    calls.clear()
    pivoted = settle(system, totals, conditions, phases, ph=ph)
    assert not calls and together.converged.all() and pivoted.converged.all()
    assert (together.amounts > 0.0).any(axis=1).sum() >= basis.LEAST_ROWS // 4
    np.testing.assert_allclose(together.amounts, pivoted.amounts, atol=1e-10)
    np.testing.assert_allclose(together.ph, pivoted.ph, atol=SAME)


@pytest.mark.parametrize("rows", [3, 200])
@pytest.mark.parametrize("given", [False, True])
def test_elimination_in_levels_solves_the_system(rows: int, given: bool) -> None:
    """Against LAPACK on the whole matrix, its last row replaced where H+ is given."""
    system = system_of(COMMON)
    plan = Elimination(system.nu)
    rng = np.random.default_rng(1)
    molality = np.exp(rng.uniform(-12.0, 0.0, (len(system.species), rows)))
    right = rng.normal(size=(len(system.nu), rows))
    last = rng.normal(size=rows) if given else None
    nu = system.nu[plan.order]
    matrix = np.einsum("is,sn,js->nij", nu, molality, nu)
    whole = right.copy()
    if last is not None:
        matrix[:, -1], matrix[:, -1, -1], whole[-1] = 0.0, 1.0, last
    filled = np.concatenate([plan.entries @ molality, np.empty_like(right)])
    x = plan.solve(filled, right.copy(), last, Scratch())
    np.testing.assert_allclose(x, solve_each(matrix, whole.T).T, rtol=1e-8, atol=1e-8)


def test_one_singular_matrix_aborts_no_batch() -> None:
    matrix = np.broadcast_to(np.eye(3), (5, 3, 3)).copy()
    matrix[2] = 0.0
    found = solve_each(matrix, np.ones((5, 3)))
    assert np.isnan(found[2]).all()
    assert (found[[0, 1, 3, 4]] == 1.0).all()


def test_rows_beyond_all_bounds_spoil_no_other() -> None:
    """Most of a batch overflows at once and is packed away: the rest is as if alone."""
    system = build_system(("Ca", "Na", "Cl", "SO4"))
    totals = np.full((100, 4), 0.01)
    totals[:90] = 1e308
    state = solve(system, totals, Conditions.nominal(system))
    alone = solve(system, totals[90:], Conditions.nominal(system))
    assert state.converged.sum() == 10
    assert (state.reason[:90] == RowStatus.NOT_FINITE).all()
    assert np.isnan(state.ph[:90]).all()
    assert max(_distance(state, 90 + i, alone, i) for i in range(10)) < SAME
    assert len(solve(system, totals[:0], Conditions.nominal(system)).ph) == 0


def _solids(mix: Family, kinetics: tuple[str, ...]) -> Phases | None:
    phases = build_phases(mix.system)
    some = [m for m, s in enumerate(phases.solids) if s.kinetics in kinetics]
    return phases.pick(np.array(some)) if some else None


def _assert_settled(
    mix: Family, clear: Equilibrium, phases: Phases, log_ksp: np.ndarray | None = None
) -> int:
    """Settle the rows below 6 molal, check all that holds of them; how many they are."""
    valid = clear.ionic_strength < MODEL_END_I
    state = settle(mix.system, mix.totals, clear.conditions, phases, start=clear, log_ksp=log_ksp)
    assert state.converged[valid].all()
    good = state.converged
    assert not np.isfinite(state.ph[~good]).any()
    assert (state.reason[~good] != RowStatus.CONVERGED).all()
    si = state.saturation_index(phases, log_ksp)[good]
    held = state.amounts[good]
    assert np.abs(si[held > 0.0]).max(initial=0.0) < 1e-6
    assert si.max(initial=-1.0) < 1e-6
    assert held.min(initial=0.0) >= -1e-12
    total = state.molality[good] * state.water_left[good, None] @ mix.system.nu[:-1].T
    total += held @ phases.nu[:-1].T
    # Amounts of the totals themselves, and of what solid and solution exchange.
    np.testing.assert_allclose(total, mix.totals[good], rtol=1e-8, atol=1e-15)
    return int(valid.sum())


@pytest.mark.parametrize(
    "kinetics", [("prompt",), ("prompt", "slow"), ("prompt", "slow", "dormant")]
)
def test_every_settled_state_of_the_corpus_below_6_molal(kinetics: tuple[str, ...]) -> None:
    rows = 0
    for mix, clear in solved(corpus()):
        phases = _solids(mix, kinetics)
        if phases is not None:
            rows += _assert_settled(mix, clear, phases)
    assert rows > 900


def test_many_solids_at_once_settle() -> None:
    """All solids of the tables, each limit drawn anew and two decades lower than theirs."""
    rng = np.random.default_rng(4)
    most, rows, offered = 0, 0, 0
    for mix, clear in solved(tuple(families(FAMILIES, 3))[4::5]):
        phases = _solids(mix, ("prompt", "slow", "dormant"))
        if phases is None:
            continue
        shape = (len(mix.totals), len(phases))
        log_ksp = phases.log_k(mix.t_celsius) + rng.normal(-2.0, 1.5, shape)
        rows += _assert_settled(mix, clear, phases, log_ksp)
        over = clear.saturation_index(phases, log_ksp)[clear.converged] > 0.0
        most, offered = max(most, int(over.sum(axis=1).max())), max(offered, len(phases))
    assert rows > 150
    assert offered > 60
    assert most > 40


def test_water_in_solids_leaves_the_water() -> None:
    system = build_system(("Ca", "Na", "Cl", "SO4"))
    totals = system.totals({"Ca": 1.0, "Na": 2.0, "Cl": 2.0, "SO4": 1.0})
    phases = build_phases(system, ("gypsum",))
    state = settle(system, totals, Conditions.nominal(system), phases)
    bound = 2.0 * 0.01801528 * state.amounts[0, 0]
    assert state.amounts[0, 0] > 0.9
    assert state.water_left[0] == pytest.approx(1.0 - bound, abs=1e-9)


def test_of_two_forms_of_one_solid_the_less_soluble_stays() -> None:
    """Gibbs' phase rule: calcite and vaterite can't both be at equilibrium."""
    system = build_system(("Ca", "Na", "Cl", "CO3"))
    totals = system.totals({"Ca": 0.05, "Na": 0.1, "Cl": 0.1, "CO3": 0.05})
    phases = build_phases(system, ("vaterite", "calcite", "monohydrocalcite"))
    state = settle(system, totals, Conditions.nominal(system), phases)
    amounts = dict(zip(phases.keys, state.amounts[0], strict=True))
    assert amounts["calcite"] > 0.04
    assert amounts["vaterite"] == amounts["monohydrocalcite"] == 0.0
    assert state.saturation_index(phases)[0, phases.keys.index("vaterite")] < 0.0


def test_a_solid_may_hold_nearly_all_of_a_component() -> None:
    """Brochantite leaves sulfate at 1e-28 here: rounding must not keep the row from closing."""
    mix = list(families(27, 1))[26]
    phases = build_phases(mix.system, ("ferrihydrite", "brochantite", "silica_amorphous"))
    state = settle(
        mix.system, mix.totals[[5]], Conditions.nominal(mix.system, mix.t_celsius), phases
    )
    assert state.converged.all()
    assert state.iterations[0] < 50


@pytest.mark.parametrize("bad", [np.nan, -1e-9, np.inf, -np.inf])
def test_totals_that_are_no_amounts_are_refused(bad: float) -> None:
    system = build_system(("Na", "Cl"))
    with pytest.raises(ValueError, match="finite and not negative"):
        solve(system, np.array([[0.1, bad]]), Conditions.nominal(system))
    with pytest.raises(ValueError, match="columns"):
        solve(system, np.array([[0.1, 0.1, 0.1]]), Conditions.nominal(system))


def test_a_row_without_solution_gives_no_number() -> None:
    """2 mol/kg of sodium without any anion but OH- is lye; an unknown component is an error."""
    system = build_system(("Na", "Cl"))
    state = solve(system, system.totals({"Na": 2.0}), Conditions.nominal(system))
    assert state.converged.all()
    assert state.ph[0] > 14.0
    with pytest.raises(KeyError, match="Unobtainium"):
        build_system(("Na", "Unobtainium"))


def test_water_alone_is_neutral() -> None:
    """Half of pKw at 25 degC (13.995, CODATA 1989 in the tables)."""
    system = build_system(("Na", "Cl"))
    state = solve(system, system.totals({}), Conditions.nominal(system))
    assert state.ph[0] == pytest.approx(-system.log_k(25.0)[system.index["OH-"]] / 2, abs=1e-3)


@given(log_totals, st.floats(3.0, 10.0))
def test_acid_added_then_computed_back_gives_the_acid(logs: list[float], ph: float) -> None:
    """At a given pH the charge that is missing is the strong acid or base that gives that pH."""
    system = system_of(COMMON)
    totals = _totals(logs)
    conditions = Conditions.nominal(system)
    chloride = system.components.index("Cl")
    sodium = system.components.index("Na")
    reached = closed(system, totals, 25.0, np.array([ph]))
    free = solve(system, reached, conditions)
    assert free.converged.all()
    given_ph = solve(system, reached, conditions, ph=free.ph)
    missing = float((given_ph.molality @ system.charge)[0])
    assert abs(missing) < 1e-7 * float(given_ph.molality[0] @ np.abs(system.charge))
    acid = 1e-3
    more = reached.copy()
    more[0, chloride] += acid
    sour = solve(system, more, conditions)
    assert sour.ph[0] < free.ph[0]
    back = solve(system, more, conditions, ph=sour.ph)
    base = more.copy()
    base[0, sodium] += acid
    assert float((back.molality @ system.charge)[0]) == pytest.approx(0.0, abs=1e-6)
    assert solve(system, base, conditions).ph[0] > sour.ph[0]


@given(log_totals, st.sampled_from(["gypsum", "brushite", "struvite", "calcite"]))
def test_saturation_rises_with_its_own_ion(logs: list[float], key: str) -> None:
    """At given pH, a tenth more of a salt's own cation (with chloride) raises SI."""
    system = system_of(COMMON)
    totals = _totals(logs)
    # Dilute: in brine the salt's activity coefficients may fall faster than its ion rises.
    totals *= 0.05 / max(0.05, float(totals.sum()))
    phases = build_phases(system, (key,))
    cation = "Mg" if key == "struvite" else "Ca"
    more = totals.copy()
    more[0, system.components.index(cation)] *= 1.1
    conditions = Conditions.nominal(system)
    ph = np.array([7.0])
    before = solve(system, totals, conditions, ph=ph).saturation_index(phases)
    after = solve(system, more, conditions, ph=ph).saturation_index(phases)
    assert after[0, 0] > before[0, 0]


@given(log_totals, st.floats(5.0, 40.0))
def test_what_has_settled_is_saturated_and_settles_no_further(
    logs: list[float], t_celsius: float
) -> None:
    system = system_of(COMMON)
    totals = _totals(logs)
    phases = build_phases(system, ("gypsum", "brushite", "struvite", "calcite", "ferrihydrite"))
    conditions = Conditions.nominal(system, t_celsius)
    state = settle(system, totals, conditions, phases)
    assert state.converged.all()
    held = state.amounts[0] > 0.0
    assert np.abs(state.saturation_index(phases)[0][held]).max(initial=0.0) < 1e-6
    left = (totals - state.amounts @ phases.nu[:-1].T) / state.water_left[:, None]
    again = settle(system, np.maximum(left, 0.0), conditions, phases)
    assert again.amounts.max() < 1e-7
    assert again.ph[0] == pytest.approx(state.ph[0], abs=1e-4)


def test_zero_and_absent_components_are_the_same() -> None:
    small = build_system(("Ca", "Na", "Cl", "SO4"))
    large = build_system(COMMON)
    amounts = {"Ca": 0.01, "Na": 0.1, "Cl": 0.1, "SO4": 0.01}
    a = solve(small, small.totals(amounts), Conditions.nominal(small))
    b = solve(large, large.totals(amounts), Conditions.nominal(large))
    assert a.ph[0] == pytest.approx(b.ph[0], abs=1e-6)
    assert a.ionic_strength[0] == pytest.approx(b.ionic_strength[0], rel=1e-9)


def test_aired_solution_holds_the_carbon_dioxide_of_the_air() -> None:
    """Pure water in air reads 5.6 (textbook value, Stumm and Morgan 1996)."""
    system = build_system(("Na", "Cl", "CO3"))
    state = aired(system, system.totals({"CO3": 1e-9}), Conditions.nominal(system))
    assert state is not None
    assert state.ph[0] == pytest.approx(5.6, abs=0.05)
    # 0.1 mol/kg of lye takes up more than a hundred times the carbonate that it came with.
    lye = system.totals({"Na": 0.2, "Cl": 0.1, "CO3": 0.0005})
    state = aired(system, lye, Conditions.nominal(system))
    assert state is not None
    assert 9.0 < state.ph[0] < 10.0
    held = state.molality[0] @ system.nu[system.components.index("CO3")] * state.water_left[0]
    assert held == pytest.approx(0.0005 - state.amounts[0, 0], rel=1e-6)
    plain = build_system(("Na", "Cl"))
    assert aired(plain, plain.totals({"Na": 0.1}), Conditions.nominal(plain)) is None


def test_coverage_is_a_share() -> None:
    table_salt = build_system(("Na", "Cl"))
    state = solve(
        table_salt, table_salt.totals({"Na": 1.0, "Cl": 1.0}), Conditions.nominal(table_salt)
    )
    assert coverage(state)[0] == pytest.approx(1.0, abs=1e-3)
    for _, hard in solved(corpus()[:4]):
        share = coverage(hard)
        assert ((share >= 0.0) & (share <= 1.0)).all()


def test_shifts_move_only_estimated_coefficients() -> None:
    system = build_system(COMMON)
    totals = system.totals({"Na": 0.5, "Cl": 0.5})
    shifted = Conditions(25.0, system.log_k(25.0)[None, :], np.array([[0.1, 0.1, 0.1]]))
    a, b = solve(system, totals, Conditions.nominal(system)), solve(system, totals, shifted)
    assert a.ph[0] == pytest.approx(b.ph[0], abs=1e-3)
    assert system.estimated.max() == 1.0


def test_activity_coefficients_are_the_formula_written_out() -> None:
    """Groups of species must change nothing: SIT (OECD/NEA TDB-2, 2013), species by species."""
    for mix in corpus()[::5]:
        system, t = mix.system, mix.t_celsius
        conditions = with_doubts(system, t, len(mix.totals))
        state = solve(system, mix.totals, conditions)
        assert conditions.eps_shift is not None
        for i in (0, 17, 49):
            m, ionic = state.molality[i], state.ionic_strength[i]
            assert ionic == pytest.approx(0.5 * m @ system.charge**2, rel=1e-12)
            eps = system.eps_at(t, ionic)
            eps = eps + np.einsum("k,kst->st", conditions.eps_shift[i], system.estimated)
            root = np.sqrt(ionic)
            dh = system.debye_hueckel(t) * root / (1.0 + system.ba * root)
            gamma = -(system.charge**2) * dh + eps @ m
            seen = (state.ln_activity[i] - state.ln_molality[i]) / np.log(10.0)
            np.testing.assert_allclose(seen, gamma, atol=1e-7)
