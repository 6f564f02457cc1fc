"""A product file as written: what is printed on the jug, in the label's own order."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from typing import Annotated, ClassVar, Literal

from chem.files.reading import FormModel, Name
from chem.files.table import Answers, Ask, Lines, Pairs, Reader
from chem.reference import catalogue
from chem.units import (
    read_carrier,
    read_density_range,
    read_duration,
    read_mass,
    read_percent,
    read_ph,
    read_ph_window,
    read_price,
    read_rate,
    read_rate_range,
    read_specific_gravity,
    read_volume,
)

FormName = Literal["solution", "suspension", "emulsion", "pesticide", "adjuvant", "dry"]
NITROGEN = (
    "total nitrogen",
    "ammoniacal nitrogen",
    "nitrate nitrogen",
    "water insoluble nitrogen",
    "urea nitrogen",
    "other water soluble nitrogen",
)
LINES = (
    *NITROGEN,
    "available phosphate",
    "soluble potash",
    "calcium",
    "magnesium",
    "sulfur",
    "boron",
    "chlorine",
    "cobalt",
    "copper",
    "iron",
    "manganese",
    "molybdenum",
    "nickel",
    "silicon",
    "sodium",
    "zinc",
)
"""The guaranteed analysis in the order of a US label (AAPFCO uniform label, value from memory)."""
CHELATED = ("calcium", "magnesium", "cobalt", "copper", "iron", "manganese", "nickel", "zinc")
_EXAMPLES = {
    "total nitrogen": "8.5",
    "nitrate nitrogen": "6.0",
    "urea nitrogen": "1.0",
    "calcium": "9.0",
    "iron": "2.0",
}
DENSITY = (("net_weight", "net_volume"), ("density",), ("specific_gravity",))
"""The ways in which a label tells how heavy its liquid is."""


def _liquid(answers: Mapping[str, str]) -> bool:
    return answers.get("form") != "dry"


def _adjuvant(answers: Mapping[str, str]) -> bool:
    return answers.get("form") == "adjuvant"


def _line_asks() -> dict[str, Ask]:
    def of_total(answers: Mapping[str, str]) -> bool:
        return "guarantee.total nitrogen" in answers

    asks = {}
    for line in LINES:
        example = _EXAMPLES.get(line, "0.5")
        if line in NITROGEN[1:]:
            asks[line] = Ask(f"  {line}", example, of_total)
        else:
            symbol = catalogue().guarantees[line].expressed_as
            asks[line] = Ask(f"{line.capitalize()} ({symbol})", example)
    first = LINES[0]
    note = (
        "The guaranteed analysis, percent. In place of a line an EU label may print "
        '"CaO", "MgO", "SO3", "Na2O", "SiO2", "P" or "K".'
    )
    asks[first] = Ask(asks[first].question, _EXAMPLES[first], note=note)
    return asks


def _chelated_asks() -> dict[str, Ask]:
    def in_its_own_terms(line: str) -> Ask:
        def when(answers: Mapping[str, str]) -> bool:
            text = answers.get(f"guarantee.{line}")
            return text is not None and _in_terms(line, text)[0] == line

        words = f"  {line} that is chelated"
        if line != "iron":
            return Ask(words, when=when)
        note = "The part of a metal that is chelated, and the agent if the label names it"
        return Ask(words, {"percent": "2.0", "agent": "EDTA"}, when, note=note)

    return {line: in_its_own_terms(line) for line in CHELATED}


@cache
def _other_terms(line: str) -> tuple[str, ...]:
    """`calcium` -> (`CaO`,): the other terms in which labels guarantee the same element."""
    return tuple(g.key for g in catalogue().guarantees.values() if g.same_as == line)


def _in_terms(line: str, text: str) -> tuple[str, str]:
    """Line and figure to write: `calcium`, `14 CaO` -> (`CaO`, `14`)."""
    for term in _other_terms(line):
        found = re.fullmatch(rf"(.*[0-9%])\s*(?:as\s+)?{term}", text)
        if found:
            return term, found[1]
    return line, text


def _as_line(name: str, text: str) -> tuple[str, str]:
    """Line and figure as answered: `CaO`, `14` -> (`calcium`, `14 CaO`)."""
    known = catalogue()
    line = known.guarantees.get(name)
    if line is None:
        key = known.guarantee_names.get(" ".join(name.lower().split()))
        line = known.guarantees[key] if key else None
    if line is None or line.same_as is None:
        return (name if line is None else line.key), text
    return line.same_as, f"{text} {line.key}"


class ChelatedForm(FormModel):
    """`[chelated]`: percent of the product that is metal held by an agent."""

    percent: str
    agent: Annotated[str | None, Ask("  chelated with (EDTA, DTPA, citrate ...)")] = None


class SaysForm(FormModel):
    """`[says]`: the label's own rules."""

    pour: Annotated[
        Literal["first", "last"] | None,
        Ask(
            "Pour first or last",
            "last",
            heading="The label's own rules:",
            note='The label\'s own rules. pour is "first" or "last".',
        ),
    ] = None
    never_with: Annotated[
        tuple[str, ...], Ask("Never with, such as calcium, sulfur", ("sulfur",))
    ] = ()
    carrier_at_least: Annotated[
        str | None, Reader(read_carrier), Ask("Spray volume at least", "1 gal/1000 sq ft")
    ] = None
    carrier_at_most: Annotated[
        str | None, Reader(read_carrier), Ask(example="5 gal/1000 sq ft")
    ] = None


class UnreadForm(FormModel):
    """`unread`: a line of the label that its reader could not use, and what it speaks of."""

    line: str
    text: str
    kind: Literal["composition", "rule", "rate", "reading", "other"]


class ProductForm(FormModel):
    """A product file as written."""

    title: ClassVar[str] = "A product, as its label prints it."

    name: Annotated[Name, Ask("Name on the label", note="REQUIRED: the name on the label")]
    form: Annotated[
        FormName,
        Ask(
            "Form (Enter = solution)",
            "solution",
            heading="solution, suspension, emulsion, pesticide, adjuvant or dry:",
            note="solution, suspension, emulsion, pesticide, adjuvant or dry",
        ),
    ] = "solution"
    basis: Annotated[
        Literal["w/w", "w/v"],
        Ask(
            "w/w (by weight) or w/v (by volume) (Enter = w/w)",
            "w/w",
            heading="Guaranteed analysis, percent:",
            note='the percent below is by weight; "w/v" where the label says by volume',
        ),
    ] = "w/w"
    guarantee: Annotated[
        Mapping[str, str],
        Reader(read_percent, bare=True),
        Lines(_line_asks, read=_as_line, write=_in_terms),
    ] = {}
    chelated: Annotated[
        Mapping[str, str | ChelatedForm],
        Reader(read_percent, bare=True),
        Lines(_chelated_asks, after="guarantee", read=_as_line),
    ] = {}
    sources: Annotated[
        tuple[str, ...],
        Ask(
            "Sources, parted by commas",
            heading="Derived from:",
            note='REQUIRED: the "derived from" line, such as ["calcium nitrate", "urea"]; [] if '
            "the label has none",
            open=True,
        ),
    ] = ()
    net_weight: Annotated[
        str | None,
        Reader(read_mass),
        Ask(
            "Net weight",
            "22.4 lb",
            group=DENSITY,
            heading="On the jug:",
            note='with its volume, used where density is left "":',
        ),
    ] = None
    net_volume: Annotated[
        str | None, Reader(read_volume), Ask("Net volume", "2 gal", _liquid, DENSITY)
    ] = None
    density: Annotated[
        str | None,
        Reader(read_density_range),
        Ask(
            "Weight per gallon or litre",
            "11.2 lb/gal",
            _liquid,
            DENSITY,
            note='REQUIRED unless dry: such as "11.2 lb/gal", "1.34 kg/L", or "unknown": then a '
            "wide range is tried",
            open=True,
        ),
    ] = None
    specific_gravity: Annotated[
        str | None,
        Reader(read_specific_gravity, bare=True),
        Ask("Specific gravity, such as 1.34", "1.34", _liquid, DENSITY),
    ] = None
    ph: Annotated[
        str | None,
        Reader(read_ph, bare=True),
        Ask(
            "pH, such as 5.5 or 5-6",
            "5.5",
            heading="Safety data sheet:",
            note='from the safety data sheet; of the product neat, or of its "1 %" or "10 %" '
            "dilution",
        ),
    ] = None
    ph_at: Annotated[
        Literal["neat", "1 %", "10 %"],
        Ask("pH of what: neat, 1 % or 10 % (Enter = neat)", "neat", lambda a: "ph" in a),
    ] = "neat"
    also: Annotated[
        Mapping[str, str],
        Reader(read_percent, bare=True),
        Pairs(Ask("Name of one (Enter = no more)", heading="Other ingredients declared:")),
        Ask(
            "  percent of {name}",
            {"citric acid": "6.0"},
            note="Other ingredients the label declares, percent",
        ),
    ] = {}
    says: SaysForm = SaysForm()
    usual_rate: Annotated[
        str | None,
        Reader(read_rate, by_form=True),
        Ask(
            "Usual rate",
            "4 fl oz/1000 sq ft",
            note="what goes on, and the range the label allows",
        ),
    ] = None
    rate_range: Annotated[
        str | None,
        Reader(read_rate_range, by_form=True),
        Ask("Rate range", "3-6 fl oz/1000 sq ft"),
    ] = None
    price: Annotated[str | None, Reader(read_price), Ask("Price", "$20 per gal")] = None
    ph_window: Annotated[
        str | None,
        Reader(read_ph_window),
        Ask(
            "pH that its label wants of the tank, such as 4-6.5",
            "4-6.5",
            _adjuvant,
            note="of an adjuvant: the pH its label wants of the tank, and for how long it is good",
        ),
    ] = None
    good_for: Annotated[
        str | None, Reader(read_duration), Ask("Good in the tank for", "24 h", _adjuvant)
    ] = None
    care: Annotated[tuple[str, ...], Ask(example=("keep from freezing",))] = ()
    lot: Annotated[str | None, Ask(example="B24")] = None
    unread: Annotated[
        tuple[UnreadForm, ...],
        Ask(
            example=({"line": "12", "text": "printed", "kind": "rate"},),
            note="what no key holds; kind: composition, rule, rate, reading or other",
        ),
    ] = ()
    known: Annotated[
        Mapping[str, str],
        Reader(read_percent, bare=True),
        Lines(
            lambda: {
                "ph": Ask(example="5.6", note="What the maker answered or you measured"),
                "density": Ask(example="11.3 lb/gal"),
            }
        ),
    ] = {}

    @classmethod
    def settled(cls, answers: Answers) -> Answers:
        """The answers with what follows from what was not answered."""
        told = any(all(key in answers for key in way) for way in DENSITY)
        return answers if told or not _liquid(answers) else {**answers, "density": "unknown"}
