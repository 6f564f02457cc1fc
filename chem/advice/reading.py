"""What a strip's reading of a full tank speaks of: which jug, the water, or the strip itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chem.doubts import median
from chem.equilibrium import one_thread
from chem.forecast import Forecast, Study
from chem.reference import judged
from chem.tank import Mix, only, with_rate

BEYOND = 2.0
"""Standard deviations from which a reading is not what was poured."""
TWICE, HALF = 2.0, 0.5


@dataclass(frozen=True)
class Explanation:
    """A slip and the pH that it would give.

    cause: `left_out`, `half`, `twice` (of the product at a place), or `water` (nothing of it in).
    """

    cause: str
    place: int | None
    ph: float


@dataclass(frozen=True)
class ReadPh:
    """A reading beside the forecast.

    expected: whether it is within two standard deviations of the strip and the forecast together;
    off: the reading less the median; nearest: slips whose pH is nearer to the reading than the
    forecast's, the nearest first; open_jugs: (place, share of the pH's spread) of jugs whose label
    leaves the pH open; open_water: the water's share.
    """

    read: float
    sd: float
    expected: bool
    off: float
    nearest: tuple[Explanation, ...]
    open_jugs: tuple[tuple[int, float], ...]
    open_water: float


@one_thread()
def read_ph_of(result: Forecast, read: float, *, by: str = "strip", study: Study) -> ReadPh:
    """What explains a reading of a forecast tank; by: `strip` or `meter`.

    Raises: ValueError for a pH outside 0 to 14.
    """
    if not 0.0 <= read <= 14.0:
        raise ValueError(f"a pH lies between 0 and 14, not {read!r}")
    mix, ph = result.mix, result.ph
    sd = judged("ph_reading")[f"jug_{by}"]
    spread = (ph.p95 - ph.p05) / 3.29
    off = read - ph.median
    expected = abs(off) <= BEYOND * float(np.hypot(sd, spread))
    few = study.few(64)
    found = [Explanation(c, i, _ph(few, tank)) for c, i, tank in _slips(mix)]
    nearer = [e for e in found if np.isfinite(e.ph) and abs(e.ph - read) < abs(off) - 0.5 * sd]
    keys = {a.product.key: i for i, a in enumerate(mix.additions)}
    shares: dict[int, float] = {}
    water = 0.0
    for doubt in result.doubts:
        kind, _, rest = doubt.key.partition(":")
        key = rest.partition(":")[0]
        if kind == "product" and key in keys:
            shares[keys[key]] = shares.get(keys[key], 0.0) + max(doubt.of_ph, 0.0)
        elif kind == "water":
            water += max(doubt.of_ph, 0.0)
    return ReadPh(
        read=read,
        sd=sd,
        expected=expected,
        off=off,
        nearest=tuple(sorted(nearer, key=lambda e: abs(e.ph - read))[:3]),
        open_jugs=tuple(sorted(shares.items(), key=lambda one: -one[1])),
        open_water=water,
    )


def _slips(mix: Mix) -> Sequence[tuple[str, int | None, Mix]]:
    """Tanks that a slip makes: a jug left out, half or twice of it, or water alone."""
    count = len(mix.additions)
    out: list[tuple[str, int | None, Mix]] = [("water", None, only(mix, []))]
    for i in range(count):
        if count > 1:
            out.append(("left_out", i, only(mix, [j for j in range(count) if j != i])))
        out.append(("half", i, with_rate(mix, i, HALF)))
        out.append(("twice", i, with_rate(mix, i, TWICE)))
    return out


def _ph(study: Study, mix: Mix) -> float:
    state = study.fresh(mix)
    good = state.converged
    return median(np.where(good, state.ph, np.nan)) if good.any() else float("nan")
