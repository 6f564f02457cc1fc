"""Water reports: concentrations, hardness and alkalinity in the unit and basis they are given in.

Everything becomes moles or equivalents of the ion. A mass basis (`as CaCO3`, `as N`) counts the
shared element; `as CaCO3` counts charge, one mole of CaCO3 being two equivalents. Degrees of
hardness are defined by mass per litre: German 10 mg CaO, French 10 mg CaCO3, English (Clark) one
grain of CaCO3 per imperial gallon, and gpg one grain of CaCO3 per US gallon (value from memory;
the masses of grain and gallon are NIST Handbook 44, Appendix C).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import Literal

from chem.units.amounts import leading_number, split_per
from chem.units.ions import AS_ELEMENT, FORMULAS, Ion, basis_named, find_ion
from chem.units.masses import molar_mass_g_per_mol
from chem.units.numbers import Number, split_number
from chem.units.registry import factor
from chem.units.spellings import MASS, VOLUME
from chem.units.text import refuse, unit_key


@dataclass(frozen=True)
class Interval:
    """A concentration with its two ends, equal for a single number.

    Attributes:
        low: lower end, in the unit its reader names.
        high: upper end.
        below_detection: the report gave only a limit; the truth lies between 0 and `high`.
        notes: readings worth telling the user.
    """

    low: float
    high: float
    below_detection: bool = False
    notes: tuple[str, ...] = ()

    @property
    def value(self) -> float:
        """The midpoint."""
        return 0.5 * (self.low + self.high)


AS_ELEMENT |= {"S": "SO4", "P": "PO4"}

_SUBSTANCE = {
    "micromole": "umol umole umoles micromole micromoles",
    "millimole": "mmol mmole mmoles millimole millimoles",
    "mole": "mol mole moles",
}
_CHARGE = {
    "microequivalent": "ueq uequiv microequivalent microequivalents",
    "milliequivalent": "meq me mval mequiv meqs milliequivalent milliequivalents",
    "equivalent": "eq val equiv equivalent equivalents",
}
_AMOUNTS: dict[str, tuple[Literal["mass", "moles", "charge"], str, str]] = {
    **{key: ("mass", unit, "milligram") for key, unit in MASS.items()},
    **{w: ("moles", unit, "millimole") for unit, ws in _SUBSTANCE.items() for w in ws.split()},
    **{w: ("charge", unit, "milliequivalent") for unit, ws in _CHARGE.items() for w in ws.split()},
}
_GRAINS = ("grain", "grains", "gr")
_CALCIUM_CARBONATE_CHARGE = 2
_AS = re.compile(r"^(?P<unit>.*?)[\s(]+as\s+(?P<basis>[^()]+?)\)?$", re.IGNORECASE)
_INLINE = (
    r"(?P<amount>\w+) (?P<basis>[\w+-]+)(?P<volume>/.+)",
    r"(?P<amount>\w+)(?P<volume>/\w+) (?P<basis>[\w+-]+)",
    r"(?P<amount>pp[mb])(?P<volume>) (?P<basis>[\w+-]+)",
)
LARGEST_NUMBER = 1e6
"""A million mg/L is a kilogram per litre; in any other unit so large a number is a slip too."""
_DEGREE_SIGN = re.compile(r"^(?:\u00b0|degrees?|degs?)")
_DEGREES = {
    "German": "dh dgh dkh gh kh german dgerman germanhardness",
    "French": "fh dfh french dfrench frenchhardness",
    "English": "clark english denglish englishhardness clarkdegree clarkdegrees",
}
_CARBONATE_HARDNESS = ("kh", "dkh")
_GENERAL_HARDNESS = ("gh", "dgh")
_DEGREE_WORDS = {word: name for name, words in _DEGREES.items() for word in words.split()}


@dataclass(frozen=True)
class _Reading:
    """One printed concentration: the number times `scale` is in mg/L, mmol/L or meq/L.

    `unit` is the printed unit with ppm as mg/L, which `ppm_note` then tells. `hardness_unit` names
    a degree or grain per gallon, which counts calcium and magnesium, or alkalinity, only.
    """

    number: Number
    counts: Literal["mass", "moles", "charge"]
    scale: float
    basis: str | None
    unit: str
    ppm_note: str = ""
    hardness_unit: str | None = None

    def times(self, per_unit: float, notes: tuple[str, ...] = ()) -> Interval:
        ppm_note = (self.ppm_note,) if self.ppm_note else ()
        return Interval(
            self.number.low * self.scale * per_unit,
            self.number.high * self.scale * per_unit,
            self.number.below_detection,
            ppm_note + notes,
        )


def read_concentration(text: str, where: str, *, ion: str) -> Interval:
    """Read one ion of a water report: `68 mg/L`, `0.4 meq/L`, `44 mg/L as N`, `12 dH`, `<0.5 ppm`.

    Args:
        text: the concentration as printed.
        where: file and key, for messages.
        ion: the report's own name for it: `Ca`, `NO3`, `NO3-N`, `SO4`, `P`, `Fe2`, `SiO2`, ...

    Returns:
        Both ends [mmol/L of the ion; of its element for P, B, Si and Mo, which is the same].

    Raises:
        InputProblem: an unknown ion, an unknown or ambiguous unit, or a basis that does not fit.
    """
    entry, own, fixed = find_ion(ion, text, where)
    reading = _read(text, where)
    basis = reading.basis
    if basis is not None and fixed and basis != own:
        raise refuse(
            where, text, f"the name says `{ion}`, the unit says `as {basis}`", "one of them"
        )
    if basis is not None and basis not in (*entry.bases, "CaCO3"):
        raise refuse(
            where, text, f"{ion} can't be given as {basis}", _choices(reading, entry.choices(own))
        )
    _not_the_other_hardness(reading, _CARBONATE_HARDNESS, "alkalinity", text, where)
    if reading.hardness_unit is not None and entry.formula not in ("Ca", "Mg"):
        raise refuse(
            where,
            text,
            f"degrees and grains of hardness count calcium and magnesium, not {ion}",
            "mg/L, mmol/L or meq/L; for alkalinity use the key `alkalinity`",
        )
    if reading.counts == "charge":
        return reading.times(1.0 / _charge(entry, ion, text, where))
    if reading.counts == "moles":
        if basis == "CaCO3":
            charge = _charge(entry, ion, text, where)
            return reading.times(_CALCIUM_CARBONATE_CHARGE / charge)
        return reading.times(_atoms(basis or entry.formula, entry))
    if reading.ppm_note and basis is None and not (fixed or entry.ppm_is_plain):
        raise refuse(
            where,
            text,
            f"ppm of {ion} is reported on more than one basis; which one is it?",
            _choices(reading, entry.choices(own)),
        )
    if basis == "CaCO3":
        return reading.times(_milliequivalents_per_mg("CaCO3") / _charge(entry, ion, text, where))
    used = basis or own
    notes: tuple[str, ...] = ()
    if basis is None and not fixed and own != entry.element and len(entry.bases) > 1:
        notes = (f"{ion} is read as {used}; write `as {entry.bases[1]}` if the report says so",)
    return reading.times(_atoms(used, entry) / molar_mass_g_per_mol(used), notes)


def read_hardness(text: str, where: str) -> Interval:
    """Read total hardness: `120-250 mg/L as CaCO3`, `12 gpg`, `8 dH`, `2.4 mmol/L`, `4.8 meq/L`.

    Returns:
        Both ends [mmol/L of Ca plus Mg].

    Raises:
        InputProblem: mg/L or ppm without its basis, or an unknown unit.
    """
    reading = _read(text, where)
    _not_the_other_hardness(reading, _CARBONATE_HARDNESS, "alkalinity", text, where)
    if reading.counts == "charge":
        return reading.times(0.5)
    if reading.basis not in ("CaCO3", "CaO", "Ca", None):
        raise refuse(
            where,
            text,
            f"hardness can't be given as {reading.basis}",
            _choices(reading, ("CaCO3", "CaO", "Ca")),
        )
    if reading.counts == "moles":
        return reading.times(1.0)
    if reading.basis is None:
        raise refuse(where, text, "hardness as what?", _choices(reading, ("CaCO3", "CaO", "Ca")))
    return reading.times(1.0 / molar_mass_g_per_mol(reading.basis))


def read_alkalinity(text: str, where: str) -> Interval:
    """Read alkalinity: `210 mg/L as CaCO3`, `256 mg/L as HCO3`, `4.2 meq/L`, `11.8 dKH`.

    Returns:
        Both ends [meq/L].

    Raises:
        InputProblem: mg/L, ppm or mmol/L without its basis, or an unknown unit.
    """
    reading = _read(text, where)
    _not_the_other_hardness(reading, _GENERAL_HARDNESS, "hardness", text, where)
    if reading.counts == "charge":
        return reading.times(1.0)
    bases = ("CaCO3", "HCO3", "CO3")
    if reading.basis not in bases:
        given = "as what?" if reading.basis is None else f"can't be given as {reading.basis}"
        raise refuse(where, text, f"alkalinity {given}", _choices(reading, bases))
    if reading.counts == "moles":
        return reading.times(1.0 if reading.basis == "HCO3" else 2.0)
    return reading.times(_milliequivalents_per_mg(reading.basis))


def _not_the_other_hardness(
    reading: _Reading, words: tuple[str, ...], key: str, text: str, where: str
) -> None:
    if reading.hardness_unit in words:
        raise refuse(
            where,
            text,
            "KH is carbonate hardness, which is alkalinity; GH is calcium with magnesium",
            f"this number under the key `{key}`",
        )


def _milliequivalents_per_mg(basis: str) -> float:
    return (1.0 if basis == "HCO3" else 2.0) / molar_mass_g_per_mol(basis)


@cache
def _count(formula: str, element: str) -> int:
    import periodictable

    atoms = periodictable.formula(formula).atoms
    return int(sum(number for atom, number in atoms.items() if str(atom) == element))


def _atoms(basis: str, entry: Ion) -> float:
    """Moles of the ion that one mole of `basis` stands for."""
    return _count(basis, entry.element) / _count(entry.formula, entry.element)


def _charge(entry: Ion, ion: str, text: str, where: str) -> int:
    if entry.charge is None:
        raise refuse(
            where,
            text,
            f"the charge of {ion} is not settled, so charge can't be turned into amount",
            "mg/L or mmol/L, or `Fe2` or `Fe3` as the name" if ion == "Fe" else "mg/L or mmol/L",
        )
    return abs(entry.charge)


def _choices(reading: _Reading, bases: tuple[str, ...]) -> str:
    number = reading.number
    amount = f"{number.low:g}" if number.low == number.high else f"{number.low:g}-{number.high:g}"
    if number.below_detection:
        amount = f"<{number.high:g}"
    lines = [f"`{amount} {reading.unit} as {basis}`" for basis in bases]
    return "the line that matches the report: " + " or ".join(lines)


def _read(text: str, where: str) -> _Reading:
    number, rest = split_number(text, where)
    if number.low < 0:
        raise refuse(where, text, "a concentration can't be negative", "zero or more, or <0.5")
    if number.high > LARGEST_NUMBER:
        raise refuse(where, text, "no water holds so much", "the figure as the report prints it")
    stated = _AS.match(rest)
    unit = stated["unit"].strip() if stated else rest
    words = stated["basis"] if stated else None
    if words is None:
        unit, words = _inline_basis(unit)
    basis = None if words is None else basis_named(words, text, where)
    key = unit_key(unit)
    if key == "ppm":
        return _Reading(number, "mass", 1.0, basis, "mg/L", "ppm is read as mg/L")
    if key == "ppb":
        return _Reading(number, "mass", 1e-3, basis, "ug/L", "ppb is read as ug/L")
    if unit in ("mM", "uM"):
        return _Reading(number, "moles", 1.0 if unit == "mM" else 1e-3, basis, unit)
    hardness = _hardness_scale(unit, key)
    if hardness is not None:
        if basis not in (None, "CaCO3", "CaO"):
            raise refuse(where, text, f"{unit} can't be given as {basis}", "the unit alone")
        word = _DEGREE_SIGN.sub("", key)
        return _Reading(number, "charge", hardness, None, unit, hardness_unit=word)
    if _DEGREE_SIGN.match(key):
        raise refuse(
            where, text, "which degree of hardness is it?", "`deg German`, `deg French` or `Clark`"
        )
    above, below = split_per(unit, text, where)
    count, volume = leading_number(below, text, where)
    found, volume_unit = _AMOUNTS.get(unit_key(above)), VOLUME.get(unit_key(volume))
    if found is None or volume_unit is None:
        raise refuse(
            where,
            text,
            f"`{rest}` is not read as a concentration" if rest else "the unit is missing",
            "such as `68 mg/L`, `0.4 meq/L` or `120 mg/L as CaCO3`",
        )
    counts, amount_unit, target = found
    scale = factor(amount_unit, target) / (count * factor(volume_unit, "liter"))
    return _Reading(number, counts, scale, basis, unit)


def _inline_basis(unit: str) -> tuple[str, str | None]:
    """Part `mg N/L`, `mg/L CaCO3` and `ppm CaCO3` into unit and basis."""
    for pattern in _INLINE:
        found = re.fullmatch(pattern, unit, re.IGNORECASE)
        if found and _is_basis(found["basis"]):
            return found["amount"] + found["volume"], found["basis"]
    return unit, None


def _is_basis(words: str) -> bool:
    return words.casefold() in {formula.casefold() for formula in FORMULAS} or bool(
        re.fullmatch(r"(?:no3|no2|nh4|so4|po4)-[nsp]", words.casefold())
    )


def _hardness_scale(unit: str, key: str) -> float | None:
    """[meq/L] in one degree or grain per gallon, or None for another unit."""
    degree = _DEGREE_WORDS.get(_DEGREE_SIGN.sub("", key)) or {
        "\u00b0d": "German",
        "\u00b0e": "English",
    }.get(key)
    if degree == "German":
        return 10.0 * _milliequivalents_per_mg("CaO")
    if degree == "French":
        return 10.0 * _milliequivalents_per_mg("CaCO3")
    grains, _, gallon = unit.partition("/") if "/" in unit else unit.partition(" per ")
    volume = VOLUME.get(unit_key(gallon))
    if degree == "English":
        volume = "imperial_gallon"
    elif key in ("gpg", "usgpg"):
        volume = "gallon"
    elif unit_key(grains) not in _GRAINS or volume not in ("gallon", "imperial_gallon"):
        return None
    mg_per_litre = factor("grain", "milligram") / factor(volume, "liter")
    return mg_per_litre * _milliequivalents_per_mg("CaCO3")
