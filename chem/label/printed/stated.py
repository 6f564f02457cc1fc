"""Density, net contents, pH, chelating agents: what a label states beside its analysis.

Every reader takes one statement and gives a `Reading`, or None where it is not its own.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache, partial

from chem.label.printed.declared import agents_in
from chem.label.printed.measures import (
    AMOUNT,
    FREE,
    GALLON,
    MASS,
    RANGE,
    VOLUME,
    plain_density,
    plain_range,
    plain_unit,
    refusal,
    without_temperatures,
)
from chem.label.printed.quantities import NUMBER, Refused, basis_of, quantities
from chem.label.printed.rates import read_rates
from chem.label.printed.records import Agents, Reading, fact
from chem.label.printed.rules import read_rules
from chem.label.printed.vocabulary import says, table, without
from chem.label.printed.words import read_identity, read_idle
from chem.units import read_density_range, read_mass, read_ph, read_specific_gravity, read_volume

LEAST_PACK = 0.05
"""kg; no liquid fertilizer is sold in less, common practice, no source."""

LIGHTEST, HEAVIEST = 0.6, 2.5
"""Densities [kg/L] of every liquid fertilizer: a figure without a unit among them is kg/L."""

SAME_AGAIN = 0.02
"""Relative; one figure in two units; common practice, no source."""

_Reader = Callable[[str], Reading | None]
_AGAINST_WATER = re.compile(r"\(?\b[0-9]{1,2} ?/ ?[0-9]{1,2}\b\s*(?:\u00b0?\s?[CF]\b)?\s*\)?", re.I)
_WEIGHT = r"(?:lbs?\.?|pounds?|kgs?|g|grams?)"
_OF_LIQUID = rf"(?:{GALLON}|lit(?:er|re)|l)\b"
_PER_VOLUME = (
    rf"(?:{_WEIGHT}\s*(?:/|per|in)\s*(?:a |one )?"
    rf"(?:{GALLON}|l\b|lit(?:er|re)s?|ml\b|cm3|cc\b|m3|dm3)\.?)"
)
_DENSITY = re.compile(
    rf"\bdensity\b|\bvolum(?:etr)?ic mass\b|\bmass volumic\b|"
    rf"\b(?:weight|wt\.?|pounds?|lbs?\.?)\s*(?:per|/)\s*{GALLON}\b|"
    rf"\b(?:weight|mass)\s?(?:/|per)\s?(?:unit )?volume\b|\bweighs?\b|"
    rf"\b(?:weight|wt\.?) per (?:lit(?:er|re)|l)\b|"
    rf"^[^a-z]*{NUMBER}\s*{_PER_VOLUME}[^a-z]*(?:at.*)?$",
    re.IGNORECASE,
)
_DENSITIES = re.compile(rf"{FREE}(?P<figure>{RANGE})\s*(?P<unit>{_PER_VOLUME})", re.IGNORECASE)
_APART = re.compile(
    rf"(?:per\s+|^.*?\b)(?P<volume>{_OF_LIQUID})[^0-9]*?{FREE}(?P<figure>{RANGE})\s*"
    rf"(?P<mass>{_WEIGHT})(?!\w)",
    re.IGNORECASE,
)
"""`Weight per gallon: 11.2 lb`, `A gallon weighs 11.2 lb`."""

_PER_VOLUME_NEXT = re.compile(rf"\s*(?:/|per)\s*{_OF_LIQUID}", re.IGNORECASE)
_WITHIN = re.compile(rf"(?P<middle>{NUMBER})\s*(?:\u00b1|\+/-)\s*(?P<by>{NUMBER})")
_GRAVITY = re.compile(
    r"\b(?:specific gravity|relative density|sp\.? ?gr\.?|s\.?g\.?)(?![\w])|"
    r"(?:^|(?<=\s))d(?=\s?[:=]\s?[01]\.[0-9])",
    re.IGNORECASE,
)
"""`d = 1.20` too, as French and Italian labels print it; common practice, no source."""
_NET = re.compile(
    r"\b(?:nett?|nominal|pack size)\b|\b(?:contents?|contains|volume|weight|wt\.?)\s*[:=]|"
    r"^(?:contents?|volume|weight)\b(?!\s?/)",
    re.IGNORECASE,
)
_NO_NET = re.compile(rf"\b(?:apply|per|rate|use)\b|{NUMBER}\s?[km]?g\s?/(?!\s*[0-9])", re.I)
"""Rates, and a content such as `100 g/L`: no weight of a pack."""

_PACKS = re.compile(
    rf"\b[0-9]+(?:\s?[x*]\s?|/(?=[0-9]+\.)){NUMBER}\s?(?:{VOLUME}|{MASS})|"
    rf"^(?:{NUMBER}\s?(?:{VOLUME})\s*[/,|;]\s*)+{NUMBER}\s?(?:{VOLUME})$",
    re.IGNORECASE,
)
_UNIT_BEFORE = re.compile(
    rf"(?<![\d.,] )(?<![\d.,])\b(?P<unit>kg|g|l|lt|ml|lit(?:er|re)s?)\s(?P<figure>{NUMBER})\b"
    r"(?!\s?(?:kg|g|m?l)\b)",
    re.IGNORECASE,
)
"""`Contenuto netto: kg 24, litri 20`; common practice of Italy, no source."""

_PACK = re.compile(
    rf"[^\d/]{{0,24}}{NUMBER}\s*(?:{VOLUME}|{MASS})(?:\s*\(\s*{NUMBER}\s*(?:{MASS})\s*\))?"
    "\\s*(?P<mark>\u212e|\\b(?:e|and)\\b)?(?:\\s*[a-z]{3,9})?",
    re.IGNORECASE,
)
_PH = re.compile(
    r"^(?:typical |product |solution |approximate |approx\.? |the |average )*"
    r"(?:p\.?h\.?)(?: value)?\b(?P<rest>.*)$",
    re.IGNORECASE,
)
_STRENGTH = re.compile(
    rf"[(,]?\s*(?:of |in |as |at )?(?:an? )?(?:sol\.? |solution )?"
    rf"(?P<percent>{NUMBER})\s?%\s*(?:w/w|w/v|v/v)?\s*"
    r"(?:aqueous |aq\.? |water )?"
    r"(?:(?:solution|soln?\.?|sol'n\.?|dilution|dispersion|suspension)\b\s*)?"
    r"(?:in (?:of )?water\b)?\s*\)?",
    re.IGNORECASE,
)
_DILUTED = re.compile(
    r"\(?\s*(?:of |in |as |at |sol\.? )?(?:an? )?(?:1\s?:\s?(?P<parts>10{1,2})\b|"
    r"(?P<grams>10{1,2})\s?g\s?/\s?l\b)\s*(?:w/v|w/w|v/v)?\s*"
    r"(?:(?:in )?(?:water|aqueous)\b)?\s*(?:solution|dilution|extract)?\s*\)?",
    re.IGNORECASE,
)
"""`pH (1:10)`, one part of product in ten, is a 10 % solution, `pH (10 g/L)` one of 1 %; custom of
India, Australia and Brazil, no source."""

_FROM_TO = re.compile(
    rf"(?:min(?:imum)?\.?\s*)?(?P<low>{NUMBER})\s*(?:\(?min(?:imum)?\b\.?\)?)?\s*(?:-|to|/|,|and)?\s*"
    rf"(?:max(?:imum)?\.?\s*(?P<high>{NUMBER})|(?P<high_2>{NUMBER})\s*\(?max(?:imum)?\b\.?\)?)",
    re.IGNORECASE,
)
_BOUND = re.compile(r"[<>\u2264\u2265]|\b(?:below|above|under|over|less|more)\b", re.IGNORECASE)
_AGENT = re.compile(
    r"^(?:the )?(?:chelating|complexing|sequestering) agents?\b[\s:=-]*(?:is |are )?(?P<rest>.*)$|"
    r"^(?:all |the )?(?P<of>[\w(), ]*?)\s*(?:is |are )?(?:fully |all |100 ?% )?"
    r"(?:chelated|complexed) (?:by|with)\s+(?P<by>.+)$",
    re.IGNORECASE,
)
_HOLDABLE = ("calcium", "magnesium", "iron", "manganese", "zinc", "copper", "cobalt")


def read_stated(text: str, dry: bool = False) -> Reading | None:
    """Try every reader in turn; None where no reader knows the statement.

    dry: the product is weighed out, so that a bare ounce is a weight.
    """
    readers: tuple[_Reader, ...] = (
        _gravity,
        _density,
        _net,
        _acidity,
        _agents,
        read_rules,
        partial(read_rates, dry=dry),
        _basis,
        read_identity,
        read_idle,
    )
    found = (reader(text) for reader in readers)
    return next((reading for reading in found if reading is not None), None)


def _no_figure(text: str, what: str) -> Reading:
    return Reading(left=(Refused(text, f"no figure beside the {what}"),))


def _gravity(text: str) -> Reading | None:
    named = _GRAVITY.search(text)
    if named is None:
        return None
    beside = _density(" ".join(m[0] for m in _DENSITIES.finditer(text)))
    sides = (_DENSITIES.sub(" ", part) for part in (text[named.end() :], text[: named.start()]))
    parts = [without_temperatures(_AGAINST_WATER.sub(" ", part)) for part in sides]
    figures = [re.findall(rf"{FREE}{RANGE}", part) for part in parts]
    if not any(figures):
        return beside or _no_figure(text, "specific gravity")
    every = (plain_range(figure) for found in figures for figure in found)
    number, *others = dict.fromkeys(every)
    if beside is not None and not others and "-" not in number:
        own = _one(read_specific_gravity, "specific_gravity", number, text)
        return Reading(own.facts + beside.facts, own.left + beside.left)
    if others:
        return Reading(left=(Refused(text, "which figure is the specific gravity?"),))
    return _gravity_of(number, text)


def _gravity_of(number: str, text: str) -> Reading:
    if "-" in number:
        return _one(read_density_range, "density", f"{number} kg/L", text)
    return _one(read_specific_gravity, "specific_gravity", number, text)


def _both_ends(found: re.Match[str]) -> str:
    """`1.50 +/- 0.02` as the range that it is."""
    middle, by = float(found["middle"]), float(found["by"])
    return f"{middle - by:.4g}-{middle + by:.4g}"


def _one(read: Callable[[str, str], object], key: str, given: str, text: str) -> Reading:
    wrong = refusal(read, given, text)
    return Reading(left=(wrong,)) if wrong else Reading((fact(key, given),))


def _density(text: str) -> Reading | None:
    rest = _WITHIN.sub(_both_ends, without_temperatures(text))
    if not _DENSITY.search(rest) or re.search(r"\b(?:apply|use|dilute)\b", text, re.IGNORECASE):
        return None
    if re.search(r"\bbulk density\b", text, re.IGNORECASE):
        return Reading(ignored=("the bulk density of a dry product is not needed",))
    named = re.search(r"\bdensity\b", text, re.IGNORECASE) is not None
    given = [
        f"{plain_range(m['figure'])} {plain_density(m['unit'])}" for m in _DENSITIES.finditer(rest)
    ]
    apart, number = _APART.search(rest), re.search(rf"{FREE}({RANGE})", rest)
    unit = re.search(_PER_VOLUME, rest, re.IGNORECASE)
    if apart and not _PER_VOLUME_NEXT.match(rest, apart.end("mass")):
        unit_apart = plain_density(f"{apart['mass']}/{apart['volume']}")
        given.insert(0, f"{plain_range(apart['figure'])} {unit_apart}")
    if given:
        pass
    elif unit and number:
        given = [f"{plain_range(number[1])} {plain_density(unit[0])}"]
    elif number and (named or re.search(r"\bper\b", rest, re.IGNORECASE)):
        only = plain_range(number[1])
        beside = without("beside_ph", re.sub(r"\bdensity\b", " ", rest, flags=re.IGNORECASE))
        alone = re.fullmatch(r"[\W\d_]*", beside) is not None
        if alone and all(LIGHTEST <= float(end) <= HEAVIEST for end in only.split("-")):
            return _gravity_of(only, text)
        given = [only]
    else:
        return _no_figure(text, "density") if named else None
    wrong = refusal(read_density_range, given[0], text)
    if wrong:
        return Reading(left=(wrong,))
    problems = []
    first = read_density_range(given[0], "label")
    for other in given[1:]:
        if refusal(read_density_range, other, text):
            continue
        again = read_density_range(other, "label")
        if max(abs(a - b) / b for a, b in zip(again, first, strict=True)) > SAME_AGAIN:
            problems.append(f"the density is {given[0]} and {other}, which don't agree")
    return Reading((fact("density", given[0]),), problems=tuple(problems))


def _net(text: str) -> Reading | None:
    if not (_NET.search(text) or _is_pack(text) or _PACKS.fullmatch(text)) or _NO_NET.search(text):
        return None
    if _PACKS.search(text):
        left = Refused(text, "several packs on one line", ("net weight and net volume of one jug",))
        return Reading(left=(left,))
    text = _UNIT_BEFORE.sub(r"\g<figure> \g<unit>", without_temperatures(text))
    facts, problems, rest = [], [], text
    for key, unit, read in (
        ("net_weight", MASS, read_mass),
        ("net_volume", VOLUME, read_volume),
    ):
        pattern = rf"{FREE}({NUMBER}|{AMOUNT})\s*({unit})(?!\s*/\s*[A-Za-z])"
        found = list(re.finditer(pattern, text, re.IGNORECASE))
        given = [f"{m[1]} {plain_unit(m[2])}" for m in found]
        for m in found:
            rest = rest.replace(m[0], " ")
        if not given:
            continue
        wrong = refusal(read, given[0], text)
        if wrong:
            return Reading(left=(wrong,))
        first = read(given[0], "label")
        if key == "net_weight" and first < LEAST_PACK:
            why = f"a net weight of {given[0]}: is its unit read whole?"
            return Reading(left=(Refused(text, why),))
        facts.append(fact(key, given[0]))
        problems += [
            f"{key}: {given[0]} and {other} don't agree"
            for other in given[1:]
            if abs(read(other, "label") - first) > SAME_AGAIN * first
        ]
    if not facts:
        return None
    if re.search(r"[0-9]", rest):
        left = Refused(" ".join(rest.split()), "a figure beside the net contents")
        return Reading(tuple(facts), (left,))
    return Reading(tuple(facts), problems=tuple(problems))


def _is_pack(text: str) -> bool:
    """`Bottle 1 L`, or `5 L e` with the mark of a measured pack (Directive 76/211/EEC, 3.3)."""
    found = _PACK.fullmatch(_UNIT_BEFORE.sub(r"\g<figure> \g<unit>", text))
    return found is not None and bool(found["mark"] or says("pack", text))


def _acidity(text: str) -> Reading | None:
    found = _PH.match(text)
    if found is None:
        return None
    rest = found["rest"]
    rest = re.sub(r",?\s*stabili[sz]ed (?:with|by)\b.*$", "", rest, flags=re.IGNORECASE)
    if re.search(r"stab|chelate", rest, re.IGNORECASE):
        return Reading(ignored=("the pH that the chelate bears, not the product's own",))
    if says("of_the_spray", rest):
        return Reading(ignored=("a pH for the spray: a product file has no key for it",))
    rest = without_temperatures(rest)
    rest = _FROM_TO.sub(lambda m: f"{m['low']}-{m['high'] or m['high_2']}", rest)
    if _BOUND.search(rest):
        return Reading(
            left=(Refused(text, "only a bound of the pH: between which figures is it?"),)
        )
    at = "neat"
    strength = _STRENGTH.search(rest) or _DILUTED.search(rest)
    if strength:
        percent = _percent_of(strength.groupdict())
        if percent not in (1.0, 10.0, 100.0):
            why = f"the pH of a {percent:g} % solution: only neat, 1 % and 10 % have a key"
            return Reading(left=(Refused(text, why, ("the pH as sold, or of a 1 % solution",)),))
        at = "neat" if percent == 100.0 else f"{percent:g} %"
        rest = rest[: strength.start()] + " " + rest[strength.end() :]
    elif re.search(r"\b1\s?:\s?[0-9]+|solution|dilut", without("neat", rest), re.IGNORECASE):
        return Reading(left=(Refused(text, "the pH at which strength?", ("neat, 1 % or 10 %",)),))
    rest = without("neat", rest)
    about = _WITHIN.search(rest)
    figure = re.search(rf"{FREE}{RANGE}", rest, re.IGNORECASE)
    if about:
        number = _both_ends(about)
    elif figure is None:
        return _no_figure(text, "pH") if re.match(r"\s*[:=]", rest) else None
    else:
        number = plain_range(figure[0])
        rest = without("beside_ph", rest.replace(figure[0], " ", 1))
        if re.search(r"[^\W\d_]", rest):
            return Reading(left=(Refused(text, "words beside the pH: of what is it?"),))
        if re.search(r"[0-9]", rest):
            return Reading(left=(Refused(text, "more than one figure for the pH"),))
    wrong = refusal(read_ph, number, text)
    if wrong:
        return Reading(left=(wrong,))
    shown = fact("ph", number, f"pH {number} ({at})")
    return Reading((shown,) if at == "neat" else (shown, fact("ph_at", at)))


def _percent_of(strength: dict[str, str | None]) -> float:
    """Percent of a solution given as percent, as one part in so many, or as grams a litre."""
    if strength.get("percent"):
        return float(strength["percent"] or 0)
    if strength["parts"]:
        return 100.0 / float(strength["parts"])
    return float(strength["grams"] or 0) / 10.0


def _agents(text: str) -> Reading | None:
    found = _AGENT.match(text)
    if found is None or any(True for _ in quantities(text, False)):
        return None
    stated = found["rest"] if found["rest"] is not None else found["by"]
    if not re.search(r"\w", stated):
        return Reading(left=(Refused(text, "which chelating agent?"),))
    if re.fullmatch(r"\W*(?:nil|none|no)\W*", stated, re.IGNORECASE):
        return Reading(ignored=("no chelating agent",))
    agents = agents_in(stated)
    if not agents:
        return Reading(
            left=(Refused(text, "no chelating agent known here", tuple(table("agents"))),)
        )
    of = found["of"] or ""
    metals = tuple(m for m in _HOLDABLE if re.search(_named(m), of, re.IGNORECASE))
    if of.strip() and not metals and not says("every_metal", of):
        return None
    named = " or ".join(agents)
    meaning = f"chelating agent of {', '.join(metals) if metals else 'the metals'}: {named}"
    return Reading(((Agents(metals, tuple(agents)), meaning),))


@cache
def _named(metal: str) -> str:
    """A pattern of a metal's name or symbol."""
    return "|".join([metal, *(rf"\b{symbol}\b" for symbol in table("metals")[metal])])


def _basis(text: str) -> Reading | None:
    basis = basis_of(text)
    if basis is None or re.search(r"[0-9]", text) or basis == "v/v":
        return None
    return Reading((fact("basis", basis, f"percentages are {basis}"),))
