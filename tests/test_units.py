"""Units and water reports read as printed, against published conversions and by invariance.

NIST values below (Handbook 44, Appendix C; Special Publication 811, Appendix B) are quoted from
memory; each also follows from the exact definitions.
"""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Callable
from typing import Any

import periodictable
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chem import units
from chem.errors import InputProblem
from chem.reference import catalogue, tables
from chem.units import Number, Rate
from chem.units.masses import molar_mass_g_per_mol
from chem.units.registry import factor, registry
from chem.units.spellings import AREA, MASS, VOLUME

WHERE = "mix.toml, rate"
EXACT = 1e-12
fixed = settings(max_examples=60, derandomize=True, deadline=None)


def refused(read: Callable[..., Any], text: str, *words: str, **keywords: Any) -> str:
    """The refusal of `text`, after checking that it names the place, the text and `words`."""
    with pytest.raises(InputProblem) as caught:
        read(text, WHERE, **keywords)
    (problem,) = caught.value.problems
    assert problem.read.startswith(WHERE)
    assert text in problem.read
    assert problem.wrong and problem.instead
    message = str(problem)
    for word in words:
        assert word in message
    return message


# ---------------------------------------------------------------- numbers


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("5", 5, 5),
        ("2.50", 2.5, 2.5),
        (".5", 0.5, 0.5),
        ("5.", 5, 5),
        ("1e-3", 1e-3, 1e-3),
        ("+3", 3, 3),
        ("-5", -5, -5),
        ("\u22125", -5, -5),
        ("1/2", 0.5, 0.5),
        ("1 1/2", 1.5, 1.5),
        ("1-1/2", 1.5, 1.5),
        ("1\u00bd", 1.5, 1.5),
        ("\u00be", 0.75, 0.75),
        ("5-6", 5, 6),
        ("5 \u2013 6", 5, 6),
        ("5 to 6", 5, 6),
        ("5..6", 5, 6),
        ("1/2 to 3/4", 0.5, 0.75),
        ("-5 to -2", -5, -2),
        ("1,500.0", 1500, 1500),
        ("1,234,567", 1234567, 1234567),
        ("1\u2009000", 1000, 1000),
        ("12\u202f500\u00a0000.5", 12500000.5, 12500000.5),
        ("\uff15", 5, 5),
    ],
)
def test_numbers_are_read_as_printed(text: str, low: float, high: float) -> None:
    number = units.read_number(text, WHERE)
    assert (number.low, number.high, number.below_detection) == (low, high, False)
    assert number.value == (low + high) / 2


@pytest.mark.parametrize("text", ["<0.5", "< 0.5", "less than 0.5", "\u22640.5"])
def test_below_detection_is_an_interval_from_zero(text: str) -> None:
    assert units.read_number(text, WHERE) == Number(0.0, 0.5, below_detection=True)
    assert units.read_number(text, WHERE).value == 0.25


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("", "nothing is written"),
        ("   ", "nothing is written"),
        ("nan", "does not begin with a number"),
        ("NaN", "does not begin with a number"),
        ("inf", "does not begin with a number"),
        ("-inf", "does not begin with a number"),
        ("1e999", "too large"),
        ("some", "does not begin with a number"),
        ("1,5", "is it 1.5 or 15?"),
        ("1,500", "is it 1.500 or 1500?"),
        ("1,000", "is it 1.000 or 1000?"),
        ("0,500", "is it 0.500 or 0500?"),
        ("1.500,0", "lost dash"),
        ("1,50,000", "do not part thousands"),
        ("1,5.0", "do not part thousands"),
        ("120 250", "lost dash"),
        ("1 000", "lost dash"),
        ("10-34-0", "lost dash"),
        ("6-5", "runs downward"),
        ("0-1/2", "a range or as a mixed number"),
        ("1 3/2", "a range or as a mixed number"),
        ("1/0", "no fraction"),
        ("5/1000", "no fraction"),
        (">425", "one end open"),
        ("<5-6", "one end open"),
        ("10\u207b\u00b3", "raised power"),
        ("5 mg", "follows it"),
        ("5+", "lost dash"),
    ],
)
def test_unclear_numbers_are_refused(text: str, word: str) -> None:
    refused(units.read_number, text, word)


@fixed
@given(st.floats(min_value=-1e9, max_value=1e9))
def test_every_finite_number_reads_back(value: float) -> None:
    assert units.read_number(repr(value), WHERE).value == value


WORDS = (
    "1 5 0 . , / - % < per as to e ( ) \u00bd \u00b0 oz fl gal M A sq ft m2 ha L mg "
    "CaCO3 N v w F dH gpg ppm 1000 1,000 nan"
)
PIECES = [" ", "\u2009", *WORDS.split()]
READERS: list[Callable[[str, str], object]] = [
    units.read_number,
    units.read_rate,
    units.read_carrier,
    units.read_volume,
    units.read_mass,
    units.read_area,
    units.read_density,
    units.read_specific_gravity,
    units.read_temperature,
    units.read_percent,
    units.read_ph,
    units.read_duration,
    units.read_hardness,
    units.read_alkalinity,
    lambda text, where: units.read_concentration(text, where, ion="NO3"),
]


@settings(max_examples=150, derandomize=True, deadline=None)
@given(st.text(max_size=20) | st.lists(st.sampled_from(PIECES), max_size=9).map("".join))
def test_any_text_is_read_finite_or_refused(text: str) -> None:
    for read in READERS:
        try:
            result = read(text, WHERE)
        except InputProblem:
            continue
        value = result if isinstance(result, float) else result.value  # type: ignore[attr-defined]
        assert math.isfinite(value)


# ---------------------------------------------------------------- the registry


@pytest.mark.parametrize(
    ("unit", "target", "published", "relative"),
    [
        ("gallon", "liter", 3.785412, 2e-7),  # NIST Handbook 44, Appendix C
        ("quart", "liter", 0.9463529, 1e-7),  # NIST Handbook 44, Appendix C
        ("pint", "milliliter", 473.1765, 1e-7),  # NIST Handbook 44, Appendix C
        ("fluid_ounce", "milliliter", 29.57353, 1e-6),  # NIST Handbook 44, Appendix C
        ("cup", "milliliter", 236.5882, 1e-6),  # NIST SP 811, Appendix B
        ("tablespoon", "milliliter", 14.78676, 1e-6),  # NIST SP 811, Appendix B
        ("teaspoon", "milliliter", 4.928922, 1e-6),  # NIST SP 811, Appendix B
        ("imperial_gallon", "liter", 4.54609, EXACT),  # NIST SP 811, Appendix B
        ("imperial_fluid_ounce", "milliliter", 28.41306, 1e-6),  # NIST SP 811, Appendix B
        ("square_foot", "square_meter", 0.09290304, EXACT),  # NIST SP 811, Appendix B
        ("acre", "square_foot", 43560, EXACT),  # NIST Handbook 44, Appendix C
        ("acre", "square_meter", 4046.873, 1e-5),  # SP 811, App. B, the survey foot's acre
        ("hectare", "acre", 2.471054, 1e-5),  # NIST Handbook 44, Appendix C
        ("pound", "kilogram", 0.45359237, EXACT),  # NIST Handbook 44, Appendix C
        ("ounce", "gram", 28.34952, 1e-6),  # NIST Handbook 44, Appendix C
        ("grain", "milligram", 64.79891, EXACT),  # NIST Handbook 44, Appendix C
        ("short_ton", "kilogram", 907.18474, EXACT),  # NIST Handbook 44, Appendix C
        ("long_ton", "kilogram", 1016.047, 1e-6),  # NIST Handbook 44, Appendix C
        ("cubic_foot", "liter", 28.31685, 1e-6),  # NIST SP 811, Appendix B
    ],
)
def test_definitions_meet_nist(unit: str, target: str, published: float, relative: float) -> None:
    assert factor(unit, target) == pytest.approx(published, rel=relative)


def test_definitions_meet_pints_own_registry() -> None:
    theirs: pint.UnitRegistry[float] = pint.UnitRegistry()
    names = {"square_foot": "foot**2", "square_meter": "meter**2", "acre": "43560*foot**2"}
    names |= {"cubic_meter": "meter**3", "cubic_foot": "foot**3", "tonne": "metric_ton"}
    for table, target in ((VOLUME, "liter"), (MASS, "gram"), (AREA, "square_meter")):
        for unit in set(table.values()):
            published = theirs(names.get(unit, unit)).to(names.get(target, target)).magnitude
            assert factor(unit, target) == pytest.approx(published, rel=1e-12), unit


def test_units_we_never_use_are_not_defined() -> None:
    with pytest.raises(pint.UndefinedUnitError):
        registry().Quantity(60.0, "farad")


def test_importing_units_loads_neither_pint_nor_periodictable() -> None:
    code = (
        "import sys, chem.units; print([m for m in ('pint', 'periodictable') if m in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"


# ---------------------------------------------------------------- rates


FOUR_OUNCES = 4 * 29.5735295625 / 92.90304  # [mL/m2], exact definitions


@pytest.mark.parametrize(
    "text",
    [
        "4 fl. oz. per 1,000 sq. ft.",
        "4 fl oz/1000 sq ft",
        "4 fl oz/1000 ft^2",
        "4 fl_oz/1000 ft^2",
        "4 FL OZ PER 1000 SQ FT",
        "4 floz/1000ft2",
        "4 fl-oz / 1,000 ft\u00b2",
        "4 fluid ounces per 1000 square feet",
        "4 fl oz per thousand square feet",
        "4 fl oz of product per 1000 sq ft",
        "4 fl oz per M",
        "4 fl oz/M",
        "4 fl oz/1000",
        "4 fl oz per 1,000",
        "4 US fl oz/1000 sq ft",
        "174.24 fl oz/acre",
        "174.24 fl oz/A",
        "174.24 fl oz per ac",
        "8 tbsp/1000 sq ft",
        "24 tsp/1000 sq ft",
        "1/2 cup/1000 sq ft",
        "0.25 pt/1000 sq ft",
        "1/8 qt/1000 sq ft",
        "0.03125 gal/1000 sq ft",
        "1.36125 GPA",
    ],
)
def test_one_rate_in_many_spellings(text: str) -> None:
    rate = units.read_rate(text, WHERE)
    assert rate == Rate("volume", "area", rate.value)
    assert rate.unit == "mL/m2"
    assert rate.value == pytest.approx(FOUR_OUNCES, rel=EXACT)


def test_everything_after_the_slash_is_one_bracket() -> None:
    rate = units.read_rate("8 floz/1000 ft^2", WHERE)
    assert (rate.kind, rate.per) == ("volume", "area")
    assert rate.value == pytest.approx(2 * FOUR_OUNCES, rel=EXACT)
    # pint reads the same text as (8 floz / 1000) * ft^2, a length to the fifth
    theirs: pint.UnitRegistry[float] = pint.UnitRegistry()
    assert theirs("8 floz/1000 ft^2").dimensionality == {"[length]": 5.0}


@pytest.mark.parametrize(
    ("text", "per_hectare", "relative"),
    [
        # Per ha, worked by hand from the exact definitions (NIST Handbook 44, Appendix C).
        ("1 gal/1000 sq ft", 407.458, 2e-6),
        ("1 gal/acre", 9.35396, 1e-6),
        ("1 fl oz/1000 sq ft", 3.18327, 2e-6),
        ("1 lb/1000 sq ft", 48.8243, 1e-6),
        ("1 oz wt/1000 sq ft", 3.05152, 2e-6),
        ("1 lb/acre", 1.12085, 2e-6),
        # NIST SP 811, Appendix B: ounce per square foot = 0.305 151 7 kg/m2
        ("1 oz wt/sq ft", 3051.517, 1e-6),
        # Pesticide Environmental Stewardship (university cooperative): gal/acre x 9.35 = L/ha
        ("1 US gal per acre", 9.35, 1e-3),
        ("1 imp gal/acre", 11.2336, 1e-5),
        ("1 imp fl oz/acre", 11.2336 / 160, 1e-5),
        ("1 imp pt/acre", 11.2336 / 8, 1e-5),
        ("1 imp qt/acre", 11.2336 / 4, 1e-5),
        ("3 L/ha", 3, EXACT),
        ("3 L ha-1", 3, EXACT),
        ("3 kg ha\u207b\u00b9", 3, EXACT),
        ("30 mL/100 m2", 3, EXACT),
        ("0.3 g m-2", 3, EXACT),
        ("300 mg/m2", 3, EXACT),
        ("3000 g per hectare", 3, EXACT),
        ("3 tonnes/ha", 3000, EXACT),
        ("1 short ton/acre", 2241.70, 2e-6),
    ],
)
def test_rates_per_area(text: str, per_hectare: float, relative: float) -> None:
    rate = units.read_rate(text, WHERE)
    assert rate.per == "area"
    assert rate.value * 10 == pytest.approx(per_hectare, rel=relative)


@pytest.mark.parametrize(
    ("text", "kind", "per", "value"),
    [
        ("1 qt/100 gal", "volume", "volume", 2.5),
        ("32 fl oz per 100 gallons of finished spray", "volume", "volume", 2.5),
        ("1 imp qt/100 imp gal", "volume", "volume", 2.5),
        ("5 mL/L", "volume", "volume", 5),
        ("2 L/100 L", "volume", "volume", 20),
        ("500 mL/hL", "volume", "volume", 5),
        ("1 tsp/gal", "volume", "volume", 1000 / 768),
        ("1 tbsp per gal", "volume", "volume", 1000 / 256),
        ("1 1/2 tsp/gal", "volume", "volume", 1500 / 768),
        ("3 g/L", "mass", "volume", 3),
        ("1 lb/gal", "mass", "volume", 119.8264),  # NIST SP 811, Appendix B
        ("1 lb/imp gal", "mass", "volume", 99.77637),  # NIST SP 811, Appendix B
        ("1 oz wt/gal", "mass", "volume", 7.489152),  # NIST SP 811, Appendix B
        ("0.25 % v/v", "volume", "volume", 2.5),
        ("0.25% (v/v)", "volume", "volume", 2.5),
        ("0.25 percent by volume", "volume", "volume", 2.5),
        ("0.25 % v/v of finished spray", "volume", "volume", 2.5),
        ("1 % w/v", "mass", "volume", 10),
        ("1 % w/w", "mass", "mass-fraction", 0.01),
        ("1 per cent by weight", "mass", "mass-fraction", 0.01),
    ],
)
def test_rates_per_spray(text: str, kind: str, per: str, value: float) -> None:
    rate = units.read_rate(text, WHERE)
    assert (rate.kind, rate.per) == (kind, per)
    assert rate.value == pytest.approx(value, rel=1e-6)


@pytest.mark.parametrize("ounce", ["oz wt", "oz weight", "oz (weight)", "dry oz", "oz. (wt.)"])
def test_ounce_by_weight_is_a_mass(ounce: str) -> None:
    rate = units.read_rate(f"3 {ounce}/1000 sq ft", WHERE)
    assert rate.kind == "mass"
    assert rate == units.read_rate("3 oz/1000 sq ft", WHERE, dry=True)
    assert rate.value == pytest.approx(3 * 28.349523125 / 92.90304, rel=EXACT)


def test_dry_does_not_turn_fluid_ounces_into_weight() -> None:
    assert units.read_rate("3 fl oz/M", WHERE, dry=True).kind == "volume"


@pytest.mark.parametrize("text", ["3 oz/1000 sq ft", "3 ounces per acre", "3 oz./gal"])
def test_bare_ounce_of_a_liquid_is_asked_about(text: str) -> None:
    refused(units.read_rate, text, "is it fl oz (a volume) or oz weight (`oz wt`)?")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("2 ton/acre", ("short", "long", "metric")),
        ("2 tons per acre", ("short", "long", "metric")),
        ("3 t/ha", ("tablespoon", "tonne")),
        ("3 T/gal", ("`tbsp`",)),
        ("3 gr/L", ("grain",)),
        ("4 fl oz/m", ("1000 sq ft", "m2")),
        ("5 %", ("basis", "`5 % v/v`", "`5 % w/w`")),
        ("120 % v/v", ("100 %",)),
        ("5 % v/w", ("is not read as",)),
        ("4 fl oz", ("on what area",)),
        ("4", ("unit is missing",)),
        ("4 fl oz/100", ("per 100 of what?",)),
        ("4 fl oz/1000 sq ft/month", ("more than one",)),
        ("0.1 lb N/1000 sq ft", ("nutrient, not of product",)),
        ("10/100 gal", ("unit missing before the `/`",)),
        ("1,5 fl oz/1000 sq ft", ("1.5 or 15?",)),
        ("1,500 mL/ha", ("1.500 or 1500?",)),
        ("4 fl oz/1,000 m2", ("1.000 or 1000?",)),
        ("4 fl oz/1,00 sq ft", ("comma",)),
        ("4 fl oz/0 sq ft", ("above zero",)),
        ("4 fl oz/1-2 acre", ("above zero",)),
        ("0 fl oz/M", ("above zero",)),
        ("-1 fl oz/M", ("above zero",)),
        ("<1 fl oz/M", ("above zero",)),
        ("3-6 fl oz/M", ("a range",)),
        ("500 ppm", ("is not read as",)),
        ("4 drops/acre", ("`drops`",)),
        ("4 fl oz/lb", ("`lb`",)),
    ],
)
def test_unclear_rates_are_refused(text: str, words: tuple[str, ...]) -> None:
    refused(units.read_rate, text, *words)


def test_rate_range_gives_both_ends() -> None:
    low, high = units.read_rate_range("3 to 6 fl oz/1000 sq ft", WHERE)
    assert low == units.read_rate("3 fl oz/M", WHERE)
    assert high == units.read_rate("6 fl oz/M", WHERE)


def test_readings_that_were_chosen_are_noted() -> None:
    assert "1000 sq ft" in units.read_rate("4 fl oz/1000", WHERE).notes[0]
    assert "finished spray" in units.read_rate("1 qt/100 gal of water", WHERE).notes[0]
    assert units.read_rate("4 fl oz/1000 sq ft", WHERE).notes == ()
    assert units.read_rate("4 fl oz/1000 sq ft", WHERE).text == "4 fl oz/1000 sq ft"


@fixed
@given(st.floats(min_value=1e-3, max_value=1e3))
def test_a_rate_is_the_same_in_every_unit(fluid_ounces: float) -> None:
    expected = units.read_rate(f"{fluid_ounces!r} fl oz/1000 sq ft", WHERE).value
    others = {
        "tsp/1000 sq ft": 6.0,
        "gal/acre": 43.56 / 128,
        "qt/A": 43.56 / 32,
        "mL/100 m2": 29.5735295625 / 0.9290304,
        "L/ha": 2.95735295625 / 0.9290304,
        "imp gal/ha": 2.95735295625 / 0.9290304 / 4.54609,
    }
    for unit, per_ounce in others.items():
        rate = units.read_rate(f"{fluid_ounces * per_ounce!r} {unit}", WHERE)
        assert rate.value == pytest.approx(expected, rel=1e-11), unit


@fixed
@given(st.sampled_from(sorted(VOLUME)), st.floats(min_value=0.01, max_value=1e4))
def test_a_carrier_scales_with_its_number(unit: str, amount: float) -> None:
    once = units.read_carrier(f"1 {unit}/ha", WHERE)
    assert units.read_carrier(f"{amount!r} {unit} per ha", WHERE) == pytest.approx(amount * once)
    assert units.read_carrier(f"{amount!r} {unit}/2 ha", WHERE) == pytest.approx(amount * once / 2)


# ---------------------------------------------------------------- carrier, volumes, masses, areas


@pytest.mark.parametrize(
    ("text", "litres_per_hectare"),
    [
        ("2 gal/1000 sq ft", 814.9163),
        ("2 gal per M", 814.9163),
        ("20 GPA", 187.0791),
        ("20 gal/acre", 187.0791),
        ("20 imp gal/acre", 224.6727),
        ("400 L/ha", 400),
        ("4 L/100 m2", 400),
        ("40 mL/m2", 400),
    ],
)
def test_carrier(text: str, litres_per_hectare: float) -> None:
    assert units.read_carrier(text, WHERE) * 1e4 == pytest.approx(litres_per_hectare, rel=1e-6)


def test_a_catch_in_fluid_ounces_on_a_128th_of_an_acre_is_gallons_per_acre() -> None:
    # The 1/128-acre calibration method, as taught by US county extension services.
    caught = units.read_carrier(f"40 fl oz/{43560 / 128} sq ft", WHERE)
    assert caught == pytest.approx(units.read_carrier("40 GPA", WHERE), rel=EXACT)


@pytest.mark.parametrize("text", ["2 lb/acre", "5 mL/L", "5 % v/v", "3 oz wt/M"])
def test_a_carrier_is_a_volume_on_an_area(text: str) -> None:
    refused(units.read_carrier, text, "volume on an area")


@pytest.mark.parametrize(
    ("text", "litres"),
    [
        ("50 gal", 189.2706),
        ("50 US gallons", 189.2706),
        ("10 imp gal", 45.4609),
        ("10 Imperial gallons", 45.4609),
        ("10 UK gal", 45.4609),
        ("1 qt", 0.9463529),
        ("1 pt", 0.4731765),
        ("16 fl oz", 0.4731765),
        ("16 imp fl oz", 0.454609),
        ("1 1/2 cups", 0.3548824),
        ("500 mL", 0.5),
        ("500 cc", 0.5),
        ("200 litres", 200),
        ("2 m3", 2000),
        ("1 cu ft", 28.31685),
    ],
)
def test_volumes(text: str, litres: float) -> None:
    assert units.read_volume(text, WHERE) == pytest.approx(litres, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "kilograms"),
    [
        ("40 lb", 18.1436948),
        ("8 oz", 0.226796185),
        ("8 oz wt", 0.226796185),
        ("1 short ton", 907.18474),
        ("1 long ton", 1016.0469),
        ("1 tonne", 1000),
        ("250 g", 0.25),
        ("1 kg", 1),
    ],
)
def test_masses(text: str, kilograms: float) -> None:
    assert units.read_mass(text, WHERE) == pytest.approx(kilograms, rel=1e-7)


@pytest.mark.parametrize(
    ("text", "square_metres"),
    [
        ("25,000 sq ft", 2322.576),
        ("25 M", 2322.576),
        ("1/2 acre", 2023.428),
        ("1,000 acres", 4046856.4),
        ("0.8 ha", 8000),
        ("500 m\u00b2", 500),
        ("500 sq m", 500),
    ],
)
def test_areas(text: str, square_metres: float) -> None:
    assert units.read_area(text, WHERE) == pytest.approx(square_metres, rel=1e-6)


def test_plain_amounts_that_are_refused() -> None:
    refused(units.read_volume, "16 oz", "fl oz (a volume)")
    refused(units.read_volume, "16", "unit is missing")
    refused(units.read_volume, "16 lb", "a volume")
    refused(units.read_volume, "1,000 L", "1.000 or 1000?")
    refused(units.read_volume, "40-50 gal", "a range")
    refused(units.read_volume, "0 gal", "above zero")
    refused(units.read_mass, "1 ton", "short", "metric")
    refused(units.read_mass, "1 gal", "a weight")
    refused(units.read_area, "1,500 m2", "1.500 or 1500?")
    refused(units.read_area, "5", "unit is missing")
    refused(units.read_area, "5 gal", "an area")


# ---------------------------------------------------------------- density and the rest


@pytest.mark.parametrize(
    ("text", "kg_per_litre"),
    [
        ("1 kg/L", 1),
        ("1.34 kg/L", 1.34),
        ("1.34 g/mL", 1.34),
        ("1.34 g/cm3", 1.34),
        ("1.34 g/cm\u00b3", 1.34),
        ("1.34 g/cc", 1.34),
        ("1340 kg/m3", 1.34),
        ("1.34 kg/dm3", 1.34),
        ("10 lb/gal", 1.198264),  # NIST SP 811, Appendix B: lb/gal = 119.8264 kg/m3
        ("10 lbs per US gallon", 1.198264),
        ("10 lb/imp gal", 0.9977637),  # NIST SP 811, Appendix B
        ("83.6 lb/cu ft", 1.339143),  # NIST SP 811, Appendix B: lb/ft3 = 16.018 46 kg/m3
    ],
)
def test_densities(text: str, kg_per_litre: float) -> None:
    assert units.read_density(text, WHERE) == pytest.approx(kg_per_litre, rel=1e-6)


def test_density_of_ammonium_polyphosphate_liquor() -> None:
    # University of Nebraska PASSEL fertilizer lesson: 10-34-0 weighs 11.4 lb/gal, so a gallon
    # holds 1.1 lb N and 3.9 lb P2O5; 11.4 lb/gal is 1.366 kg/L.
    density = units.read_density("11.4 lb/gal", WHERE)
    assert density == pytest.approx(1.366, abs=0.0005)
    pounds_per_gallon = factor("pound", "kilogram") / factor("gallon", "liter")
    assert 0.10 * density / pounds_per_gallon == pytest.approx(1.1, abs=0.05)
    assert 0.34 * density / pounds_per_gallon == pytest.approx(3.9, abs=0.05)


def test_density_range_and_specific_gravity() -> None:
    assert units.read_density_range("1.30-1.34 kg/L", WHERE) == pytest.approx((1.30, 1.34))
    gravity = units.read_specific_gravity("1.34", WHERE)
    # Kell, J. Chem. Eng. Data 20 (1975) 97: water 0.99910 kg/L at 15 C, 0.99894 at 16 C
    # (value from memory); 60 F lies between.
    assert 1.34 * 0.99894 < gravity < 1.34 * 0.99910


def test_densities_that_are_refused() -> None:
    refused(units.read_density, "112 lb/gal", "13.4 kg/L", "no liquid")
    refused(units.read_density, "0.134 kg/L", "0.134 kg/L", "no liquid")
    refused(units.read_density, "1.34", "specific_gravity")
    refused(units.read_density, "1.30-1.34 kg/L", "a range")
    refused(units.read_density, "11.2 gal/lb", "weight per volume")
    refused(units.read_density, "11.2 lb", "weight per volume")
    refused(units.read_specific_gravity, "1.34 kg/L", "bare number", "`density`")
    refused(units.read_specific_gravity, "11.2", "no liquid")


@pytest.mark.parametrize(
    ("text", "degrees"),
    [
        ("32 F", 0),
        ("59 F", 15),
        ("60 F", 140 / 9),
        ("60 degF", 140 / 9),
        ("60\u00b0F", 140 / 9),
        ("60 deg. F", 140 / 9),
        ("60 degrees Fahrenheit", 140 / 9),
        ("140 F", 60),
        ("14 F", -10),
        ("15 C", 15),
        ("15 \u00b0C", 15),
        ("15 \u00baC", 15),
        ("15 \u2103", 15),
        ("-5 Celsius", -5),
        ("\u22125 C", -5),
        ("288 K", 14.85),
    ],
)
def test_temperatures(text: str, degrees: float) -> None:
    assert units.read_temperature(text, WHERE) == pytest.approx(degrees, abs=1e-9)


def test_temperatures_that_are_refused() -> None:
    refused(units.read_temperature, "60", "is it F or C?", "`60 F` or `60 C`")
    refused(units.read_temperature, "60 deg", "is it F or C?")
    refused(units.read_temperature, "60 farad", "farad")
    refused(units.read_temperature, "61 C", "outside -10 to 60 C")
    refused(units.read_temperature, "13 F", "outside -10 to 60 C")
    refused(units.read_temperature, "60 K", "outside -10 to 60 C")
    refused(units.read_temperature, "50-60 F", "a range")


def test_percent_ph_and_duration() -> None:
    assert units.read_percent("2.0 %", WHERE) == Number(2, 2)
    assert units.read_percent("2", WHERE) == Number(2, 2)
    assert units.read_percent("5-10% w/w", WHERE) == Number(5, 10)
    assert units.read_percent("<0.1 percent", WHERE) == Number(0, 0.1, below_detection=True)
    assert units.read_ph("6.5", WHERE) == Number(6.5, 6.5)
    assert units.read_ph("pH 6.5-7.5", WHERE) == Number(6.5, 7.5)
    assert units.read_duration("15min", WHERE) == 900
    assert units.read_duration("4h", WHERE) == 4 * 3600
    assert units.read_duration("24 h", WHERE) == 24 * 3600
    assert units.read_duration("90 s", WHERE) == 90
    assert units.read_duration("1 day", WHERE) == 24 * 3600
    refused(units.read_percent, "101 %", "between 0 and 100")
    refused(units.read_percent, "-1 %", "between 0 and 100")
    refused(units.read_percent, "5 % w/v", "basis")
    refused(units.read_percent, "5 ppm", "not percent")
    refused(units.read_ph, "14.5", "between 0 and 14")
    refused(units.read_ph, "-1", "between 0 and 14")
    refused(units.read_ph, "7 units", "no unit")
    refused(units.read_duration, "5 m", "`m`")
    refused(units.read_duration, "5", "unit of time is missing")
    refused(units.read_duration, "0 h", "above zero")


# ---------------------------------------------------------------- water reports


def mmol(text: str, ion: str) -> float:
    return units.read_concentration(text, WHERE, ion=ion).value


@pytest.mark.parametrize(
    ("text", "ion", "formula", "grams"),
    [
        ("68 mg/L", "Ca", "Ca", 0.068),
        ("68 mg/l", "Ca2+", "Ca", 0.068),
        ("68 mg/L", "calcium", "Ca", 0.068),
        ("68 mg L-1", "Ca", "Ca", 0.068),
        ("68 g/m3", "Ca", "Ca", 0.068),
        ("0.068 g/L", "Ca", "Ca", 0.068),
        ("68000 \u00b5g/L", "Ca", "Ca", 0.068),
        ("6.8 mg/100 mL", "Ca", "Ca", 0.068),
        ("30 ppm", "Na", "Na", 0.030),
        ("30 ppm", "K", "K", 0.030),
        ("30 ppm", "Cl", "Cl", 0.030),
        ("300 ppb", "Fe", "Fe", 0.0003),
        ("0.3 ppm", "Mn", "Mn", 0.0003),
        ("0.3 ppm", "Zn", "Zn", 0.0003),
        ("0.3 ppm", "Cu", "Cu", 0.0003),
        ("44 mg/L", "NO3", "NO3", 0.044),
        ("10 mg/L as N", "NO3", "N", 0.010),
        ("10 mg/L as NO3-N", "NO3", "N", 0.010),
        ("10 mg N/L", "NO3-", "N", 0.010),
        ("10 mg/L", "NO3-N", "N", 0.010),
        ("10 ppm", "NO3-N", "N", 0.010),
        ("10 mg/L as N", "NH4", "N", 0.010),
        ("10 mg/L as NH3", "NH4+", "NH3", 0.010),
        ("96 mg/L", "SO4--", "SO4", 0.096),
        ("96 mg/L", "SO42-", "SO4", 0.096),
        ("32 mg S/L", "sulfate", "S", 0.032),
        ("31 mg/L as P", "PO4", "P", 0.031),
        ("31 mg/L", "P", "P", 0.031),
        ("95 mg/L as PO4", "P", "PO4", 0.095),
        ("1 mg/L", "B", "B", 0.001),
        ("3 mg/L", "SiO2", "SiO2", 0.003),
        ("3 mg/L as SiO2", "Si", "SiO2", 0.003),
        ("61 mg/L", "HCO3", "HCO3", 0.061),
        ("120 mg/L as CaCO3", "Ca", "CaCO3", 0.120),
        ("120 mg/L CaCO3", "Mg", "CaCO3", 0.120),
        ("120 ppm (as CaCO3)", "Ca", "CaCO3", 0.120),
    ],
)
def test_masses_become_moles(text: str, ion: str, formula: str, grams: float) -> None:
    expected = 1000 * grams / periodictable.formula(formula).mass
    assert mmol(text, ion) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "ion", "value"),
    [
        ("0.4 meq/L", "SO4", 0.2),
        ("0.4 mEq/L", "Na", 0.4),
        ("0.4 mval/L", "Mg", 0.2),
        ("0.4 me/L", "Cl", 0.4),
        ("400 \u00b5eq/L", "Ca", 0.2),
        ("0.6 meq/L", "Fe3", 0.2),
        ("0.4 meq/L", "Fe2+", 0.2),
        ("2.3 mmol/L", "Ca", 2.3),
        ("2300 umol/L", "Ca", 2.3),
        ("2.3 mM", "NO3", 2.3),
        ("0.0023 mol/L", "K", 2.3),
        ("2.3 mmol/L as P", "PO4", 2.3),
        ("1 mmol/L as CaCO3", "Mg", 1),
        ("1 mmol/L as CaCO3", "Cl", 2),
    ],
)
def test_charge_and_moles(text: str, ion: str, value: float) -> None:
    assert mmol(text, ion) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("ion", "basis", "as_ion", "published"),
    [
        # Virginia Tech Extension SPES-201NP, Conversion Factors: multiply the first by the number.
        ("PO4", "P2O5", "P", 0.4365),
        ("PO4", "P", "P2O5", 2.291),
        ("K", "K2O", "K", 0.8301),
        ("K", "K", "K2O", 1.2051),
        ("Mg", "MgO", "Mg", 0.6032),
        ("Mg", "Mg", "MgO", 1.6578),
        ("Ca", "CaO", "Ca", 0.7147),
        ("Ca", "Ca", "CaO", 1.3992),
        ("Ca", "CaCO3", "CaO", 0.5603),
        ("SO4", "SO4", "S", 0.3339),
        ("SO4", "S", "SO4", 2.9963),
        ("NH4", "N", "NH3", 1.2158),
        ("NH4", "NH3", "N", 0.8225),
        # IUPAC atomic masses, worked by hand (value from memory).
        ("B", "B2O3", "B", 0.31058),
        ("SO4", "SO3", "S", 0.40049),
    ],
)
def test_one_basis_in_terms_of_another(ion: str, basis: str, as_ion: str, published: float) -> None:
    ratio = mmol(f"100 mg/L as {basis}", ion) / mmol(f"100 mg/L as {as_ion}", ion)
    # The multipliers above 1 in that table are reciprocals of rounded numbers: it prints 1.2051
    # for K to K2O beside 0.8301 for K2O to K, whose reciprocal is 1.2047.
    tolerance = 0.0003 if published < 1 else 5e-4 * published
    assert ratio == pytest.approx(published, abs=tolerance)


def as_calcium_carbonate(text: str) -> float:
    """Hardness in [mg/L as CaCO3]."""
    per_mg = units.read_hardness("1 mg/L as CaCO3", WHERE).value
    return units.read_hardness(text, WHERE).value / per_mg


@pytest.mark.parametrize(
    ("text", "published", "tolerance"),
    [
        # US Geological Survey, Hardness of Water: 17.1 mg/L as CaCO3 is 1 grain per US gallon.
        ("1 gpg", 17.1, 0.05),
        # NIST SP 811, Appendix B: grain per gallon (US) = 17.118 06 mg/L.
        ("1 gpg", 17.11806, 1e-5),
        ("1 grain/gal", 17.11806, 1e-5),
        ("1 gr per US gallon", 17.11806, 1e-5),
        # Worked by hand from the definitions of the degrees and IUPAC atomic masses.
        ("1 dH", 17.848, 0.0018),
        ("1 \u00b0dH", 17.848, 0.0018),
        ("1 deg German", 17.848, 0.0018),
        ("1 dGH", 17.848, 0.0018),
        ("1 fH", 10, EXACT),
        ("1 \u00b0fH", 10, EXACT),
        ("1 deg French", 10, EXACT),
        ("1 Clark", 14.254, 0.0014),
        ("1 deg English", 14.254, 0.0014),
        ("1 \u00b0e", 14.254, 0.0014),
        ("1 grain/imp gal", 14.254, 0.0014),
        ("1 meq/L", 50.04, 0.005),
        ("1 mmol/L", 100.08, 0.01),
        # 40.08 and 56.08 g/mol of Ca and CaO to 100.09 of CaCO3 (IUPAC atomic masses)
        ("1 mg/L as Ca", 2.497, 0.001),
        ("1 mg/L as CaO", 1.7848, 0.0002),
    ],
)
def test_hardness_units(text: str, published: float, tolerance: float) -> None:
    assert as_calcium_carbonate(text) == pytest.approx(published, abs=tolerance)


def test_grains_divide_and_do_not_multiply() -> None:
    # A printed table tells its reader to multiply mg/L by 17.1 to get grains; it must be divided.
    assert as_calcium_carbonate("10 gpg") == pytest.approx(171.18, abs=0.01)
    assert units.read_hardness("171.1806 mg/L as CaCO3", WHERE).value == pytest.approx(
        units.read_hardness("10 gpg", WHERE).value, rel=1e-6
    )


def test_degrees_of_one_ion() -> None:
    # 1 mmol/L Ca is 5.608 German degrees (10 mg/L CaO each; IUPAC atomic masses, by hand).
    assert mmol("5.608 dH", "Ca") == pytest.approx(1.0, abs=1e-4)
    assert mmol("12 gpg", "Mg") == pytest.approx(mmol("205.4167 mg/L as CaCO3", "Mg"), rel=1e-6)


@pytest.mark.parametrize(
    ("text", "value", "tolerance"),
    [
        ("4.2 meq/L", 4.2, EXACT),
        ("4.2 mmol/L as HCO3", 4.2, EXACT),
        ("2.1 mmol/L as CaCO3", 4.2, EXACT),
        ("2.1 mmol/L as CO3", 4.2, EXACT),
        ("50.04 mg/L as CaCO3", 1.0, 1e-4),  # half the molar mass of CaCO3, by hand
        ("61.016 mg/L as HCO3", 1.0, 1e-4),  # molar mass of HCO3, by hand
        ("30.004 mg/L as CO3", 1.0, 1e-4),  # half the molar mass of CO3, by hand
        ("2.804 dKH", 1.0, 1e-3),  # FAO: 50 mg/L CaCO3 = 1 meq/L = 2.805 dH
        ("5 fH", 1.0, 1e-3),
        ("2.923 gpg", 1.0, 1e-3),
    ],
)
def test_alkalinity_units(text: str, value: float, tolerance: float) -> None:
    assert units.read_alkalinity(text, WHERE).value == pytest.approx(value, abs=tolerance)


def test_bicarbonate_in_terms_of_calcium_carbonate() -> None:
    # Water-testing texts: alkalinity as CaCO3 = 0.820 x HCO3 (0.8201 from IUPAC atomic masses).
    ratio = (
        units.read_alkalinity("1 mg/L as HCO3", WHERE).value
        / units.read_alkalinity("1 mg/L as CaCO3", WHERE).value
    )
    assert ratio == pytest.approx(0.8201, abs=1e-4)
    assert mmol("210 mg/L as CaCO3", "HCO3") == pytest.approx(
        units.read_alkalinity("210 mg/L as CaCO3", WHERE).value
    )


def test_ranges_and_limits_stay_intervals() -> None:
    strip = units.read_hardness("120-250 mg/L as CaCO3", WHERE)
    assert (strip.low, strip.high) == pytest.approx((1.199, 2.498), abs=1e-3)
    assert strip.value == pytest.approx((strip.low + strip.high) / 2)
    below = units.read_concentration("<0.5 mg/L", WHERE, ion="Fe")
    assert (below.low, below.below_detection) == (0.0, True)
    assert below.high == pytest.approx(0.5 / periodictable.formula("Fe").mass)


def test_notes_tell_what_was_taken_for_granted() -> None:
    def notes(text: str, ion: str) -> tuple[str, ...]:
        return units.read_concentration(text, WHERE, ion=ion).notes

    assert notes("30 ppm", "Na") == ("ppm is read as mg/L",)
    assert "as N" in notes("30 mg/L", "NO3")[0]
    assert notes("30 mg/L as N", "NO3") == ()
    assert notes("30 mg/L", "Ca") == notes("30 mg/L", "NO3-N") == ()


@pytest.mark.parametrize(
    ("text", "ion", "words"),
    [
        ("1,5 mg/L", "Na", ("1.5 or 15?",)),
        ("30 ppm", "Ca", ("`30 mg/L as Ca`", "`30 mg/L as CaCO3`")),
        ("30 ppm", "Mg", ("`30 mg/L as Mg`", "`30 mg/L as CaCO3`")),
        ("30 ppm", "NO3", ("`30 mg/L as NO3`", "`30 mg/L as N`")),
        ("30 ppb", "NO3", ("`30 ug/L as NO3`",)),
        ("30-40 ppm", "SO4", ("`30-40 mg/L as SO4`", "`30-40 mg/L as S`")),
        ("3 ppm", "P", ("`3 mg/L as P`", "`3 mg/L as PO4`", "`3 mg/L as P2O5`")),
        ("<3 ppm", "PO4", ("`<3 mg/L as PO4`",)),
        ("3 ppm", "B", ("`3 mg/L as B`",)),
        ("3 ppm", "HCO3", ("`3 mg/L as HCO3`", "`3 mg/L as CaCO3`")),
        ("1 meq/L", "Fe", ("charge of Fe", "Fe2")),
        ("1 meq/L", "B", ("charge of B",)),
        ("1 meq/L", "PO4", ("charge of PO4",)),
        ("3 mg/L as N", "SO4", ("can't be given as N",)),
        ("3 mg/L as NO3", "NO3-N", ("one of them",)),
        ("3 mg/L as CaCO4", "Ca", ("not a known basis",)),
        ("3 dH", "Cl", ("not Cl",)),
        ("3 dKH", "Ca", ("`alkalinity`",)),
        ("3 degrees", "Ca", ("which degree",)),
        ("3 mg/L", "N", ("not an ion",)),
        ("3", "Ca", ("unit is missing",)),
        ("3 mg", "Ca", ("not read as a concentration",)),
        ("-3 mg/L", "Ca", ("negative",)),
        ("3 %", "Ca", ("not read as a concentration",)),
    ],
)
def test_unclear_concentrations_are_refused(text: str, ion: str, words: tuple[str, ...]) -> None:
    refused(units.read_concentration, text, *words, ion=ion)


def test_hardness_and_alkalinity_that_are_refused() -> None:
    refused(units.read_hardness, "120 ppm", "`120 mg/L as CaCO3`", "`120 mg/L as Ca`")
    refused(units.read_hardness, "120 mg/L", "as what", "`120 mg/L as CaCO3`")
    refused(units.read_hardness, "120 mg/L as HCO3", "can't be given as HCO3")
    refused(units.read_hardness, "8 dKH", "alkalinity")
    refused(units.read_hardness, "8 degrees", "which degree")
    refused(units.read_alkalinity, "120 ppm", "`120 mg/L as CaCO3`", "`120 mg/L as HCO3`")
    refused(units.read_alkalinity, "2 mmol/L", "`2 mmol/L as HCO3`", "`2 mmol/L as CaCO3`")
    refused(units.read_alkalinity, "8 dGH", "hardness")


@fixed
@given(st.floats(min_value=1e-3, max_value=1e3))
def test_hardness_is_the_same_in_every_unit(value: float) -> None:
    calcium, carbonate = (periodictable.formula(f).mass for f in ("Ca", "CaCO3"))
    for unit, per_mmol in {
        "meq/L": 2.0,
        "mg/L as CaCO3": carbonate,
        "fH": carbonate / 10,
        "mg/L as Ca": calcium,
        "gpg": carbonate * 3.785411784 / 64.79891,
    }.items():
        read = units.read_hardness(f"{value * per_mmol!r} {unit}", WHERE).value
        assert read == pytest.approx(value, rel=1e-9), unit


# ---------------------------------------------------------------- written back


@pytest.mark.parametrize(
    ("litres", "both", "us", "metric"),
    [
        (2.957353, "100 fl oz (2.96 L)", "100 fl oz", "2.96 L"),
        (0.709765, "24 fl oz (710 mL)", "24 fl oz", "710 mL"),
        (0.044360, "1.5 fl oz (44 mL)", "1.5 fl oz", "44 mL"),
        (0.012322, "2 1/2 tsp (12 mL)", "2 1/2 tsp", "12 mL"),
        (0.002, "2 mL", "2 mL", "2 mL"),
        (0.0000123, "0.012 mL", "0.012 mL", "0.012 mL"),
        (8.9, "2 gal 45 fl oz (8.9 L)", "2 gal 45 fl oz", "8.9 L"),
        (189.2706, "50 gal (189 L)", "50 gal", "189 L"),
        (3785.411784, "1000 gal (3790 L)", "1000 gal", "3790 L"),
        (0.0, "0 mL", "0 mL", "0 mL"),
    ],
)
def test_volumes_are_written_for_jugs(litres: float, both: str, us: str, metric: str) -> None:
    assert units.format_volume(litres) == units.format_volume(litres, "both") == both
    assert units.format_volume(litres, "us") == us
    assert units.format_volume(litres, "metric") == metric


def test_other_amounts_written() -> None:
    assert units.format_mass(0.226796) == "8 oz wt (227 g)"
    assert units.format_mass(1.02058) == "2 lb 4 oz (1.02 kg)"
    assert units.format_mass(18.14369) == "40 lb (18.1 kg)"
    assert units.format_mass(0.0005) == "0.5 g"
    assert units.format_mass(1e-6) == "1 mg"
    two_gallons = units.read_carrier("2 gal/1000 sq ft", WHERE)
    assert units.format_carrier(two_gallons) == "2 gal/1000 sq ft (815 L/ha)"
    assert units.format_carrier(two_gallons, "metric") == "815 L/ha"
    assert units.format_area(2322.576) == "25,000 sq ft (2323 m2)"
    assert units.format_area(20234.3) == "5 acre (2.02 ha)"
    assert units.format_area(2322.576, "us") == "25,000 sq ft"
    assert units.format_temperature(140 / 9) == "60 F (15.6 C)"
    assert units.format_temperature(-0.01, "metric") == "0 C"
    assert units.format_per_gallon_and_litre(7.489152) == "1 oz wt/gal (7.49 g/L)"
    assert units.format_per_gallon_and_litre(0.05) == "0.19 g/gal (50 mg/L)"


@pytest.mark.parametrize(
    ("text", "both"),
    [
        ("4 fl oz/1000 sq ft", "4 fl oz/1000 sq ft (12.7 L/ha)"),
        ("2 gal/1000 sq ft", "2 gal/1000 sq ft (815 L/ha)"),
        ("0.1 fl oz/1000 sq ft", "0.1 fl oz/1000 sq ft (318 mL/ha)"),
        ("1 lb/1000 sq ft", "1 lb/1000 sq ft (48.8 kg/ha)"),
        ("0.1 oz wt/1000 sq ft", "0.1 oz wt/1000 sq ft (305 g/ha)"),
        ("1 qt/100 gal", "32 fl oz/100 gal (2.5 mL/L)"),
        ("2 lb/100 gal", "2 lb/100 gal (2.4 g/L)"),
        ("0.5 % w/w", "0.5 % w/w"),
    ],
)
def test_rates_written(text: str, both: str) -> None:
    assert units.format_rate(units.read_rate(text, WHERE)) == both


@fixed
@given(st.floats(min_value=1e-9, max_value=1e5))
def test_a_little_is_never_written_as_nothing(amount: float) -> None:
    for text in (
        units.format_volume(amount, "us"),
        units.format_volume(amount, "metric"),
        units.format_mass(amount, "us"),
        units.format_mass(amount, "metric"),
        units.format_carrier(amount, "us"),
        units.format_per_gallon_and_litre(amount, "us"),
        units.format_per_gallon_and_litre(amount, "metric"),
    ):
        digits = text.split("/")[0]
        assert any(digit in digits for digit in "123456789"), text


@fixed
@given(st.floats(min_value=1e-6, max_value=1e4))
def test_what_is_written_reads_back_within_the_measure(litres: float) -> None:
    metric = units.format_volume(litres, "metric")
    assert units.read_volume(metric, WHERE) == pytest.approx(litres, rel=0.051)
    us = units.format_volume(litres, "us")
    if "gal " not in us:  # `2 gal 45 fl oz` is written for people, not for reading back
        assert units.read_volume(us, WHERE) == pytest.approx(litres, rel=0.13)
    rate = Rate("volume", "area", litres)
    for system in ("us", "metric"):
        again = units.read_rate(units.format_rate(rate, system), WHERE)
        assert again.value == pytest.approx(litres, rel=0.0051)


@pytest.mark.parametrize("value", [-1.0, math.nan, math.inf])
def test_impossible_amounts_are_not_written(value: float) -> None:
    for write in (units.format_volume, units.format_mass, units.format_area, units.format_carrier):
        with pytest.raises(ValueError, match="no amount"):
            write(value)
    with pytest.raises(ValueError, match="units must be"):
        units.format_volume(1.0, "imperial")  # type: ignore[arg-type]


# ---------------------------------------------------------------- slips of a power of ten


@pytest.mark.parametrize(
    ("read", "text"),
    [
        (units.read_volume, "1e300 gal"),
        (units.read_volume, "1e-300 mL"),
        (units.read_mass, "1e30 lb"),
        (units.read_area, "1e-9 sq ft"),
        (units.read_carrier, "2 gal/1e300 sq ft"),
        (units.read_rate, "1e300 fl oz/acre"),
        (units.read_rate, "1e-300 fl oz/acre"),
        (units.read_duration, "1e-300 s"),
        (units.read_length, "1e300 ft"),
        (units.read_speed, "1e300 mph"),
    ],
)
def test_an_amount_beyond_any_sprayer_is_refused(
    read: Callable[[str, str], object], text: str
) -> None:
    with pytest.raises(InputProblem, match=r"outside 0?[0-9.]+ to [0-9]+ [A-Za-z]"):
        read(text, WHERE)


@pytest.mark.parametrize(
    "text", ["400 L\u00b7ha\u207b\u00b9", "400 L\u22c5ha-1", "400 L ha\u207b\u00b9"]
)
def test_a_raised_dot_parts_units(text: str) -> None:
    assert units.read_carrier(text, WHERE) == pytest.approx(0.04)


@pytest.mark.parametrize("text", ["50 gal", "2 lb/acre", "40", "5 %", "2 gal/100 gal"])
def test_a_carrier_of_another_kind_is_told_what_a_carrier_is(text: str) -> None:
    with pytest.raises(InputProblem, match="write: such as `2 gal/1000 sq ft`"):
        units.read_carrier(text, WHERE)


def test_a_ph_with_an_open_end_is_refused() -> None:
    with pytest.raises(InputProblem, match="one end open"):
        units.read_ph("<7", WHERE)


@pytest.mark.parametrize(
    ("name", "ion"),
    [("calcium", "Ca"), ("CA", "Ca"), ("Ca\u00b2\u207a", "Ca"), ("SO\u2084", "SO4"),
     ("NO3-N", "NO3"), ("silica", "Si"), ("P", "PO4"), ("Fe", "Fe")],
)  # fmt: skip
def test_ions_by_any_name_of_a_report(name: str, ion: str) -> None:
    assert units.ion_of(name, WHERE) == ion


def test_a_concentration_that_no_water_holds() -> None:
    with pytest.raises(InputProblem, match="no water holds so much"):
        units.read_concentration("1e300 mg/L", WHERE, ion="Ca")


def test_molar_masses_are_those_of_periodictable() -> None:
    """Every formula of the tables, parsed by the library that its element masses come from."""
    written = {c.formula for c in tables().components.values()}
    written |= {s.formula for s in tables().solids.values()}
    written |= {s.formula for s in catalogue().sources.values()}
    assert len(written) > 300
    for formula in written:
        assert molar_mass_g_per_mol(formula) == pytest.approx(
            periodictable.formula(formula).mass, rel=1e-12
        )
    for wrong in ("", "Ca(", "Ca)2", "CaSO4+", "ca", "Ca-2"):
        with pytest.raises(ValueError, match="plain elements"):
            molar_mass_g_per_mol(wrong)
