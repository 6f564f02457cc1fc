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


ODDS = r"(\d+ in \d+|under 1 in 20|over 19 in 20)"
WITH_NOTEBOOK = {40, 42}
"""A season's list: the notebook's."""
FACTS: dict[int, tuple[str, ...]] = {
    1: (r"invented: \w+", ODDS, "BETTER KEPT APART", "STAYS CLEAR"),
    2: (r"cloud|curdle", ODDS, "in place of Iron", "fl oz/1000 sq ft", "L/ha"),
    3: ("In 1 kg of it", "sulfate", "what is not listed"),
    4: (r"N: .* lb/gal \(", r"P2O5: .* a lb", r"K2O: .* a lb"),
    5: (r"\d of \d %", "EDTA", "plain salt"),
    6: (r"20 F \(-6.7 C\)", r"below about .* F \(", "comes out first is urea", ODDS),
    7: ("hardness|alkalinity|pH", "phosphate"),
    8: ("soil test", r"17-2103", "December 1 to April 1", "year", "local authority"),
    9: ("curdle", ODDS, "thiosulfate", "as much soluble potash"),
    10: (r"50 gal \(189 L\)", "water, half of it", "water to the mark", "spreader", r"fl oz \("),
    11: ("Will curdle", "block the screens", ODDS),
    12: ("calcium phosphate", "limit", r"oz wt/gal \(", "starts to show"),
    13: ("order", r"1 \w", r"2 \w", "water to the mark", ODDS),
    14: (r"About \d\.\d, likely \d\.\d to \d\.\d",),
    15: ("citric acid", "acetic acid", r"in 50 gal \(189 L\)"),
    16: ("before the dose", "after it", "Copper", "calcium citrate"),
    17: (r"--carrier", rf"24 hours.*{ODDS}.*24 hours.*{ODDS}"),
    18: ("calcium of the water meets the phosphate", "Stays clear", ODDS),
    19: ("--coldest 40F", rf"24 hours.*{ODDS}.*24 hours.*{ODDS}"),
    20: (r"\d mL", "At once", "After 15 min", "After 4 h", "After 24 h|overnight"),
    21: ("one clear liquid", "50-mesh", "strip should read"),
    22: ("N ", "P2O5", "Fe", "lb/1000 sq ft", "kg/ha"),
    23: ("Fizzes", "Never close the jar", r"mL of gas", "Outdoors"),
    24: ("Measure the pH", "Ask the maker", r"% of the"),
    25: ("Most likely calcium phosphate", "Calcium chloride", "it was the third", ODDS),
    26: (f"Screens stay open: {ODDS}", "jar"),
    27: ("stop adding", "As much water again", "[Aa]cid", "jar of it", "No bleach"),
    28: ("Fizzes", "Ammonia", "Lid open", r"ppm over the tank \(limit 25 ppm\)", "degrees"),
    29: (
        "At its worst at step 2",
        "calcium",
        "fallen out by then may stay",
        "Citric acid",
        "Waiting",
    ),
    30: ("8.4 is .* above", r"likely \d", "Without|With twice|With half|water alone", "strip"),
    31: (r"Clear for about \d+ (h|min)|may show within a minute", "spray"),
    32: ("Most likely calcium sulfate", "Ca of", "SO4 of", ODDS),
    33: ("As much water again", "Citric acid", "go back"),
    34: ("Screens stay open", "Aluminium", "Stainless steel", "nozzles", "5 gal", "min"),
    35: ("labelled site", "licensed collector", "never|none", "local authority"),
    36: (r"\d+ % of the calcium", r"\d+ % of the phosphate", "P2O5"),
    37: ("2 passes", "rain", "citric acid", "in place of", "Pour|pour"),
    38: ("as named", "sodium chloride", "Made from", "same label"),
    39: ("Stays clear", "cloud", "soft.toml", ODDS),
    41: (r"20 F \(-6.7 C\)", "Salts out|Ice comes", ODDS),
    43: ("3 years", "COMAR 15.20.10.13", "site, area, date", "local authority"),
    44: ("with \\d+ of \\d+", "meets the carbonate", "in place of"),
}
"""What a whole answer must hold, written before it; by the question's number."""


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


@pytest.mark.parametrize("number", range(1, 45))
def test_every_answer_holds_its_facts(number: int) -> None:
    body = " ".join(sections()[number][1].split())
    whole = number not in WITH_NOTEBOOK
    assert (number in FACTS) == whole
    if whole:
        assert questions.NOT_YET not in body
        for fact in FACTS[number]:
            assert re.search(fact, body), fact


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
