"""The main job: a mix in, an answer with its odds out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

import numpy as np

from chem.doubts import Range, chance, first_orders, median, range_of
from chem.equilibrium import (
    Conditions,
    aired,
    conductivity_mS_per_cm,
    coverage,
    one_thread,
    solve,
)
from chem.forecast.aging import Aging
from chem.forecast.course import Followed
from chem.forecast.off_gas import evolved
from chem.forecast.prepare import Prepared
from chem.forecast.result import (
    AloneForecast,
    ColloidForecast,
    DoubtShare,
    Forecast,
    SolidForecast,
    WindowForecast,
)
from chem.forecast.rules import broken, never
from chem.forecast.salt_and_leaf import salt
from chem.forecast.settling import settle_by
from chem.forecast.state import Bools, State
from chem.forecast.study import Study
from chem.forecast.times import TIMES_S, known_time
from chem.forecast.unjudged import beyond_ions
from chem.reference import tables
from chem.reference.fingerprint import fingerprint
from chem.reference.unlisted import not_judged
from chem.tank import Mix, Window, delivered_kg_per_ha, loads, only
from chem.units import format_temperature

AIR_DIFFERENCE_PH = 0.2
SULFUR, SULFUR_PH = "sulfur_by_acid", (4, 6)
LEAST_SHARE = 0.05
CLEAR_SI = -3.0
"""What stands lower, such as a held metal at -20, is no clearer: no doubt is told by it."""
NEAR_CRYSTAL_SI = -0.3
MOSTLY = 0.5
ALONE_DRAWS = 64
LATE_S = 1e9
"""A clouding time for draws in which a solid never shows, where most do."""


@one_thread()
def forecast(
    mix: Mix,
    *,
    count: int = 256,
    seed: int = 1,
    judged_at: str = "4h",
    study: Study | None = None,
) -> Forecast:
    """Forecast one mix.

    Args:
        mix: what `read_mix` gave; count, seed: draws; judged_at: `15min`, `4h` or `24h`.
        study: what is believed and worked out already, in place of count and seed.

    Raises:
        InputProblem: a label whose sources can't supply its guarantee.
        ToxicGas: products that must never meet.
        ValueError: another `judged_at`, draws or seed that are no whole numbers.
    """
    judged_at = known_time(judged_at)
    study = Study(count, seed) if study is None else study
    seen = study.look(mix)
    ready, fresh, here, ok = seen.ready, seen.fresh, seen.states[judged_at], seen.ok
    finished, aged = ready.finished, ready.aged
    failed = int((~ok).sum())
    answer = seen.answer(judged_at)
    rules = study.rules(mix, seen)
    solids = tuple(sorted([*_solids(seen, here), *_crystals(seen, here)], key=_pressing))
    in_air = None if study.moves else _aired(aged, fresh, mix.t_celsius)
    ph_aired = None
    if in_air is not None and abs(in_air - seen.ph.median) > AIR_DIFFERENCE_PH:
        ph_aired = in_air
    return Forecast(
        mix=mix,
        answer=answer.word,
        chance=answer.chance,
        judged_at=judged_at,
        because=answer if answer.cause else None,
        probability=seen.probability,
        clogs=seen.clogs,
        course=seen.course(),
        ph=seen.ph,
        ph_aired=ph_aired,
        ph_settled=median(here.ph_settled),
        ionic_strength_mol_per_kg=seen.ionic_mol_per_kg,
        conductivity_mS_per_cm=_conductivity(seen),
        salt=salt(seen),
        density_kg_per_L=median(finished.density_kg_per_L),
        coverage=median(np.where(fresh.clear.converged, coverage(fresh.clear), np.nan)),
        totals_mol_per_L={
            c: median(finished.totals_mol_per_L[:, i]) for i, c in enumerate(finished.components)
        },
        solids=solids,
        colloids=tuple(_colloids(seen)),
        gases=evolved(ready, fresh, study.gases(mix, seen)),
        not_judged=seen.not_judged,
        loads=loads(mix, ready.contents),
        delivered_kg_per_ha=delivered_kg_per_ha(mix),
        suited=seen.suited,
        windows=tuple(window_forecast(seen, w) for w in mix.windows),
        rules=rules,
        refused=never(rules),
        spray_within_minutes=None if broken(rules) else seen.clear_minutes(),
        alone=() if study.moves else _alone(study, mix, answer.word, judged_at),
        doubts=_doubts(seen, here, solids, seen.out[judged_at].shows),
        notes=(
            *_notes(ready, here, seen.ionic_mol_per_kg, failed),
            *_iron(aged),
            *_stirred(seen),
            *_ice(seen, ready),
            *_sulfur(seen),
        ),
        draws=study.count,
        seed=study.seed,
        failed_rows=failed,
        versions=fingerprint(),
    )


def window_forecast(seen: Followed, window: Window) -> WindowForecast:
    """How likely a tank suits an adjuvant."""
    if window.limits is None:
        return WindowForecast(window, float("nan"), float("nan"))
    low, high = window.limits
    return WindowForecast(window, seen.inside(low, high), seen.inside(low, high, "4h"))


def _alone(study: Study, mix: Mix, answer: str, judged_at: str) -> tuple[AloneForecast, ...]:
    """Products that are trouble by themselves, where the mix is; by few draws."""
    if answer not in {"haze", "curdle"} or len(mix.additions) < 2:
        return ()
    few = study.few(ALONE_DRAWS)
    answers = few.answers([only(mix, [i]) for i in range(len(mix.additions))], judged_at)
    return tuple(
        AloneForecast(i, one.word, one.chance)
        for i, one in enumerate(answers)
        if one.word in {"haze", "curdle"}
    )


def _chances(seen: Followed, part: int) -> Mapping[str, float]:
    """Time -> chance that one part alone shows by then."""
    limit = seen.limits[part]
    return {t: seen.part_odds(out.each[:, part] > limit) for t, out in seen.out.items()}


def _solids(seen: Followed, here: State) -> list[SolidForecast]:
    """Every solid whose ions are present."""
    found = []
    for m, solid in enumerate(here.phases.solids):
        cloudy = np.isfinite(here.clouding[:, m]) & (here.settled[:, m] > seen.limits[m])
        times = None
        if cloudy.mean() > 0.5:
            times = range_of(np.where(cloudy, here.clouding[:, m], LATE_S))
        found.append(
            SolidForecast(
                solid.key,
                solid.name,
                solid.formula,
                solid.kinetics,
                solid.decides,
                range_of(here.si[:, m]),
                _chances(seen, m),
                times,
                float(np.nan_to_num(median(here.settled[:, m]))),
            )
        )
    return found


def _crystals(seen: Followed, here: State) -> list[SolidForecast]:
    """Very soluble salts near their limit, by the solubility tables, in the place of any log K."""
    found = []
    first = len(here.phases.solids)
    for k, part in enumerate(seen.parts[first : first + len(here.cold.keys)]):
        si = range_of(here.cold.si[:, k])
        chance = _chances(seen, first + k)
        if si.p95 < NEAR_CRYSTAL_SI and not any(chance.values()):
            continue
        found.append(
            SolidForecast(
                part.key,
                part.name,
                here.cold.formulas[k],
                "prompt",
                True,
                si,
                chance,
                None,
                float(np.nan_to_num(median(here.cold.amount_g_per_L[:, k]))),
            )
        )
    return found


def _colloids(seen: Followed) -> list[ColloidForecast]:
    """Each colloid with any risk in a day, the greatest first."""
    found = []
    for c in seen.colloids:
        after = median(c.after_s[c.falls]) if c.falls.any() else 0.0
        found.append(ColloidForecast(c.key, seen.part_odds(c.falls), after))
    return sorted((c for c in found if c.risk > 0.0), key=lambda c: -c.risk)


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


def _conductivity(seen: Followed) -> Range | None:
    """mS/cm of the full tank at once; None where most draws are beyond the method."""
    figure = conductivity_mS_per_cm(seen.fresh.clear)
    return range_of(figure) if chance(np.isfinite(figure)) > MOSTLY else None


def _aired(aged: Aging, fresh: State, t_celsius: float) -> float | None:
    """Median pH once in balance with the carbon dioxide of the air."""
    good = fresh.clear.converged
    if not good.any():
        return None
    row = np.argsort(np.where(good, fresh.clear.ph, np.inf))[[int(good.sum()) // 2]]
    totals = aged.totals(0.0)[row]
    nominal = Conditions.nominal(aged.system, t_celsius)
    closed = solve(aged.system, totals, nominal)
    state = aired(aged.system, totals, nominal, start=closed)
    if state is None or not state.converged[0]:
        return None
    return float(fresh.clear.ph[row[0]] + state.ph[0] - closed.ph[0])


def _doubts(
    seen: Followed, here: State, solids: Sequence[SolidForecast], shows: Bools
) -> tuple[DoubtShare, ...]:
    """Doubts by their share of the spread of the most pressing SI (of pH where none presses)."""
    ph = seen.fresh.clear.ph
    pressing = [s for s in solids if s.decides and s.kinetics != "dormant"]
    pressing = [s for s in pressing if s.key in here.phases.keys]
    si = ph
    if pressing:
        near = np.maximum(here.si[:, here.phases.keys.index(pressing[0].key)], CLEAR_SI)
        si = near if np.mean(near > CLEAR_SI) > LEAST_SHARE else ph
    found = []
    open_ = seen.ready.doubts
    shares = [first_orders(y, list(open_.values())) for y in (si, ph, shows.astype(float))]
    for name, *each in zip(open_, *shares, strict=True):
        on_si, on_ph, on_odds = (float(share) for share in each)
        if max(on_si, on_ph, on_odds) > LEAST_SHARE:
            found.append(DoubtShare(name, on_si, on_ph, on_odds, settle_by(name)))
    return tuple(sorted(found, key=lambda d: -d.share)[:12])


def _iron(aged: Aging) -> tuple[str, ...]:
    """What the air does to ferrous iron in a spray day, in words."""
    if "Fe2" not in aged.finished.components:
        return ()
    iron = aged.finished.totals[:, aged.finished.components.index("Fe2")]
    middle = median(aged.oxidised(TIMES_S["4h"]) / np.maximum(iron, 1e-30))
    if middle < 0.01:
        return ()
    return (f"Air turns about {100 * middle:.0f} % of the ferrous iron to rust-forming in 4 h",)


NAMED = {
    "film": "to hold a water-soluble film or gum",
    "copper": "to hold copper",
    "sulfonylurea": "for a sulfonylurea herbicide",
    "hypochlorite": "for bleach",
}


def _by_name(mix: Mix) -> list[str]:
    """What a name alone was taken to tell."""
    named = [(a.product.name, a.product.by_name) for a in mix.met.additions]
    if mix.adjuvant is not None:
        named.append((mix.adjuvant.name, mix.adjuvant.by_name))
    return [f"{name}: taken by its name {NAMED[w.means]}" for name, words in named for w in words]


def _stirred(seen: Followed) -> tuple[str, ...]:
    """By how much the pH rises as stirring drives carbon dioxide out, where that is reckoned."""
    if seen.driven is None:
        return ()
    now, later = seen.fresh.clear.ph, seen.states["4h"].clear.ph
    rise = median(np.where(seen.ok, later - now, np.nan))
    if rise < AIR_DIFFERENCE_PH:
        return ()
    return (
        f"Stirring drives carbon dioxide out: by 4 h the pH is about {rise:.1f} higher, and the "
        "odds from then on count with that",
    )


def _sulfur(seen: Followed) -> tuple[str, ...]:
    """That the clock of milky sulfur is a guide alone, where it runs outside its range."""
    milky = any(c.key == SULFUR and c.falls.any() for c in seen.colloids)
    if not milky or SULFUR_PH[0] <= seen.ph.median <= SULFUR_PH[1]:
        return ()
    low, high = SULFUR_PH
    told = f"its clock is good for pH {low} to {high}"
    return (f"When the thiosulfate turns milky is a guide only: {told}",)


def _ice(seen: Followed, ready: Prepared) -> tuple[str, ...]:
    """The temperature at which ice comes, where a night or dry goods take the tank there."""
    value = tables().value
    freezes = value("freezing_per_ln_water_activity") * median(seen.fresh.clear.ln_water_activity)
    coldest = ready.mix.coldest_celsius
    if ready.t_celsius >= freezes and (coldest is None or coldest >= freezes):
        return ()
    return (f"Ice comes below about {format_temperature(freezes, 'both')}",)


def age_words(age_s: float) -> str:
    """`18 h`, `2 days`."""
    hours = age_s / 3600.0
    return f"{hours:.0f} h" if hours < 48.0 else f"{hours / 24.0:.0f} days"


def _notes(ready: Prepared, here: State, ionic: float, failed: int) -> tuple[str, ...]:
    notes = [
        *ready.mix.notes,
        *(
            f"{left.mix.name}: what is left of it, {100 * left.share:.0f} % of the tank, counts as "
            f"poured then and {age_words(left.age_s)} old; the rates are of the fresh spray alone"
            for left in ready.mix.leftovers
        ),
    ]
    notes += [*ready.mix.water.old(date.today()), *ready.water.notes, *_by_name(ready.mix)]
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
    finished = ready.finished
    totals = {c: median(finished.totals_mol_per_L[:, i]) for i, c in enumerate(finished.components)}
    left = not_judged(totals, median(here.clear.ph))
    notes += [f"Not judged: {what}" for what in beyond_ions(ready.mix, totals)]
    change = ready.t_celsius - ready.mix.t_celsius
    if change:
        word = "warm" if change > 0.0 else "cool"
        notes.append(
            f"Dry goods {word} the tank by about {abs(change):.0f} K as they dissolve, to about "
            f"{format_temperature(ready.t_celsius, 'both')}"
        )
    if left:
        notes.append(f"No solubility is known, so not judged: {', '.join(left)}")
    return tuple(dict.fromkeys(notes))
