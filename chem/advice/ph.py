"""How much of an acid or base brings the full tank to a pH, and what that does to it.

The dose is that at which the median of the forecast pH meets the target, over the same draws as a
forecast: put into the mix as one more product, it forecasts to the target.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from chem.advice.acid_rules import cautions, pouring_place, refuse, refuse_other_side
from chem.advice.agents import Reagent
from chem.advice.pour import keeping_rules, rules_broken
from chem.advice.titration import MOST_G_PER_L, Middle, Titration, find_rate
from chem.doubts import Draws
from chem.equilibrium.activity import Floats
from chem.errors import InputProblem, Problem
from chem.forecast import THRESHOLD, Outlook, Range, gases, outlook
from chem.forecast.evolved import Evolved, evolved
from chem.forecast.result import TIMES_S, known_time
from chem.label import Contents, Product
from chem.reference import catalogue, tables
from chem.tank import Mix, with_product
from chem.units import Rate

SAME_PH = 0.02
CURVE_POINTS = 41
CURVE_SPAN_PH = 2.5
FLAT_PH = 0.3
LIKELY = 0.9
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
class Suited:
    """Chance that the pH is in the adjuvant's window, and what makes it likely.

    before, at_once: before and after the dose, nothing settled yet; before_settled, settled: once
    solids have come out; likely_dose_g_per_L: smallest dose with a chance of 9 in 10 at once, None
    where there is none (`because` says why); at_likely, settled_at_likely: the chances it gives.
    """

    window: tuple[float, float]
    before: float
    before_settled: float
    at_once: float
    settled: float
    likely_dose_g_per_L: float | None
    at_likely: float | None
    settled_at_likely: float | None
    because: str | None


@dataclass(frozen=True)
class Adjustment:
    """A dose and what it does.

    dose_g_per_L: grams of the agent in its own form per litre of finished spray, None where the
    target can't be reached (`unreached` says why; what stands "after" is then for the largest
    dose tried, `tried_g_per_L`); dose_range_g_per_L: what meets the target in 5 and in 95 of 100
    versions of the tank, None where no sane dose does; density_kg_per_L: of a liquid agent; curve:
    (dose, pH) at the middle of every doubt; slope_start, slope_target: pH per g/L;
    adds_kg_per_ha: nutrients in the dose; label_forbids: rules of labels and acids that the dosed
    mix breaks; dosed: the mix with the agent in it.
    """

    mix: Mix
    reagent: Reagent
    target: float
    judged_at: str
    dose_g_per_L: float | None
    dose_range_g_per_L: tuple[float | None, float | None]
    tried_g_per_L: float
    unreached: str | None
    density_kg_per_L: float | None
    ph_before: Range
    ph_after: Range
    ph_settled: float
    answer_before: str
    answer_after: str
    chance_after: float
    because_after: str | None
    curve: tuple[tuple[float, float], ...]
    slope_start: float
    slope_target: float
    made: tuple[MadeSolid, ...]
    suited: Suited | None
    copper_free: tuple[float, float] | None
    gases: tuple[Evolved, ...]
    label_forbids: tuple[str, ...]
    cautions: tuple[str, ...]
    adds_kg_per_ha: Mapping[str, float]
    dosed: Mix
    place: int
    draws: int
    seed: int
    solves: int


def adjust(
    mix: Mix,
    target: float,
    reagent: Reagent,
    *,
    judged_at: str = "4h",
    count: int = 256,
    seed: int = 1,
) -> Adjustment:
    """Find the dose of an agent that brings the full tank to a pH.

    Args:
        mix: what `read_mix` gave; target: pH; reagent: what `choose_agent` gave;
        judged_at: `15min`, `4h` or `24h`; count, seed: draws, as in `forecast`.

    Raises:
        InputProblem: the agent moves the pH the other way, a label forbids it, or it sets free a
            poisonous gas (ToxicGas).
        ValueError: a target outside 0 to 14, or another `judged_at`.
    """
    known_time(judged_at)
    if not 0.0 <= target <= 14.0:
        raise ValueError(f"a pH lies between 0 and 14, not {target!r}")
    place = pouring_place(mix, reagent)
    refuse(mix, reagent, place, target)
    tank = Titration(mix, reagent.product, place, Draws(count, seed))
    middle = Middle(mix, reagent.product, place)
    fresh = outlook(tank.without())
    before = tank.range(tank.ph(0.0))
    if not np.isfinite(before.median) or middle.direction == 0.0:
        raise InputProblem(
            Problem(
                f"{mix.file}, --with {reagent.name}",
                "no pH can be found for this tank, so none can be set",
                "more carrier or lower rates: the tank is outside what the model covers",
            )
        )
    rate: float | None = 0.0
    if abs(target - before.median) > SAME_PH:
        refuse_other_side(mix, reagent, target, before.median, middle.direction)
        rate = find_rate(tank, middle, lambda ph: tank.quantile(ph, 0.5), target)
    tried = MOST_G_PER_L if rate is None else rate
    dosed = outlook(tank.prepared(tried))
    after = tank.range(dosed.fresh.clear.ph)
    answer, chance, because = dosed.answer(judged_at)
    copper = _copper(fresh, dosed)
    step = max(0.02 * tried, 1e-3)
    return Adjustment(
        mix=mix,
        reagent=reagent,
        target=target,
        judged_at=judged_at,
        dose_g_per_L=None if rate is None else middle.dose(rate),
        dose_range_g_per_L=_dose_range(tank, middle, target) if rate else (rate, rate),
        tried_g_per_L=middle.dose(tried),
        unreached=_why_not(reagent, target, after.median, middle) if rate is None else None,
        density_kg_per_L=None if reagent.dry else float(middle.agent.density_kg_per_L[0]),
        ph_before=before,
        ph_after=after,
        ph_settled=tank.quantile(dosed.states[judged_at].ph_settled, 0.5),
        answer_before=fresh.answer(judged_at)[0],
        answer_after=answer,
        chance_after=chance,
        because_after=because,
        curve=_curve(middle, tried),
        slope_start=middle.slope(0.0, step),
        slope_target=middle.slope(tried, step),
        made=_made(fresh, dosed, judged_at, tank.agent),
        suited=_suited(tank, middle, fresh, dosed, judged_at),
        copper_free=copper,
        gases=evolved(dosed.ready, dosed.fresh, tuple(gases(dosed.ready.mix, after.median))),
        label_forbids=_broken(mix, reagent.product, rate or 0.0, middle, place),
        cautions=cautions(mix, reagent, tank.held, before, after, copper),
        adds_kg_per_ha=_adds(reagent.product, tried, mix),
        dosed=tank.mixed(tried),
        place=place,
        draws=count,
        seed=seed,
        solves=tank.solves,
    )


def _why_not(reagent: Reagent, target: float, reached: float, middle: Middle) -> str:
    """Why no sane dose reaches the target."""
    if not middle.direction * (target - reached) > 0.0:
        return "no pH can be found on the way there: the tank is outside what the model covers"
    good = middle.scanned[np.isfinite(middle.scanned)]
    half = float(np.interp(0.5 * MOST_G_PER_L, middle.rates, middle.scanned))
    if abs(good[-1] - half) < FLAT_PH:
        return (
            f"{reagent.name} takes this tank to pH {reached:.1f} and hardly further, "
            "whatever the dose"
        )
    return (
        f"{MOST_G_PER_L:g} g/L, more than is sane to pour in, only brings it to pH {reached:.1f}: "
        "the mix holds its pH too firmly for this agent"
    )


def _curve(middle: Middle, tried: float) -> tuple[tuple[float, float], ...]:
    """(dose, pH) from nothing to twice the dose; where there is none, over some pH units."""
    top = min(2.0 * tried, MOST_G_PER_L)
    if tried == 0.0:
        far = np.flatnonzero(np.abs(middle.scanned - middle.scanned[0]) >= CURVE_SPAN_PH)
        top = float(middle.rates[far[0]]) if far.size else MOST_G_PER_L
    rates = np.linspace(0.0, top, CURVE_POINTS)
    ph = middle.curve(rates)
    return tuple(
        (middle.dose(float(r)), float(p)) for r, p in zip(rates, ph, strict=True) if np.isfinite(p)
    )


def _chances(seen: Outlook, judged_at: str) -> dict[str, float]:
    show = tables().value("show_limit")
    amounts = seen.amounts[judged_at]
    draws = seen.ready.draws
    out = {
        solid.key: draws.chance(amounts[:, m] > show, seen.ok)
        for m, solid in enumerate(seen.fresh.phases.solids)
        if solid.decides and solid.kinetics != "dormant"
    }
    by = TIMES_S[judged_at]
    return out | {c.key: draws.chance(c.amount_by(by) > show, seen.ok) for c in seen.colloids}


def _made(fresh: Outlook, dosed: Outlook, judged_at: str, agent: Contents) -> tuple[MadeSolid, ...]:
    """Solids and colloids that the dose brings on, most likely first."""
    before, after = _chances(fresh, judged_at), _chances(dosed, judged_at)
    phases, components = dosed.fresh.phases, dosed.fresh.clear.system.components
    own = {
        c
        for c, column in zip(agent.components, agent.mol_per_kg.T, strict=True)
        if c not in SALTS and column.any()
    }
    fates = {c.key: c.because for c in dosed.colloids}
    out = []
    for key, chance in after.items():
        was = before.get(key, 0.0)
        if chance < THRESHOLD or chance <= was + MADE_MORE:
            continue
        name, ions = fates.get(key, key), set()
        if key in phases.keys:
            m = phases.keys.index(key)
            name = phases.solids[m].name
            ions = {c for i, c in enumerate(components) if phases.nu[i, m] > 0.0}
        out.append(MadeSolid(key, name, was, chance, bool(ions & own)))
    return tuple(sorted(out, key=lambda s: -s.after))


def _suited(
    tank: Titration, middle: Middle, fresh: Outlook, dosed: Outlook, judged_at: str
) -> Suited | None:
    """How well the adjuvant's window is met, and the dose that meets it in 9 of 10 draws."""
    adjuvant = tank.mix.adjuvant
    if adjuvant is None or fresh.suited is None or dosed.suited is None:
        return None
    low, high = adjuvant.ph_low, adjuvant.ph_high

    def inside(ph: Floats) -> float:
        return tank.draws.chance((ph >= low) & (ph <= high), np.isfinite(ph))

    def settled(seen: Outlook) -> float:
        return inside(np.where(seen.ok, seen.states[judged_at].ph_settled, np.nan))

    dose, chance, because = 0.0, fresh.suited, None
    found: float | None = 0.0
    if fresh.suited < LIKELY:
        lowers = middle.direction < 0.0
        edge = high if lowers else low
        level = LIKELY + 1.0 / tank.draws.count if lowers else 1.0 - LIKELY - 1.0 / tank.draws.count
        at = tank.quantile(fresh.fresh.clear.ph, level)
        if (at <= edge) if lowers else (at >= edge):
            found, because = None, "this agent takes the pH further from what it wants"
        else:
            found = find_rate(tank, middle, lambda ph: tank.quantile(ph, level), edge)
            because = f"not with {MOST_G_PER_L:g} g/L of it" if found is None else None
        if found is not None:
            chance = inside(tank.ph(found))
            for _ in range(5):
                if chance >= LIKELY:
                    break
                found *= 1.003
                chance = inside(tank.ph(found))
            dose = middle.dose(found)
            if chance < LIKELY:
                found, because = None, "its window is narrower than what is not known of the pH"
    later = None
    if found is not None:
        later = settled(fresh if found == 0.0 else outlook(tank.prepared(found)))
    return Suited(
        (low, high),
        fresh.suited,
        settled(fresh),
        dosed.suited,
        settled(dosed),
        None if found is None else dose,
        None if found is None else chance,
        later,
        because,
    )


def _copper(fresh: Outlook, dosed: Outlook) -> tuple[float, float] | None:
    """Share of the copper that is free, before and after; None without copper."""
    shares = []
    for seen in (fresh, dosed):
        state = seen.fresh.clear
        if "Cu" not in state.system.components:
            return None
        i = state.system.components.index("Cu")
        if float(np.median(state.totals[:, i])) < TRACE_MOL_PER_KG:
            return None
        share = state.molality[:, i] / state.totals[:, i]
        shares.append(float(seen.ready.draws.quantile(share, (0.5,))[0]))
    return shares[0], shares[1]


def _broken(mix: Mix, product: Product, rate: float, middle: Middle, place: int) -> tuple[str, ...]:
    """Rules of labels and acids that the dosed mix breaks, the agent's rate range among them.

    Where another order keeps those of order, they are no obstacle: the cautions tell what to keep
    apart and `pour` in which order.
    """
    if rate == 0.0:
        return rules_broken(mix)
    amount = rate if product.dry else rate / float(middle.agent.density_kg_per_L[0])
    kind: Literal["mass", "volume"] = "mass" if product.dry else "volume"
    dosed = with_product(mix, product, Rate(kind, "area", amount * mix.carrier_L_per_m2), place)
    return rules_broken(keeping_rules(dosed) or dosed)


def _dose_range(
    tank: Titration, middle: Middle, target: float
) -> tuple[float | None, float | None]:
    """Doses [g/L] at which the target is met in 5 and in 95 of 100 versions of the tank.

    The lower one is 0 where 5 in 100 are there already.
    """

    def needed(level: float) -> float | None:
        if middle.direction * (tank.quantile(start, level) - target) >= 0.0:
            return 0.0
        rate = find_rate(tank, middle, lambda ph: tank.quantile(ph, level), target)
        return None if rate is None else middle.dose(rate)

    start = tank.ph(0.0)
    first, last = (0.05, 0.95) if middle.direction < 0.0 else (0.95, 0.05)
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
