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
from chem.notebook.facts import HALF_90, Facts, Jug, Spread, reach_of, shares_of, spread_of
from chem.reference import judged

# The grid: t times a jug's reach is the spread of its offset; c scales the labels' own spread; s0
# is the variance of what neither explains.
GRID = np.array(
    list(product(*(judged(f"learned_{of}").values() for of in ("offset", "spread", "error"))))
)
_SAID = judged("learning")
OF_JUGS, OF_ERROR = _SAID["of_jugs"], _SAID["of_error"]
BROTHERS = _SAID["brothers"]
OF_A_POINT, PER_PH = _SAID["of_a_point"], _SAID["per_ph"]
"""Readings of one jar or tank, as the rungs of a ladder are, share what the labels don't know of
it, but for a part of what neither explains, and some of the labels' spread per unit of pH that was
dosed."""
FAR, BELIEVED = _SAID["far"], _SAID["believed"]
WRONG, WRONG_SD = _SAID["wrong"], _SAID["wrong_sd"]
DOUBTED, TRUSTED = _SAID["doubted"], _SAID["trusted"]
"""Where a line is right by less than the one chance, by all the others, it counts for nothing; by
more than the other, wholly; between them in part. Half-believed ones are asked about."""
CALM, MOST_Z2, STAYS = _SAID["calm"], _SAID["most_z2"], _SAID["stays"]
PASSES, LEAST_CREDIT, SETTLED = 4, 0.02, 0.05
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
    """How the labels' draws of a pH are moved, but for those that stay: by `mean`, shrunk about
    their median by `shrunk`, and what is missing to the variance added, `sd` wide with the tails of
    Student's t."""

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
        stays = ready.draws.uniform("learned:stays", 0.0, 1.0) < STAYS
        tail = student_4(ready.draws.uniform("learned:ph", 0.0, 1.0)) * self.sd / np.sqrt(2.0)
        off = np.nan_to_num(clear.ph - middle)
        return np.asarray(np.where(stays, 0.0, self.mean + (self.shrunk - 1.0) * off + tail))


@dataclass(frozen=True)
class _Line:
    """The k readings of one entry: what they are off the labels' medians (k,), how they go with the
    jugs (k, 2 n), their noise (K, k, k) by setting; value: of the first."""

    entry: str
    value: float
    off: Floats
    way: Floats
    noise: Floats


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
        told = [f for f in facts if f.ph]
        for fact in told:
            for jug in fact.jugs:
                self._join(jug)
        n = len(self._names)
        same = np.array([[a == b for b in self._names] for a in self._names], dtype=float)
        self._alike = same.reshape(n, n) * (BROTHERS + (1.0 - BROTHERS) * np.eye(n))
        lines = [self._line(fact) for fact in told]
        self._start()
        credit = np.ones(len(lines))
        found = np.zeros((len(lines), 3))
        for turn in range(PASSES if lines else 0):
            self._start()
            for line, share in zip(lines, credit, strict=True):
                self._take(line, share, guarded=turn == 0)
            for k in {len(x.off) for x in lines}:
                some = [i for i, x in enumerate(lines) if len(x.off) == k]
                found[some] = self._left_out([lines[i] for i in some], credit[some])
            before, credit = credit, found[:, 0].copy()
            if np.abs(credit - before).max() < SETTLED and not (turn == 0 and self._clipped):
                break
        self.credit = {x.entry: float(c) for x, c in zip(lines, credit, strict=True)}
        """Entry -> how far its reading is believed, by all the others."""
        self.asked = [
            Asked(x.entry, x.value, x.value - off, sd)
            for x, (c, off, sd) in zip(lines, found.tolist(), strict=True)
            if c < 0.5
        ]

    def _start(self) -> None:
        n, k = len(self._names), len(GRID)
        reach = np.array(self._reach)
        self.mean = np.zeros((k, 2 * n))
        self.cov = np.zeros((k, 2 * n, 2 * n))
        self.cov[:, :n, :n] = GRID[:, 0, None, None] ** 2 * self._alike * np.outer(reach, reach)
        self.cov[:, n:, n:] = OF_JUGS * GRID[:, 1, None, None] * self._alike
        self.log_weight = np.zeros(k)
        self._clipped = False
        self.inside: list[bool] = []
        self._z2: list[tuple[float, float]] = []

    def _line(self, fact: Facts) -> _Line:
        """All readings of an entry, together."""
        places = [self.members[j.name, j.lot, j.identity] for j in fact.jugs]
        off = np.array([p.value - p.median for p in fact.ph])
        side = np.array([p.spread.side(x > 0.0) for p, x in zip(fact.ph, off, strict=True)])
        first = fact.spread.side(bool(off[0] > 0.0))
        # A tank that is better buffered is moved less by what no label names.
        way = np.outer(side / first, self._way(places, fact.shares, first))
        moved = np.array([p.moved for p in fact.ph])
        read = np.diag([p.variance for p in fact.ph] + (PER_PH * moved * side) ** 2)
        of_point = (1.0 - OF_A_POINT) + OF_A_POINT * np.eye(len(off))
        noise = (
            OF_ERROR * GRID[:, 1, None, None] * np.outer(side, side)
            + GRID[:, 2, None, None] * of_point
            + read
        )
        return _Line(fact.entry, fact.ph[0].value, off, way, noise)

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
        total = sum(c * min(z, MOST_Z2) for z, c in self._z2)
        count = sum(c for _, c in self._z2)
        return float(np.sqrt(max(1.0, (CALM + total) / (CALM + count))))

    def _way(self, places: Sequence[int | None], shares: Sequence[float], side: float) -> Floats:
        """(2 n,) how a tank's pH goes with the jugs' offsets and their shares of the spread."""
        n = len(self._names)
        way = np.zeros(2 * n)
        for place, share in zip(places, shares, strict=True):
            if place is not None:
                way[place] += np.sqrt(share)
                way[n + place] += np.sqrt(share) * side
        return way

    def _ahead(self, way: Floats, side: float) -> tuple[Floats, Floats]:
        """(K,) mean and variance of a tank's pH, less the labels' median."""
        mean = self.mean @ way
        moved = self.cov @ way
        return mean, moved @ way + OF_ERROR * GRID[:, 1] * side**2 + GRID[:, 2]

    def _take(self, line: _Line, credit: float, *, guarded: bool) -> None:
        """One exact step for all readings of an entry, believed as far as its credit goes."""
        mean = self.mean @ line.way.T  # (K, k)
        gone = self.cov @ line.way.T  # (K, 2 n, k)
        alone = line.way @ gone
        off = line.off
        weights = self.weights
        expected = weights @ mean
        variance = np.einsum("kii->ki", alone + line.noise)
        sd = np.sqrt(weights @ (variance + (mean - expected) ** 2))
        z = (off - expected) / sd
        # Rungs that are off together are off once.
        apart = (mean - expected)[:, :, None]
        whole = np.einsum("k,kij->ij", weights, alone + line.noise + apart @ apart.swapaxes(1, 2))
        by_all = float((off - expected) @ np.linalg.solve(whole, off - expected)) / len(off)
        self._z2.append((by_all, credit))
        self.inside += [bool(abs(x) <= HALF_90) for x in z]
        if guarded:
            self._clipped |= bool((np.abs(z) > FAR).any())
            off = np.where(np.abs(z) > FAR, expected + np.sign(z) * BELIEVED * sd, off)
        around = alone + line.noise / credit
        apart = off - mean
        self.log_weight += credit * _log_t(apart, around)
        gain = gone @ np.linalg.inv(around)
        self.mean += np.einsum("kij,kj->ki", gain, apart)
        self.cov -= gain @ gone.transpose(0, 2, 1)

    def _left_out(self, lines: Sequence[_Line], credit: Floats) -> Floats:
        """(L, 3) entries of k readings each, by all the others: how far each is believed, by how
        much its first reading is off, and the standard deviation of that."""
        way = np.array([x.way for x in lines])[:, None]  # (L, 1, k, 2 n)
        noise = np.array([x.noise for x in lines])  # (L, K, k, k)
        off = np.array([x.off for x in lines])[:, None]
        mean = (way @ self.mean[:, :, None])[..., 0]
        alone = way @ self.cov @ way.transpose(0, 1, 3, 2)
        used = noise / credit[:, None, None, None]
        # Its own step taken back: residuals and their covariance as if it had not been taken.
        back = used @ np.linalg.inv(used - alone)
        apart = np.einsum("...ij,...j->...i", back, off - mean)
        around = back @ used - used + noise
        right = _mixed_log(self.weights, _log_t(apart, around))
        wrong = _mixed_log(self.weights, _log_t(apart, around + WRONG_SD**2))
        told = 1.0 / (1.0 + WRONG / (1.0 - WRONG) * np.exp(np.clip(wrong - right, -50.0, 50.0)))
        told = np.clip((told - DOUBTED) / (TRUSTED - DOUBTED), LEAST_CREDIT, 1.0)
        middle = apart[..., 0] @ self.weights
        spread = (around[..., 0, 0] + (apart[..., 0] - middle[:, None]) ** 2) @ self.weights
        return np.array([told, middle, np.sqrt(spread)]).T

    # --- for a tank to come --------------------------------------------------------------------

    def knows(self, jugs: Sequence[str]) -> bool:
        """Whether a reading told of any of these jugs."""
        return any(jug in self.identities for jug in jugs)

    def ahead(
        self, identities: Sequence[str], reaches: Sequence[float], shares: Sequence[float],
        spread: Spread,
    ) -> tuple[float, float, float, float]:  # fmt: skip
        """Of a tank's pH less the labels' median: mean, variance, the part of the variance that is
        still the labels' own spread, and the side of that spread to which the mean went."""
        places = [self._place(i) for i in identities]
        n = len(self._names)
        only = self._way(places, shares, 1.0)
        only[:n] = 0.0
        side = spread.side(float(self.weights @ (self.mean @ only)) > 0.0)
        way = self._way(places, shares, side)
        mean, variance = self._ahead(way, side)
        own = side**2 * ((self.cov @ only) @ only + OF_ERROR * GRID[:, 1])
        for place, share, reach in zip(places, shares, reaches, strict=True):
            if place is None:  # nobody read a tank with this jug: as it is before any reading
                label = OF_JUGS * GRID[:, 1] * share * side**2
                variance = variance + label + (GRID[:, 0] * reach) ** 2 * share
                own = own + label
        weights = self.weights
        middle = float(weights @ mean)
        total = float(weights @ (variance + (mean - middle) ** 2))
        return middle, total * self.stretch**2, min(float(weights @ own), total), side

    def _place(self, identity: str) -> int | None:
        among = self.identities.get(identity)
        if among is None:
            return None
        lot = self.latest.get(identity)
        of_lot = [p for (_, at, i), p in self.members.items() if i == identity and at == lot]
        return of_lot[-1] if of_lot else among[-1]

    def move(
        self, identities: Sequence[str], reaches: Sequence[float], shares: Sequence[float],
        spread: Spread,
    ) -> Move:  # fmt: skip
        """By how much the draws of a tank's pH are moved, of jugs in the order poured."""
        mean, total, own, side = self.ahead(identities, reaches, shares, spread)
        shrunk = min(1.0, float(np.sqrt(own)) / side)
        return Move(mean, shrunk, float(np.sqrt(max(total - shrunk**2 * spread.variance, 0.0))))

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


def _log_t(apart: Floats, around: Floats) -> Floats:
    """(...) ln density of Student's t with 4 degrees of freedom at apart (..., k), of covariance
    around (..., k, k)."""
    k = apart.shape[-1]
    scale = 0.5 * around
    square = np.einsum("...i,...ij,...j->...", apart, np.linalg.inv(scale), apart)
    return np.asarray(
        lgamma((DEGREES + k) / 2.0)
        - lgamma(DEGREES / 2.0)
        - 0.5 * k * log(DEGREES * pi)
        - 0.5 * np.linalg.slogdet(scale)[1]
        - 0.5 * (DEGREES + k) * np.log1p(square / DEGREES)
    )


def _mixed_log(weights: Floats, logs: Floats) -> Floats:
    """(...) ln of the mean of exp(logs) (..., K) by weights (K,)."""
    most = logs.max(axis=-1)
    return np.asarray(most + np.log(np.exp(logs - most[..., None]) @ weights))
