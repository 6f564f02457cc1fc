"""A price as people write it: `48 per 2.5 gal`, `$1.20/lb`."""

from __future__ import annotations

import re
from dataclasses import dataclass

from chem.errors import InputProblem, Problem
from chem.units.amounts import read_mass, read_volume
from chem.units.numbers import read_number

_PRICE = re.compile(r"^\s*([^\d\s.]{0,4})\s*([\d.,]+)\s*([^\d\s/]{0,4})\s*(?:per|/)\s*(.+)$", re.I)


@dataclass(frozen=True)
class Price:
    """Money per litre or per kg; `currency` as written, or empty."""

    amount: float
    per: str
    currency: str


def read_price(text: str, where: str) -> Price:
    """Read a price per volume (money/L) or per weight (money/kg).

    Raises: InputProblem for anything else.
    """
    match = _PRICE.match(text)
    if match is None:
        raise InputProblem(
            Problem(f"{where} = {text!r}", "no price per amount", "such as `48 per 2.5 gal`")
        )
    before, number, after, unit = match.groups()
    money = read_number(number, where).value
    if not re.match(r"^[\d.]", unit):
        unit = f"1 {unit}"
    currency = (before or after).strip()
    try:
        return Price(money / read_volume(unit, where), "L", currency)
    except InputProblem:
        return Price(money / read_mass(unit, where), "kg", currency)
