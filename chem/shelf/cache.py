"""Results kept by what they were made from, so that one new product costs one row."""

from __future__ import annotations

import json
import os
import sqlite3
import sys
from collections.abc import Iterable, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any

FILE = "shelf.sqlite3"
AT_ONCE = 500
_MADE_BY = "jarsight"


def cache_folder() -> Path:
    """The user's cache folder: `JARSIGHT_CACHE`, else the system's usual place."""
    named = os.environ.get("JARSIGHT_CACHE")
    if named:
        return Path(named)
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", Path.home())) / _MADE_BY
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / _MADE_BY
    return Path(os.environ.get("XDG_CACHE_HOME", Path.home() / ".cache")) / _MADE_BY


class Cache:
    """Key -> JSON object, in one SQLite file; rows of other tables or versions are dropped.

    A cache that can't be read or written is no cache: `trouble` then says why, nothing is raised.
    """

    def __init__(self, folder: Path, made_with: str) -> None:
        """made_with: hash of tables and versions."""
        self.trouble: str | None = None
        self._file = folder / FILE
        self._base: sqlite3.Connection | None = None
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._base = sqlite3.connect(self._file, timeout=5.0)
            with self._base as base:
                base.execute(
                    "CREATE TABLE IF NOT EXISTS tank"
                    " (key TEXT PRIMARY KEY, made_with TEXT, value TEXT)"
                )
                base.execute("DELETE FROM tank WHERE made_with <> ?", (made_with,))
        except (OSError, sqlite3.Error) as error:
            self._fail(error)
        self._made_with = made_with

    def _fail(self, error: Exception) -> None:
        self.trouble = (
            f"The cache {self._file} can't be used ({error}): the answer stands, but nothing is "
            "kept. Delete that file, or name another folder in JARSIGHT_CACHE."
        )
        self.close()

    def get(self, keys: Iterable[str]) -> dict[str, Any]:
        """What is known of these keys."""
        wanted = list(keys)
        out: dict[str, Any] = {}
        if self._base is None:
            return out
        try:
            for first in range(0, len(wanted), AT_ONCE):
                part = wanted[first : first + AT_ONCE]
                marks = ",".join("?" * len(part))
                rows = self._base.execute(
                    f"SELECT key, value FROM tank WHERE key IN ({marks})",
                    part,
                )
                out.update((key, json.loads(value)) for key, value in rows)
        except (sqlite3.Error, ValueError) as error:
            self._fail(error)
        return out

    def put(self, values: Mapping[str, Any]) -> None:
        """Keep values, all or none of them."""
        if self._base is None:
            return
        rows = [(key, self._made_with, json.dumps(value)) for key, value in values.items()]
        try:
            with self._base as base:
                base.executemany("INSERT OR REPLACE INTO tank VALUES (?, ?, ?)", rows)
        except sqlite3.Error as error:
            self._fail(error)

    def close(self) -> None:
        """Let go of the file."""
        if self._base is not None:
            self._base.close()
            self._base = None

    def __enter__(self) -> Cache:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()
