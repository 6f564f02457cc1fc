"""What is out of a tank by a time, and whether it shows or blocks a screen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chem.equilibrium.activity import Floats
from chem.forecast.state import Bools
from chem.reference import tables


@dataclass(frozen=True)
class Part:
    """One thing that may come out: key and name, and of which kind (salt, crystals, colloid).

    decides: whether it may carry an answer.
    """

    key: str
    name: str
    kind: str
    decides: bool


@dataclass(frozen=True)
class Out:
    """What is out of a tank by a time [g/L]: salts (N, M), crystals (N, K), colloids (N, L).

    swollen: (N, L) colloids as a screen meets them; seen, full: (N,) how full the salts have made
    their limits of showing and of blocking, 1 at the limit.
    """

    salts: Floats
    crystals: Floats
    colloids: Floats
    swollen: Floats
    seen: Floats
    full: Floats

    @property
    def _hard(self) -> Floats:
        return np.asarray(self.salts.sum(axis=1) + self.crystals.max(axis=1, initial=0.0))

    @property
    def total(self) -> Floats:
        """(N,) [g/L] of everything."""
        return np.asarray(self._hard + self.colloids.sum(axis=1))

    @property
    def shows(self) -> Bools:
        """(N,) whether an eye sees it."""
        loose = np.hstack([self.crystals, self.colloids]).max(axis=1, initial=0.0)
        return np.asarray(np.maximum(self.seen, loose / show_limit()) > 1.0)

    @property
    def blocks(self) -> Bools:
        """(N,) whether it blocks a 50-mesh screen."""
        loose = self.crystals.max(axis=1, initial=0.0) + self.swollen.sum(axis=1)
        return np.asarray(self.full + loose / tables().value("clog_limit") > 1.0)

    @property
    def each(self) -> Floats:
        """(N, M + K + L) [g/L] of each part, in the order of `Followed.parts`."""
        return np.hstack([self.salts, self.crystals, self.colloids])

    def or_more(self, other: Out) -> Out:
        """The greater of each."""
        return Out(
            np.maximum(self.salts, other.salts),
            np.maximum(self.crystals, other.crystals),
            np.maximum(self.colloids, other.colloids),
            np.maximum(self.swollen, other.swollen),
            np.maximum(self.seen, other.seen),
            np.maximum(self.full, other.full),
        )

    def rows(self, which: slice) -> Out:
        """Some of the rows."""
        return Out(
            self.salts[which],
            self.crystals[which],
            self.colloids[which],
            self.swollen[which],
            self.seen[which],
            self.full[which],
        )


def show_limit() -> float:
    """What an eye sees [g/L]."""
    return tables().value("show_limit")
