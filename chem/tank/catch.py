"""Spray volume from a catch test: what leaves the nozzles on an area.

    per area = caught / time / (width x speed)      walking or driving at a known speed
    per area = caught / area                        a square sprayed, the same time caught
    per area = caught / time x time sprayed / area  a square sprayed, another time caught

The usual field formulas are these with units put in: gal/min per nozzle = GPA x mph x W(in)/5940,
L/min = L/ha x km/h x W(m)/600, and ounces from 1/128 acre = gallons per acre (extension sprayer
calibration guides).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

CAUGHT_SD, TIME_SD_S, WIDTH_SD, SPEED_SD, AREA_SD = 0.02, 0.3, 0.02, 0.03, 0.02
"""Reading errors of a jug, a stop watch, a tape and a paced speed (common practice, no source)."""
UNEVEN_NOZZLE = 0.10
"""A nozzle this far from the mean wants cleaning or changing (common practice, no source)."""


@dataclass(frozen=True)
class CatchTest:
    """Spray volume [L/m2] with its relative standard error, and nozzles that stand out.

    uneven: index and deviation of nozzles beyond a tenth of the mean.
    """

    carrier_L_per_m2: float
    relative_error: float
    caught_L: tuple[float, ...]
    uneven: tuple[tuple[int, float], ...]


def _spread(caught_L: Sequence[float]) -> tuple[float, float, tuple[tuple[int, float], ...]]:
    """Mean catch, its relative error, nozzles that stand out."""
    values = np.array(caught_L, dtype=float)
    if values.size == 0 or not np.isfinite(values).all() or (values <= 0.0).any():
        raise ValueError("catches must be volumes above zero")
    mean = float(values.mean())
    error = CAUGHT_SD / math.sqrt(len(values))
    if len(values) > 1:
        error = max(error, float(values.std(ddof=1)) / mean / math.sqrt(len(values)))
    apart = tuple(
        (i, float(v / mean - 1.0))
        for i, v in enumerate(values)
        if abs(v / mean - 1.0) > UNEVEN_NOZZLE
    )
    return mean, error, apart


def by_speed(
    caught_L: Sequence[float], time_s: float, width_m: float, speed_m_per_s: float
) -> CatchTest:
    """From catches of one nozzle each, the time, the width that one nozzle covers and the speed.

    Raises: ValueError for anything not above zero.
    """
    mean, error, apart = _spread(caught_L)
    if not min(time_s, width_m, speed_m_per_s) > 0.0:
        raise ValueError("time, width and speed must be above zero")
    carrier = mean / time_s / (width_m * speed_m_per_s)
    total = math.hypot(error, TIME_SD_S / time_s, WIDTH_SD, SPEED_SD)
    return CatchTest(carrier, total, tuple(caught_L), apart)


def by_area(
    caught_L: Sequence[float],
    area_m2: float,
    *,
    caught_s: float | None = None,
    sprayed_s: float | None = None,
) -> CatchTest:
    """From what was caught in the time that the area takes to spray.

    caught_s, sprayed_s: both times [s], where the catch took another time than the area.

    Raises: ValueError for anything not above zero, or for one time without the other.
    """
    mean, error, apart = _spread(caught_L)
    if not area_m2 > 0.0:
        raise ValueError("the area must be above zero")
    if caught_s is None and sprayed_s is None:
        return CatchTest(mean / area_m2, math.hypot(error, AREA_SD), tuple(caught_L), apart)
    if caught_s is None or sprayed_s is None or not min(caught_s, sprayed_s) > 0.0:
        raise ValueError("both times are needed, and above zero")
    total = math.hypot(error, AREA_SD, TIME_SD_S / caught_s, TIME_SD_S / sprayed_s)
    return CatchTest(mean / caught_s * sprayed_s / area_m2, total, tuple(caught_L), apart)
