"""The pH layer: what readings taught of the jugs, as exact Kalman steps at a grid of settings.

reading - median of the labels = jugs' own offsets + their shares of the labels' spread + error.
Settings are averaged by how likely they make the readings (Student t, 4 degrees of freedom), so
that a label's narrow range never binds what was read.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import product
from math import lgamma, log, pi

import numpy as np

from chem.equilibrium import Equilibrium
from chem.equilibrium.activity import Floats
from chem.forecast.prepare import Prepared
from chem.label import Product
from chem.notebook.facts import Facts, Jug, PhFact, reach_of, shares_of, spread_of

# The grid: t times a jug's reach is the spread of its offset; c scales the labels' own spread; s0
# is the variance of what neither explains. What follows is from a trial on simulated sheds.
OFFSETS, SPREADS, ERRORS = (0.15, 0.4, 0.8, 1.4), (0.15, 0.5, 1.0), (0.02, 0.1, 0.3)
GRID = np.array(list(product(OFFSETS, SPREADS, ERRORS)))
OF_JUGS, OF_ERROR = 0.7, 0.3
"""Parts of the labels' variance that stay with the jugs, and that come anew with each tank."""
BROTHERS = 0.75
"""Correlation of the offsets of two lots, or two editions of a label, of one product."""
FAR, BELIEVED = 3.0, 2.0
"""A reading beyond so many standard deviations is asked about, and believed to so many."""
CALM = 4.0
"""So many readings' worth of belief that the ranges are right."""
MOST_Z2 = 9.0
DEGREES = 4.0


@dataclass(frozen=True)
class Asked:
    """A reading far from all that was expected: entry, value, what was expected and its spread."""

    entry: str
    value: float
    expected: float
    sd: float


@dataclass(frozen=True)
class Move:
    """How the labels' draws of a pH are moved: by `mean`, shrunk about their median by `shrunk`,
    and what is missing to the variance added, `sd` wide with the tails of Student's t."""

    mean: float
    shrunk: float
    sd: float

    def __bool__(self) -> bool:
        return self != Move(0.0, 1.0, 0.0)

    def rounded(self) -> Move:
        """To tenths, so that one more entry moves few of the tanks of others."""
        return Move(*(round(10.0 * x) / 10.0 + 0.0 for x in (self.mean, self.shrunk, self.sd)))

    def of(self, ready: Prepared, clear: Equilibrium) -> Floats:
        """(N,) by how much each draw's pH is moved."""
        middle, _ = spread_of(clear.ph)
        tail = student_4(ready.draws.uniform("learned:ph", 0.0, 1.0)) * self.sd / np.sqrt(2.0)
        off = np.nan_to_num(clear.ph - middle)
        return np.asarray(self.mean + (self.shrunk - 1.0) * off + tail)


class Readings:
    """Beliefs about jugs from readings of tanks. Stands for `forecast.beliefs.Moves`."""

    def __init__(
        self, facts: Sequence[Facts], measured: Callable[[Product], Product] = lambda jug: jug
    ) -> None:
        """facts: of entries in the order kept; measured: a jug -> as it was measured."""
        self.members: dict[tuple[str, str | None, str], int] = {}
        self._reach: list[float] = []
        self._names: list[str] = []
        self.identities: dict[str, list[int]] = {}
        self.latest: dict[str, str | None] = {}
        self._measured = measured
        told = [(f, p) for f in facts for p in f.ph]
        for fact, _ in told:
            for jug in fact.jugs:
                self._join(jug)
        n, k = len(self._names), len(GRID)
        same = np.array([[a == b for b in self._names] for a in self._names], dtype=float)
        reach = np.array(self._reach)
        alike = same.reshape(n, n) * (BROTHERS + (1.0 - BROTHERS) * np.eye(n))
        offsets = alike * np.outer(reach, reach)
        self.mean = np.zeros((k, 2 * n))
        self.cov = np.zeros((k, 2 * n, 2 * n))
        self.cov[:, :n, :n] = GRID[:, 0, None, None] ** 2 * offsets
        self.cov[:, n:, n:] = OF_JUGS * GRID[:, 1, None, None] * alike
        self.log_weight = np.zeros(k)
        self.asked: list[Asked] = []
        self.inside: list[bool] = []
        self._z2: list[float] = []
        for fact, reading in told:
            self._take(fact, reading)

    def _join(self, jug: Jug) -> None:
        key = (jug.name, jug.lot, jug.identity)
        if key not in self.members:
            self.members[key] = len(self._names)
            self._names.append(jug.name)
            self._reach.append(jug.reach)
            self.identities.setdefault(jug.identity, []).append(self.members[key])
            self.latest[jug.identity] = jug.lot

    @property
    def weights(self) -> Floats:
        """(K,) of the settings."""
        each = np.exp(self.log_weight - self.log_weight.max())
        return np.asarray(each / each.sum())

    @property
    def stretch(self) -> float:
        """How much wider ranges are than reckoned, by how far readings fell from them."""
        total = sum(min(z, MOST_Z2) for z in self._z2)
        return float(np.sqrt(max(1.0, (CALM + total) / (CALM + len(self._z2)))))

    def _way(self, places: Sequence[int | None], shares: Sequence[float], spread: float) -> Floats:
        """(2 n,) how a tank's pH goes with the jugs' offsets and their shares of the spread."""
        n = len(self._names)
        way = np.zeros(2 * n)
        for place, share in zip(places, shares, strict=True):
            if place is not None:
                way[place] += np.sqrt(share)
                way[n + place] += np.sqrt(share * spread)
        return way

    def _ahead(self, way: Floats, spread: float) -> tuple[Floats, Floats]:
        """(K,) mean and variance of a tank's pH, less the labels' median."""
        mean = self.mean @ way
        moved = self.cov @ way
        return mean, moved @ way + OF_ERROR * GRID[:, 1] * spread + GRID[:, 2]

    def _take(self, fact: Facts, reading: PhFact) -> None:
        places = [self.members[j.name, j.lot, j.identity] for j in fact.jugs]
        way = self._way(places, reading.shares, reading.spread)
        mean, tank = self._ahead(way, reading.spread)
        variance = tank + reading.variance
        off = reading.value - reading.median
        weights = self.weights
        expected = float(weights @ mean)
        sd = float(np.sqrt(weights @ (variance + (mean - expected) ** 2)))
        z = (off - expected) / sd
        self._z2.append(z * z)
        self.inside.append(abs(z) <= 1.645)
        if abs(z) > FAR:
            self.asked.append(Asked(fact.entry, reading.value, reading.median + expected, sd))
            off = expected + float(np.sign(z)) * BELIEVED * sd
        apart = off - mean
        # Student t of 4 degrees of freedom and this variance.
        scale2 = 0.5 * variance
        self.log_weight += (
            lgamma((DEGREES + 1.0) / 2.0)
            - lgamma(DEGREES / 2.0)
            - 0.5 * log(DEGREES * pi)
            - 0.5 * np.log(scale2)
            - 0.5 * (DEGREES + 1.0) * np.log1p(apart**2 / (DEGREES * scale2))
        )
        gain = (self.cov @ way) / variance[:, None]
        self.mean += gain * apart[:, None]
        self.cov -= gain[:, :, None] * (self.cov @ way)[:, None, :]

    # --- for a tank to come --------------------------------------------------------------------

    def knows(self, jugs: Sequence[str]) -> bool:
        """Whether a reading told of any of these jugs."""
        return any(jug in self.identities for jug in jugs)

    def ahead(
        self, identities: Sequence[str], reaches: Sequence[float], shares: Sequence[float],
        spread: float,
    ) -> tuple[float, float, float]:  # fmt: skip
        """Of a tank's pH less the labels' median: mean, variance, and the part of the variance that
        is still the labels' own spread."""
        places = [self._place(i) for i in identities]
        way = self._way(places, shares, spread)
        mean, variance = self._ahead(way, spread)
        n = len(self._names)
        only = way.copy()
        only[:n] = 0.0
        own = (self.cov @ only) @ only + OF_ERROR * GRID[:, 1] * spread
        for place, share, reach in zip(places, shares, reaches, strict=True):
            if place is None:  # nobody read a tank with this jug: as it is before any reading
                label = OF_JUGS * GRID[:, 1] * share * spread
                variance = variance + label + (GRID[:, 0] * reach) ** 2 * share
                own = own + label
        weights = self.weights
        middle = float(weights @ mean)
        total = float(weights @ (variance + (mean - middle) ** 2))
        return middle, total * self.stretch**2, min(float(weights @ own), total)

    def _place(self, identity: str) -> int | None:
        among = self.identities.get(identity)
        if among is None:
            return None
        lot = self.latest.get(identity)
        of_lot = [p for (_, at, i), p in self.members.items() if i == identity and at == lot]
        return of_lot[-1] if of_lot else among[-1]

    def move(
        self, identities: Sequence[str], reaches: Sequence[float], shares: Sequence[float],
        spread: float,
    ) -> Move:  # fmt: skip
        """By how much the draws of a tank's pH are moved, of jugs in the order poured."""
        mean, total, own = self.ahead(identities, reaches, shares, spread)
        shrunk = min(1.0, float(np.sqrt(own / spread)))
        return Move(mean, shrunk, float(np.sqrt(max(total - shrunk**2 * spread, 0.0))))

    def move_of(self, fact: Facts) -> Move:
        """The same of an entry's tank just poured."""
        jugs = [j.identity for j in fact.jugs]
        if not self.knows(jugs):
            return Move(0.0, 1.0, 0.0)
        return self.move(jugs, [j.reach for j in fact.jugs], fact.shares, fact.spread)

    def shift(self, ready: Prepared, clear: Equilibrium) -> Floats:
        """(N,) by how much each draw's pH is moved."""
        jugs = [a.product.identity for a in ready.mix.additions]
        reaches = [reach_of(self._measured(a.product)) for a in ready.mix.additions]
        shares = list(shares_of(ready, clear))
        return self.move(jugs, reaches, shares, spread_of(clear.ph)[1]).of(ready, clear)


def student_4(level: Floats) -> Floats:
    """Quantiles of Student's t with 4 degrees of freedom, in closed form.

    Shaw, Journal of Computational Finance 9 (2006) 37, equation 37.
    """
    a = 4.0 * level * (1.0 - level)
    q = np.cos(np.arccos(np.sqrt(a)) / 3.0) / np.sqrt(a)
    return np.asarray(np.sign(level - 0.5) * 2.0 * np.sqrt(np.maximum(q - 1.0, 0.0)))
