"""When humate, alginate, silicate, films and thiosulfate fall out or gel: `data/colloids.csv`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from chem.reference.files import read_csv


@dataclass(frozen=True)
class Colloid:
    """One way in which a colloid fails.

    trigger: what is held against `threshold` [unit]; factor: one-sigma spread (a factor, or a
    difference where the unit is pH); the trigger `acid_in_time` has a clouding time, the others act
    at once; least_g_per_L: less of the colloid does not show or gel, by a one-sigma least_factor;
    most_odds: what a label can say of it at most;
    swelling: how much larger than its weight its floc or gel counts against a screen.
    """

    key: str
    component: str
    trigger: str
    threshold: float
    unit: str
    factor: float
    least_g_per_L: float
    least_factor: float
    most_odds: float
    swelling: float
    because: str
    source: str
    where: str
    note: str


@cache
def colloids() -> Mapping[str, Colloid]:
    """Read `colloids.csv` once."""
    return MappingProxyType(
        {
            r["colloid"]: Colloid(
                r["colloid"],
                r["component"],
                r["trigger"],
                float(r["threshold"]),
                r["unit"],
                float(r["factor"]),
                float(r["least_g_per_L"]),
                float(r["least_factor"]),
                float(r["most_odds"]),
                float(r["swelling"]),
                r["because"],
                r["source"],
                r["where"],
                r["note"],
            )
            for r in read_csv("colloids.csv")
        }
    )
