"""Draws: one row per version of the tank, one column per named doubt.

A column is made when it is first asked for, from the seed and its own name alone, so that it does
not depend on which other doubts a mix has. Columns are stratified (Latin hypercube: McKay,
Beckman and Conover, Technometrics 21 (1979) 239), which steadies quantiles of few draws.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from functools import cache
from numbers import Integral
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from chem.doubts.table import doubts

Floats = NDArray[np.float64]


@cache
def _normal_levels(count: int) -> Floats:
    """(count,) standard normal quantiles of equal-probability strata (midpoints)."""
    unit = NormalDist()
    return np.array([unit.inv_cdf((i + 0.5) / count) for i in range(count)])


class Draws:
    """N rows, named columns, one weight per row (all equal until something was seen)."""

    def __init__(self, count: int = 256, seed: int = 1) -> None:
        """count: rows, at least 1; seed: not negative. Raises: ValueError."""
        for given in (count, seed):
            if isinstance(given, bool) or not isinstance(given, Integral):
                raise ValueError(f"count and seed are whole numbers, not {given!r}")
        if count < 1 or seed < 0:
            raise ValueError("draws needs a count of 1 or more and a seed of 0 or more")
        self.count = count
        self.seed = seed
        self.weights: Floats = np.full(count, 1.0 / count)
        self._columns: dict[str, Floats] = {}

    @property
    def columns(self) -> Mapping[str, Floats]:
        """Every doubt asked for so far, (N,) each."""
        return dict(self._columns)

    def _order(self, name: str) -> NDArray[np.int64]:
        return self.generator(name).permutation(self.count)

    def _keep(self, name: str, values: Floats) -> Floats:
        values.setflags(write=False)
        return self._columns.setdefault(name, values)

    def normal(self, name: str, mean: float = 0.0, sd: float = 1.0) -> Floats:
        """(N,) of a normal distribution; sd 0 gives the mean and names no doubt."""
        if sd == 0.0:
            return np.full(self.count, mean)
        if name in self._columns:
            return self._columns[name]
        return self._keep(name, mean + sd * _normal_levels(self.count)[self._order(name)])

    def factor(self, name: str, relative_sd: float) -> Floats:
        """(N,) of a lognormal factor with median 1 and sd of ln equal to relative_sd."""
        if relative_sd == 0.0:
            return np.ones(self.count)
        if name in self._columns:
            return self._columns[name]
        levels = _normal_levels(self.count)[self._order(name)]
        return self._keep(name, np.exp(relative_sd * levels))

    def uniform(self, name: str, low: float, high: float) -> Floats:
        """(N,) evenly between low and high; equal ends name no doubt."""
        if low == high:
            return np.full(self.count, low)
        if name in self._columns:
            return self._columns[name]
        levels = (self._order(name) + 0.5) / self.count
        return self._keep(name, low + (high - low) * levels)

    def of(self, key: str, name: str) -> Floats:
        """(N,) of a doubt of `doubts.csv`, as the column `name`. Raises: KeyError."""
        doubt = doubts()[key]
        if doubt.distribution == "uniform":
            return self.uniform(name, doubt.a, doubt.b)
        if doubt.distribution == "normal":
            return self.normal(name, doubt.a, doubt.b)
        if doubt.distribution == "factor":
            return self.factor(name, doubt.a)
        raise KeyError(f"{key} is no distribution of one column")

    def generator(self, name: str) -> np.random.Generator:
        """A generator of its own for a doubt that no single column can hold."""
        return np.random.default_rng((self.seed, zlib.crc32(name.encode())))

    def record(self, name: str, values: Floats) -> Floats:
        """Keep (N,) values made elsewhere as a named doubt, if they vary at all."""
        if self.count > 1 and float(np.ptp(values)) > 1e-12 * float(np.abs(values).max()):
            return self._keep(name, np.array(values, dtype=np.float64))
        return values

    def quantile(self, values: Floats, levels: tuple[float, ...]) -> Floats:
        """Weighted quantiles of a result (N,); rows that are NaN are left out."""
        good = np.isfinite(values)
        if not good.any():
            return np.full(len(levels), np.nan)
        order = np.argsort(values[good])
        sorted_values = values[good][order]
        weights = self.weights[good][order]
        position = (np.cumsum(weights) - 0.5 * weights) / weights.sum()
        return np.interp(levels, position, sorted_values)

    def chance(self, happens: NDArray[np.bool_], counted: NDArray[np.bool_] | None = None) -> float:
        """Weighted share of rows in which something happens, among the rows counted."""
        weights = self.weights if counted is None else self.weights * counted
        total = float(weights.sum())
        return float((weights * happens).sum()) / total if total > 0.0 else float("nan")
