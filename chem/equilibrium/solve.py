"""Driver: totals in, speciation of every row out, with an honest word on each row."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import IntEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chem.equilibrium.activity import LN10, MOLAR_MASS_WATER_KG, Floats
from chem.equilibrium.guess import (
    FIRST_SHARE,
    SECOND_SHARE,
    TOTAL_FLOOR,
    ceilings,
    first_guess,
)
from chem.equilibrium.residual import ActivityModel, NewtonStep, Scratch, proton_total
from chem.equilibrium.system import Phases, System

Bools = NDArray[np.bool_]
Integers = NDArray[np.int64]

CHUNK_ROWS = 256
MAX_ITERATIONS = 150
STEP_TOLERANCE = 1e-8
BALANCE_TOLERANCE = 1e-9
LN_M_FLOOR = -300.0
GROWTH_LN = 8.0
SOLIDS_LIFT_LN = 3.0
"""A wrongly chosen solid has a negative amount: its ions then exceed their totals."""
DAMP_AFTER = 30
MINOR_SHARE_LN = float(np.log(0.01))


class Reason(IntEnum):
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

    def saturation_index(self, phases: Phases, log_ksp: Floats | None = None) -> Floats:
        """(N, M) SI = log10(IAP) - log10(Ksp); log_ksp (1 or N, M) defaults to the table's."""
        ln_iap = self.ln_component_activity @ phases.nu
        ln_iap += self.ln_water_activity[:, None] * phases.water
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

    def put(self, which: Integers, part: Equilibrium) -> Equilibrium:
        """The result with some rows replaced by those of another under the same conditions."""
        fields = {}
        for name in PER_ROW:
            values = getattr(self, name).copy()
            values[which] = getattr(part, name)
            fields[name] = values
        return replace(self, **fields)


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
class _Work:
    """Arrays of the rows still iterating."""

    rows: Integers
    totals: Floats
    ceiling: Floats
    ln_m: Floats
    ln_k: Floats
    shifts: Floats | None
    fixed_ln_h: Floats | None
    active: Bools | None
    ln_ksp: Floats | None
    water_left: Floats

    def keep(self, mask: Bools) -> None:
        for name, value in vars(self).items():
            if value is not None:
                setattr(self, name, value[mask])


def _checked(system: System, totals: Floats) -> Floats:
    totals = np.atleast_2d(np.asarray(totals, dtype=np.float64))
    if totals.shape[1] != len(system.components):
        raise ValueError(f"totals have {totals.shape[1]} columns, not {len(system.components)}")
    if not np.isfinite(totals).all() or (totals < 0.0).any():
        raise ValueError("totals must be finite and not negative [mol/kg water]")
    return np.maximum(totals, TOTAL_FLOOR)


def _per_row(values: Floats, n: int) -> Floats:
    return np.broadcast_to(values, (n, values.shape[1]))


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
) -> Equilibrium:
    """Speciate N rows.

    Args:
        totals_mol_per_kgw: (N, C) [mol/kg water], finite, not negative.
        conditions: constants of the rows.
        ph: (N,) given pH (-log10 of the H+ activity); default: electroneutrality decides.
        phases, active, log_ksp: solids in equilibrium; (N, M) which, (1 or N, M) their log10 Ksp.
        start: a neighbouring result of the same shape to start from.

    Raises:
        ValueError: totals of wrong shape, negative or not finite.
    """
    totals = _checked(system, totals_mol_per_kgw)
    n = len(totals)
    model, step = ActivityModel(system, conditions.t_celsius), NewtonStep(system)
    scratch = Scratch()

    def run(rows: Integers, share: float, near: Equilibrium | None) -> list[Any]:
        parts = []
        for first in range(0, len(rows), CHUNK_ROWS):
            part = rows[first : first + CHUNK_ROWS]
            parts.append(
                _solve_chunk(
                    system,
                    model,
                    step,
                    scratch,
                    totals[part],
                    _per_row(conditions.log_k, n)[part],
                    None if conditions.eps_shift is None else conditions.eps_shift[part],
                    None if ph is None else np.broadcast_to(np.asarray(ph, float), (n,))[part],
                    phases,
                    None if active is None else active[part],
                    None if log_ksp is None else _per_row(log_ksp, n)[part],
                    share,
                    None if near is None else near.ln_molality[part],
                    None if near is None else near.water_left[part],
                )
            )
        return [np.concatenate(column) for column in zip(*parts, strict=True)]

    # A set of solids that can't coexist overflows: its row then says so by its reason.
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        fields = run(np.arange(n), FIRST_SHARE, start)
        state = Equilibrium(system, conditions, totals, *fields)
        astray = np.flatnonzero(~state.converged)
        if phases is None and astray.size:
            for values, again in zip(fields, run(astray, SECOND_SHARE, None), strict=True):
                values[astray] = again
    return state


def _solve_chunk(
    system: System,
    model: ActivityModel,
    step: NewtonStep,
    scratch: Scratch,
    totals: Floats,
    log_k: Floats,
    shifts: Floats | None,
    ph: Floats | None,
    phases: Phases | None,
    active: Bools | None,
    log_ksp: Floats | None,
    share: float,
    start_ln_m: Floats | None,
    start_water: Floats | None,
) -> tuple[Floats | Bools | Integers, ...]:
    n, count = totals.shape
    size = len(system.species)
    solids = 0 if phases is None else len(phases)
    full = np.concatenate([totals, proton_total(system, totals)[:, None]], axis=1)
    ceiling = ceilings(system, totals)
    ln_m = first_guess(system, ceiling, share)
    if start_ln_m is not None:
        usable = np.isfinite(start_ln_m).all(axis=1)
        ln_m[usable] = np.minimum(start_ln_m[usable], ceiling[usable])
    water = np.ones(n) if start_water is None else np.nan_to_num(start_water, nan=1.0)
    out_ln_m = np.full((n, size), np.nan)
    out_x = np.full((n, count + 1), np.nan)
    out_gamma = np.full((n, size), np.nan)
    out_aw, out_ionic, out_balance = (np.full(n, np.nan) for _ in range(3))
    out_amounts = np.zeros((n, solids))
    out_water = np.ones(n)
    reason = np.full(n, int(Reason.ITERATIONS))
    iterations = np.zeros(n, dtype=np.int64)
    work = _Work(
        np.arange(n),
        full,
        ceiling,
        ln_m,
        LN10 * log_k,
        shifts,
        None if ph is None else -LN10 * ph,
        active,
        None if log_ksp is None else LN10 * log_ksp,
        water,
    )
    for iteration in range(1, MAX_ITERATIONS + 1):
        shape = work.ln_m.shape
        molality = np.exp(work.ln_m, out=scratch("molality", *shape))
        medium = model.medium(molality, work.shifts, scratch)
        ln_k = np.multiply(
            medium.ln_water_activity[:, None], system.water, out=scratch("ln_k", *shape)
        )
        ln_k += work.ln_k
        ln_k -= medium.ln_gamma
        residual = np.subtract(ln_k, work.ln_m, out=scratch("residual", *shape))
        x, amounts = step.solve(
            molality,
            residual,
            work.totals / work.water_left[:, None],
            work.fixed_ln_h,
            phases,
            work.active,
            work.ln_ksp,
            medium.ln_water_activity,
            scratch,
        )
        target = np.matmul(x, system.nu, out=scratch("target", *shape))
        target += ln_k
        change = np.subtract(target, work.ln_m, out=residual)
        np.abs(change, out=change)
        new = _limited(work, target, molality, phases is not None, scratch)
        if iteration > DAMP_AFTER:
            # Lagged activity coefficients can swing in strong brines: halve the step.
            new = np.where(change < 1.0, work.ln_m + 0.5 * (new - work.ln_m), new)
        finite = np.isfinite(new.sum(axis=1))
        water = work.water_left
        if phases is not None:
            # Water bound in solids leaves the water: n is per kg of water left.
            bound_water = MOLAR_MASS_WATER_KG * (amounts @ phases.water)
            water = 1.0 / np.maximum(1.0 + bound_water, 1e-3)
        settled_water = np.abs(water - work.water_left) < STEP_TOLERANCE
        highest = np.maximum(target, work.ln_m, out=scratch("spare", *shape))
        np.copyto(change, 0.0, where=highest <= LN_M_FLOOR)
        done = (change.max(axis=1) < STEP_TOLERANCE) & finite & settled_water
        if done.any() or not finite.all() or iteration == MAX_ITERATIONS:
            stop = done | ~finite | (iteration == MAX_ITERATIONS)
            rows = work.rows[stop]
            iterations[rows] = iteration
            reason[rows] = np.where(
                done[stop],
                int(Reason.CONVERGED),
                np.where(finite[stop], int(Reason.ITERATIONS), int(Reason.NOT_FINITE)),
            )
            out_ln_m[rows] = target[stop]
            out_x[rows] = x[stop]
            out_gamma[rows] = medium.ln_gamma[stop]
            out_aw[rows] = medium.ln_water_activity[stop]
            out_ionic[rows] = medium.ionic_strength[stop]
            out_amounts[rows] = amounts[stop] * work.water_left[stop, None]
            out_water[rows] = work.water_left[stop]
            out_balance[rows] = _balance(
                system,
                np.exp(np.minimum(target[stop], 50.0)),
                work.totals[stop] / work.water_left[stop, None],
                phases,
                amounts[stop],
                work.fixed_ln_h is not None,
            )
            if stop.all():
                break
            work.ln_m[:] = new
            work.water_left = water
            work.keep(~stop)
        else:
            work.ln_m[:] = new
            work.water_left = water
    reason = np.where(
        (reason == Reason.CONVERGED) & ~(out_balance < BALANCE_TOLERANCE),
        int(Reason.ITERATIONS),
        reason,
    )
    converged = reason == Reason.CONVERGED
    for values in (out_ln_m, out_x, out_gamma, out_aw, out_ionic):
        values[~converged] = np.nan
    return (
        out_ln_m,
        out_ln_m + out_gamma,
        out_x,
        out_aw,
        out_ionic,
        -out_x[:, -1] / LN10,
        out_amounts,
        out_water,
        out_balance,
        converged,
        reason,
        iterations,
    )


def _limited(
    work: _Work, target: Floats, molality: Floats, solids: bool, scratch: Scratch
) -> Floats:
    """(n, S) the step's end: major species grow by e^8 at most, minor ones to 1 % of the sum.

    And none beyond what mass balance allows it.
    """
    shape = target.shape
    bound = np.log(molality.sum(axis=1))[:, None] + MINOR_SHARE_LN
    new = np.add(work.ln_m, GROWTH_LN, out=scratch("new", *shape))
    np.copyto(new, bound, where=work.ln_m <= bound - 0.7)
    np.maximum(new, work.ln_m, out=new)
    np.minimum(new, target, out=new)
    np.maximum(new, LN_M_FLOOR, out=new)
    lift = (SOLIDS_LIFT_LN if solids else 0.0) - np.log(work.water_left)[:, None]
    ceiling = np.add(work.ceiling, lift, out=scratch("spare", *shape))
    return np.asarray(np.minimum(new, ceiling, out=new))


def _balance(
    system: System,
    molality: Floats,
    totals: Floats,
    phases: Phases | None,
    amounts: Floats,
    ph_given: bool,
) -> Floats:
    """(n,) largest relative mass balance error; the proton row counts only if pH is free."""
    held = molality @ system.nu.T
    scale = molality @ np.abs(system.nu).T
    if phases is not None:
        held = held + amounts @ phases.nu.T
        scale = scale + np.abs(amounts) @ np.abs(phases.nu).T
    error = np.abs(held - totals) / np.maximum(scale, TOTAL_FLOOR)
    return np.asarray(error[:, : -1 if ph_given else None].max(axis=1, initial=0.0))
