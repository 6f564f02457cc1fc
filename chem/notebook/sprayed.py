"""What earlier tanks that were sprayed mean for the next: the strongest one, and the last one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from chem.advice.rinse import Rinsing, rinsing
from chem.errors import InputProblem, ToxicGas
from chem.forecast import Study
from chem.notebook.entry import Entry
from chem.notebook.store import Kept, current
from chem.tank import Mix

MOST = 40
"""Different tanks that are looked at, the latest first."""
DRAWS = 64


@dataclass(frozen=True)
class Strongest:
    """The strongest tank that went out: its entry, and what was dissolved in it [g/L], the median
    (the water's own salts apart)."""

    entry: Entry
    dissolved_g_per_L: float


@dataclass(frozen=True)
class LeftInSump:
    """The last tank sprayed stays in the sump of the next: its entry, how long ago is the entry's
    to tell; rinsing: from it to the next."""

    entry: Entry
    rinsing: Rinsing


def went_out(kept: Sequence[Kept]) -> Iterator[tuple[Entry, Mix]]:
    """Tanks that went through the nozzles, the latest first, each mix once; what can't be read
    again is left out."""
    told: set[str] = set()
    for one in sorted(current(kept), key=lambda k: k.entry.at, reverse=True):
        entry = one.entry
        if entry.kind == "jar" or entry.sprayed is None or entry.sprayed.through is False:
            continue
        frozen = entry.mix.model_dump_json()
        if frozen in told or len(told) >= MOST:
            continue
        told.add(frozen)
        try:
            yield entry, entry.mix.reread()
        except InputProblem:
            continue


def strongest(kept: Sequence[Kept], study: Study) -> Strongest | None:
    """The strongest tank sprayed; None where none was, or none can be read again."""
    few, best = study.few(DRAWS), None
    for entry, mix in went_out(kept):
        try:
            finished = few.stand(mix).finished
        except (InputProblem, ToxicGas):
            continue
        dissolved = 1000.0 * float(np.median(finished.density_kg_per_L - finished.water_kg_per_L))
        if best is None or dissolved > best.dissolved_g_per_L:
            best = Strongest(entry, dissolved)
    return best


def left_in_sump(kept: Sequence[Kept], mix: Mix, study: Study) -> LeftInSump | None:
    """What stays in the sump of the tank sprayed last, and meets this mix.

    None where the sprayer's file doesn't tell how much stays, nothing was sprayed, or the last one
    held the same products. Raises: InputProblem as `rinsing`.
    """
    if mix.sprayer is None or not mix.sprayer.stays_in_sump_L:
        return None
    entry, before = next(went_out(kept), (None, None))
    if entry is None or before is None:
        return None
    held = {a.product.identity for a in before.additions}
    if held == {a.product.identity for a in mix.additions}:
        return None
    sump_L = mix.sprayer.stays_in_sump_L
    return LeftInSump(entry, rinsing(before, mix, sump_L=sump_L, study=study.few(DRAWS)))
