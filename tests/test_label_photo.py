"""Pictures of labels: unsure figures are asked, never taken; whole pictures where tesseract is."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from chem.errors import InputProblem
from chem.label.paste import read_paste
from chem.label.photo import (
    UNSURE,
    Word,
    _ink,
    _letters_px,
    _tilt,
    read_photo,
    text_of,
    words_of,
)

TABLE = """\
level\tpage_num\tblock_num\tpar_num\tline_num\tword_num\tleft\ttop\twidth\theight\tconf\ttext
5\t1\t1\t1\t1\t1\t10\t10\t90\t20\t96.1\tGuaranteed
5\t1\t1\t1\t1\t2\t110\t10\t70\t20\t95.0\tanalysis
5\t1\t1\t1\t2\t1\t10\t40\t50\t20\t96.0\tIron
5\t1\t1\t1\t2\t2\t70\t40\t40\t20\t93.0\t(Fe)
5\t1\t1\t1\t2\t3\t300\t40\t50\t20\t92.0\t5.0%
5\t1\t1\t1\t3\t1\t10\t70\t50\t20\t96.0\tZinc
5\t1\t1\t1\t3\t2\t70\t70\t40\t20\t93.0\t(Zn)
5\t1\t1\t1\t3\t3\t300\t70\t50\t20\t41.0\t1.0%
"""
"""A table as tesseract 5 writes it, invented."""


def test_unsure_figure_is_asked_and_left_out() -> None:
    text, questions = text_of(words_of(TABLE))
    assert text.splitlines()[1] == "Iron (Fe)   5.0%"
    assert text.splitlines()[2] == f"Zinc (Zn)   {UNSURE}.{UNSURE}%"
    assert len(questions) == 1 and "line 3" in questions[0] and "1.0%" in questions[0]
    pasted = read_paste(text, "Read from a picture, invented")
    assert pasted.form["guarantee"] == {"iron": 5.0}
    assert [entry["line"] for entry in pasted.form["unread"]] == [3]


def _reading(*rows: tuple[str, float]) -> list[Word]:
    """One line of words, each with its confidence, in the same places."""
    return [
        Word(text, sure, (1, 1, 1), 100.0 * i, 90.0, 20.0) for i, (text, sure) in enumerate(rows)
    ]


def test_readings_that_agree_are_sure_and_others_are_asked() -> None:
    """One reading alone was not sure of 1.0%; two that differ over 5.0% are asked about."""
    first = _reading(("Zinc", 96.0), ("1.0%", 41.0), ("1ron", 30.0), ("5.0%", 95.0))
    again = _reading(("Zinc", 90.0), ("1.0%", 55.0), ("Iron", 92.0), ("50%", 60.0))
    text, questions = text_of(first, [again])
    assert text.startswith("Zinc 1.0%") and text.endswith(f"{UNSURE}.{UNSURE}%")
    assert any("`5.0%` or `50%`" in question for question in questions)
    assert text_of(first)[0].split()[1] == f"{UNSURE}.{UNSURE}%"


@pytest.mark.parametrize(
    ("read", "right"),
    [("(P205)", "(P2O5)"), ("K20", "K2O"), ("K2QO", "K2O"), ("S03", "SO3"), ("Ca0", "CaO")],
)
def test_a_nought_in_a_formula_is_the_letter(read: str, right: str) -> None:
    row = TABLE.splitlines()[0] + f"\n5\t1\t1\t1\t1\t1\t10\t10\t90\t20\t40.0\t{read}\n"
    (word,) = words_of(row)
    assert word.text == right and word.figures == ()


@pytest.mark.parametrize("degrees", [-3.0, 0.0, 2.0])
def test_a_tilted_picture_is_levelled(degrees: float, tmp_path: Path) -> None:
    """Twelve dark bars stand for lines of text, 20 pixels high, in falling light."""
    light = np.linspace(250.0, 170.0, 600)[None, :] * np.ones((480, 1))
    for top in range(30, 450, 36):
        light[top : top + 20, 60:540:3] *= 0.2
    picture = Image.fromarray(light.astype(np.uint8)).rotate(degrees, fillcolor=210)
    ink = _ink(picture)
    assert _tilt(ink) == pytest.approx(-degrees, abs=0.5)
    level = _ink(picture.rotate(_tilt(ink), fillcolor=210))
    assert _letters_px(level) == pytest.approx(20.0, abs=4.0)


def test_what_to_install_is_said(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    picture = tmp_path / "label.png"
    picture.write_bytes(b"no picture")
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(InputProblem, match="apt install tesseract-ocr"):
        read_photo(picture)
    with pytest.raises(InputProblem, match="no such file"):
        read_photo(tmp_path / "missing.png")


def test_what_is_no_picture_is_refused(tmp_path: Path) -> None:
    """With or without tesseract, the message says what to do."""
    picture = tmp_path / "label.png"
    picture.write_bytes(b"no picture")
    wanted = "no words can be read" if shutil.which("tesseract") else "apt install tesseract-ocr"
    with pytest.raises(InputProblem, match=wanted):
        read_photo(picture)
