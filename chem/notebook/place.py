"""Where a notebook is: named, beside the shed, or in the user's data folder."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from chem.files import find_shed
from chem.notebook.seen import data_folder

FILE = "notebook.sqlite"
LOCAL_DISKS = {
    "apfs", "bcachefs", "btrfs", "ext2", "ext3", "ext4", "f2fs", "hfs", "hfsplus", "jfs", "ntfs3",
    "overlay", "reiserfs", "tmpfs", "xfs", "zfs",
}  # fmt: skip
"""File systems on which SQLite's write-ahead log can be shared by processes: those of one machine
(SQLite, Write-Ahead Logging: "does not work over a network filesystem")."""


@dataclass(frozen=True)
class Place:
    """A notebook's file; wanted: whether somebody asked for one there, so that it may be begun
    without being told."""

    path: Path
    wanted: bool


def find_place(beside: Path | None = None, named: Path | None = None) -> Place:
    """The notebook of a mix: named, else JARSIGHT_NOTEBOOK, else that of the shed in whose folder
    or below it the mix lies, else one in the user's data folder.

    beside: a folder, or a file in it. Raises: InputProblem for a shed that can't be read.
    """
    told = named or os.environ.get("JARSIGHT_NOTEBOOK")
    if told:
        return Place(Path(told), True)
    folder = Path() if beside is None else beside
    shed = find_shed(folder if folder.is_dir() else folder.absolute().parent)
    if shed is not None:
        return Place(shed.folder / (shed.form.notebook or FILE), True)
    return Place(data_folder() / FILE, False)


def on_local_disk(path: Path) -> bool:
    """Whether a file lies on a disk of this machine, as far as the system tells."""
    try:
        mounts = Path("/proc/self/mounts").read_text(encoding="utf-8", errors="replace")
        place = str(path.absolute().parent.resolve())
    except OSError:
        return False
    best, kind = "", ""
    for line in mounts.splitlines():
        _, at, system, *_ = [*line.split(" "), "", "", ""]
        at = at.replace("\\040", " ")
        under = place == at or place.startswith(at.rstrip("/") + "/")
        if under and len(at) >= len(best):
            best, kind = at, system
    return kind in LOCAL_DISKS
