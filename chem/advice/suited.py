"""Which adjuvants a tank suits, and the smallest dose that makes it suit one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from chem.advice.agents import Reagent, choose_agent
from chem.advice.dosing import (
    dosing_rules,
)
from chem.advice.titration import Titration
from chem.doubts import Range, quantile
from chem.equilibrium import one_thread
from chem.errors import ToxicGas
from chem.forecast import (
    Evolved,
    Followed,
    Rule,
    Study,
    WindowForecast,
    evolved,
    never,
    window_forecast,
)
from chem.forecast.order import pouring_place
from chem.tank import Mix, Window

LIKELY = 0.9


@dataclass(frozen=True)
class SuitedTo:
    """An adjuvant's window beside the tank, and what would make the tank suit it.

    found: the chances as it is; reagent, dose_g_per_L: the smallest dose with 9 in 10 at filling,
    of the tank or 0 where it is there, None with a cause: `further`, `too_much`, `narrow`, `gas`,
    `forbidden` (by a label), `never`, `unknown` (no window told); at_dose, at_dose_4h: the chances
    with it; density_kg_per_L: of a liquid agent; also: the same with the other agents that lead
    that way.
    """

    found: WindowForecast
    reagent: Reagent | None
    dose_g_per_L: float | None
    at_dose: float | None
    at_dose_4h: float | None
    density_kg_per_L: float | None
    cause: str
    also: tuple[SuitedTo, ...] = ()


@dataclass(frozen=True)
class Suiting:
    """Every adjuvant of a mix, and of a shelf, beside the tank; in_mix: how many are in it."""

    mix: Mix
    ph: Range
    adjuvants: tuple[SuitedTo, ...]
    in_mix: int
    rules: tuple[Rule, ...]
    refused: str | None
    gases: tuple[Evolved, ...]
    draws: int
    seed: int


@one_thread()
def suiting(
    mix: Mix,
    others: Sequence[Window] = (),
    *,
    reagents: Sequence[Reagent] = (),
    count: int = 256,
    seed: int = 1,
    study: Study | None = None,
) -> Suiting:
    """How well a tank suits its adjuvants and others, at filling and by 4 h.

    others: adjuvants that are not in the mix; reagents: acids and bases that may be tried, the
    first that reaches a window is told first (default citric acid and potassium bicarbonate); what
    the mix holds already is not tried. No dose is named where the mix must never be poured,
    where a label or a gas forbids the agent.

    Raises: InputProblem and ToxicGas as `forecast`.
    """
    study = Study(count, seed) if study is None else study
    seen = study.look(mix)
    rules = study.rules(mix, seen)
    refused = never(rules)
    tried = tuple(reagents) or (choose_agent("citric acid"), choose_agent("potassium bicarbonate"))
    tanks: dict[str, Titration] = {}
    held = {a.product.key for a in mix.additions}
    out = []
    for window in (*mix.windows, *others):
        found = window_forecast(seen, window)
        if window.limits is None:
            out.append(SuitedTo(found, None, None, None, None, None, "unknown"))
        elif found.at_filling >= LIKELY:
            out.append(SuitedTo(found, None, 0.0, found.at_filling, found.at_4h, None, ""))
        elif refused is not None:
            out.append(SuitedTo(found, None, None, None, None, None, "never"))
        else:
            low, high = window.limits
            acid = seen.ph.median > 0.5 * (max(low, 0.0) + min(high, 14.0))
            each = [
                _dosed(study, mix, found, reagent, tanks, (low, high))
                for reagent in tried
                if reagent.acid == acid and reagent.product.key not in held
            ]
            if not each:
                out.append(SuitedTo(found, None, None, None, None, None, "further"))
                continue
            best = next((one for one in each if one.dose_g_per_L is not None), each[0])
            out.append(replace(best, also=tuple(one for one in each if one is not best)))
    return Suiting(
        mix=mix,
        ph=seen.ph,
        adjuvants=tuple(out),
        in_mix=len(mix.windows),
        rules=rules,
        refused=refused,
        gases=evolved(seen.ready, seen.fresh, study.gases(mix, seen)),
        draws=study.count,
        seed=study.seed,
    )


def _dosed(
    study: Study,
    mix: Mix,
    found: WindowForecast,
    reagent: Reagent,
    tanks: dict[str, Titration],
    limits: tuple[float, float],
) -> SuitedTo:
    """The smallest dose of an agent that makes a tank suit a window."""

    def none(cause: str) -> SuitedTo:
        return SuitedTo(found, reagent, None, None, None, None, cause)

    place = pouring_place(mix, reagent.product, reagent.acid)
    try:
        against = dosing_rules(mix, reagent, place, 0.5 * sum(limits))
    except ToxicGas:
        return none("gas")
    if against:
        return none("gas" if never(against) else "forbidden")
    tank = tanks.setdefault(reagent.name, Titration(study, mix, reagent, place))
    if tank.direction == 0.0 or not np.isfinite(tank.scanned).any():
        return none("further")
    rate, seen, cause = dose_that_suits(tank, study.look(mix), *limits)
    if rate is None:
        return none(cause)
    return SuitedTo(
        found,
        reagent,
        tank.dose(rate),
        seen.inside(*limits),
        seen.inside(*limits, "4h"),
        None if reagent.dry else tank.density_kg_per_L,
        "",
    )


@dataclass(frozen=True)
class Suited:
    """Chance that the pH is in the adjuvant's window, and what makes it likely.

    before, at_once: before and after the dose, nothing settled yet; before_settled, settled: once
    solids have come out; likely_dose_g_per_L: smallest dose with a chance of 9 in 10 at once, None
    where there is none (cause: `further`, `too_much`, `narrow`); at_likely, settled_at_likely: the
    chances it gives.
    """

    window: tuple[float, float]
    before: float
    before_settled: float
    at_once: float
    settled: float
    likely_dose_g_per_L: float | None
    at_likely: float | None
    settled_at_likely: float | None
    cause: str


def window_met(tank: Titration, fresh: Followed, dosed: Followed, judged_at: str) -> Suited | None:
    """How well the adjuvant's window is met, and the dose that meets it in 9 of 10 draws."""
    window = next((w for w in tank.mix.windows if w.limits is not None), None)
    if window is None or window.limits is None:
        return None
    low, high = window.limits
    found, seen, cause = dose_that_suits(tank, fresh, low, high)
    dose = None if found is None else tank.dose(found)
    return Suited(
        (low, high),
        fresh.inside(low, high),
        fresh.inside(low, high, judged_at),
        dosed.inside(low, high),
        dosed.inside(low, high, judged_at),
        dose,
        None if found is None else seen.inside(low, high),
        None if found is None else seen.inside(low, high, judged_at),
        cause,
    )


def dose_that_suits(
    tank: Titration, fresh: Followed, low: float, high: float
) -> tuple[float | None, Followed, str]:
    """The smallest rate with which the pH is between two limits in 9 of 10 draws, that tank, and
    why there is none: `further`, `too_much`, `narrow`."""
    study = tank.study
    if fresh.inside(low, high) >= LIKELY:
        return 0.0, fresh, ""
    lowers = tank.direction < 0.0
    edge = high if lowers else low
    level = LIKELY + 1.0 / study.count if lowers else 1.0 - LIKELY - 1.0 / study.count
    at = quantile(fresh.fresh.clear.ph, level)
    if (at <= edge) if lowers else (at >= edge):
        return None, fresh, "further"
    found = tank.find(level, edge)
    if found is None:
        return None, fresh, "too_much"
    seen = study.look(tank.dosed(found))
    if seen.inside(low, high) < LIKELY:
        return None, fresh, "narrow"
    return found, seen, ""
