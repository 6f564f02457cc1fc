"""A laboratory's water report or a strip's card, pasted, read into a water file's answers.

Every line with a figure is either taken, by a name that a table lists and a unit that stands on the
line or heads its column, or told as not read; a figure without a unit is never given one.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from chem.errors import InputProblem
from chem.files import must_be_text
from chem.label.printed.languages import fold
from chem.label.printed.lines import bare, lines_of
from chem.reference import read_toml
from chem.units import read_alkalinity, read_concentration, read_hardness, read_ph

_FIGURE = re.compile(
    r"(?P<less><\s*)?(?P<low>[0-9]+(?:\.[0-9]+)?)(?:\s?(?:-|to)\s?(?P<high>[0-9]+(?:\.[0-9]+)?))?"
    r"(?![\w.])"
)
_UNIT = re.compile(
    r"\b(?:mg|mmol|meq|ug)\s?/\s?l\b(?:\s*(?:as\s*)?caco3)?|\bppm\b(?:\s*(?:as\s*)?caco3)?|"
    r"\b(?:mg|ppm)\s*caco3\s*/?\s*l?\b|\u00b0\s?d?[fh]h?\b",
    re.IGNORECASE,
)
_AS = re.compile(r"\(?\bas\s+(?P<basis>[A-Za-z0-9]+)\)?", re.IGNORECASE)


@dataclass(frozen=True)
class Report:
    """Answers by question (`ph`, `hardness`, `ions.Ca`), and (line number, text, why) not read."""

    answers: dict[str, str]
    unread: tuple[tuple[int, str, str], ...]


def read_report(text: str) -> Report:
    """Read a report's text; what can't be read stands in `unread`.

    Raises: InputProblem where it is no text that a report could be.
    """
    must_be_text(text, "report")
    answers: dict[str, str] = {}
    unread = []
    clashed: set[str] = set()
    for line in lines_of(text)[0]:
        words = bare(line.text)
        if not re.search(r"[0-9]", words):
            continue
        name, rest = _named(words)
        if name is None:
            unread.append((line.number, line.printed, "no reading that a water file holds"))
            continue
        value = _value(name, rest, words)
        why = _wrong(name, value)
        if value is None or why:
            unread.append((line.number, line.printed, why or "no figure with its unit"))
        elif name in clashed or answers.get(name, value) != value:
            clashed.add(name)
            was = answers.pop(name, "another figure")
            unread.append((line.number, line.printed, f"which is it, `{was}` or `{value}`?"))
        else:
            answers[name] = value
    return Report(answers, tuple(unread))


@cache
def _names() -> tuple[tuple[str, str], ...]:
    """(printed name, key of the water file), longest first."""
    table = read_toml("water_words.toml")
    out = [(fold(word), key) for key, words in table["readings"].items() for word in words]
    out += [(fold(word), f"ions.{key}") for key, words in table["ions"].items() for word in words]
    return tuple(sorted(out, key=lambda pair: -len(pair[0])))


def _named(words: str) -> tuple[str | None, str]:
    """The key of a line's reading and what follows its name."""
    folded = fold(words)
    for name, key in _names():
        if folded.startswith(name) and not re.match(r"[\w+-]", folded[len(name) :]):
            return key, words[len(name) :]
    return None, words


def _value(name: str, rest: str, words: str) -> str | None:
    """The reading as a water file writes it, or None where there is not one figure and one unit."""
    unit = _UNIT.search(words)
    plain = re.sub(r"\b(?:CaCO3|HCO3|SO4|NO3|PO4|[A-Z][a-z]?[0-9][+-]?)(?![\w])", " ", rest)
    figures = list(_FIGURE.finditer(_UNIT.sub(" ", plain)))
    if len(figures) != 1 or figures[0]["less"]:
        return None
    figure = figures[0]["low"] + (f"-{figures[0]['high']}" if figures[0]["high"] else "")
    if name == "ph":
        return figure if unit is None else None
    if unit is None:
        return None
    printed = re.sub(r"\s*(?:as\s*)?caco3\s*(?:/\s*l)?", "", unit[0], flags=re.IGNORECASE)
    printed = re.sub(r"\s", "", printed).lower().replace("/l", "/L")
    basis = "CaCO3" if re.search(r"caco3", words, re.IGNORECASE) else None
    found = _AS.search(words)
    basis = basis or (found["basis"] if found else None)
    return f"{figure} {printed}" + (f" as {basis}" if basis else "")


def _wrong(name: str, value: str | None) -> str | None:
    """What one of the water file's own readers has against a value."""
    if value is None:
        return None
    try:
        if name == "ph":
            read_ph(value, "report")
        elif name == "alkalinity":
            read_alkalinity(value, "report")
        elif name == "hardness":
            read_hardness(value, "report")
        else:
            read_concentration(value, "report", ion=name.removeprefix("ions."))
    except InputProblem as problem:
        return problem.problems[0].wrong
    return None
