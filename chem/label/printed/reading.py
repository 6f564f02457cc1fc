"""What one statement of a label gives, and the words that several readers share."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field

from chem.errors import InputProblem
from chem.label.printed.declared import NUMBER, Refused

AMOUNT = r"(?:[0-9]+[ -])?[0-9]+/[0-9]+|[0-9]+(?:\.[0-9]+)?|\.[0-9]+"
RANGE = rf"{NUMBER}(?:\s?(?:-|to)\s?{NUMBER})?"

GALLON = r"(?:u\.?s\.? )?(?:imp(?:erial)?\.? )?gal(?:lon)?s?"

MASS = (
    r"lbs?\b\.?|pounds?\b|kgs?\b|kilograms?\b|grams?\b|g\b|(?<!fl )(?<!fl\. )(?<!fl\.)(?:oz\b\.?|"
    r"ounces?\b)(?: ?wt)?|tonnes?\b"
)

VOLUME = (
    r"(?:u\.?s\.? )?(?:imp(?:erial)?\.? )?(?:gallons?\b|gals?\b\.?)|fl\.? ?oz\b\.?|"
    r"fluid ounces?\b|quarts?\b|qts?\b\.?|pints?\b|pts?\b\.?|lit(?:er|re)s?\b|ml\b|l\b"
)


@dataclass(frozen=True)
class Stated:
    """One key of the file and its text."""

    key: str
    text: str


@dataclass(frozen=True)
class Agents:
    """Chelating agents as stated, of one metal or (metal None) of all."""

    metals: tuple[str, ...]
    agents: tuple[str, ...]


@dataclass(frozen=True)
class Reading:
    """What one statement gave: facts with their meaning, what was left, and why."""

    facts: tuple[tuple[Stated | Agents, str], ...] = ()
    left: tuple[Refused, ...] = ()
    ignored: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()
    rest: str = field(default="", compare=False)

    @property
    def clean(self) -> bool:
        """Whether something was made of it and nothing was left."""
        return not self.left


def fact(key: str, text: str, meaning: str = "") -> tuple[Stated, str]:
    """A key of the file with its meaning in words."""
    return Stated(key, text), meaning or f"{key} {text}"


def attempt(read: Callable[[], object], text: str) -> Refused | None:
    """What is wrong with `text` by one of our own readers, or None."""
    try:
        read()
    except InputProblem as problem:
        first = problem.problems[0]
        return Refused(text, first.wrong, (first.instead,))
    return None


def plain_range(text: str) -> str:
    """A range with a plain hyphen."""
    return re.sub(r"\s?(?:-|to)\s?", "-", text.lower())


def plain_unit(unit: str) -> str:
    """A unit without dots, in lower case but for L."""
    plain = re.sub(r"\bu\.?s\.?\s", "", unit.lower().strip(". "))
    plain = re.sub(r"\bgal(?:lon)?s?$", "gal", plain)
    return re.sub(r"^lbs$", "lb", re.sub(r"^l$", "L", plain.replace(".", "")))
