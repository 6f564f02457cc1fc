"""A label's photograph, read by tesseract into a text for the same reader.

The picture is levelled, its light evened out and its letters brought to one height, then read
several times over. A figure that the readings agree on is taken; one that they don't, or that was
not read surely, is never given as one: the text carries a mark in its place, so that the reader
asks for it. Words stand in the lines in which tesseract found them, wide gaps between them as
columns.
"""

from __future__ import annotations

import csv
import io
import re
import subprocess
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from chem.errors import InputProblem, Problem

if TYPE_CHECKING:
    from PIL.Image import Image

SURE = 75.0
"""Tesseract's confidence [0-100] from which one reading alone is taken; no source."""

AGREED = 35.0
"""The same where two readings agree; common practice, no source."""

UNSURE = "\u25af"
"""Stands for each digit of a figure that was not read surely."""

LETTERS_PX = 34.0
"""Height of a line's letters [pixels] that tesseract reads best; value from memory."""

MOST_PX = 16e6
"""Pixels of a picture that is read, larger ones are reduced; keeps a reading within seconds."""

STEEPEST, STEP = 6.0, 0.25
"""Degrees by which a picture is turned at most to level it, and in what steps."""

_PATIENCE_S = 120
_FIGURE = re.compile(r"(?<![^\W\d_])(?<![^\W\d_][0-9])[0-9]+(?:[.,-][0-9]+)*")
_OXIDES = tuple(
    (re.compile(pattern), right)
    for pattern, right in (
        (r"\bP2[O0Q]{1,2}[5S](?![0-9])", "P2O5"),
        (r"\bK2[O0Q]{1,2}(?![0-9])", "K2O"),
        (r"\bNa2[O0Q](?![0-9])", "Na2O"),
        (r"\bS[O0Q]3(?![0-9])", "SO3"),
        (r"\b(Ca|Mg)[0Q](?![0-9.,])", r"\1O"),
        (r"(?<=\bg/[cd]m)[?*'\"\u00b0\u00ba](?!\w)", "3"),
        (r"^[Vv](?=ha\b)", "l/"),
    )
)
"""A letter O of a formula that tesseract reads as a nought, a Q or twice; a unit's small signs."""

LANGUAGES = ("eng", "spa", "por", "fra", "deu", "ita", "nld")


@dataclass(frozen=True)
class Word:
    """A word of a picture: its text, confidence [0-100], line, and box [pixels]."""

    text: str
    sure: float
    line: tuple[int, int, int]
    left: float
    width: float
    height: float
    top: float = 0.0

    @property
    def figures(self) -> tuple[str, ...]:
        """The figures in it."""
        return tuple(_FIGURE.findall(self.text))


def read_photo(path: Path) -> tuple[str, list[str]]:
    """The text on a picture, and a question for every figure in it that was not read surely.

    Raises:
        InputProblem: no such picture, no tesseract on this machine, or nothing to read.
    """
    if not path.is_file():
        raise InputProblem(Problem(f"`{path}`", "there is no such file", "a picture of the label"))
    readings = [
        [_scaled(word, scale) for word in words_of(_tesseract(path, given, layout))]
        for given, layout, scale in _prepared(path)
    ]
    best, *others = sorted(readings, key=_sureness, reverse=True)
    text, questions = text_of(best, others)
    if not text.strip():
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
            left, width, height, top = (float(row[k]) for k in ("left", "width", "height", "top"))
            text = row["text"]
            for pattern, right in _OXIDES:
                text = pattern.sub(right, text)
            out.append(Word(text, float(row["conf"]), line, left, width, height, top))
    return out


def text_of(words: Iterable[Word], others: Sequence[Sequence[Word]] = ()) -> tuple[str, list[str]]:
    """Lines of text, unsure figures marked, and the questions about them.

    others: the same picture's words in other readings, in the same pixels.
    """
    lines: dict[tuple[int, int, int], str] = {}
    questions = []
    ends: dict[tuple[int, int, int], float] = {}
    for word in words:
        text, again = word.text, [_same_place(word, other) for other in others]
        if word.figures:
            read = {f.figures: f.text for f in again if f is not None and f.figures}
            differs = [other for figures, other in read.items() if figures != word.figures]
            agreed = sum(f is not None and f.figures == word.figures for f in again)
            if differs or word.sure < (AGREED if agreed else SURE):
                number = len(lines) + (word.line not in lines)
                either = "".join(f" or `{other}`" for other in differs)
                questions.append(
                    f"line {number}: is `{text}`{either} right? It was not read surely."
                )
                text = "".join(UNSURE if c.isdigit() else c for c in text)
        else:
            surest = max((word, *filter(None, again)), key=lambda found: found.sure)
            text = text if surest.figures else surest.text
        if word.line in lines:
            gap = "   " if word.left - ends[word.line] > 2 * word.height else " "
            lines[word.line] += gap + text
        else:
            lines[word.line] = text
        ends[word.line] = word.left + word.width
    return "\n".join(lines.values()), questions


def _same_place(word: Word, others: Sequence[Word]) -> Word | None:
    """What another reading has where a word stands: its words there, as one."""
    middle = word.top + 0.5 * word.height
    there = [
        o
        for o in others
        if o.top <= middle <= o.top + o.height
        and min(o.left + o.width, word.left + word.width) - max(o.left, word.left)
        > 0.5 * min(o.width, word.width)
    ]
    if not there:
        return None
    text = " ".join(o.text for o in there)
    return replace(word, text=text, sure=min(o.sure for o in there))


def _sureness(words: Sequence[Word]) -> float:
    """How much of a reading is sure: letters weighed by confidence."""
    return sum(len(word.text) * word.sure for word in words)


def _scaled(word: Word, scale: float) -> Word:
    left, width, height, top = (v / scale for v in (word.left, word.width, word.height, word.top))
    return replace(word, left=left, width=width, height=height, top=top)


def _tesseract(path: Path, given: bytes | None, layout: int) -> str:
    """Tesseract's table of a picture: of its file, or of `given`."""
    source = str(path) if given is None else "stdin"
    spoken = ["-l", "+".join(_languages())] if _languages() else []
    command = ["tesseract", source, "stdout", *spoken, "--psm", str(layout), "--dpi", "300", "tsv"]
    try:
        done = subprocess.run(
            command, input=given, capture_output=True, timeout=_PATIENCE_S, check=False
        )
    except FileNotFoundError:
        raise InputProblem(
            Problem(
                "command line, --photo",
                "tesseract, which reads pictures, is not on this machine",
                "install it (Debian: apt install tesseract-ocr, and tesseract-ocr-spa, -por, -fra, "
                "-deu, -ita, -nld for their languages), or type the text: --paste -",
            )
        ) from None
    except subprocess.TimeoutExpired:
        raise InputProblem(
            Problem(f"`{path}`", f"not read within {_PATIENCE_S} s", "a smaller picture")
        ) from None
    return done.stdout.decode("utf-8", "replace") if not done.returncode else ""


@cache
def _languages() -> tuple[str, ...]:
    """The label's languages that tesseract has been given; none where that can't be asked."""
    try:
        done = subprocess.run(
            ["tesseract", "--list-langs"], capture_output=True, timeout=_PATIENCE_S, check=False
        )
    except (OSError, subprocess.TimeoutExpired):
        return ()
    return tuple(k for k in LANGUAGES if k in done.stdout.decode("utf-8", "replace").split())


def _prepared(path: Path) -> Iterator[tuple[bytes | None, int, float]]:
    """Pictures to read: as PNG (None: the file as it is), tesseract's layout, their scale."""
    try:
        from PIL import Image, ImageOps, UnidentifiedImageError
    except ImportError:
        yield None, 6, 1.0
        return
    try:
        with Image.open(path) as opened:
            grey = ImageOps.exif_transpose(opened).convert("L")
    except (UnidentifiedImageError, OSError, ValueError, Image.DecompressionBombError):
        yield None, 6, 1.0
        return
    ink = _ink(grey)
    level = grey.rotate(_tilt(ink), expand=True, fillcolor=255, resample=Image.Resampling.BICUBIC)
    ink = _ink(level)
    scale = float(np.clip(LETTERS_PX / _letters_px(ink), 0.25, 4.0))
    scale = min(scale, (MOST_PX / (level.width * level.height)) ** 0.5)
    even = Image.fromarray(np.clip(255.0 * (1.0 - ink), 0.0, 255.0).astype(np.uint8))
    for picture, factor, layout in ((even, 1.0, 6), (level, 1.0, 4), (even, 1.35, 4)):
        size = tuple(max(1, round(side * scale * factor)) for side in picture.size)
        out = io.BytesIO()
        larger = picture.resize((size[0], size[1]), Image.Resampling.LANCZOS)
        larger.save(out, "PNG", compress_level=1)
        yield out.getvalue(), layout, scale * factor


def _ink(grey: Image) -> np.ndarray:
    """How dark each pixel is against the paper around it, 0 to 1 (height, width)."""
    from PIL import ImageFilter

    radius = max(8, min(grey.size) // 24)
    paper = grey.filter(ImageFilter.MedianFilter(3)).filter(ImageFilter.MaxFilter(5))
    paper = paper.filter(ImageFilter.BoxBlur(radius))
    light = np.asarray(grey, dtype=float) / np.maximum(np.asarray(paper, dtype=float), 1.0)
    dark = np.clip(1.0 - light, 0.0, 1.0)
    full = max(float(np.quantile(dark, 0.99)) - 0.08, 0.1)
    return np.asarray(np.clip((dark - 0.08) / full, 0.0, 1.0))


def _tilt(ink: np.ndarray) -> float:
    """Degrees by which to turn a picture so that its lines lie level."""
    from PIL import Image

    small = Image.fromarray((255.0 * ink).astype(np.uint8))
    small.thumbnail((900, 900))

    def sharpness(angle: float) -> float:
        turned = small.rotate(angle, resample=Image.Resampling.BILINEAR)
        return float(np.var(np.diff(np.asarray(turned, dtype=float).sum(axis=1))))

    angles = np.arange(-STEEPEST, STEEPEST + STEP, STEP)
    return float(max(angles, key=sharpness))


def _letters_px(ink: np.ndarray) -> float:
    """The height of a line of letters [pixels]: the middle one of all runs of inked rows."""
    rows = ink.mean(axis=1)
    inked = np.concatenate(([False], rows > 0.25 * rows.max(), [False]))
    edges = np.flatnonzero(np.diff(inked.astype(int)))
    runs = edges[1::2] - edges[::2]
    tall = runs[runs >= 5]
    return float(np.median(tall)) if tall.size else LETTERS_PX
