"""Draws: one row per version of the tank, one column per named doubt.

A column is known by its scope (the jug as read, the water, or nothing), name, distribution and
parameters, so that an edited jug never finds the columns of the old one; its random order comes
from the seed and the name alone, so that a number does not depend on which other doubts a mix has.
Columns are stratified (Latin hypercube: McKay, Beckman and Conover, Technometrics 21 (1979) 239),
which steadies quantiles of few draws, and nested (Qian, Biometrika 96 (2009) 957): the first 16, 64
and 256 rows are stratified in themselves, so that few draws are the first rows of the many.
"""

from __future__ import annotations

import zlib
from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping
from functools import cache
from numbers import Integral
from statistics import NormalDist
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from chem.doubts.table import doubts

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Key = tuple[str, str, str, float, float]
"""Scope, name, distribution, and its two parameters."""
Shared = Mapping[str, Callable[[Floats], Floats]]
"""Name of a column that jugs share -> what is believed of it, from what the label leaves open."""
LAYERS = (16, 64, 256)
MOST_BYTES = 24 << 20
"""Of columns, and of tables, that are kept; what was dropped is made again, to the same digit."""


@cache
def _normal_levels(count: int) -> Floats:
    """(count,) standard normal quantiles of equal-probability strata (midpoints)."""
    unit = NormalDist()
    return np.array([unit.inv_cdf((i + 0.5) / count) for i in range(count)])


def nested_order(count: int, generator: np.random.Generator) -> Integers:
    """(count,) a random order of strata 0..count-1 whose first rows are spread evenly too.

    Of the first 16 (64, 256) rows, one lies in each sixteenth (64th, 256th) part of the whole.
    """
    strata = np.arange(count)
    taken: list[Integers] = []
    free = np.ones(count, dtype=bool)
    for size in (*(n for n in LAYERS if n < count), count):
        part = (2 * strata + 1) * size // (2 * count)
        empty = np.ones(size, dtype=bool)
        empty[part[~free]] = False
        shuffled = generator.permutation(np.flatnonzero(free & empty[part]))
        _, first = np.unique(part[shuffled], return_index=True)
        chosen = shuffled[np.sort(first)]
        free[chosen] = False
        taken.append(chosen)
    return np.concatenate(taken)


class _Columns:
    """Every column of one seed and number of rows, kept while there is room."""

    def __init__(self, count: int, seed: int, shared: Shared) -> None:
        self.count, self.seed, self.shared = count, seed, shared
        self._kept: OrderedDict[Key, Floats] = OrderedDict()
        self._tables: OrderedDict[Hashable, tuple[Floats, dict[str, Floats]]] = OrderedDict()
        self._bytes = 0

    def generator(self, name: str) -> np.random.Generator:
        return np.random.default_rng((self.seed, zlib.crc32(name.encode())))

    def get(self, key: Key) -> Floats:
        """(count,) the column; read-only."""
        column = self._kept.get(key)
        if column is None:
            column = self._made(*key[1:])
            if key[1] in self.shared:
                column = np.asarray(self.shared[key[1]](column), dtype=np.float64)
            column.setflags(write=False)
            self._kept[key] = column
            while len(self._kept) * column.nbytes > MOST_BYTES:
                self._kept.popitem(last=False)
        return column

    def table(
        self, key: Hashable, make: Callable[[], tuple[Floats, dict[str, Floats]]]
    ) -> tuple[Floats, dict[str, Floats]]:
        """A table (count, ...) and the columns it asked for; read-only."""
        found = self._tables.get(key)
        if found is not None:
            self._tables.move_to_end(key)
            return found
        found = make()
        found[0].setflags(write=False)
        self._tables[key] = found
        self._bytes += found[0].nbytes
        while self._bytes > MOST_BYTES and len(self._tables) > 1:
            _, (old, _) = self._tables.popitem(last=False)
            self._bytes -= old.nbytes
        return found

    def _made(self, name: str, distribution: str, a: float, b: float) -> Floats:
        order = nested_order(self.count, self.generator(name))
        if distribution == "uniform":
            return np.asarray(a + (b - a) * ((order + 0.5) / self.count))
        levels = _normal_levels(self.count)[order]
        if distribution == "normal":
            return np.asarray(a + b * levels)
        return np.asarray(np.exp(a * levels))


class Draws:
    """N rows and their columns, as asked for from one place.

    A view: `scope` names whose columns are asked for, `at` picks rows. What was asked for stands
    in `used`, so that a result knows the doubts that it rests on.
    """

    def __init__(self, count: int = 256, seed: int = 1, shared: Shared | None = None) -> None:
        """count: rows, at least 1; seed: not negative; shared: beliefs about columns by name.

        Raises: ValueError.
        """
        for given in (count, seed):
            if isinstance(given, bool) or not isinstance(given, Integral):
                raise ValueError(f"count and seed are whole numbers, not {given!r}")
        if count < 1 or seed < 0:
            raise ValueError("draws needs a count of 1 or more and a seed of 0 or more")
        self._columns = _Columns(count, seed, shared or {})
        self._scope = ""
        self._rows: Integers | None = None
        self._used: dict[str, Floats] = {}
        self.count = count
        self.seed = seed

    def _view(self, scope: str, rows: Integers | None, used: dict[str, Floats]) -> Draws:
        view = object.__new__(Draws)
        view._columns, view._scope, view._rows, view._used = self._columns, scope, rows, used
        view.count = self._columns.count if rows is None else len(rows)
        view.seed = self.seed
        return view

    def scoped(self, scope: str) -> Draws:
        """The same rows for a jug or water; what it uses is kept apart."""
        return self._view(scope, self._rows, {})

    def at(self, rows: Integers) -> Draws:
        """Some of these rows (R,), each as often as wanted; uses what this one uses."""
        picked = rows if self._rows is None else self._rows[rows]
        return self._view(self._scope, picked, self._used)

    def first(self, count: int) -> Draws:
        """The first rows; all where there are no more. Raises: ValueError below 1."""
        if count < 1:
            raise ValueError("draws needs a count of 1 or more")
        if count >= self.count:
            return self
        rows = np.arange(self._columns.count) if self._rows is None else self._rows
        return self._view(self._scope, rows[:count], {})

    def pick(self, values: Floats) -> Floats:
        """The rows of this view out of values (whole, ...), one row for each of the whole."""
        return values if self._rows is None else values[self._rows]

    def table(self, key: Hashable, make: Callable[[Draws], Floats]) -> Floats:
        """(N, ...) of what `make` gives of every row, kept with the columns that it asks for.

        key: all that it rests on beside the draws.
        """

        def made() -> tuple[Floats, dict[str, Floats]]:
            every = self._view(self._scope, None, {})
            return make(every), every._used

        values, used = self._columns.table((self._scope, key), made)
        self._used.update(used)
        return self.pick(values)

    @property
    def whole(self) -> Draws:
        """Every row, asked for in the same place."""
        return self if self._rows is None else self._view(self._scope, None, self._used)

    @property
    def used(self) -> Mapping[str, Floats]:
        """Name -> (N,) column of every doubt asked for here so far."""
        return MappingProxyType({name: self.pick(c) for name, c in self._used.items()})

    def _ask(self, name: str, distribution: str, a: float, b: float = 0.0) -> Floats:
        column = self._columns.get((self._scope, name, distribution, float(a), float(b)))
        self._used[name] = column
        return self.pick(column)

    def normal(self, name: str, mean: float = 0.0, sd: float = 1.0) -> Floats:
        """(N,) of a normal distribution; sd 0 gives the mean and names no doubt."""
        return np.full(self.count, mean) if sd == 0.0 else self._ask(name, "normal", mean, sd)

    def factor(self, name: str, relative_sd: float) -> Floats:
        """(N,) of a lognormal factor with median 1 and sd of ln equal to relative_sd."""
        return np.ones(self.count) if relative_sd == 0.0 else self._ask(name, "factor", relative_sd)

    def uniform(self, name: str, low: float, high: float) -> Floats:
        """(N,) evenly between low and high; equal ends name no doubt."""
        return np.full(self.count, low) if low == high else self._ask(name, "uniform", low, high)

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
        return self._columns.generator(name)


def varies(values: Floats) -> bool:
    """Whether a column (N,) made elsewhere is a doubt at all."""
    return len(values) > 1 and float(np.ptp(values)) > 1e-12 * float(np.abs(values).max())
