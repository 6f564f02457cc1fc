"""Our equilibria put before PHREEQC, given the same tables."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chem.forecast.state import NEAR_SI
from chem.forecast.study import Study
from chem.tank import Mix

PH_TOLERANCE = 0.001
SI_TOLERANCE = 0.002
ROWS = 8


@dataclass(frozen=True)
class RefereeReport:
    """Largest disagreement in pH, SI and settled amounts (relative) over some rows."""

    ph: float
    si: float
    amount: float
    rows: int
    failed: int

    @property
    def share(self) -> float:
        """The larger of both differences in units of its tolerance; NaN: none was solved."""
        return max(self.ph / PH_TOLERANCE, self.si / SI_TOLERANCE) if self.rows else float("nan")

    @property
    def agrees(self) -> bool:
        """Within the tolerances, on every row that PHREEQC solved, and it solved some."""
        return self.share <= 1.0

    def __str__(self) -> str:
        if not self.rows:
            return f"Referee: PHREEQC solved none of {self.failed}; nothing is checked."
        settled = "" if np.isnan(self.amount) else f", settled amounts {100 * self.amount:.2g} %"
        verdict = "agrees" if self.agrees else "DISAGREES"
        return (
            f"Referee PHREEQC {verdict}: largest difference pH {self.ph:.1e} (limit "
            f"{PH_TOLERANCE:g}), SI {self.si:.1e} (limit {SI_TOLERANCE:g}){settled}; "
            f"{self.rows} checked, {self.failed} not solved by PHREEQC."
        )


def referee_mix(mix: Mix, *, count: int = 256, seed: int = 1) -> RefereeReport:
    """Check the fresh tank's first draws.

    Raises: InputProblem as `forecast`, and where PHREEQC isn't installed; RuntimeError if it can't
    load the database.
    """
    from chem.equilibrium.referee import compare

    tank = Study(count, seed).stand(mix).at(0.0)
    solids = tank.phases.solids
    highest = np.nan_to_num(tank.si, nan=-99.0).max(axis=0, initial=-99.0)
    deciding = np.array([s.decides and s.kinetics == "prompt" for s in solids], dtype=bool)
    allowed = deciding & (highest > NEAR_SI)
    found = compare(
        tank.clear,
        tank.phases,
        tank.log_ksp,
        rows=range(ROWS),
        allowed=allowed if (highest[allowed] > 0.0).any() else None,
    )
    return RefereeReport(found.ph, found.si, found.amount, found.rows, found.failed)
