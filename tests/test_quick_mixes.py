"""Mixes without a file, and files with changes: names by a clear part, near misses offered."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.main import get_command
from typer.testing import CliRunner

from chem.cli.jugs import find_jug
from chem.cli.main import run, whole_app
from chem.cli.mixes import _OPTIONS, asked_mix
from chem.errors import InputProblem
from chem.notebook.entry import kept_mix
from chem.tank import read_mix
from chem.units import read_carrier, read_rate

DEMO = Path("data/demo").resolve()
CARRIER = "2 gal/1000 sq ft"
TAKE_A_MIX = ("forecast", "why", "fix", "pour", "ph", "jar", "diagnose")
QUICK = {f"--{name}" for name in _OPTIONS if name != "mix"}


@pytest.fixture
def shed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A shed to work in: a sprayer, two jugs of its own, one mix."""
    (tmp_path / "jugs").mkdir()
    for stem, name in (("blue", "Blue feed"), ("green", "Green feed")):
        text = (DEMO / "products" / "urea-liquor.toml").read_text()
        text = text.replace('name = "Urea liquor, invented"', f'name = "{name}"')
        (tmp_path / "jugs" / f"{stem}.toml").write_text(text)
    (tmp_path / "boom.toml").write_text(f'name = "Boom"\ncarrier = "{CARRIER}"\n')
    (tmp_path / "shed.toml").write_text(
        'sprayers = ["boom.toml"]\nproducts = "jugs"\nunits = "us"\n'
    )
    (tmp_path / "mix.toml").write_text(
        '# kept\nname = "Mix"\ntemperature = "60 F"\n[[add]]\nproduct = "blue"  # mine\n'
        'rate = "4 fl oz/1000 sq ft"\n'
    )
    monkeypatch.chdir(tmp_path)
    yield tmp_path


def jarsight(*arguments: str) -> Any:
    return CliRunner().invoke(whole_app(), list(arguments))


@pytest.mark.parametrize("name", TAKE_A_MIX)
def test_every_command_that_takes_a_mix_takes_a_quick_one(name: str) -> None:
    command = get_command(whole_app()).commands[name]  # type: ignore[attr-defined]
    options = {option for p in command.params for option in p.opts}
    assert options >= QUICK > {"--add", "--rate", "--save"}
    assert not next(p for p in command.params if p.name == "mix").required


@pytest.mark.parametrize(
    "more",
    [("why",), ("pour",), ("jar",), ("ph", "--to", "5", "--with", "citric acid")],
    ids=lambda v: v[0],
)
def test_a_quick_mix_is_answered_like_its_file(shed: Path, more: tuple[str, ...]) -> None:
    command, *rest = more
    few = ["--draws", "16", "--json"]
    products = ["--add", "blue=4 fl oz/1000 sq ft", "--add", "calcium nitrate"]
    quick = jarsight(command, *products, *rest, *few, "--save", "mine.toml")
    assert quick.exit_code == 0, quick.stderr
    raw = tomllib.loads((shed / "mine.toml").read_text())
    assert [row["product"] for row in raw["add"]] == ["jugs/blue.toml", "calcium-nitrate-liquor"]
    assert "carrier" not in raw  # the shed's sprayer goes on giving it
    from_file = jarsight(command, "mine.toml", *rest, *few)
    assert from_file.exit_code == 0, from_file.stderr

    def numbers(text: str) -> str:
        return text.replace("Quick mix", "Mine").replace("quick mix", "mine")

    ours, theirs = json.loads(numbers(quick.stdout)), json.loads(from_file.stdout)
    for own in ("notes", "number"):
        ours.pop(own, None), theirs.pop(own, None)
    assert ours == theirs


def test_products_are_poured_in_the_order_named_and_usual_rates_said(shed: Path) -> None:
    asked = asked_mix(None, add=["calcium nitrate=1 qt/acre", "blue", "iron-edta"])
    names = [a.product.key for a in asked.mix.additions]
    assert names == ["calcium-nitrate-liquor", "blue", "iron-edta"]
    assert asked.mix.additions[0].rate == read_rate("1 qt/acre", "")
    said = [note for note in asked.mix.notes if "usual rate taken" in note]
    assert [note.partition(":")[0] for note in said] == ["Blue feed", "Iron EDTA liquid, invented"]
    assert asked.mix.carrier_L_per_m2 == pytest.approx(read_carrier(CARRIER, ""))


@pytest.mark.parametrize(
    ("name", "found"),
    [
        ("blue", "jugs/blue.toml"),
        ("Blue feed", "jugs/blue.toml"),
        ("jugs/green.toml", "jugs/green.toml"),
        ("GREEN", "jugs/green.toml"),
        ("thiosulfate", "potassium-thiosulfate-liquor"),
        ("iron edta", "iron-edta"),
    ],
)
def test_any_clear_part_of_a_name_is_enough(shed: Path, name: str, found: str) -> None:
    assert find_jug(name, Path()) == found


@pytest.mark.parametrize(
    ("name", "wrong", "offered"),
    [
        ("feed", "more than one product is meant", ("`Blue feed`", "`Green feed`")),
        ("gren feed", "no product of your shelf", ("`Green feed`",)),
        ("calcum nitrate", "no product of your shelf", ("`Calcium nitrate liquor, invented`",)),
    ],
)
def test_a_name_is_never_guessed(
    shed: Path, name: str, wrong: str, offered: tuple[str, ...]
) -> None:
    with pytest.raises(InputProblem) as told:
        find_jug(name, Path())
    (problem,) = told.value.problems
    assert wrong in problem.wrong
    for one in offered:
        assert one in problem.instead


def test_a_file_is_tried_at_another_rate_and_with_more_and_stays_as_it_is(shed: Path) -> None:
    before = (shed / "mix.toml").read_bytes()
    asked = asked_mix(
        Path("mix.toml"),
        rate=["blue=2 fl oz/1000 sq ft"],
        add=["urea"],
        carrier="3 gal/1000 sq ft",
        temperature="70 F",
    )
    assert [a.product.key for a in asked.mix.additions] == ["blue", "urea-liquor"]
    assert asked.mix.additions[0].rate == read_rate("2 fl oz/1000 sq ft", "")
    assert asked.mix.carrier_L_per_m2 == pytest.approx(read_carrier("3 gal/1000 sq ft", ""))
    assert asked.mix.t_celsius == pytest.approx(21.11, abs=0.01)
    assert (shed / "mix.toml").read_bytes() == before


def test_what_was_tried_is_written_into_the_mix_itself_with_its_comments(shed: Path) -> None:
    done = jarsight(
        "why", "mix.toml", "--rate", "blue=2 fl oz/1000 sq ft", "--draws", "16", "--save",
        "mix.toml",
    )  # fmt: skip
    assert done.exit_code == 0, done.stderr
    text = (shed / "mix.toml").read_text()
    assert text.startswith("# kept\n") and "# mine" in text
    assert 'rate = "2 fl oz/1000 sq ft"' in text


def test_another_file_is_never_written_over_by_save(shed: Path) -> None:
    before = (shed / "boom.toml").read_bytes()
    with pytest.raises(InputProblem, match="already"):
        asked_mix(None, add=["blue"], save=Path("boom.toml"))
    assert (shed / "boom.toml").read_bytes() == before


def test_a_mix_saved_elsewhere_names_its_files_from_there(shed: Path) -> None:
    (shed / "mixes").mkdir()
    asked_mix(None, add=["blue", "urea"], water="soft", save=Path("mixes/one.toml"))
    raw = tomllib.loads((shed / "mixes" / "one.toml").read_text())
    assert [row["product"] for row in raw["add"]] == ["../jugs/blue.toml", "urea-liquor"]
    assert read_mix(shed / "mixes" / "one.toml").water.name == "Soft town water, invented"


def test_a_quick_mix_is_kept_whole_in_the_notebook(shed: Path) -> None:
    mix = asked_mix(None, add=["blue", "urea=3 fl oz/1000 sq ft"], water="soft").mix
    kept = kept_mix(mix)
    again = kept.reread()
    assert again.additions == mix.additions
    assert (again.water, again.carrier_L_per_m2) == (mix.water, mix.carrier_L_per_m2)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("why",), "no mix is named"),
        (("why", "--add", "=4 oz"), "a product and its rate are needed"),
        (("why", "mix.toml", "--rate", "blue"), "a product and its rate are needed"),
        (("why", "mix.toml", "--rate", "urea=1 qt/acre"), "no product of the mix"),
        (("why", "--add", "blue=4 furlongs"), "add[1].rate"),
        (("why", "--add", "blue", "--carrier", "2 gal"), "command line, carrier"),
        (("why", "--add", "blue", "--sprayer", "gun"), "no such sprayer in your shed"),
    ],
)
def test_what_is_wrong_is_told_in_three_parts(
    shed: Path,
    arguments: tuple[str, ...],
    told: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr("sys.argv", ["jarsight", *arguments])
    with pytest.raises(SystemExit) as stop:
        run()
    assert stop.value.code == 2
    err = capsys.readouterr().err
    assert told in err and "wrong:" in err and "write:" in err


def test_units_come_from_the_shed_unless_said(shed: Path) -> None:
    few = ["why", "mix.toml", "--draws", "16"]
    assert jarsight(*few).stdout == jarsight(*few, "--units", "us").stdout
    assert jarsight(*few, "--units", "metric").exit_code == 0


# ------------------------------------------------------------ a change written into the mix


def copied(name: str, folder: Path) -> Path:
    path = folder / f"{name}.toml"
    text = (Path(__file__).parent.parent / "examples" / path.name).read_text()
    path.write_text(f"# mine\n{text}")
    return path


def test_a_change_that_fix_lists_is_written_into_the_mix_and_keeps_it_clear(tmp_path: Path) -> None:
    path = copied("milky-at-the-third", tmp_path)
    few = ["--draws", "256", "--json"]  # of 64, one that the written dose rounds away tells
    done = jarsight("fix", str(path), *few, "--take", "1")
    assert done.exit_code == 0, done.stderr
    first = json.loads(done.stdout)["fixes"][0]
    assert first["lever"] == "acid"
    assert path.read_text().startswith("# mine\n")
    (agent,) = [p for p in tmp_path.iterdir() if p != path]
    assert agent.name in path.read_text()
    after = json.loads(jarsight("forecast", str(path), *few).stdout)["probability"]
    assert after["4h"] == pytest.approx(first["probability_after"]["4h"], abs=0.05)
    assert after["4h"] < 0.1


def test_another_order_is_taken_with_every_line_of_its_own(tmp_path: Path) -> None:
    path = copied("acid-poured-last", tmp_path)
    before = tomllib.loads(path.read_text())
    done = jarsight("fix", str(path), "--draws", "64", "--take", "1")
    assert done.exit_code == 0, done.stderr
    after = tomllib.loads(path.read_text())
    assert after["add"] != before["add"]
    assert sorted(map(str, after["add"])) == sorted(map(str, before["add"]))
    assert {k: v for k, v in after.items() if k != "add"} == {
        k: v for k, v in before.items() if k != "add"
    }


def test_the_dose_of_an_agent_is_taken_into_the_mix(tmp_path: Path) -> None:
    path = copied("stays-clear", tmp_path)
    few = ["--draws", "64", "--json"]
    done = jarsight("ph", str(path), "--to", "4.2", "--with", "citric acid", *few, "--take")
    assert done.exit_code == 0, done.stderr
    after = json.loads(jarsight("forecast", str(path), *few).stdout)
    assert after["ph"]["median"] == pytest.approx(4.2, abs=0.05)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["fix", "--add", "urea", "--carrier", CARRIER, "--take", "1"], "no "),
        (["fix", "{curdles}", "--take", "1"], "one mix file can hold"),
        (
            ["ph", "--add", "urea", "--carrier", CARRIER, "--to", "5", "--with", "citric acid",
             "--take"],
            "no file",
        ),
    ],
)  # fmt: skip
def test_what_no_mix_can_hold_is_not_taken(tmp_path: Path, arguments: list[str], told: str) -> None:
    path = copied("curdles", tmp_path)
    before = path.read_bytes()
    given = [word.format(curdles=path) for word in arguments]
    with pytest.raises(InputProblem, match=told):
        CliRunner().invoke(whole_app(), [*given, "--draws", "16"], catch_exceptions=False)
    assert path.read_bytes() == before
