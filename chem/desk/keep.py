"""Saving: values change, comments and order stay, and only over the version that was read."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Callable, Collection
from dataclasses import replace
from pathlib import Path
from typing import Any

from chem.advice.agents import choose_agent, product_file
from chem.desk.draft import TEXTS, Draft, Jug, shares_of
from chem.desk.shed import Shed
from chem.errors import InputProblem, Problem
from chem.files import file_name, rewritten
from chem.files.writing import write_texts

NO_VERSION = "new"


def version_of(path: Path) -> str:
    """Of a file as it lies there; `new` where none does."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()[:24]
    except OSError:
        return NO_VERSION


def save(draft: Draft, shed: Shed, version: str) -> Draft:
    """Write a draft into its file, or a new one named by the mix; the draft then of that file.

    version: of the file when it was read. An acid or base gets its product file too. Raises:
    InputProblem where it was changed elsewhere, the mix is none, or it can't be written; nothing
    is half-written.
    """
    draft.mix(shed)
    file = draft.file or _free(draft.texts["name"], shed)
    path = shed.path(file)
    if version_of(path) != version:
        wrong = "it was changed elsewhere since this page was opened, and nothing was written"
        instead = "open it again beside this page, and make the change there"
        raise InputProblem(Problem(f"`{file}`", wrong, instead))
    text = path.read_text(encoding="utf-8") if path.is_file() else ""
    texts: dict[Path, str] = {}
    jugs = []
    for jug in draft.jugs:
        if jug.kind != "agent":
            jugs.append(jug)
            continue
        reagent = choose_agent(jug.what)
        named = shed.folder_of("products") + file_name(reagent.product.name)
        if not shed.holds(named):
            texts[shed.path(named)] = product_file(reagent)
        jugs.append(Jug("product", named, jug.amount))
    saved = replace(draft, file=file, jugs=tuple(jugs))
    texts[path] = mix_text(saved, text, shed, set(texts))
    write_texts(texts)
    return saved


def mix_text(draft: Draft, before: str, shed: Shed, new: Collection[Path] = ()) -> str:
    """A mix file's text with the draft's values, all else as before.

    new: files that will lie in the shed by then.
    """
    return rewritten(mix_tables(draft, before, shed, new), before)


def mix_tables(draft: Draft, before: str, shed: Shed, new: Collection[Path] = ()) -> dict[str, Any]:
    """The tables of that text."""
    raw: dict[str, Any] = tomllib.loads(before)

    def named(file: str) -> str:
        return _from(draft.file, file, shed, new)

    for key in TEXTS:
        raw[key] = draft.texts[key]
    raw["water"] = _waters([(named(name), share) for name, share in shares_of(raw["water"])])
    raw["add"] = [_row(jug, named) for jug in draft.jugs]
    return {key: value for key, value in raw.items() if value}


def _row(jug: Jug, named: Callable[[str], str]) -> dict[str, str]:
    """A jug as a mix file has it."""
    if jug.kind == "left":
        row = {"leftover": named(jug.what), "amount": jug.amount, "age": jug.age}
    elif jug.kind == "agent":
        row = {"product": file_name(choose_agent(jug.what).product.name), "rate": jug.amount}
    else:
        row = {"product": named(jug.what), "rate": jug.amount}
    return {key: value for key, value in row.items() if value}


def _waters(waters: list[tuple[str, str]]) -> str | list[dict[str, str]]:
    """One water by its name, several each with its share."""
    if len(waters) == 1:
        return waters[0][0]
    return [{"file": name, "share": share} for name, share in waters]


def _free(name: str, shed: Shed) -> str:
    file = shed.folder_of("mixes") + file_name(name)
    if shed.path(file).exists():
        raise InputProblem(
            Problem(f"`{file}`", "a file of that name lies there already", "another name")
        )
    return file


def _from(file: str, named: str, shed: Shed, new: Collection[Path]) -> str:
    """A file of the shed as a mix in its own folder names it; a demo's by its bare name."""
    lies = shed.holds(named) or shed.root / named in new
    if named in ("", "unknown") or not lies:
        return named
    up = file.count("/")
    return "../" * up + named
