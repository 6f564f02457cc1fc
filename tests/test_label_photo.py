"""Pictures of labels: unsure figures are asked, never taken; whole pictures where tesseract is."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from chem.errors import InputProblem
from chem.label.paste import read_paste
from chem.label.photo import UNSURE, read_photo, text_of, words_of

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
