"""Amounts written for the shed: both unit systems, rounded to what jugs and scales can show.

A volume of product is shown to the half or tenth of a fluid ounce, to a quarter teaspoon under an
ounce, and to 5 mL; a weight to the tenth of an ounce and to the gram. What is smaller than the
measure keeps two figures, so that a little is never shown as nothing.
"""

from __future__ import annotations

import math
from typing import Literal

from chem.units.amounts import Rate
from chem.units.registry import factor

Units = Literal["us", "metric", "both"]

_QUARTERS = ("", " 1/4", " 1/2", " 3/4")


def format_volume(volume_L: float, units: Units = "both") -> str:
    """A volume [L] to measure out: `100 fl oz (2.96 L)`.

    Raises:
        ValueError: a negative or non-finite volume, or unknown `units`.
    """
    _check(volume_L)
    return _pair(_us_volume(volume_L), _metric_volume(volume_L), units)


def format_mass(mass_kg: float, units: Units = "both") -> str:
    """A mass [kg] to weigh out: `8 oz wt (227 g)`, `2 lb 4 oz (1.02 kg)`.

    Raises:
        ValueError: a negative or non-finite mass, or unknown `units`.
    """
    _check(mass_kg)
    return _pair(_us_mass(mass_kg), _metric_mass(mass_kg), units)


def format_area(area_m2: float, units: Units = "both") -> str:
    """An area [m2]: `25,000 sq ft (2323 m2)`, from two acres on `5 acre (2.02 ha)`.

    Raises:
        ValueError: a negative or non-finite area, or unknown `units`.
    """
    _check(area_m2)
    acres = area_m2 / factor("acre", "square_meter")
    if acres < 2:
        us = f"{_grouped(area_m2 / factor('square_foot', 'square_meter'))} sq ft"
    else:
        us = f"{_figures(acres)} acre"
    hectares = area_m2 / factor("hectare", "square_meter")
    metric = f"{_figures(area_m2, 4)} m2" if hectares < 1 else f"{_figures(hectares)} ha"
    return _pair(us, metric, units)


def format_carrier(carrier_L_per_m2: float, units: Units = "both") -> str:
    """A spray volume [L/m2]: `2 gal/1000 sq ft (815 L/ha)`.

    Raises:
        ValueError: a negative or non-finite volume, or unknown `units`.
    """
    _check(carrier_L_per_m2)
    gallons = carrier_L_per_m2 * _per_1000_square_feet() / factor("gallon", "liter")
    hectare = carrier_L_per_m2 * factor("hectare", "square_meter")
    # From 1000 L/ha on to the litre, so that it still keeps a limit when it is typed back.
    litres = f"{hectare:.0f}" if hectare >= 1000.0 else _figures(hectare)
    return _pair(f"{_figures(gallons)} gal/1000 sq ft", f"{litres} L/ha", units)


def format_rate(rate: Rate, units: Units = "both") -> str:
    """A product rate: `4 fl oz/1000 sq ft (12.7 L/ha)`, `32 fl oz/100 gal (2.5 mL/L)`.

    Raises:
        ValueError: a negative or non-finite rate, or unknown `units`.
    """
    _check(rate.value)
    if rate.per == "mass-fraction":
        share = f"{_figures(100.0 * rate.value)} % w/w"
        return _pair(share, share, units)
    if rate.per == "volume":
        amount_us = rate.value * 100.0 * factor("gallon", "liter")
        metric = f"{_figures(rate.value)} {rate.unit}"
        return _pair(f"{_us_amount(amount_us, rate.kind)}/100 gal", metric, units)
    us = f"{_us_amount(rate.value * _per_1000_square_feet(), rate.kind)}/1000 sq ft"
    large, small = ("L", "mL") if rate.kind == "volume" else ("kg", "g")
    per_hectare = rate.value * factor("hectare", "square_meter")
    if per_hectare < 1000.0:
        return _pair(us, f"{_figures(per_hectare)} {small}/ha", units)
    return _pair(us, f"{_figures(per_hectare / 1000.0)} {large}/ha", units)


def format_temperature(celsius: float, units: Units = "both") -> str:
    """A temperature [degC]: `60 F (15.6 C)`.

    Raises:
        ValueError: a non-finite temperature, or unknown `units`.
    """
    if not math.isfinite(celsius):
        raise ValueError(f"{celsius} is no temperature")
    return _pair(f"{_tenth(celsius * 9.0 / 5.0 + 32.0)} F", f"{_tenth(celsius)} C", units)


def format_per_gallon_and_litre(concentration_g_per_L: float, units: Units = "both") -> str:
    """A concentration [g/L] of what is in the tank: `1.5 oz wt/gal (11.2 g/L)`.

    Raises:
        ValueError: a negative or non-finite concentration, or unknown `units`.
    """
    _check(concentration_g_per_L)
    grams = concentration_g_per_L * factor("gallon", "liter")
    ounces = grams / factor("ounce", "gram")
    us = f"{_figures(ounces, 2)} oz wt/gal" if ounces >= 0.1 else f"{_figures(grams, 2)} g/gal"
    if concentration_g_per_L >= 1.0:
        metric = f"{_figures(concentration_g_per_L)} g/L"
    else:
        metric = f"{_figures(1000.0 * concentration_g_per_L, 2)} mg/L"
    return _pair(us, metric, units)


def _check(value: float) -> None:
    if not (math.isfinite(value) and value >= 0.0):
        raise ValueError(f"{value} is no amount")


def _pair(us: str, metric: str, units: Units) -> str:
    if units not in ("us", "metric", "both"):
        raise ValueError(f"units must be us, metric or both, not {units!r}")
    if units == "both" and us != metric:
        return f"{us} ({metric})"
    return metric if units == "metric" else us


def _plain(value: float, decimals: int) -> str:
    text = f"{value:.{max(decimals, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _figures(value: float, figures: int = 3) -> str:
    """Rounded to so many figures, without an exponent and without trailing zeros."""
    if value == 0.0:
        return "0"
    rounded = float(f"{value:.{figures - 1}e}")
    return _plain(rounded, figures - 1 - math.floor(math.log10(abs(rounded))))


def _grouped(value: float) -> str:
    return f"{float(_figures(value, 4)):,.0f}" if value >= 1000.0 else _figures(value, 4)


def _tenth(value: float) -> str:
    return _plain(round(value, 1) + 0.0, 1)


def _to_step(value: float, step: float) -> str:
    """Rounded to a measure's step, or to two figures where the step is coarser than the value."""
    if value < 10.0 * step:
        return _figures(value, 2)
    return _plain(round(value / step) * step, max(0, -math.floor(math.log10(step))))


def _us_volume(volume_L: float) -> str:
    ounces = volume_L / factor("fluid_ounce", "liter")
    teaspoons = volume_L / factor("teaspoon", "liter")
    gallons = volume_L / factor("gallon", "liter")
    if teaspoons < 1.0:
        return _metric_volume(volume_L)
    if ounces < 1.0:
        quarters = round(4.0 * teaspoons)
        return f"{quarters // 4}{_QUARTERS[quarters % 4]} tsp"
    if gallons < 2.0:
        return f"{_to_step(ounces, 0.1 if ounces < 10 else 0.5 if ounces < 32 else 1.0)} fl oz"
    if gallons >= 10.0 or abs(gallons - round(gallons)) < 0.005 * gallons:
        return f"{_figures(gallons)} gal"
    whole, left = divmod(round(ounces), 128)
    return f"{whole} gal {left} fl oz" if left else f"{whole} gal"


def _metric_volume(volume_L: float) -> str:
    millilitres = 1000.0 * volume_L
    if millilitres >= 997.5:
        return f"{_figures(volume_L)} L"
    return f"{_to_step(millilitres, 0.1 if millilitres < 10 else 1 if millilitres < 100 else 5)} mL"


def _us_mass(mass_kg: float) -> str:
    ounces = mass_kg / factor("ounce", "kilogram")
    pounds = mass_kg / factor("pound", "kilogram")
    if ounces < 0.1:
        return _metric_mass(mass_kg)
    if ounces < 15.95:
        return f"{_to_step(ounces, 0.1)} oz wt"
    if pounds >= 10.0:
        return f"{_figures(pounds)} lb"
    whole, left = divmod(round(2.0 * ounces) / 2.0, 16)
    return f"{whole:g} lb {left:g} oz" if left else f"{whole:g} lb"


def _metric_mass(mass_kg: float) -> str:
    grams = 1000.0 * mass_kg
    if grams >= 997.5:
        return f"{_figures(mass_kg)} kg"
    if grams < 0.1:
        return f"{_figures(1000.0 * grams, 2)} mg"
    return f"{_to_step(grams, 0.1 if grams < 10 else 1)} g"


def _us_amount(amount: float, kind: str) -> str:
    """An amount [mL] or [g] as part of a rate, to three figures."""
    if kind == "volume":
        ounces = amount / factor("fluid_ounce", "milliliter")
        if ounces >= 128.0:
            return f"{_figures(ounces / 128.0)} gal"
        return f"{_figures(ounces)} fl oz"
    ounces = amount / factor("ounce", "gram")
    return f"{_figures(ounces)} oz wt" if ounces < 16.0 else f"{_figures(ounces / 16.0)} lb"


def _per_1000_square_feet() -> float:
    """Square metres in 1000 sq ft."""
    return 1000.0 * factor("square_foot", "square_meter")
