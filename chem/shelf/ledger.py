"""Odds of many tanks, a tank to a row of one array: some 90 bytes each, not some thousand."""

from __future__ import annotations

import math
from collections.abc import Hashable

import numpy as np

from chem.forecast import TIMES_S
from chem.shelf.tanks import Odds, Tank

COUNT = len(TIMES_S)
ROW = np.dtype(
    [
        ("probability", "f8", COUNT),
        ("clogs", "f8", COUNT),
        ("ph", "f8"),
        ("ionic", "f8"),
        ("failed", "f8"),
        ("clouds_after", "f8"),
        ("worst", "i2"),
        ("screened", "?"),
    ]
)
SHIFT = 32
"""Two places make one key: the first so many bits up."""


class Ledger:
    """Tank -> Odds."""

    def __init__(self) -> None:
        self._at: dict[Hashable, int] = {}
        self._rows = np.empty(256, ROW)
        self._worst: dict[tuple[str, str] | None, int] = {None: 0}

    def __len__(self) -> int:
        return len(self._at)

    def __contains__(self, tank: Tank) -> bool:
        return _key(tank) in self._at

    def __setitem__(self, tank: Tank, odds: Odds) -> None:
        at = self._at.setdefault(_key(tank), len(self._at))
        if at == len(self._rows):
            self._rows = np.concatenate([self._rows, np.empty(at, ROW)])
        worst = None
        if odds.worst is not None and odds.worst_name is not None:
            worst = odds.worst, odds.worst_name
        after = np.nan if odds.clouds_after_s is None else odds.clouds_after_s
        self._rows[at] = (
            tuple(odds.probability[t] for t in TIMES_S),
            tuple(odds.clogs[t] for t in TIMES_S),
            odds.ph,
            odds.ionic_mol_per_kg,
            odds.failed,
            after,
            self._worst.setdefault(worst, len(self._worst)),
            odds.decided_by == "screen",
        )

    def get(self, tank: Tank) -> Odds | None:
        """What is known of it."""
        at = self._at.get(_key(tank))
        if at is None:
            return None
        shown, clogs, ph, ionic, failed, after, worst, screened = self._rows[at].item()
        key, name = list(self._worst)[worst] or (None, None)
        return Odds(
            dict(zip(TIMES_S, shown, strict=True)),
            dict(zip(TIMES_S, clogs, strict=True)),
            ph,
            ionic,
            failed,
            key,
            name,
            None if math.isnan(after) else after,
            "screen" if screened else "full",
        )


def _key(tank: Tank) -> Hashable:
    """A pair at its rates is known by one number, which is small."""
    if len(tank.members) == 2 and tank.factor == 1.0:
        return tank.members[0] << SHIFT | tank.members[1]
    return tank
