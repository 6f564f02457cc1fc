"""What a jug that is sold clear cannot stand at: metals as hydroxide or rust, humate as its acid.

A solution on the shelf was clear for months. A pH at which its metals would fall is told by the
saturation of hydroxides in its dilution, leniently: constants are of fresh solids, polymers of
ferric iron stay clear well beyond them, and labels call fine suspensions solutions.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from chem.equilibrium import Equilibrium, build_phases
from chem.reference import judged
from chem.reference.colloids import colloids

Floats = NDArray[np.float64]

_SAID = judged("evidence")
SPREAD, LEAST = _SAID["keeps_spread"], _SAID["keeps_least"]
METALS = ("Fe2", "Fe3", "Mn", "Zn", "Cu")
HOLDERS = ("gluconate", "citrate", "glycine", "tartrate", "oxalate")
HELD_FROM, AMMINE_FROM = _SAID["held_from"], _SAID["ammine_from"]
"""Of these, or of ammonia, to a metal from which on it stays dissolved as what no constant tells
of: polymers, mixed hydroxides, ammines of strong liquors."""
HUMATES = {"potassium humate", "humic acid"}
HUMATE_FROM = _SAID["humate_from"]
LOGISTIC = 1.702
"""The logistic of 1.702 z is the normal distribution within 0.01."""


def ln_keeps(state: Equilibrium) -> Floats:
    """(N,) ln of the chance that a liquid on sale holds its metals at the pH of its dilution.

    Liquids whose metals are held by sugar, fruit or amino acids or by ammonia pass.
    """
    allowed = judged("jug_keeps")
    phases = build_phases(state.system, tuple(allowed))
    none = np.zeros(len(state.totals))
    if not len(phases):
        return none
    beyond = state.saturation_index(phases) - np.array([allowed[k] for k in phases.keys])
    worst = np.nan_to_num(beyond, nan=-50.0).max(axis=1) / SPREAD
    told = np.maximum(-np.logaddexp(0.0, np.clip(worst, -50.0, 50.0)), LEAST)
    place = state.system.components
    of = {c: state.totals[:, place.index(c)] for c in place}
    metal = sum((of.get(m, none) for m in METALS), none)
    ammines = of.get("Zn", none) + of.get("Cu", none)
    held = sum((of.get(h, none) for h in HOLDERS), none) >= HELD_FROM * metal
    held |= (ammines > 0.5 * metal) & (of.get("NH4", none) >= AMMINE_FROM * ammines)
    return np.where(held, 0.0, told)


def ln_humate_keeps(sources: Sequence[str], amounts: Floats, ph: Floats) -> Floats:
    """(M, F) ln of the chance that humates, among amounts (M, n) [kg/kg], stay dissolved at each
    pH (F,)."""
    row = colloids()["humate_by_acid"]
    z = np.clip((ph - row.threshold) / row.factor, -50.0, 50.0)
    told = np.maximum(-np.logaddexp(0.0, -LOGISTIC * z), LEAST)
    humate = amounts[:, [key in HUMATES for key in sources]].sum(axis=1)
    return np.where(humate[:, None] > HUMATE_FROM, told, 0.0)
