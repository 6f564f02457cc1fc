"""Files of earlier versions: lines of CSV and of JSON, each read into the same entries."""

from __future__ import annotations

import csv
import hashlib
import os
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from chem.errors import InputProblem, Problem
from chem.notebook.entry import (
    Entry,
    KeptFile,
    KeptMix,
    Look,
    Reading,
    Stood,
    Temperatures,
    Threat,
)

FILE, OLD_FILE = "seen.jsonl", "seen.csv"
OLD_HEADER = (
    "when", "mix", "file", "products", "water", "seen", "after_min", "ph", "note", "answer",
    "judged_at", "chance", "probability_15min", "probability_4h", "probability_24h", "clogs_4h",
    "ph_median", "ph_p05", "ph_p95", "worst_solid", "draws", "seed", "versions",
)  # fmt: skip


@dataclass(frozen=True)
class Looks:
    """What a folder keeps: entries in the order kept, and the lines that can't be read."""

    entries: tuple[Entry, ...]
    unread: tuple[Problem, ...]


def data_folder() -> Path:
    """The user's data folder: `JARSIGHT_DATA`, else the system's usual place.

    Raises: InputProblem where no home folder is known.
    """
    named = os.environ.get("JARSIGHT_DATA")
    if named:
        return Path(named)
    if sys.platform == "win32":
        return _base("APPDATA", ".") / "jarsight"
    if sys.platform == "darwin":
        return _base("", "Library/Application Support") / "jarsight"
    return _base("XDG_DATA_HOME", ".local/share") / "jarsight"


def _base(variable: str, under_home: str) -> Path:
    """The folder that a variable of the environment names, else one of the home folder."""
    named = os.environ.get(variable) if variable else None
    if named:
        return Path(named)
    try:
        return Path.home() / under_home
    except RuntimeError:
        raise InputProblem(
            Problem("your home folder", "it can't be found", "a folder as JARSIGHT_DATA")
        ) from None


def read_looks(folder: Path | None = None) -> Looks:
    """Every look that earlier versions kept in a folder; none where there is no file.

    Raises: InputProblem where a file can't be read at all.
    """
    where = folder or data_folder()
    found = [read_lines(where / name) for name in (OLD_FILE, FILE) if (where / name).exists()]
    return Looks(
        tuple(entry for looks in found for entry in looks.entries),
        tuple(problem for looks in found for problem in looks.unread),
    )


def read_lines(path: Path) -> Looks:
    """Every look of one file of lines. Raises: InputProblem where it can't be read at all."""
    try:
        data = path.read_bytes()
    except OSError as error:
        why = f"it can't be read ({error.strerror})"
        raise InputProblem(Problem(f"`{path}`", why, "a plain file")) from None
    entries: list[Entry] = []
    unread: list[Problem] = []
    for number, line in enumerate(data.split(b"\n"), start=1):
        try:
            entry = _entry(line)
        except (ValueError, csv.Error) as error:
            why = "; ".join(str(error).splitlines()[:3])
            read = f"`{path}`, line {number}"
            unread.append(Problem(read, f"it is no entry ({why})", "the line as it was kept"))
        else:
            entries += [] if entry is None else [entry]
    return Looks(tuple(entries), tuple(unread))


def _entry(line: bytes) -> Entry | None:
    """The entry of a line, None where it holds none. Raises: ValueError."""
    text = line.decode("utf-8").strip("\r\ufeff ")
    if not text:
        return None
    if text.startswith("{"):
        return Entry.model_validate_json(text)
    (row,) = csv.reader([text], strict=True)
    if tuple(row) == OLD_HEADER:
        return None
    if len(row) != len(OLD_HEADER):
        raise ValueError(f"{len(row)} columns of {len(OLD_HEADER)}")
    named = hashlib.sha256(line).hexdigest()[:16]
    return _old_entry(dict(zip(OLD_HEADER, row, strict=True)), named)


def _old_entry(row: Mapping[str, str], named: str) -> Entry:
    """An entry of a line of CSV, which kept names where an entry keeps whole files."""

    def number(key: str) -> float | None:
        return float(row[key]) if row[key] else None

    products = tuple(row["products"].split("; "))
    nothing = (None,) * len(products)
    after = float(row["after_min"])
    ph = number("ph")
    versions = dict(pair.split(" ", 1) for pair in row["versions"].split("; ") if " " in pair)
    times = ("15min", "4h", "24h")
    unknown = dict.fromkeys(times)
    threats = [Threat(key=row["worst_solid"], probability=unknown)] if row["worst_solid"] else []
    return Entry(
        id=named,
        by=None,
        at=row["when"],
        amends=None,
        kind=None,
        number=None,
        mix=KeptMix(
            name=row["mix"],
            files=(KeptFile(name=row["file"], what="mix", text=None, hash=None),),
            lots=nothing,
            rates=nothing,
            order=products,
            water=row["water"],
            carrier=None,
            tank=None,
            area=None,
            temperatures=Temperatures(tank_C=None, coldest_C=None),
        ),
        seen=tuple(Look(word=word, after_s=60.0 * after) for word in row["seen"].split()),
        ph=() if ph is None else (Reading(value=ph),),
        sprayed=None,
        forecast=Stood(
            answer=row["answer"],
            judged_at=row["judged_at"],
            chance=number("chance"),
            because=None,
            probability={t: number(f"probability_{t}") for t in times},
            clogs=unknown | {"4h": number("clogs_4h")},
            ph={key: number(f"ph_{key}") for key in ("median", "p05", "p95")},
            solids=tuple(threats),
            rules=None,
            draws=int(row["draws"]),
            seed=int(row["seed"]),
        ),
        versions=versions,
        note=row["note"] or None,
    )
