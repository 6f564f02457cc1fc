"""Density, temperature, percentages, pH and waiting times, read as printed."""

from __future__ import annotations

import re

from chem.units.amounts import leading_number, split_per
from chem.units.numbers import Number, one_number, split_number, within
from chem.units.registry import celsius, factor
from chem.units.spellings import MASS, VOLUME
from chem.units.text import refuse, tidy, unit_key

LIGHTEST_KG_PER_L = 0.6
HEAVIEST_KG_PER_L = 2.5
"""Liquids sold for a tank lie well inside these: light oils near 0.8, the heaviest clear
concentrates and suspensions below 2. Common practice, no source."""

COLDEST_CELSIUS = -10.0
HOTTEST_CELSIUS = 60.0

DURATION_LIMITS = (0.01, 1e8)
"""[s]: a hundredth of a second to three years. Common practice, no source."""

WATER_AT_60_F_KG_PER_L = 0.999016
"""Density of water at 60 F, to which a US specific gravity refers (ASTM D1250; value from memory).
A specific gravity at 20/20 C or 20/4 C would differ by 0.1 % at most, far below label slack."""

_TEMPERATURE = {
    "f": "degree_fahrenheit",
    "fahrenheit": "degree_fahrenheit",
    "c": "degree_celsius",
    "celsius": "degree_celsius",
    "centigrade": "degree_celsius",
    "k": "kelvin",
    "kelvin": "kelvin",
    "kelvins": "kelvin",
}
_DEGREE = re.compile(r"^(?:\u00b0|degrees?|degs?)")
_TIME = {
    "second": "s sec secs second seconds",
    "minute": "min mins minute minutes",
    "hour": "h hr hrs hour hours",
    "day": "d day days",
}
_TIME_UNITS = {word: unit for unit, words in _TIME.items() for word in words.split()}


def read_density(text: str, where: str) -> float:
    """Read a density such as `11.2 lb/gal`, `1.34 kg/L`, `1.34 g/cm3` or `1340 kg/m3`.

    Returns:
        Density [kg/L].

    Raises:
        InputProblem: no unit, a unit that is no density, a range, or no density a liquid can have.
    """
    low, high = read_density_range(text, where)
    if low != high:
        raise refuse(where, text, "a range is printed where one density is needed", "its middle")
    return low


def read_density_range(text: str, where: str) -> tuple[float, float]:
    """Read a density or a range of densities, as safety data sheets give them.

    Returns:
        Lower and upper end [kg/L].

    Raises:
        InputProblem: as for `read_density`, except for a range.
    """
    number, rest = split_number(text, where)
    if not rest:
        raise refuse(
            where,
            text,
            "a density without its unit may be a specific gravity, kg/L or lb/gal",
            f"`{tidy(text)} kg/L` or `{tidy(text)} lb/gal`, or use the key `specific_gravity`",
        )
    above, below = split_per(rest, text, where)
    count, volume = leading_number(below, text, where)
    mass_unit, volume_unit = MASS.get(unit_key(above)), VOLUME.get(unit_key(volume))
    if mass_unit is None or volume_unit is None:
        raise refuse(
            where,
            text,
            f"`{rest}` is not a weight per volume",
            "such as `11.2 lb/gal` or `1.34 kg/L`; for a bare ratio use `specific_gravity`",
        )
    scale = factor(mass_unit, "kilogram") / (count * factor(volume_unit, "liter"))
    return _possible_density(number, scale, text, where)


def read_specific_gravity(text: str, where: str) -> float:
    """Read a specific gravity, a bare number such as `1.34`, against water at 60 F.

    Returns:
        Density [kg/L].

    Raises:
        InputProblem: a unit, a range, or no density a liquid can have.
    """
    value, rest = one_number(text, where)
    if rest:
        raise refuse(
            where,
            text,
            f"a specific gravity is a bare number, but `{rest}` follows it",
            "the number only, or the whole under the key `density`",
        )
    return _possible_density(Number(value, value), WATER_AT_60_F_KG_PER_L, text, where)[0]


def _possible_density(number: Number, scale: float, text: str, where: str) -> tuple[float, float]:
    low, high = number.low * scale, number.high * scale
    if number.below_detection or low < LIGHTEST_KG_PER_L or high > HEAVIEST_KG_PER_L:
        raise refuse(
            where,
            text,
            f"that is {low if low < LIGHTEST_KG_PER_L else high:.3g} kg/L, which no liquid for a "
            f"tank can have; water is 1, and products lie between {LIGHTEST_KG_PER_L} and "
            f"{HEAVIEST_KG_PER_L} kg/L",
            "the density from the label with its own unit, such as `11.2 lb/gal` or `1.34 kg/L`",
        )
    return low, high


def read_temperature(text: str, where: str) -> float:
    """Read a temperature such as `60 F`, `15 C` or `288 K`.

    Returns:
        Temperature [degC].

    Raises:
        InputProblem: no unit, a range, or a temperature outside -10 to 60 C.
    """
    value, rest = one_number(text, where)
    unit = _TEMPERATURE.get(_DEGREE.sub("", unit_key(rest)))
    if unit is None:
        bare = not _DEGREE.sub("", unit_key(rest))
        raise refuse(
            where,
            text,
            "is it F or C?" if bare else f"`{rest}` is not a temperature scale: is it F or C?",
            f"`{value:g} F` or `{value:g} C`",
        )
    degrees = celsius(value, unit)
    if not COLDEST_CELSIUS - 1e-6 <= degrees <= HOTTEST_CELSIUS + 1e-6:
        raise refuse(
            where,
            text,
            f"that is {degrees:.0f} C, outside {COLDEST_CELSIUS:.0f} to {HOTTEST_CELSIUS:.0f} C, "
            "where a spray tank can stand and the tables hold",
            "the temperature of the water in the tank, such as `60 F` or `15 C`",
        )
    return degrees


def read_percent(text: str, where: str) -> Number:
    """Read a percentage by mass, with or without its sign; ranges and `<0.1` are allowed.

    Raises:
        InputProblem: a basis other than mass, another unit, or a number outside 0 to 100.
    """
    number, rest = split_number(text, where)
    key = unit_key(rest).replace("percent", "%").replace("/", "")
    if key in ("%vv", "%wv", "%byvolume"):
        raise refuse(
            where,
            text,
            "this percentage is not by weight",
            'the number alone, with `basis = "w/v"` in the file if the label says so',
        )
    if key not in ("", "%", "%ww", "%byweight", "%bymass"):
        raise refuse(where, text, f"`{rest}` is not percent", "a percentage such as `2.0 %`")
    if number.low < 0 or number.high > 100:
        raise refuse(where, text, "a percentage lies between 0 and 100", "such as `2.0 %`")
    return number


def read_ph_window(text: str, where: str) -> tuple[float, float]:
    """Read a window of pH (`4-6.5`, `at most 5`, `at least 6`): least and most.

    Raises: InputProblem as `read_ph`, and for a single pH.
    """
    found = re.fullmatch(r"(at most|up to|below|under|at least|above)\s+(.+)", tidy(text), re.I)
    if found:
        number = read_ph(found[2], where)
        up = found[1].lower() in {"at least", "above"}
        return (number.low, 14.0) if up else (0.0, number.high)
    number = read_ph(text, where)
    if number.single:
        raise refuse(where, text, "one pH is no window", "such as `4-6.5`, `at most 5`")
    return number.low, number.high


def read_ph(text: str, where: str) -> Number:
    """Read a pH or a range of pH (`6.5`, `6.5-7.5`, `pH 6.5`, `6.0 (+/- 0.5)`).

    Raises:
        InputProblem: words after the number, or a number outside 0 to 14.
    """
    plain = re.sub(r"^ph\s*[:=]?\s*", "", tidy(text), flags=re.IGNORECASE)
    within = re.fullmatch(r"([\d.,]+)\s*\(?\s*(?:\+\s*/?\s*-|±)\s*([\d.,]+)\s*\)?", plain)
    if within:
        middle, off = (split_number(part, where)[0].value for part in within.groups())
        plain = f"{max(middle - off, 0.0):g}-{min(middle + off, 14.0):g}"
    number, rest = split_number(plain, where)
    if rest:
        raise refuse(where, text, f"a pH has no unit, but `{rest}` follows it", "the number only")
    if number.below_detection:
        raise refuse(where, text, "it leaves one end open", "a pH such as `6.5`, or `6.5-7.5`")
    if number.low < 0 or number.high > 14:
        raise refuse(where, text, "a pH lies between 0 and 14", "such as `6.5` or `6.5-7.5`")
    return number


def read_duration(text: str, where: str) -> float:
    """Read a waiting time such as `15min`, `4h` or `1 day`.

    Returns:
        Time [s].

    Raises:
        InputProblem: no unit of time, `m` alone, a range, or nothing above zero.
    """
    value, rest = one_number(text, where)
    unit = _TIME_UNITS.get(unit_key(rest))
    if unit is None:
        wrong = f"`{rest}` is not a unit of time" if rest else "the unit of time is missing"
        raise refuse(where, text, wrong, "minutes, hours or days: `15 min`, `4 h`, `1 day`")
    if value <= 0:
        raise refuse(where, text, "a waiting time must be above zero", "such as `4 h`")
    return within(value * factor(unit, "second"), DURATION_LIMITS, "s", text, where)


def read_screen(text: str, where: str) -> tuple[float, str]:
    """Read a screen's opening such as `50 mesh` or `300 micron`: figure and unit.

    Raises: InputProblem for anything else.
    """
    value, rest = one_number(text, where)
    unit = {"mesh": "mesh", "micron": "micron", "microns": "micron", "um": "micron"}.get(
        unit_key(rest or "").replace("\u00b5", "u")
    )
    if unit is None or not 1.0 <= value <= 5000.0:
        raise refuse(where, text, "no screen", "its mesh or its opening: `50 mesh`, `300 micron`")
    return value, unit
