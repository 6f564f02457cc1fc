"""Driver: totals in, speciation of every row out, with an honest word on each row."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from enum import IntEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

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
from chem.equilibrium.residual import NewtonStep, Solids, newton_step
from chem.equilibrium.system import Phases, System

Bools = NDArray[np.bool_]
Integers = NDArray[np.int64]

CHUNK_ROWS = 512
DIRECT_ITERATIONS, PIVOTED_ITERATIONS = 60, 150
STEP_TOLERANCE = 1e-9
BALANCE_TOLERANCE = 1e-9
LN_M_FLOOR = -300.0
FREE_GROWTH_LN, GROWTH = 3.0, 12.0
"""Growth of ln m that needs no limit; how steeply the limit rises with a species' own share."""
STALE = (2, 4)
"""Steps from a cold start that go by the activity coefficients of the step before."""
STEADY, STEADY_SHARE, STEADY_MOVE = 0.5, 0.9, 0.05
"""When a row's moves shrink steadily: the share's relative change, itself, the largest move."""
PACKED_SHARE = 0.25
"""Rows that are done are taken out once they are so many of a batch."""
SOLIDS_LIFT_LN = 3.0
"""A wrongly chosen solid has a negative amount: its ions then exceed their totals."""
DAMP_AFTER = 30
MINOR_SHARE_LN = float(np.log(0.01))


class RowStatus(IntEnum):
    """Why a row stands as it does."""

    CONVERGED = 0
    ITERATIONS = 1
    NOT_FINITE = 2
    SOLIDS = 3


@dataclass(frozen=True)
class Conditions:
    """What the constants are, per row.

    t_celsius: [degC]; log_k: (1 or N, S) log10 formation constants;
    eps_shift: (N, 3) shifts of the estimated interaction coefficients [kg/mol] or None.
    """

    t_celsius: float
    log_k: Floats
    eps_shift: Floats | None = None

    @classmethod
    def nominal(cls, system: System, t_celsius: float = 25.0) -> Conditions:
        """The tabulated constants at t [degC], without doubts."""
        return cls(t_celsius, system.log_k(t_celsius)[None, :])


@dataclass(frozen=True)
class Equilibrium:
    """Speciation of N rows; rows that did not converge hold NaN (amounts: the last iterate).

    ln_molality, ln_activity: (N, S); ph, ionic_strength [mol/kg], ln_water_activity: (N,);
    ln_component_activity: (N, C+1), H+ last; amounts: (N, M) solids [mol/kg of the first water];
    water_left: (N,) kg of liquid water left of each kg; balance: (N,) largest relative mass
    balance error; converged, reason, iterations: (N,).
    """

    system: System
    conditions: Conditions
    totals: Floats
    ln_molality: Floats
    ln_activity: Floats
    ln_component_activity: Floats
    ln_water_activity: Floats
    ionic_strength: Floats
    ph: Floats
    amounts: Floats
    water_left: Floats
    balance: Floats
    converged: Bools
    reason: Integers
    iterations: Integers

    @property
    def molality(self) -> Floats:
        """(N, S) [mol/kg water]."""
        return np.exp(self.ln_molality)

    @property
    def charge_balance_relative(self) -> Floats:
        """(N,) |sum z m| / sum |z| m."""
        m = self.molality
        z = self.system.charge
        return np.abs(m @ z) / (m @ np.abs(z))

    def saturation_index(
        self, phases: Phases, log_ksp: Floats | None = None, which: Integers | slice = slice(None)
    ) -> Floats:
        """(N, M) SI = log10(IAP) - log10(Ksp); log_ksp (1 or N, M) defaults to the table's.

        which: some of the rows.
        """
        ln_iap = self.ln_component_activity[which] @ phases.nu
        ln_iap += self.ln_water_activity[which, None] * phases.water
        if log_ksp is None:
            log_ksp = phases.log_k(self.conditions.t_celsius)[None, :]
        return np.asarray(ln_iap / LN10 - log_ksp)

    def rows(self, which: Integers | Bools) -> Equilibrium:
        """Some of the rows."""
        log_k, shifts = self.conditions.log_k, self.conditions.eps_shift
        conditions = Conditions(
            self.conditions.t_celsius,
            log_k if len(log_k) == 1 else log_k[which],
            None if shifts is None else shifts[which],
        )
        picked = {name: getattr(self, name)[which] for name in PER_ROW}
        return replace(self, conditions=conditions, **picked)

    def copy(self) -> Equilibrium:
        """The same with arrays of its own."""
        return replace(self, **{name: getattr(self, name).copy(order="K") for name in PER_ROW})

    def put(self, which: Integers, part: Equilibrium) -> None:
        """Replace some rows, in place, by those of another under the same conditions."""
        for name in PER_ROW:
            getattr(self, name)[which] = getattr(part, name)


PER_ROW = (
    "totals",
    "ln_molality",
    "ln_activity",
    "ln_component_activity",
    "ln_water_activity",
    "ionic_strength",
    "ph",
    "amounts",
    "water_left",
    "balance",
    "converged",
    "reason",
    "iterations",
)
"""Fields of an `Equilibrium` with one entry per row."""


@dataclass
class _Course:
    """How the potentials of a chunk's rows have moved of late.

    x, moves: (C+1, n) the last and the change to it; size: (n,) of that change; share: (n,) of it
    to the one before, both infinite while unknown; begun: after the first step.
    """

    begun: bool
    x: Floats
    moves: Floats
    size: Floats
    share: Floats

    @classmethod
    def begin(cls, components: int, n: int) -> _Course:
        """Before the first step."""
        shape = (components, n)
        nothing = np.full(n, np.inf)
        return cls(False, np.zeros(shape), np.zeros(shape), nothing, nothing)

    def go(self, x: Floats, tolerance: float) -> tuple[Bools, Bools, Floats]:
        """Move on to x: (n,) is it finite, is less than a tolerance left, by what to stretch it.

        Near the end each move is a steady share of the one before, as the activity coefficients
        lag; such a row goes all that is left at once.
        """
        moves = x - self.x
        most, size = np.maximum.reduce(np.abs(moves)), np.sqrt(np.add.reduce(moves * moves))
        share = np.add.reduce(moves * self.moves) / (self.size * self.size)
        share[np.isinf(self.size)] = np.inf
        slowest = np.maximum(size / self.size, np.abs(self.share))
        done = (most < tolerance) | (most * slowest < tolerance * (1.0 - slowest))
        steady = np.abs(share - self.share) < STEADY * np.abs(share)
        steady &= (most < STEADY_MOVE) & (slowest < STEADY_SHARE)
        self.x[:], self.moves, self.share = x, moves, share
        if self.begun:  # the first comes from nowhere
            self.size = size
        self.begun = True
        return np.isfinite(most), done, np.where(steady, 1.0 / (1.0 - share), 1.0)

    def pick(self, columns: Integers) -> _Course:
        """Some of the rows."""
        kept = (self.x, self.moves, self.size, self.share)
        return _Course(self.begun, *(np.take(values, columns, axis=-1) for values in kept))


@dataclass
class _Rows:
    """What a chunk's rows are solved from; arrays end in the row (n).

    totals: (C+1, n) in the order of elimination, T_H of electroneutrality last; above_k: (S, n)
    1 + ln K, or (S, 1) of all; shifts: (3, n); ln_h: (n,) of a given pH; solids or None; ceiling:
    (S, all) ln of the largest molality, by `index`; ln_m: (S, n) and water: (n,), the state;
    cold: not from a neighbour; course: how they have moved of late.
    """

    index: Integers
    totals: Floats
    above_k: Floats
    shifts: Floats | None
    ln_h: Floats | None
    solids: Solids | None
    ceiling: Floats
    ln_m: Floats
    water: Floats
    cold: bool
    course: _Course

    def pick(self, columns: Integers) -> _Rows:
        """Some of the rows; `ceiling` stays that of all."""
        kept = {f.name: _picked(getattr(self, f.name), columns) for f in fields(self)}
        return replace(self, **(kept | {"ceiling": self.ceiling}))


def _picked(value: Floats | Solids | _Course | bool | None, columns: Integers) -> Any:
    if isinstance(value, Solids | _Course):
        return value.pick(columns)
    if value is None or isinstance(value, bool) or (value.ndim == 2 and value.shape[1] == 1):
        return value
    return np.take(value, columns, axis=-1)


@dataclass(frozen=True)
class _Found:
    """What a chunk came to; arrays end in the row (n)."""

    ln_molality: Floats
    ln_activity: Floats
    x: Floats
    ln_water_activity: Floats
    ionic_strength: Floats
    amounts: Floats
    water_left: Floats
    balance: Floats
    reason: Integers
    iterations: Integers


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
    state = _empty(system, conditions, totals, amounts)
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

    def rows_of(part: Integers, share: float, near: Equilibrium | None) -> _Rows:
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
        return _Rows(
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
            _Course.begin(*full.shape),
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


def _empty(system: System, conditions: Conditions, totals: Floats, amounts: Floats) -> Equilibrium:
    """A result of N rows to be written into, its arrays as the solver has them: species x rows."""
    n = len(totals)
    species, components = len(system.species), totals.shape[1] + 1
    return Equilibrium(
        system,
        conditions,
        totals,
        ln_molality=np.empty((species, n)).T,
        ln_activity=np.empty((species, n)).T,
        ln_component_activity=np.empty((components, n)).T,
        ln_water_activity=np.empty(n),
        ionic_strength=np.empty(n),
        ph=np.empty(n),
        amounts=amounts,
        water_left=np.ones(n),
        balance=np.empty(n),
        converged=np.zeros(n, dtype=bool),
        reason=np.empty(n, dtype=np.int64),
        iterations=np.zeros(n, dtype=np.int64),
    )


def _write(
    state: Equilibrium, part: Integers, found: _Found, solids: Solids | None, step: NewtonStep
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
    every: _Rows,
    direct: bool,
    tolerance: float,
) -> _Found:
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
    return _Found(
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


def _advance(
    rows: _Rows, change: Floats, solutes: Floats, iteration: int, scratch: Scratch
) -> None:
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
    step: NewtonStep | BoundStep, molality: Floats, rows: _Rows, water_left: Floats, amounts: Floats
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
