"""Pairs of ions that no solid of the tables is made of: why none is needed, or that it is missing.

`unlisted_pairs.csv`: `soluble` (their salts dissolve beyond any tank), `colloid` (judged by the
rules for colloids), `missing` (may form; no constant is known, so that it is not judged).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from chem.reference.constants import tables
from chem.reference.files import read_csv

LEAST_MOL_PER_L = 1e-4
"""Less of either ion can make no more than some 20 mg/L of a solid."""


@dataclass(frozen=True)
class Unlisted:
    """One row: every cation with every anion, between two values of pH."""

    cations: tuple[str, ...]
    anions: tuple[str, ...]
    verdict: str
    ph_from: float
    ph_to: float
    what: str
    source: str
    note: str


@cache
def unlisted() -> tuple[Unlisted, ...]:
    """Read `unlisted_pairs.csv` once."""
    return tuple(
        Unlisted(
            tuple(r["cations"].split()),
            tuple(r["anions"].split()),
            r["verdict"],
            float(r["ph_from"] or 0.0),
            float(r["ph_to"] or 14.0),
            r["what"],
            r["source"],
            r["note"],
        )
        for r in read_csv("unlisted_pairs.csv")
    )


def not_judged(
    mol_per_L: Mapping[str, float], ph: float, verdict: str = "missing"
) -> tuple[str, ...]:
    """Solids (or, with verdict `complex`, complexes) of these ions that the tables do not hold.

    mol_per_L: totals by component; ph: of the solution. The text names the ions that meet.
    """
    there = {c for c, m in mol_per_L.items() if m > LEAST_MOL_PER_L} | {"H"}
    names = {c.key: c.name.removesuffix(" as boric acid") for c in tables().components.values()}
    found = []
    for row in unlisted():
        cations = [c for c in row.cations if c in there]
        anions = [a for a in row.anions if a in there]
        if row.verdict == verdict and cations and anions and row.ph_from <= ph < row.ph_to:
            met = " with ".join(
                " and ".join(names.get(c, "acid") for c in group) for group in (cations, anions)
            )
            found.append(f"{row.what} ({met})")
    return tuple(found)
