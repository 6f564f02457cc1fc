"""The fewest tanks in which the products of a mix go, each clear and within every rule."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from chem.advice.levers import Case, Fix, NoUse, poured
from chem.forecast import THRESHOLD, broken
from chem.forecast.rules import rules_of
from chem.forecast.search import SEARCH_DRAWS
from chem.tank import Mix, only

MOST_PARTED = 10
"""Products whose every group is tried for separate passes: 2^n tanks."""
LEAST_DRAWS = 16
MOST_ROWS = 65_536


def passes(case: Case) -> Fix | NoUse:
    """The fewest tanks in which the products go, each clear."""
    mix = case.mix
    n = len(mix.additions)
    if n < 2:
        return NoUse("passes", "one_product")
    if n > MOST_PARTED:
        return NoUse("passes", "many_products", float(MOST_PARTED))
    tanks = {m: tank for m in range(1, (1 << n) - 1) if (tank := _part(mix, m)) is not None}
    few = case.study.few(min(SEARCH_DRAWS, max(LEAST_DRAWS, MOST_ROWS >> n)))
    seen = few.follow(list(tanks.values()), until=case.judged_at)
    clear = {m for m, f in zip(tanks, seen, strict=True) if f.cloudy(case.judged_at) < THRESHOLD}
    for split in _splits(n, clear):
        parts = [tanks[m] for m in split]
        failed = {m for m in split if case.full([tanks[m]]) is None}
        if not failed:
            asked = [only(mix, [i for i in range(n) if m >> i & 1]) for m in split]
            return replace(case.fix("passes", asked, parts), factor=float(len(parts)))
        clear -= failed
    alone = tuple(i for i in range(n) if 1 << i not in clear)
    return NoUse("passes", "alone" if alone else "not_enough", places=alone)


def _part(mix: Mix, chosen: int) -> Mix | None:
    """A tank of some products (bits), in an order that keeps every rule; None where none may."""
    tank = poured(only(mix, [i for i in range(len(mix.additions)) if chosen >> i & 1]))
    return None if tank is None or broken(rules_of(tank)) else tank


def _splits(n: int, clear: set[int]) -> Iterator[list[int]]:
    """Ways to part n products into tanks of `clear`, anew each time as it shrinks."""
    while (split := fewest(n, clear)) is not None:
        yield split


def fewest(n: int, clear: set[int]) -> list[int] | None:
    """The fewest sets of `clear` that part n products; between as few, the most together.

    Sets are bit masks; each way starts with the set of the first product left.
    """
    best: dict[int, tuple[tuple[int, int], tuple[int, ...]]] = {0: ((0, 0), ())}
    for left in range(1, 1 << n):
        first = left & -left
        rest = left ^ first
        part = rest
        found = None
        while True:
            group = part | first
            if group in clear and left ^ group in best:
                (count, size), way = best[left ^ group]
                cost = (count + 1, size - group.bit_count() ** 2)
                if found is None or cost < found[0]:
                    found = (cost, (group, *way))
            if not part:
                break
            part = (part - 1) & rest
        if found is not None:
            best[left] = found
    whole = best.get((1 << n) - 1)
    return None if whole is None else list(whole[1])
