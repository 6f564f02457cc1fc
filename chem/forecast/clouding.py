"""When a solid starts to show, and how much of it has come out by then."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np

from chem.equilibrium.activity import Floats
from chem.reference import Clouding, read_csv

LONGEST_LN_S = 30.0
"""ln of the longest clouding time told, some 300,000 years: beyond it numbers only overflow."""
GROWTH_SPAN = 5.0
"""Amount(t) = settled (1 - exp(-(t - t_c) / (5 t_c))): common practice, no source."""


@dataclass(frozen=True)
class Delay:
    """How much longer a solid takes beside a retarder: up to `most` times, half at half_mmol."""

    curve: str
    component: str
    most: float
    half_mmol_per_L: float


@cache
def delays() -> tuple[Delay, ...]:
    """Read `delays.csv` once."""
    return tuple(
        Delay(r["curve"], r["component"], float(r["most"]), float(r["half_mmol_per_L"]))
        for r in read_csv("delays.csv")
    )


def delay_factor(curve: str, mmol_per_L: Mapping[str, Floats]) -> Floats | float:
    """Factor on clouding times of a curve from the retarders there are, 1 or more.

    mmol_per_L: total of each component, (N,) each. A retarder's effect levels off:
    1 + (most - 1) c / (c + half).
    """
    factor: Floats | float = 1.0
    for row in delays():
        if row.curve == curve and row.component in mmol_per_L:
            c = mmol_per_L[row.component]
            factor = factor * (1.0 + (row.most - 1.0) * c / (c + row.half_mmol_per_L))
    return factor


def clouding_time_s(curve: Clouding, si_per_two_ions: Floats) -> Floats:
    """Median time until a solid shows [s], infinite at or below saturation.

    ln t is interpolated between the curve's points in SI; below the first it follows
    a + b / SI^2 (the shape of classical nucleation) with the slope of the first two points;
    above the last it stays at its value.
    """
    si = np.asarray(si_per_two_ions, dtype=float)
    points = np.array(curve.si)
    ln_t = np.log(np.array(curve.t_s))
    between = np.interp(si, points, ln_t)
    if len(points) > 1:
        slope = (ln_t[0] - ln_t[1]) / (points[0] ** -2 - points[1] ** -2)
    else:
        slope = points[0] ** 2
    positive = np.maximum(si, 1e-6)
    below = ln_t[0] + max(slope, 0.0) * (positive**-2 - points[0] ** -2)
    with np.errstate(over="ignore"):
        time = np.exp(np.where(si < points[0], np.minimum(below, LONGEST_LN_S), between))
    return np.where(si > 0.0, time, np.inf)


def share_out(t_s: float, clouding_s: Floats) -> Floats:
    """Share of the settled amount that has come out by t [s]."""
    finite = np.where(np.isfinite(clouding_s), np.maximum(clouding_s, 1e-3), 1.0)
    grown = 1.0 - np.exp(-np.maximum(t_s - finite, 0.0) / (GROWTH_SPAN * finite))
    return np.where(np.isfinite(clouding_s), grown, 0.0)
