"""The notebook: raw entries, only ever added to."""

from __future__ import annotations

import json
import sqlite3
import stat
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from chem.errors import InputProblem, Problem
from chem.notebook.entry import Entry, KeptMix, kept_mix, now
from chem.notebook.notebook_file import NotebookFile
from chem.notebook.seen import read_lines
from chem.tank import Mix

ROOM_FOR_ANSWERS = 4096
"""Bytes kept free for what is still to be typed."""


@dataclass(frozen=True)
class Kept:
    """An entry and whether it is of this shed: another's teach less."""

    entry: Entry
    ours: bool


@dataclass(frozen=True)
class Numbered:
    """A mix as it was printed under a number, and when."""

    number: str
    at: str
    mix: KeptMix


@dataclass(frozen=True)
class Imported:
    """What an import brought: entries new and known already, numbers, lines that can't be read;
    ours: whether they come from this shed."""

    new: int
    known: int
    numbers: int
    unread: tuple[Problem, ...]
    ours: bool


@dataclass(frozen=True)
class Checked:
    """How a notebook stands: entries that can be read, those that can't, what SQLite finds wrong,
    and copies beside it that hold more."""

    entries: int
    unread: tuple[Problem, ...]
    wrong: tuple[str, ...]
    copies: tuple[Path, ...]


class Notebook(NotebookFile):
    """One file of entries. Every method opens it, and says so in a sentence where it can't."""

    def __repr__(self) -> str:
        return f"<Notebook {self.path.name!r}>"

    # --- reading -------------------------------------------------------------------------------

    def kept(self) -> tuple[Kept, ...]:
        """Every entry in the order kept, without those of sheds that were removed.

        Raises: InputProblem where the file or an entry can't be read.
        """
        if not self.exists:
            return ()
        found, problems = self._read()
        if problems:
            raise InputProblem(problems)
        return tuple(found)

    def entries(self) -> tuple[Entry, ...]:
        """Entries of this shed and of others, those corrected since left out."""
        return tuple(k.entry for k in current(self.kept()))

    def _read(self) -> tuple[list[Kept], list[Problem]]:
        found: list[Kept] = []
        problems: list[Problem] = []
        wanted = (
            "SELECT position, line, shed = (SELECT value FROM meta WHERE key = 'shed') "
            "FROM entries WHERE shed NOT IN (SELECT shed FROM hidden) ORDER BY position"
        )
        with self.opened() as file:
            for position, line, ours in file.execute(wanted):
                try:
                    found.append(Kept(Entry.model_validate_json(line), bool(ours)))
                except ValueError as error:
                    why = "; ".join(str(error).splitlines()[:3])
                    read = f"`{self.path}`, entry {position}"
                    wrong = f"it is no entry ({why})"
                    problems.append(Problem(read, wrong, "the entry as it was kept"))
        return found, problems

    def key(self) -> tuple[str, int, int]:
        """What changes whenever its entries do: the shed, how many entries, how many removed."""
        with self.opened() as file:
            (last,) = file.execute("SELECT COALESCE(MAX(position), 0) FROM entries").fetchone()
            (gone,) = file.execute("SELECT COUNT(*) FROM hidden").fetchone()
            return self.shed_of(file), int(last), int(gone)

    def find(self, beginning: str) -> Entry:
        """The one entry whose id begins so. Raises: InputProblem."""
        found = [k.entry for k in self.kept() if k.entry.id.startswith(beginning.lower())]
        if len(found) == 1 and beginning:
            return found[0]
        wrong = "several entries begin so" if found else "no entry has this id"
        raise InputProblem(
            Problem(f"entry `{beginning}`", wrong, "an id as `jarsight notebook list` prints it")
        )

    # --- writing -------------------------------------------------------------------------------

    def must_be_writable(self, room: int = 0) -> None:
        """Try whether an entry of so many bytes could be kept, before anybody is asked.

        As much as it will take is written beside the file and removed again.

        Raises: InputProblem where it can't be kept.
        """
        try:
            if self.exists and not stat.S_ISREG(self.path.stat().st_mode):
                raise self.unwritable("it is no plain file")
            place = self.path.parent
            while not place.exists() and place != place.parent:
                place = place.parent
            with tempfile.TemporaryFile(dir=place) as trial:
                trial.write(b" " * (room + ROOM_FOR_ANSWERS))
                trial.flush()
        except OSError as error:
            raise self.unwritable(error.strerror or str(error)) from None
        if self.exists:
            with self.opened(write=True) as file:
                file.execute("UPDATE meta SET value = value WHERE key = 'shed'")
                file.rollback()

    def add(self, entry: Entry) -> None:
        """Keep an entry; it is on the disk when this returns. Raises: InputProblem."""
        with self.opened(write=True) as file:
            self._put(file, entry, self.shed_of(file))

    def _put(self, file: sqlite3.Connection, entry: Entry, shed: str) -> bool:
        done = file.execute(
            "INSERT OR IGNORE INTO entries (id, shed, line) VALUES (?, ?, ?)",
            (entry.id, shed, entry.line().decode("utf-8").rstrip("\n")),
        )
        return done.rowcount > 0

    def number_for(self, mix: Mix) -> str:
        """The number of a sheet printed today, which freezes the mix as printed.

        The same mix printed again on the same day keeps its number. Raises: InputProblem.
        """
        frozen, at = kept_mix(mix).model_dump_json(), now()
        day = f"J-{at[5:7]}{at[8:10]}-"
        with self.opened(write=True) as file:
            rows = file.execute(
                "SELECT number, at, mix FROM numbers WHERE number LIKE ?", (f"{day}%",)
            ).fetchall()
            for number, when, same in rows:
                if same == frozen and when[:10] == at[:10]:
                    return str(number)
            taken = [int(str(number).rsplit("-", 1)[1]) for number, _, _ in rows]
            number = f"{day}{max(taken, default=0) + 1}"
            file.execute(
                "INSERT INTO numbers VALUES (?, ?, ?, ?)", (number, self.shed_of(file), at, frozen)
            )
        return number

    def numbers(self) -> tuple[Numbered, ...]:
        """Every mix that was printed under a number, oldest first.

        Raises: InputProblem where one is damaged.
        """
        if not self.exists:
            return ()
        with self.opened() as file:
            rows = file.execute("SELECT number, at, mix FROM numbers ORDER BY at, number")
            return tuple(Numbered(n, at, self._mix_told(n, m)) for n, at, m in rows)

    def _mix_told(self, number: str, mix: str) -> KeptMix:
        try:
            return KeptMix.model_validate_json(mix)
        except ValueError:
            raise self._damaged(f"sheet {number}", "its mix") from None

    def _damaged(self, where: str, what: str) -> InputProblem:
        read = f"`{self.path}`, {where}"
        return InputProblem(Problem(read, f"{what} is damaged", "a copy of it from before"))

    def mix_of(self, number: str) -> Numbered:
        """What a sheet of this number said. Raises: InputProblem where there is none, or two."""
        wanted = number.upper()
        found = [n for n in self.numbers() if n.number == wanted]
        if len(found) == 1:
            return found[0]
        if found:
            wrong = "two sheds have printed a sheet of this number"
            raise InputProblem(Problem(f"sheet `{wanted}`", wrong, "the mix file itself"))
        near = [n.number for n in self.numbers()][-3:]
        instead = f"such as {', '.join(near)}" if near else "the mix file itself"
        raise InputProblem(
            Problem(f"sheet `{wanted}`", f"no such number in `{self.path}`", instead)
        )

    # --- other notebooks -----------------------------------------------------------------------

    def export(self) -> str:
        """Everything as one JSON object: the shed, entries in the order kept, and numbers.

        Raises: InputProblem.
        """
        shed, entries, numbers = self._all()
        for entry, _, line in entries:
            if not isinstance(line, str):
                raise self._damaged(f"entry {entry}", "its line")
        lines = ",\n".join(line for _, _, line in entries)
        rows = []
        for number, whose, at, mix in numbers:
            try:
                told = json.loads(mix)
            except (TypeError, ValueError):
                raise self._damaged(f"sheet {number}", "its mix") from None
            rows.append({"number": number, "shed": whose, "at": at, "mix": told})
        sheds = {i: s for i, s, _ in entries if s != shed}
        return (
            f'{{"shed": {json.dumps(shed)}, "of_other_sheds": {json.dumps(sheds)},\n'
            f'"numbers": {json.dumps(rows)},\n"entries": [\n{lines}\n]}}'
        )

    def _all(self) -> tuple[str, list[tuple[str, str, str]], list[tuple[str, str, str, str]]]:
        with self.opened() as file:
            entries = file.execute("SELECT id, shed, line FROM entries ORDER BY position")
            numbers = file.execute("SELECT number, shed, at, mix FROM numbers ORDER BY at, number")
            return self.shed_of(file), entries.fetchall(), numbers.fetchall()

    def take_in(self, path: Path, *, same_shed: bool = False) -> Imported:
        """Add what another file holds: a notebook, an export, or lines of an earlier version.

        What is known by its id is not added again. same_shed: it is of this shed, whatever it says.

        Raises: InputProblem where it can't be read, or this one not written.
        """
        if not path.is_file():
            raise InputProblem(Problem(f"`{path}`", "there is no such file", "a notebook's file"))
        shed, found, numbers, unread = _taken(path)
        new = fresh = 0
        with self.opened(write=True) as file:
            own = self.shed_of(file)
            ours = same_shed or shed in (own, None)
            for entry, of in found:
                new += self._put(file, entry, own if ours and of in (shed, None) else of or own)
            for number, of, at, mix in numbers:
                done = file.execute(
                    "INSERT OR IGNORE INTO numbers VALUES (?, ?, ?, ?)",
                    (number, own if ours and of == shed else of, at, mix),
                )
                fresh += done.rowcount > 0
            if shed is not None:
                file.execute("DELETE FROM hidden WHERE shed = ?", (shed,))
        return Imported(new, len(found) - new, fresh, tuple(unread), ours)

    def hide(self, path: Path) -> int:
        """Leave out the entries of another shed, given by a file of its own; they stay kept.

        Returns: how many. Raises: InputProblem where the file is of this shed.
        """
        shed = _taken(path)[0]
        with self.opened(write=True) as file:
            if shed is None or shed == self.shed_of(file):
                raise InputProblem(
                    Problem(f"`{path}`", "it is of this shed", "the notebook of another shed")
                )
            file.execute("INSERT OR IGNORE INTO hidden VALUES (?)", (shed,))
            (count,) = file.execute(
                "SELECT COUNT(*) FROM entries WHERE shed = ?", (shed,)
            ).fetchone()
        return int(count)

    def copies(self) -> tuple[Path, ...]:
        """Files beside it that are of the same shed and hold an entry that is not here.

        Programs that keep folders alike leave one when two machines wrote at the same time.
        """
        if not self.exists:
            return ()
        with self.opened() as file:
            own = self.shed_of(file)
            known = {i for (i,) in file.execute("SELECT id FROM entries")}
        found = []
        for path in sorted(self.path.parent.glob(f"*{self.path.suffix}")):
            alike = path.stem.startswith(self.path.stem) and path != self.path
            if alike and path.is_file():
                try:
                    shed, entries, _, _ = _taken(path)
                except InputProblem:
                    continue
                if shed == own and any(e.id not in known for e, _ in entries):
                    found.append(path)
        return tuple(found)

    def check(self) -> Checked:
        """Read everything and let SQLite look at its own tables. Raises: InputProblem."""
        with self.opened() as file:
            said = [str(row[0]) for row in file.execute("PRAGMA integrity_check")]
        found, problems = self._read()
        wrong = tuple(s for s in said if s != "ok")
        return Checked(len(found), tuple(problems), wrong, self.copies())


Taken = tuple[
    str | None,
    list[tuple[Entry, str | None]],
    list[tuple[str, str, str, str]],
    list[Problem],
]
"""A file's shed (None: of a version that knew none), its entries and numbers, each with the shed
that it came from, and what can't be read."""


def _taken(path: Path) -> Taken:
    try:
        with path.open("rb") as handle:
            head = handle.read(16)
    except OSError as error:
        why = f"it can't be read ({error.strerror})"
        raise InputProblem(Problem(f"`{path}`", why, "a notebook's file")) from None
    if head.startswith(b"SQLite format 3"):
        shed, rows, numbers = Notebook(path)._all()
        parsed: Iterable[tuple[Any, str | None]] = ((line, of) for _, of, line in rows)
        return (shed, *_parsed(path, parsed, Entry.model_validate_json, numbers))
    if head.lstrip().startswith(b'{"shed"'):
        try:
            told = json.loads(path.read_text(encoding="utf-8"))
            json.dumps(told, ensure_ascii=False).encode("utf-8")  # half a character is none
            shed, others = str(told["shed"]), dict(told["of_other_sheds"])
            numbers = [
                (
                    n["number"],
                    n["shed"],
                    n["at"],
                    KeptMix.model_validate(n["mix"]).model_dump_json(),
                )
                for n in told["numbers"]
            ]
            parsed = [(e, others.get(e.get("id"), shed)) for e in told["entries"]]
        except (ValueError, KeyError, TypeError, AttributeError):
            wrong = "it is no whole export"
            raise InputProblem(
                Problem(f"`{path}`", wrong, "what `jarsight notebook export` wrote")
            ) from None
        return (shed, *_parsed(path, parsed, Entry.model_validate, numbers))
    looks = read_lines(path)
    if not looks.entries and looks.unread:
        raise InputProblem(
            Problem(f"`{path}`", "no line of it is an entry", "a notebook or its export")
        )
    return None, [(e, None) for e in looks.entries], [], list(looks.unread)


def _parsed(
    path: Path,
    rows: Iterable[tuple[Any, str | None]],
    read: Any,
    numbers: list[tuple[str, str, str, str]],
) -> tuple[list[tuple[Entry, str | None]], list[tuple[str, str, str, str]], list[Problem]]:
    found: list[tuple[Entry, str | None]] = []
    unread: list[Problem] = []
    for place, (row, of) in enumerate(rows, start=1):
        try:
            found.append((read(row), of))
        except ValueError as error:
            why = "; ".join(str(error).splitlines()[:3])
            unread.append(
                Problem(f"`{path}`, entry {place}", f"it is no entry ({why})", "one as it was kept")
            )
    return found, numbers, unread


def current(kept: Sequence[Kept]) -> tuple[Kept, ...]:
    """Entries that no later one corrects, by the time they were kept."""
    gone = {k.entry.amends for k in kept}
    stand = [k for k in kept if k.entry.id not in gone]
    return tuple(sorted(stand, key=lambda k: datetime.fromisoformat(k.entry.at).timestamp()))
