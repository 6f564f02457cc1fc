"""The notebook's file: SQLite, opened for one transaction at a time.

A write is one transaction, flushed to the disk before it is acknowledged, so that a process killed
at any moment loses nothing that was; two that write wait for each other. Where the file lies on a
disk of this machine a write-ahead log serves, elsewhere a rollback journal.
"""

from __future__ import annotations

import secrets
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from chem.errors import InputProblem, Problem
from chem.notebook.place import on_local_disk

OURS, FORM = 0x4A415253, 1
"""SQLite's application id of a notebook, and the form of its tables."""
WAIT_S = 60.0
TABLES = """
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE entries (
  position INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, shed TEXT NOT NULL, line TEXT NOT NULL);
CREATE TABLE numbers (
  number TEXT NOT NULL, shed TEXT NOT NULL, at TEXT NOT NULL, mix TEXT NOT NULL,
  PRIMARY KEY (number, shed)) WITHOUT ROWID;
CREATE TABLE hidden (shed TEXT PRIMARY KEY) WITHOUT ROWID;
"""


class NotebookFile:
    """A file and what it takes to open it; where it can't be, a sentence says so."""

    def __init__(self, path: Path) -> None:
        self.path = path

    @property
    def exists(self) -> bool:
        """Whether there is one."""
        return self.path.exists()

    def shed_of(self, file: sqlite3.Connection) -> str:
        """The shed that the file was begun in."""
        (shed,) = file.execute("SELECT value FROM meta WHERE key = 'shed'").fetchone()
        return str(shed)

    @contextmanager
    def opened(self, *, write: bool = False) -> Iterator[sqlite3.Connection]:
        """The file, in one transaction where it is written; begun where there is none yet."""
        if self.path.is_dir():
            wrong, instead = "a folder stands there", "a notebook, or a new file's name"
            raise InputProblem(Problem(f"`{self.path}`", wrong, instead))
        file: sqlite3.Connection | None = None
        try:
            if write and not self.exists:
                self.path.parent.mkdir(parents=True, exist_ok=True)
            try:
                file = self._connected("mode=rwc" if write else "mode=rw")
                self._known(file, write)
            except sqlite3.OperationalError:
                log = self.path.with_name(f"{self.path.name}-wal")
                if write or log.exists():
                    raise
                # A log can't be begun in a folder that is read-only, and none is there.
                if file is not None:
                    file.close()
                file = self._connected("immutable=1")
                self._known(file, write)
            if write:
                file.execute("BEGIN IMMEDIATE")
            yield file
            if file.in_transaction:
                file.commit()
        except sqlite3.Error as error:
            raise self.problem_of(error, write) from None
        except OSError as error:
            raise self.unwritable(error.strerror or str(error)) from None
        finally:
            if file is not None:
                file.close()

    def _connected(self, how: str) -> sqlite3.Connection:
        uri = f"{self.path.absolute().as_uri()}?{how}"
        return sqlite3.connect(uri, timeout=WAIT_S, uri=True, isolation_level=None)

    def _known(self, file: sqlite3.Connection, write: bool) -> None:
        """Make sure that the file is a notebook that this version can read."""
        (ours,) = file.execute("PRAGMA application_id").fetchone()
        (form,) = file.execute("PRAGMA user_version").fetchone()
        (tables,) = file.execute("SELECT COUNT(*) FROM sqlite_master").fetchone()
        if ours == 0 and tables == 0 and write:
            self._begin(file)
        elif ours != OURS:
            wrong = "it is no notebook" if tables or ours else "there is nothing in it"
            raise InputProblem(Problem(f"`{self.path}`", wrong, "a notebook, or a new file's name"))
        elif form > FORM:
            wrong = f"a newer version of jarsight wrote it (form {form}, this one knows {FORM})"
            raise InputProblem(
                Problem(f"`{self.path}`", wrong, "that version; the file was left alone")
            )
        if write:
            file.execute("PRAGMA synchronous = FULL")

    def _begin(self, file: sqlite3.Connection) -> None:
        mode = "WAL" if on_local_disk(self.path) else "DELETE"
        file.execute(f"PRAGMA journal_mode = {mode}")
        file.execute("BEGIN IMMEDIATE")
        (tables,) = file.execute("SELECT COUNT(*) FROM sqlite_master").fetchone()
        if tables == 0:  # nobody else was quicker
            for statement in TABLES.split(";"):
                file.execute(statement)
            file.execute("INSERT INTO meta VALUES ('shed', ?)", (secrets.token_hex(8),))
            file.execute(f"PRAGMA application_id = {OURS}")
            file.execute(f"PRAGMA user_version = {FORM}")
        file.commit()

    def problem_of(self, error: sqlite3.Error, write: bool) -> InputProblem:
        """What SQLite could not do, in a sentence."""
        code = (getattr(error, "sqlite_errorcode", 0) or 0) & 0xFF
        if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
            wrong = "it is damaged, or no notebook at all"
            instead = (
                "a copy of it from before; `jarsight notebook import COPY --notebook NEW` begins "
                "anew from one"
            )
            return InputProblem(Problem(f"`{self.path}`", wrong, instead))
        why = {
            sqlite3.SQLITE_FULL: "the disk is full",
            sqlite3.SQLITE_READONLY: "it is read-only",
            sqlite3.SQLITE_BUSY: f"another program kept it for more than {WAIT_S:.0f} s",
            sqlite3.SQLITE_CANTOPEN: "it can't be opened",
            sqlite3.SQLITE_IOERR: "the disk refuses",
        }.get(code, str(error))
        if write:
            return self.unwritable(why)
        return InputProblem(Problem(f"`{self.path}`", f"it can't be read ({why})", "a notebook"))

    def unwritable(self, why: str) -> InputProblem:
        """Nothing was kept, and why."""
        instead = "a folder of your own with room left: `--notebook FILE`, or JARSIGHT_NOTEBOOK"
        wrong = f"it can't be written ({why}): nothing was kept"
        return InputProblem(Problem(f"`{self.path}`", wrong, instead))
