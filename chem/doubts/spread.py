"""The one place where a median, a range or a chance is taken over the draws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
ENDS = (0.05, 0.5, 0.95)


@dataclass(frozen=True)
class Range:
    """Median with the 5 and 95 % quantiles over the draws."""

    median: float
    p05: float
    p95: float

    def as_dict(self) -> dict[str, float]:
        """For JSON."""
        return {"median": self.median, "p05": self.p05, "p95": self.p95}


def quantiles(values: ArrayLike, levels: Sequence[float]) -> Floats:
    """Quantiles of a result (N,) at levels (L,), row i standing at (i + 0.5) / N.

    Rows that are not finite are left out; NaN where none is left. Hazen's positions: Hyndman and
    Fan, American Statistician 50 (1996) 361, definition 5.
    """
    given = np.asarray(values, dtype=np.float64)
    good = np.sort(given[np.isfinite(given)])
    if not good.size:
        return np.full(len(levels), np.nan)
    return np.asarray(np.interp(levels, (np.arange(good.size) + 0.5) / good.size, good))


def quantile(values: ArrayLike, level: float) -> float:
    """One quantile of a result (N,)."""
    return float(quantiles(values, (level,))[0])


def median(values: ArrayLike) -> float:
    """Of a result (N,), as `quantiles`."""
    return quantile(values, 0.5)


def range_of(values: ArrayLike, stretch: float = 1.0) -> Range:
    """Median and 5 and 95 % quantiles of a result (N,), the ends moved out by a stretch."""
    low, middle, high = quantiles(stretched(values, stretch), ENDS)
    return Range(float(middle), float(low), float(high))


def stretched(values: ArrayLike, stretch: float) -> Floats:
    """A result (N,) spread about its median by a factor of 1 or more; 1 changes nothing."""
    given = np.asarray(values, dtype=np.float64)
    if stretch <= 1.0:
        return given
    middle = median(given)
    return np.asarray(middle + stretch * (given - middle))


def chance(
    happens: Bools,
    counted: Bools | None = None,
    *,
    weights: Floats | None = None,
    shift: float = 0.0,
    unknown: float = 0.0,
) -> float:
    """Share of the rows (N,) in which something happens, among the rows counted.

    weights: (N,) how much each counts; shift: in log odds, of what is remembered of these jugs;
    unknown: standard deviation in log odds of what no row can know; a chance so moved is first
    held within 1 / (2 N) of 0 and 1. NaN where no row counts.
    """
    each = np.ones(len(happens)) if weights is None else weights
    if counted is not None:
        each = each * counted
    total = float(each.sum())
    if not total > 0.0:
        return float("nan")
    share = float((each * happens).sum()) / total
    if shift == 0.0 and unknown == 0.0:
        return share
    edge = 0.5 / len(happens)
    held = min(max(share, edge), 1.0 - edge)
    odds = np.log(held / (1.0 - held)) + shift
    return float(1.0 / (1.0 + np.exp(-odds / blurred(unknown))))


def blurred(unknown: float) -> float:
    """By what log odds are divided when a normal spread of theirs is averaged over.

    MacKay, Neural Computation 4 (1992) 720: E[1 / (1 + exp(-a))] of a normal a is that of
    a / sqrt(1 + pi variance / 8).
    """
    return float(np.sqrt(1.0 + np.pi * unknown**2 / 8.0))
