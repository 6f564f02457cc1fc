"""Amounts with their units as labels print them, put as this project's own readers take them."""

from __future__ import annotations

import re
from collections.abc import Callable

from chem.errors import InputProblem
from chem.label.printed.quantities import NUMBER, Refused
from chem.label.printed.vocabulary import any_of

AMOUNT = r"(?:[0-9]+[ -])?[0-9]+/[0-9]+|[0-9]+(?:\.[0-9]+)?|\.[0-9]+"
RANGE = rf"{NUMBER}(?:\s?(?:-|to)\s?{NUMBER})?"
FREE = r"(?<![\w.,])"
"""Before a figure that is no part of a word or of another figure."""

GALLON = r"(?:u\.?s\.? )?(?:imp(?:erial)?\.? )?gal(?:lon)?s?"
MASS = (
    r"lbs?\b\.?|pounds?\b|kgs?\b|kilograms?\b|grams?\b|g\b|(?<!fl )(?<!fl\. )(?<!fl\.)(?:oz\b\.?|"
    r"ounces?\b)(?: ?wt)?|tonnes?\b"
)
VOLUME = (
    r"(?:u\.?s\.? )?(?:imp(?:erial)?\.? )?(?:gallons?\b|gals?\b\.?)|fl\.? ?oz\b\.?|"
    r"fluid ounces?\b|quarts?\b|qts?\b\.?|pints?\b|pts?\b\.?|lit(?:er|re)s?\b|ml\b|cc\b|l\b"
)
HOW_OFTEN = re.compile(
    rf"(?:\s*(?:[-/]|{any_of('range_words')})\s*[0-9]+)?\s*"
    + any_of("how_often").removeprefix(r"(?<!\w)"),
    re.IGNORECASE,
)
"""What follows a figure that says how often, or after how long, it is sprayed."""

BARE_VOLUME = re.compile(rf"({NUMBER})\s*((?:{VOLUME})\.?)", re.IGNORECASE)

_TEMPERATURE = re.compile(
    r"[(,]?\s*(?:@|at)?\s*-?[0-9]+(?:\.[0-9]+)?\s*(?:\u00b0|degrees?|deg\.?)?\s*"
    r"(?:F|C|Fahrenheit|Celsius)\b\s*\)?",
    re.IGNORECASE,
)


def without_temperatures(text: str) -> str:
    """A text, each temperature in it replaced by a space."""
    return _TEMPERATURE.sub(" ", text)


def refusal(read: Callable[[str, str], object], given: str, text: str) -> Refused | None:
    """What is wrong with `given` by one of our own readers, said of `text`, or None."""
    try:
        read(given, "label")
    except InputProblem as problem:
        first = problem.problems[0]
        return Refused(text, first.wrong, (first.instead,))
    return None


def plain_range(text: str) -> str:
    """A range with a plain hyphen."""
    return re.sub(r"\s?(?:-|to)\s?", "-", text.lower())


def plain_amount(text: str) -> str:
    """`2.5 Gal.` -> `2.5 gal`."""
    found = BARE_VOLUME.fullmatch(text.strip())
    return f"{found[1]} {plain_unit(found[2])}" if found else text


def plain_unit(unit: str) -> str:
    """A unit without dots, in lower case but for L."""
    plain = re.sub(r"\bu\.?s\.?\s", "", unit.lower().strip(". "))
    plain = re.sub(r"\bgal(?:lon)?s?$", "gal", plain)
    return re.sub(r"^lbs$", "lb", re.sub(r"^l$", "L", plain.replace(".", "")))


def plain_density(unit: str) -> str:
    """`pounds per US gallon` -> `lb/gal`."""
    ratio = re.sub(r"\s*(?:/|\bper\b|\bin\b)\s*(?:a |one )?", "/", unit.lower())
    mass, _, volume = ratio.partition("/")
    mass = "lb" if re.match(r"lb|pound", mass) else "kg" if mass[0] == "k" else "g"
    volume = volume.strip(". ")
    if "gal" in volume:
        volume = "imp gal" if "imp" in volume else "gal"
    elif re.match(r"l(?:it|$)|dm3", volume):
        volume = "L"
    return f"{mass}/{'mL' if volume == 'ml' else volume}"
