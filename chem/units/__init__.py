"""Reading rates, volumes and water reports as people print them, and writing them back.

Everything a person writes comes through here once and leaves as a plain float in one fixed unit.
An amount that can be read in two ways is refused with the question that settles it.
"""

from chem.units.amounts import (
    Rate,
    possible_carrier,
    read_area,
    read_carrier,
    read_mass,
    read_rate,
    read_rate_range,
    read_volume,
)
from chem.units.ions import ion_of
from chem.units.measures import Measure, Measured, measured, read_measure
from chem.units.motion import read_length, read_speed
from chem.units.numbers import Number, read_number, rounding
from chem.units.price import Price, read_price
from chem.units.properties import (
    read_density,
    read_density_range,
    read_duration,
    read_percent,
    read_ph,
    read_ph_window,
    read_screen,
    read_specific_gravity,
    read_temperature,
)
from chem.units.show import (
    Units,
    format_area,
    format_carrier,
    format_mass,
    format_per_gallon_and_litre,
    format_rate,
    format_temperature,
    format_volume,
)
from chem.units.water import Interval, read_alkalinity, read_concentration, read_hardness

__all__ = [
    "Interval",
    "Number",
    "Measure",
    "Measured",
    "Price",
    "Rate",
    "Units",
    "format_area",
    "format_carrier",
    "format_mass",
    "format_per_gallon_and_litre",
    "format_rate",
    "format_temperature",
    "format_volume",
    "ion_of",
    "possible_carrier",
    "measured",
    "read_alkalinity",
    "read_area",
    "read_carrier",
    "read_concentration",
    "read_density",
    "read_density_range",
    "read_duration",
    "read_hardness",
    "read_length",
    "read_mass",
    "read_number",
    "read_percent",
    "read_ph",
    "read_ph_window",
    "read_measure",
    "read_price",
    "read_rate",
    "read_rate_range",
    "read_screen",
    "read_specific_gravity",
    "read_speed",
    "read_temperature",
    "read_volume",
    "rounding",
]
