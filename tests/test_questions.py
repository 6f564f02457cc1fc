"""The page of questions: complete, in order, and what the program prints today."""

from __future__ import annotations

import re

import pytest
import questions
from questions import GROUPS, NOT_OURS, PAGE, ROOT, Question, Show, answer, excerpt
from typer.main import get_command

from chem.cli.main import whole_app

ALL = [q for group in GROUPS.values() for q in group]
TEXT = PAGE.read_text(encoding="utf-8")
RUN = (0, 2, 6, 9, 19, 22, 42 - 1)
"""Questions whose commands are run: shelf, labels, tank, jar, gas, what was seen."""


def sections() -> dict[int, tuple[str, str]]:
    """Number -> (question, what follows)."""
    found = re.findall(r"^### (\d+)\. (.+?)\n\n(.*?)(?=\n##|\Z)", TEXT, flags=re.M | re.S)
    return {int(n): (text, body.strip()) for n, text, body in found}


def test_every_question_stands_on_the_page_in_order() -> None:
    assert len(ALL) == 44
    assert [text for text, _ in sections().values()] == [q.text for q in ALL]
    assert list(sections()) == list(range(1, 45))
    assert re.findall(r"^## (.+)$", TEXT, flags=re.M) == list(GROUPS)


@pytest.mark.parametrize(("number", "question"), list(enumerate(ALL, start=1)))
def test_each_is_answered_by_a_command_or_left_to_an_authority(
    number: int, question: Question
) -> None:
    body = sections()[number][1]
    assert bool(question.shown) != bool(question.not_ours)
    if question.not_ours:
        assert body == f"{NOT_OURS}: {question.not_ours}."
        return
    blocks = re.findall(r"```console\n\$ jarsight (.+?)\n(.+?)\n```", body, flags=re.S)
    assert list(dict.fromkeys(s.command for s in question.shown)) == [c for c, _ in blocks]
    for _, printed in blocks:
        assert all(len(line) <= 60 for line in printed.splitlines())
    for show in question.shown:
        assert show.block in body
    if question.not_yet:
        assert f"{questions.NOT_YET}: {question.not_yet}" in body


@pytest.mark.parametrize("index", RUN, ids=lambda i: ALL[i].text)
def test_the_page_shows_what_the_program_prints(index: int) -> None:
    assert "\n".join(answer(ALL[index])) == sections()[index + 1][1]


def test_the_table_names_every_question_and_what_answers_it() -> None:
    assert questions.table() in TEXT
    rows = [line for line in questions.table().splitlines()[2:]]
    assert len(rows) == 44
    asked = [n for n, q in enumerate(ALL, start=1) if q.not_ours]
    assert [n for n, row in enumerate(rows, start=1) if "local authority" in row] == asked


def test_commands_and_files_exist() -> None:
    known = get_command(whole_app()).commands  # type: ignore[attr-defined]
    for show in (s for q in ALL for s in q.shown):
        assert show.command.split()[0] in known
        for file in re.findall(r"examples/\S+\.toml", show.command):
            assert (ROOT / file).is_file()


def test_every_example_is_asked_about_or_answers_for_itself() -> None:
    """A mix that no question uses is still one kind of answer."""
    used = set(re.findall(r"examples/(\S+)\.toml", TEXT))
    there = {p.stem for p in (ROOT / "examples").glob("*.toml")}
    assert used <= there
    assert there - used <= {"cannot-tell", "kelp-and-calcium", "stays-clear"}


def test_an_answer_that_is_not_printed_is_an_error() -> None:
    printed = "Name\n====\nStays clear.\n\nLOOK\n- one: haze\n  and grit\n- two: gel\n\nEND\n"
    assert excerpt(printed, Show("x")) == ["Stays clear."]
    assert excerpt(printed, Show("x", "LOOK", ("grit",))) == ["LOOK", "- one: haze", "  and grit"]
    assert excerpt("Kept in here\n", Show("x")) == ["Kept in here"]
    for show in (Show("x", "LOOK", ("foam",)), Show("x", "PH")):
        with pytest.raises(ValueError, match=r"nothing about|is not in list"):
            excerpt(printed, show)
