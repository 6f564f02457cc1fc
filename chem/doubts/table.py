"""Every doubt of a tank as a named distribution with its reason: `data/doubts.csv`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from chem.reference import read_csv


@dataclass(frozen=True)
class Doubt:
    """A distribution: uniform a..b, normal mean a sd b, factor (lognormal) sd of ln a, chance a.

    names: pattern of its columns' names; settle_by: what the person can do about it.
    """

    key: str
    distribution: str
    a: float
    b: float
    unit: str
    names: str
    reason: str
    source: str
    settle_by: str


@cache
def doubts() -> Mapping[str, Doubt]:
    """Read `doubts.csv` once."""
    return MappingProxyType(
        {
            r["doubt"]: Doubt(
                r["doubt"],
                r["distribution"],
                float(r["a"]),
                float(r["b"] or 0.0),
                r["unit"],
                r["names"],
                r["reason"],
                r["source"],
                r["settle_by"],
            )
            for r in read_csv("doubts.csv")
        }
    )
