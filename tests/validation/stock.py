"""PHREEQC with the databases it is shipped with, for the side-by-side columns of the page.

The binding drops elements that a database lacks without an error, so every element is looked for
in the database's own list first. Redox: nitrogen is given as nitrate only, with a pe at which
it stays nitrate; a row with ammonium is left out.
"""

from __future__ import annotations

import math
from functools import cache

from chem.equilibrium.referee import Engine, pyeql_folder
from validation.runner import Check

DATABASES = ("sit.dat", "minteq.v4.dat", "phreeqc.dat", "llnl.dat", "pitzer.dat")
NAMES = {
    "Ca": ("Ca",),
    "Mg": ("Mg",),
    "K": ("K",),
    "Na": ("Na",),
    "Cl": ("Cl",),
    "NO3": ("N(5)", "N(+5)"),
    "SO4": ("S(6)", "S(+6)"),
    "CO3": ("C(4)", "C(+4)"),
    "PO4": ("P",),
    "B": ("B",),
    "citrate": ("Cit", "Citrate"),
    "oxalate": ("Ox",),
    "tartrate": ("Tartarate",),
    "phthalate": ("Phthalat", "Phthalate"),
}


@cache
def _engine(database: str) -> tuple[Engine, frozenset[str]]:
    path = pyeql_folder() / "phreeqc" / "database" / database
    text = path.read_text(errors="replace")
    found, inside = set(), False
    for line in text.splitlines():
        words = line.split("#")[0].split()
        if not words:
            continue
        if words[0].isupper() and words[0] == "SOLUTION_MASTER_SPECIES":
            inside = True
        elif words[0].isupper() and "_" in words[0] and not words[0].startswith("-"):
            inside = False
        elif inside and len(words) > 1:
            found.add(words[0])
    return Engine(text), frozenset(found)


def _element(component: str, known: frozenset[str]) -> str | None:
    return next((n for n in NAMES.get(component, ()) if n in known), None)


def compute(check: Check, database: str) -> float | None:
    """pH, or gypsum's dissolved total [mol/kg water]; None where the database lacks something."""
    engine, known = _engine(database)
    lines = []
    for component, total in check.totals.items():
        name = _element(component, known)
        if name is None:
            return None
        lines.append(f"  {name} {total:.10g}")
    gypsum = check.quantity.startswith("solubility of gypsum")
    guess = 7.0 if gypsum else check.number
    counted = None
    if gypsum:
        counted = _element(check.quantity.split(" as ")[1], known)
    punch = f'TOT("{counted}")' if counted else '-LA("H+")'
    pe = 12 if "NO3" in check.totals else 4
    settle = "EQUILIBRIUM_PHASES 1\n  Gypsum 0 10\n" if gypsum else ""
    engine.run(
        "SELECTED_OUTPUT 1\n -reset false\n"
        f"USER_PUNCH 1\n -headings x\n -start\n10 PUNCH {punch}\n -end\n"
        f"SOLUTION 1\n  temp {check.t_celsius}\n  pe {pe}\n  pH {guess} charge\n  units mol/kgw\n"
        + "\n".join(lines)
        + f"\n{settle}END\n"
    )
    value = engine.selected()[-1][-1]
    return None if math.isnan(value) else value
