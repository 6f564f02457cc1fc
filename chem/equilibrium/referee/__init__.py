"""PHREEQC as referee: a solver that never saw ours, given a database made from our tables.

PHREEQC (Parkhurst and Appelo, USGS Techniques and Methods 6-A43, 2013; inside pyEQL) gets one
pseudo-element per component, so no redox reaction and no constant of its own enters, and each
row's log K at its temperature and SIT coefficients at its ionic strength. PHREEQC's own are: A(T)
of Debye-Hueckel, the osmotic coefficient, the mass balances and the numerical method.

Understood differences:
- A(T) is 3.5e-5 higher in PHREEQC, whose Avogadro number (6.02252e23) is an old one; density and
  permittivity of water agree. Up to 3e-4 in SI for ions of charge 5.
- PHREEQC balances H and O too. While solids settle, water that the species take up or set free
  (2 H2O in neutralised Cu(OH)4-2, say) changes the mass of water, by up to 1 % where hydroxides
  fall out; ours counts only the water inside solids. Up to 0.2 % of an amount, 0.003 in pH and
  0.011 in SI; PHREEQC's own settled solution, solved again by us, agrees as closely as any other.
- PHREEQC stops at a relative mass balance of 1e-8 (here 1e-12): metal and ligand equal to 1e-9
  leave the free ion to rounding in both.
- A pair of neutral species counts half in PHREEQC's osmotic coefficient; the tables have none.
"""

from chem.equilibrium.referee.agreement import Disagreement, compare, disagreement
from chem.equilibrium.referee.as_phreeqc import database, effective_eps, element, species_names
from chem.equilibrium.referee.engine import (
    Engine,
    Refereed,
    phreeqc,
    pyeql_folder,
    referee,
    solution_text,
)

__all__ = [
    "Disagreement",
    "Engine",
    "Refereed",
    "compare",
    "database",
    "disagreement",
    "effective_eps",
    "element",
    "phreeqc",
    "pyeql_folder",
    "referee",
    "solution_text",
    "species_names",
]
