"""Ions and bases by the names that laboratories print."""

from __future__ import annotations

import re
from dataclasses import dataclass

from chem.units.text import refuse, tidy


@dataclass(frozen=True)
class Ion:
    """What a report may call an ion; the first basis is meant where only mg/L is printed."""

    formula: str
    element: str
    charge: int | None
    bases: tuple[str, ...]
    ppm_is_plain: bool = False

    def choices(self, own: str) -> tuple[str, ...]:
        """The bases a report may mean, the likeliest first."""
        by_charge = ("CaCO3",) if self.formula in ("Ca", "Mg", "HCO3", "CO3") else ()
        return (own, *(basis for basis in self.bases if basis != own), *by_charge)


_IONS = {
    "Ca": Ion("Ca", "Ca", 2, ("Ca", "CaO")),
    "Mg": Ion("Mg", "Mg", 2, ("Mg", "MgO")),
    "Na": Ion("Na", "Na", 1, ("Na",), ppm_is_plain=True),
    "K": Ion("K", "K", 1, ("K", "K2O"), ppm_is_plain=True),
    "NH4": Ion("NH4", "N", 1, ("NH4", "N", "NH3")),
    "Fe": Ion("Fe", "Fe", None, ("Fe",), ppm_is_plain=True),
    "Fe2": Ion("Fe", "Fe", 2, ("Fe",), ppm_is_plain=True),
    "Fe3": Ion("Fe", "Fe", 3, ("Fe",), ppm_is_plain=True),
    "Mn": Ion("Mn", "Mn", 2, ("Mn",), ppm_is_plain=True),
    "Zn": Ion("Zn", "Zn", 2, ("Zn",), ppm_is_plain=True),
    "Cu": Ion("Cu", "Cu", 2, ("Cu",), ppm_is_plain=True),
    "Co": Ion("Co", "Co", 2, ("Co",), ppm_is_plain=True),
    "Ni": Ion("Ni", "Ni", 2, ("Ni",), ppm_is_plain=True),
    "Cl": Ion("Cl", "Cl", -1, ("Cl",), ppm_is_plain=True),
    "F": Ion("F", "F", -1, ("F",), ppm_is_plain=True),
    "NO3": Ion("NO3", "N", -1, ("NO3", "N")),
    "NO2": Ion("NO2", "N", -1, ("NO2", "N")),
    "SO4": Ion("SO4", "S", -2, ("SO4", "S", "SO3")),
    "PO4": Ion("PO4", "P", None, ("PO4", "P", "P2O5")),
    "HCO3": Ion("HCO3", "C", -1, ("HCO3",)),
    "CO3": Ion("CO3", "C", -2, ("CO3",)),
    "B": Ion("B", "B", None, ("B", "B2O3", "H3BO3")),
    "Si": Ion("Si", "Si", None, ("Si", "SiO2")),
    "Mo": Ion("Mo", "Mo", None, ("Mo", "MoO4")),
}
AS_ELEMENT = {"NO3-N": "NO3", "NO2-N": "NO2", "NH4-N": "NH4", "SO4-S": "SO4", "PO4-P": "PO4"}
_NAMES = {
    "calcium": "Ca",
    "magnesium": "Mg",
    "sodium": "Na",
    "potassium": "K",
    "ammonium": "NH4",
    "iron": "Fe",
    "manganese": "Mn",
    "zinc": "Zn",
    "copper": "Cu",
    "chloride": "Cl",
    "fluoride": "F",
    "nitrate": "NO3",
    "nitrite": "NO2",
    "sulfate": "SO4",
    "sulphate": "SO4",
    "phosphate": "PO4",
    "orthophosphate": "PO4",
    "bicarbonate": "HCO3",
    "carbonate": "CO3",
    "boron": "B",
    "silica": "SiO2",
}
_BASIS_NAMES = {
    "calcium carbonate": "CaCO3",
    "nitrogen": "N",
    "nitrate-n": "N",
    "ammonium-n": "N",
    "ammonia-n": "N",
    "phosphorus": "P",
    "sulfur": "S",
    "sulphur": "S",
} | _NAMES
FORMULAS = {basis for ion in _IONS.values() for basis in ion.bases} | {"CaCO3"}
_CHARGE_SIGNS = (r"[+-]+$", r"[+-][0-9]$", r"[0-9][+-]$")


def ion_of(name: str, where: str) -> str:
    """The formula, without charge, of an ion as reports name it: `calcium`, `NO3-N`, `Fe2`.

    Raises: InputProblem where no water report names such an ion.
    """
    entry, _, _ = find_ion(name, name, where)
    return next(key for key, known in _IONS.items() if known is entry)


def find_ion(ion: str, text: str, where: str) -> tuple[Ion, str, bool]:
    """The ion, the basis its name means, and whether the name itself settles that basis."""
    name = _NAMES.get(tidy(ion).casefold(), tidy(ion))
    if name == "SiO2":
        return _IONS["Si"], "SiO2", True
    known = {key.casefold(): key for key in (*_IONS, *AS_ELEMENT)}
    for candidate in (name, *(re.sub(sign, "", name) for sign in _CHARGE_SIGNS)):
        key = known.get(candidate.casefold())
        if key in AS_ELEMENT:
            entry = _IONS[AS_ELEMENT[key]]
            return entry, entry.element, "-" in key
        if key is not None:
            return _IONS[key], _IONS[key].bases[0], False
    raise refuse(
        where,
        text,
        f"`{ion}` is not an ion of a water report",
        "one of " + ", ".join((*_IONS, "NO3-N", "NH4-N", "SO4-S", "PO4-P", "SiO2")),
    )


def basis_named(words: str, text: str, where: str) -> str:
    """The basis behind `as`: `CaCO3`, `N`. Raises: InputProblem where it is none."""
    plain = words.strip(" ()").casefold()
    plain = _BASIS_NAMES.get(plain, plain)
    formulas = {formula.casefold(): formula for formula in FORMULAS}
    for candidate in (plain, *(re.sub(sign, "", plain) for sign in _CHARGE_SIGNS)):
        if candidate.casefold() in formulas:
            return formulas[candidate.casefold()]
        element = re.fullmatch(r"(?:no3|no2|nh4|so4|po4)-(n|s|p)", candidate)
        if element:
            return element[1].upper()
    raise refuse(where, text, f"`as {words}` is not a known basis", "such as `mg/L as CaCO3`")
