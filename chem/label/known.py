"""What a user measured of a jug: its [known] table."""

from __future__ import annotations

import re

from chem.errors import InputProblem
from chem.files import Collector, ProductForm
from chem.label.product import UNDECLARED_SALT
from chem.label.resolving import resolve_guarantee, resolve_source
from chem.reference import judged
from chem.units import read_alkalinity, read_percent, read_temperature

PURE_WATERS = {"distilled", "demineralised", "demineralized", "deionised", "deionized", "rain"}
MEASURED = {"ph", "ph_in", "ph_by", "density", "clear", "ec"}
"""Keys of [known] that are no percents."""
EC_UNITS = {"ms/cm": 1.0, "ds/m": 1.0, "us/cm": 0.001}
_EC = re.compile(r"([\d.]+)\s*(mS/cm|dS/m|[uµ]S/cm)(?:\s*at\s*([\d.]+)\s*%)?", re.IGNORECASE)


def read_known(form: ProductForm, found: Collector) -> dict[str, float]:
    """Percents that somebody knows: source or guarantee line -> % by mass."""
    out = {}
    for name, text in form.known.items():
        if name in MEASURED:
            continue
        key = f"known.{name}"
        number = found.attempt(read_percent, text, key)
        line = resolve_guarantee(name)
        if name == UNDECLARED_SALT or line is not None:
            target = name if line is None else line.key
        else:
            target = next((s.key for s in resolve_source(name, key, found)), "")
        if number is not None and target:
            out[target] = number.value
    return out


def read_ph_in(form: ProductForm, found: Collector) -> float:
    """`ph_in`: alkalinity [eq/L] of the water that a jug's pH was measured in."""
    text = form.known.get("ph_in", "distilled")
    if text.strip().lower() in PURE_WATERS:
        return 0.0
    alkalinity = found.attempt(read_alkalinity, text, "known.ph_in")
    return 0.0 if alkalinity is None else 0.0005 * (alkalinity.low + alkalinity.high)


def read_ph_by(form: ProductForm, found: Collector) -> float:
    """`ph_by`: standard deviation of what a jug's pH was measured with."""
    text = form.known.get("ph_by")
    by = "unnamed" if text is None else text.strip().lower()
    if text is not None and by not in {"meter", "strip"}:
        found.add("known.ph_by", text, "nothing that reads a pH", "`meter` or `strip`")
        by = "unnamed"
    return judged("ph_reading")[f"jug_{by}"]


def read_ec(form: ProductForm, found: Collector) -> tuple[float, float] | None:
    """`ec = "2.1 mS/cm at 1 %"`: conductivity [mS/cm] of a share by mass in distilled water."""
    text = form.known.get("ec")
    if not text:
        return None
    match = _EC.fullmatch(text.strip())
    value = float(match[1]) * EC_UNITS[match[2].lower().replace("µ", "u")] if match else 0.0
    share = float(match[3] or 1.0) / 100.0 if match else 0.0
    if not (value > 0.0 and 0.0 < share < 1.0):
        found.add("known.ec", text, "no conductivity of a dilution", "such as `2.1 mS/cm at 1 %`")
        return None
    return value, share


def read_clear_at(form: ProductForm, found: Collector) -> float | None:
    """`clear = "after a month at 40 F"`: where a jug was seen to stay clear [degC]."""
    text = form.known.get("clear")
    if not text:
        return None
    try:
        return read_temperature(text.rpartition(" at ")[2], "known.clear")
    except InputProblem:
        instead = "such as `after a month at 40 F`"
        found.add("known.clear", text, "it does not end in a temperature", instead)
        return None
