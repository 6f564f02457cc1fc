"""Which metals of a sprayer a tank eats, by what is in it: `metals.csv`."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from chem.doubts import median
from chem.forecast import Followed
from chem.reference import read_csv


@dataclass(frozen=True)
class Metal:
    """Metals at risk and why; key: of the row of `metals.csv`."""

    key: str
    metals: str
    why: str


@cache
def _rows() -> tuple[tuple[Metal, str, float, float, float], ...]:
    return tuple(
        (
            Metal(r["key"], r["metals"], r["why"]),
            r["component"],
            float(r["least_mmol_per_L"] or "nan"),
            float(r["ph_below"] or "inf"),
            float(r["ph_above"] or "-inf"),
        )
        for r in read_csv("metals.csv")
    )


def metals_at_risk(seen: Followed) -> tuple[Metal, ...]:
    """Metals that the tank as it stands may eat, by its middle."""
    finished, ph = seen.ready.finished, seen.ph.median
    found = []
    for metal, component, least, below, above in _rows():
        if component:
            if component not in finished.components:
                continue
            column = finished.totals_mol_per_L[:, finished.components.index(component)]
            met = 1000.0 * median(column) >= least
        else:
            met = above < ph < below if above == -float("inf") else ph > above
        if met:
            found.append(metal)
    return tuple(found)
