"""Electrical conductivity, ion by ion on the speciation (McCleskey et al. 2012).

    kappa [mS/cm] = sum_i lambda_i(t, I) m_i
    lambda_i = l2 t^2 + l1 t + l0 - (A2 t^2 + A1 t + A0) sqrt(I) / (1 + B sqrt(I))

Ions without coefficients of their own take the limiting value at 25 C, the change with temperature
and the field term of an ion like them. Complexes without a row count by their charge. A pair that
the interaction coefficients already hold (sodium with sulfate) is counted here for the current
alone. Good to 5 % up to I = 0.1 mol/kg and 10 % up to 0.7; beyond, and below pH 2.5, no figure.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from chem.equilibrium.activity import Floats, debye_hueckel_a
from chem.equilibrium.outcome import Equilibrium
from chem.reference import read_csv

IONIC_STRENGTH_MOST, PH_LEAST = 0.7, 2.5
"""Where McCleskey et al. (2012) checked it; below pH 2.5 the acid carries nearly all."""
PER_CHARGE = 38.0
"""S cm2 per mol and charge at 25 C of a complex without a row, by charge^1.5 (estimate)."""


@dataclass(frozen=True)
class _Ion:
    """Coefficients of one ion [S cm2/mol, degC]."""

    limit: tuple[float, float, float]
    field: tuple[float, float, float]
    b: float
    scale: float

    def at(self, t: float, root: Floats) -> Floats:
        """(N,) molar conductivity at t [degC] and the square root of I."""
        limit = self.limit[0] * t * t + self.limit[1] * t + self.limit[2]
        field = self.field[0] * t * t + self.field[1] * t + self.field[2]
        return np.asarray(self.scale * np.maximum(limit - field * root / (1.0 + self.b * root), 0))


@cache
def _ions() -> dict[str, _Ion]:
    rows = {r["species"]: r for r in read_csv("conductivity.csv")}
    out: dict[str, _Ion] = {}
    for key, r in rows.items():
        own = rows[r["like"]] if r["like"] else r
        limit = float(own["l2"]), float(own["l1"]), float(own["l0"])
        field = float(own["A2"]), float(own["A1"]), float(own["A0"])
        at_25 = 625.0 * limit[0] + 25.0 * limit[1] + limit[2]
        scale = float(r["l0"]) / at_25 if r["like"] else 1.0
        out[key] = _Ion(limit, field, float(own["B"]), scale)
    return out


@cache
def _pairs() -> tuple[tuple[str, str, str, float], ...]:
    return tuple(
        (r["pair"], r["cation"], r["anion"], float(r["log_k"]))
        for r in read_csv("conductivity_pairs.csv")
    )


def conductivity_mS_per_cm(state: Equilibrium) -> Floats:
    """(N,) conductivity [mS/cm] at the state's own temperature.

    NaN where it did not converge, beyond an ionic strength of 0.7 mol/kg and below pH 2.5.
    """
    system, t = state.system, state.conditions.t_celsius
    ionic = np.nan_to_num(state.ionic_strength, nan=np.inf)
    known = state.converged & (ionic <= IONIC_STRENGTH_MOST)
    known &= np.nan_to_num(state.ph, nan=0.0) >= PH_LEAST
    if not known.any():
        return np.full(len(ionic), np.nan)
    part = state.rows(np.flatnonzero(known))
    root = np.sqrt(part.ionic_strength)
    molality = part.molality
    each = np.zeros(molality.shape)
    for i, key in enumerate(system.species):
        ion = _ions().get(key.rstrip("*"))
        if ion is not None:
            each[:, i] = ion.at(t, root)
        elif system.charge[i]:
            other = _ions()["HCO3-"]
            at_25 = 625.0 * other.limit[0] + 25.0 * other.limit[1] + other.limit[2]
            each[:, i] = PER_CHARGE * abs(system.charge[i]) ** 1.5 * other.at(t, root) / at_25
    total = (each * molality).sum(axis=1) + _by_pairs(part, each, molality, root, t)
    out = np.full(len(ionic), np.nan)
    out[known] = total
    return out


def _by_pairs(state: Equilibrium, each: Floats, molality: Floats, root: Floats, t: float) -> Floats:
    """(R,) what pairs held in the interaction coefficients add to the current [mS/cm]."""
    index, charge = state.system.index, state.system.charge
    log_gamma = -debye_hueckel_a(t) * root / (1.0 + 1.5 * root)
    more = np.zeros(len(root))
    for pair, cation, anion, log_k in _pairs():
        if cation not in index or anion not in index:
            continue
        i, j = index[cation], index[anion]
        z, y = charge[i], charge[j]
        k = 10.0 ** (log_k + log_gamma * (z**2 + y**2 - (z + y) ** 2))
        c, a = molality[:, i], molality[:, j]
        s = c + a + 1.0 / k
        made = 0.5 * (s - np.sqrt(np.maximum(s * s - 4.0 * c * a, 0.0)))
        more += made * (_ions()[pair].at(t, root) - each[:, i] - each[:, j])
    return more
