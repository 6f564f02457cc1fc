"""What a form was given, read field by field: a problem stands beside the field that it is of."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, TypeVar

from chem.errors import InputProblem, Problem

T = TypeVar("T")


class Fields:
    """Answers by field name, blank where left out, and the problems found in them."""

    def __init__(self, given: Mapping[str, Any]) -> None:
        self.given = {key: str(value).strip() for key, value in given.items()}
        self.problems: list[Problem] = []

    def __getitem__(self, key: str) -> str:
        return self.given.get(key, "")

    def __contains__(self, key: str) -> bool:
        return bool(self[key])

    def read(self, key: str, reader: Callable[[str], T]) -> T | None:
        """A field by its reader; None where it is blank, or a problem is kept."""
        if key not in self:
            return None
        try:
            return reader(self[key])
        except InputProblem as problem:
            self.take(problem, key)
            return None

    def need(self, key: str, reader: Callable[[str], T], such: str) -> T | None:
        """The same, of a field that must not be blank. such: an example."""
        if key not in self:
            self.problems.append(Problem(key, "it is left blank", such, key))
        return self.read(key, reader)

    def take(self, problem: InputProblem, key: str = "") -> None:
        """Keep the problems of a field, or of those that each names itself."""
        self.problems += [replace(p, key=key or p.key) for p in problem.problems]

    def done(self) -> None:
        """Raises: InputProblem with everything found."""
        if self.problems:
            raise InputProblem(self.problems)
