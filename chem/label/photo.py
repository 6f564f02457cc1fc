"""A label's photograph, read by tesseract into a text for the same reader.

Words stand in the lines in which tesseract found them, wide gaps between them as columns. A figure
that was not read surely is never given as one: the text carries a mark in its place, so that the
reader asks for it.
"""

from __future__ import annotations

import csv
import io
import subprocess
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from chem.errors import InputProblem, Problem

SURE = 75.0
"""Tesseract's confidence [0-100] from which a figure is taken; common practice, no source."""

UNSURE = "\u25af"
"""Stands for each digit of a figure that was not read surely."""

_PATIENCE_S = 120


@dataclass(frozen=True)
class Word:
    """A word of a picture: its text, confidence [0-100], line, and box [pixels]."""

    text: str
    sure: float
    line: tuple[int, int, int]
    left: int
    width: int
    height: int


def read_photo(path: Path) -> tuple[str, list[str]]:
    """The text on a picture, and a question for every figure in it that was not read surely.

    Raises:
        InputProblem: no such picture, no tesseract on this machine, or nothing to read.
    """
    if not path.is_file():
        raise InputProblem(Problem(f"`{path}`", "there is no such file", "a picture of the label"))
    command = ["tesseract", str(path), "stdout", "--psm", "6", "tsv"]
    try:
        done = subprocess.run(command, capture_output=True, timeout=_PATIENCE_S, check=False)
    except FileNotFoundError:
        raise InputProblem(
            Problem(
                "command line, --photo",
                "tesseract, which reads pictures, is not on this machine",
                "install it (Debian: apt install tesseract-ocr), or type the text: --paste -",
            )
        ) from None
    except subprocess.TimeoutExpired:
        raise InputProblem(
            Problem(f"`{path}`", f"not read within {_PATIENCE_S} s", "a smaller picture")
        ) from None
    text, questions = text_of(words_of(done.stdout.decode("utf-8", "replace")))
    if done.returncode or not text.strip():
        raise InputProblem(
            Problem(
                f"`{path}`", "no words can be read in it", "a sharp, level picture of the label"
            )
        )
    return text, questions


def words_of(tsv: str) -> list[Word]:
    """The words of tesseract's table."""
    out = []
    for row in csv.DictReader(io.StringIO(tsv), delimiter="\t", quoting=csv.QUOTE_NONE):
        if row.get("level") == "5" and (row["text"] or "").strip():
            line = int(row["block_num"]), int(row["par_num"]), int(row["line_num"])
            box = int(row["left"]), int(row["width"]), int(row["height"])
            out.append(Word(row["text"], float(row["conf"]), line, *box))
    return out


def text_of(words: Iterable[Word]) -> tuple[str, list[str]]:
    """Lines of text, unsure figures marked, and the questions about them."""
    lines: dict[tuple[int, int, int], str] = {}
    questions = []
    ends: dict[tuple[int, int, int], int] = {}
    for word in words:
        text = word.text
        if any(c.isdigit() for c in text) and word.sure < SURE:
            number = len(lines) + (word.line not in lines)
            questions.append(f"line {number}: is `{text}` right? It was not read surely.")
            text = "".join(UNSURE if c.isdigit() else c for c in text)
        if word.line in lines:
            gap = "   " if word.left - ends[word.line] > 2 * word.height else " "
            lines[word.line] += gap + text
        else:
            lines[word.line] = text
        ends[word.line] = word.left + word.width
    return "\n".join(lines.values()), questions
