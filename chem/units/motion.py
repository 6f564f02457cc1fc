"""Lengths and speeds of a calibration run."""

from __future__ import annotations

from chem.units.amounts import split_per
from chem.units.numbers import split_number, within
from chem.units.registry import factor
from chem.units.text import refuse, unit_key

LENGTH_LIMITS, SPEED_LIMITS = (1e-3, 1e4), (1e-3, 100.0)
"""[m], [m/s]: wide of any boom and any sprayer. Common practice, no source."""
_LENGTH = {
    unit: target
    for target, words in {
        "inch": 'in inch inches "',
        "foot": "ft foot feet '",
        "meter": "m meter meters metre metres",
        "centimeter": "cm centimeter centimetre centimeters centimetres",
    }.items()
    for unit in words.split()
}
_SPEED = {
    "mph": (5280.0, "foot", "hour"),
    "milesperhour": (5280.0, "foot", "hour"),
    "kmh": (1000.0, "meter", "hour"),
    "kph": (1000.0, "meter", "hour"),
    "ms": (1.0, "meter", "second"),
    "fts": (1.0, "foot", "second"),
    "ftmin": (1.0, "foot", "minute"),
    "mmin": (1.0, "meter", "minute"),
}


def read_length(text: str, where: str) -> float:
    """Read a width or distance such as `20 in`, `18.5 ft` or `0.5 m`.

    Returns:
        Length [m].

    Raises:
        InputProblem: no unit of length, a range, or nothing above zero.
    """
    number, rest = split_number(text, where)
    unit = _LENGTH.get(rest.strip().lower()) or _LENGTH.get(unit_key(rest))
    if unit is None or not number.single or number.low <= 0.0:
        raise refuse(where, text, "not one length above zero", "such as `20 in` or `0.5 m`")
    return within(number.low * factor(unit, "meter"), LENGTH_LIMITS, "m", text, where)


def read_speed(text: str, where: str) -> float:
    """Read a speed such as `4 mph`, `6.5 km/h` or `1.8 m/s`.

    Returns:
        Speed [m/s].

    Raises:
        InputProblem: no unit of speed, a range, or nothing above zero.
    """
    number, rest = split_number(text, where)
    top, below = split_per(rest, text, where)
    key = unit_key(top + below).replace("hour", "h").replace("hr", "h").replace("sec", "s")
    found = _SPEED.get(key)
    if found is None or not number.single or number.low <= 0.0:
        raise refuse(where, text, "not one speed above zero", "such as `4 mph` or `6.5 km/h`")
    count, length, time = found
    metres_per_s = number.low * count * factor(length, "meter") / factor(time, "second")
    return within(metres_per_s, SPEED_LIMITS, "m/s", text, where)
