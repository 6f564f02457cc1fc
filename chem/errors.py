"""Problems in what a person wrote, told in three parts."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Problem:
    """One thing wrong in the input.

    Attributes:
        read: what was read, with file and key ("`shed/iron.toml`, guarantee.iron = -2").
        wrong: what is wrong with it ("a guarantee can't be negative").
        instead: what would be right ("write the percent printed on the label, such as 2.0").
        key: of the file read, where it has one ("guarantee.iron", "add[2].rate").
    """

    read: str
    wrong: str
    instead: str
    key: str = ""

    def __str__(self) -> str:
        return f"{self.read}\n  wrong: {self.wrong}\n  write: {self.instead}"


class InputProblem(ValueError):
    """Raised when input can't be used; carries every problem found in one file at once."""

    def __init__(self, problems: Problem | Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = (
            (problems,) if isinstance(problems, Problem) else tuple(problems)
        )
        super().__init__("\n".join(str(p) for p in self.problems))


class ToxicGas(InputProblem):
    """Raised when products must never meet: the mix is refused, not forecast; code: the rule's."""

    def __init__(self, problems: Problem | Iterable[Problem], code: str) -> None:
        super().__init__(problems)
        self.code = code
