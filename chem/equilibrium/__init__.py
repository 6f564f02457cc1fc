"""The batch equilibrium: totals in, species, pH and saturation out. Knows nothing of products."""

from chem.equilibrium.activity import LN10, MOLAR_MASS_WATER_KG, water_density_g_per_mL
from chem.equilibrium.air import aired
from chem.equilibrium.conductivity import conductivity_mS_per_cm
from chem.equilibrium.covered import coverage
from chem.equilibrium.newton import solve
from chem.equilibrium.outcome import Conditions, Equilibrium, RowStatus
from chem.equilibrium.solids import settle
from chem.equilibrium.system import (
    SHIFT_CLASSES,
    Phases,
    System,
    build_phases,
    build_system,
    held_key,
)
from chem.equilibrium.threads import one_thread

__all__ = [
    "LN10",
    "MOLAR_MASS_WATER_KG",
    "SHIFT_CLASSES",
    "Conditions",
    "Equilibrium",
    "Phases",
    "RowStatus",
    "System",
    "aired",
    "build_phases",
    "build_system",
    "conductivity_mS_per_cm",
    "coverage",
    "held_key",
    "one_thread",
    "settle",
    "solve",
    "water_density_g_per_mL",
]
