"""The main job: a mix in, an answer with its odds out."""

from __future__ import annotations

import platform
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chem import __version__
from chem.doubts import Draws
from chem.equilibrium import (
    SHIFT_CLASSES,
    Conditions,
    Equilibrium,
    Phases,
    System,
    aired,
    build_phases,
    build_system,
    coverage,
    settle,
    solve,
)
from chem.equilibrium.activity import Floats
from chem.forecast.clouding import clouding_time_s, share_out
from chem.forecast.hazards import ALWAYS, gases, label_forbids, refuse_toxic
from chem.forecast.result import (
    TIMES_S,
    DoubtShare,
    Forecast,
    Range,
    SolidForecast,
    TankLine,
)
from chem.forecast.settling import settle_by
from chem.label import Contents, contents
from chem.reference import Solid, data_hash, molar_mass_g_per_mol, tables
from chem.tank import (
    Finished,
    Mix,
    delivered_kg_per_ha,
    finish,
    tank_amounts,
    water_totals,
)

Bools = NDArray[np.bool_]
THRESHOLD = 0.10
AIR_DIFFERENCE_PH = 0.2
NEAR_SI = -1.0
"""Solids this far below saturation may still form once others have settled."""
FAILED_SHARE = 0.10
UNJUDGED_COMPONENTS = {"humate": "humic matter", "alginate": "kelp alginate"}


@dataclass(frozen=True)
class Doubtful:
    """One tank at one temperature, per draw.

    clear: speciation before anything settles; si: (N, M); clouding: (N, M) [s];
    settled: (N, M) [g/L] of what may come out in a spray day; ph_settled: (N,).
    """

    phases: Phases
    clear: Equilibrium
    si: Floats
    clouding: Floats
    settled: Floats
    ph_settled: Floats
    ok: Bools

    def amounts(self, t_s: float) -> Floats:
        """(N, M) [g/L] out by t [s]."""
        return np.asarray(self.settled * share_out(t_s, self.clouding))


def conditions_of(system: System, t_celsius: float, draws: Draws) -> Conditions:
    """Constants at t [degC] with the doubts of log K and of estimated interactions."""
    u = system.log_k_u()
    middle = system.log_k(t_celsius)
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
    columns = [draws.normal(f"log_k:{key}", 0.0, u[i]) for i, key in enumerate(phases.keys)]
    return np.asarray(phases.log_k(t_celsius) + np.stack(columns, axis=1))


def evaluate(system: System, finished: Finished, t_celsius: float, draws: Draws) -> Doubtful:
    """Speciate, saturate and settle one finished solution at t [degC]."""
    order = [finished.components.index(c) for c in system.components]
    totals = finished.totals[:, order]
    conditions = conditions_of(system, t_celsius, draws)
    clear = solve(system, totals, conditions)
    phases = build_phases(system)
    if not len(phases):
        nothing = np.zeros((draws.count, 0))
        return Doubtful(phases, clear, nothing, nothing, nothing, clear.ph, clear.converged)
    log_ksp = log_ksp_of(phases, t_celsius, draws)
    si = clear.saturation_index(phases, log_ksp)
    highest = np.nan_to_num(si, nan=-99.0).max(axis=0)
    kinetics = np.array([s.kinetics for s in phases.solids])
    deciding = np.array([s.decides and s.kinetics != "dormant" for s in phases.solids])
    near = np.flatnonzero(deciding & (highest > NEAR_SI))
    settled = np.zeros((draws.count, len(phases)))
    ph_settled = clear.ph.copy()
    ok = clear.converged.copy()
    if near.size and (highest[near] > 0.0).any():
        some = phases.pick(near)
        prompt = kinetics[near] == "prompt"
        states = []
        for allowed in (prompt, np.ones(len(near), dtype=bool)):
            states.append(
                settle(
                    system,
                    totals,
                    conditions,
                    some,
                    log_ksp=log_ksp[:, near],
                    allowed=allowed,
                    start=clear,
                )
            )
        mass = np.array([molar_mass_g_per_mol(s.formula) for s in some.solids])
        moles = np.fmax(states[0].amounts, states[1].amounts)
        settled[:, near] = np.maximum(moles, 0.0) * mass * finished.water_kg_per_L[:, None]
        ph_settled = states[1].ph
        ok &= states[0].converged & states[1].converged
    settled[~ok] = np.nan
    clouding = np.full(si.shape, np.inf)
    for m in np.flatnonzero(highest > 0.0):
        curve = tables().clouding[phases.solids[m].curve]
        spread = draws.factor(f"clouding:{phases.keys[m]}", float(np.log(curve.factor)))
        clouding[:, m] = clouding_time_s(curve, 2.0 * si[:, m] / phases.ions[m]) * spread
    return Doubtful(phases, clear, si, clouding, settled, ph_settled, ok)


def forecast(mix: Mix, *, count: int = 256, seed: int = 1, judged_at: str = "4h") -> Forecast:
    """Forecast one mix.

    Args:
        mix: what `read_mix` gave; count, seed: draws; judged_at: `15min`, `4h` or `24h`.

    Raises:
        InputProblem: a label whose sources can't supply its guarantee.
        ToxicGas: products that must never meet.
    """
    refuse_toxic(mix)
    draws = Draws(count, seed)
    held = [contents(a.product, draws) for a in mix.additions]
    water = water_totals(mix.water, draws)
    finished = finish(mix, held, water, draws)
    system = build_system(finished.components)
    here = evaluate(system, finished, mix.t_celsius, draws)
    cold = (
        evaluate(system, finished, mix.coldest_celsius, draws)
        if mix.coldest_celsius is not None
        else None
    )
    ok = here.ok if cold is None else here.ok & cold.ok
    show, clog = tables().value("show_limit"), tables().value("clog_limit")
    probability, clogs = {}, {}
    out: dict[str, Floats] = {}
    for name, t in TIMES_S.items():
        amounts = np.nan_to_num(here.amounts(t))
        if cold is not None and name == "24h":
            amounts = np.maximum(amounts, np.nan_to_num(cold.amounts(t)))
        out[name] = amounts
        probability[name] = draws.chance(amounts.sum(axis=1) > show, ok)
        clogs[name] = draws.chance(amounts.sum(axis=1) > clog, ok)
    ph = _range(draws, here.clear.ph)
    ionic = float(draws.quantile(here.clear.ionic_strength, (0.5,))[0])
    unjudged = _not_judged(mix, held)
    failed = int((~ok).sum())
    answer, chance, because = _answer(
        probability, clogs, judged_at, ionic, failed / count, unjudged
    )
    solids = _solids(draws, here, out, ok, show)
    ph_aired = _ph_aired(system, finished, here, mix.t_celsius)
    if ph_aired is not None and abs(ph_aired - ph.median) <= AIR_DIFFERENCE_PH:
        ph_aired = None
    suited = None
    if mix.adjuvant is not None:
        inside = (here.clear.ph >= mix.adjuvant.ph_low) & (here.clear.ph <= mix.adjuvant.ph_high)
        suited = draws.chance(inside, here.clear.converged)
    return Forecast(
        mix=mix,
        answer=answer,
        chance=chance,
        judged_at=judged_at,
        because=because,
        probability=probability,
        clogs=clogs,
        ph=ph,
        ph_aired=ph_aired,
        ph_settled=float(draws.quantile(here.ph_settled, (0.5,))[0]),
        ionic_strength_mol_per_kg=ionic,
        density_kg_per_L=float(np.median(finished.density_kg_per_L)),
        coverage=float(np.median(coverage(here.clear)[here.clear.converged]))
        if here.clear.converged.any()
        else float("nan"),
        totals_mol_per_L={
            c: float(np.median(finished.totals_mol_per_L[:, i]))
            for i, c in enumerate(finished.components)
        },
        solids=solids,
        gases=tuple(gases(mix, ph.median)),
        not_judged=tuple(unjudged),
        tank=tuple(
            TankLine(a.product.name, 1000.0 * amount, a.by_mass)
            for a, amount in zip(mix.additions, tank_amounts(mix), strict=True)
        ),
        delivered_kg_per_ha=delivered_kg_per_ha(mix),
        suited=suited,
        label_forbids=tuple(label_forbids(mix)),
        doubts=_doubts(draws, here, solids),
        cautions=ALWAYS,
        notes=_notes(mix, held, water.notes, ionic, here, failed, count),
        draws=count,
        seed=seed,
        failed_rows=failed,
        versions={
            "jarsight": __version__,
            "data": data_hash(),
            "python": platform.python_version(),
        },
    )


def _range(draws: Draws, values: Floats) -> Range:
    low, middle, high = draws.quantile(values, (0.05, 0.5, 0.95))
    return Range(float(middle), float(low), float(high))


def _answer(
    probability: dict[str, float],
    clogs: dict[str, float],
    judged_at: str,
    ionic: float,
    failed: float,
    unjudged: Sequence[str],
) -> tuple[str, float, str | None]:
    """The answer, the chance behind it, and why it can't be told, if so."""
    limit = tables().value("ionic_strength_limit")
    if failed > FAILED_SHARE:
        return "cannot tell", 1.0 - failed, f"no equilibrium found in {100 * failed:.0f} % of draws"
    if not ionic <= limit:
        return (
            "cannot tell",
            probability[judged_at],
            f"far too concentrated for the model (ionic strength {ionic:.1f} mol/kg)",
        )
    if clogs[judged_at] >= THRESHOLD:
        return "curdle", clogs[judged_at], None
    if probability[judged_at] >= THRESHOLD:
        return "haze", probability[judged_at], None
    if unjudged:
        return (
            "cannot tell",
            1.0 - probability[judged_at],
            f"the salts stay clear; {', '.join(unjudged)} can't be judged: the jar decides",
        )
    return "clear", 1.0 - probability[judged_at], None


def _not_judged(mix: Mix, held: Sequence[Contents]) -> list[str]:
    """Products whose behaviour is not chemistry of ions."""
    out = []
    for addition, inside in zip(mix.additions, held, strict=True):
        product = addition.product
        colloid = [w for c, w in UNJUDGED_COMPONENTS.items() if c in inside.components]
        if not product.judged:
            out.append(product.name)
        elif colloid and len(mix.additions) > 1:
            out.append(f"{product.name} ({colloid[0]})")
    return out


def _solids(
    draws: Draws, here: Doubtful, out: dict[str, Floats], ok: Bools, show: float
) -> tuple[SolidForecast, ...]:
    """Every solid whose ions are present, most pressing first."""
    found = []
    for m, solid in enumerate(here.phases.solids):
        si = _range(draws, here.si[:, m])
        chance = {t: draws.chance(a[:, m] > show, ok) for t, a in out.items()}
        cloudy = np.isfinite(here.clouding[:, m]) & (here.settled[:, m] > show)
        times = None
        if cloudy.mean() > 0.5:
            low, middle, high = draws.quantile(
                np.where(cloudy, here.clouding[:, m], 1e9), (0.05, 0.5, 0.95)
            )
            times = Range(float(middle), float(low), float(high))
        amount = float(np.nan_to_num(draws.quantile(here.settled[:, m], (0.5,))[0]))
        found.append(
            SolidForecast(
                solid.key,
                solid.name,
                solid.formula,
                solid.kinetics,
                solid.decides,
                si,
                chance,
                times,
                amount,
            )
        )
    return tuple(sorted(found, key=lambda s: _pressing(s, here.phases.solids)))


def _pressing(solid: SolidForecast, solids: Sequence[Solid]) -> tuple[float, ...]:
    """Sort key: chance by 4 h, then by 24 h, then amount, then SI per ion, dormant last."""
    ions = next(s.ions for s in solids if s.key == solid.key)
    return (
        -solid.probability["4h"],
        -solid.probability["24h"],
        -solid.amount_g_per_L,
        float(solid.kinetics == "dormant" or not solid.decides),
        -solid.si.median / ions,
    )


def _ph_aired(system: System, finished: Finished, here: Doubtful, t_celsius: float) -> float | None:
    """Median pH once in balance with the carbon dioxide of the air."""
    good = here.clear.converged
    if not good.any():
        return None
    row = np.argsort(np.where(good, here.clear.ph, np.inf))[[int(good.sum()) // 2]]
    order = [finished.components.index(c) for c in system.components]
    totals = finished.totals[row][:, order]
    nominal = Conditions.nominal(system, t_celsius)
    state = aired(system, totals, nominal)
    if state is None or not state.converged[0]:
        return None
    closed = solve(system, totals, nominal).ph[0]
    return float(here.clear.ph[row[0]] + state.ph[0] - closed)


def _doubts(
    draws: Draws, here: Doubtful, solids: Sequence[SolidForecast]
) -> tuple[DoubtShare, ...]:
    """Doubts by their share of the spread of the most pressing SI (of pH where none presses).

    Share: squared rank correlation, the first-order part for a nearly monotone response.
    """
    target = here.clear.ph
    pressing = [s for s in solids if s.decides and s.kinetics != "dormant"]
    if pressing:
        target = here.si[:, here.phases.keys.index(pressing[0].key)]
    good = np.isfinite(target)
    if good.sum() < 16:
        return ()
    ranks = _ranks(target[good])
    found = []
    for name, column in draws.columns.items():
        share = float(np.corrcoef(ranks, _ranks(column[good]))[0, 1] ** 2)
        floor = 4.0 / good.sum()
        if share > max(0.03, floor):
            found.append(DoubtShare(name, share, settle_by(name)))
    return tuple(sorted(found, key=lambda d: -d.share)[:8])


def _ranks(values: Floats) -> Floats:
    return np.asarray(np.argsort(np.argsort(values)), dtype=float)


def _notes(
    mix: Mix,
    held: Sequence[Contents],
    water: Sequence[str],
    ionic: float,
    here: Doubtful,
    failed: int,
    count: int,
) -> tuple[str, ...]:
    notes = [*mix.notes, *water]
    for inside in held:
        notes += inside.notes
    valid = tables().value("ionic_strength_valid")
    if ionic > valid:
        notes.append(
            f"Ionic strength {ionic:.1f} mol/kg is above the {valid:g} that the model is good for"
        )
    if failed:
        notes.append(f"{failed} of {count} draws found no equilibrium and are left out")
    weak = [
        s.name
        for m, s in enumerate(here.phases.solids)
        if not s.decides and s.kinetics != "dormant" and np.nanmedian(here.si[:, m]) > 0.0
    ]
    if weak:
        notes.append(
            "Over its limit by a doubtful or brine-only constant, not counted: " + ", ".join(weak)
        )
    return tuple(dict.fromkeys(notes))
