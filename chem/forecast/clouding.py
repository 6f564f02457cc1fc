"""When a solid starts to show, how much of it has come out by then, and what is seen of it.

ln t of a solid = its curve at its own SI + what the cold and retarders add + the spread of its
curve times sqrt(0.7) z(tank) + sqrt(0.3) z(family). Dust, walls and stirring are the tank's, and
every solid feels them alike; solids of one family (calcium phosphates, forms of lime) share the
rest too.
With a factor for each solid alone eight equal solids would show seven times sooner than one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from chem.doubts import Draws
from chem.equilibrium import LN10, Phases
from chem.equilibrium.activity import Floats
from chem.reference import (
    GAS_CONSTANT_J_PER_MOL_K,
    Clouding,
    molar_mass_g_per_mol,
    read_csv,
    tables,
)

Bools = NDArray[np.bool_]
LONGEST_LN_S = 30.0
"""ln of the longest clouding time told, some 300,000 years: beyond it numbers only overflow."""
LEAST_S, LONGEST_S = 1e-3, float(np.exp(LONGEST_LN_S))
GROWTH_SPAN = 5.0
"""Amount(t) = settled (1 - exp(-(t - t_c) / (5 t_c))): common practice, no source."""
TANK_SHARE = 0.7
"""Of the variance of ln t, what is the tank's own: common practice, no source."""
HALVINGS = 25
ZERO_CELSIUS_K = 273.15


@dataclass(frozen=True)
class Delay:
    """How much longer a solid takes beside a retarder, up to `most` times.

    Half of it at half_mmol_per_L, or, where `per` names a component, none below the ratio
    `start` of the two totals, all above `end`, straight in the logarithms between.
    """

    curve: str
    component: str
    per: str
    most: float
    half_mmol_per_L: float
    start: float
    end: float


@dataclass(frozen=True)
class Limit:
    """Of what looks alike (`limits.csv`): seen from shows, blocking a 50-mesh screen from clogs."""

    shows_g_per_L: float
    clogs_g_per_L: float


@cache
def delays() -> tuple[Delay, ...]:
    """Read `delays.csv` once."""
    return tuple(
        Delay(
            r["curve"],
            r["component"],
            r["per"],
            float(r["most"]),
            float(r["half_mmol_per_L"] or "nan"),
            float(r["from_ratio"] or "nan"),
            float(r["to_ratio"] or "nan"),
        )
        for r in read_csv("delays.csv")
    )


@cache
def limits() -> Mapping[str, Limit]:
    """Read `limits.csv` once: what a solid looks like -> when it shows and clogs."""
    return {
        r["shows_as"]: Limit(float(r["shows_g_per_L"]), float(r["clogs_g_per_L"]))
        for r in read_csv("limits.csv")
    }


def delay_factor(curve: str, mmol_per_L: Mapping[str, Floats]) -> Floats | float:
    """Factor on clouding times of a curve from the retarders there are, 1 or more.

    mmol_per_L: total of each component, (N,) each. A retarder's effect levels off:
    1 + (most - 1) c / (c + half); one that works by its ratio to another ion goes by the ratio.
    """
    factor: Floats | float = 1.0
    for row in delays():
        if row.curve != curve or row.component not in mmol_per_L:
            continue
        c = mmol_per_L[row.component]
        if not row.per:
            factor = factor * (1.0 + (row.most - 1.0) * c / (c + row.half_mmol_per_L))
        elif row.per in mmol_per_L:
            ratio = np.maximum(c, 1e-12) / np.maximum(mmol_per_L[row.per], 1e-12)
            way = np.log(ratio / row.start) / np.log(row.end / row.start)
            factor = factor * row.most ** np.clip(way, 0.0, 1.0)
    return factor


def clouding_time_s(curve: Clouding, si_per_two_ions: Floats) -> Floats:
    """Median time until a solid shows [s], infinite at or below saturation.

    ln t is interpolated between the curve's points in SI; below the first it follows
    a + b / SI^2 (the shape of classical nucleation) with the slope of the first two points;
    above the last it stays at its value.
    """
    si = np.asarray(si_per_two_ions, dtype=float)
    points = np.array(curve.si)
    ln_t = np.log(np.array(curve.t_s))
    between = np.interp(si, points, ln_t)
    if len(points) > 1:
        slope = (ln_t[0] - ln_t[1]) / (points[0] ** -2 - points[1] ** -2)
    else:
        slope = points[0] ** 2
    positive = np.maximum(si, 1e-6)
    below = ln_t[0] + max(slope, 0.0) * (positive**-2 - points[0] ** -2)
    with np.errstate(over="ignore"):
        time = np.exp(np.where(si < points[0], np.minimum(below, LONGEST_LN_S), between))
    return np.where(si > 0.0, time, np.inf)


def spread(draws: Draws, family: str, factor: float) -> Floats:
    """(N,) factor on a clouding time: the tank's share and the family's own.

    factor: one sigma of the curve. Columns `clouding:tank` and `clouding:FAMILY`.
    """
    tank = draws.normal("clouding:tank")
    own = draws.normal(f"clouding:{family}")
    z = np.sqrt(TANK_SHARE) * tank + np.sqrt(1.0 - TANK_SHARE) * own
    return np.asarray(np.exp(np.log(factor) * z))


def cold_factor(t_celsius: float) -> float:
    """Factor on clouding times at a temperature [degC], 1 at that of the curves."""
    table = tables()
    kelvin = np.array([t_celsius, table.value("clouding_curves_t")]) + ZERO_CELSIUS_K
    per_K = table.value("clouding_activation_energy") / GAS_CONSTANT_J_PER_MOL_K
    return float(np.exp(per_K * (1.0 / kelvin[0] - 1.0 / kelvin[1])))


def clouding_times_s(
    phases: Phases, si: Floats, mmol_per_L: Mapping[str, Floats], draws: Draws, t_celsius: float
) -> Floats:
    """(N, M) time [s] at which each solid shows by itself, infinite where it is not over its limit.

    Args:
        si: (N, M); mmol_per_L: total of each component, (N,) each; draws: of the same N rows;
        t_celsius: of the tank.
    """
    out = np.full(si.shape, np.inf)
    highest = np.nan_to_num(si, nan=-99.0).max(axis=0, initial=-99.0)
    for m in np.flatnonzero(highest > 0.0):
        solid = phases.solids[m]
        curve = tables().clouding[solid.curve]
        out[:, m] = clouding_time_s(curve, 2.0 * si[:, m] / phases.ions[m])
        out[:, m] *= spread(draws, solid.family, curve.factor)
        out[:, m] *= delay_factor(curve.curve, mmol_per_L) * cold_factor(t_celsius)
    return out


def damage(span_s: float, before_s: Floats, after_s: Floats) -> Floats:
    """Share of a clouding time that passes in a span [s] in which it goes from one to another.

    Its logarithm goes straight, so that the share is the span over a logarithmic mean.
    """
    before, after = (np.clip(t, LEAST_S, LONGEST_S) for t in (before_s, after_s))
    fall = np.abs(np.log(before / after))
    mean_of_rates = np.abs(1.0 / after - 1.0 / before) / np.maximum(fall, 1e-9)
    return np.asarray(span_s * np.where(fall > 1e-6, mean_of_rates, 1.0 / after))


def onset_s(
    begin_s: float, end_s: float, passed: Floats, before_s: Floats, after_s: Floats
) -> Floats:
    """When a solid shows whose clouding time goes from one to another in a span [s].

    passed: share of it that was over at the beginning, under 1. It shows when all is over;
    infinite where that is never.
    """
    span, left = end_s - begin_s, 1.0 - passed
    before, after = (np.clip(t, LEAST_S, LONGEST_S) for t in (before_s, after_s))
    rate = np.log(before / after) / span
    flat = np.abs(rate) * span < 1e-6
    gone = np.log1p(np.maximum(rate * before * left, 1e-12 - 1.0))
    within = np.where(flat, before * left, gone / np.where(flat, 1.0, rate))
    by_end = damage(span, before, after)
    beyond = np.where(np.isfinite(after_s), end_s + (left - by_end) * after, np.inf)
    return np.where(by_end >= left, begin_s + within, beyond)


class Passing:
    """How much of each solid's clouding time is over, in a tank that changes on the way."""

    def __init__(self, clouding_s: Floats) -> None:
        self.clocks = self.shows = clouding_s
        self.passed = np.zeros(clouding_s.shape)

    def onward(self, begin_s: float, end_s: float, clouding_s: Floats) -> Floats:
        """(N, M) when each shows [s], now that its clouding time has come to this by the end."""
        over = self.passed >= 1.0
        passed = np.minimum(self.passed, 1.0)
        onset = onset_s(begin_s, end_s, passed, self.clocks, clouding_s)
        self.shows = np.where(over, self.shows, onset)
        self.passed = self.passed + damage(end_s - begin_s, self.clocks, clouding_s)
        self.clocks = clouding_s
        return self.shows


def alone_g_per_L(phases: Phases, si: Floats, mol_per_L: Floats) -> Floats:
    """(N, M) [g/L] that would come out of each solid if no other did, at the pH there is.

    mol_per_L: (N, C) totals of the system's components. The activity of an ion is taken to fall
    as its total does: sum of n ln(1 - n x / total) = -SI ln 10 gives x. Nothing where SI <= 0, and
    of what decides nothing.
    """
    n_rows, count = si.shape
    out = np.zeros((n_rows, count))
    mass = np.array([molar_mass_g_per_mol(s.formula) for s in phases.solids])
    may = np.array([s.decides for s in phases.solids], dtype=bool)
    for m in np.flatnonzero(may & (np.nan_to_num(si, nan=-1.0).max(axis=0, initial=-1.0) > 0.0)):
        n = phases.nu[:-1, m]
        used = np.flatnonzero(n > 0.0)
        rows = np.flatnonzero(np.nan_to_num(si[:, m], nan=-1.0) > 0.0)
        there = np.maximum(mol_per_L[np.ix_(rows, used)], 1e-30)
        wanted = -si[rows, m] * LN10
        low = np.zeros(len(rows))
        high = (there / n[used]).min(axis=1)
        for _ in range(HALVINGS):
            x = 0.5 * (low + high)
            left = np.maximum(1.0 - n[used] * x[:, None] / there, 1e-300)
            over = np.log(left) @ n[used] > wanted
            low, high = np.where(over, x, low), np.where(over, high, x)
        out[rows, m] = 0.5 * (low + high) * mass[m]
    return out


def share_out(t_s: float, begins_s: Floats, clouding_s: Floats | None = None) -> Floats:
    """Share of the settled amount that has come out by t [s].

    begins_s: when it shows; clouding_s: the clouding time that it grows by, where the tank only
    came to it on the way.
    """
    there = np.isfinite(begins_s)
    begins = np.where(there, np.maximum(begins_s, 1e-3), 1.0)
    pace = begins if clouding_s is None else np.clip(clouding_s, 1e-3, begins)
    grown = 1.0 - np.exp(-np.maximum(t_s - begins, 0.0) / (GROWTH_SPAN * pace))
    return np.where(there, grown, 0.0)


@dataclass(frozen=True)
class Growing:
    """Solids of one tank on their way out, per draw.

    settled: (N, M) [g/L] in the end; first: (N, M) [g/L] of each as it would first come, alone;
    clouding: (N, M) when each by itself shows [s]; sooner: (N, M) [s] the soonest of its family;
    pace, sooner_pace: (N, M) clouding times that they grow by [s], None for the same.
    """

    phases: Phases
    settled: Floats
    first: Floats
    clouding: Floats
    sooner: Floats
    pace: Floats | None = None
    sooner_pace: Floats | None = None

    @classmethod
    def of(
        cls,
        phases: Phases,
        settled: Floats,
        alone: Floats,
        clouding: Floats,
        pace: Floats | None = None,
    ) -> Growing:
        """What a family ends as, in mass, bounds what any of it is at first, where it stays.

        Dormant and soluble solids show nothing and start nothing.
        """
        may = np.array([s.decides for s in phases.solids], dtype=bool)
        clouding = np.where(may, clouding, np.inf)
        families: dict[str, list[int]] = {}
        for m, solid in enumerate(phases.solids):
            families.setdefault(solid.family, []).append(m)
        first, sooner = alone.copy(), clouding.copy()
        paces = clouding if pace is None else pace
        sooner_pace = paces.copy()
        for members in families.values():
            if not may[members].any():
                continue
            soonest = clouding[:, members].argmin(axis=1)[:, None]
            sooner[:, members] = np.take_along_axis(clouding[:, members], soonest, axis=1)
            sooner_pace[:, members] = np.take_along_axis(paces[:, members], soonest, axis=1)
            ends_as = np.nan_to_num(settled[:, members]).sum(axis=1, keepdims=True)
            held = np.where(ends_as > 0.0, np.minimum(first[:, members], ends_as), 0.0)
            first[:, members] = held
        return cls(phases, settled, first, clouding, sooner, paces, sooner_pace)

    def amounts(self, t_s: float) -> Floats:
        """(N, M) [g/L] out by t [s]: what the first of a family turns into grows on its clock."""
        return np.asarray(self.settled * share_out(t_s, self.sooner, self.sooner_pace))

    def filled(self, t_s: float, amounts: Floats | None = None) -> tuple[Floats, Floats]:
        """(N,) how full the limits of showing and of clogging are by t [s]: 1 is at the limit.

        Showing: the solid nearest to its own limit, by its own clock, as it first comes. Clogging:
        all that has come out, each by its own limit, with what the first of a family turns into.
        amounts: by t, where they are known.
        """
        if not len(self.phases):
            return np.zeros(len(self.settled)), np.zeros(len(self.settled))
        limit = [limits()[s.shows_as] for s in self.phases.solids]
        shows = np.array([x.shows_g_per_L for x in limit])
        clogs = np.array([x.clogs_g_per_L for x in limit])
        out = np.nan_to_num(self.amounts(t_s) if amounts is None else amounts)
        seen = self.first * share_out(t_s, self.clouding, self.pace) / shows
        return seen.max(axis=1), (out / clogs).sum(axis=1)
