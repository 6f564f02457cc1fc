"""Texts that people paste: from a file or from standard input, in any usual encoding."""

from __future__ import annotations

import codecs
import sys
from pathlib import Path


def pasted_text(paste: str) -> str:
    """The text of a file, or of standard input for `-`. Raises: InputProblem."""
    from chem.files.reading import LARGEST_FILE_BYTES

    return (
        _decoded(sys.stdin.buffer.read(LARGEST_FILE_BYTES)) if paste == "-" else _text(Path(paste))
    )


def _text(path: Path) -> str:
    """The text of a file. Raises: InputProblem."""
    from chem.files.reading import read_bytes

    return _decoded(read_bytes(path, "text"))


def _decoded(data: bytes) -> str:
    """Text as editors save it: UTF-8, UTF-16 with its mark, else the Western code page."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")
