"""Driver: totals in, speciation of every row out, with an honest word on each row."""

from __future__ import annotations

from typing import Any

import numpy as np

from chem.equilibrium.activity import LN10, MOLAR_MASS_WATER_KG, Floats
from chem.equilibrium.basis import BoundStep, sets_of
from chem.equilibrium.guess import (
    FIRST_SHARE,
    SECOND_SHARE,
    TOTAL_FLOOR,
    ceilings,
    first_guess,
)
from chem.equilibrium.medium import (
    IONIC_STRENGTH_FLOOR,
    ActivityModel,
    Scratch,
    activity_model,
)
from chem.equilibrium.outcome import (
    Bools,
    Conditions,
    Equilibrium,
    Integers,
    RowStatus,
    empty_result,
)
from chem.equilibrium.residual import NewtonStep, Solids, newton_step
from chem.equilibrium.rows import Course, Found, Rows
from chem.equilibrium.system import Phases, System

CHUNK_ROWS = 512
DIRECT_ITERATIONS, PIVOTED_ITERATIONS = 60, 150
STEP_TOLERANCE = 1e-9
BALANCE_TOLERANCE = 1e-9
LN_M_FLOOR = -300.0
FREE_GROWTH_LN, GROWTH = 3.0, 12.0
"""Growth of ln m that needs no limit; how steeply the limit rises with a species' own share."""
STALE = (2, 4)
"""Steps from a cold start that go by the activity coefficients of the step before."""
PACKED_SHARE = 0.25
"""Rows that are done are taken out once they are so many of a batch."""
SOLIDS_LIFT_LN = 3.0
"""A wrongly chosen solid has a negative amount: its ions then exceed their totals."""
DAMP_AFTER = 30
MINOR_SHARE_LN = float(np.log(0.01))


def checked(system: System, totals: Floats) -> Floats:
    """(N, C) totals with none at nothing. Raises: ValueError as `solve`."""
    totals = np.atleast_2d(np.asarray(totals, dtype=np.float64))
    if totals.shape[1] != len(system.components):
        raise ValueError(f"totals have {totals.shape[1]} columns, not {len(system.components)}")
    if not np.isfinite(totals).all() or (totals < 0.0).any():
        raise ValueError("totals must be finite and not negative [mol/kg water]")
    return np.maximum(totals, TOTAL_FLOOR)


def solve(
    system: System,
    totals_mol_per_kgw: Floats,
    conditions: Conditions,
    *,
    ph: Floats | None = None,
    phases: Phases | None = None,
    active: Bools | None = None,
    log_ksp: Floats | None = None,
    start: Equilibrium | None = None,
    tolerance: float = STEP_TOLERANCE,
) -> Equilibrium:
    """Speciate N rows.

    Args:
        totals_mol_per_kgw: (N, C) [mol/kg water], finite, not negative.
        conditions: constants of the rows.
        ph: (N,) given pH (-log10 of the H+ activity); default: electroneutrality decides.
        phases, active, log_ksp: solids in equilibrium; (N, M) which, (1 or N, M) their log10 Ksp.
        start: a neighbouring result of the same shape to start from.
        tolerance: change of ln activities left to come at which a row is through.

    Raises:
        ValueError: totals of wrong shape, negative or not finite.
    """
    totals = checked(system, totals_mol_per_kgw)
    amounts = np.zeros((len(totals), 0 if phases is None else len(phases)))
    state = empty_result(system, conditions, totals, amounts)
    solve_into(
        state,
        np.arange(len(totals)),
        totals,
        ph=ph,
        phases=phases,
        active=active,
        log_ksp=log_ksp,
        start=start,
        tolerance=tolerance,
    )
    return state


def solve_into(
    state: Equilibrium,
    which: Integers,
    totals: Floats,
    *,
    ph: Floats | None = None,
    phases: Phases | None = None,
    active: Bools | None = None,
    log_ksp: Floats | None = None,
    start: Equilibrium | None = None,
    tolerance: float = STEP_TOLERANCE,
) -> None:
    """Speciate some rows of a result, in place: `which` of N; all else as of `solve`, of N rows.

    totals: as `checked` gives them; start: may be the state itself.
    """
    system, conditions, n = state.system, state.conditions, len(state.totals)
    model, step = activity_model(system, conditions.t_celsius), newton_step(system)
    scratch = Scratch()
    state.converged[which] = False

    def rows_of(part: Integers, share: float, near: Equilibrium | None) -> Rows:
        at = _span(part)
        these = totals[at].T.copy()
        full = np.concatenate([these, -(system.component_charge @ these)[None, :]])[step.order]
        ceiling = ceilings(system, these)
        ln_m, water = first_guess(system, ceiling, share), np.ones(len(part))
        if near is not None:
            ln_near = near.ln_molality[at].T
            if phases is None:
                grown = np.log(these / np.maximum(near.totals[at].T, TOTAL_FLOOR))
                ln_near = ln_near + system.nu[:-1].T @ grown
            usable = np.isfinite(ln_near.sum(axis=0))
            np.copyto(ln_m, np.minimum(ln_near, ceiling), where=usable)
            water = np.nan_to_num(near.water_left[at], nan=1.0)
        log_k, shifts = conditions.log_k, conditions.eps_shift
        solids = None
        if phases is not None and active is not None and log_ksp is not None:
            ln_ksp = LN10 * np.broadcast_to(log_ksp, active.shape)[at]
            solids = Solids.of(phases, step.order, active[at], ln_ksp)
        return Rows(
            np.arange(len(part)),
            full,
            1.0 + LN10 * (log_k if len(log_k) == 1 else log_k[at]).T.copy(),
            None if shifts is None else shifts[at].T.copy(),
            None if ph is None else -LN10 * np.broadcast_to(np.asarray(ph, float), (n,))[at],
            solids,
            ceiling,
            ln_m,
            water,
            near is None,
            Course.begin(*full.shape),
        )

    def go(
        todo: Integers, way: NewtonStep | BoundStep, direct: bool, share: float, near: Any
    ) -> None:
        for first in range(0, len(todo), CHUNK_ROWS):
            part = todo[first : first + CHUNK_ROWS]
            rows = rows_of(part, share, near)
            found = _solve_chunk(system, model, way, scratch, rows, direct, tolerance)
            _write(state, part, found, rows.solids, step)

    # Without pivots first; what is not through, and rare sets of solids, take the slower way.
    slower = [(FIRST_SHARE, start)]
    # A set of solids that can't coexist overflows: its row then says so by its reason.
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        if phases is None or active is None:
            go(which, step, True, FIRST_SHARE, start)
            slower = [(FIRST_SHARE, None), (SECOND_SHARE, None)]
        else:
            given = ph is not None
            for some, bound in sets_of(
                system, phases, active[which], totals[which], ph_given=given
            ):
                go(which[some], bound, True, FIRST_SHARE, start)
        for share, near in slower:
            todo = which[~state.converged[which]]
            if active is not None:
                # Rows of like many solids go together: their matrices are of one size.
                todo = todo[np.argsort(active[todo].sum(axis=1), kind="stable")]
            go(todo, step, False, share, near)
    state.totals[which] = totals[which]
    failed = which[~state.converged[which]]
    for values in (state.ln_molality, state.ln_activity, state.ln_component_activity):
        values[failed] = np.nan
    for values in (state.ln_water_activity, state.ionic_strength, state.ph):
        values[failed] = np.nan


def _span(part: Integers) -> Integers | slice:
    """The same rows as a slice where they follow one another: views are quicker than copies."""
    first, end = int(part[0]), int(part[-1]) + 1
    return slice(first, end) if end - first == len(part) and (np.diff(part) == 1).all() else part


def _write(
    state: Equilibrium, part: Integers, found: Found, solids: Solids | None, step: NewtonStep
) -> None:
    """Put a chunk's rows in their place; what did not converge says why, and keeps its start."""
    good = found.reason == RowStatus.CONVERGED
    at, of = (_span(part), slice(None)) if good.all() else (part[good], good)
    state.ln_molality.T[:, at] = found.ln_molality[:, of]
    state.ln_activity.T[:, at] = found.ln_activity[:, of]
    state.ln_component_activity.T[:, at] = found.x[np.argsort(step.order)][:, of]
    state.ln_water_activity[at] = found.ln_water_activity[of]
    state.ionic_strength[at] = found.ionic_strength[of]
    state.ph[at] = -found.x[-1, of] / LN10
    state.water_left[at] = found.water_left[of]
    at = _span(part)
    if solids is not None:
        state.amounts[at] = solids.spread(found.amounts, state.amounts.shape[1])
    state.balance[at] = found.balance
    state.converged[at] = good
    state.reason[at] = found.reason
    state.iterations[at] = found.iterations


def _solve_chunk(
    system: System,
    model: ActivityModel,
    step: NewtonStep | BoundStep,
    scratch: Scratch,
    every: Rows,
    direct: bool,
    tolerance: float,
) -> Found:
    """Iterate until every row is through, or has had its iterations."""
    n = len(every.index)
    solids = every.solids
    x_found = np.full(every.totals.shape, np.nan)
    gamma_found = np.full((model.groups, n), np.nan)
    aw_found = np.full(n, np.nan)
    amounts_found = np.zeros((0 if solids is None else len(solids.water), n))
    water_found = np.ones(n)
    reason = np.full(n, int(RowStatus.ITERATIONS))
    iterations = np.zeros(n, dtype=np.int64)
    rows, medium = every, None
    live = np.ones(n, dtype=bool)
    most = DIRECT_ITERATIONS if direct else PIVOTED_ITERATIONS
    for iteration in range(1, most + 1):
        shape = rows.ln_m.shape
        molality = np.exp(rows.ln_m, out=scratch("molality", *shape))
        stale = rows.cold and iteration in STALE
        renewed = medium is None or len(medium.solutes) != shape[1] or not stale
        if medium is None or renewed:
            medium = model.medium(molality, rows.shifts, scratch)
        above = np.take(
            medium.ln_k_shift, model.group, axis=0, out=scratch("above", *shape), mode="clip"
        )
        above += rows.above_k
        above -= rows.ln_m
        totals = rows.totals if rows.solids is None else rows.totals / rows.water
        x, change, amounts = step.solve(
            molality,
            above,
            totals,
            rows.ln_h,
            rows.solids,
            medium.ln_water_activity,
            direct,
            scratch,
        )
        water = rows.water
        finite, done, stretch = rows.course.go(x, tolerance)
        if rows.solids is not None:
            # Water bound in solids leaves the water: n is per kg of water left.
            bound_water = MOLAR_MASS_WATER_KG * (rows.solids.water * amounts).sum(axis=0)
            water = 1.0 / np.maximum(1.0 + bound_water, 1e-3)
            done &= np.abs(water - rows.water) < tolerance
        done &= finite & renewed
        stop = (done | ~finite) & live if iteration < most else live
        if stop.any():
            at = rows.index[stop]
            iterations[at] = iteration
            reason[at] = np.where(
                done[stop],
                int(RowStatus.CONVERGED),
                np.where(finite[stop], int(RowStatus.ITERATIONS), int(RowStatus.NOT_FINITE)),
            )
            x_found[:, at] = x[:, stop]
            gamma_found[:, at] = medium.ln_gamma[:, stop]
            aw_found[at] = medium.ln_water_activity[stop]
            if rows.solids is not None:
                amounts_found[:, at] = amounts[:, stop]
                water_found[at] = rows.water[stop]
            live &= ~stop
            if not live.any():
                break
        if (stretch != 1.0).any():
            change *= stretch
        _advance(rows, change, medium.solutes, iteration, scratch)
        rows.water = water
        if np.count_nonzero(live) <= (1.0 - PACKED_SHARE) * len(live):
            rows = rows.pick(np.flatnonzero(live))
            live = np.ones(len(rows.index), dtype=bool)
    shift = system.water[:, None] * aw_found - gamma_found[model.group]
    ln_m = step.nu.T @ x_found + shift + (every.above_k - 1.0)
    molality = np.exp(np.minimum(ln_m, 50.0))
    balance = _balance(step, molality, every, water_found, amounts_found)
    reason = np.where(
        (reason == RowStatus.CONVERGED) & ~(balance < max(BALANCE_TOLERANCE, tolerance)),
        int(RowStatus.ITERATIONS),
        reason,
    )
    return Found(
        ln_m,
        ln_m + gamma_found[model.group],
        x_found,
        aw_found,
        np.maximum(0.5 * (system.charge**2 @ molality), IONIC_STRENGTH_FLOOR),
        amounts_found * water_found,
        water_found,
        balance,
        reason,
        iterations,
    )


def _advance(rows: Rows, change: Floats, solutes: Floats, iteration: int, scratch: Scratch) -> None:
    """Take the step, in place, none beyond what mass balance allows.

    Minor species grow to 1 % of the sum at most, major ones by the more the larger they are.
    change: (S, n), overwritten; solutes: (n,) [mol/kg].
    """
    if iteration > DAMP_AFTER:
        # Lagged activity coefficients can swing in strong brines: halve the step.
        np.multiply(change, 0.5, out=change, where=np.abs(change) < 1.0)
    ln_m = rows.ln_m
    if change.max() <= FREE_GROWTH_LN:
        ln_m += change
    else:
        bound = np.log(solutes) + MINOR_SHARE_LN
        limit = np.multiply(ln_m, GROWTH, out=scratch("limit", *ln_m.shape))
        limit += (1.0 - GROWTH) * bound + GROWTH * 0.7
        np.maximum(limit, bound, out=limit)
        ln_m += change
        np.minimum(ln_m, limit, out=ln_m)
        ceiling = rows.ceiling
        if ceiling.shape != ln_m.shape:
            ceiling = ceiling[:, rows.index]
        if rows.solids is not None:
            lift = SOLIDS_LIFT_LN - np.log(rows.water)
            ceiling = np.add(ceiling, lift, out=limit)
        np.minimum(ln_m, ceiling, out=ln_m)
    np.maximum(ln_m, LN_M_FLOOR, out=ln_m)


def _balance(
    step: NewtonStep | BoundStep, molality: Floats, rows: Rows, water_left: Floats, amounts: Floats
) -> Floats:
    """(n,) largest relative mass balance error; the proton row counts only if pH is free."""
    held = step.nu @ molality
    scale = held.copy()
    signed = (step.nu < 0.0).any(axis=1)
    scale[signed] = np.abs(step.nu[signed]) @ molality
    if rows.solids is not None:
        held += rows.solids.held(amounts)
        scale += np.abs(rows.solids.nu * amounts).sum(axis=1)
    error = np.abs(held - rows.totals / water_left) / np.maximum(scale, TOTAL_FLOOR)
    return np.asarray(error[: None if rows.ln_h is None else -1].max(axis=0, initial=0.0))
