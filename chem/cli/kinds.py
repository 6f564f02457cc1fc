"""The kinds of file that are written by asking: the form of each, and what its answers must meet.

Words, order and readers of the questions stand in `chem.files`; here is what needs more than one
line of the file, or a name that has to be settled by asking back.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

from chem.cli.interview import ask, explain
from chem.errors import InputProblem, Problem
from chem.files import (
    SHED,
    FormModel,
    MixForm,
    ProductForm,
    ShedForm,
    SprayerForm,
    WaterForm,
    find_shed,
    raw_of,
    read_shed,
    validate,
)
from chem.files.table import Answers, Field, asked, words
from chem.label import Product, find_product, product_of, read_product, resolve_source, unsupplied
from chem.tank import mix_from, product_folder, read_mix, read_sprayer, read_water, water_of

Check = Callable[[str, Answers], str]
ALSO_SPEAKS_OF = {"sources": ("guarantee",), "net_volume": ("net_weight",)}
"""Keys whose problems an answer raises besides those of its own table."""


@dataclass(frozen=True)
class Kind:
    """A kind of file: its form, how it is read, and how an unfinished one is, for its problems."""

    name: str
    form: type[FormModel]
    read: Callable[[Path], object]
    so_far: Callable[[dict[str, Any]], None]
    folder: Path = field(default_factory=Path)

    @cached_property
    def asked(self) -> tuple[Field, ...]:
        """Its questions, in order."""
        return tuple(asked(self.form))

    def words(self, one: Field, answers: Answers) -> str:
        """What is asked, after these answers."""
        if self.form is MixForm:
            return _mix_words(one, answers, self.folder)
        if one.kind == "value":
            return one.words.format(name=answers[one.key.replace(".percent", ".name")])
        return one.words

    def check(self, one: Field, text: str, answers: Answers) -> str:
        """What to keep of an answer, "" for nothing. Raises: InputProblem."""
        if text and one.choices:
            text = _choice(one.choices, text)
        if one.kind == "list":
            text = ", ".join(words(text))
        plain = f"{self.name}.{re.sub(r'[.][0-9]+', '', one.key)}"
        own = next((check for key, check in _OWN.items() if plain.startswith(key)), None)
        if own is not None:
            text = own(one, text, answers, self.folder)
        if text and one.reader is not None:
            more: dict[str, Any] = {"dry": _is_dry(one, answers, self.folder)}
            more = more if one.reader.by_form else {}
            if one.path[0] == "ions":
                more = {"ion": str(one.path[1])}
            plain = one.lines.write(str(one.path[1]), text)[1] if one.lines else text
            one.reader.read(plain, "", **more)
        self._fits(one, text, answers)
        return text

    def _fits(self, one: Field, text: str, answers: Answers) -> None:
        """The file so far, with this answer. Raises: InputProblem of what the answer speaks of."""
        told = {k: v for k, v in answers.items() if k != one.key}
        told |= {one.key: text} if text else {}
        table = one.key.partition(".")[0]
        if table == "guarantee":  # what it is made of comes after
            told = {k: v for k, v in told.items() if k.startswith("guarantee.") or k == "name"}
        try:
            self.so_far(raw_of(self.form, self.form.settled(told)))
        except InputProblem as problem:
            mine = [p for p in problem.problems if _speaks_of(_dotted(p.key), one, bool(text))]
            if mine:
                raise InputProblem(mine) from None


def _dotted(key: str) -> str:
    """`add[2].rate` -> `add.2.rate`."""
    return key.replace("[", ".").replace("]", "")


def _speaks_of(key: str, one: Field, answered: bool) -> bool:
    if not answered:
        return key == one.key or one.key.startswith(f"{key}.")
    table = one.key.partition(".")[0]
    if isinstance(one.path[1] if len(one.path) > 1 else "", int):
        return key == one.key
    return key.startswith((table, *ALSO_SPEAKS_OF.get(table, ())))


def kind_of(name: str, folder: Path) -> Kind:
    """A kind by its name, for a file that stands in `folder`."""

    def product(raw: dict[str, Any]) -> None:
        found = unsupplied(product_of(validate(ProductForm, raw, "label"), "label", "label"))
        if found and "sources" in raw:
            raise InputProblem(found)

    def water(raw: dict[str, Any]) -> None:
        water_of(validate(WaterForm, raw, "water"), "water")

    def mix(raw: dict[str, Any]) -> None:
        mix_from(raw, folder / "mix.toml")

    def sprayer(raw: dict[str, Any]) -> None:
        validate(SprayerForm, raw, "sprayer")

    def shed(raw: dict[str, Any]) -> None:
        validate(ShedForm, raw, "shed")

    kinds = {
        "product": Kind("product", ProductForm, read_product, product, folder),
        "water": Kind("water", WaterForm, read_water, water, folder),
        "mix": Kind("mix", MixForm, read_mix, mix, folder),
        "sprayer": Kind("sprayer", SprayerForm, read_sprayer, sprayer, folder),
        "shed": Kind("shed", ShedForm, read_shed, shed, folder),
    }
    return kinds[name]


FORMS: Mapping[str, type[FormModel]] = {
    "product": ProductForm,
    "mix": MixForm,
    "water": WaterForm,
    "sprayer": SprayerForm,
    "shed": ShedForm,
}


def what_is(file: Path, raw: Mapping[str, Any]) -> str:
    """The kind whose keys a file has. Raises: InputProblem where none has most of them."""
    if file.name == SHED:
        return "shed"
    share = {name: len(raw.keys() & set(form.model_fields)) for name, form in FORMS.items()}
    best = max(share, key=lambda name: share[name])
    if (raw and share[best] < len(raw) / 2) or "totals" in raw:
        wrong = "no file that `jarsight new` writes"
        raise InputProblem(Problem(f"`{file}`", wrong, "a product, water, mix, sprayer or shed"))
    return best


# ------------------------------------------------------------ readers


def _refuse(wrong: str, instead: str) -> InputProblem:
    return InputProblem(Problem("", wrong, instead))


def _choice(words: tuple[str, ...], text: str) -> str:
    """One of a few words, or its beginning; without regard to case, spaces and `%`."""

    def bare(text: str) -> str:
        return re.sub(r"[\s%]", "", text.casefold())

    exact = [w for w in words if bare(w) == bare(text)]
    found = exact or [w for w in words if bare(text) and w.startswith(bare(text))]
    if len(found) != 1:
        raise _refuse(f"`{text}` is not one of the words known here", ", ".join(words))
    return found[0]


def _is_dry(one: Field, answers: Answers, folder: Path) -> bool:
    if one.path[0] != "add":
        return answers.get("form") == "dry"
    return _poured(one, answers, folder).dry


def _poured(one: Field, answers: Answers, folder: Path) -> Product:
    name = answers[one.key.replace(".rate", ".product")]
    return find_product(name, folder, "", _places(folder))


def _sources(one: Field, text: str, answers: Answers, folder: Path) -> str:
    settled = [source for name in words(text) for source in _settle(name)]
    return ", ".join(dict.fromkeys(settled))


def _settle(name: str) -> list[str]:
    """A name of the label -> names of sources; asks where it is not known or not clear."""
    from chem.files import Collector
    from chem.reference import catalogue

    known = catalogue()
    while True:
        found = Collector("label")
        resolve_source(name, "source", found)
        if not found.problems:
            return [name]
        if " and " in name:
            return [s for part in name.split(" and ") for s in _settle(part.strip())]
        plain = " ".join(name.lower().split())
        choices = known.ambiguous.get(plain) or known.look_alikes(plain, known.source_names)
        wrong = found.problems[0].wrong
        lines = "".join(f"\n  {i} {choice}" for i, choice in enumerate(choices, start=1))
        explain(InputProblem(Problem(name, wrong, lines or found.problems[0].instead)))
        answer = ask("  Which one: number or name (Enter = leave out)")
        if not answer:
            return []
        number = int(answer) if answer.isascii() and answer.isdigit() else 0
        name = choices[number - 1] if 1 <= number <= len(choices) else answer


def _also(one: Field, text: str, answers: Answers, folder: Path) -> str:
    if one.kind == "value":
        if not text:
            raise _refuse("this one is needed", "such as 6.0")
        return text
    settled = _settle(text) if text else []
    if len(settled) > 1:
        raise _refuse("more than one name", "one ingredient at a time")
    others = {v for k, v in answers.items() if k.endswith(".name") and k != one.key}
    if others.intersection(settled):
        raise _refuse(f"`{settled[0]}` is given already", "another, or Enter")
    return "".join(settled)


def _chelated(one: Field, text: str, answers: Answers, folder: Path) -> str:
    from chem.units import read_percent

    if text and not one.key.endswith(".agent"):
        line = str(one.path[1])
        whole = answers[f"guarantee.{line}"]
        if read_percent(text, "").value > read_percent(whole, "").value:
            raise _refuse(f"more than the {whole} % of {line}", "the part that is chelated")
    return text


# ------------------------------------------------------------ mix


def _mix_words(one: Field, answers: Answers, folder: Path) -> str:
    if one.key.endswith(".rate") and one.path[0] == "add":
        usual = _poured(one, answers, folder).usual_rate
        return f"  rate (Enter = {usual.text})" if usual else one.words
    shed = find_shed(folder)
    given = ShedForm() if shed is None else shed.form
    if one.key == "carrier" and given.sprayers:
        return "Spray volume (Enter = your sprayer's)"
    return one.words.format(
        water=given.water or "not known", temperature=given.temperature or "68 F"
    )


def _water(one: Field, text: str, answers: Answers, folder: Path) -> str:
    if not text or text.casefold() == "unknown":
        return text
    return _located(text, folder, "waters", "water")


def _product(one: Field, text: str, answers: Answers, folder: Path) -> str:
    """A product by its file or any clear part of its name, as a mix in `folder` names it."""
    from chem.cli.jugs import find_jug

    try:
        return _located(text, folder, "products", "product") if text else ""
    except InputProblem:
        return find_jug(text, folder)


def _places(folder: Path) -> tuple[Path, ...]:
    shed = find_shed(folder)
    return () if shed is None else (product_folder(shed),)


def _located(name: str, folder: Path, shelf: str, what: str) -> str:
    """How a mix in `folder` names a file that stands beside it, in its shed, here, or shipped.

    Raises: InputProblem where none of them holds it.
    """
    from chem.files import find_file

    try:
        find_file(name, folder, shelf, what, "", _places(folder) if what == "product" else ())
        return name
    except InputProblem:
        for place in (folder.parent / shelf, Path()):
            for path in (place / n for n in {name, f"{name.removesuffix('.toml')}.toml"}):
                if path.is_file():
                    return Path(os.path.relpath(path, folder)).as_posix()
        raise


_OWN: Mapping[str, Callable[[Field, str, Answers, Path], str]] = {
    "product.sources": _sources,
    "product.also": _also,
    "product.chelated": _chelated,
    "mix.water": _water,
    "mix.add.product": _product,
}
"""What settles an answer before its reader sees it, by kind and key or table."""
