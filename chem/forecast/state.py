"""One solution at one temperature, per draw: speciated, saturated, settled, with its clocks."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chem.doubts import Draws
from chem.equilibrium import (
    SHIFT_CLASSES,
    Conditions,
    Equilibrium,
    Phases,
    System,
    build_phases,
    settle,
    solve,
)
from chem.equilibrium.activity import Floats
from chem.forecast.clouding import (
    Growing,
    alone_g_per_L,
    clouding_time_s,
    clouding_times_s,
    cold_factor,
    share_out,
    spread,
)
from chem.forecast.crystals import Crystals, crystals, log_share, mixed_crystals
from chem.reference import molar_mass_g_per_mol, tables

Bools = NDArray[np.bool_]
Integers = NDArray[np.int64]
CRYSTAL_CURVE = "very_soluble"
NEAR_SI = -1.0
"""Solids this far below saturation may still form once others have settled."""
PER_ROW = (
    "log_ksp", "si", "clouding", "alone", "settled", "ph_settled", "ok", "cold_clouding", "pace",
)  # fmt: skip
OF_COLD = ("si", "amount_g_per_L", "excess")


@dataclass(frozen=True)
class State:
    """A solution at one temperature, per draw.

    clear: speciation before anything settles; log_ksp, si: (N, M); clouding: (N, M) when each solid
    by itself shows [s], pace: (N, M) the clouding time it grows by [s]; alone: (N, M) [g/L] of each
    by itself; settled: (N, M) [g/L] of what may come out in a spray day; ph_settled: (N,); ok: (N,)
    rows that found every state; cold: very soluble salts, judged from their tables, with
    cold_clouding (N, K) [s].
    """

    phases: Phases
    clear: Equilibrium
    log_ksp: Floats
    si: Floats
    clouding: Floats
    alone: Floats
    settled: Floats
    ph_settled: Floats
    ok: Bools
    cold: Crystals
    cold_clouding: Floats
    pace: Floats

    def rows(self, which: Integers | slice) -> State:
        """Some of the rows."""
        rows = np.arange(len(self.ok))[which]
        fields: dict[str, Any] = {name: getattr(self, name)[which] for name in PER_ROW}
        cold = replace(self.cold, **{name: getattr(self.cold, name)[which] for name in OF_COLD})
        return replace(self, clear=self.clear.rows(rows), cold=cold, **fields)

    def put(self, which: Integers, part: State) -> State:
        """The solution with some rows replaced."""
        fields: dict[str, Any] = {"clear": self.clear.copy()}
        fields["clear"].put(which, part.clear)
        for name in PER_ROW:
            fields[name] = getattr(self, name).copy()
            fields[name][which] = getattr(part, name)
        cold = {}
        for name in OF_COLD:
            cold[name] = getattr(self.cold, name).copy()
            cold[name][which] = getattr(part.cold, name)
        return replace(self, cold=replace(self.cold, **cold), **fields)

    def crystals(self, t_s: float) -> Floats:
        """(N, K) [g/L] of very soluble salts out by t [s]."""
        return np.asarray(self.cold.amount_g_per_L * share_out(t_s, self.cold_clouding))

    @cached_property
    def growing(self) -> Growing:
        """Its solids on their way out."""
        return Growing.of(self.phases, self.settled, self.alone, self.clouding, self.pace)

    def amounts(self, t_s: float) -> Floats:
        """(N, M) [g/L] out by t [s]."""
        return self.growing.amounts(t_s)


def _per_degree(constants: System | Phases, t_celsius: float) -> Floats:
    """Slope of every log10 K at t [1/K]."""
    return np.asarray(0.5 * (constants.log_k(t_celsius + 1.0) - constants.log_k(t_celsius - 1.0)))


def _drawn(constants: System | Phases, keys: tuple[str, ...], t: float, whole: Draws) -> Floats:
    """(whole, K) log10 K at t [degC] with the doubts of each and of the temperature."""
    u = constants.log_k_u()
    warmer = whole.of("temperature", "tank:temperature")
    middle = constants.log_k(t) + _per_degree(constants, t) * warmer[:, None]
    columns = [whole.normal(f"log_k:{key}", 0.0, u[i]) for i, key in enumerate(keys)]
    return np.asarray(middle + np.stack(columns, axis=1))


def conditions_of(system: System, t_celsius: float, draws: Draws) -> Conditions:
    """Constants at t [degC] with the doubts of log K, estimated interactions and temperature."""

    def make(whole: Draws) -> Floats:
        shifts = [
            whole.normal(f"interaction:{name}", 0.0, system.eps_u[k])
            for k, name in enumerate(SHIFT_CLASSES)
        ]
        log_k = _drawn(system, system.species, t_celsius, whole)
        return np.concatenate([log_k, np.stack(shifts, axis=1)], axis=1)

    both = draws.table(("conditions", system, t_celsius), make)
    count = len(system.species)
    return Conditions(t_celsius, both[:, :count], both[:, count:])


def log_ksp_of(system: System, phases: Phases, t_celsius: float, draws: Draws) -> Floats:
    """(N, M) log10 Ksp of a system's solids at t [degC] with their doubts."""
    key = ("log_ksp", system, phases.keys, t_celsius)
    return draws.table(key, lambda whole: _drawn(phases, phases.keys, t_celsius, whole))


def evaluate(
    system: System,
    totals: Floats,
    water_kg_per_L: Floats,
    t_celsius: float,
    draws: Draws,
    *,
    near: Equilibrium | None = None,
    within_s: float | Floats = np.inf,
    clocks_celsius: float | None = None,
) -> State:
    """Speciate, saturate and settle one finished solution at t [degC].

    Args:
        totals: (N, C) [mol/kg water] in the system's order; water_kg_per_L: (N,).
        near: a solution of like totals, to start from.
        within_s: settle only where a solid begins to show by then [s]; one for all, or (N,).
        clocks_celsius: of the hours in which crystals begin, where it is another [degC].
    """
    clocks = t_celsius if clocks_celsius is None else clocks_celsius
    conditions = conditions_of(system, t_celsius, draws)
    clear = solve(system, totals, conditions, start=near)
    cold = crystals(clear, water_kg_per_L, t_celsius, draws)
    cold_clouding = _cold_clouding(cold, draws, clocks)
    phases = build_phases(system)
    if not len(phases):
        nothing = np.zeros((draws.count, 0))
        return State(
            phases,
            clear,
            nothing,
            nothing,
            nothing,
            nothing,
            nothing,
            clear.ph,
            clear.converged,
            cold,
            cold_clouding,
            nothing,
        )
    log_ksp = log_ksp_of(system, phases, t_celsius, draws)
    beyond = np.nan_to_num(clear.ionic_strength) - tables().value("ionic_strength_valid")
    if (beyond > 0.0).any():
        per_ions = tables().value("si_doubt_beyond") * np.maximum(beyond, 0.0)
        shift = draws.normal("beyond the activity model") * per_ions
        log_ksp = log_ksp + shift[:, None] * phases.ions / 2.0
    log_ksp = log_ksp + _mixing(phases, clear.saturation_index(phases, log_ksp), cold)
    si = clear.saturation_index(phases, log_ksp)
    highest = np.nan_to_num(si, nan=-99.0).max(axis=0)
    mol_per_L = totals * water_kg_per_L[:, None]
    mmol = {c: 1000.0 * mol_per_L[:, i] for i, c in enumerate(system.components)}
    clouding = clouding_times_s(phases, si, mmol, draws, clocks)
    alone = alone_g_per_L(phases, si, mol_per_L)
    settled = np.zeros(si.shape)
    ph_settled = clear.ph.copy()
    ok = clear.converged.copy()
    deciding = np.array([s.decides for s in phases.solids])
    near_limit = np.flatnonzero(deciding & (highest > NEAR_SI))
    if near_limit.size and (highest[near_limit] > 0.0).any():
        rows = clouding[:, near_limit].min(axis=1) < within_s
        some = phases.pick(near_limit)
        out = _come_out(system, totals, clear, some, log_ksp[:, near_limit], rows)
        mass = np.array([molar_mass_g_per_mol(s.formula) for s in some.solids])
        settled[:, near_limit] = np.maximum(out.amounts, 0.0) * mass * water_kg_per_L[:, None]
        ph_settled = out.ph
        ok &= out.converged
    settled[~ok] = np.nan
    return State(
        phases,
        clear,
        log_ksp,
        si,
        clouding,
        alone,
        settled,
        ph_settled,
        ok,
        cold,
        cold_clouding,
        clouding,
    )


def _mixing(phases: Phases, si: Floats, cold: Crystals) -> Floats:
    """(N, M) what mixed crystals take off a solid's log10 Ksp: `mixed_crystals.csv`."""
    off = np.zeros(si.shape)
    for m, key in enumerate(phases.keys):
        other, sites = mixed_crystals().get(key, ("", 1.0))
        if other in phases.keys:
            off[:, m] = log_share(si[:, m], si[:, phases.keys.index(other)], sites)
        elif other in cold.keys:
            off[:, m] = log_share(si[:, m], cold.si[:, cold.keys.index(other)], sites)
    return off


def _come_out(
    system: System, totals: Floats, clear: Equilibrium, phases: Phases, log_ksp: Floats, rows: Bools
) -> Equilibrium:
    """The settled state of some rows, with the larger amount of each solid on the way there.

    Prompt solids form first; the slow ones follow where they are over their limit even then, and
    what has formed by then is seen even if it dissolves again.
    """
    prompt = np.array([s.kinetics == "prompt" for s in phases.solids])
    first = settle(
        system,
        totals,
        clear.conditions,
        phases,
        log_ksp=log_ksp,
        allowed=prompt,
        start=clear,
        only=rows,
    )
    over = np.nan_to_num(first.saturation_index(phases, log_ksp)[:, ~prompt], nan=-1.0)
    slow = rows & (over > 0.0).any(axis=1)
    if not slow.any():
        return first
    last = settle(
        system,
        totals,
        clear.conditions,
        phases,
        log_ksp=log_ksp,
        start=clear,
        begin=first,
        only=slow,
    )
    converged = first.converged & last.converged
    return replace(
        first,
        amounts=np.where(slow[:, None], np.fmax(first.amounts, last.amounts), first.amounts),
        ph=np.where(converged, np.where(slow, last.ph, first.ph), np.nan),
        converged=converged,
    )


def _cold_clouding(cold: Crystals, draws: Draws, t_celsius: float) -> Floats:
    """(N, K) clouding times [s] of salts that come out in the cold, by their excess."""
    curve = tables().clouding[CRYSTAL_CURVE]
    out = np.full(cold.si.shape, np.inf)
    for k, key in enumerate(cold.keys):
        excess = np.nan_to_num(cold.excess[:, k])
        if (excess > 0.0).any():
            out[:, k] = clouding_time_s(curve, excess)
            out[:, k] *= spread(draws, f"{key} crystals", curve.factor) * cold_factor(t_celsius)
    return out
