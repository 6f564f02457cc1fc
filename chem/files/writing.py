"""Writing answers into files: whole or not at all, and never over what is somebody else's."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from itertools import chain
from pathlib import Path

from chem.errors import InputProblem, Problem
from chem.files.kept import noting

_FORCED: ContextVar[bool] = ContextVar("forced", default=False)
_READ: ContextVar[list[Path] | None] = ContextVar("read", default=None)
_OURS = re.compile(
    r'<meta name="generator" content="jarsight"|aria-labelledby="(\w+)-title \1-what"'
    r'|\A\{"shed": "'
)
"""What a page, a picture and a notebook's export of ours begin with or say of themselves."""
HEAD = 2000


@contextmanager
def one_command(force: bool) -> Iterator[None]:
    """Within it no output is written over what was read, nor, unless forced, over a file that no
    earlier output of its kind left there.
    """
    with noting() as read:
        tokens = _FORCED.set(force), _READ.set(read)
        try:
            yield
        finally:
            _FORCED.reset(tokens[0])
            _READ.reset(tokens[1])


def forced() -> bool:
    """Whether the command may write over a file of somebody else's."""
    return _FORCED.get()


def must_be_free(path: Path, text: str | None = None) -> None:
    """Raises: InputProblem where `text`, or any output, must not be written to `path`."""
    read = _READ.get()
    if read is None or not path.is_file():
        return
    if any(_same(path, one) for one in read):
        wrong = "it is read for this answer; nothing is written over it"
        raise InputProblem(Problem(f"`{path}`", wrong, "another file's name"))
    if not _FORCED.get() and not _alike(path, text):
        wrong = "a file stands there that no earlier answer of this kind wrote"
        raise InputProblem(Problem(f"`{path}`", wrong, "another name, or --force to write over it"))


def _same(path: Path, other: Path) -> bool:
    try:
        return path.samefile(other)
    except OSError:
        return False


def _alike(path: Path, text: str | None) -> bool:
    """Whether a file is an earlier output of the same kind as `text`, or of any."""
    try:
        with path.open(encoding="utf-8", errors="replace") as file:
            old = file.read(HEAD)
    except OSError:
        return False
    ours, columns = _OURS.search(old), old.partition("\n")[0]
    if text is None:
        return ours is not None or columns.count(",") > 1
    new = _OURS.search(text[:HEAD])
    if ours and new:
        return ours[0] == new[0]
    return columns.count(",") > 1 and columns == text.partition("\n")[0]


def write_text(path: Path, text: str | Iterable[str]) -> None:
    """Write `text` to `path`, as `write_texts`."""
    write_texts({path: text})


def write_texts(texts: Mapping[Path, str | Iterable[str]]) -> None:
    """Write each text, or its pieces, to its path through a file beside it, all of them or none.

    A path that stands for a device or a pipe (`/dev/stdout`) is written to as it is.

    Raises: InputProblem where one can't be written; nothing half-written stays.
    """
    heads: dict[Path, str] = {}
    whole: dict[Path, Iterable[str]] = {}
    for path, text in texts.items():
        pieces = iter([text] if isinstance(text, str) else text)
        heads[path] = next(pieces, "")
        whole[path] = chain([heads[path]], pieces)
    partials = {p: p.parent / f".{os.getpid()}-{i}.partial" for i, p in enumerate(texts)}
    path = Path()
    try:
        for path in texts:
            if not path.name or path.is_dir():
                raise InputProblem(Problem(f"`{path}`", "a folder stands there", "a file's name"))
            must_be_free(path, heads[path])
            if not _in_place(path):
                _put(partials[path], whole[path])
        for path, text in whole.items():
            if _in_place(path):
                _put(path, text)
            else:
                os.replace(partials[path], path)
    except (OSError, ValueError) as error:
        if isinstance(error, InputProblem):
            raise
        why = getattr(error, "strerror", None) or str(error)
        instead = "a file in a folder that exists and that you may write to"
        raise InputProblem(Problem(f"`{path}`", f"it can't be written ({why})", instead)) from None
    finally:
        for partial in partials.values():
            _remove(partial)


def _put(path: Path, pieces: Iterable[str]) -> None:
    with path.open("w", encoding="utf-8") as file:
        file.writelines(pieces)


def _in_place(path: Path) -> bool:
    """Whether something stands there that must not be replaced by a file."""
    return path.exists() and not path.is_file()


def _remove(partial: Path) -> None:
    try:
        partial.unlink(missing_ok=True)
    except (OSError, ValueError):
        return  # its folder is none, so it was never made
