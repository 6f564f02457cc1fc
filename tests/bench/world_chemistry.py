"""PHREEQC for the world of sold liquids: databases without redox, one solution at a time.

Nothing here imports the program. Two databases serve: `stock()` is minteq.v4.dat as PHREEQC ships
it, cut down to what feeds hold, each redox state an element of its own, Davies activities; any
other comes as text with the names of its elements (the bench hands over one written from the
program's own tables). `EXTRAS` is added to both: acids that labels do not list, chelates that hold
their iron for a day, and solids that a table may lack. Their constants are values from memory,
rounded as handbooks round them.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

MASTERS = {
    "Ca": "Ca+2", "Mg": "Mg+2", "K": "K+", "Na": "Na+", "NH4": "NH4+", "Fe2": "Fe+2",
    "Fe3": "Fe+3", "Mn": "Mn+2", "Zn": "Zn+2", "Cu": "Cu+2", "B": "H3BO3", "Mo": "MoO4-2",
    "Si": "H4SiO4", "Cl": "Cl-", "NO3": "NO3-", "SO4": "SO4-2", "CO3": "CO3-2", "PO4": "PO4-3",
    "acetate": "Acetate-", "citrate": "Citrate-3", "EDTA": "Edta-4", "formate": "Formate-",
    "tartrate": "Tartarate-2", "glycine": "Glycine-",
}  # fmt: skip
"""Component -> its ion in minteq.v4.dat."""
ELEMENTS = {
    "NH4": "Am", "Fe2": "Fi", "Fe3": "Fe", "NO3": "Nt", "SO4": "S", "CO3": "C", "PO4": "P",
    "acetate": "Acetate", "citrate": "Citrate", "EDTA": "Edta", "formate": "Formate",
    "tartrate": "Tartarate", "glycine": "Glycine",
}  # fmt: skip
RENAMED = (("Fe+2", "Fe", "Fi"), ("NH4+", "N", "Am"), ("NO3-", "N", "Nt"))

ACIDS: Mapping[str, tuple[int, tuple[float, ...]]] = {
    "P2O7": (-4, (9.40, 6.68, 2.27, 1.0)),
    "P3O10": (-5, (9.25, 6.54, 2.24)),
    "HPO3": (-2, (6.70, 1.5)),
    "S2O3": (-2, (1.7,)),
    "gluconate": (-1, (3.75,)),
    "acetate": (-1, (4.76,)),
    "citrate": (-3, (6.40, 4.76, 3.13)),
    "formate": (-1, (3.75,)),
    "oxalate": (-2, (4.27, 1.25)),
    "lactate": (-1, (3.86,)),
    "benzoate": (-1, (4.20,)),
    "sorbate": (-1, (4.76,)),
    "succinate": (-2, (5.64, 4.21)),
    "sulfite": (-2, (7.19, 1.85)),
    "MEA": (0, (9.50,)),
    "TEA": (0, (7.76,)),
    "amino": (-1, (9.7, 2.4)),
    "glutamate": (-2, (9.9, 4.3, 2.2)),
    "histidine": (0, (6.1,)),
    "aconitate": (-3, (6.2, 4.5, 2.8)),
    "humicA": (-1, (3.6,)),
    "humicB": (-1, (5.2,)),
    "humicC": (-1, (9.6,)),
    "ligno": (-1, ()),
    "phenol": (-1, (9.9,)),
    "alginate": (-1, (3.5,)),
    "HEDTAfree": (-3, (9.9, 5.4, 2.6)),
    "DTPAfree": (-5, (10.5, 8.6, 4.3, 2.8, 2.0)),
    "soap": (-1, ()),
    "F": (-1, (3.18,)),
    "FeEDTA": (-1, (-7.6,)),
    "FeHEDTA": (0, (-4.1, -8.8)),
    "FeDTPA": (-2, (3.6, -9.7)),
    "FeEDDHA": (-1, ()),
    "FecitA": (0, (-3.0, -6.5)),
    "FeglucA": (0, (-2.5, -6.0)),
}
"""Charge bare; log K of taking up H+ one by one, negative: of giving one (hydroxo form)."""
PAIRS = (
    ("Ca", "P2O7", 1, 6.8), ("Mg", "P2O7", 1, 7.2), ("Zn", "P2O7", 1, 8.7), ("Cu", "P2O7", 1, 9.8),
    ("Mn", "P2O7", 1, 7.0), ("Fe2", "P2O7", 1, 7.0), ("K", "P2O7", 1, 2.1), ("Na", "P2O7", 1, 2.1),
    ("Ca", "P3O10", 1, 8.1), ("Mg", "P3O10", 1, 8.6), ("Zn", "P3O10", 1, 9.8),
    ("Mn", "P3O10", 1, 8.8), ("Fe2", "P3O10", 1, 8.0), ("Cu", "P3O10", 1, 10.7),
    ("K", "P3O10", 1, 2.7), ("Na", "P3O10", 1, 2.8), ("Ca", "S2O3", 1, 2.0), ("Mg", "S2O3", 1, 1.8),
    ("Ca", "gluconate", 1, 1.7), ("Cu", "gluconate", 1, 2.5), ("Ca", "HPO3", 1, 1.6),
    ("Mg", "HPO3", 1, 1.6), ("Ca", "oxalate", 1, 3.2), ("Mg", "oxalate", 1, 3.4),
    ("Fe2", "citrate", 1, 5.7), ("Mn", "citrate", 1, 5.0), ("Zn", "citrate", 1, 6.2),
    ("Cu", "amino", 1, 8.4), ("Cu", "amino", 2, 15.4), ("Zn", "amino", 1, 5.2),
    ("Ca", "glutamate", 1, 2.1), ("Ca", "humicA", 1, 1.9), ("Cu", "humicB", 1, 5.0),
    ("Ca", "alginate", 1, 1.8),
)  # fmt: skip
"""Pairs (metal, anion, how many anions, log K) of anions that a database lacks; I = 0."""
SOLIDS: Mapping[str, tuple[Mapping[str, float], float, float]] = {
    # ions, log Ksp, g/mol
    "struvite": ({"Mg": 1, "NH4": 1, "PO4": 1}, -13.26, 245.4),
    "amorphous_calcium_phosphate": ({"Ca": 3, "PO4": 2}, -25.5, 310.2),
    "vaterite": ({"Ca": 1, "CO3": 1}, -7.91, 100.1),
    "Ca2P2O7_2H2O": ({"Ca": 2, "P2O7": 1}, -15.0, 290.0),
    "Ca_citrate": ({"Ca": 3, "citrate": 2}, -17.9, 570.5),
    "Ca_oxalate": ({"Ca": 1, "oxalate": 1}, -8.7, 146.1),
    "Ca_phosphite": ({"Ca": 1, "HPO3": 1}, -4.3, 138.0),
    "Ca_sulfite": ({"Ca": 1, "sulfite": 1}, -6.5, 129.1),
    "Ca_soap": ({"Ca": 1, "soap": 2}, -10.8, 690.0),
    "Ca_fluoride": ({"Ca": 1, "F": 2}, -10.5, 78.1),
    "MnNH4PO4": ({"Mn": 1, "NH4": 1, "PO4": 1}, -12.4, 185.9),
    "ZnNH4PO4": ({"Zn": 1, "NH4": 1, "PO4": 1}, -15.0, 178.4),
    "FeNH4PO4": ({"Fe2": 1, "NH4": 1, "PO4": 1}, -12.8, 186.9),
    "Cu_phosphite": ({"Cu": 1, "HPO3": 1}, -8.0, 143.5),
    "ferric_phosphate": ({"Fe3": 1, "PO4": 1}, -25.7, 186.8),
    "powellite": ({"Ca": 1, "Mo": 1}, -7.93, 200.0),
    "edta_acid": ({"EDTA": 1, "H": 4}, -27.2, 292.2),
    "koktaite": ({"Ca": 1, "NH4": 2, "SO4": 2}, -5.2, 286.0),
}
ALSO_CALLED = {
    "Ca2P2O7_2H2O": "calcium_pyrophosphate", "Ca_citrate": "calcium_citrate",
    "Ca_oxalate": "calcium_oxalate", "Ca_phosphite": "calcium_phosphite",
    "Ca_sulfite": "calcium_sulfite", "MnNH4PO4": "mn_ammonium_phosphate",
    "ZnNH4PO4": "zn_ammonium_phosphate", "FeNH4PO4": "fe_ammonium_phosphate",
    "Cu_phosphite": "copper_phosphite",
}  # fmt: skip
"""Two names of one solid in one tank have no equilibrium."""
LACKED = {"Ca_soap", "Ca_fluoride"}
"""Solids that the program's tables lack: counted apart."""

STOCK_PHASES = {
    # name in minteq.v4.dat: (own key, g/mol)
    "Gypsum": ("gypsum", 172.2), "CaHPO4:2H2O": ("brushite", 172.1), "Calcite": ("calcite", 100.1),
    "MgHPO4:3H2O": ("newberyite", 174.3),
    "Vivianite": ("vivianite", 501.6), "Ferrihydrite": ("ferrihydrite", 106.9),
    "Mn3(PO4)2": ("manganese_phosphate", 354.8), "Zn3(PO4)2:4H2O": ("hopeite", 458.1),
    "Cu3(PO4)2:3H2O": ("copper_phosphate", 434.6), "Rhodochrosite": ("rhodochrosite", 114.9),
    "Smithsonite": ("smithsonite", 125.4), "Siderite": ("siderite", 115.9),
    "Brucite": ("brucite", 58.3),
    "Malachite": ("malachite", 221.1), "Brochantite": ("brochantite", 452.3),
    "Cu(OH)2": ("cu_hydroxide", 97.6),
    "Zn(OH)2": ("zn_hydroxide", 99.4), "SiO2(am-ppt)": ("silica_amorphous", 60.1),
}  # fmt: skip


CORRECTED = {"Mn3(PO4)2": "-34.6"}
"""log K that the stock database carries wrongly (-23.8 is a known slip; Boyle and Lindsay 1985):
with it manganese would never curdle with phosphate, which every chart of the trade forbids."""


@dataclass(frozen=True)
class Database:
    """text; element of each component; phase -> (own key, g/mol, components it holds)."""

    name: str
    text: str
    elements: Mapping[str, str]
    phases: Mapping[str, tuple[str, float]]


def _terms(side: str) -> list[tuple[float, str]]:
    out = []
    for part in re.split(r"\s\+\s", side.strip()):
        match = re.match(r"^(\d+\.?\d*)?\s*(\S+)$", part.strip())
        if match is None:
            return []
        out.append((float(match[1] or 1), match[2]))
    return out


def _renamed(reaction: str) -> str:
    for ion, old, new in RENAMED:
        if re.search(rf"(^|\s){re.escape(ion)}(\s|$)", reaction):
            reaction = re.sub(rf"{old}(?![a-z])", new, reaction)
    return reaction


def _reactions(lines: Sequence[str]) -> list[tuple[str, str, str, str]]:
    """(name of a phase or nothing, reaction, log_k, delta_h) of a block."""
    out: list[list[str]] = []
    name = ""
    for line in lines:
        text = line.split("#")[0].rstrip()
        if not text.strip():
            continue
        if "=" in text:
            out.append([name, text.strip(), "0", "0 kJ"])
        elif text.strip().startswith("log_k") and out:
            out[-1][2] = text.split()[1]
        elif text.strip().startswith("delta_h") and out:
            out[-1][3] = " ".join(text.split()[1:])
        elif not text[0].isspace():
            name = text.strip()
    return [(a, b, c, d) for a, b, c, d in out]


HEAD = """SOLUTION_MASTER_SPECIES
H H+ -1 H 1.008
H(1) H+ -1 0
H(0) H2 0 H
E e- 0 0 0
O H2O 0 O 16
O(-2) H2O 0 0
O(0) O2 0 O
"""
BASE = """SOLUTION_SPECIES
H+ = H+
log_k 0
e- = e-
log_k 0
H2O = H2O
log_k 0
2 H+ + 2 e- = H2
log_k -3.15
2 H2O = O2 + 4 H+ + 4 e-
log_k -85.99
"""


@cache
def stock() -> Database:
    """minteq.v4.dat without redox. Raises: FileNotFoundError without pyEQL."""
    import pyEQL

    folder = Path(str(pyEQL.__file__)).parent / "phreeqc" / "database"
    blocks: dict[str, list[str]] = {"SOLUTION_SPECIES": [], "PHASES": []}
    current = ""
    for line in (folder / "minteq.v4.dat").read_text(errors="replace").splitlines():
        if (re.fullmatch(r"[A-Z_]+\s*", line) and "_" in line) or line.strip() in ("PHASES", "END"):
            current = line.strip()
        elif current in blocks:
            blocks[current].append(line)
    known = set(MASTERS.values()) | {"H+", "H2O"}
    elements = {c: ELEMENTS.get(c, c) for c in MASTERS}
    head, species, phases = [HEAD], [BASE], ["PHASES"]
    for component, ion in MASTERS.items():
        own = _renamed(ion)
        head.append(f"{elements[component]} {own} 0 1 1")
        species.append(f"{own} = {own}\nlog_k 0")
    for _, reaction, log_k, delta_h in _reactions(blocks["SOLUTION_SPECIES"]):
        left, right = (_terms(s) for s in reaction.split("="))
        made = [t for _, t in right if t not in known]
        if left and len(made) == 1 and all(t in known for _, t in left):
            species.append(f"{_renamed(reaction)}\nlog_k {log_k}\ndelta_h {delta_h}")
    species.append("H2O = OH- + H+\nlog_k -13.997\ndelta_h 55.81 kJ")
    found: dict[str, tuple[str, float]] = {}
    for name, reaction, log_k, delta_h in _reactions(blocks["PHASES"]):
        left, right = (_terms(s) for s in reaction.split("="))
        solid = [t for _, t in left if t not in known]
        if name in STOCK_PHASES and len(solid) == 1 and all(t in known for _, t in right):
            found[name] = STOCK_PHASES[name]
            text = f"log_k {CORRECTED.get(name, log_k)}\ndelta_h {delta_h}"
            phases.append(f"{name}\n{_renamed(reaction)}\n{text}")
    lost = set(STOCK_PHASES) - set(found)
    if lost:
        raise RuntimeError(f"minteq.v4.dat has lost {sorted(lost)}")
    return extended(
        Database("stock", "\n".join([*head, *species, *phases, ""]), elements, found),
        {c: (ion, _charge(ion)) for c, ion in ((c, _renamed(i)) for c, i in MASTERS.items())},
    )


def _charge(ion: str) -> int:
    match = re.search(r"([+-])(\d*)$", ion)
    return 0 if match is None else int(match[1] + (match[2] or "1"))


def _signed(charge: int) -> str:
    return "" if charge == 0 else f"{charge:+d}"


def extended(base: Database, ions: Mapping[str, tuple[str, int]]) -> Database:
    """A database with ACIDS, PAIRS and SOLIDS added where it lacks them.

    ions: component -> (PHREEQC name of its bare ion, charge).
    """
    ions = dict(ions)
    elements = dict(base.elements)
    head, species, phases = [], [], []
    added = set()
    for component, (charge, steps) in ACIDS.items():
        if component in elements:
            continue
        added.add(component)
        name = "Z" + re.sub(r"\d", lambda m: "abcdefghij"[int(m[0])], component).lower()
        bare = name + _signed(charge)
        elements[component], ions[component] = name, (bare, charge)
        head.append(f"{name} {bare} 0 1 1")
        species.append(f"{bare} = {bare}\nlog_k 0")
        total, taken = 0.0, 0
        gives, given = 0.0, 0
        for log_k in steps:
            if log_k > 0.0 or component.startswith("acid"):
                total, taken = total + log_k, taken + 1
                form = f"H{taken if taken > 1 else ''}{name}{_signed(charge + taken)}"
                species.append(f"{bare} + {taken}H+ = {form}\nlog_k {total}")
            else:
                gives, given = gives + log_k, given + 1
                form = f"{name}(OH){given if given > 1 else ''}{_signed(charge - given)}"
                species.append(f"{bare} + {given}H2O = {form} + {given}H+\nlog_k {gives}")
    for metal, anion, count, log_k in PAIRS:
        if anion not in added or metal not in ions:
            continue
        m, a = ions[metal], ions[anion]
        own = elements[metal] + f"({elements[anion]}){count if count > 1 else ''}"
        species.append(
            f"{m[0]} + {count}{a[0]} = {own}{_signed(m[1] + count * a[1])}\nlog_k {log_k}"
        )
    ions["H"] = ("H+", 1)
    have = dict(base.phases)
    keys = {key for key, _ in have.values()}
    keys |= {own for own, other in ALSO_CALLED.items() if other in keys}
    for key, (parts, log_k, mass) in SOLIDS.items():
        if key in keys or not all(c in ions for c in parts):
            continue
        right = " + ".join(f"{n:g} {ions[c][0]}" for c, n in parts.items())
        solid = "".join(
            f"({re.sub(r'[+-][0-9]*$', '', ions[c][0])}){n if n > 1 else ''}"
            for c, n in parts.items()
        )
        phases.append(f"{key}\n{solid} = {right}\nlog_k {log_k}")
        have[key] = (key, mass)
    text = base.text + "\n".join(
        ["", "SOLUTION_MASTER_SPECIES", *head, "SOLUTION_SPECIES", *species, "PHASES", *phases, ""]
    )
    return Database(base.name, text, elements, have)


@dataclass(frozen=True)
class Solved:
    """pH, ionic strength [mol/kg], charge left over [eq/kg], SI and amounts [mol/kg] by key."""

    ph: float
    ionic_strength: float
    imbalance: float
    si: Mapping[str, float]
    amounts: Mapping[str, float]


class Lab:
    """PHREEQC with one database loaded. Raises: RuntimeError if it doesn't load."""

    def __init__(self, database: Database) -> None:
        from pyEQL._phreeqc import PyIPhreeqc

        self.database = database
        self._engine: Any = PyIPhreeqc()
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "world.dat"
            path.write_text(database.text)
            self._engine.load_database(str(path))

    def solve(
        self,
        mol_per_kgw: Mapping[str, float],
        t_celsius: float = 25.0,
        ph: float | None = None,
        settle: Sequence[str] = (),
    ) -> Solved | None:
        """One solution; ph: held there, else charge decides; settle: phases that may form.

        Components without an element here (urea, sugars) are left out. None where PHREEQC fails.
        """
        elements, phases = self.database.elements, list(self.database.phases)
        given = {elements[c]: m for c, m in mol_per_kgw.items() if c in elements and m > 1e-13}
        punch = ['-LA("H+")', "MU", "CHARGE_BALANCE", 'TOT("water")']
        punch += [f'SI("{p}")' for p in phases] + [f'EQUI("{p}")' for p in phases]
        lines = ["KNOBS", "-iterations 400", "SELECTED_OUTPUT", "-reset false"]
        lines += ["-high_precision true", "USER_PUNCH", "-start"]
        lines += [f"{10 + i} PUNCH {p}" for i, p in enumerate(punch)]
        lines += ["-end"]
        for guess in (7.0, 4.0, 10.0, 2.0, 12.0) if ph is None else (ph,):
            text = [*lines, "SOLUTION 1", f"temp {t_celsius}", "units mol/kgw", "-water 1"]
            text += [f"pH {guess} {'charge' if ph is None else ''}"]
            text += [f"{e} {m:.12g}" for e, m in given.items()]
            if settle:
                text += ["EQUILIBRIUM_PHASES 1", *(f"{p} 0 0" for p in settle)]
            try:
                self._engine.run_string("\n".join([*text, "END", ""]))
            except RuntimeError:
                continue
            row = self._row()
            if len(row) == len(punch):
                n = len(phases)
                named = [self.database.phases[p][0] for p in phases]
                si = dict(zip(named, row[4 : 4 + n], strict=True))
                out = dict(zip(named, row[4 + n :], strict=True))
                return Solved(row[0], row[1], row[2], si, out)
        return None

    def _row(self) -> list[float]:
        from pyEQL.phreeqc.var import Var

        box, engine = Var(), self._engine
        last = engine.get_selected_output_row_count() - 1
        row = []
        for j in range(engine.get_selected_output_column_count()):
            engine.get_value(last, j, box._var.var)
            value = box.value
            row.append(float(value) if isinstance(value, int | float) else float("nan"))
        return row
