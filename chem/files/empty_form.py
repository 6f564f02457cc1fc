"""An empty file to fill in, with a line of help for each key."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel

from chem.files.table import BARE, COLUMNS, Field, fields, quoted

_HOW = """\
# Lines that begin with # and no space are optional:
# delete the # to use one, and put your own value there.
# Units are read as printed. A decimal point, no comma.
"""


def blank(form: type[BaseModel], name: str) -> str:
    """A blank form that holds every key, with comments.

    `#key = ...` without a space is a line to be put to use by deleting its `#`; `# words` is prose.
    """
    out = [_note(getattr(form, "title", "")) + _HOW.rstrip()]
    table: tuple[str | int, ...] = ()
    for one in _first_of_each(form):
        under = one.path[:-1]
        if under != table:
            table = under
            out.append("")
            out += [_note(one.ask.note).rstrip()] if one.ask.note else []
            out.append(_header(form, under))
        elif one.ask.note:
            out += ["", _note(one.ask.note).rstrip()]
        out.append(f"name = {quoted(name)}" if one.path == ("name",) else _blank_line(one))
    return "\n".join(out) + "\n"


def _first_of_each(form: type[BaseModel]) -> list[Field]:
    """Of what is asked several times over, the first; plain keys before tables, as TOML has it."""
    found = [
        one
        for one in fields(form)
        if (one.ask.example or one.ask.open or one.path == ("name",))
        and not any(isinstance(p, int) and p > 0 for p in one.path)
        and not (one.kind == "value" and ".1." not in one.key)
    ]
    tables = list(dict.fromkeys(one.path[0] for one in found))
    return sorted(found, key=lambda f: 0 if len(f.path) == 1 else 1 + tables.index(f.path[0]))


def _header(form: type[BaseModel], under: tuple[str | int, ...]) -> str:
    name = str(under[0])
    if isinstance(under[-1], int):
        return f"[[{name}]]"
    optional = form.model_fields[name].default is None
    return f"#[{name}]" if optional else f"[{name}]"


def _blank_line(one: Field) -> str:
    key, example = str(one.path[-1]), one.ask.example
    if one.kind == "value":
        assert isinstance(one.ask.example, Mapping)
        (key, example), *_ = one.ask.example.items()
    named = key if re.fullmatch(r"[\w-]+", key) and one.lines is None else quoted(key)
    if one.ask.open:
        return f'{named} = {"[" if one.kind == "list" else ""}""{"]" if one.kind == "list" else ""}'
    return f"#{named} = {_shown(example, one)}"


def _shown(example: Any, one: Field) -> str:
    if isinstance(example, Mapping):
        inside = ", ".join(f"{k} = {_shown(v, one)}" for k, v in example.items())
        return f"{{ {inside} }}"
    if isinstance(example, str):
        bare = one.reader is not None and one.reader.bare
        return example if bare and BARE.fullmatch(example) else quoted(example)
    return "[" + ", ".join(_shown(e, one) for e in example) + "]"


def _note(text: str) -> str:
    wrap = {"width": COLUMNS - 2, "break_on_hyphens": False, "break_long_words": False}
    return "".join(f"# {line}\n" for line in textwrap.wrap(text, **wrap))  # type: ignore[arg-type]
