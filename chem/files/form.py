"""A file's content as TOML, for forms that a program filled in."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from typing import Any


def as_toml(form: Mapping[str, Any], remarks: Sequence[str] = ()) -> str:
    """Keys, then tables, behind remarks as comments; a number is given as its text in `Bare`."""
    rows = [f"# {plain(remark)}" for remark in remarks]
    tables = []
    for key, value in form.items():
        if isinstance(value, Mapping):
            inner = [f"{_key(k)} = {_value(v)}" for k, v in value.items()]
            tables.append("\n".join([f"[{key}]", *inner]))
        else:
            rows.append(f"{key} = {_value(value)}")
    return "\n\n".join(["\n".join(rows), *tables]) + "\n"


class Bare(str):
    """The text of a number, written without quotes."""


def plain(text: str) -> str:
    """One line of printable characters."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _key(key: str) -> str:
    return key if re.fullmatch(r"[a-z_]+", key) else _value(key)


def _value(value: Any) -> str:
    if isinstance(value, Bare | int):
        return str(value)
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + " }"
    if any(isinstance(one, Mapping) for one in value):
        return "[\n" + "".join(f"    {_value(one)},\n" for one in value) + "]"
    return "[" + ", ".join(map(_value, value)) + "]"
