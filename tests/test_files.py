"""Files people write: one table asks, writes, mends them; the shed gives what is left out."""

from __future__ import annotations

import json
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


def test_what_no_question_asks_for_stays(tmp_path: Path) -> None:
    waters = '[{file = "soft.toml", share = "60 %"}, {file = "hard-alkaline.toml", share = "rest"}]'
    path = tmp_path / "feed.toml"
    text = COMMENTED.replace('water = "soft"', f"water = {waters}")
    rest = '[[add]]\nleftover = "old.toml"  # last week\namount = "5 gal"\nage = "1 day"\n\n'
    text = text.replace("# first\n", f'tank = "50 gal"\n\n{rest}# first\n')
    (tmp_path / "old.toml").write_text(COMMENTED)
    path.write_text(text)
    plain = tmp_path / "plain.toml"
    plain.write_text(COMMENTED.replace('water = "soft"', 'tank = "50 gal"'))
    done = run("edit", str(path), answers=enters("mix", plain, carrier="3 gal/1000 sq ft"))
    assert done.exit_code == Exit.OK, done.stderr
    assert path.read_text() == text.replace("2 gal", "3 gal")


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


def test_a_name_taken_out_takes_its_figure_along(tmp_path: Path) -> None:
    path = tmp_path / "kelp.toml"
    text = 'name = "Kelp"\nsources = ["urea"]\n\n[guarantee]\n"urea nitrogen" = 10.0\n\n[also]\n'
    path.write_text(text + '"humic acid" = 6.0\n"citric acid" = 2.0\n')
    lines = enters("product", path, also_1_name="-")
    assert run("edit", str(path), answers=lines).exit_code == Exit.OK
    assert tomllib.loads(path.read_text())["also"] == {"citric acid": 2.0}


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


def test_new_mix_says_what_the_shed_gives_and_leaves_it_out(
    shed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(shed / "mixes")
    answers = ["", "", "", "", "", "", "", "blue", "", "", ""]
    done = run("new", "mix", "Two", answers=answers)
    assert done.exit_code == Exit.OK, done.stderr
    for words in ("Enter = waters/well.toml", "Enter = 50 F", "Enter = your sprayer's"):
        assert words in done.stderr
    raw = tomllib.loads((shed / "mixes" / "two.toml").read_text())
    assert set(raw) == {"name", "add"}


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


CATCH = ["calibrate", "--catch", "22 fl oz, 22.5 fl oz, 21.8 fl oz", "--time", "30 s"]
BOOM = [*CATCH, "--width", "20 in", "--speed", "4 mph"]


def test_a_catch_test_is_kept_as_a_sprayer(shed: Path) -> None:
    path = shed / "sprayers" / "new.toml"
    done = run(
        *BOOM, "--out", str(path), "--name", "New boom", "--tank", "50 gal", "--screen", "50 mesh",
        "--agitation", "return", "--sump", "1 qt",
    )  # fmt: skip
    assert done.exit_code == Exit.OK, done.stderr
    sprayer = read_sprayer(path)
    assert (sprayer.name, sprayer.finest_screen) == ("New boom", (50.0, "mesh"))
    # GPM x 5940 / (mph x inches) = gal/acre, extension sprayer calibration guides.
    gallons_per_acre = (22.1 / 128 / 0.5) * 5940 / (4 * 20)
    assert sprayer.carrier_L_per_m2 == pytest.approx(gallons_per_acre * 9.353958e-4, rel=2e-3)
    assert sprayer.how == "catch test by speed, 3 nozzles" and sprayer.when is not None
    text = path.read_text()
    path.write_text(text.replace('tank = "50 gal"', 'tank = "50 gal"  # to the weld'))
    again = run(*BOOM[:2], "24 fl oz", *BOOM[3:], "--out", str(path))
    assert again.exit_code == Exit.OK, again.stderr
    assert "# to the weld" in path.read_text()
    assert read_sprayer(path).carrier_L_per_m2 > 1.05 * sprayer.carrier_L_per_m2


def test_a_worn_nozzle_is_not_kept_unless_anyway(tmp_path: Path) -> None:
    path = tmp_path / "boom.toml"
    worn = ["calibrate", "--catch", "22 fl oz, 30 fl oz, 22 fl oz", *BOOM[3:], "--out", str(path)]
    with pytest.raises(InputProblem, match="nozzle"):
        CliRunner().invoke(whole_app(), worn, catch_exceptions=False)
    assert not path.exists()
    assert run(*worn, "--anyway").exit_code == Exit.OK
    assert path.exists()


def test_a_shelf_takes_the_sheds_tank_and_assumes_none(
    shed: Path, monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory
) -> None:
    (shed / "products" / "iron.toml").write_text((DEMO / "products" / "iron-edta.toml").read_text())
    monkeypatch.chdir(shed)
    few = ["shelf", "--draws", "16", "--no-cache", "--json"]
    done = run(*few)
    assert done.exit_code == Exit.OK, done.stderr
    assert "From your shed: spray volume 2 gal/1000 sq ft of Boom; water Well" in done.stderr
    same = run(
        *few, "--carrier", "2 gal/1000 sq ft", "--water", "waters/well.toml", "--temperature",
        "50 F",
    )  # fmt: skip
    ours, theirs = json.loads(done.stdout), json.loads(same.stdout)
    assert ours["pairs"] and ours["pairs"] == theirs["pairs"]
    monkeypatch.chdir(tmp_path_factory.mktemp("bare"))
    with pytest.raises(InputProblem, match="no spray volume") as told:
        CliRunner().invoke(whole_app(), [*few, "--in", "demo"], catch_exceptions=False)
    assert "--carrier" in told.value.problems[0].instead


LABELS = {
    "Calcium feed": """\
GUARANTEED ANALYSIS
Total Nitrogen (N) 8.0%
  8.0% Nitrate Nitrogen
Calcium (Ca) 11.0%
Derived from: calcium nitrate
Weight per gallon 12.1 lb
Apply 4 fl oz per 1,000 sq ft
""",
    "Iron feed": """\
GUARANTEED ANALYSIS
Total Nitrogen (N) 1.0%
  1.0% Ammoniacal Nitrogen
Iron (Fe) 5.0%
  5.0% Chelated Iron
Derived from: ammonium iron EDTA
Weight per gallon 10.5 lb
Apply 2 fl oz per 1,000 sq ft
""",
}


def test_from_an_empty_folder_to_the_first_forecast_takes_at_most_nine_answers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two labels are pasted; counted is whatever else somebody has to type besides commands."""
    monkeypatch.chdir(tmp_path)
    typed = []
    for name, file in (("Calcium feed", "calcium.toml"), ("Iron feed", "iron.toml")):
        typed += [name, file]
        done = CliRunner().invoke(
            whole_app(), ["label", "--paste", "-", "--name", name, "--out", file], LABELS[name]
        )
        assert done.exit_code == Exit.OK, done.stderr
    jugs, carrier = ["calcium", "iron"], "2 gal/1000 sq ft"
    typed += [*jugs, carrier]
    done = run(
        "forecast", *(word for jug in jugs for word in ("--add", jug)), "--carrier", carrier,
        "--draws", "16", "--json",
    )  # fmt: skip
    assert done.exit_code == Exit.OK, done.stderr
    told = json.loads(done.stdout)
    assert told["answer"] in ("clear", "haze", "curdle", "cannot tell")
    assert len([n for n in told["notes"] if "usual rate taken" in n]) == 2
    assert typed == [
        "Calcium feed", "calcium.toml", "Iron feed", "iron.toml", "calcium", "iron",
        "2 gal/1000 sq ft",
    ]  # fmt: skip
    assert len(typed) <= 9


# ------------------------------------------------------------ what outputs leave alone

MIX = 'name = "One"\ncarrier = "2 gal/1000 sq ft"\n[[add]]\nproduct = "urea-liquor"\n'
FEW = ["why", "one.toml", "--draws", "16"]


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "one.toml").write_text(MIX)
    (tmp_path / "link.html").symlink_to(tmp_path / "one.toml")
    (tmp_path / "mine.html").write_text("<!doctype html>\n<p>mine</p>\n")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def refused(*arguments: str) -> str:
    with pytest.raises(InputProblem) as told:
        CliRunner().invoke(whole_app(), list(arguments), catch_exceptions=False)
    return str(told.value)


@pytest.mark.parametrize("name", ["one.toml", "link.html", "../{}/one.toml"])
@pytest.mark.parametrize("force", [[], ["--force"]])
def test_an_input_is_never_written_over(here: Path, name: str, force: list[str]) -> None:
    told = refused(*FEW, "--html", name.format(here.name), *force)
    assert "wrong:" in told
    assert (here / "one.toml").read_text() == MIX
    assert (here / "link.html").is_symlink()


def test_a_page_replaces_an_earlier_page_and_no_other_file_without_force(here: Path) -> None:
    mine = (here / "mine.html").read_bytes()
    assert "no earlier answer" in refused(*FEW, "--html", "mine.html")
    assert (here / "mine.html").read_bytes() == mine
    assert run(*FEW, "--html", "page.html").exit_code == Exit.OK
    assert run(*FEW, "--html", "page.html").exit_code == Exit.OK
    assert run(*FEW, "--html", "mine.html", "--force").exit_code == Exit.OK
    assert (here / "mine.html").read_bytes() != mine


def test_a_curve_does_not_replace_a_page_nor_a_product_file_a_product_file(here: Path) -> None:
    ph = ["ph", "one.toml", "--to", "5", "--with", "citric acid", "--draws", "16"]
    assert run(*ph, "--svg", "curve.svg", "--html", "page.html").exit_code == Exit.OK
    assert run(*ph, "--svg", "curve.svg").exit_code == Exit.OK
    page = (here / "page.html").read_bytes()
    assert "no earlier answer" in refused(*ph, "--svg", "page.html")
    assert (here / "page.html").read_bytes() == page
    (here / "label.txt").write_text(LABELS["Iron feed"])
    paste = ["label", "--paste", "label.txt", "--out"]
    assert run(*paste, "iron.toml").exit_code == Exit.OK
    (here / "iron.toml").write_text(f"# checked by hand\n{(here / 'iron.toml').read_text()}")
    assert "no earlier answer" in refused(*paste, "iron.toml")
    assert (here / "iron.toml").read_text().startswith("# checked by hand")
    assert "it is read for this answer" in refused(*paste, "label.txt", "--force")
    assert run(*paste, "iron.toml", "--force").exit_code == Exit.OK
