"""Volumes, weights, areas, and rates of product or of spray, read as labels print them.

Whatever stands after `/` or `per` is read as one bracket: `8 floz/1000 ft2` is 8 fl oz on
1000 sq ft. Gallons, quarts, pints and fluid ounces are US unless `imp` or `UK` stands before them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Literal

from chem.errors import InputProblem
from chem.units.numbers import one_number, split_number, within
from chem.units.registry import factor
from chem.units.spellings import (
    AREA,
    CLEAR_INSTEAD,
    ENGLISH_AREA,
    MASS,
    OUNCE,
    OUNCE_QUESTION,
    UNCLEAR,
    VOLUME,
)
from chem.units.text import refuse, tidy, unit_key

Kind = Literal["volume", "mass"]
Per = Literal["area", "volume", "mass-fraction"]


_PER = re.compile(r"\s*(?:/|\bper\b)\s*", re.IGNORECASE)
_NEGATIVE_POWER = re.compile(r"\s+(L|dm3|m|ha)\s*\^?\s*-([12])$", re.IGNORECASE)
_PRODUCT = re.compile(r"\s+(?:of\s+)?(?:product|concentrate|material|formulation)$", re.IGNORECASE)
_SPRAY = re.compile(
    r"\s+(?:of\s+)?(?:the\s+)?(?:finished\s+|total\s+)?"
    r"(?:spray(?:\s+(?:solution|mix|mixture|volume))?|solution|mix)$",
    re.IGNORECASE,
)
_WATER = re.compile(r"\s+(?:of\s+)?water$", re.IGNORECASE)
_THOUSAND = re.compile(r"^(?:(?:a|one)\s+)?thousand\b\s*", re.IGNORECASE)
_PERCENT_WORD = re.compile(r"\bper\s?cent\b", re.IGNORECASE)
_NUTRIENT = re.compile(
    r"^(?:lbs?|pounds?|oz|ounces?|kg|g)\.?\s*(?:of\s+)?(?:actual\s+)?"
    r"(?:N|P|K|S|Ca|Mg|Fe|Mn|Zn|Cu|B|P2O5|K2O|nitrogen|phosphate|potash|potassium|iron|calcium|"
    r"magnesium|sulfur|sulphur|manganese|zinc|copper|boron)$",
    re.IGNORECASE,
)
_BASES = {
    "volume": {"vv", "vol", "volvol", "byvolume", "byvol", "volumevolume"},
    "mass per volume": {"wv", "mv", "wtvol", "weightvolume"},
    "mass": {"ww", "mm", "wtwt", "byweight", "bymass", "weightweight"},
}


CARRIER_LIMITS = (1e-6, 1e8)
RATE_LIMITS = (1e-9, 1e6)
VOLUME_LIMITS = (1e-6, 1e7)
MASS_LIMITS = (1e-6, 1e6)
AREA_LIMITS = (1e-3, 1e9)
"""[L/ha], [mL or g, per m2 or L], [L], [kg], [m2]: wide of any sprayer, a slip beyond them.
Common practice, no source."""
_CARRIERS = "such as `2 gal/1000 sq ft`, `40 gal/acre` or `400 L/ha`"


@dataclass(frozen=True)
class Rate:
    """How much of a product goes on an area or into a volume of finished spray.

    Attributes:
        kind: whether the product is measured by `volume` or by `mass`.
        per: `area`, `volume` (of finished spray) or `mass-fraction` (of finished spray).
        value: [mL/m2] or [g/m2] per area; [mL/L] or [g/L] per volume; [g/g] as a mass fraction.
        text: the rate as the user printed it; not compared.
        notes: readings worth telling the user; not compared.
    """

    kind: Kind
    per: Per
    value: float
    text: str = field(default="", compare=False)
    notes: tuple[str, ...] = field(default=(), compare=False)

    @property
    def unit(self) -> str:
        """The unit of `value`."""
        if self.per == "mass-fraction":
            return "g/g"
        amount = "mL" if self.kind == "volume" else "g"
        return f"{amount}/{'m2' if self.per == 'area' else 'L'}"


def read_rate(text: str, where: str, *, dry: bool = False) -> Rate:
    """Read one product rate, such as `4 fl oz/1000 sq ft`, `1 qt/100 gal` or `0.25 % v/v`.

    Args:
        text: the rate as printed.
        where: file and key, for messages.
        dry: the product is dry, so that a bare `oz` is a weight.

    Raises:
        InputProblem: a range, an unknown or ambiguous unit, no basis, or nothing above zero.
    """
    low, high = read_rate_range(text, where, dry=dry)
    if low != high:
        raise refuse(where, text, "a range is printed where one rate is needed", "the rate you use")
    return low


def read_rate_range(text: str, where: str, *, dry: bool = False) -> tuple[Rate, Rate]:
    """Read a rate or a range of rates (`3 to 6 fl oz/1000 sq ft`) as its lower and upper end.

    Raises:
        InputProblem: as for `read_rate`, except for a range.
    """
    number, rest = split_number(text, where)
    rest = _PERCENT_WORD.sub("%", rest)
    if number.below_detection or number.low <= 0:
        raise refuse(
            where,
            text,
            "a rate must be above zero",
            "the rate, or leave the product out of the mix",
        )
    kind, per, scale, notes = _rate_unit(rest, text, where, dry)
    if scale is None:
        raise refuse(
            where,
            text,
            f"a percentage needs its basis: {number.low:g} % of what, by volume or by weight?",
            f"`{number.low:g} % v/v`, `{number.low:g} % w/v` or `{number.low:g} % w/w`",
        )
    low, high = (
        Rate(kind, per, end * scale, tidy(text), notes) for end in (number.low, number.high)
    )
    for end in (low, high):
        within(end.value, RATE_LIMITS, end.unit, text, where)
    if "%" in rest and number.high > 100:
        raise refuse(where, text, "more than 100 % can't be", "a percentage up to 100")
    return low, high


def read_carrier(text: str, where: str) -> float:
    """Read how much finished spray goes on an area (`2 gal/1000 sq ft`, `20 GPA`, `400 L/ha`).

    Returns:
        Carrier volume [L/m2].

    Raises:
        InputProblem: anything but a volume per area above zero.
    """
    value, rest = one_number(text, where)
    if value <= 0.0:
        raise refuse(where, text, "the spray volume must be above zero", _CARRIERS)
    try:
        kind, per, scale, _ = _rate_unit(rest, text, where, False)
    except InputProblem as problem:
        wrong = "the unit is missing" if not rest else problem.problems[0].wrong
        raise refuse(where, text, wrong, _CARRIERS) from None
    if (kind, per) != ("volume", "area") or scale is None:
        raise refuse(where, text, "spray volume is wanted as a volume on an area", _CARRIERS)
    return possible_carrier(value * scale / 1000.0, text, where)


def possible_carrier(L_per_m2: float, text: str, where: str) -> float:
    """A spray volume [L/m2] that a sprayer can put out. Raises: InputProblem for another."""
    within(1e4 * L_per_m2, CARRIER_LIMITS, "L/ha", text, where)
    return L_per_m2


_TWO_UNITS = re.compile(
    r"^\s*(\d[\d.,]*\s*(?:gal|gallons?|lbs?|pounds?))\.?\s+(?:and\s+)?"
    r"(\d[\d./ ]*(?:fl\.?\s*)?oz\.?(?:\s*wt)?)\s*$",
    re.I,
)


def read_volume(text: str, where: str) -> float:
    """Read the volume of a tank or jar (`50 gal`, `1 qt`, `500 mL`).

    Returns:
        Volume [L].

    Raises:
        InputProblem: no volume unit, a bare `oz`, a range, or nothing above zero.
    """
    parts = _TWO_UNITS.match(text)
    if parts is not None:  # `9 gal 45 fl oz`, as sheets print it
        return within(
            sum(read_volume(p, where) for p in parts.groups()), VOLUME_LIMITS, "L", text, where
        )
    litres = _plain_amount(text, where, VOLUME, "liter", "a volume", "`50 gal` or `200 L`")
    return within(litres, VOLUME_LIMITS, "L", text, where)


def read_mass(text: str, where: str) -> float:
    """Read a weight (`40 lb`, `8 oz`, `1 kg`). A bare `oz` is the avoirdupois ounce here.

    Returns:
        Mass [kg].

    Raises:
        InputProblem: no unit of weight, `ton` alone, a range, or nothing above zero.
    """
    parts = _TWO_UNITS.match(text)
    if parts is not None:  # `9 lb 15 oz`
        return sum(read_mass(p, where) for p in parts.groups())
    table = MASS | dict.fromkeys(OUNCE, "ounce")
    kilograms = _plain_amount(
        text, where, table, "kilogram", "a weight", "`40 lb`, `8 oz` or `1 kg`"
    )
    return within(kilograms, MASS_LIMITS, "kg", text, where)


def read_area(text: str, where: str) -> float:
    """Read a sprayed area (`25,000 sq ft`, `25 M`, `2 acres`, `0.8 ha`).

    Returns:
        Area [m2].

    Raises:
        InputProblem: no unit of area, a range, or nothing above zero.
    """
    value, rest = one_number(text, where, _is_english_area)
    scale, _ = _area(rest)
    if scale is None or not rest:
        raise _unknown_unit(rest, text, where, "an area", "`25,000 sq ft`, `2 acre` or `0.8 ha`")
    return within(_above_zero(value, text, where) * scale, AREA_LIMITS, "m2", text, where)


def split_per(rest: str, text: str, where: str) -> tuple[str, str]:
    """Part a unit at its one `/` or `per`: (what stands before, everything after, or "").

    Raises:
        InputProblem: more than one `/` or `per`.
    """
    power = _NEGATIVE_POWER.search(rest)
    if power:
        rest = f"{rest[: power.start()]}/{power[1]}{'' if power[2] == '1' else power[2]}"
    parts = _PER.split(rest)
    if len(parts) > 2:
        raise refuse(
            where,
            text,
            "it has more than one `/` or `per`",
            "one amount and one basis, such as `4 fl oz/1000 sq ft`",
        )
    return parts[0].strip(), parts[1].strip() if len(parts) == 2 else ""


def leading_number(words: str, text: str, where: str) -> tuple[float, str]:
    """The number that a denominator begins with, or 1, and the words after it.

    Raises:
        InputProblem: a range or a number not above zero.
    """
    words = _THOUSAND.sub("1000 ", words).strip()
    if not words[:1].isdigit() and not words.startswith("."):
        return 1.0, words
    try:
        number, rest = split_number(words, where, _is_english_area)
    except InputProblem as problem:
        raise refuse(
            where, text, problem.problems[0].wrong, problem.problems[0].instead
        ) from problem
    if not number.single or number.low <= 0:
        raise refuse(
            where,
            text,
            "what follows `per` needs one number above zero",
            "such as `per 1000 sq ft`",
        )
    return number.low, rest


def _is_english_area(rest: str) -> bool:
    return rest == "" or unit_key(rest) in ENGLISH_AREA


def _above_zero(value: float, text: str, where: str) -> float:
    if value <= 0:
        raise refuse(where, text, "the amount must be above zero", "the amount you measured")
    return value


def _plain_amount(
    text: str, where: str, table: dict[str, str], target: str, what: str, example: str
) -> float:
    value, rest = one_number(text, where)
    unit = table.get(unit_key(rest))
    if unit is None:
        raise _unknown_unit(rest, text, where, what, example)
    return _above_zero(value, text, where) * factor(unit, target)


def _unknown_unit(rest: str, text: str, where: str, what: str, example: str) -> InputProblem:
    key = unit_key(rest)
    if not rest:
        return refuse(
            where, text, "the unit is missing", f"{what} with its unit, such as {example}"
        )
    if key in OUNCE:
        return refuse(where, text, f"`{rest}` alone: {OUNCE_QUESTION}", "`fl oz` or `oz wt`")
    if key in UNCLEAR:
        return refuse(where, text, UNCLEAR[key], CLEAR_INSTEAD[key])
    if _NUTRIENT.match(rest):
        return refuse(
            where,
            text,
            f"`{rest}` is an amount of nutrient, not of product",
            "the amount of product from its label, such as `4 fl oz/1000 sq ft`",
        )
    return refuse(where, text, f"`{rest}` is not read as {what}", f"such as {example}")


def _amount(words: str, text: str, where: str, dry: bool) -> tuple[Kind, float]:
    """Kind of a numerator, and its size in [mL] or [g]."""
    words = _PRODUCT.sub("", words)
    key = unit_key(words)
    if dry and key in OUNCE:
        return "mass", factor("ounce", "gram")
    if key in VOLUME:
        return "volume", factor(VOLUME[key], "milliliter")
    if key in MASS:
        return "mass", factor(MASS[key], "gram")
    raise _unknown_unit(
        words, text, where, "an amount of product", "`fl oz`, `lb`, `oz wt`, `mL` or `g`"
    )


def _area(words: str) -> tuple[float | None, bool]:
    """Size in [m2] of an area unit, or None; and whether sq ft had to be supplied."""
    if words == "M":
        return 1000.0 * factor("square_foot", "square_meter"), False
    if words == "A":
        return factor("acre", "square_meter"), False
    if words == "":
        return factor("square_foot", "square_meter"), True
    unit = AREA.get(unit_key(words))
    return (None if unit is None else factor(unit, "square_meter")), False


def _percent_unit(rest: str) -> tuple[Kind, Per, float | None] | None:
    """Kind, per and size of 1 % on the basis given; the size is None where no basis is given."""
    words = _SPRAY.sub("", rest)
    if "%" not in words:
        return None
    basis = unit_key(words).replace("%", "", 1).replace("/", "")
    if basis in _BASES["volume"]:
        return "volume", "volume", 10.0
    if basis in _BASES["mass per volume"]:
        return "mass", "volume", 10.0
    if basis in _BASES["mass"]:
        return "mass", "mass-fraction", 0.01
    return ("volume", "volume", None) if basis == "" else None


def _rate_unit(
    rest: str, text: str, where: str, dry: bool
) -> tuple[Kind, Per, float | None, tuple[str, ...]]:
    percent = _percent_unit(rest)
    if percent is not None:
        return (*percent, ())
    if unit_key(rest) in ("gpa", "usgpa"):
        rest = "gal/acre"
    above, below = split_per(rest, text, where)
    kind, size = _amount(above, text, where, dry)
    if not below:
        raise refuse(
            where,
            text,
            "it says how much, but not on what area or in how much spray",
            f"such as `{tidy(text)}/1000 sq ft` or `{tidy(text)}/100 gal`",
        )
    count, basis = leading_number(below, text, where)
    area, assumed = _area(basis)
    if assumed and count != 1000.0:
        raise refuse(
            where, text, f"per {count:g} of what?", "the unit after it, such as `per 1000 sq ft`"
        )
    if area is not None:
        note = (f"`{tidy(text)}` is read as per 1000 sq ft",) if assumed else ()
        return kind, "area", size / (count * area), note
    spray = _SPRAY.sub("", basis)
    water = _WATER.sub("", spray)
    unit = VOLUME.get(unit_key(water))
    if unit is None:
        raise _unknown_unit(
            basis,
            text,
            where,
            "an area or a volume of spray",
            "`per 1000 sq ft`, `per acre`, `per ha` or `per 100 gal`",
        )
    note = (f"`{tidy(text)}` is read as per volume of finished spray",) if water != spray else ()
    return kind, "volume", size / (count * factor(unit, "liter")), note
