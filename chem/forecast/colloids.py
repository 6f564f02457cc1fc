"""Colloids: what gels or flocculates without being a salt at its solubility limit.

Thresholds with wide spreads (`data/colloids.csv`), one draw of each per version of the tank. They
count into the odds and are listed apart from the salts.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from chem.doubts import Draws
from chem.equilibrium.activity import Floats
from chem.forecast.state import State
from chem.forecast.times import TIMES_S
from chem.reference import molar_mass_g_per_mol, tables
from chem.reference.colloids import Colloid, colloids
from chem.tank import Finished

Bools = NDArray[np.bool_]
DIVALENT = {"Ca+2": 1.0, "Mg+2": 1.0 / 3.0, "Fe+2": 3.0, "Fe+3": 3.0, "Mn+2": 3.0, "Zn+2": 3.0}
DIVALENT |= {"Cu+2": 3.0}
DAY_S = TIMES_S["24h"]
GELLING = {"Ca+2": 1.0, "Mn+2": 1.0, "Zn+2": 1.0, "Cu+2": 3.0, "Fe+2": 1.0, "Fe+3": 3.0}
SILICA_SOLUBLE_MMOL = 2.0
GROWTH_TIMES = 5.0
"""Clouding times over which what falls out in time grows, as for salts."""


class Holds(Protocol):
    """A finished solution with its draws; film: (N,) whether it holds a gum that borate gels."""

    @property
    def draws(self) -> Draws:
        """Of its rows."""
        ...

    @property
    def finished(self) -> Finished:
        """Its totals."""
        ...

    @property
    def film(self) -> Bools:
        """(N,)."""
        ...


@dataclass(frozen=True)
class ColloidOutlook:
    """One colloid's fate per draw.

    falls: (N,) within a day; amount_g_per_L, swollen_g_per_L: (N,) in the end, by weight and
    against a screen; after_s: (N,) until it shows, 0 for a gel or floc, which is there within
    minutes.
    """

    key: str
    because: str
    falls: Bools
    amount_g_per_L: Floats
    swollen_g_per_L: Floats
    after_s: Floats

    def share_by(self, t_s: float) -> Floats:
        """(N,) share of the amounts that is out by a time."""
        late = np.maximum(t_s - self.after_s, 0.0) / np.maximum(GROWTH_TIMES * self.after_s, 1e-9)
        return np.where(self.after_s > 0.0, 1.0 - np.exp(-late), 1.0)

    def amount_by(self, t_s: float) -> Floats:
        """(N,) out by a time [g/L]."""
        return self.amount_g_per_L * self.share_by(t_s)

    def swollen_by(self, t_s: float) -> Floats:
        """(N,) out by a time [g/L], as a screen meets it."""
        return self.swollen_g_per_L * self.share_by(t_s)

    def rows(self, which: slice) -> ColloidOutlook:
        """Some of the rows."""
        arrays = ("falls", "amount_g_per_L", "swollen_g_per_L", "after_s")
        return replace(self, **{name: getattr(self, name)[which] for name in arrays})


def _grams(rule: Colloid, tank: Holds) -> Floats:
    """(N,) [g/L] of what a rule speaks of that could fall out; none below its least amount."""
    finished = tank.finished
    mol_per_L = finished.totals_mol_per_L[:, finished.components.index(rule.component)]
    grams = mol_per_L * molar_mass_g_per_mol(tables().components[rule.component].formula)
    if rule.component == "Si":
        soluble = SILICA_SOLUBLE_MMOL / 1000.0
        grams = grams * np.maximum(1.0 - soluble / np.maximum(mol_per_L, 1e-12), 0.0)
    if rule.component == "S2O3":
        grams = mol_per_L * molar_mass_g_per_mol("S")
    least = rule.least_g_per_L * tank.draws.factor(
        f"colloid least:{rule.component}", float(np.log(rule.least_factor))
    )
    return np.where(grams > least, grams, 0.0)


def may_fall(tank: Holds) -> Bools:
    """(N,) draws with enough of some colloid to fall out, whatever the solution."""
    out = np.zeros(tank.draws.count, dtype=bool)
    for rule in colloids().values():
        if rule.component in tank.finished.components:
            out |= _grams(rule, tank) > 0.0
    return out


def colloid_outlook(
    tank: Holds, fresh: State, within_s: float = DAY_S, *, closed: bool = False
) -> tuple[ColloidOutlook, ...]:
    """Every colloid that the tank holds, with the draws in which it falls out or gels in time.

    closed: no air takes up the bisulfite beside which sulfur falls, so that it holds some back.
    """
    finished = tank.finished
    found = []
    for rule in colloids().values():
        if rule.component not in finished.components:
            continue
        grams = _grams(rule, tank)
        if not grams.any():
            continue
        after = np.zeros(tank.draws.count)
        if rule.trigger == "acid_in_time":
            after = _acid_time_s(rule, tank, fresh)
            falls = after < within_s
            if closed:
                grams = np.minimum(grams, _sulfur_g_per_L(tank, fresh))
        else:
            falls = _falls(rule, tank, fresh)
        if rule.component == "Si":
            column = finished.components.index("Si")
            after = _gel_time_s(tank, fresh, finished.totals_mol_per_L[:, column])
            falls &= after < within_s
        falls &= grams > 0.0
        if rule.most_odds < 1.0:
            kind = tank.draws.uniform(f"colloid kind:{rule.component}", 0.0, 1.0)
            falls &= kind < rule.most_odds
        amount = np.where(falls, grams, 0.0)
        swollen = amount * rule.swelling
        found.append(ColloidOutlook(rule.key, rule.because, falls, amount, swollen, after))
    return tuple(found)


def _acid_time_s(rule: Colloid, tank: Holds, fresh: State) -> Floats:
    """(N,) time [s] until thiosulfate clouds: inverse to the acid and to what is free of it."""
    once = rule.threshold * tank.draws.factor(f"colloid:{rule.key}", float(np.log(rule.factor)))
    acid = np.power(10.0, -np.nan_to_num(fresh.clear.ph, nan=7.0))
    return np.asarray(once / np.maximum(acid * _molar(tank, fresh, "S2O3-2"), 1e-30))


def _sulfur_g_per_L(tank: Holds, fresh: State) -> Floats:
    """(N,) sulfur that has fallen once the bisulfite beside it holds the rest back.

    Acid fixing baths are made with sulfite for that reason.
    """
    acid = np.power(10.0, -np.nan_to_num(fresh.clear.ph, nan=7.0))
    product = tables().value("sulfur_by_bisulfite") * acid
    over = product * _molar(tank, fresh, "S2O3-2") - _molar(tank, fresh, "HSO3-")
    return np.maximum(over, 0.0) / (1.0 + product) * molar_mass_g_per_mol("S")


def _molar(tank: Holds, fresh: State, species: str) -> Floats:
    """(N,) of a species [mol/L], zero where it is not there."""
    column = fresh.clear.system.index.get(species)
    if column is None:
        return np.zeros(tank.draws.count)
    held = np.nan_to_num(fresh.clear.molality[:, column])
    return np.asarray(held * tank.finished.water_kg_per_L)


def _gel_time_s(tank: Holds, fresh: State, silica_mol_per_L: Floats) -> Floats:
    """(N,) time [s] until silica gels: by its own amount, pH and salt (Iler 1979)."""
    value, clear = tables().value, fresh.clear
    once = value("silica_gel_time") * tank.draws.factor(
        "colloid:silica clock", float(np.log(value("silica_gel_time_factor")))
    )
    ph = np.nan_to_num(clear.ph, nan=7.0)
    outside = np.maximum(np.maximum(7.0 - ph, ph - 9.0), 0.0)
    salt = 1.0 + np.nan_to_num(clear.ionic_strength) / value("silica_gel_salt")
    thin = value("silica_gel_silica") / np.maximum(silica_mol_per_L, 1e-9)
    return np.asarray(once * thin**2 * value("silica_gel_per_ph") ** outside / salt)


def _falls(rule: Colloid, tank: Holds, fresh: State) -> Bools:
    """(N,) draws in which the trigger passes its threshold."""
    draws = tank.draws
    clear = fresh.clear
    if rule.trigger == "ph_below":
        limit = rule.threshold + draws.normal(f"colloid:{rule.key}", 0.0, rule.factor)
        return np.asarray(np.nan_to_num(clear.ph, nan=7.0) < limit)
    limit = rule.threshold * draws.factor(f"colloid:{rule.key}", float(np.log(rule.factor)))
    if rule.trigger == "ionic_strength":
        return np.asarray(np.nan_to_num(clear.ionic_strength) > limit)
    if rule.trigger == "film":
        return np.asarray(tank.film & (_total_mmol(tank, "B") > limit))
    if rule.trigger == "ammonium":
        return np.asarray(_total_mmol(tank, "NH4") > limit)
    weights = DIVALENT if rule.trigger == "divalent" else GELLING
    return np.asarray(_free_mmol(tank, fresh, weights) > limit)


def _total_mmol(tank: Holds, component: str) -> Floats:
    """(N,) mmol/L of a component."""
    finished = tank.finished
    if component not in finished.components:
        return np.zeros(tank.draws.count)
    return 1000.0 * finished.totals_mol_per_L[:, finished.components.index(component)]


def _free_mmol(tank: Holds, fresh: State, weights: dict[str, float]) -> Floats:
    """(N,) weighted sum of free metal ions [mmol/L]."""
    clear = fresh.clear
    total = np.zeros(tank.draws.count)
    for species, weight in weights.items():
        column = clear.system.index.get(species)
        if column is not None:
            total += weight * np.nan_to_num(clear.molality[:, column])
    return np.asarray(1000.0 * total * tank.finished.water_kg_per_L)
