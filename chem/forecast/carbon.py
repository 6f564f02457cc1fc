"""Carbon dioxide that stirring drives out of an open tank, and with it the rise of its pH.

Free carbon dioxide goes as oxygen comes in, by the same renewals of the stirred surface, until the
water is in balance with the air: what is left to go falls off exponentially. Reckoned only in the
draws in which the rise brings a solid out sooner, within a day; the pH that is told stays that of
the closed tank.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chem.doubts import Draws
from chem.equilibrium import LN10, Equilibrium, System, aired
from chem.equilibrium.activity import Floats
from chem.equilibrium.air import DISSOLVED, henry_constant
from chem.forecast.aging import renewals_per_s
from chem.forecast.clouding import clouding_times_s
from chem.forecast.state import Bools, Integers, State
from chem.forecast.times import TIMES_S
from chem.reference import Solid, tables

CARBONATE = "CO3"
LEAST_RISE = 0.1
"""Rise of pH below which nothing is made of it."""
LEAST_MOL_PER_KG = 1e-6
SOONER = 0.8
"""A clock that runs out at this share of its time is another outcome; less is none."""
MARGIN = 2.0
"""Times the rise reckoned from the fresh tank: its buffers may thin out on the way."""
EARLY_S, NEARLY_ALL = 900.0, 0.9
BY_LIGAND = {"CO3-2": 1.0, "PO4-3": 2.0, "Citrate-3": 1.0, "P2O7-4": 2.0, "SO3-2": 1.0}
"""Most by which log10 of a free ion rises with one unit of pH in a sprayer's range."""


@dataclass(frozen=True)
class Driven:
    """What stirring drives out, per draw.

    whole: (N,) carbon dioxide that goes in the end [mol/kg water]; per_s: (N,) share of what is
    left of it that goes in a second [1/s].
    """

    whole: Floats
    per_s: Floats

    def by(self, t_s: float) -> Floats:
        """(N,) gone by t [mol/kg water]: none in the first quarter of an hour, in which it is
        little, and all from when nearly all is gone."""
        share = -np.expm1(-self.per_s * t_s)
        return np.asarray(self.whole * np.where(share > NEARLY_ALL, 1.0, share) * (t_s > EARLY_S))

    def rows(self, which: slice) -> Driven:
        """Some of the rows."""
        return Driven(self.whole[which], self.per_s[which])


def driven_out(system: System, fresh: State, water_kg_per_L: Floats, draws: Draws) -> Driven | None:
    """What stirring drives out of a fresh tank; None where no draw is the worse for it."""
    column = system.index.get(DISSOLVED)
    clear = fresh.clear
    if column is None or CARBONATE not in system.components:
        return None
    t = clear.conditions.t_celsius
    balance = henry_constant().at(t) + float(np.log10(tables().value("pco2_air")))
    rise = np.nan_to_num(clear.ln_activity[:, column] / LN10 - balance, nan=0.0)
    solids = fresh.phases
    steep = np.array([_per_ph(s) for s in solids.solids])
    rate = renewals_per_s(draws) * tables().value("co2_per_oxygen_transfer")
    rise = np.clip(np.minimum(rise, _rise_in_a_day(clear, column, rate)), 0.0, None)
    mmol = 1000.0 * clear.totals * water_kg_per_L[:, None]

    def sooner(si: Floats, which: Integers) -> Bools:
        """Whether something comes out within a day that is late or never in the fresh tank."""
        there = {c: mmol[which, i] for i, c in enumerate(system.components)}
        steeper = np.where(steep > 0.0, si, -1.0)
        then = clouding_times_s(solids, steeper, there, draws.at(which), t)
        soon = (then < TIMES_S["24h"]) & (then < SOONER * fresh.clouding[which])
        return np.asarray(soon.any(axis=1))

    rows = np.flatnonzero((rise > LEAST_RISE) & fresh.ok)
    rows = rows[sooner(fresh.si[rows] + rise[rows, None] * steep, rows)]
    if not rows.size:
        return None
    before = clear.rows(rows)
    after = aired(system, clear.totals[rows], before.conditions, start=before)
    if after is None:
        return None
    si = after.saturation_index(solids, fresh.log_ksp[rows])
    gone = np.where(after.converged, np.maximum(after.amounts[:, 0], LEAST_MOL_PER_KG), 1.0)
    free = np.exp(before.ln_molality[:, column]) - np.exp(after.ln_molality[:, column])
    rate = rate[rows] * np.clip(np.nan_to_num(free / gone), 0.0, 1.0)
    by_a_day = -np.expm1(-rate * TIMES_S["24h"]) * np.nan_to_num(after.ph - before.ph)
    matters = after.converged & (by_a_day > LEAST_RISE) & sooner(si, rows)
    if not matters.any():
        return None
    whole, per_s = np.zeros(draws.count), np.zeros(draws.count)
    whole[rows] = np.where(matters, gone, 0.0)
    per_s[rows] = np.where(matters, rate, 0.0)
    return Driven(whole, per_s)


def _rise_in_a_day(clear: Equilibrium, column: int, rate_per_s: Floats) -> Floats:
    """(N,) about the most by which the pH can rise: twice the loss over the buffer capacity.

    Buffer capacity: ln 10 times the spread of bound protons over the species of each component
    (Stumm and Morgan 1996, section 3.9).
    """
    molality = np.nan_to_num(clear.molality)
    parts, protons = clear.system.nu[:-1], clear.system.nu[-1]
    held = np.maximum(molality @ parts.T, 1e-30)
    mean = (molality * protons) @ parts.T / held
    spread = (molality * protons**2) @ parts.T - mean**2 * held
    carbonate = clear.totals[:, clear.system.components.index(CARBONATE)]
    lost = np.minimum(molality[:, column] * rate_per_s * TIMES_S["24h"], carbonate)
    return np.asarray(MARGIN * 2.0 * lost / (LN10 * np.maximum(spread.sum(axis=1), 1e-12)))


def _per_ph(solid: Solid) -> float:
    """Most by which its SI rises with one unit of pH; 0 for what decides nothing."""
    if not solid.decides:
        return 0.0
    ligands = sum(n * BY_LIGAND.get(s, 0.0) for s, n in solid.reaction.items())
    return max(ligands - solid.reaction.get("H+", 0.0), 0.0)
