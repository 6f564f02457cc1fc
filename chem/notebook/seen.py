"""What a jar or tank showed, one line each in a plain CSV of the user's own."""

from __future__ import annotations

import csv
import io
import os
import sys
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from chem.errors import InputProblem, Problem
from chem.forecast import Forecast

HEADER = (
    "when",
    "mix",
    "file",
    "products",
    "water",
    "seen",
    "after_min",
    "ph",
    "note",
    "answer",
    "judged_at",
    "chance",
    "probability_15min",
    "probability_4h",
    "probability_24h",
    "clogs_4h",
    "ph_median",
    "ph_p05",
    "ph_p95",
    "worst_solid",
    "draws",
    "seed",
    "versions",
)


@dataclass(frozen=True)
class Sighting:
    """What was seen: words of the one list, after how long [min], pH if read, a note."""

    seen: tuple[str, ...]
    after_min: float
    ph: float | None
    note: str


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


def record_sighting(result: Forecast, sighting: Sighting, folder: Path | None = None) -> Path:
    """Append one line, stamped with the forecast and the versions behind it.

    The line goes to the end of the file and is flushed to the disk before anything else happens;
    earlier lines are never rewritten. A line cut short by a full disk or a pulled plug stays what
    it is: the next one starts on its own.

    Raises: InputProblem where the folder can't be written.
    """
    path = (folder or data_folder()) / "seen.csv"
    threats = [s.key for s in result.solids if s.probability["24h"] >= 0.1]
    row = {
        "when": datetime.now().astimezone().isoformat(timespec="seconds"),
        "mix": result.mix.name,
        "file": result.mix.file,
        "products": "; ".join(a.product.name for a in result.mix.additions),
        "water": result.mix.water.name,
        "seen": " ".join(sighting.seen),
        "after_min": f"{sighting.after_min:g}",
        "ph": "" if sighting.ph is None else f"{sighting.ph:g}",
        "note": " ".join(sighting.note.split()),
        "answer": result.answer,
        "judged_at": result.judged_at,
        "chance": f"{result.chance:.3f}",
        "probability_15min": f"{result.probability['15min']:.3f}",
        "probability_4h": f"{result.probability['4h']:.3f}",
        "probability_24h": f"{result.probability['24h']:.3f}",
        "clogs_4h": f"{result.clogs['4h']:.3f}",
        "ph_median": f"{result.ph.median:.2f}",
        "ph_p05": f"{result.ph.p05:.2f}",
        "ph_p95": f"{result.ph.p95:.2f}",
        "worst_solid": threats[0] if threats else "",
        "draws": result.draws,
        "seed": result.seed,
        "versions": "; ".join(f"{k} {v}" for k, v in result.versions.items()),
    }
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        new = not path.exists() or path.stat().st_size == 0
        text = io.StringIO()
        writer = csv.DictWriter(text, HEADER, lineterminator="\n")
        if new:
            writer.writeheader()
        writer.writerow(row)
        data = text.getvalue().encode("utf-8")
        if not new and not _ends_a_line(path):
            data = b"\n" + data
        handle = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o644)
        try:
            while data:
                data = data[os.write(handle, data) :]
            os.fsync(handle)
        finally:
            os.close(handle)
    except OSError as error:
        raise InputProblem(
            Problem(f"`{path}`", f"it can't be written ({error.strerror})", "a folder of your own")
        ) from None
    return path


def _ends_a_line(path: Path) -> bool:
    with path.open("rb") as file:
        file.seek(-1, os.SEEK_END)
        return file.read(1) == b"\n"
