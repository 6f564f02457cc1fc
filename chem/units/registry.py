"""One small pint registry: the units a label, a sprayer or a water report uses, and no others.

pint's full registry takes about 0.13 s to build and reads `F` as farad; this one takes 2 ms.
Both it and `import pint` wait until the first conversion.

Sources: NIST Handbook 44, Appendix C (US gallon of 231 cubic inches and its parts, acre of
43 560 square feet, avoirdupois pound and its parts); NIST Special Publication 811, Appendix B
(inch of exactly 0.0254 m, teaspoon, tablespoon, cup, imperial gallon of exactly 4.546 09 L, of
which the fluid ounce is 1/160). All are exact definitions. The foot is the international foot;
the US survey foot, retired at the end of 2022, would make the acre 4 parts in a million larger.
"""

from __future__ import annotations

from functools import cache, lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pint

DEFINITIONS = """
micro- = 1e-6
milli- = 1e-3
centi- = 1e-2
deci- = 1e-1
hecto- = 1e2
kilo- = 1e3
meter = [length]
gram = [mass]
second = [time]
kelvin = [temperature]; offset: 0
mole = [substance]
equivalent = [charge_amount]
inch = 0.0254 * meter
foot = 12 * inch
square_meter = meter ** 2
square_foot = foot ** 2
acre = 43560 * square_foot
are = 100 * square_meter
hectare = 100 * are
cubic_meter = meter ** 3
cubic_foot = foot ** 3
liter = 0.001 * cubic_meter
gallon = 231 * inch ** 3
quart = gallon / 4
pint = gallon / 8
cup = gallon / 16
fluid_ounce = gallon / 128
tablespoon = fluid_ounce / 2
teaspoon = fluid_ounce / 6
imperial_gallon = 4.54609 * liter
imperial_quart = imperial_gallon / 4
imperial_pint = imperial_gallon / 8
imperial_fluid_ounce = imperial_gallon / 160
pound = 453.59237 * gram
ounce = pound / 16
grain = pound / 7000
short_ton = 2000 * pound
long_ton = 2240 * pound
tonne = 1e6 * gram
minute = 60 * second
hour = 60 * minute
day = 24 * hour
degree_celsius = kelvin; offset: 273.15
degree_fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9
"""


@cache
def registry() -> pint.UnitRegistry[float]:
    """Our own pint registry, built on the first call and kept."""
    import pint

    units: pint.UnitRegistry[float] = pint.UnitRegistry(None)
    units.load_definitions([line for line in DEFINITIONS.splitlines() if line])
    return units


@lru_cache(maxsize=256)
def factor(unit: str, target: str) -> float:
    """How many `target` are in one `unit`, both pint names without an offset."""
    return float(registry().Quantity(1.0, unit).m_as(target))


def celsius(value: float, unit: str) -> float:
    """A temperature given in `unit` (a pint name with its offset) in [degC]."""
    return float(registry().Quantity(value, unit).m_as("degree_celsius"))
