"""Saving: values change, comments and order stay, and only over the version that was read."""

from __future__ import annotations

import hashlib
import tomllib
from pathlib import Path

from chem.desk.draft import TEXTS, Draft
from chem.desk.shed import Shed
from chem.errors import InputProblem, Problem
from chem.files import file_name, rewritten
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
    raw = tomllib.loads(before)
    for key in TEXTS:
        value = draft.texts[key]
        raw[key] = _from(draft.file, value, shed) if key == "water" else value
    jugs = [(_from(draft.file, product, shed), rate) for product, rate in draft.jugs]
    raw["add"] = [{"product": p, **({"rate": r} if r else {})} for p, r in jugs]
    return rewritten({key: value for key, value in raw.items() if value}, before)


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
