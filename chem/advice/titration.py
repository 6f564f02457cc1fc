"""A full tank titrated with an agent: fresh pH against dose, over the draws and in their middle."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np

from chem.advice.agents import Reagent
from chem.advice.dosing import dosed_with
from chem.doubts import Range, quantile, range_of
from chem.equilibrium.activity import Floats
from chem.forecast import Followed, Rule, Study
from chem.forecast.prepare import stack
from chem.forecast.search import search
from chem.tank import Mix

MOST_G_PER_L = 50.0
"""More than this of an agent in its own form is no pH adjustment any more (common practice, no
source)."""
LEAST_G_PER_L = 1e-4
TOLERANCE_PH = 0.002
MOST_SOLVES = 24
CURVE_STEPS = 3
SCAN_POINTS = 49
CURVE_DRAWS = 64
"""A curve is the median of so many: the one jug of middling contents buffers less than most."""


class Titration:
    """One mix with an agent at any rate of it [g per litre of spray volume]."""

    def __init__(self, study: Study, mix: Mix, reagent: Reagent, place: int) -> None:
        """place: where in the pouring order the agent goes."""
        self.study, self.mix, self.reagent, self.place = study, mix, reagent, place
        self._middle, self._some = study.middle(), study.few(CURVE_DRAWS)
        self.rates = np.concatenate(
            [[0.0], np.geomspace(LEAST_G_PER_L, MOST_G_PER_L, SCAN_POINTS - 1)]
        )

    def dosed(self, rate: float) -> Mix:
        """The mix with the agent at a rate [g/L]."""
        return dosed_with(self.mix, self.reagent, self.place, rate)

    def ph(self, rate: float) -> Floats:
        """(N,) pH at once, at a rate [g/L]; NaN where no equilibrium was found."""
        state = self.study.fresh(self.dosed(rate))
        return np.where(state.converged, state.ph, np.nan)

    def curve(self, rates: Floats) -> Floats:
        """(D,) median pH of a few draws at (D,) rates [g/L]."""
        return np.array([quantile(row, 0.5) for row in self._rows(rates)])

    def ranges(self, rates: Floats) -> list[Range | None]:
        """Range of the pH over all draws at each of (D,) rates [g/L], None where none is found."""
        rows = self._rows(rates, self.study)
        return [range_of(row) if np.isfinite(row).any() else None for row in rows]

    def _rows(self, rates: Floats, study: Study | None = None) -> Floats:
        """(D, N) pH at (D,) rates [g/L], of a few draws or of those of a Study."""
        study = self._some if study is None else study
        tanks = [study.stand(self.dosed(float(r))) for r in rates]
        state = stack(tanks).speciated()
        return np.where(state.converged, state.ph, np.nan).reshape(len(rates), -1)

    @cached_property
    def scanned(self) -> Floats:
        """pH at each of `rates`."""
        return self.curve(self.rates)

    @property
    def direction(self) -> float:
        """-1 where the agent lowers the pH, 1 where it raises it, 0 where no pH is found."""
        good = self.scanned[np.isfinite(self.scanned)]
        return float(np.sign(good[-1] - good[0])) if len(good) > 1 else 0.0

    @property
    def density_kg_per_L(self) -> float:
        """Of the agent."""
        return float(self._middle.contents(self.reagent.product).density_kg_per_L[0])

    def dose(self, rate: float) -> float:
        """g of the agent per litre of finished spray at a rate per litre of spray volume.

        They differ where the water is filled first and the products come on top, or where part of
        the tank is left of an earlier one.
        """
        if self.mix.fill != "water first" or rate == 0.0:
            return rate * self.mix.fresh_share
        moles = self._middle.stand(self.dosed(rate)).finished.from_product[self.place, 0].sum()
        agent = self._middle.contents(self.reagent.product)
        return float(1000.0 * moles / agent.mol_per_kg[0].sum())

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

    def slope(self, rate: float, step: float) -> float:
        """Median pH per g/L of dose around a rate, over a step [g/L] each way (up only from 0)."""
        low, high = max(rate - step, 0.0), rate + step
        ph = self._rows(np.array([low, high]))
        return quantile(ph[1] - ph[0], 0.5) / (self.dose(high) - self.dose(low))

    def find(self, level: float, target: float) -> float | None:
        """Rate [g/L] at which a quantile of the pH over the draws meets a target.

        None where the largest sane dose doesn't reach it, or no pH can be found.
        """
        (found,) = search(self.study, [_DoseTo(self, level, target)], few=self.study.count)
        return None if found is None else found.value


class _DoseTo:
    """The lever of a dose: its tanks do once a quantile of their pH has passed the target.

    The quantile runs along the middle curve at an offset that changes slowly: the first steps take
    the curve's rate for the target less the last offset. What that leaves is closed in by false
    position with halved ends (Illinois: Dowell and Jarratt, BIT 11 (1971) 168).
    """

    until = "fresh"
    start = 0.0
    halvings = MOST_SOLVES

    def __init__(self, titration: Titration, level: float, target: float) -> None:
        self.titration, self.level, self.target = titration, level, target
        self.side = titration.direction
        first = titration.rate_at(target)
        ends = (first, MOST_G_PER_L) if first and first < MOST_G_PER_L else (MOST_G_PER_L,)
        self.grid: Sequence[float] = ends
        self._off = {0.0: self._past(titration.ph(0.0))}
        self._last = 0.0
        self._steps = 0
        self._ends: tuple[float, float] | None = None
        self._weights = [1.0, 1.0]

    def _past(self, ph: Floats) -> float:
        """How far past the target (negative: short of it); NaN where no pH is found."""
        return self.side * (quantile(ph, self.level) - self.target)

    def tanks(self, value: float) -> Sequence[Mix]:
        """The mix with so much of the agent."""
        return [self.titration.dosed(value)]

    def accepts(self, followed: Sequence[Followed]) -> tuple[Rule, ...]:
        """Nothing once the quantile has passed the target."""
        clear = followed[0].fresh.clear
        rate = followed[0].ready.mix.additions[self.titration.place].rate.value
        off = self._past(np.where(clear.converged, clear.ph, np.nan))
        self._off[rate], self._last = off, rate
        return () if off >= 0.0 else (Rule("misses_ph"),)

    def between(self, near: float, far: float) -> float | None:
        """The next rate, aimed just past the target; None once that is near enough."""
        short, past = self._off[near], self._off[far]
        if past <= TOLERANCE_PH or not far - near > 1e-9 * far or not np.isfinite(short):
            return None
        if self._ends is not None:  # the end that stays for the second time counts half
            self._weights = [
                0.5 * self._weights[0] if self._ends[0] == near else 1.0,
                0.5 * self._weights[1] if self._ends[1] == far else 1.0,
            ]
        self._ends = (near, far)
        self._steps += 1
        aim = 0.5 * TOLERANCE_PH
        step: float | None = None
        if self._steps <= CURVE_STEPS:
            newest = self._last if self._last in (near, far) else far
            moved = self.titration.at(newest) - self.side * (self._off[newest] - aim)
            step = self.titration.rate_at(moved)
        if step is None or not near < step < far:
            low, high = self._weights[0] * (short - aim), self._weights[1] * (past - aim)
            step = near - (far - near) * low / (high - low)
        return step if near < step < far else 0.5 * (near + far)

    def outward(self, value: float, nudge: int) -> float | None:
        """The very value."""
        return value if nudge == 0 else None
