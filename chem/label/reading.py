"""Files that people write: read, validated, and every problem of one file told at once."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

from chem.errors import InputProblem, Problem
from chem.reference import data_folder

Form = TypeVar("Form", bound="FormModel")
T = TypeVar("T")


class FormModel(BaseModel):
    """A file's form: unknown keys are refused, numbers may be written bare or with a unit."""

    model_config = ConfigDict(extra="forbid", frozen=True, coerce_numbers_to_str=True)


class Collector:
    """Gathers the problems of one file so that they are told together."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.problems: list[Problem] = []

    def where(self, key: str) -> str:
        """File and key as messages name them."""
        return f"{self.file}, {key}"

    def add(self, key: str, read: object, wrong: str, instead: str) -> None:
        """Note one problem."""
        self.problems.append(Problem(f"{self.where(key)} = {read!r}", wrong, instead))

    def attempt(self, reader: Callable[..., T], text: str, key: str, **more: Any) -> T | None:
        """Read one value; a problem is kept and None returned."""
        try:
            return reader(text, self.where(key), **more)
        except InputProblem as problem:
            self.problems.extend(problem.problems)
            return None

    def done(self) -> None:
        """Raises: InputProblem with everything found."""
        if self.problems:
            raise InputProblem(self.problems)


def find_file(name: str, beside: Path | None, demo: str, what: str) -> Path:
    """A file named in another file: relative to it, then the shipped demo folder.

    Args:
        name: as written, with or without `.toml`; beside: folder of the naming file, or None.
        demo: `products` or `waters`; what: for the message ("product", "water").

    Raises:
        InputProblem: neither holds it; near names are offered.
    """
    names = [name] if name.endswith(".toml") else [name, f"{name}.toml"]
    shipped = data_folder() / "demo" / demo
    for folder in ([beside] if beside is not None else [Path()]) + [shipped]:
        for candidate in names:
            path = folder / candidate
            if path.is_file():
                return path
    known = [p.name for p in shipped.glob("*.toml")]
    if beside is not None:
        known += [p.name for p in beside.glob("*.toml")]
    near = difflib.get_close_matches(names[-1], known, n=3, cutoff=0.5)
    offer = f"did you mean {_listed(near)}?" if near else "the path of a file that exists"
    raise InputProblem(
        Problem(f"`{name}`", f"no such {what} file beside the mix or on the demo shelf", offer)
    )


def load_toml(path: Path, what: str) -> dict[str, Any]:
    """The raw tables of a file. Raises: InputProblem (missing, unreadable, not TOML)."""
    try:
        with path.open("rb") as handle:
            return tomllib.load(handle)
    except FileNotFoundError:
        near = difflib.get_close_matches(
            path.name, [p.name for p in path.parent.glob("*.toml")], n=3, cutoff=0.5
        )
        offer = f"did you mean {_listed(near)}?" if near else f"the path of a {what} file"
        raise InputProblem(Problem(f"`{path}`", "there is no such file", offer)) from None
    except (IsADirectoryError, PermissionError) as error:
        raise InputProblem(
            Problem(
                f"`{path}`", f"it can't be read ({error.strerror})", f"the path of a {what} file"
            )
        ) from None
    except UnicodeDecodeError:
        raise InputProblem(
            Problem(f"`{path}`", "it is not plain UTF-8 text", f"a {what} file as TOML text")
        ) from None
    except tomllib.TOMLDecodeError as error:
        raise InputProblem(
            Problem(
                f"`{path}`",
                f"it is not valid TOML: {error}",
                'text in quotes, numbers bare: `name = "Calcium liquor"`, `ph = 5.5`',
            )
        ) from None


def validate(model: type[Form], raw: dict[str, Any], file: str) -> Form:
    """Raw tables -> form. Raises: InputProblem with every structural problem of the file."""
    try:
        return model.model_validate(raw)
    except ValidationError as errors:
        raise InputProblem([_problem(model, e, file) for e in errors.errors()]) from None


def _problem(model: type[BaseModel], error: Any, file: str) -> Problem:
    path = [str(p) for p in error["loc"]]
    key = ".".join(path)
    if error["type"] == "missing":
        return Problem(f"{file}, {key}", "this key is missing", f"a line `{key} = ...`")
    read = f"{file}, {key} = {error['input']!r}"
    if error["type"] == "extra_forbidden":
        known = _known_keys(model, path[:-1])
        near = difflib.get_close_matches(path[-1], known, n=2, cutoff=0.5)
        offer = f"did you mean {_listed(near)}?" if near else f"one of {_listed(known)}"
        return Problem(read, "no such key here", offer)
    if error["type"] == "literal_error":
        return Problem(read, "not one of the words known here", error["ctx"]["expected"])
    if error["type"] == "finite_number":
        return Problem(read, "not a number that can be used", "a finite number")
    return Problem(
        read, str(error["msg"]).lower(), "see the commented form: `jarsight new --blank`"
    )


def _known_keys(model: type[BaseModel], path: Iterable[str]) -> list[str]:
    for name in path:
        field = model.model_fields.get(name)
        inner = None if field is None else _inner(field.annotation)
        if inner is None:
            continue
        model = inner
    return [f.alias or name for name, f in model.model_fields.items()]


def _inner(annotation: Any) -> type[BaseModel] | None:
    candidates = [annotation, *getattr(annotation, "__args__", ())]
    for candidate in candidates:
        if isinstance(candidate, type) and issubclass(candidate, BaseModel):
            return candidate
    return None


def _listed(names: Iterable[str]) -> str:
    return ", ".join(f"`{n}`" for n in names)
