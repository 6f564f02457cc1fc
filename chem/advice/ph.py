"""How much of an acid or base brings the full tank to a pH, and what that does to it.

The dose is that at which the median of the forecast pH meets the target, over the same draws as a
forecast: put into the mix as one more product, it forecasts to the target.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from chem.advice.agents import Reagent
from chem.advice.dosing import (
    Minded,
    dosing_rules,
    minded,
    other_side,
    refuse_forbidden,
)
from chem.advice.suited import Suited, window_met
from chem.advice.titration import MOST_G_PER_L, Titration
from chem.doubts import Range, median, quantile, range_of
from chem.equilibrium import one_thread
from chem.equilibrium.activity import Floats
from chem.errors import InputProblem, Problem
from chem.forecast import (
    THRESHOLD,
    Answer,
    Evolved,
    Followed,
    Rule,
    Study,
    evolved,
    known_time,
    never,
)
from chem.forecast.order import keeping_rules, pouring_place
from chem.forecast.rules import rules_of
from chem.label import Contents, Product
from chem.reference import catalogue
from chem.tank import Mix, with_product
from chem.units import Rate

SAME_PH = 0.02
CURVE_POINTS = 41
CURVE_SPAN_PH = 2.5
FLAT_PH = 0.3
MADE_MORE = 0.05
"""A solid counts as the agent's doing where its chance rises by more than this."""
JAR_L = 0.946352946  # a US quart: NIST Handbook 44, appendix C
TRACE_MOL_PER_KG = 1e-7
SALTS = {"Na", "Cl"}


@dataclass(frozen=True)
class MadeSolid:
    """A solid that the dose brings on, or what it does to a colloid: chance by the asked time."""

    key: str
    name: str
    before: float
    after: float
    of_the_agent: bool


@dataclass(frozen=True)
class Adjustment:
    """A dose and what it does.

    dose_g_per_L: grams of the agent in its own form per litre of finished spray, None where the
    target can't be reached (unreached: `refused`, `no_ph`, `flat`, `too_much`; what stands "after"
    is then for the largest dose tried, `tried_g_per_L`); dose_range_g_per_L: what meets the target
    in 5 and in 95 of 100 versions of the tank, None where no sane dose does; density_kg_per_L: of
    a liquid agent; curve: (dose, median pH of a few draws); slope_start, slope_target: pH
    per g/L; adds_kg_per_ha: nutrients in the dose; rules: that the dosed mix breaks, by places
    in `ruled`, the mix as it would be poured; refused: the code of the rule by which the mix, or
    the agent in it, must never be poured; minded: what to mind of the dose; dosed: the mix with
    the agent in it; already: whether the tank is there, or past it, before any dose; back: agents
    that would bring back a tank that is past it.
    """

    mix: Mix
    reagent: Reagent
    target: float
    judged_at: str
    dose_g_per_L: float | None
    dose_range_g_per_L: tuple[float | None, float | None]
    tried_g_per_L: float
    unreached: str
    density_kg_per_L: float | None
    ph_before: Range
    ph_after: Range
    ph_settled: float
    answer_before: str
    answer_after: Answer
    curve: tuple[tuple[float, float], ...]
    slope_start: float
    slope_target: float
    made: tuple[MadeSolid, ...]
    suited: Suited | None
    copper_free: tuple[float, float] | None
    gases: tuple[Evolved, ...]
    rules: tuple[Rule, ...]
    ruled: Mix
    refused: str | None
    minded: Minded
    adds_kg_per_ha: Mapping[str, float]
    dosed: Mix
    place: int
    draws: int
    seed: int
    already: bool = False
    back: tuple[str, ...] = ()


@one_thread()
def adjust(
    mix: Mix,
    target: float,
    reagent: Reagent,
    *,
    judged_at: str = "4h",
    count: int = 256,
    seed: int = 1,
    study: Study | None = None,
) -> Adjustment:
    """Find the dose of an agent that brings the full tank to a pH.

    Args:
        mix: what `read_mix` gave; target: pH; reagent: what `choose_agent` gave;
        judged_at: `15min`, `4h` or `24h`; count, seed: draws, as in `forecast`.
        study: what is believed and worked out already, in place of count and seed.

    No dose is given where the mix, or the agent in it, must never be poured (`refused`).

    Raises:
        InputProblem: a label forbids the agent.
        ToxicGas: bleach with anything, sulfide with acid.
        ValueError: a target outside 0 to 14, or another `judged_at`.
    """
    known_time(judged_at)
    if not 0.0 <= target <= 14.0:
        raise ValueError(f"a pH lies between 0 and 14, not {target!r}")
    study = Study(count, seed) if study is None else study
    place = pouring_place(mix, reagent.product, reagent.acid)
    against = dosing_rules(mix, reagent, place, target)
    fresh = study.look(mix)
    asked = study.rules(mix, fresh)
    tank = Titration(study, mix, reagent, place)
    if never(asked):
        return _refused(tank, target, judged_at, fresh, asked, mix)
    if never(against):
        return _refused(tank, target, judged_at, fresh, against, tank.dosed(1.0))
    refuse_forbidden(mix, reagent, against)
    before = fresh.ph
    if not np.isfinite(before.median) or tank.direction == 0.0:
        raise InputProblem(
            Problem(
                f"{mix.file}, --with {reagent.name}",
                "no pH can be found for this tank, so none can be set",
                "more carrier or lower rates: the tank is outside what the model covers",
            )
        )
    already = tank.direction * (target - before.median) <= SAME_PH
    past = already and abs(target - before.median) > SAME_PH
    rate = 0.0 if already else tank.find(0.5, target)
    tried = MOST_G_PER_L if rate is None else rate
    dosed = study.look(tank.dosed(tried))
    after = range_of(dosed.fresh.clear.ph, dosed.stretch)
    step = max(0.02 * tried, 1e-3)
    ruled = _as_poured(tank, rate or 0.0)
    return Adjustment(
        mix=mix,
        reagent=reagent,
        target=target,
        judged_at=judged_at,
        dose_g_per_L=None if rate is None else tank.dose(rate),
        dose_range_g_per_L=_dose_range(tank, fresh, target) if rate else (rate, rate),
        tried_g_per_L=tank.dose(tried),
        unreached=_why_not(tank, target, after.median) if rate is None else "",
        density_kg_per_L=None if reagent.dry else tank.density_kg_per_L,
        ph_before=before,
        ph_after=after,
        ph_settled=median(dosed.states[judged_at].ph_settled),
        answer_before=fresh.answer(judged_at).word,
        answer_after=dosed.answer(judged_at),
        curve=_curve(tank, tried),
        slope_start=tank.slope(0.0, step),
        slope_target=tank.slope(tried, step),
        made=_made(fresh, dosed, judged_at, study.contents(reagent.product)),
        suited=window_met(tank, fresh, dosed, judged_at),
        copper_free=_copper(fresh, dosed),
        gases=evolved(dosed.ready, dosed.fresh, study.gases(dosed.ready.mix, dosed)),
        rules=rules_of(ruled),
        ruled=ruled,
        refused=None,
        minded=minded(dosed.ready.mix, place, before, after),
        adds_kg_per_ha=_adds(reagent.product, tried, mix),
        dosed=dosed.ready.mix,
        place=place,
        draws=study.count,
        seed=study.seed,
        already=already,
        back=tuple(other_side(reagent, target, tank.direction)) if past else (),
    )


def _refused(
    tank: Titration,
    target: float,
    judged_at: str,
    fresh: Followed,
    rules: tuple[Rule, ...],
    ruled: Mix,
) -> Adjustment:
    """What is said of a tank that gets no dose, by rules of `ruled`."""
    study, mix = tank.study, tank.mix
    answer = fresh.answer(judged_at)
    return Adjustment(
        mix=mix,
        reagent=tank.reagent,
        target=target,
        judged_at=judged_at,
        dose_g_per_L=None,
        dose_range_g_per_L=(None, None),
        tried_g_per_L=0.0,
        unreached="refused",
        density_kg_per_L=None if tank.reagent.dry else tank.density_kg_per_L,
        ph_before=fresh.ph,
        ph_after=fresh.ph,
        ph_settled=median(fresh.states[judged_at].ph_settled),
        answer_before=answer.word,
        answer_after=answer,
        curve=(),
        slope_start=float("nan"),
        slope_target=float("nan"),
        made=(),
        suited=None,
        copper_free=None,
        gases=evolved(fresh.ready, fresh.fresh, study.gases(mix, fresh)),
        rules=rules,
        ruled=ruled,
        refused=never(rules),
        minded=Minded((), (), False, False),
        adds_kg_per_ha={},
        dosed=mix,
        place=tank.place,
        draws=study.count,
        seed=study.seed,
    )


def _why_not(tank: Titration, target: float, reached: float) -> str:
    """Why no sane dose reaches the target."""
    if not tank.direction * (target - reached) > 0.0:
        return "no_ph"
    good = tank.scanned[np.isfinite(tank.scanned)]
    half = float(np.interp(0.5 * MOST_G_PER_L, tank.rates, tank.scanned))
    return "flat" if abs(good[-1] - half) < FLAT_PH else "too_much"


def _curve(tank: Titration, tried: float) -> tuple[tuple[float, float], ...]:
    """(dose, pH) from nothing to twice the dose; where there is none, over some pH units."""
    top = min(2.0 * tried, MOST_G_PER_L)
    if tried == 0.0:
        far = np.flatnonzero(np.abs(tank.scanned - tank.scanned[0]) >= CURVE_SPAN_PH)
        top = float(tank.rates[far[0]]) if far.size else MOST_G_PER_L
    rates = np.linspace(0.0, top, CURVE_POINTS)
    ph = tank.curve(rates)
    return tuple(
        (tank.dose(float(r)), float(p)) for r, p in zip(rates, ph, strict=True) if np.isfinite(p)
    )


def _made(
    fresh: Followed, dosed: Followed, judged_at: str, agent: Contents
) -> tuple[MadeSolid, ...]:
    """Solids and colloids that the dose brings on, most likely first."""
    before, after = fresh.shows_alone(judged_at), dosed.shows_alone(judged_at)
    phases, components = dosed.fresh.phases, dosed.fresh.clear.system.components
    own = {
        c
        for c, column in zip(agent.components, agent.mol_per_kg.T, strict=True)
        if c not in SALTS and column.any()
    }
    out = []
    for part in dosed.parts:
        was, now = before.get(part.key, 0.0), after[part.key]
        counts = part.decides and part.kind != "crystals"
        if not counts or now < THRESHOLD or now <= was + MADE_MORE:
            continue
        ions: set[str] = set()
        if part.key in phases.keys:
            m = phases.keys.index(part.key)
            ions = {c for i, c in enumerate(components) if phases.nu[i, m] > 0.0}
        out.append(MadeSolid(part.key, part.name, was, now, bool(ions & own)))
    return tuple(sorted(out, key=lambda s: -s.after))


def _copper(fresh: Followed, dosed: Followed) -> tuple[float, float] | None:
    """Share of the copper that is free, before and after; None without copper."""
    shares = []
    for seen in (fresh, dosed):
        state = seen.fresh.clear
        if "Cu" not in state.system.components:
            return None
        i = state.system.components.index("Cu")
        if median(state.totals[:, i]) < TRACE_MOL_PER_KG:
            return None
        shares.append(median(state.molality[:, i] / state.totals[:, i]))
    return shares[0], shares[1]


def _as_poured(tank: Titration, rate: float) -> Mix:
    """The dosed mix as rules see it: the agent at a rate of its label's own kind.

    Where another order keeps the rules of order, they are no obstacle: what to keep apart is
    minded and `pour` tells in which order.
    """
    mix, product = tank.mix, tank.reagent.product
    if rate == 0.0:
        return mix
    amount = rate if product.dry else rate / tank.density_kg_per_L
    kind: Literal["mass", "volume"] = "mass" if product.dry else "volume"
    own = Rate(kind, "area", amount * mix.carrier_L_per_m2)
    dosed = with_product(mix, product, own, tank.place)
    return keeping_rules(dosed) or dosed


def _dose_range(
    tank: Titration, fresh: Followed, target: float
) -> tuple[float | None, float | None]:
    """Doses [g/L] at which the target is met in 5 and in 95 of 100 versions of the tank.

    The lower one is 0 where 5 in 100 are there already.
    """
    start: Floats = fresh.fresh.clear.ph

    def needed(level: float) -> float | None:
        if tank.direction * (quantile(start, level) - target) >= 0.0:
            return 0.0
        rate = tank.find(level, target)
        return None if rate is None else tank.dose(rate)

    first, last = (0.05, 0.95) if tank.direction < 0.0 else (0.95, 0.05)
    return needed(first), needed(last)


def _adds(product: Product, rate: float, mix: Mix) -> dict[str, float]:
    """Nutrients in the dose, as guarantees print them [kg/ha]."""
    kg_per_ha = rate * mix.carrier_L_per_m2 * 1e4 / 1000.0
    out: dict[str, float] = {}
    known = catalogue()
    lines: dict[str, float] = dict(product.guarantee)
    if not lines:
        for source in product.sources:
            share = product.known.get(source.key, 0.0) / 100.0
            for line in source.supplies:
                percent = share * known.guarantees[line].percent_of(source.mol_per_kg())
                lines[line] = lines.get(line, 0.0) + percent
    for line, percent in lines.items():
        symbol = known.guarantees[line].expressed_as
        if line == "total nitrogen" and any(k.endswith(" nitrogen") and k != line for k in lines):
            continue
        out[symbol] = out.get(symbol, 0.0) + kg_per_ha * percent / 100.0
    return {symbol: value for symbol, value in out.items() if value > 0.0}
