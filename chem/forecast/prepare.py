"""One mix carried through every room, and the state of its tank per draw."""

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
from chem.forecast.aging import Aging, aging
from chem.forecast.clouding import (
    Growing,
    alone_g_per_L,
    clouding_time_s,
    clouding_times_s,
    share_out,
    spread,
)
from chem.forecast.crystals import Crystals, crystals
from chem.forecast.hazards import holds_film, refuse_toxic
from chem.forecast.stack import Picked
from chem.label import Contents, contents
from chem.reference import molar_mass_g_per_mol, tables
from chem.tank import Finished, Mix, WaterTotals, finish, water_totals

Bools = NDArray[np.bool_]
Integers = NDArray[np.int64]
CRYSTAL_CURVE = "generic_prompt"
NEAR_SI = -1.0
"""Solids this far below saturation may still form once others have settled."""


@dataclass(frozen=True)
class Doubtful:
    """One tank at one temperature, per draw.

    clear: speciation before anything settles; log_ksp, si: (N, M); clouding: (N, M) [s] and
    alone: (N, M) [g/L] of each solid by itself; settled: (N, M) [g/L] of what may come out in a
    spray day; ph_settled: (N,); cold: very
    soluble salts, judged from their tables, with cold_clouding (N, K) [s].
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

    def put(self, which: Integers, part: Doubtful) -> Doubtful:
        """The tank with some rows replaced."""
        fields: dict[str, Any] = {"clear": self.clear.put(which, part.clear)}
        for name in (
            "log_ksp",
            "si",
            "clouding",
            "alone",
            "settled",
            "ph_settled",
            "ok",
            "cold_clouding",
        ):
            fields[name] = getattr(self, name).copy()
            fields[name][which] = getattr(part, name)
        cold = {}
        for name in ("si", "amount_g_per_L"):
            cold[name] = getattr(self.cold, name).copy()
            cold[name][which] = getattr(part.cold, name)
        return replace(self, cold=replace(self.cold, **cold), **fields)

    def crystals(self, t_s: float) -> Floats:
        """(N, K) [g/L] of very soluble salts out by t [s]."""
        return np.asarray(self.cold.amount_g_per_L * share_out(t_s, self.cold_clouding))

    @cached_property
    def growing(self) -> Growing:
        """Its solids on their way out."""
        return Growing.of(self.phases, self.settled, self.alone, self.clouding)

    def amounts(self, t_s: float) -> Floats:
        """(N, M) [g/L] out by t [s]."""
        return self.growing.amounts(t_s)


def _per_degree(constants: System | Phases, t_celsius: float) -> Floats:
    """Slope of every log10 K at t [1/K]."""
    return np.asarray(0.5 * (constants.log_k(t_celsius + 1.0) - constants.log_k(t_celsius - 1.0)))


def conditions_of(system: System, t_celsius: float, draws: Draws) -> Conditions:
    """Constants at t [degC] with the doubts of log K, estimated interactions and temperature."""
    u = system.log_k_u()
    warmer = draws.of("temperature", "tank:temperature")
    middle = system.log_k(t_celsius) + _per_degree(system, t_celsius) * warmer[:, None]
    columns = [
        draws.normal(f"log_k:{key}", 0.0, u[i]) if u[i] else np.zeros(draws.count)
        for i, key in enumerate(system.species)
    ]
    shifts = [
        draws.normal(f"interaction:{name}", 0.0, system.eps_u[k])
        for k, name in enumerate(SHIFT_CLASSES)
    ]
    return Conditions(t_celsius, middle + np.stack(columns, axis=1), np.stack(shifts, axis=1))


def log_ksp_of(phases: Phases, t_celsius: float, draws: Draws) -> Floats:
    """(N, M) log10 Ksp at t [degC] with their doubts."""
    u = phases.log_k_u()
    warmer = draws.of("temperature", "tank:temperature")
    middle = phases.log_k(t_celsius) + _per_degree(phases, t_celsius) * warmer[:, None]
    columns = [draws.normal(f"log_k:{key}", 0.0, u[i]) for i, key in enumerate(phases.keys)]
    return np.asarray(middle + np.stack(columns, axis=1))


def evaluate(
    system: System,
    totals: Floats,
    water_kg_per_L: Floats,
    t_celsius: float,
    draws: Draws,
    *,
    near: Equilibrium | None = None,
    within_s: float | Floats = np.inf,
) -> Doubtful:
    """Speciate, saturate and settle one finished solution at t [degC].

    Args:
        totals: (N, C) [mol/kg water] in the system's order; water_kg_per_L: (N,).
        near: a solution of like totals, to start from.
        within_s: settle only where a solid begins to show by then [s]; one for all, or (N,).
    """
    conditions = conditions_of(system, t_celsius, draws)
    clear = solve(system, totals, conditions, start=near)
    cold = crystals(clear, water_kg_per_L, t_celsius, draws)
    cold_clouding = _cold_clouding(cold, draws)
    phases = build_phases(system)
    if not len(phases):
        nothing = np.zeros((draws.count, 0))
        return Doubtful(
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
        )
    log_ksp = log_ksp_of(phases, t_celsius, draws)
    si = clear.saturation_index(phases, log_ksp)
    highest = np.nan_to_num(si, nan=-99.0).max(axis=0)
    mol_per_L = totals * water_kg_per_L[:, None]
    mmol = {c: 1000.0 * mol_per_L[:, i] for i, c in enumerate(system.components)}
    clouding = clouding_times_s(phases, si, mmol, draws)
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
    return Doubtful(
        phases, clear, log_ksp, si, clouding, alone, settled, ph_settled, ok, cold, cold_clouding
    )


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
    last = settle(system, totals, clear.conditions, phases, log_ksp=log_ksp, start=clear, only=slow)
    converged = first.converged & last.converged
    return replace(
        first,
        amounts=np.where(slow[:, None], np.fmax(first.amounts, last.amounts), first.amounts),
        ph=np.where(converged, np.where(slow, last.ph, first.ph), np.nan),
        converged=converged,
    )


def _cold_clouding(cold: Crystals, draws: Draws) -> Floats:
    """(N, K) clouding times [s] of salts that come out in the cold, as prompt solids."""
    curve = tables().clouding[CRYSTAL_CURVE]
    out = np.full(cold.si.shape, np.inf)
    for k, key in enumerate(cold.keys):
        si = np.nan_to_num(cold.si[:, k], nan=-1.0)
        if (si > 0.0).any():
            out[:, k] = clouding_time_s(curve, si)
            out[:, k] *= spread(draws, f"{key} crystals", curve.factor)
    return out


@dataclass(frozen=True)
class Prepared:
    """A mix carried to its finished solution, per draw, before any answer.

    contents: of each addition in order; water: its totals; aged: how the solution changes;
    film: whether something in it is a film or gum that borate gels.
    """

    mix: Mix
    draws: Draws
    contents: tuple[Contents, ...]
    water: WaterTotals
    finished: Finished
    aged: Aging
    film: bool

    def at(
        self,
        t_s: float,
        t_celsius: float | None = None,
        *,
        rows: Integers | None = None,
        near: Equilibrium | None = None,
        within_s: float | Floats = np.inf,
    ) -> Doubtful:
        """The tank after t [s] of standing, at its own or another temperature [degC].

        rows: which draws, default all; near: a solution of theirs to start from; within_s: as
        `evaluate`, of those rows.
        """
        near = self.aged.near if near is None else near
        totals, water, draws = self.aged.totals(t_s), self.finished.water_kg_per_L, self.draws
        if rows is not None:
            near = None if near is None else near.rows(rows)
            totals, water, draws = totals[rows], water[rows], Picked(draws, rows)
        t = self.mix.t_celsius if t_celsius is None else t_celsius
        return evaluate(self.aged.system, totals, water, t, draws, near=near, within_s=within_s)


def prepare(mix: Mix, draws: Draws) -> Prepared:
    """Label to contents to finished solution. One draw gives the middle of every doubt.

    Raises: InputProblem for a label that can't be met; ToxicGas.
    """
    refuse_toxic(mix)
    inside = tuple(contents(a.product, draws) for a in mix.additions)
    return assemble(mix, draws, inside, water_totals(mix.water, draws))


def assemble(mix: Mix, draws: Draws, inside: tuple[Contents, ...], water: WaterTotals) -> Prepared:
    """A mix whose contents and water are known, carried to its finished solution."""
    names = [a.product.name for a in mix.additions]
    if mix.adjuvant is not None:
        names.append(mix.adjuvant.name)
    finished = finish(mix, inside, water, draws)
    aged = aging(finished, mix.t_celsius, draws)
    return Prepared(mix, draws, inside, water, finished, aged, holds_film(names))
