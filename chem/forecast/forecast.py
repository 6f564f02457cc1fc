"""The main job: a mix in, an answer with its odds out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from chem.doubts import Draws, first_order
from chem.equilibrium import (
    Conditions,
    aired,
    coverage,
    solve,
)
from chem.equilibrium.activity import Floats
from chem.forecast.aging import Aging
from chem.forecast.colloids import chances
from chem.forecast.evolved import evolved
from chem.forecast.hazards import ALWAYS, gases, label_forbids
from chem.forecast.outlook import outlook
from chem.forecast.prepare import Doubtful, Prepared, prepare
from chem.forecast.result import (
    TIMES_S,
    ColloidForecast,
    DoubtShare,
    Forecast,
    Range,
    SolidForecast,
    TankLine,
    known_time,
)
from chem.forecast.settling import settle_by
from chem.reference import tables
from chem.reference.fingerprint import fingerprint
from chem.tank import (
    Mix,
    delivered_kg_per_ha,
    tank_amounts,
)
from chem.units import format_temperature

Bools = NDArray[np.bool_]
AIR_DIFFERENCE_PH = 0.2
LEAST_SHARE = 0.05
NEAR_CRYSTAL_SI = -0.3


def forecast(mix: Mix, *, count: int = 256, seed: int = 1, judged_at: str = "4h") -> Forecast:
    """Forecast one mix.

    Args:
        mix: what `read_mix` gave; count, seed: draws; judged_at: `15min`, `4h` or `24h`.

    Raises:
        InputProblem: a label whose sources can't supply its guarantee.
        ToxicGas: products that must never meet.
        ValueError: another `judged_at`, draws or seed that are no whole numbers.
    """
    judged_at = known_time(judged_at)
    draws = Draws(count, seed)
    ready = prepare(mix, draws)
    finished, aged = ready.finished, ready.aged
    seen = outlook(ready)
    fresh, here, ok = seen.fresh, seen.states[judged_at], seen.ok
    ph = _range(draws, fresh.clear.ph)
    ionic = float(draws.quantile(fresh.clear.ionic_strength, (0.5,))[0])
    failed = int((~ok).sum())
    answer, chance, because = seen.answer(judged_at)
    show = tables().value("show_limit")
    solids = _solids(draws, here, seen.amounts, ok, show)
    solids += _crystals(draws, here, seen.crystals, ok, show)
    solids = tuple(sorted(solids, key=_pressing))
    ph_aired = _ph_aired(aged, fresh, mix.t_celsius)
    if ph_aired is not None and abs(ph_aired - ph.median) <= AIR_DIFFERENCE_PH:
        ph_aired = None
    return Forecast(
        mix=mix,
        answer=answer,
        chance=chance,
        judged_at=judged_at,
        because=because,
        probability=seen.probability,
        clogs=seen.clogs,
        ph=ph,
        ph_aired=ph_aired,
        ph_settled=float(draws.quantile(here.ph_settled, (0.5,))[0]),
        ionic_strength_mol_per_kg=ionic,
        density_kg_per_L=float(np.median(finished.density_kg_per_L)),
        coverage=float(np.median(coverage(fresh.clear)[fresh.clear.converged]))
        if fresh.clear.converged.any()
        else float("nan"),
        totals_mol_per_L={
            c: float(np.median(finished.totals_mol_per_L[:, i]))
            for i, c in enumerate(finished.components)
        },
        solids=solids,
        colloids=tuple(ColloidForecast(*c) for c in chances(draws, seen.colloids, ok)),
        gases=evolved(ready, fresh, tuple(gases(mix, ph.median))),
        not_judged=seen.not_judged,
        tank=tuple(
            TankLine(a.product.name, 1000.0 * amount, a.by_mass)
            for a, amount in zip(mix.additions, tank_amounts(mix), strict=True)
        ),
        delivered_kg_per_ha=delivered_kg_per_ha(mix),
        suited=seen.suited,
        label_forbids=tuple(label_forbids(mix)),
        doubts=_doubts(draws, here, fresh, solids, seen.shows[judged_at]),
        cautions=ALWAYS,
        notes=_notes(ready, here, ionic, failed) + _iron(draws, aged),
        draws=count,
        seed=seed,
        failed_rows=failed,
        versions=fingerprint(),
    )


def _range(draws: Draws, values: Floats) -> Range:
    low, middle, high = draws.quantile(values, (0.05, 0.5, 0.95))
    return Range(float(middle), float(low), float(high))


def _solids(
    draws: Draws, here: Doubtful, out: Mapping[str, Floats], ok: Bools, show: float
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
    return tuple(found)


def _crystals(
    draws: Draws, here: Doubtful, out: Mapping[str, Floats], ok: Bools, show: float
) -> tuple[SolidForecast, ...]:
    """Very soluble salts near their limit, by the solubility tables, in the place of any log K."""
    found = []
    for k, key in enumerate(here.cold.keys):
        si = _range(draws, here.cold.si[:, k])
        chance = {t: draws.chance(a[:, k] > show, ok) for t, a in out.items()}
        if si.p95 < NEAR_CRYSTAL_SI and not any(chance.values()):
            continue
        amount = float(np.nan_to_num(draws.quantile(here.cold.amount_g_per_L[:, k], (0.5,))[0]))
        found.append(
            SolidForecast(
                f"{key}_crystals",
                f"{here.cold.names[k]} crystals (cold)",
                here.cold.formulas[k],
                "prompt",
                True,
                si,
                chance,
                None,
                amount,
            )
        )
    return tuple(found)


def _pressing(solid: SolidForecast) -> tuple[float, ...]:
    """Sort key: chance by 4 h, then by 24 h, then amount, then SI per ion, dormant last."""
    ions = tables().solids[solid.key].ions if solid.key in tables().solids else 2.0
    return (
        -solid.probability["4h"],
        -solid.probability["24h"],
        -solid.amount_g_per_L,
        float(solid.kinetics == "dormant" or not solid.decides),
        -solid.si.median / ions,
    )


def _ph_aired(aged: Aging, fresh: Doubtful, t_celsius: float) -> float | None:
    """Median pH once in balance with the carbon dioxide of the air."""
    good = fresh.clear.converged
    if not good.any():
        return None
    row = np.argsort(np.where(good, fresh.clear.ph, np.inf))[[int(good.sum()) // 2]]
    totals = aged.totals(0.0)[row]
    nominal = Conditions.nominal(aged.system, t_celsius)
    state = aired(aged.system, totals, nominal)
    if state is None or not state.converged[0]:
        return None
    closed = solve(aged.system, totals, nominal).ph[0]
    return float(fresh.clear.ph[row[0]] + state.ph[0] - closed)


def _doubts(
    draws: Draws,
    here: Doubtful,
    fresh: Doubtful,
    solids: Sequence[SolidForecast],
    shows: Bools,
) -> tuple[DoubtShare, ...]:
    """Doubts by their share of the spread of the most pressing SI (of pH where none presses)."""
    ph = fresh.clear.ph
    pressing = [s for s in solids if s.decides and s.kinetics != "dormant"]
    pressing = [s for s in pressing if s.key in here.phases.keys]
    si = here.si[:, here.phases.keys.index(pressing[0].key)] if pressing else ph
    found = []
    for name, column in draws.columns.items():
        on_si, on_ph = first_order(si, column), first_order(ph, column)
        on_odds = first_order(shows.astype(float), column)
        if max(on_si, on_ph, on_odds) > LEAST_SHARE:
            found.append(DoubtShare(name, on_si, on_ph, on_odds, settle_by(name)))
    return tuple(sorted(found, key=lambda d: -d.share)[:12])


def _iron(draws: Draws, aged: Aging) -> tuple[str, ...]:
    """What the air does to ferrous iron in a spray day, in words."""
    if "Fe2" not in aged.finished.components:
        return ()
    iron = aged.finished.totals[:, aged.finished.components.index("Fe2")]
    share = aged.oxidised(TIMES_S["4h"]) / np.maximum(iron, 1e-30)
    middle = float(draws.quantile(share, (0.5,))[0])
    if middle < 0.01:
        return ()
    return (f"Air turns about {100 * middle:.0f} % of the ferrous iron to rust-forming in 4 h",)


def _notes(ready: Prepared, here: Doubtful, ionic: float, failed: int) -> tuple[str, ...]:
    notes = [*ready.mix.notes, *ready.water.notes]
    for inside in ready.contents:
        notes += inside.notes
    coldest = ready.mix.coldest_celsius
    if coldest is not None and coldest > ready.mix.t_celsius:
        notes.append(
            f"The coldest, {format_temperature(coldest, 'both')}, is warmer than the tank, "
            f"{format_temperature(ready.mix.t_celsius, 'both')}: check which is which"
        )
    valid = tables().value("ionic_strength_valid")
    if ionic > valid:
        notes.append(
            f"Ionic strength {ionic:.1f} mol/kg is above the {valid:g} that the model is good for"
        )
    if failed:
        notes.append(f"{failed} of {ready.draws.count} draws found no equilibrium and are left out")
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
