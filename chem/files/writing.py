"""Writing files whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from pathlib import Path

from chem.errors import InputProblem, Problem


def write_text(path: Path, text: str | Iterable[str]) -> None:
    """Write `text` to `path`, as `write_texts`."""
    write_texts({path: text})


def write_texts(texts: Mapping[Path, str | Iterable[str]]) -> None:
    """Write each text, or its pieces, to its path through a file beside it, all of them or none.

    A path that stands for a device or a pipe (`/dev/stdout`) is written to as it is.

    Raises: InputProblem where one can't be written; nothing half-written stays.
    """
    partials = {p: p.parent / f".{os.getpid()}-{i}.partial" for i, p in enumerate(texts)}
    path = Path()
    try:
        for path in texts:
            if not path.name or path.is_dir():
                raise InputProblem(Problem(f"`{path}`", "a folder stands there", "a file's name"))
            if not _in_place(path):
                _put(partials[path], texts[path])
        for path, text in texts.items():
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


def _put(path: Path, text: str | Iterable[str]) -> None:
    with path.open("w", encoding="utf-8") as file:
        file.writelines([text] if isinstance(text, str) else text)


def _in_place(path: Path) -> bool:
    """Whether something stands there that must not be replaced by a file."""
    return path.exists() and not path.is_file()


def _remove(partial: Path) -> None:
    try:
        partial.unlink(missing_ok=True)
    except (OSError, ValueError):
        return  # its folder is none, so it was never made
