"""Files people write: one table asks, writes, mends them; the shed gives what is left out."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from chem.cli.exits import Exit
from chem.cli.kinds import FORMS, kind_of, what_is
from chem.cli.main import whole_app
from chem.cli.new import SHELVES
from chem.errors import InputProblem
from chem.files import (
    MixForm,
    ProductForm,
    WaterForm,
    answers_of,
    find_shed,
    load_file,
    raw_of,
    rewritten,
    save,
)
from chem.files.table import Answers, asked
from chem.tank import read_mix, read_sprayer

EXAMPLES = Path("examples").resolve()
DEMO = Path("data/demo").resolve()
EVERY = [
    *((ProductForm, p) for p in sorted((DEMO / "products").glob("*.toml"))),
    *((WaterForm, p) for p in sorted((DEMO / "waters").glob("*.toml"))),
    *((MixForm, EXAMPLES / f"{name}.toml") for name in ("curdles", "five-products")),
]
L_PER_GAL, M2_PER_1000_SQ_FT = 3.785411784, 92.90304
"""NIST Handbook 44, Appendix C."""


def run(*arguments: str, answers: Sequence[str] = ()) -> Any:
    text = "".join(f"{line}\n" for line in answers)
    return CliRunner().invoke(whole_app(), list(arguments), input=text)


def enters(kind: str, path: Path, **changed: str) -> list[str]:
    """Enter to every question put with a file's own answers, but to those that are changed."""
    answers: Answers = answers_of(kind_of(kind, path.parent).form, tomllib.loads(path.read_text()))
    lines = []
    for one in asked(kind_of(kind, path.parent).form):
        if one.when(answers):
            lines.append(changed.pop(one.key.replace(".", "_"), ""))
    assert not changed, changed
    return lines


# ------------------------------------------------------------ the writer


@pytest.mark.parametrize(("form", "path"), EVERY, ids=lambda v: getattr(v, "stem", ""))
def test_a_file_written_again_is_the_same_to_the_byte(form: Any, path: Path) -> None:
    text = path.read_text()
    raw = tomllib.loads(text)
    again = raw_of(form, answers_of(form, raw), raw)
    assert again == raw
    assert rewritten(again, text) == text
    assert tomllib.loads(rewritten(raw_of(form, answers_of(form, raw)))) == raw


COMMENTED = """\
# mine
name = "Feed"   # the usual one
water = "soft"
carrier = "2 gal/1000 sq ft"

# first
[[add]]
product = "urea-liquor"   # the blue jug
rate = "5 fl oz/1000 sq ft"

# second
[[add]]
product = "iron-edta"

[adjuvant]
name = "spreader"  # half empty
ph_at_most = 8.0
"""


def test_values_change_comments_and_order_stay() -> None:
    raw = tomllib.loads(COMMENTED)
    raw["carrier"] = "3 gal/1000 sq ft"
    raw["add"][1]["rate"] = "2 fl oz/1000 sq ft"
    raw["adjuvant"]["ph_at_most"] = 7.5
    after = COMMENTED.replace("2 gal", "3 gal").replace("8.0", "7.5")
    after = after.replace('"iron-edta"\n', '"iron-edta"\nrate = "2 fl oz/1000 sq ft"\n')
    assert rewritten(raw, COMMENTED) == after


@settings(max_examples=16, derandomize=True, deadline=None)
@given(st.permutations(range(4)), st.integers(0, 4))
def test_jugs_poured_in_another_order_keep_their_comments(order: list[int], kept: int) -> None:
    names = ["urea-liquor", "iron-edta", "new one", "another"]
    raw = tomllib.loads(COMMENTED)
    raw["add"] = [{"product": names[i]} for i in order[: kept + 1]]
    raw["add"] = [
        r | ({"rate": "1 qt/acre"} if r["product"] == "urea-liquor" else {}) for r in raw["add"]
    ]
    text = rewritten(raw, COMMENTED)
    assert tomllib.loads(text) == raw
    assert ("# the blue jug" in text) == ("urea-liquor" in [r["product"] for r in raw["add"]])
    assert "# half empty" in text and "\n\n\n" not in text


def test_a_file_changed_meanwhile_is_not_written_over_and_both_are_shown(tmp_path: Path) -> None:
    path = tmp_path / "mix.toml"
    path.write_text(COMMENTED)
    _, read = load_file(path, "mix")
    theirs = COMMENTED.replace("3 fl oz", "4 fl oz").replace("8.0", "6.0")
    path.write_text(theirs)
    ours = COMMENTED.replace("8.0", "7.0")
    with pytest.raises(InputProblem) as told:
        save(path, ours, lambda p: None, over=read.hash)
    wrong = told.value.problems[0].wrong
    assert "-ph_at_most = 6.0" in wrong and "+ph_at_most = 7.0" in wrong
    assert path.read_text() == theirs
    path.write_text(COMMENTED)
    save(path, ours, lambda p: None, over=read.hash)
    assert path.read_text() == ours


def test_a_problem_carries_its_key(tmp_path: Path) -> None:
    path = tmp_path / "mix.toml"
    path.write_text(COMMENTED.replace("2 gal/1000", "2 quibbles/1000").replace("5 fl oz", "5 oz"))
    with pytest.raises(InputProblem) as told:
        read_mix(path)
    assert [p.key for p in told.value.problems] == ["carrier", "add[1].rate"]


@pytest.mark.parametrize("name", list(FORMS))
def test_the_schema_tells_what_each_key_is_for(name: str) -> None:
    form = FORMS[name]
    told = form.model_json_schema()["properties"]
    for one in asked(form):
        if len(one.path) == 1 and one.path[0] in told and one.ask.example:
            assert told[str(one.path[0])].get("examples"), one.key


# ------------------------------------------------------------ edit


def test_edit_changes_one_line_and_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "feed.toml"
    path.write_text(COMMENTED)
    done = run("edit", str(path), answers=enters("mix", path, carrier="3 gal/1000 sq ft"))
    assert done.exit_code == Exit.OK, done.stderr
    assert "[2 gal/1000 sq ft]" in done.stderr
    assert path.read_text() == COMMENTED.replace("2 gal", "3 gal")
    assert "carrier: 2 gal/1000 sq ft -> 3 gal/1000 sq ft" in done.stdout


def test_edit_goes_back_to_the_line_before(tmp_path: Path) -> None:
    path = tmp_path / "feed.toml"
    path.write_text(COMMENTED)
    lines = enters("mix", path)
    lines[2:2] = ["9 gal/1000 sq ft", "back", "3 gal/1000 sq ft"]
    del lines[5]
    assert run("edit", str(path), answers=lines).exit_code == Exit.OK
    assert path.read_text() == COMMENTED.replace("2 gal", "3 gal")


@pytest.mark.parametrize(("form", "path"), EVERY, ids=lambda v: getattr(v, "stem", ""))
def test_enter_alone_leaves_every_file_as_it_was(form: Any, path: Path, tmp_path: Path) -> None:
    copy = tmp_path / path.name
    copy.write_bytes(path.read_bytes())
    kind = what_is(copy, tomllib.loads(copy.read_text()))
    assert FORMS[kind] is form
    done = run("edit", str(copy), answers=enters(kind, copy))
    assert done.exit_code == Exit.OK, done.stderr
    assert copy.read_bytes() == path.read_bytes()


def test_what_was_answered_when_somebody_stops_is_kept_and_taken_up(tmp_path: Path) -> None:
    path = tmp_path / "feed.toml"
    path.write_text(COMMENTED)
    lines = enters("mix", path, carrier="3 gal/1000 sq ft")
    done = run("edit", str(path), answers=lines[:4])
    assert done.exit_code == Exit.INPUT
    assert path.read_text() == COMMENTED
    assert "kept in" in done.stderr
    again = run("edit", str(path), answers=[""] * len(lines))
    assert again.exit_code == Exit.OK, again.stderr
    assert path.read_text() == COMMENTED.replace("2 gal", "3 gal")
    assert [p.name for p in tmp_path.iterdir()] == ["feed.toml"]


# ------------------------------------------------------------ shed and sprayer


@pytest.fixture
def shed(tmp_path: Path) -> Path:
    """A shed with a water, two sprayers, a usual adjuvant and a mix that leaves all of it out."""
    for name in SHELVES:
        (tmp_path / name).mkdir()
    (tmp_path / "shed.toml").write_text(
        'water = "waters/well.toml"\nsprayers = ["sprayers/boom.toml", "sprayers/knapsack.toml"]\n'
        'products = "products"\ntemperature = "50 F"\nunits = "metric"\n\n'
        '[adjuvant]\nname = "spreader"\nph_at_most = 6.5\n'
    )
    (tmp_path / "waters" / "well.toml").write_text('name = "Well, invented"\nph = 7.4\n')
    (tmp_path / "sprayers" / "boom.toml").write_text(
        'name = "Boom"\ncarrier = "2 gal/1000 sq ft"\ntank = "100 gal"\nfinest_screen = "50 mesh"\n'
        'agitation = "return"\nstays_in_sump = "1 qt"\n'
    )
    (tmp_path / "sprayers" / "knapsack.toml").write_text(
        'name = "Knapsack"\ncarrier = "400 L/ha"\ntank = "16 L"\nagitation = "none"\n'
    )
    (tmp_path / "products" / "blue.toml").write_text(
        (DEMO / "products" / "urea-liquor.toml").read_text()
    )
    (tmp_path / "mixes" / "one.toml").write_text('name = "One"\n[[add]]\nproduct = "blue"\n')
    return tmp_path


def test_what_a_mix_leaves_out_comes_from_the_shed_and_is_said(shed: Path) -> None:
    mix = read_mix(shed / "mixes" / "one.toml")
    assert mix.water.name == "Well, invented"
    assert mix.carrier_L_per_m2 == pytest.approx(2 * L_PER_GAL / M2_PER_1000_SQ_FT, rel=1e-6)
    assert mix.tank_L == pytest.approx(100 * L_PER_GAL, rel=1e-6)
    assert mix.t_celsius == pytest.approx(10.0)
    assert mix.adjuvant is not None and mix.adjuvant.ph_high == 6.5
    assert mix.sprayer is not None and mix.sprayer.finest_screen == (50.0, "mesh")
    (note,) = (n for n in mix.notes if n.startswith("From your shed"))
    for word in ("Well, invented", "2 gal/1000 sq ft of Boom", "50 F", "spreader"):
        assert word in note
    assert [f.what for f in mix.files] == ["mix", "shed", "sprayer", "water", "product"]


def test_what_a_mix_says_itself_stands(shed: Path) -> None:
    path = shed / "mixes" / "two.toml"
    path.write_text(
        'name = "Two"\nwater = "soft"\ncarrier = "1 gal/1000 sq ft"\ntank = "50 gal"\n'
        'temperature = "60 F"\n[[add]]\nproduct = "blue"\n[adjuvant]\nname = "oil"\n'
    )
    mix = read_mix(path)
    assert mix.water.name == "Soft town water, invented"
    assert mix.carrier_L_per_m2 == pytest.approx(L_PER_GAL / M2_PER_1000_SQ_FT, rel=1e-6)
    assert mix.adjuvant is not None and mix.adjuvant.name == "oil"
    assert not [n for n in mix.notes if n.startswith("From your shed")]


@pytest.mark.parametrize("name", ["knapsack", "Knap", "knapsack.toml"])
def test_another_sprayer_by_any_part_of_its_name(shed: Path, name: str) -> None:
    mix = read_mix(shed / "mixes" / "one.toml", sprayer=name)
    assert mix.carrier_L_per_m2 == pytest.approx(0.04)
    assert mix.tank_L == pytest.approx(16.0)


def test_a_sprayer_that_is_not_there_is_told_with_those_that_are(shed: Path) -> None:
    with pytest.raises(InputProblem, match="one of Boom, Knapsack"):
        read_mix(shed / "mixes" / "one.toml", sprayer="gun")


def test_an_entry_is_read_again_out_of_its_own_texts(shed: Path) -> None:
    from chem.notebook.entry import kept_mix

    mix = read_mix(shed / "mixes" / "one.toml")
    kept = kept_mix(mix)
    for path in sorted(shed.rglob("*.toml")):
        path.unlink()
    assert kept.reread() == mix


def test_without_shed_or_carrier_a_mix_asks_for_it(tmp_path: Path) -> None:
    path = tmp_path / "one.toml"
    path.write_text('name = "One"\n[[add]]\nproduct = "urea-liquor"\n')
    assert find_shed(tmp_path) is None
    with pytest.raises(InputProblem, match="no sprayer stands in a shed") as told:
        read_mix(path)
    assert told.value.problems[0].key == "carrier"


def test_a_sprayer_file_tells_what_is_wrong_with_it(tmp_path: Path) -> None:
    path = tmp_path / "boom.toml"
    path.write_text('name = "Boom"\ncarrier = "2 gal"\nfinest_screen = "fine"\n')
    with pytest.raises(InputProblem) as told:
        read_sprayer(path)
    assert [p.key for p in told.value.problems] == ["carrier", "finest_screen"]
