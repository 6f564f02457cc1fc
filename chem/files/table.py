"""The field table: each key of a file with its reader, its question and its example.

A form's fields are `Annotated[T, Reader(...), Ask(...)]`, in the order of the label, the report or
the sprayer. Questions, blank forms, the JSON Schema and what is written all walk `fields(form)`.

Answers are kept by key, as typed: `name`, `guarantee.calcium`, `chelated.iron.agent`,
`also.1.name`, `add.2.rate`; lists are joined by commas.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel, GetJsonSchemaHandler
from pydantic_core import CoreSchema

Answers = dict[str, str]
Raw = dict[str, Any]
COLUMNS = 60
BARE = re.compile(r"(?:0|[1-9][0-9]{0,8})(?:\.[0-9]{1,6})?")


@dataclass(frozen=True)
class Reader:
    """What reads a value's text, given the place for its messages.

    bare: the value is a plain number in the file; by_form: it is told whether the product is dry.
    """

    read: Callable[..., object]
    bare: bool = False
    by_form: bool = False


def always(answers: Mapping[str, str]) -> bool:
    """A question that is put whatever was answered."""
    return True


@dataclass(frozen=True)
class Ask:
    """How a value is asked for.

    question: empty where only the blank form has the key; example: such as a label prints;
    when: whether it makes sense after the answers so far; group: ways of telling one thing, each
    the keys that it takes: once a way is answered in full, no later one is asked; heading: printed
    before it; note: above its line in the blank form; open: the blank form has it to be filled in.
    """

    question: str = ""
    example: str | Sequence[str] | Mapping[str, str] = ""
    when: Callable[[Mapping[str, str]], bool] = always
    group: tuple[tuple[str, ...], ...] = ()
    heading: str = ""
    note: str = ""
    open: bool = False

    def __get_pydantic_json_schema__(
        self, core: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        schema = handler(core)
        about = self.note or self.question.strip()
        if about:
            schema["description"] = about
        if self.example:
            schema["examples"] = [self.example]
        return schema


@dataclass(frozen=True)
class Lines:
    """The keys of a table, such as the lines of a guaranteed analysis.

    asks: the question of each; after: the table whose like line each follows; read, write: from a
    key and figure of the file to the line's own, and back, where a file may use other terms.
    """

    asks: Callable[[], Mapping[str, Ask]]
    after: str = ""
    read: Callable[[str, str], tuple[str, str]] = lambda key, text: (key, text)
    write: Callable[[str, str], tuple[str, str]] = lambda key, text: (key, text)


@dataclass(frozen=True)
class Pairs:
    """A table of names chosen by the writer, asked one by one; most: how many are asked."""

    name: Ask
    most: int = 8


@dataclass(frozen=True)
class Numbered:
    """A list of tables, asked one by one; most: how many are asked."""

    most: int


@dataclass(frozen=True)
class Field:
    """A key of a form.

    path: where it stands in the file; numbers count the tables of a list from 0; kind: text, a
    list, or `name` and `value` of a table whose names the writer chooses; choices: its words, if
    it takes no others; lines: the table that it is a line of.
    """

    key: str
    path: tuple[str | int, ...]
    ask: Ask
    reader: Reader | None = None
    kind: Literal["text", "list", "name", "value"] = "text"
    choices: tuple[str, ...] = ()
    lines: Lines | None = None
    after: str = ""
    whole: tuple[str, ...] = field(default=(), repr=False)

    @property
    def words(self) -> str:
        """Its question, with an example where it has none of its own."""
        ask = self.ask
        plain = not re.search(r"[,(]", ask.question) and isinstance(ask.example, str)
        shown = self.reader is not None and not self.reader.bare and self.lines is None
        return f"{ask.question}, as {ask.example}" if plain and shown else ask.question

    def when(self, answers: Mapping[str, str]) -> bool:
        """Whether it is to be asked after these answers."""
        earlier: list[tuple[str, ...]] = []
        for way in self.ask.group:
            if self.key in way:
                break
            earlier.append(way)
        told = any(all(key in answers for key in way) for way in earlier)
        return not told and self.ask.when(answers) and all(k in answers for k in self.whole)


@cache
def fields(form: type[BaseModel]) -> tuple[Field, ...]:
    """Every key of a form that is asked or stands in its blank form, in the order asked."""
    found = list(_walk(form, "", ()))
    for one in [f for f in found if f.after]:
        found.remove(one)
        at = next(i for i, f in enumerate(found) if f.key == one.after)
        while at + 1 < len(found) and found[at + 1].after == one.after:
            at += 1
        found.insert(at + 1, one)
    return tuple(found)


def _walk(
    form: type[BaseModel], under: str, path: tuple[str | int, ...], whole: tuple[str, ...] = ()
) -> Iterator[Field]:
    for name, info in form.model_fields.items():
        marks = {type(mark): mark for mark in info.metadata}
        reader = marks.get(Reader)
        inner = _model(info.annotation)
        key, here = f"{under}{name}", (*path, name)
        if Lines in marks:
            yield from _lines(key, here, marks[Lines], reader, inner)
        elif Pairs in marks:
            yield from _pairs(key, here, marks[Pairs], marks[Ask], reader)
        elif Numbered in marks and inner is not None:
            yield from _numbered(key, here, marks[Numbered], inner)
        elif inner is not None and Ask not in marks:
            first = f"{key}.{next(iter(inner.model_fields))}"
            optional = type(None) in get_args(info.annotation)
            for one in _walk(inner, f"{key}.", here):
                yield replace(one, whole=(first,)) if optional and one.key != first else one
        elif Ask in marks:
            kind: Literal["text", "list"] = "list" if _is_list(info.annotation) else "text"
            ask = marks[Ask]
            yield Field(key, here, ask, reader, kind, _choices(info.annotation), whole=whole)


def _lines(
    key: str,
    path: tuple[str | int, ...],
    lines: Lines,
    reader: Reader | None,
    inner: type[BaseModel] | None,
) -> Iterator[Field]:
    for line, ask in lines.asks().items():
        own, after = f"{key}.{line}", f"{lines.after}.{line}" if lines.after else ""
        yield Field(own, (*path, line), ask, reader, lines=lines, after=after)
        for name, info in list(inner.model_fields.items())[1:] if inner is not None else ():
            more = next(m for m in info.metadata if isinstance(m, Ask))
            yield Field(f"{own}.{name}", (*path, line, name), more, whole=(own,), after=after)


def _pairs(
    key: str, path: tuple[str | int, ...], pairs: Pairs, value: Ask, reader: Reader | None
) -> Iterator[Field]:
    for n in range(1, pairs.most + 1):
        before = (f"{key}.{n - 1}.name",) if n > 1 else ()
        ask = pairs.name if n == 1 else replace(pairs.name, heading="")
        own = f"{key}.{n}.name"
        each = (*path, "*")
        yield Field(own, each, ask, kind="name", whole=before)
        yield Field(f"{key}.{n}.percent", each, value, reader, "value", whole=(own,))


def _numbered(
    key: str, path: tuple[str | int, ...], numbered: Numbered, inner: type[BaseModel]
) -> Iterator[Field]:
    first = next(iter(inner.model_fields))
    for n in range(1, numbered.most + 1):
        for one in _walk(inner, f"{key}.{n}.", (*path, n - 1)):
            ask = replace(one.ask, question=one.ask.question.replace("{n}", str(n)))
            if one.key != f"{key}.{n}.{first}":
                yield replace(one, ask=ask, whole=(f"{key}.{n}.{first}",))
            elif n == 1:
                yield replace(one, ask=ask)
            else:
                question = f"{ask.question} (Enter = no more)"
                ask = replace(ask, question=question, heading="")
                yield replace(one, ask=ask, whole=(f"{key}.{n - 1}.{first}",))


def _model(annotation: Any) -> type[BaseModel] | None:
    """The form inside an annotation, in a list, a mapping or an alternative."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((m for a in get_args(annotation) if (m := _model(a)) is not None), None)


def _is_list(annotation: Any) -> bool:
    return get_origin(annotation) is tuple


def _choices(annotation: Any) -> tuple[str, ...]:
    if get_origin(annotation) is Literal:
        return get_args(annotation)
    return next((c for a in get_args(annotation) if (c := _choices(a))), ())


def asked(form: type[BaseModel]) -> list[Field]:
    """The keys that a question is put for, in the order asked."""
    return [one for one in fields(form) if one.ask.question]


# ------------------------------------------------------------ answers and files


def words(joined: str) -> list[str]:
    """`calcium nitrate; urea.` -> its names."""
    parts = (" ".join(part.split()).strip(" .") for part in re.split(r"[,;]", joined))
    return [part for part in parts if part]


def answers_of(form: type[BaseModel], raw: Mapping[str, Any]) -> Answers:
    """A file's tables as answers. Keys that no question asks for are left out."""
    out: Answers = {}
    for one in asked(form):
        if one.kind in ("name", "value"):
            rows = list(_table(raw, one.path[:-1]).items())
            n = int(one.key.split(".")[-2])
            if n <= len(rows):
                out[one.key] = str(rows[n - 1][one.kind == "value"])
        elif one.lines is not None:
            for key, value in _table(raw, one.path[:-1]).items():
                figure = next(iter(value.values())) if isinstance(value, Mapping) else value
                line, text = one.lines.read(key, str(figure))
                if line == one.path[-1]:
                    out[one.key] = text
        else:
            found = _at(raw, one.path)
            if isinstance(found, list) and one.kind == "list":
                out[one.key] = ", ".join(map(str, found))
            elif not isinstance(found, (Mapping, list, type(None))):
                out[one.key] = str(found)
    return {key: text for key, text in out.items() if text}


def raw_of(form: type[BaseModel], answers: Mapping[str, str], raw: Raw | None = None) -> Raw:
    """Answers as a file's tables, put into those of `raw` where one was read."""
    out: Raw = _copy(raw or {})
    before = answers_of(form, out)
    for one in sorted(asked(form), key=lambda one: len(one.path) > 1):
        new = answers.get(one.key)
        if one.kind in ("name", "value"):
            continue
        if new == before.get(one.key):
            continue
        where = one.path
        if one.lines is not None:
            table = _table(out, where[:-1])
            for key in [k for k in table if one.lines.read(k, "")[0] == where[-1]]:
                if new is None or one.lines.write(str(where[-1]), new)[0] != key:
                    del table[key]
            if new is not None:
                term, new = one.lines.write(str(where[-1]), new)
                where = (*where[:-1], term)
        _put(out, where, None if new is None else _value(one, new))
    for name in {str(f.path[0]) for f in asked(form) if f.kind == "name"}:
        rows = list(_rows(answers, name))
        if rows != [(k, str(v)) for k, v in out.get(name, {}).items()]:
            _put(out, (name,), {k: figure(v) for k, v in rows} or None)
    return out


def _rows(answers: Mapping[str, str], table: str) -> Iterator[tuple[str, str]]:
    """Names and figures of a table whose names were asked for; a name taken out takes its row."""
    n = 1
    while {f"{table}.{n}.name", f"{table}.{n}.percent"} & answers.keys():
        name, figured = answers.get(f"{table}.{n}.name"), answers.get(f"{table}.{n}.percent")
        if name and figured:
            yield name, figured
        n += 1


def _table(raw: Mapping[str, Any], path: Sequence[str | int]) -> dict[str, Any]:
    found = _at(raw, path)
    return found if isinstance(found, dict) else {}


def _at(raw: Any, path: Sequence[str | int]) -> Any:
    for part in path:
        try:
            raw = raw[part]
        except (KeyError, IndexError, TypeError):
            return None
    return raw


def _put(raw: Any, path: Sequence[str | int], value: Any) -> None:
    """Set a value, tables made on the way; None takes it out, and a table left empty by that."""
    here, rest = path[0], path[1:]
    if rest:
        if isinstance(here, int):
            while value is not None and here >= len(raw):
                raw.append({})
            if here >= len(raw):
                return
        elif here not in raw:
            if value is None:
                return
            raw[here] = [] if isinstance(rest[0], int) else {}
        elif not isinstance(raw[here], (dict, list)):  # `iron = 2.0`, to be given its agent
            raw[here] = {"percent": raw[here]}
        _put(raw[here], rest, value)
        if not raw[here]:
            del raw[here]
    elif value is not None:
        if isinstance(raw.get(here), dict) and not isinstance(value, dict):
            raw[here][next(iter(raw[here]))] = value
        else:
            raw[here] = value
    else:
        raw.pop(here, None)


def _copy(raw: Any) -> Any:
    if isinstance(raw, Mapping):
        return {key: _copy(value) for key, value in raw.items()}
    return [_copy(one) for one in raw] if isinstance(raw, list) else raw


def figure(text: str) -> Any:
    """A plain number as a number, anything else (`<0.1`, `5-6`, `2 %`) as text."""
    return Figure(text) if BARE.fullmatch(text) else text


class Figure(float):
    """A number that remembers how it was typed: `9.0`, `2`."""

    def __new__(cls, text: str) -> Figure:
        """The number of a text that is one."""
        made = super().__new__(cls, text)
        made.text = text
        return made

    text: str

    def __str__(self) -> str:
        return self.text


def _value(one: Field, text: str) -> Any:
    if one.kind == "list":
        return words(text)
    return figure(text) if one.reader is not None and one.reader.bare else text


# ------------------------------------------------------------ blank forms


def quoted(text: str) -> str:
    """A TOML basic string; JSON escapes all that TOML asks for, except the delete character."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
