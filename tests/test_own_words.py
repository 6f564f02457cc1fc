"""The users' own words for looks and times, and what a sprayer's own screen and stirring mean."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from chem.cli.main import whole_app
from chem.errors import InputProblem
from chem.forecast import SEEN_WORDS, Study, forecast, read_after, read_seen
from chem.reference import read_toml
from chem.sheets.blocks import as_text
from chem.sheets.forecast import forecast_sheet
from chem.tank import Sprayer, read_mix

EXAMPLES = Path(__file__).parent.parent / "examples"


def test_every_word_of_the_list_has_its_own_words_and_none_means_two() -> None:
    table = read_toml("seen_words.toml")
    assert set(table["looks"]) == set(SEEN_WORDS)
    own = [w for every in table["looks"].values() for w in every]
    assert len(own) == len(set(own))
    assert not set(own) & set(table["asked"])
    for word, every in table["looks"].items():
        for one in every:
            assert read_seen(one, "test") == (word,)
            assert read_seen(one.upper(), "test") == (word,)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("milky", ("haze",)),
        ("it went milky, with white sand on the bottom", ("haze", "grit")),
        ("curds and oil drops", ("flakes", "oil")),
        ("cottage cheese", ("flakes",)),
        ("flakes, flakes gel", ("flakes", "gel")),
        ("salt on the bottom", ("grit",)),
    ],
)
def test_looks_in_the_users_own_words(text: str, words: tuple[str, ...]) -> None:
    assert read_seen(text, "test") == words


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("scum", "may be `layers` or `oil`: which?"),
        ("white rings", "which?"),
        ("milkyy", "did you mean `milky`"),
        ("it was", "no look is told"),
        ("clear, gel", "one or the other"),
    ],
)
def test_what_may_mean_two_things_is_asked(text: str, words: str) -> None:
    with pytest.raises(InputProblem) as caught:
        read_seen(text, "test")
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("right away", 0.0), ("At once", 0.0), ("0", 0.0), ("5", 300.0), ("2h", 7200.0),
     ("overnight", 43200.0), ("15 min", 900.0)],
)  # fmt: skip
def test_times_in_the_users_own_words(text: str, seconds: float) -> None:
    assert read_after(text, "test") == seconds


def test_the_command_takes_them() -> None:
    done = CliRunner().invoke(
        whole_app(),
        ["diagnose", str(EXAMPLES / "curdles.toml"), "--seen", "white curds", "--after",
         "right away", "--draws", "16"],
    )  # fmt: skip
    assert done.exit_code == 0 and "Most likely" in done.stdout


BOOM = Sprayer("boom", 0.08, 0.03, "2 gal/1000 sq ft")


@pytest.mark.parametrize(
    ("screen", "finer"),
    [((50.0, "mesh"), False), ((80.0, "mesh"), True), ((30.0, "mesh"), False),
     ((300.0, "micron"), False), ((180.0, "micron"), True)],
)  # fmt: skip
def test_a_screen_finer_than_50_mesh_is_not_judged(screen: tuple[float, str], finer: bool) -> None:
    """50 mesh opens 300 micrometres, 80 mesh 180 (ASTM E11: value from memory)."""
    assert replace(BOOM, finest_screen=screen).finer_than_judged == finer
    mix = read_mix(EXAMPLES / "water-decides.toml")
    found = forecast(mix, study=Study(32, 1))
    assert found.answer == "haze"
    with_screen = replace(mix, sprayer=replace(BOOM, finest_screen=screen))
    said = " ".join(as_text(forecast_sheet(replace(found, mix=with_screen))).split())
    assert ("treat haze as a stop" in said) == finer
    assert ("Don't spray it as it is" in said) == finer
    assert (f"{screen[0]:g} {screen[1]}" in said) and "Your sprayer".upper() in said


def test_without_agitation_grit_counts_as_settled() -> None:
    mix = replace(read_mix(EXAMPLES / "stays-clear.toml"), sprayer=replace(BOOM, agitation="none"))
    said = " ".join(as_text(forecast_sheet(forecast(mix, study=Study(16, 1)))).split())
    assert "premix each product in a bucket" in said and "grit counts as settled" in said
    stirred = replace(mix, sprayer=replace(BOOM, agitation="return"))
    assert "bucket" not in as_text(forecast_sheet(forecast(stirred, study=Study(16, 1))))
