"""Density, net contents, pH, chelating agents: what a label states beside its analysis.

Every reader takes one statement and gives a `Reading`, or None where it is not its own.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import partial

from chem.label.printed.declared import NUMBER, Refused, agents_in, basis_of, quantities
from chem.label.printed.rates import read_rates
from chem.label.printed.reading import (
    AMOUNT,
    GALLON,
    MASS,
    RANGE,
    VOLUME,
    Agents,
    Reading,
    attempt,
    fact,
    plain_range,
    plain_unit,
)
from chem.label.printed.rules import read_rules
from chem.label.printed.words import read_identity, read_idle
from chem.units import (
    read_density_range,
    read_mass,
    read_ph,
    read_specific_gravity,
    read_volume,
)

LEAST_PACK = 0.05
"""kg; no liquid fertilizer is sold in less, common practice, no source."""

_Reader = Callable[[str], Reading | None]
_TEMPERATURE = re.compile(
    r"[(,]?\s*(?:@|at)?\s*-?[0-9]+(?:\.[0-9]+)?\s*(?:\u00b0|degrees?|deg\.?)?\s*"
    r"(?:F|C|Fahrenheit|Celsius)\b\s*\)?",
    re.IGNORECASE,
)

_AGAINST_WATER = re.compile(r"\(?\b[0-9]{1,2} ?/ ?[0-9]{1,2}\b\s*(?:\u00b0?\s?[CF]\b)?\s*\)?", re.I)

_PER_VOLUME = (
    rf"(?:lbs?\.?|pounds?|kgs?|g|grams?)\s*(?:/|per|in)\s*(?:a |one )?"
    rf"(?:{GALLON}|l\b|lit(?:er|re)s?|ml\b|cm3|cc\b|m3|dm3)\.?"
)

_DENSITY = re.compile(
    rf"\bdensity\b|\bvolumic mass\b|\b(?:weight|wt\.?|pounds?|lbs?\.?)\s*(?:per|/)\s*{GALLON}\b|"
    rf"\bweighs?\b|\b(?:weight|wt\.?) per (?:lit(?:er|re)|l)\b|"
    rf"^[^a-z]*{NUMBER}\s*{_PER_VOLUME}[^a-z]*(?:at.*)?$",
    re.IGNORECASE,
)

_GRAVITY = re.compile(
    r"\b(?:specific gravity|relative density|sp\.? ?gr\.?|s\.?g\.?)(?![\w])", re.IGNORECASE
)

_NET = re.compile(
    r"\bnet\b|\b(?:contents?|contains|volume|weight|wt\.?)\s*[:=]|^(?:contents?|volume|weight)\b",
    re.IGNORECASE,
)

_CONTENT = re.compile(rf"{NUMBER}\s?m?g\s?/\s?(?:kg|l)\b", re.IGNORECASE)
"""A content such as `100 g/L`: no weight of a pack."""

_PACKS = re.compile(
    rf"\b[0-9]+(?:\s?[x*]\s?|/(?=[0-9]+\.)){NUMBER}\s?(?:{VOLUME}|{MASS})", re.IGNORECASE
)

_PH = re.compile(
    r"^(?:typical |product |solution |approximate |approx\.? |the |average )*"
    r"(?:p\.?h\.?)(?: value)?\b(?P<rest>.*)$",
    re.IGNORECASE,
)

_STRENGTH = re.compile(
    rf"[(,]?\s*(?:of |in |as |at )?(?:an? )?(?P<percent>{NUMBER})\s?%\s*(?:w/w|w/v|v/v)?\s*"
    r"(?:aqueous |aq\.? |water )?(?:solution|soln?\.?|sol'n\.?|dilution|in water)?\s*\)?",
    re.IGNORECASE,
)

_BESIDE_PH = re.compile(
    r"\b(?:is|of|at|as|about|approx(?:imately)?|typical(?:ly)?|range|value|between|and|to|product|"
    r"the|this|min(?:imum)?|max(?:imum)?|solution|nominal|ca|units?|deg(?:rees)?|undiluted)\b",
    re.IGNORECASE,
)

_NEAT = re.compile(
    r"\(?\b(?:neat|undiluted|concentrate|as is|as supplied|as sold)\b\)?", re.IGNORECASE
)

_AGENT = re.compile(
    r"^(?:the )?(?:chelating|complexing|sequestering) agents?\b[\s:=-]*(?:is |are )?(?P<rest>.*)$|"
    r"^(?:all |the )?(?P<of>[\w(), ]*?)\s*(?:is |are )?(?:fully |all |100 ?% )?"
    r"(?:chelated|complexed) (?:by|with)\s+(?P<by>.+)$",
    re.IGNORECASE,
)

_METALS = {
    "calcium": r"calcium|\bca\b",
    "magnesium": r"magnesium|\bmg\b",
    "iron": r"iron|\bfe\b",
    "manganese": r"manganese|\bmn\b",
    "zinc": r"zinc|\bzn\b",
    "copper": r"copper|\bcu\b",
    "cobalt": r"cobalt|\bco\b",
}

_ALL_METALS = re.compile(
    r"metals?|micro-?nutrients?|trace elements?|elements?|they|nutrients?", re.IGNORECASE
)


def read_stated(text: str, dry: bool = False) -> Reading | None:
    """Try every reader in turn; None where no reader knows the statement.

    dry: the product is weighed out, so that a bare ounce is a weight.
    """
    readers: tuple[_Reader, ...] = (*_FIRST, partial(read_rates, dry=dry), *_THEN)
    for reader in readers:
        found = reader(text)
        if found is not None:
            return found
    return None


def _gravity(text: str) -> Reading | None:
    if not _GRAVITY.search(text):
        return None
    rest = _TEMPERATURE.sub(" ", _AGAINST_WATER.sub(" ", _GRAVITY.sub(" ", text)))
    found = re.search(rf"(?<![\w.,]){RANGE}", rest)
    if found is None:
        return Reading(left=(Refused(text, "no figure beside the specific gravity"),))
    number = plain_range(found[0])
    if "-" in number:
        span = f"{number} kg/L"
        wrong = attempt(partial(read_density_range, span, "label"), text)
        return Reading(left=(wrong,)) if wrong else Reading((fact("density", span),))
    wrong = attempt(partial(read_specific_gravity, number, "label"), text)
    if wrong:
        return Reading(left=(wrong,))
    return Reading((fact("specific_gravity", number),))


def _density(text: str) -> Reading | None:
    rest = _TEMPERATURE.sub(" ", text)
    if not _DENSITY.search(rest) or re.search(r"\b(?:apply|use|dilute)\b", text, re.IGNORECASE):
        return None
    if re.search(r"\bbulk density\b", text, re.IGNORECASE):
        return Reading(ignored=("the bulk density of a dry product is not needed",))
    given = [
        f"{plain_range(m[1])} {_per(m[2])}"
        for m in re.finditer(rf"(?<![\w.,])({RANGE})\s*({_PER_VOLUME})", rest, re.IGNORECASE)
    ]
    if not given:
        unit = re.search(_PER_VOLUME, rest, re.IGNORECASE)
        number = re.search(rf"(?<![\w.,])({RANGE})", rest)
        weight = re.search(
            rf"per\s+({GALLON}|lit(?:er|re)|l)\b.*?({RANGE})\s*(lbs?|pounds?|kgs?|g)\b",
            rest,
            re.IGNORECASE,
        )
        weighs = re.search(
            rf"(?:({GALLON}|lit(?:er|re)) weighs?|({GALLON}|lit(?:er|re))[^0-9]*weighs?)[^0-9]*"
            rf"({RANGE})\s*(lbs?|pounds?|kgs?|g)\b",
            rest,
            re.IGNORECASE,
        )
        if weight:
            given = [f"{plain_range(weight[2])} {_per(f'{weight[3]}/{weight[1]}')}"]
        elif weighs:
            volume = weighs[1] or weighs[2]
            given = [f"{plain_range(weighs[3])} {_per(f'{weighs[4]}/{volume}')}"]
        elif unit and number:
            given = [f"{plain_range(number[1])} {_per(unit[0])}"]
        elif number and re.search(r"\bdensity\b|\bper\b", rest, re.IGNORECASE):
            given = [plain_range(number[1])]
    if not given:
        return None if not re.search(r"\bdensity\b", text, re.I) else _no_figure(text, "density")
    wrong = attempt(partial(read_density_range, given[0], "label"), text)
    if wrong:
        return Reading(left=(wrong,))
    problems = []
    low, high = read_density_range(given[0], "label")
    for other in given[1:]:
        if attempt(partial(read_density_range, other, "label"), text):
            continue
        again = read_density_range(other, "label")
        if max(abs(again[0] - low) / low, abs(again[1] - high) / high) > 0.02:
            problems.append(f"the density is {given[0]} and {other}, which don't agree")
    return Reading((fact("density", given[0]),), problems=tuple(problems))


def _no_figure(text: str, what: str) -> Reading:
    return Reading(left=(Refused(text, f"no figure beside the {what}"),))


def _per(unit: str) -> str:
    ratio = re.sub(r"\s*(?:/|\bper\b|\bin\b)\s*(?:a |one )?", "/", unit.lower())
    mass, _, volume = ratio.partition("/")
    mass = "lb" if re.match(r"lb|pound", mass, re.I) else "kg" if mass[0] in "kK" else "g"
    volume = volume.lower().strip(". ")
    if re.search(r"gal", volume):
        volume = "imp gal" if "imp" in volume else "gal"
    elif re.match(r"l(?:it|$)", volume):
        volume = "L"
    return f"{mass}/{'mL' if volume == 'ml' else volume}"


def _net(text: str) -> Reading | None:
    if not _NET.search(text) or re.search(r"\b(?:apply|per|rate|use)\b", text, re.IGNORECASE):
        return None
    if _CONTENT.search(text):
        return None
    if _PACKS.search(text):
        left = Refused(text, "several packs on one line", ("net weight and net volume of one jug",))
        return Reading(left=(left,))
    text = _TEMPERATURE.sub(" ", text)
    facts, problems, left_over = [], [], text
    for key, unit, read in (
        ("net_weight", MASS, read_mass),
        ("net_volume", VOLUME, read_volume),
    ):
        pattern = rf"(?<![\w.,])({NUMBER}|{AMOUNT})\s*({unit})"
        found = [m for m in re.finditer(pattern, text, re.IGNORECASE)]
        given = [f"{m[1]} {plain_unit(m[2])}" for m in found]
        for m in found:
            left_over = left_over.replace(m[0], " ")
        if not given:
            continue
        wrong = attempt(partial(read, given[0], "label"), text)
        if wrong:
            return Reading(left=(wrong,))
        first = read(given[0], "label")
        if key == "net_weight" and first < LEAST_PACK:
            why = f"a net weight of {given[0]}: is its unit read whole?"
            return Reading(left=(Refused(text, why),))
        facts.append(fact(key, given[0]))
        for other in given[1:]:
            again = read(other, "label")
            if abs(again - first) > 0.02 * first:
                problems.append(f"{key}: {given[0]} and {other} don't agree")
    if not facts:
        return None
    if re.search(r"[0-9]", left_over):
        rest = " ".join(left_over.split())
        return Reading(tuple(facts), (Refused(rest, "a figure beside the net contents"),))
    return Reading(tuple(facts), problems=tuple(problems))


def _acidity(text: str) -> Reading | None:
    found = _PH.match(text)
    if found is None:
        return None
    rest = found["rest"]
    if re.search(r"stab|chelate", rest, re.IGNORECASE):
        return Reading(ignored=("the pH that the chelate bears, not the product's own",))
    if re.search(r"\b(?:spray|tank|adjust|water is|target|keep)\b", rest, re.IGNORECASE):
        return Reading(ignored=("a pH for the spray: a product file has no key for it",))
    rest = _TEMPERATURE.sub(" ", rest)
    at = "neat"
    strength = _STRENGTH.search(rest)
    if strength:
        percent = float(strength["percent"])
        if percent not in (1.0, 10.0, 100.0):
            why = f"the pH of a {percent:g} % solution: only neat, 1 % and 10 % have a key"
            return Reading(left=(Refused(text, why, ("the pH as sold, or of a 1 % solution",)),))
        at = "neat" if percent == 100.0 else f"{percent:g} %"
        rest = rest[: strength.start()] + " " + rest[strength.end() :]
    elif re.search(r"\b1\s?:\s?[0-9]+|solution|dilut", _NEAT.sub(" ", rest), re.IGNORECASE):
        return Reading(left=(Refused(text, "the pH at which strength?", ("neat, 1 % or 10 %",)),))
    rest = _NEAT.sub(" ", rest)
    about = re.search(rf"({NUMBER})\s*(?:\u00b1|\+/-)\s*({NUMBER})", rest)
    if about:
        middle, spread = float(about[1]), float(about[2])
        number = f"{middle - spread:.4g}-{middle + spread:.4g}"
    else:
        figure = re.search(rf"(?<![\w.,]){RANGE}", rest)
        if figure is None:
            return None if not re.match(r"\s*[:=]", rest) else _no_figure(text, "pH")
        number = plain_range(figure[0])
        rest = rest.replace(figure[0], " ", 1)
        if re.search(r"[^\W\d_]", _BESIDE_PH.sub(" ", rest)):
            return Reading(left=(Refused(text, "words beside the pH: of what is it?"),))
        if re.search(r"[0-9]", rest):
            return Reading(left=(Refused(text, "more than one figure for the pH"),))
    wrong = attempt(partial(read_ph, number, "label"), text)
    if wrong:
        return Reading(left=(wrong,))
    facts = [fact("ph", number, f"pH {number} ({at})")]
    if at != "neat":
        facts.append(fact("ph_at", at))
    return Reading(tuple(facts))


def _agents(text: str) -> Reading | None:
    found = _AGENT.match(text)
    if found is None or any(True for _ in quantities(text, False)):
        return None
    stated = found["rest"] if found["rest"] is not None else found["by"]
    if not re.search(r"\w", stated):
        return Reading(left=(Refused(text, "which chelating agent?"),))
    agents = agents_in(stated)
    if not agents:
        near = ("EDTA", "DTPA", "HEDTA", "EDDHA", "citrate", "gluconate", "glycine")
        return Reading(left=(Refused(text, "no chelating agent known here", near),))
    of = found["of"] or ""
    metals = tuple(m for m, words in _METALS.items() if re.search(words, of, re.IGNORECASE))
    if of.strip() and not metals and not _ALL_METALS.search(of):
        return None
    named = " or ".join(agents)
    meaning = f"chelating agent of {', '.join(metals) if metals else 'the metals'}: {named}"
    return Reading(((Agents(metals, tuple(agents)), meaning),))


def _basis(text: str) -> Reading | None:
    basis = basis_of(text)
    if basis is None or re.search(r"[0-9]", text) or basis == "v/v":
        return None
    return Reading((fact("basis", basis, f"percentages are {basis}"),))


_FIRST: tuple[_Reader, ...] = (
    _gravity,
    _density,
    _net,
    _acidity,
    _agents,
    read_rules,
)
_THEN: tuple[_Reader, ...] = (
    _basis,
    read_identity,
    read_idle,
)
