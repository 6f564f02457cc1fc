"""What a solve takes besides totals, and what it gives: every row with an honest word on it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from chem.equilibrium.activity import LN10, Floats
from chem.equilibrium.system import Phases, System

Bools = NDArray[np.bool_]
Integers = NDArray[np.int64]


class RowStatus(IntEnum):
    """Why a row stands as it does."""

    CONVERGED = 0
    ITERATIONS = 1
    NOT_FINITE = 2
    SOLIDS = 3


@dataclass(frozen=True)
class Conditions:
    """What the constants are, per row.

    t_celsius: [degC]; log_k: (1 or N, S) log10 formation constants;
    eps_shift: (N, 3) shifts of the estimated interaction coefficients [kg/mol] or None.
    """

    t_celsius: float
    log_k: Floats
    eps_shift: Floats | None = None

    @classmethod
    def nominal(cls, system: System, t_celsius: float = 25.0) -> Conditions:
        """The tabulated constants at t [degC], without doubts."""
        return cls(t_celsius, system.log_k(t_celsius)[None, :])


@dataclass(frozen=True)
class Equilibrium:
    """Speciation of N rows; rows that did not converge hold NaN (amounts: the last iterate).

    ln_molality, ln_activity: (N, S); ph, ionic_strength [mol/kg], ln_water_activity: (N,);
    ln_component_activity: (N, C+1), H+ last; amounts: (N, M) solids [mol/kg of the first water];
    water_left: (N,) kg of liquid water left of each kg; balance: (N,) largest relative mass
    balance error; converged, reason, iterations: (N,).
    """

    system: System
    conditions: Conditions
    totals: Floats
    ln_molality: Floats
    ln_activity: Floats
    ln_component_activity: Floats
    ln_water_activity: Floats
    ionic_strength: Floats
    ph: Floats
    amounts: Floats
    water_left: Floats
    balance: Floats
    converged: Bools
    reason: Integers
    iterations: Integers

    @property
    def molality(self) -> Floats:
        """(N, S) [mol/kg water]."""
        return np.exp(self.ln_molality)

    @property
    def charge_balance_relative(self) -> Floats:
        """(N,) |sum z m| / sum |z| m."""
        m = self.molality
        z = self.system.charge
        return np.abs(m @ z) / (m @ np.abs(z))

    def saturation_index(
        self, phases: Phases, log_ksp: Floats | None = None, which: Integers | slice = slice(None)
    ) -> Floats:
        """(N, M) SI = log10(IAP) - log10(Ksp); log_ksp (1 or N, M) defaults to the table's.

        which: some of the rows.
        """
        ln_iap = self.ln_component_activity[which] @ phases.nu
        ln_iap += self.ln_water_activity[which, None] * phases.water
        if log_ksp is None:
            log_ksp = phases.log_k(self.conditions.t_celsius)[None, :]
        return np.asarray(ln_iap / LN10 - log_ksp)

    def rows(self, which: Integers | Bools) -> Equilibrium:
        """Some of the rows."""
        log_k, shifts = self.conditions.log_k, self.conditions.eps_shift
        conditions = Conditions(
            self.conditions.t_celsius,
            log_k if len(log_k) == 1 else log_k[which],
            None if shifts is None else shifts[which],
        )
        picked = {name: getattr(self, name)[which] for name in PER_ROW}
        return replace(self, conditions=conditions, **picked)

    def copy(self) -> Equilibrium:
        """The same with arrays of its own."""
        return replace(self, **{name: getattr(self, name).copy(order="K") for name in PER_ROW})

    def put(self, which: Integers, part: Equilibrium) -> None:
        """Replace some rows, in place, by those of another under the same conditions."""
        for name in PER_ROW:
            getattr(self, name)[which] = getattr(part, name)


PER_ROW = (
    "totals",
    "ln_molality",
    "ln_activity",
    "ln_component_activity",
    "ln_water_activity",
    "ionic_strength",
    "ph",
    "amounts",
    "water_left",
    "balance",
    "converged",
    "reason",
    "iterations",
)
"""Fields of an `Equilibrium` with one entry per row."""


def empty_result(
    system: System, conditions: Conditions, totals: Floats, amounts: Floats
) -> Equilibrium:
    """A result of N rows to be written into, its arrays as the solver has them: species x rows."""
    n = len(totals)
    species, components = len(system.species), totals.shape[1] + 1
    return Equilibrium(
        system,
        conditions,
        totals,
        ln_molality=np.empty((species, n)).T,
        ln_activity=np.empty((species, n)).T,
        ln_component_activity=np.empty((components, n)).T,
        ln_water_activity=np.empty(n),
        ionic_strength=np.empty(n),
        ph=np.empty(n),
        amounts=amounts,
        water_left=np.ones(n),
        balance=np.empty(n),
        converged=np.zeros(n, dtype=bool),
        reason=np.empty(n, dtype=np.int64),
        iterations=np.zeros(n, dtype=np.int64),
    )
