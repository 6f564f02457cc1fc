"""What `jarsight new` asks, in the order of the label, the report and the sprayer.

A question's `read` is given what was typed ("" for Enter) and returns what to keep ("" for
nothing), or raises InputProblem. The lists are built inside a command, so that nothing heavy is
imported before one runs.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Collection
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from chem.cli.forms import (
    CHELATED,
    ION_EXAMPLES,
    IONS,
    LINES,
    NITROGEN,
    guarantee_terms,
    product_text,
)
from chem.errors import InputProblem, Problem

if TYPE_CHECKING:
    from chem.label import Product

MAX_ALSO = 8

Answers = dict[str, str]
Read = Callable[[str, Answers], str]
Ask = Callable[[str], str]
"""Puts a question and returns the answer."""
Tell = Callable[[InputProblem], None]
"""Explains what is wrong with an answer."""


def _always(answers: Answers) -> bool:
    return True


@dataclass(frozen=True)
class Question:
    """One question: `key` in the file, `heading` printed before it, asked only `when`."""

    key: str
    words: str | Callable[[Answers], str]
    read: Read
    when: Callable[[Answers], bool] = _always
    heading: str = ""

    def asked(self, answers: Answers) -> str:
        """Its words, given what was answered before."""
        return self.words if isinstance(self.words, str) else self.words(answers)


def product_questions(ask: Ask, tell: Tell) -> list[Question]:
    """A label, top to bottom, then the safety data sheet, then the label's rules."""
    from chem.units import (
        read_carrier,
        read_density_range,
        read_mass,
        read_ph,
        read_price,
        read_rate,
        read_rate_range,
        read_specific_gravity,
    )

    def dry_rate(reader: Callable[..., Any]) -> Read:
        return lambda text, answers: _unit(reader, dry=_is_dry(answers))(text, answers)

    return [
        Question("name", "Name on the label", _needed("the name on the label")),
        Question(
            "form",
            "Form (Enter = solution)",
            _choice("solution", "suspension", "emulsion", "pesticide", "dry"),
            heading="solution, suspension, emulsion, pesticide or dry:",
        ),
        Question(
            "basis",
            "w/w (by weight) or w/v (by volume) (Enter = w/w)",
            _choice("w/w", "w/v"),
            heading="Guaranteed analysis, percent:",
        ),
        *_guarantee_questions(),
        Question(
            "sources",
            "Sources, parted by commas",
            _sources(ask, tell),
            heading="Derived from:",
        ),
        Question(
            "net_weight", "Net weight, such as 23.4 lb", _unit(read_mass), heading="On the jug:"
        ),
        Question(
            "net_volume",
            "Net volume, such as 2 gal",
            _net_volume,
            lambda a: "net_weight" in a and not _is_dry(a),
        ),
        Question(
            "density",
            "Weight per gallon or litre, such as 11.2 lb/gal",
            _unit(read_density_range),
            lambda a: "net_volume" not in a and not _is_dry(a),
        ),
        Question(
            "specific_gravity",
            "Specific gravity, such as 1.34",
            _unit(read_specific_gravity),
            lambda a: not {"net_volume", "density"} & a.keys() and not _is_dry(a),
        ),
        Question("ph", "pH, such as 5.5 or 5-6", _unit(read_ph), heading="Safety data sheet:"),
        Question(
            "ph_at",
            "pH of what: neat, 1 % or 10 % (Enter = neat)",
            _choice("neat", "1 %", "10 %"),
            lambda a: "ph" in a,
        ),
        *_also_questions(ask, tell),
        Question(
            "says.pour",
            "Pour first or last",
            _choice("first", "last"),
            heading="The label's own rules:",
        ),
        Question(
            "says.never_with",
            "Never with, such as calcium, sulfur",
            lambda text, answers: ", ".join(_words(text)),
        ),
        Question(
            "says.carrier_at_least",
            "Spray volume at least, as 1 gal/1000 sq ft",
            _unit(read_carrier),
        ),
        Question("usual_rate", "Usual rate, as 4 fl oz/1000 sq ft", dry_rate(read_rate)),
        Question("rate_range", "Rate range, as 3-6 fl oz/1000 sq ft", dry_rate(read_rate_range)),
        Question("price", "Price, as $20 per gal", _unit(read_price)),
    ]


def water_questions() -> list[Question]:
    """A water report, top to bottom."""
    from chem.units import read_alkalinity, read_concentration, read_hardness, read_ph

    def words(ion: str, name: str) -> str:
        label = f"{name.capitalize()} ({ion})"
        return f"{label}, such as {ION_EXAMPLES[ion]}" if ion in ION_EXAMPLES else label

    return [
        Question("name", "What you call this water", _needed("a name")),
        Question("ph", "pH", _unit(read_ph)),
        Question("alkalinity", "Alkalinity, such as 210 mg/L as CaCO3", _unit(read_alkalinity)),
        Question("hardness", "Hardness, such as 250 mg/L as CaCO3", _unit(read_hardness)),
        *(
            Question(
                f"ions.{ion}",
                words(ion, name),
                _unit(read_concentration, ion=ion),
                heading="Ions, in mg/L, mmol/L or meq/L:" if ion == "Ca" else "",
            )
            for ion, name in IONS.items()
        ),
    ]


def mix_questions(folder: Path) -> list[Question]:
    """A mix that will stand in `folder`: water, sprayer, then products in the order poured."""
    from chem.tank.mix import MAX_PRODUCTS
    from chem.units import read_carrier, read_ph, read_rate, read_temperature, read_volume

    def adjuvant(answers: Answers) -> bool:
        return "adjuvant.name" in answers

    out = [
        Question("name", "What you call this mix", _needed("a name")),
        Question("water", "Water file (Enter = not known)", _water_file(folder)),
        Question(
            "carrier",
            "Spray volume, as 2 gal/1000 sq ft",
            _needed("such as `2 gal/1000 sq ft`", _unit(read_carrier)),
        ),
        Question("tank", "Tank, filled to this mark, such as 50 gal", _unit(read_volume)),
        Question("temperature", "Temperature (Enter = 68 F)", _unit(read_temperature)),
        Question("coldest", "Coldest where it stands overnight", _unit(read_temperature)),
    ]
    for n in range(1, MAX_PRODUCTS + 1):
        out += _addition(n, folder)
    return [
        *out,
        Question(
            "adjuvant.name",
            "Adjuvant not on your shelf, its name",
            lambda text, answers: text,
            heading="Only an adjuvant's pH window is judged:",
        ),
        Question("adjuvant.rate", "Its rate, such as 0.25 % v/v", _unit(read_rate), adjuvant),
        Question("adjuvant.ph_at_most", "Its pH at most", _unit(read_ph), adjuvant),
        Question("adjuvant.ph_at_least", "Its pH at least", _window, adjuvant),
    ]


# ------------------------------------------------------------ readers


def _refuse(wrong: str, instead: str) -> InputProblem:
    return InputProblem(Problem("", wrong, instead))


def _kept(text: str, answers: Answers) -> str:
    return text


def _needed(instead: str, read: Read = _kept) -> Read:
    """Enter alone won't do."""

    def checked(text: str, answers: Answers) -> str:
        if not text:
            raise _refuse("this one is needed", instead)
        return read(text, answers)

    return checked


def _unit(reader: Callable[..., Any], **more: Any) -> Read:
    """Checked by a reader of `chem.units`, kept as typed."""

    def checked(text: str, answers: Answers) -> str:
        if text:
            reader(text, "", **more)
        return text

    return checked


def _choice(*words: str) -> Read:
    """One of a few words, or its beginning; without regard to case, spaces and `%`."""

    def bare(text: str) -> str:
        return re.sub(r"[\s%]", "", text.casefold())

    def checked(text: str, answers: Answers) -> str:
        if not text:
            return ""
        exact = [w for w in words if bare(w) == bare(text)]
        found = exact or [w for w in words if bare(text) and w.startswith(bare(text))]
        if len(found) != 1:
            raise _refuse(f"`{text}` is not one of the words known here", ", ".join(words))
        return found[0]

    return checked


def _is_dry(answers: Answers) -> bool:
    return answers.get("form") == "dry"


def _words(text: str) -> list[str]:
    """`calcium nitrate; urea.` -> its names."""
    parts = (" ".join(part.split()).strip(" .") for part in re.split(r"[,;]", text))
    return [part for part in parts if part]


def _check_label(answers: Answers, *under: str) -> None:
    """Read the label so far as a product file. Raises: InputProblem of the keys `under` only."""
    from chem.label import read_product, unsupplied

    with TemporaryDirectory() as folder:
        path = Path(folder) / "label.toml"
        path.write_text(product_text(answers), encoding="utf-8")
        try:
            found = unsupplied(read_product(path))
        except InputProblem as problem:
            found = list(problem.problems)
        mine = [p for p in found if _key(p, path).startswith(under)]
        if mine:
            raise InputProblem(
                [Problem(_key(p, path).partition(".")[2], p.wrong, p.instead) for p in mine]
            )


def _key(problem: Problem, path: Path) -> str:
    """`label.toml, guarantee.calcium = 9.0` -> `guarantee.calcium`."""
    return problem.read.removeprefix(f"{path.name}, ").partition(" = ")[0]


# ------------------------------------------------------------ label


def _guarantee_questions() -> list[Question]:
    from chem.reference import catalogue

    out = []
    for line in LINES:
        form = line in NITROGEN[1:]
        symbol = catalogue().guarantees[line].expressed_as
        out.append(
            Question(
                f"guarantee.{line}",
                f"  {line}" if form else f"{line.capitalize()} ({symbol})",
                _guarantee(line),
                (lambda a: "guarantee.total nitrogen" in a) if form else _always,
            )
        )
        if line in CHELATED:
            out += _chelated_questions(line)
    return out


def _guarantee(line: str) -> Read:
    key = f"guarantee.{line}"

    def checked(text: str, answers: Answers) -> str:
        if text:
            tried = {k: v for k, v in answers.items() if k.startswith("guarantee.")}
            _check_label({"name": "label", **tried, key: text}, "guarantee")
        return text

    return checked


def _chelated_questions(line: str) -> list[Question]:
    from chem.units import read_percent

    def percent(text: str, answers: Answers) -> str:
        if text:
            part = read_percent(text, "").value
            whole = answers[f"guarantee.{line}"]
            if part > read_percent(whole, "").value:
                raise _refuse(f"more than the {whole} % of {line}", "the part that is chelated")
        return text

    def agent(text: str, answers: Answers) -> str:
        if text:
            _check_label({**answers, f"chelated.{line}.agent": text}, f"chelated.{line}")
        return text

    def in_its_own_terms(answers: Answers) -> bool:
        text = answers.get(f"guarantee.{line}")
        return text is not None and guarantee_terms(line, text)[0] == line

    return [
        Question(f"chelated.{line}", f"  {line} that is chelated", percent, in_its_own_terms),
        Question(
            f"chelated.{line}.agent",
            "  chelated with (EDTA, DTPA, citrate ...)",
            agent,
            lambda a: f"chelated.{line}" in a,
        ),
    ]


def _sources(ask: Ask, tell: Tell) -> Read:
    def checked(text: str, answers: Answers) -> str:
        settled: list[str] = []
        for name in _words(text):
            settled += _settle(name, ask, tell)
        joined = ", ".join(dict.fromkeys(settled))
        tried = {k: v for k, v in answers.items() if k != "sources"}
        _check_label({**tried, "sources": joined} if joined else tried, "guarantee", "sources")
        return joined

    return checked


def _settle(name: str, ask: Ask, tell: Tell) -> list[str]:
    """A name of the label -> names of sources; asks where it is not known or not clear."""
    from chem.files import Collector
    from chem.label import resolve_source
    from chem.reference import catalogue

    known = catalogue()
    while True:
        found = Collector("label")
        resolve_source(name, "source", found)
        if not found.problems:
            return [name]
        if " and " in name:
            return [s for part in name.split(" and ") for s in _settle(part.strip(), ask, tell)]
        plain = " ".join(name.lower().split())
        choices = known.ambiguous.get(plain) or known.near(plain, known.source_names)
        wrong = found.problems[0].wrong
        lines = "".join(f"\n  {i} {choice}" for i, choice in enumerate(choices, start=1))
        tell(InputProblem(Problem(name, wrong, lines or found.problems[0].instead)))
        answer = ask("  Which one: number or name (Enter = leave out)")
        if not answer:
            return []
        number = int(answer) if answer.isascii() and answer.isdigit() else 0
        name = choices[number - 1] if 1 <= number <= len(choices) else answer


def _also_questions(ask: Ask, tell: Tell) -> list[Question]:
    from chem.units import read_percent

    def named(n: int) -> Read:
        def checked(text: str, answers: Answers) -> str:
            settled = _settle(text, ask, tell) if text else []
            if len(settled) > 1:
                raise _refuse("more than one name", "one ingredient at a time")
            before = {answers[f"also.{m}.name"] for m in range(1, n)}
            if before.intersection(settled):
                raise _refuse(f"`{settled[0]}` is given already", "another, or Enter")
            return "".join(settled)

        return checked

    out = []
    for n in range(1, MAX_ALSO + 1):
        out += [
            Question(
                f"also.{n}.name",
                "Name of one (Enter = no more)",
                named(n),
                _follows(f"also.{n - 1}.name", n),
                "Other ingredients declared:" if n == 1 else "",
            ),
            Question(
                f"also.{n}.percent",
                _words_for(n),
                _needed("such as 6.0", _unit(read_percent)),
                _follows(f"also.{n}.name"),
            ),
        ]
    return out


def _words_for(n: int) -> Callable[[Answers], str]:
    return lambda answers: f"  percent of {answers[f'also.{n}.name']}"


def _follows(key: str, n: int = 0) -> Callable[[Answers], bool]:
    """Asked where `key` was answered, and always as number 1."""
    return lambda answers: n == 1 or key in answers


def _net_volume(text: str, answers: Answers) -> str:
    from chem.units import read_density_range, read_mass, read_volume

    if text:
        density = read_mass(answers["net_weight"], "") / read_volume(text, "")
        try:
            read_density_range(f"{density} kg/L", "")
        except InputProblem as problem:
            wrong = problem.problems[0].wrong
            raise _refuse(wrong, "net volume again, or `back` for the weight") from None
    return text


# ------------------------------------------------------------ mix


def _located(name: str, folder: Path, shelf: str, what: str) -> str:
    """How a mix in `folder` names a file that stands beside it, in its shed, here, or shipped.

    Raises: InputProblem where none of them holds it.
    """
    from chem.files import find_file

    try:
        find_file(name, folder, shelf, what)
        return name
    except InputProblem:
        names: Collection[str] = {name, f"{name.removesuffix('.toml')}.toml"}
        for place in (folder.parent / shelf, Path()):
            for path in (place / n for n in names):
                if path.is_file():
                    return Path(os.path.relpath(path, folder)).as_posix()
        raise


def _water_file(folder: Path) -> Read:
    def checked(text: str, answers: Answers) -> str:
        from chem.tank import find_water

        if not text or text.casefold() == "unknown":
            return "unknown"
        name = _located(text, folder, "waters", "water")
        find_water(name, folder)
        return name

    return checked


def _addition(n: int, folder: Path) -> list[Question]:
    from chem.label import find_product
    from chem.units import read_rate

    key = f"add.{n}.product"

    def product(answers: Answers) -> Product:
        return find_product(answers[key], folder)

    def named(text: str, answers: Answers) -> str:
        if not text:
            return ""
        name = _located(text, folder, "products", "product")
        find_product(name, folder)
        return name

    def rate_words(answers: Answers) -> str:
        usual = product(answers).usual_rate
        return f"  rate (Enter = {usual.text})" if usual else "  rate, as 4 fl oz/1000 sq ft"

    def rate(text: str, answers: Answers) -> str:
        poured = product(answers)
        if not text and poured.usual_rate is None:
            raise _refuse("no usual rate stands in its file", "such as `4 fl oz/1000 sq ft`")
        if text:
            read = read_rate(text, "", dry=poured.dry)
            if poured.dry and read.kind == "volume":
                raise _refuse("a dry product is weighed", "such as `8 oz wt/1000 sq ft`")
        return text

    first = _needed("a product file, or one of the demo shelf", named)
    return [
        Question(
            key,
            "Product 1, its file" if n == 1 else f"Product {n} (Enter = no more)",
            first if n == 1 else named,
            _follows(f"add.{n - 1}.product", n),
            "Products, in the order poured:" if n == 1 else "",
        ),
        Question(f"add.{n}.rate", rate_words, rate, _follows(key)),
    ]


def _window(text: str, answers: Answers) -> str:
    from chem.units import read_ph

    most = answers.get("adjuvant.ph_at_most")
    if text and read_ph(text, "").value > (read_ph(most, "").value if most else 14.0):
        raise _refuse(f"above its pH at most, {most}", "the lower end of its window")
    return text
