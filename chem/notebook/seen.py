"""The user's own file of what jars and tanks showed: one line each, never rewritten.

A file begun as CSV by an earlier version goes on in JSON lines after its own; both are read into
the same entries.
"""

from __future__ import annotations

import csv
import hashlib
import os
import stat
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from chem.errors import InputProblem, Problem
from chem.forecast import Forecast
from chem.notebook.entry import (
    Entry,
    KeptFile,
    KeptMix,
    Look,
    Reading,
    Sighting,
    Stood,
    Temperatures,
    Threat,
    entry_of,
)

FILE, OLD_FILE = "seen.jsonl", "seen.csv"
OLD_HEADER = (
    "when", "mix", "file", "products", "water", "seen", "after_min", "ph", "note", "answer",
    "judged_at", "chance", "probability_15min", "probability_4h", "probability_24h", "clogs_4h",
    "ph_median", "ph_p05", "ph_p95", "worst_solid", "draws", "seed", "versions",
)  # fmt: skip
ROOM_FOR_ANSWERS = 4096
"""Bytes kept free for what is still to be typed."""


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


def notebook_file(folder: Path) -> Path:
    """Where the next line goes: after those of an earlier version, where there are any."""
    old, new = folder / OLD_FILE, folder / FILE
    return old if old.exists() and not new.exists() else new


def must_be_writable(result: Forecast, folder: Path | None = None) -> None:
    """Try whether a look at this mix could be kept, before anybody is asked what was seen.

    As much as it will take is written beside the file and removed again; the file is left alone.

    Raises: InputProblem where it can't be kept.
    """
    path = notebook_file(folder or data_folder())
    needed = len(entry_of(result, Sighting((), 0.0, None, "")).line()) + ROOM_FOR_ANSWERS
    try:
        if path.exists():
            if not stat.S_ISREG(path.stat().st_mode):
                raise _unwritable(path, "it is no plain file")
            os.close(os.open(path, os.O_WRONLY | os.O_APPEND))
        place = path.parent
        while not place.exists() and place != place.parent:
            place = place.parent
        with tempfile.TemporaryFile(dir=place) as trial:
            trial.write(b" " * needed)
            trial.flush()
            os.fsync(trial.fileno())
    except OSError as error:
        raise _unwritable(path, error.strerror or str(error)) from None


def _unwritable(path: Path, why: str) -> InputProblem:
    instead = "a folder of your own with room left, as JARSIGHT_DATA"
    return InputProblem(Problem(f"`{path}`", f"it can't be written ({why})", instead))


def record_sighting(result: Forecast, sighting: Sighting, folder: Path | None = None) -> Path:
    """Append one line: what was seen, the whole mix as read and the forecast as it stood.

    The line goes to the end of the file and is flushed to the disk before anything else happens;
    earlier lines are never rewritten. A line cut short by a full disk or a pulled plug stays what
    it is: the next one starts on its own.

    Raises: InputProblem where the file can't be written.
    """
    path = notebook_file(folder or data_folder())
    data = entry_of(result, sighting).line()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists() and path.stat().st_size and not _ends_a_line(path):
            data = b"\n" + data
        handle = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o644)
        try:
            while data:
                data = data[os.write(handle, data) :]
            os.fsync(handle)
        finally:
            os.close(handle)
    except OSError as error:
        raise _unwritable(path, error.strerror or str(error)) from None
    return path


def _ends_a_line(path: Path) -> bool:
    with path.open("rb") as file:
        file.seek(-1, os.SEEK_END)
        return file.read(1) == b"\n"


def read_looks(folder: Path | None = None) -> Looks:
    """Every look kept in a folder, of this and of earlier versions; none where there is no file.

    Raises: InputProblem where a file can't be read at all.
    """
    where = folder or data_folder()
    entries: list[Entry] = []
    unread: list[Problem] = []
    for path in (where / OLD_FILE, where / FILE):
        try:
            data = path.read_bytes() if path.exists() else b""
        except OSError as error:
            why = f"it can't be read ({error.strerror})"
            raise InputProblem(Problem(f"`{path}`", why, "a plain file")) from None
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
        ph=()
        if ph is None
        else (Reading(value=ph, instrument=None, step=None, after_s=None, t_C=None),),
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
