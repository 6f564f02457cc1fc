"""The one writer of the files that people write: values change, comments and order stay."""

from __future__ import annotations

import difflib
import hashlib
import os
import re
import unicodedata
from collections.abc import Callable, Mapping, MutableMapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.items import AoT, InlineTable, Item, Table

from chem.errors import InputProblem, Problem
from chem.files.table import Figure, Raw

MAX_SLUG = 60


def rewritten(raw: Mapping[str, Any], text: str = "") -> str:
    """The text of a file that holds `raw`: that of `text` where it stands so already.

    A table of a list is known again by its first value, whatever its place.
    """
    document = tomlkit.parse(text)
    moved = _into(document, raw)
    out = document.as_string()
    if moved:  # tables take the empty lines around them along
        out = re.sub(r"\n{3,}", "\n\n", re.sub(r"(?<=[^\n])\n(?=\[)", "\n\n", out))
    return out.strip("\n") + "\n" if moved or not text else out


def _into(table: MutableMapping[str, Any], raw: Mapping[str, Any]) -> bool:
    """Make a table hold `raw`; whether tables of a list came, went or changed places."""
    moved = False
    for key in [key for key in table if key not in raw]:
        del table[key]
    for key, value in sorted(raw.items(), key=lambda pair: _is_table(pair[1])):
        old = table.get(key)
        if old is not None and _plain(old) == value:
            continue
        if isinstance(value, Mapping) and isinstance(old, MutableMapping):
            moved |= _into(old, value)
        elif _tables(value) and isinstance(old, AoT):
            tables = _known_again(value, old)
            if [id(t) for t in tables] == [id(t) for t in old.body]:
                moved |= any([_into(t, row) for t, row in zip(tables, value, strict=True)])
                continue
            table[key] = again = tomlkit.aot()
            for one, row in zip(tables, value, strict=True):
                _into(one, row)
                again.append(one)
            moved = True
        else:
            table[key] = _item(value, inline=isinstance(table, Table))
    return moved


def _known_again(rows: list[Raw], old: AoT) -> list[Table]:
    """For each row the table whose first value it has, else a new one."""
    left, out = list(old.body), []
    for row in rows:
        first = next(iter(row))
        same = next((t for t in left if t.get(first) == row[first]), None)
        if same is not None:
            left.remove(same)
        out.append(tomlkit.table() if same is None else same)
    return out


def _item(value: Any, *, inline: bool) -> Item:
    if isinstance(value, Figure):
        return tomlkit.value(value.text)
    if isinstance(value, Mapping):
        made: InlineTable | Table = tomlkit.inline_table() if inline else tomlkit.table()
        _into(made, value)
        return made
    if _tables(value) and not _inline(value):
        tables = tomlkit.aot()
        for one in value:
            tables.append(_item(one, inline=False))
        return tables
    if _tables(value):
        array = tomlkit.array().multiline(True)
        for one in value:
            array.append(_item(one, inline=True))
        return array
    item: Item = tomlkit.item(value)
    return item


def _plain(item: Any) -> Any:
    return item.unwrap() if isinstance(item, Item) else item


def _is_table(value: Any) -> bool:
    return isinstance(value, Mapping) or (_tables(value) and not _inline(value))


def _inline(rows: list[Raw]) -> bool:
    """Whether rows are written a line each: lines of a label that were not read."""
    return "kind" in rows[0]


def _tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and isinstance(value[0], Mapping)


def file_name(name: str) -> str:
    """`Iron & "Mn", 5 %` -> `iron-mn-5.toml`. Raises: InputProblem where no letter is left."""
    plain_text(name)
    parted = unicodedata.normalize("NFKD", name.removesuffix(".toml")).casefold()
    letters = "".join(c for c in parted if not unicodedata.combining(c))
    words = re.findall(r"[^\W_]+", letters)
    slug = "-".join(words)[:MAX_SLUG].strip("-")
    if not slug:
        raise InputProblem(
            Problem(f"`{name}`", "no letter or number to name a file by", "the name on the label")
        )
    return f"{slug}.toml"


def plain_text(text: str) -> str:
    """The text itself. Raises: InputProblem where it is not text that a file can hold."""
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        raise InputProblem(
            Problem(ascii(text), "some of its letters can't be read", "plain UTF-8 text")
        ) from None
    return text


def there_already(path: Path, what: str) -> InputProblem:
    """The problem to raise before anything of the user's is written over."""
    return InputProblem(
        Problem(
            f"`{path}`",
            f"there is a {what} of that name already",
            "another name, or `--force` to write over it",
        )
    )


def cannot_write(path: Path, why: str) -> InputProblem:
    """The problem to raise where a folder takes no file."""
    return InputProblem(
        Problem(
            f"`{path}`",
            f"it can't be written ({why})",
            "a folder that you may write to, with `--in DIR`",
        )
    )


def save(
    path: Path,
    text: str,
    read: Callable[[Path], object],
    *,
    force: bool = False,
    over: str | None = None,
) -> None:
    """Write a file whole or not at all, after `read` has read it back.

    over: the hash of the version that this one goes by; another one is not written over.

    Raises:
        InputProblem: what `read` finds wrong, a file in the way (both shown where it is not the
            version read), a folder that can't be written.
    """
    if not path.name or path.is_dir():
        raise InputProblem(Problem(f"`{path}`", "a folder stands there", "a file's name"))
    partial = path.with_name(f".{path.stem}-{os.getpid()}.toml")
    try:
        partial.write_text(text, encoding="utf-8", newline="\n")
        read(partial)
        if over is not None:
            _must_be(path, over, text)
        elif path.exists() and not force:
            raise there_already(path, "file")
        os.replace(partial, path.resolve())
    except InputProblem as problem:
        raise InputProblem(
            [replace(p, read=p.read.replace(partial.name, path.name)) for p in problem.problems]
        ) from None
    except OSError as error:
        raise cannot_write(path, error.strerror or str(error)) from None
    finally:
        partial.unlink(missing_ok=True)


def _must_be(path: Path, version: str, text: str) -> None:
    """Raises: InputProblem where the file is no longer the version read; it shows both."""
    data = path.read_bytes() if path.exists() else b""
    if hashlib.sha256(data).hexdigest() == version:
        return
    now = data.decode("utf-8", "replace").splitlines()
    names = ("as it stands now", "yours")
    lines = difflib.unified_diff(now, text.splitlines(), *names, n=1, lineterm="")
    raise InputProblem(
        Problem(
            f"`{path}`",
            "it was changed since it was read; nothing is written\n    " + "\n    ".join(lines),
            "the lines marked + into the file as it stands now, or start again",
        )
    )
