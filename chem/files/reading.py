"""Files that people write: read, validated, and every problem of one file told at once."""

from __future__ import annotations

import difflib
import hashlib
import json
import re
import tomllib
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any, ClassVar, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, ValidationError

from chem.errors import InputProblem, Problem
from chem.files.kept import KEPT, FileText, note, place_of
from chem.reference import data_folder

Form = TypeVar("Form", bound="FormModel")
T = TypeVar("T")


LARGEST_FILE_BYTES = 1_000_000
"""No label or mix is longer than a novel; a larger file is another kind of file."""
LONGEST_TEXT, LONGEST_WORD = 60_000, 400
"""Characters of a label or a report, all its languages, and of an address on it."""
_TOO_DOTTED = re.compile(rb"(?:\.[ \t]*[\w\"'-]+[ \t]*){20}")
"""The parser takes 1.6 GB for a key of 20,000 parts."""


def plain_name(text: str) -> str:
    """A name on one line, without what would steer a terminal. Raises: ValueError where empty."""
    shown = "".join(" " if unicodedata.category(c)[0] == "C" else c for c in text)
    name = " ".join(shown.split())
    if not name:
        raise ValueError("nothing is written here")
    return name


Name = Annotated[str, AfterValidator(plain_name)]
"""A name as sheets print it."""


class FormModel(BaseModel):
    """A file's form: unknown keys are refused, numbers may be written bare or with a unit."""

    model_config = ConfigDict(extra="forbid", frozen=True, coerce_numbers_to_str=True)

    title: ClassVar[str] = ""
    """The first line of its blank form."""

    @classmethod
    def settled(cls, answers: dict[str, str]) -> dict[str, str]:
        """The answers with what follows from what was not answered."""
        return answers


def as_found(name: str, path: Path) -> str:
    """A file's name as another file writes it, with the ending and slashes it was found by."""
    whole = name if path.suffix != ".toml" or name.endswith(".toml") else f"{name}.toml"
    return whole if Path(whole).name == path.name else whole.replace("\\", "/")


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
        self.problems.append(Problem(f"{self.where(key)} = {read!r}", wrong, instead, key))

    def take(self, problem: InputProblem, key: str) -> None:
        """Note the problems of a value, or of the file that it names."""
        self.problems += [replace(one, key=key) for one in problem.problems]

    def attempt(self, reader: Callable[..., T], text: str, key: str, **more: Any) -> T | None:
        """Read one value; a problem is kept and None returned."""
        try:
            return reader(text, self.where(key), **more)
        except InputProblem as problem:
            self.take(problem, key)
            return None

    def done(self) -> None:
        """Raises: InputProblem with everything found, each once."""
        if self.problems:
            raise InputProblem(list(dict.fromkeys(self.problems)))


def find_file(
    name: str,
    beside: Path | None,
    demo: str,
    what: str,
    where: str = "",
    places: Sequence[Path] = (),
) -> Path:
    """A file named in another file: relative to it, then to `places`, then the shipped demo folder.

    Args:
        name: as written, with or without `.toml`; beside: folder of the naming file, or None.
            Backslashes, as Windows writes them, are read as slashes.
        demo: `products`, `waters` or none; what: for the message ("product", "water").
        where: file and key that name it, for the message.

    Raises:
        InputProblem: neither holds it; near names are offered.
    """
    names = [name] if name.endswith(".toml") else [name, f"{name}.toml"]
    names += [n.replace("\\", "/") for n in names if "\\" in n]
    kept = KEPT.get()
    if kept is not None:
        found = (kept[place_of(what, n)].name for n in names if place_of(what, n) in kept)
        return Path(next(found, names[0]))
    shipped = [data_folder() / "demo" / demo] if demo else []
    here = beside if beside is not None else Path()
    for folder in (here, *places, *shipped):
        for candidate in names:
            path = folder / candidate
            if is_file(path):
                return path
    near = [path for folder in (here, *places, *shipped) for path in folder.glob("*.toml")]
    offer = _offer(names[-1], near, what)
    shelf = " or on the demo shelf" if demo else ""
    read = f"{where} = `{name}`" if where else f"`{name}`"
    raise InputProblem(Problem(read, f"no such {what} file there{shelf}", offer))


def is_file(path: Path) -> bool:
    """Whether a file stands there; a name that no system takes is none."""
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def load_toml(path: Path, what: str) -> dict[str, Any]:
    """The raw tables of a file. Raises: InputProblem as `load_file`."""
    return load_file(path, what)[0]


def load_file(path: Path, what: str) -> tuple[dict[str, Any], FileText]:
    """The raw tables of a file and its text, of one reading; a byte order mark is passed over.

    Raises: InputProblem (missing, unreadable, far too large, not UTF-8, not TOML).
    """
    return load_bytes(path, what, read_bytes(path, what))


def load_bytes(path: Path, what: str, data: bytes) -> tuple[dict[str, Any], FileText]:
    """As `load_file`, of bytes that were read. Raises: InputProblem (not UTF-8, not TOML)."""
    if _TOO_DOTTED.search(data):
        wrong = "it holds a key of more than 20 parts with dots between"
        raise InputProblem(Problem(f"`{path}`", wrong, f"a {what} file; `jarsight new` writes one"))
    try:
        tables = tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError:
        wrong, instead = "it is not plain UTF-8 text", f"a {what} file as TOML, saved as UTF-8"
    except tomllib.TOMLDecodeError as error:
        wrong = f"it is not valid TOML: {error}"
        instead = 'text in quotes, numbers bare: `name = "Calcium liquor"`, `ph = 5.5`'
    except (RecursionError, ValueError):
        wrong = "it is not valid TOML: tables too deep or a number too long"
        instead = f"a {what} file; `jarsight new` writes one"
    else:
        name = path.name.encode("utf-8", "replace").decode("utf-8")
        text = FileText(what, name, data.decode("utf-8"), hashlib.sha256(data).hexdigest())
        return tables, text
    raise InputProblem(Problem(f"`{path}`", wrong, instead)) from None


def must_be_text(text: str, what: str) -> None:
    """Raises: InputProblem where a text is far longer than a `what`, or no words at all."""
    if len(text) > LONGEST_TEXT:
        wrong = f"it is {len(text):,} characters long, far more than any {what}"
    elif word := re.search(rf"\S{{{LONGEST_WORD + 1},}}", text):
        wrong = f"`{word[0][:20]}...` goes on for {len(word[0]):,} characters without a space"
    else:
        return
    raise InputProblem(Problem(f"the {what}", wrong, f"the {what} alone, as it is printed"))


def read_bytes(path: Path, what: str) -> bytes:
    """A file's bytes. Raises: InputProblem (missing, unreadable, a pipe, far too large)."""
    kept = KEPT.get()
    if kept is None and _is_pipe(path):
        wrong = "it is a pipe or a device, not a file"
        raise InputProblem(Problem(f"`{path}`", wrong, f"the path of a {what} file"))
    try:
        if kept is not None:
            return _unspoilt(kept, path, what)
        with path.open("rb") as handle:
            data = handle.read(LARGEST_FILE_BYTES + 1)
        note(path)
    except FileNotFoundError:
        offer = _offer(path.name, path.parent.glob("*.toml"), what)
        raise InputProblem(Problem(f"`{path}`", "there is no such file", offer)) from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise InputProblem(
            Problem(f"`{path}`", f"it can't be read ({why})", f"the path of a {what} file")
        ) from None
    if len(data) > LARGEST_FILE_BYTES:
        wrong = f"it is larger than {LARGEST_FILE_BYTES // 1_000_000} MB, far more than any {what}"
        raise InputProblem(Problem(f"`{path}`", wrong, f"a {what} file"))
    return data


def _is_pipe(path: Path) -> bool:
    """Whether reading it might wait for ever; what a shell hands over (`/dev/fd/63`) is meant."""
    handed = path.as_posix().startswith(("/dev/fd/", "/dev/stdin", "/proc/self/fd/"))
    try:
        return path.exists() and not (handed or path.is_file() or path.is_dir())
    except (OSError, ValueError):
        return False


def _unspoilt(kept: Mapping[tuple[str, str], FileText], path: Path, what: str) -> bytes:
    """The bytes of a kept text. Raises: InputProblem where it isn't there, or isn't what it was."""
    found = kept.get(place_of(what, path.as_posix()))
    if found is None:
        raise InputProblem(
            Problem(f"`{path}`", f"the text of this {what} was not kept", f"the {what} file itself")
        )
    data = found.text.encode("utf-8")
    if hashlib.sha256(data).hexdigest() != found.hash:
        raise InputProblem(
            Problem(
                f"`{path}`", f"this {what} is no longer the text that was read", "the entry anew"
            )
        )
    return data


def _offer(name: str, paths: Iterable[Path], what: str) -> str:
    """Files of a like name, or what to name."""
    stems = {p.name.removesuffix(".toml").casefold(): p.name for p in paths}
    asked = name.replace("\\", "/").rpartition("/")[2].removesuffix(".toml").casefold()
    near = difflib.get_close_matches(asked, list(stems), n=3, cutoff=0.5)
    if near:
        return f"did you mean {_listed(stems[n] for n in near)}?"
    return f"the path of a {what} file that exists"


def validate(model: type[Form], raw: dict[str, Any], file: str) -> Form:
    """Raw tables -> form. Raises: InputProblem with every structural problem of the file."""
    try:
        return model.model_validate(raw)
    except ValidationError as errors:
        raise InputProblem([_problem(model, e, file) for e in errors.errors()]) from None


_WANTED = {
    "string_type": "text in quotes, or a bare number",
    "tuple_type": 'a list in brackets, such as `["urea"]`',
    "model_type": "a table of its own",
    "dict_type": "a table of its own",
    "mapping_type": "a table of its own",
    "is_instance_of": "a table of its own",
}


def _problem(model: type[BaseModel], error: Any, file: str) -> Problem:
    path = [str(p) for p in error["loc"]]
    key = ""
    for part in error["loc"]:
        key += f"[{part + 1}]" if isinstance(part, int) else f".{part}"
    key = key.removeprefix(".")
    if error["type"] == "missing":
        return Problem(f"{file}, {key}", "this key is missing", f"a line `{path[-1]} = ...`", key)
    read = f"{file}, {key} = {_as_written(error['input'])}"
    if error["type"] == "extra_forbidden":
        known = _known_keys(model, path[:-1])
        near = difflib.get_close_matches(path[-1], known, n=2, cutoff=0.5)
        offer = f"did you mean {_listed(near)}?" if near else f"one of {_listed(known)}"
        return Problem(read, "no such key here", offer, key)
    if error["type"] == "literal_error":
        return Problem(read, "not one of the words known here", error["ctx"]["expected"], key)
    if error["type"] == "finite_number":
        return Problem(read, "not a number that can be used", "a finite number", key)
    if error["type"] == "value_error":
        return Problem(read, str(error["ctx"]["error"]), "a name to know it by, in quotes", key)
    wanted = _WANTED.get(error["type"], "it as in the commented form of `jarsight new`")
    if path[-1] == "add":
        wanted = "a table `[[add]]`, in double brackets, for each product"
    kind = _KINDS.get(type(error["input"]), "a date or time")
    return Problem(read, f"{kind} can't stand here", wanted, key)


_KINDS = {
    bool: "`true` or `false`",
    int: "a bare number",
    float: "a bare number",
    str: "text",
    list: "a list",
    dict: "a table",
}


def _as_written(value: object) -> str:
    """A value as TOML would have it, as near as need be."""
    return json.dumps(value, ensure_ascii=False, default=str)


_SHAPES = {"tuple_type", "model_type", "dict_type", "mapping_type", "is_instance_of"}


def _misshapen(error: Any) -> bool:
    """Whether a table or list stands where a value should, or the other way round."""
    holds = isinstance(error["input"], dict | list)
    return error["type"] in _SHAPES or (holds and error["type"] == "string_type")


def must_be_shaped(model: type[BaseModel], raw: dict[str, Any], file: str) -> None:
    """Raises: InputProblem where a table or list is something else, whatever the values say."""
    try:
        model.model_validate(raw)
    except ValidationError as errors:
        found = [_problem(model, e, file) for e in errors.errors() if _misshapen(e)]
        if found:
            raise InputProblem(found) from None


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
