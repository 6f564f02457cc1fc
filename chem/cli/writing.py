"""Writing a file whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

from chem.errors import InputProblem, Problem


def write_text(path: Path, text: str) -> None:
    """Write `text` to `path` through a file beside it.

    Raises: InputProblem where the folder can't be written; nothing half-written stays.
    """
    partial = path.with_name(path.name + ".partial")
    try:
        partial.write_text(text, encoding="utf-8")
        os.replace(partial, path)
    except OSError as error:
        partial.unlink(missing_ok=True)
        raise InputProblem(
            Problem(f"`{path}`", f"it can't be written ({error.strerror})", "a folder that exists")
        ) from None
