"""A full tank titrated with an agent: fresh pH against dose, over the draws and at their middle."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from chem.doubts import Draws
from chem.equilibrium import Equilibrium, solve
from chem.equilibrium.activity import Floats
from chem.forecast import Prepared, Range
from chem.forecast.aging import at_once
from chem.forecast.prepare import assemble, conditions_of
from chem.label import Product, contents
from chem.tank import Finished, Mix, finish, grams_per_litre, water_totals, with_product

MOST_G_PER_L = 50.0
"""More than this of an agent in its own form is no pH adjustment any more (common practice, no
source)."""
LEAST_G_PER_L = 1e-4
TOLERANCE_PH = 0.002
MOST_SOLVES = 24
CURVE_STEPS = 3
SCAN_POINTS = 49


class Titration:
    """One mix with one product more, at any rate of it [g per litre of spray volume].

    Contents and water are drawn once; a dose costs one speciation of the draws.
    """

    def __init__(self, mix: Mix, product: Product, place: int, draws: Draws) -> None:
        """place: where in the pouring order the agent goes."""
        self.mix, self.product, self.place, self.draws = mix, product, place, draws
        self.water = water_totals(mix.water, draws)
        self.held = tuple(contents(a.product, draws) for a in mix.additions)
        self.agent = contents(product, draws)
        self.solves = 0
        self._last: Equilibrium | None = None

    def mixed(self, rate: float) -> Mix:
        """The mix with the agent at a rate [g/L]."""
        return with_product(
            self.mix, self.product, grams_per_litre(rate, f"{rate:.4g} g/L"), self.place
        )

    def finished(self, rate: float) -> Finished:
        """The finished solution at a rate [g/L]."""
        held = (*self.held[: self.place], self.agent, *self.held[self.place :])
        return finish(self.mixed(rate), held, self.water, self.draws)

    def prepared(self, rate: float) -> Prepared:
        """What `prepare` gives for the mix with the agent at a rate [g/L]."""
        held = (*self.held[: self.place], self.agent, *self.held[self.place :])
        return assemble(self.mixed(rate), self.draws, held, self.water)

    def without(self) -> Prepared:
        """What `prepare` gives for the mix as it stands."""
        return assemble(self.mix, self.draws, self.held, self.water)

    def ph(self, rate: float) -> Floats:
        """(N,) pH at once, at a rate [g/L]; NaN where no equilibrium was found."""
        finished = self.finished(rate)
        fresh = at_once(finished, self.draws.count)
        conditions = conditions_of(fresh.system, self.mix.t_celsius, self.draws)
        state = solve(fresh.system, fresh.totals(0.0), conditions, start=self._last)
        self._last = state
        self.solves += 1
        return np.where(state.converged, state.ph, np.nan)

    def quantile(self, values: Floats, level: float) -> float:
        """One weighted quantile of (N,) values."""
        return float(self.draws.quantile(values, (level,))[0])

    def range(self, values: Floats) -> Range:
        """Median with the 5 and 95 % quantiles."""
        low, middle, high = self.draws.quantile(values, (0.05, 0.5, 0.95))
        return Range(float(middle), float(low), float(high))


class Middle(Titration):
    """The titration at the middle of every doubt: many doses as the rows of one batch."""

    def __init__(self, mix: Mix, product: Product, place: int) -> None:
        super().__init__(mix, product, place, Draws(1))
        self.rates = np.concatenate(
            [[0.0], np.geomspace(LEAST_G_PER_L, MOST_G_PER_L, SCAN_POINTS - 1)]
        )
        self.scanned = self.curve(self.rates)

    def curve(self, rates: Floats) -> Floats:
        """(D,) pH at (D,) rates [g/L]."""
        each = [self.finished(float(r)) for r in rates]
        first = each[0]
        rows = replace(
            first,
            totals=np.concatenate([f.totals for f in each]),
            water_kg_per_L=np.concatenate([f.water_kg_per_L for f in each]),
            held={k: np.concatenate([f.held[k] for f in each]) for k in first.held},
        )
        fresh = at_once(rows, len(rates))
        nominal = replace(
            conditions_of(fresh.system, self.mix.t_celsius, self.draws), eps_shift=None
        )
        state = solve(fresh.system, fresh.totals(0.0), nominal)
        self.solves += 1
        return np.where(state.converged, state.ph, np.nan)

    def dose(self, rate: float) -> float:
        """g of the agent per litre of finished spray at a rate per litre of spray volume.

        They differ where the water is filled first and the products come on top.
        """
        if self.mix.fill != "water first" or rate == 0.0:
            return rate
        moles = self.finished(rate).from_product[self.place, 0].sum()
        return float(1000.0 * moles / self.agent.mol_per_kg[0].sum())

    def rate_at(self, ph: float) -> float | None:
        """Rate [g/L] at which the scanned curve passes a pH, between its points by lines."""
        good = np.isfinite(self.scanned)
        x, y = self.rates[good], self.scanned[good] - ph
        passes = np.flatnonzero(y[:-1] * y[1:] <= 0.0)
        if not passes.size:
            return None
        i = int(passes[0])
        return float(x[i] + (x[i + 1] - x[i]) * y[i] / (y[i] - y[i + 1] or 1.0))

    def at(self, rate: float) -> float:
        """pH of the scanned curve at a rate [g/L]."""
        good = np.isfinite(self.scanned)
        return float(np.interp(rate, self.rates[good], self.scanned[good]))

    @property
    def direction(self) -> float:
        """-1 where the agent lowers the pH, 1 where it raises it."""
        good = self.scanned[np.isfinite(self.scanned)]
        return float(np.sign(good[-1] - good[0])) if good.size else 0.0

    def slope(self, rate: float, step: float) -> float:
        """pH per g/L of dose around a rate, over a step [g/L] each way (up only from 0)."""
        low, high = max(rate - step, 0.0), rate + step
        ph = self.curve(np.array([low, high]))
        return float((ph[1] - ph[0]) / (self.dose(high) - self.dose(low)))


def find_rate(
    tank: Titration, middle: Middle, measure: Callable[[Floats], float], target: float
) -> float | None:
    """Rate [g/L] at which a measure of the pH over the draws meets a target.

    The measure runs along the middle curve at an offset that changes slowly: the first steps take
    the curve's rate for the target less the last offset. What that leaves is closed in by false
    position with halved ends (Illinois: Dowell and Jarratt, BIT 11 (1971) 168).
    None where the largest sane dose doesn't reach it, or no pH can be found.
    """
    side = middle.direction
    low, high = _End(0.0), _End(MOST_G_PER_L)
    rate = middle.rate_at(target) or MOST_G_PER_L
    for attempt in range(MOST_SOLVES):
        value = measure(tank.ph(rate))
        if not np.isfinite(value):
            return None
        off = side * (value - target)
        if abs(off) <= TOLERANCE_PH:
            return rate
        if off < 0.0 and rate >= MOST_G_PER_L:
            return None
        end, other = (low, high) if off < 0.0 else (high, low)
        if end.newest and other.off is not None:
            other.off *= 0.5
        end.rate, end.off, end.newest, other.newest = rate, off, True, False
        step = middle.rate_at(middle.at(rate) - side * off) if attempt < CURVE_STEPS else None
        if step is None and low.off is not None and high.off is not None:
            step = low.rate + (high.rate - low.rate) * low.off / (low.off - high.off)
        if step is None or not low.rate < step < high.rate:
            whole = high.off is None
            step = high.rate if whole else 0.5 * (low.rate + high.rate)
        rate = step
    return rate if high.rate - low.rate < 1e-3 * rate else None


@dataclass
class _End:
    """One end of the bracket: how far past the target (negative: short of it), if known."""

    rate: float
    off: float | None = None
    newest: bool = False
