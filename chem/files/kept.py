"""Which files a reading touches, and reading from texts that were kept instead of from the disk."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path

_NOTED: ContextVar[list[Path] | None] = ContextVar("noted", default=None)
KEPT: ContextVar[Mapping[tuple[str, str], FileText] | None] = ContextVar("kept", default=None)


@contextmanager
def noting() -> Iterator[list[Path]]:
    """Within it, the path of every file that is read is noted in the list."""
    paths: list[Path] = []
    token = _NOTED.set(paths)
    try:
        yield paths
    finally:
        _NOTED.reset(token)


def note(path: Path) -> None:
    """A file was read."""
    paths = _NOTED.get()
    if paths is not None:
        paths.append(path)


@contextmanager
def read_out_of(texts: Iterable[FileText]) -> Iterator[None]:
    """Within it, files are read out of kept texts by kind and name, and none from the disk."""
    token = KEPT.set({place_of(t.what, t.name): t for t in texts})
    try:
        yield
    finally:
        KEPT.reset(token)


def is_kept(what: str, name: str) -> bool:
    """Whether files are read out of kept texts, and this one is among them."""
    kept = KEPT.get()
    return kept is not None and place_of(what, name) in kept


def only_kept() -> bool:
    """Whether files are read out of kept texts alone."""
    return KEPT.get() is not None


@dataclass(frozen=True)
class FileText:
    """A file as it was read: its bytes are `text` in UTF-8.

    what: mix, product, water ...; name: as the file that names it writes it; hash: SHA-256 of the
    bytes, in hexadecimal.
    """

    what: str
    name: str
    text: str
    hash: str


def place_of(what: str, name: str) -> tuple[str, str]:
    """What a kept text is found by: `./iron` and `iron.toml` name one file."""
    what = "sprayer" if what == "catch test" else what  # its name in earlier entries
    return what, Path(name.strip().removesuffix(".toml")).as_posix()
