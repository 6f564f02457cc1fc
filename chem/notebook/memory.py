"""The memory: what looks taught of the jugs and pairs of jugs, as one shift in log odds per mix.

Ordinal cumulative logit (clear, haze, curdle) at the time of the look; the shift of a mix is the
sum of what its jugs and its pairs bring, no intercept, so that strangers are left alone. Laplace in
the space of mixes (Rasmussen and Williams, Gaussian Processes for Machine Learning (2006),
algorithm 3.1), averaged over spreads by how well each foretells a look left out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from chem.doubts import doubts
from chem.doubts.spread import blurred
from chem.equilibrium import one_thread
from chem.equilibrium.activity import Floats
from chem.notebook.facts import Facts
from chem.reference import judged

Integers = NDArray[np.int64]
SPREADS = tuple(zip(judged("memory_jug").values(), judged("memory_pair").values(), strict=True))
"""Spread of a jug's and of a pair's effect, in log odds."""
STEPS, CLOSE = 40, 1e-6
FAR = 12.0
"""No shift beyond this: a chance of one in 160,000."""


@dataclass(frozen=True)
class Seen:
    """One look: jugs' names, how likely it is of a tank clear, hazy, curdled, raw log odds that
    solids show and block; worth: 1, less for another shed's."""

    jugs: tuple[str, ...]
    likely: tuple[float, float, float]
    shows: float
    blocks: float
    worth: float


def seen_of(facts: Sequence[Facts], credit: Mapping[str, float]) -> list[Seen]:
    """Every look of some entries. credit: how far an entry is believed by its reading."""
    return [
        Seen(
            tuple(j.identity for j in fact.jugs),
            look.likely,
            look.shows,
            look.blocks,
            credit.get(fact.entry, 1.0)
            * (1.0 if fact.ours else judged("learning")["others_look"])
            * (judged("learning")["of_sprayed"] if look.only_through else 1.0),
        )
        for fact in facts
        for look in fact.looks
    ]


def _pairs(jugs: Sequence[str]) -> set[tuple[str, str]]:
    return set(combinations(sorted(set(jugs)), 2))


def alike(ones: Sequence[Sequence[str]], others: Sequence[Sequence[str]]) -> tuple[Floats, Floats]:
    """(A, B) jugs and pairs that two mixes have in common."""
    jugs = [[len(set(a) & set(b)) for b in others] for a in ones]
    of_one, of_other = [_pairs(a) for a in ones], [_pairs(b) for b in others]
    pairs = [[len(a & b) for b in of_other] for a in of_one]
    shape = len(ones), len(others)
    return (
        np.array(jugs, dtype=np.float64).reshape(shape),
        np.array(pairs, dtype=np.float64).reshape(shape),
    )


def _log_likelihood(f: Floats, seen: Sequence[Seen], blur: float) -> tuple[Floats, Floats, Floats]:
    """(n,) log likelihood of shifts f, its slope and its curvature (never above zero)."""
    shows = np.array([s.shows for s in seen]) + f
    blocks = np.array([min(s.blocks, s.shows) for s in seen]) + f
    likely = np.array([s.likely for s in seen])
    worth = np.array([s.worth for s in seen])
    a, b = _sigmoid(shows / blur), _sigmoid(blocks / blur)
    p = likely[:, 0] * (1.0 - a) + likely[:, 1] * (a - b) + likely[:, 2] * b
    da, db = a * (1.0 - a) / blur, b * (1.0 - b) / blur
    dda, ddb = da * (1.0 - 2.0 * a) / blur, db * (1.0 - 2.0 * b) / blur
    on_a, on_b = likely[:, 1] - likely[:, 0], likely[:, 2] - likely[:, 1]
    slope = (on_a * da + on_b * db) / p
    curve = (on_a * dda + on_b * ddb) / p - slope**2
    return worth * np.log(p), worth * slope, np.minimum(worth * curve, -1e-9)


def _sigmoid(x: Floats) -> Floats:
    return np.asarray(0.5 * (1.0 + np.tanh(0.5 * x)))


@dataclass(frozen=True)
class _Fit:
    """Of one pair of spreads: (U,) K^-1 of the shifts, and the score of all looks left out."""

    spreads: tuple[float, float]
    alpha: Floats
    score: float


def _fit(
    kernel: Floats, places: Integers, seen: Sequence[Seen], blur: float,
    spreads: tuple[float, float],
) -> _Fit:  # fmt: skip
    """kernel: (U, U) of the different mixes; places: (n,) which of them each look is of."""
    count = len(kernel)
    f, alpha = np.zeros(count), np.zeros(count)

    def summed(values: Floats) -> Floats:
        return np.asarray(np.bincount(places, values, minlength=count), dtype=np.float64)

    if not kernel.any():
        told = _log_likelihood(f[places], seen, blur)[0]
        return _Fit(spreads, alpha, float(told.sum()))
    best = -np.inf
    for _ in range(STEPS):
        told, slope, curve = _log_likelihood(f[places], seen, blur)
        now = float(told.sum() - 0.5 * alpha @ f)
        if now < best + CLOSE:
            break
        best = now
        w = summed(-curve)
        root = np.sqrt(w)
        b = w * f + summed(slope)
        step = b - root * np.linalg.solve(_inner(kernel, root), root * (kernel @ b))
        # Half a step where a whole one makes it worse.
        for size in (1.0, 0.5, 0.25, 0.1):
            tried = alpha + size * (step - alpha)
            moved = kernel @ tried
            value = float(_log_likelihood(moved[places], seen, blur)[0].sum() - 0.5 * tried @ moved)
            if value > now:
                alpha, f = tried, moved
                break
        else:
            break
    _, slope, curve = _log_likelihood(f[places], seen, blur)
    root = np.sqrt(summed(-curve))
    half = np.linalg.solve(_inner(kernel, root), root[:, None] * kernel)
    variance = np.diag(kernel) - np.einsum("ij,ij->j", root[:, None] * kernel, half)
    variance = np.maximum(variance, 1e-12)[places]
    # Each look left out: its own slope and curvature taken back.
    without = 1.0 / np.maximum(1.0 / variance + curve, 1e-9)
    score = _log_likelihood(f[places] - without * slope, seen, blur)[0].sum()
    return _Fit(spreads, alpha, float(score))


def _inner(kernel: Floats, root: Floats) -> Floats:
    return np.asarray(np.eye(len(kernel)) + root[:, None] * kernel * root)


class Memory:
    """Shift in log odds of a mix, by what was seen of its jugs and pairs."""

    def __init__(self, facts: Sequence[Facts], credit: Mapping[str, float] | None = None) -> None:
        """credit: how far an entry is believed, where it has a reading."""
        self.seen = seen_of(facts, credit or {})
        self.blur = blurred(doubts()["unknown_odds"].b)
        self.known = {jug for s in self.seen for jug in s.jugs}
        self.fits: list[_Fit] = []
        self.mixes: list[tuple[str, ...]] = []
        if not self.seen:
            return
        self.mixes = list(dict.fromkeys(tuple(sorted(set(s.jugs))) for s in self.seen))
        place = {mix: n for n, mix in enumerate(self.mixes)}
        places = np.array([place[tuple(sorted(set(s.jugs)))] for s in self.seen])
        jugs, pairs = alike(self.mixes, self.mixes)
        with one_thread():
            self.fits = [
                _fit(a**2 * jugs + b**2 * pairs, places, self.seen, self.blur, (a, b))
                for a, b in SPREADS
            ]

    @property
    def weights(self) -> Floats:
        """Of the spreads, by the score of entries left out."""
        score = np.array([fit.score for fit in self.fits])
        each = np.exp(score - score.max())
        return np.asarray(each / each.sum())

    def shift(self, jugs: Sequence[str]) -> float:
        """In log odds, of a mix of these jugs; 0 where none was seen."""
        if not self.fits or not self.known & set(jugs):
            return 0.0
        of_jugs, of_pairs = alike([jugs], self.mixes)
        total = 0.0
        for weight, fit in zip(self.weights, self.fits, strict=True):
            a, b = fit.spreads
            total += float(weight * ((a**2 * of_jugs + b**2 * of_pairs) @ fit.alpha)[0])
        return float(np.clip(total, -FAR, FAR))
