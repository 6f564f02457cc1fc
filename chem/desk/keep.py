"""Saving: values change, comments and order stay, and only over the version that was read."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path
from typing import Any

import tomlkit

from chem.desk.draft import TEXTS, Draft
from chem.desk.shed import Shed
from chem.errors import InputProblem, Problem
from chem.files.writing import write_text

NO_VERSION = "new"


def version_of(path: Path) -> str:
    """Of a file as it lies there; `new` where none does."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()[:24]
    except OSError:
        return NO_VERSION


def save(draft: Draft, shed: Shed, version: str) -> Draft:
    """Write a draft into its file, or a new one named by the mix; the draft then of that file.

    version: of the file when it was read. Raises: InputProblem where it was changed elsewhere, the
    mix is none, or it can't be written; nothing is half-written.
    """
    draft.mix(shed)
    file = draft.file or _free(draft.texts["name"], shed)
    path = shed.path(file)
    if version_of(path) != version:
        wrong = "it was changed elsewhere since this page was opened, and nothing was written"
        instead = "open it again beside this page, and make the change there"
        raise InputProblem(Problem(f"`{file}`", wrong, instead))
    text = path.read_text(encoding="utf-8") if path.is_file() else ""
    saved = Draft(file, draft.texts, draft.jugs, draft.judged_at, draft.window)
    write_text(path, mix_text(saved, text, shed))
    return saved


def mix_text(draft: Draft, before: str, shed: Shed) -> str:
    """A mix file's text with the draft's values, all else as before."""
    document = tomlkit.parse(before)
    for key in TEXTS:
        value = draft.texts[key]
        value = _from(draft.file, value, shed) if key == "water" else value
        if value and document.get(key) != value:
            document[key] = value
        elif not value and key in document:
            del document[key]
    jugs = [(_from(draft.file, product, shed), rate) for product, rate in draft.jugs]
    old: Any = document.get("add", [])
    if [(str(a.get("product")), str(a.get("rate", ""))) for a in old] != jugs:
        # A jug that stays keeps its table and the comments in it.
        left = {i: a for i, a in enumerate(old)}
        tables = tomlkit.aot()
        for product, rate in jugs:
            place = next((i for i, a in left.items() if a.get("product") == product), None)
            table = tomlkit.table() if place is None else left.pop(place)
            if place is None:
                table["product"] = product
            if rate and table.get("rate") != rate:
                table["rate"] = rate
            elif not rate and "rate" in table:
                del table["rate"]
            tables.append(table)
        if "add" in document:
            del document["add"]
        document["add"] = tables
    return tomlkit.dumps(document)


def file_name(name: str) -> str:
    """A file's name from what a person calls it."""
    plain = "-".join(re.findall(r"[a-z0-9]+", name.casefold()))[:60]
    return f"{plain or 'new'}.toml"


def _free(name: str, shed: Shed) -> str:
    folder = "mixes/" if (shed.root / "mixes").is_dir() else ""
    file = folder + file_name(name)
    if shed.path(file).exists():
        raise InputProblem(
            Problem(f"`{file}`", "a file of that name lies there already", "another name")
        )
    return file


def _from(file: str, named: str, shed: Shed) -> str:
    """A file of the shed as a mix in its own folder names it; a demo's by its bare name."""
    if named == "unknown" or not (shed.root / named).is_file():
        return named
    up = file.count("/")
    return "../" * up + named
