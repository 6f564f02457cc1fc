"""Our rows beside PHREEQC's."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from chem.equilibrium.activity import Floats
from chem.equilibrium.outcome import Bools, Equilibrium
from chem.equilibrium.referee.engine import Refereed, referee
from chem.equilibrium.solids import settle
from chem.equilibrium.system import Phases

AMOUNT_FLOOR = 1e-6
"""Amounts are compared relative to themselves, or to this where they are less [mol/kg]."""


@dataclass(frozen=True)
class Disagreement:
    """Largest differences between our solver and PHREEQC over the rows that both solved.

    ph, si: absolute; amount: relative, NaN where nothing settled; rows: compared;
    failed: rows that PHREEQC did not solve.
    """

    ph: float
    si: float
    amount: float
    rows: int
    failed: int


def disagreement(
    state: Equilibrium,
    phases: Phases,
    log_ksp: Floats | None,
    refereed: Refereed,
    *,
    amounts: bool = False,
) -> Disagreement:
    """Compare our rows with PHREEQC's; state and amounts as given to `referee`."""
    good = refereed.solved
    rows = refereed.rows[good]
    failed = int((state.converged[refereed.rows] & ~good).sum())
    if not rows.size:
        return Disagreement(float("nan"), float("nan"), float("nan"), 0, failed)
    ours = state.saturation_index(phases, log_ksp)[rows]
    theirs = refereed.si[good]
    both = np.isfinite(theirs) & np.isfinite(ours)
    relative = float("nan")
    if amounts:
        mine, other = state.amounts[rows], refereed.amounts[good]
        relative = float(np.max(np.abs(mine - other) / np.maximum(np.abs(mine), AMOUNT_FLOOR)))
    return Disagreement(
        float(np.abs(state.ph[rows] - refereed.ph[good]).max()),
        float(np.abs(ours - theirs)[both].max(initial=0.0)),
        relative,
        len(rows),
        failed,
    )


def compare(
    clear: Equilibrium,
    phases: Phases,
    log_ksp: Floats | None = None,
    *,
    rows: Iterable[int] = range(8),
    allowed: Bools | None = None,
) -> Disagreement:
    """Referee some rows of a speciation, and their settled state where solids may form.

    Args:
        clear: our speciation; phases: M solids; log_ksp: (1 or N, M); rows: which of the N;
        allowed: (M,) solids that may settle; None: only pH and SI are compared.

    Raises:
        RuntimeError: PHREEQC can't load the database or has lost a component.
        InputProblem: PHREEQC isn't installed.
    """
    chosen = [r for r in rows if r < len(clear.totals) and clear.converged[r]]
    found = disagreement(clear, phases, log_ksp, referee(clear, chosen, phases, log_ksp))
    if allowed is None or not chosen:
        return found
    settled = settle(
        clear.system,
        clear.totals,
        clear.conditions,
        phases,
        log_ksp=log_ksp,
        allowed=allowed,
        start=clear,
    )
    here = [r for r in chosen if settled.converged[r]]
    checked = referee(settled, here, phases, log_ksp, allowed=allowed)
    amount = disagreement(settled, phases, log_ksp, checked, amounts=True)
    return Disagreement(
        float(np.fmax(found.ph, amount.ph)),
        found.si,
        amount.amount,
        found.rows,
        found.failed + amount.failed,
    )
