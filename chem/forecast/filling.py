"""What the act of filling does: dry goods that cool or warm the water as they dissolve."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np

from chem.doubts import median
from chem.label import Contents
from chem.reference import catalogue, read_csv
from chem.tank import Mix

HEAT_CAPACITY_KJ_PER_KG_K = 4.0
"""Of a dilute tank, a little under that of water."""
KELVIN_STEP = 0.5


@cache
def heats_kJ_per_mol() -> dict[str, float]:
    """Source -> heat that a mole takes up as it dissolves in much water: `heats.csv`."""
    return {r["salt"]: float(r["kJ_per_mol"]) for r in read_csv("heats.csv")}


def warmer_by_K(mix: Mix, contents: Sequence[Contents]) -> float:
    """How much warmer (colder below zero) dry goods leave the tank than water and products were.

    Sources of a dry product without a heat in the table count as none. It is known to half a kelvin
    at best and given in such steps, so that tanks of like warmth are solved together.
    """
    taken_up = 0.0
    for addition, inside in zip(mix.additions, contents, strict=True):
        if not addition.product.dry:
            continue
        kg_per_L = addition.amount_per_L(mix.carrier_L_per_m2) / 1000.0
        for key, percent in inside.sources_percent.items():
            heat = heats_kJ_per_mol().get(key)
            if heat is not None:
                mol = 10.0 * kg_per_L * median(np.asarray(percent)) / _molar_mass(key)
                taken_up += mol * heat
    change = -taken_up / HEAT_CAPACITY_KJ_PER_KG_K
    return KELVIN_STEP * round(change / KELVIN_STEP)


def _molar_mass(source: str) -> float:
    return catalogue().sources[source].molar_mass
