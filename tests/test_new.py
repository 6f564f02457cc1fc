"""`jarsight new`: what is answered is what the file gives back, and nothing is half-written."""

from __future__ import annotations

import re
import stat
import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from chem.cli.exits import Exit
from chem.cli.kinds import Kind, kind_of
from chem.cli.new import app
from chem.errors import InputProblem
from chem.files import (
    AddForm,
    AdjuvantForm,
    ChelatedForm,
    MixForm,
    ProductForm,
    SaysForm,
    WaterForm,
    answers_of,
    blank,
    file_name,
    raw_of,
    rewritten,
    save,
)
from chem.files.product import LINES
from chem.files.table import figure, quoted
from chem.files.water import IONS
from chem.label import read_product
from chem.tank import read_mix, read_water
from chem.units import read_rate

COLUMNS = 60
fixed = settings(max_examples=60, derandomize=True, deadline=None)


def run(*arguments: str, answers: Sequence[str] = ()) -> Any:
    """The finished command, each answer on a line of its own."""
    text = "".join(f"{line}\n" for line in answers)
    return CliRunner().invoke(app, list(arguments), input=text)


def product_answers(given: dict[str, str]) -> list[str]:
    """One line per question that is put when `given` (by key) is answered and the rest is not."""
    return script("product", given)


def script(kind: str, given: dict[str, str]) -> list[str]:
    answers: dict[str, str] = {"name": "x"}
    lines = []
    for one in kind_of(kind, Path()).asked:
        if one.when(answers):
            text = given.get(one.key, "")
            lines.append(text)
            if text:
                answers[one.key] = text
    assert given.keys() <= answers.keys(), given.keys() - answers.keys()
    return lines


def script_keys(kind: str, given: dict[str, str]) -> list[str]:
    answers = {"name": "x", **given}
    return [one.key for one in kind_of(kind, Path()).asked if one.when(answers)]


def text_of(kind: Kind, answers: dict[str, str]) -> str:
    return rewritten(raw_of(kind.form, kind.form.settled(answers)))


def files(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


FULL = {
    "name": 'Iron "and" calcium \\ test',
    "form": "sol",
    "guarantee.total nitrogen": "7.5",
    "guarantee.ammoniacal nitrogen": "0.5",
    "guarantee.nitrate nitrogen": "7.0",
    "guarantee.calcium": "9.0",
    "guarantee.iron": "2.0",
    "chelated.iron": "1.5",
    "chelated.iron.agent": "edta",
    "guarantee.zinc": "<0.1",
    "sources": "calcium nitrate, Ammonium Nitrate; iron EDTA, ferrous sulfate, zinc EDTA.",
    "net_weight": "23.4 lb",
    "net_volume": "2 gal",
    "ph": "5.5-6",
    "ph_at": "10%",
    "also.1.name": "citric acid",
    "also.1.percent": "6.0",
    "says.pour": "last",
    "says.never_with": "phosphate, sulfur",
    "says.carrier_at_least": "1 gal/1000 sq ft",
    "usual_rate": "4 fl oz/1000 sq ft",
    "rate_range": "3-6 fl oz/1000 sq ft",
}


def test_a_whole_label_reads_back_as_answered(here: Path) -> None:
    done = run("product", "Iron test", answers=product_answers(FULL))
    assert done.exit_code == Exit.OK, done.stderr
    assert files(here) == ["iron-test.toml"]
    product = read_product(here / "iron-test.toml")
    assert product.name == FULL["name"]
    assert product.form == "solution"
    assert dict(product.guarantee) == {
        "total nitrogen": 7.5,
        "ammoniacal nitrogen": 0.5,
        "nitrate nitrogen": 7.0,
        "calcium": 9.0,
        "iron": 2.0,
        "zinc": 0.05,
    }
    assert (product.chelated["iron"].percent, product.chelated["iron"].agent) == (1.5, "EDTA")
    assert [s.key for s in product.sources][:3] == [
        "calcium nitrate",
        "ammonium nitrate",
        "iron EDTA",
    ]
    assert dict(product.also) == {"citric acid": 6.0}
    assert product.ph is not None
    assert (product.ph.low, product.ph.high, product.ph_at) == (5.5, 6.0, "10 %")
    # 1 lb = 0.45359237 kg, 1 US gal = 3.785411784 L: NIST Handbook 44, Appendix C.
    assert product.density is not None
    assert product.density[0] == pytest.approx(23.4 * 0.45359237 / (2 * 3.785411784), rel=1e-6)
    assert product.says.pour == "last"
    assert product.says.never_with == ("phosphate", "sulfur")
    assert product.says.carrier_at_least == pytest.approx(3.785411784 / 92.90304, rel=1e-6)
    assert product.usual_rate == read_rate("4 fl oz/1000 sq ft", "")
    assert product.rate_range is not None
    assert product.rate_range[1] == read_rate("6 fl oz/1000 sq ft", "")


def test_what_comes_next_is_told_on_stdout_and_questions_on_stderr(here: Path) -> None:
    done = run("product", "Iron test", answers=product_answers(FULL))
    assert done.stdout.splitlines()[0] == "Written: iron-test.toml"
    assert "jarsight forecast" in done.stdout
    assert "Total nitrogen (N)" in done.stderr
    assert "Total nitrogen" not in done.stdout


def test_the_label_is_asked_top_to_bottom() -> None:
    keys = [one.key for one in kind_of("product", Path()).asked]
    lines = [k.removeprefix("guarantee.") for k in keys if k.startswith("guarantee.")]
    assert lines == list(LINES)
    order = ["name", "guarantee.zinc", "sources", "net_weight", "ph", "also.1.name", "usual_rate"]
    assert sorted(order, key=keys.index) == order
    assert keys[keys.index("guarantee.iron") + 1] == "chelated.iron"


def test_every_guarantee_line_but_the_oxides_is_asked() -> None:
    from chem.reference import catalogue

    known = catalogue().guarantees
    assert set(LINES) == {key for key, line in known.items() if line.same_as is None}


@pytest.mark.parametrize("kind", ["product", "water", "mix", "sprayer", "shed"])
def test_questions_fit_sixty_columns(kind: str) -> None:
    for one in kind_of(kind, Path()).asked:
        assert len(one.ask.heading) <= COLUMNS
        assert len(one.words) + 2 <= COLUMNS, one.words


def test_nothing_on_the_label_but_a_name(here: Path) -> None:
    given = {"name": "Wetting agent, invented", "form": "emulsion"}
    done = run("product", "wetting agent", answers=product_answers(given))
    assert done.exit_code == Exit.OK, done.stderr
    product = read_product(here / "wetting-agent.toml")
    assert (product.form, product.density, product.sources) == ("emulsion", None, ())


def test_a_liquid_of_unknown_density_says_so(here: Path) -> None:
    given = {"guarantee.calcium": "9", "sources": "calcium nitrate"}
    assert run("product", "a", answers=product_answers(given)).exit_code == Exit.OK
    assert tomllib.loads((here / "a.toml").read_text())["density"] == "unknown"


def test_a_dry_product_is_asked_no_density_and_weighs_in_ounces(here: Path) -> None:
    given = {"form": "dry", "guarantee.magnesium": "9.8", "sources": "magnesium sulfate"}
    given |= {"usual_rate": "4 oz/1000 sq ft"}
    done = run("product", "Epsom", answers=product_answers(given))
    assert done.exit_code == Exit.OK, done.stderr
    assert "Specific gravity" not in done.stderr
    rate = read_product(here / "epsom.toml").usual_rate
    assert rate is not None and rate.kind == "mass"


def test_oxides_and_elements_are_written_in_the_labels_own_terms(here: Path) -> None:
    given = {"guarantee.available phosphate": "8.7 as P", "guarantee.calcium": "14 % CaO"}
    given |= {"sources": "phosphoric acid, calcium chloride", "density": "1.3 kg/L"}
    assert run("product", "a", answers=product_answers(given)).exit_code == Exit.OK
    raw = tomllib.loads((here / "a.toml").read_text())["guarantee"]
    assert raw == {"P": 8.7, "CaO": "14 %"}


@pytest.mark.parametrize(
    ("key", "wrong", "right", "told"),
    [
        ("guarantee.calcium", "1,5", "1.5", "is it 1.5 or 15?"),
        ("guarantee.calcium", "-2", "2", "between 0 and 100"),
        ("guarantee.calcium", "nine", "9", "does not begin with a number"),
        ("guarantee.nitrate nitrogen", "9", "7", "add up to 9 %"),
        ("guarantee.zinc", "95", "0.1", "more than 100 %"),
        ("chelated.iron", "3", "1", "more than the 2.0 %"),
        ("chelated.iron.agent", "glue", "EDTA", "no chelating agent"),
        ("net_weight", "23.4", "23.4 lb", "the unit is missing"),
        ("net_volume", "20 gal", "2 gal", "no liquid for a tank"),
        ("ph", "15", "5", "between 0 and 14"),
        ("ph_at", "5 %", "1 %", "not one of the words"),
        ("says.pour", "middle", "first", "not one of the words"),
        ("also.1.percent", "", "6", "this one is needed"),
        ("usual_rate", "4 oz/1000 sq ft", "4 fl oz/1000 sq ft", "a volume"),
        ("rate_range", "6-3 fl oz/1000 sq ft", "3-6 fl oz/1000 sq ft", "downward"),
    ],
)
def test_a_wrong_answer_is_explained_and_asked_again(
    here: Path, key: str, wrong: str, right: str, told: str
) -> None:
    given = FULL | {"guarantee.total nitrogen": "7.0", key: right}
    lines = product_answers(given | {"guarantee.ammoniacal nitrogen": "0"})
    at = script_keys("product", given).index(key)
    done = run("product", "a", answers=[*lines[:at], wrong, *lines[at:]])
    assert done.exit_code == Exit.OK, done.stderr
    assert told in " ".join(done.stderr.split())
    read_product(here / "a.toml")


def test_an_ambiguous_source_is_asked_back_by_number(here: Path) -> None:
    given = {"guarantee.soluble potash": "5", "guarantee.available phosphate": "7"}
    lines = product_answers(given | {"sources": "potassium phosphate"})
    at = lines.index("potassium phosphate") + 1
    done = run("product", "a", answers=[*lines[:at], "2", *lines[at:]])
    assert done.exit_code == Exit.OK, done.stderr
    assert "more than one" in done.stderr
    sources = read_product(here / "a.toml").sources
    assert [s.key for s in sources] == ["dipotassium phosphate"]


def test_a_misspelt_source_is_offered_its_neighbours(here: Path) -> None:
    given = {"guarantee.calcium": "9", "sources": "calcium nitrat, moon dust"}
    lines = product_answers(given)
    at = lines.index("calcium nitrat, moon dust") + 1
    done = run("product", "a", answers=[*lines[:at], "1", "", *lines[at:]])
    assert done.exit_code == Exit.OK, done.stderr
    assert "1 calcium nitrate" in done.stderr
    assert [s.key for s in read_product(here / "a.toml").sources] == ["calcium nitrate"]


def test_sources_that_do_not_supply_the_guarantee_are_asked_again(here: Path) -> None:
    given = {"guarantee.calcium": "9", "sources": "urea"}
    lines = product_answers(given)
    at = lines.index("urea") + 1
    done = run("product", "a", answers=[*lines[:at], "calcium nitrate", *lines[at:]])
    assert done.exit_code == Exit.OK, done.stderr
    assert "calcium: none of the sources supplies it" in " ".join(done.stderr.split())


def test_back_goes_one_question_back_and_a_dash_takes_an_answer_out(here: Path) -> None:
    lines = script("water", {"ph": "7.9", "alkalinity": "210 mg/L as CaCO3"})
    # after alkalinity: back, back -> pH is put again and taken out; Enter keeps the alkalinity
    done = run("water", "Well", answers=[*lines[:3], "back", "back", "-", "", *lines[3:]])
    assert done.exit_code == Exit.OK, done.stderr
    assert "[210 mg/L as CaCO3]" in done.stderr
    water = read_water(here / "well.toml")
    assert water.ph is None
    assert water.alkalinity is not None and water.alkalinity.value == pytest.approx(4.2, rel=2e-3)


def test_a_water_report_reads_back(here: Path) -> None:
    given = {
        "name": "Borehole, invented",
        "ph": "7.9",
        "alkalinity": "210 mg/L as CaCO3",
        "hardness": "120-250 mg/L as CaCO3",
        "ions.Ca": "68 mg/L",
        "ions.Fe": "<0.05 mg/L",
        "ions.SO4": "0.4 meq/L",
        "ions.NO3": "2 mg/L as N",
        "ions.Si": "12 mg/L as SiO2",
    }
    done = run("water", "well", answers=script("water", given))
    assert done.exit_code == Exit.OK, done.stderr
    water = read_water(here / "well.toml")
    assert water.name == "Borehole, invented"
    assert water.ph is not None and water.ph.value == 7.9
    # Molar masses of Ca 40.078 and N 14.007 g/mol: IUPAC standard atomic weights.
    assert water.ions["Ca"].value == pytest.approx(68 / 40.078, rel=1e-4)
    assert water.ions["NO3"].value == pytest.approx(2 / 14.007, rel=1e-4)
    assert water.ions["SO4"].value == pytest.approx(0.2)
    assert water.ions["Fe2"].below_detection
    assert set(water.ions) == {"Ca", "Fe2", "SO4", "NO3", "Si"}


@pytest.mark.parametrize("ion", list(IONS))
def test_every_ion_that_is_asked_can_be_read(here: Path, ion: str) -> None:
    done = run("water", "w", answers=script("water", {f"ions.{ion}": "3 mg/L"}))
    assert done.exit_code == Exit.OK, done.stderr
    water = read_water(here / "w.toml")
    assert len(water.ions) == 1 or water.alkalinity is not None


def test_ppm_of_calcium_is_refused_with_the_lines_to_choose_from(here: Path) -> None:
    lines = script("water", {"ions.Ca": "68 mg/L"})
    at = lines.index("68 mg/L")
    done = run("water", "w", answers=[*lines[:at], "68 ppm", *lines[at:]])
    assert done.exit_code == Exit.OK
    assert "68 mg/L as CaCO3" in " ".join(done.stderr.split())


MIX = {
    "name": "Feed, practice pitches",
    "water": "soft",
    "carrier": "2 gal/1000 sq ft",
    "tank": "50 gal",
    "temperature": "60 F",
    "coldest": "40 F",
    "add.1.product": "urea-liquor",
    "add.1.rate": "5 fl oz/1000 sq ft",
    "add.2.product": "iron-edta.toml",
    "adjuvant.name": "spreader",
    "adjuvant.rate": "0.25 % v/v",
    "adjuvant.ph_at_most": "8",
    "adjuvant.ph_at_least": "5",
}


def test_a_mix_reads_back_in_the_order_poured(here: Path) -> None:
    done = run("mix", "Feed", answers=script("mix", MIX))
    assert done.exit_code == Exit.OK, done.stderr
    mix = read_mix(here / "feed.toml")
    assert [a.product.key for a in mix.additions] == ["urea-liquor", "iron-edta"]
    assert mix.additions[0].rate == read_rate("5 fl oz/1000 sq ft", "")
    assert mix.additions[1].rate == mix.additions[1].product.usual_rate
    assert mix.water.name == "Soft town water, invented"
    assert mix.carrier_L_per_m2 == pytest.approx(2 * 3.785411784 / 92.90304, rel=1e-6)
    assert mix.tank_L == pytest.approx(50 * 3.785411784, rel=1e-6)
    assert (mix.t_celsius, mix.coldest_celsius) == pytest.approx((140 / 9, 40 / 9))
    assert mix.adjuvant is not None
    assert (mix.adjuvant.ph_low, mix.adjuvant.ph_high) == (5.0, 8.0)
    assert "jarsight forecast feed.toml" in done.stdout


@pytest.mark.parametrize(
    ("key", "wrong", "told"),
    [
        ("water", "hard-alkalin", "did you mean `hard-alkaline.toml`"),
        ("carrier", "", "this key is missing"),
        ("carrier", "2 gal", "on what area"),
        ("temperature", "60", "is it F or C?"),
        ("add.1.product", "", "needs at least one product"),
        ("add.1.product", "urea-liquer", "did you mean `Urea liquor, invented`"),
        ("add.1.rate", "5 oz/1000 sq ft", "a volume"),
        ("adjuvant.ph_at_least", "9", "no pH lies between"),
    ],
)
def test_a_wrong_answer_to_a_mix_is_asked_again(
    here: Path, key: str, wrong: str, told: str
) -> None:
    lines = script("mix", MIX)
    at = script_keys("mix", MIX).index(key)
    done = run("mix", "m", answers=[*lines[:at], wrong, *lines[at:]])
    assert done.exit_code == Exit.OK, done.stderr
    assert told in " ".join(done.stderr.split())


def test_a_dry_product_of_a_mix_is_weighed(here: Path) -> None:
    given = {**MIX, "add.2.product": "magnesium-sulfate-heptahydrate"}
    given["add.2.rate"] = "3 oz/1000 sq ft"
    lines = script("mix", given)
    at = lines.index("3 oz/1000 sq ft")
    done = run("mix", "m", answers=[*lines[:at], "3 fl oz/1000 sq ft", *lines[at:]])
    assert done.exit_code == Exit.OK, done.stderr
    assert "a dry product is weighed" in done.stderr
    assert read_mix(here / "m.toml").additions[1].by_mass


def test_products_that_fill_the_tank_lead_back_to_the_spray_volume(here: Path) -> None:
    given = {**MIX, "carrier": "5 fl oz/1000 sq ft"}
    lines = script("mix", given)
    again = ["2 gal/1000 sq ft"] + [""] * (len(lines) - 2)
    done = run("mix", "m", answers=[*lines, *again])
    assert done.exit_code == Exit.OK, done.stderr
    assert "of the spray volume" in " ".join(done.stderr.split())
    assert len(read_mix(here / "m.toml").additions) == 2


def test_files_of_a_shed_are_named_from_its_mixes(here: Path) -> None:
    assert run("shed", "park", "--blank").exit_code == Exit.OK
    label = product_answers({"form": "emulsion", "usual_rate": "2 fl oz/1000 sq ft"})
    assert run("product", "Wetter", "--in", "park/products", answers=label).exit_code == Exit.OK
    water = script("water", {"ph": "7"})
    assert run("water", "Well", "--in", "park/waters", answers=water).exit_code == Exit.OK
    given = {"water": "well", "carrier": "400 L/ha", "add.1.product": "wetter"}
    lines = script("mix", given)
    done = run("mix", "One", "--in", "park/mixes", answers=lines)
    assert done.exit_code == Exit.OK, done.stderr
    raw = tomllib.loads((here / "park/mixes/one.toml").read_text())
    assert raw["water"] == "../waters/well.toml"
    assert raw["add"][0]["product"] == "../products/wetter.toml"
    assert read_mix(here / "park/mixes/one.toml").water.name == "Well"


# ------------------------------------------------------------ never half-written


@pytest.mark.parametrize("kind", ["product", "water", "mix"])
@pytest.mark.parametrize("count", [0, 1])
def test_the_end_of_the_input_writes_nothing(here: Path, kind: str, count: int) -> None:
    done = run(kind, "a", answers=[""] * count)
    assert done.exit_code == Exit.INPUT
    assert "nothing was written" in done.stderr
    assert files(here) == []


@pytest.mark.parametrize("count", [1, 5, 30])
def test_answers_are_kept_where_the_input_ends_and_taken_up_again(here: Path, count: int) -> None:
    lines = product_answers(FULL)
    done = run("product", "a", answers=lines[:count])
    assert done.exit_code == Exit.INPUT
    assert "answers are kept in a.unfinished" in done.stderr
    assert files(here) == ["a.unfinished"]
    again = run("product", "a", answers=[""] * count + lines[count:])
    assert again.exit_code == Exit.OK, again.stderr
    assert files(here) == ["a.toml"]
    answers = answers_of(ProductForm, tomllib.loads((here / "a.toml").read_text()))
    assert {
        k: v.casefold() for k, v in answers.items() if k not in ("form", "sources", "ph_at")
    } == {k: v.casefold() for k, v in FULL.items() if k not in ("form", "sources", "ph_at")}


def test_ctrl_c_writes_nothing(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(words: str) -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr("chem.cli.interview.ask", interrupted)
    done = run("water", "a")
    assert done.exit_code == Exit.INPUT
    assert "nothing was written" in done.stderr
    assert files(here) == []


def test_input_that_is_no_utf8_text_ends_in_words(here: Path) -> None:
    done = CliRunner().invoke(app, ["water", "a"], input=b"W\xff\n\n\n")
    assert done.exit_code == Exit.INPUT
    assert "wrong:" in done.stderr and "write:" in done.stderr
    assert files(here) == []


def test_a_file_is_never_written_over_without_force(here: Path) -> None:
    (here / "a.toml").write_text("mine")
    for extra in ([], ["--blank"]):
        done = run("water", "A", *extra, answers=[""] * 25)
        assert done.exit_code == Exit.INPUT
        assert "wrong: there is a file of that name already" in done.stderr
        assert "write: another name, or `--force`" in done.stderr
        assert "pH" not in done.stderr
        assert (here / "a.toml").read_text() == "mine"
    assert run("water", "A", "--force", answers=[""] * 25).exit_code == Exit.OK
    assert read_water(here / "a.toml").name == "A"


def test_a_file_that_appears_meanwhile_is_kept(here: Path) -> None:
    path = here / "a.toml"

    def read(partial: Path) -> None:
        path.write_text("mine")

    with pytest.raises(InputProblem, match="already"):
        save(path, "new", read, force=False)
    assert (path.read_text(), files(here)) == ("mine", ["a.toml"])


def test_a_file_that_does_not_read_back_is_not_left_behind(here: Path) -> None:
    with pytest.raises(InputProblem, match=r"a\.toml, density"):
        save(here / "a.toml", 'name = "a"\n', read_product, force=False)
    assert files(here) == []


def test_a_written_file_has_ordinary_permissions(here: Path) -> None:
    (here / "other").write_text("")
    assert run("water", "a", answers=[""] * 25).exit_code == Exit.OK
    modes = {stat.S_IMODE((here / name).stat().st_mode) for name in ("other", "a.toml")}
    assert len(modes) == 1


@pytest.mark.parametrize(
    "arguments",
    [
        ("product", "///"),
        ("product", ""),
        ("water", "a", "--in", "nowhere"),
        ("shed", ""),
        ("shed", "no/such/parent", "--blank"),
    ],
)
def test_names_and_folders_that_cannot_be_are_told_in_three_parts(
    here: Path, arguments: tuple[str, ...]
) -> None:
    done = run(*arguments)
    assert done.exit_code == Exit.INPUT
    assert "wrong:" in done.stderr and "write:" in done.stderr
    assert files(here) == []


# ------------------------------------------------------------ blank forms


def filled(text: str, **values: str) -> str:
    """The form with its empty REQUIRED lines filled in."""
    for key, value in values.items():
        text, count = re.subn(rf'^{key} = (""|\[""\])$', f"{key} = {value}", text, flags=re.M)
        assert count == 1, key
    return text


def opened(text: str) -> str:
    """The form with every optional line put to use."""
    return re.sub(r"^#(?=\S)", "", text, flags=re.M)


REQUIRED: dict[str, dict[str, str]] = {
    "product": {"density": '"11.2 lb/gal"', "sources": '["calcium nitrate"]'},
    "water": {},
    "mix": {"carrier": '"2 gal/1000 sq ft"', "product": '"urea-liquor"', "rate": '""'},
}
READERS: dict[str, Callable[[Path], Any]] = {
    "product": read_product,
    "water": read_water,
    "mix": read_mix,
}
EVERY_SOURCE = [
    "calcium nitrate", "ammonium nitrate", "urea", "methylene diurea", "monopotassium phosphate",
    "magnesium sulfate", "boric acid", "potassium chloride", "cobalt sulfate", "copper sulfate",
    "iron EDTA", "manganese sulfate", "sodium molybdate", "nickel sulfate", "potassium silicate",
    "zinc sulfate", "citric acid",
]  # fmt: skip


@pytest.mark.parametrize("kind", list(READERS))
def test_a_blank_form_parses_and_is_valid_once_its_required_lines_are_filled(
    here: Path, kind: str
) -> None:
    name = 'A "quoted" \\ name'
    done = run(kind, name, "--blank")
    assert done.exit_code == Exit.OK, done.stderr
    path = here / "a-quoted-name.toml"
    text = path.read_text()
    assert tomllib.loads(text)["name"] == name
    assert max(map(len, text.splitlines())) <= COLUMNS
    path.write_text(filled(text, **REQUIRED[kind]))
    assert READERS[kind](path).name == name


@pytest.mark.parametrize("kind", ["product", "mix"])
def test_required_lines_left_blank_are_told_in_three_parts(here: Path, kind: str) -> None:
    assert run(kind, "a", "--blank").exit_code == Exit.OK
    with pytest.raises(InputProblem) as caught:
        READERS[kind](here / "a.toml")
    for problem in caught.value.problems:
        assert problem.read and problem.wrong and problem.instead
    assert len(caught.value.problems) == 2


@pytest.mark.parametrize("key", ["density", "sources"])
def test_each_required_line_of_a_product_is_missed_by_name(here: Path, key: str) -> None:
    values = {k: v for k, v in REQUIRED["product"].items() if k != key}
    path = here / "a.toml"
    path.write_text(filled(blank(ProductForm, "a"), **values))
    with pytest.raises(InputProblem) as caught:
        read_product(path)
    (problem,) = caught.value.problems
    assert key in problem.read


def test_the_examples_of_the_product_form_hold_together(here: Path) -> None:
    path = here / "a.toml"
    sources = "[" + ", ".join(quoted(s) for s in EVERY_SOURCE) + "]"
    text = opened(filled(blank(ProductForm, "a"), density='""', sources=sources))
    own = [x for x in text.splitlines() if not x.startswith(("ph_window", "good_for"))]
    path.write_text("\n".join(own))  # those are an adjuvant's alone
    raw = tomllib.loads(text)
    assert set(raw) == set(ProductForm.model_fields)
    assert set(raw["guarantee"]) == set(LINES)
    assert set(raw["says"]) == set(SaysForm.model_fields)
    assert set(raw["known"]) == {"ph", "density"}
    assert set(raw["chelated"]["iron"]) == set(ChelatedForm.model_fields)
    product = read_product(path)
    assert product.says.carrier_at_most is not None and product.rate_range is not None


@pytest.mark.parametrize("keys", ["specific_gravity", "net_weight|net_volume"])
def test_a_form_with_its_density_left_empty_takes_the_other_ways(here: Path, keys: str) -> None:
    text = filled(blank(ProductForm, "a"), sources='["calcium nitrate"]')
    (here / "a.toml").write_text(re.sub(rf"^#(?=(?:{keys}) =)", "", text, flags=re.M))
    density = read_product(here / "a.toml").density
    assert density is not None
    # 11.2 lb/gal, by NIST Handbook 44, Appendix C.
    assert density[0] == pytest.approx(11.2 * 0.45359237 / 3.785411784, rel=3e-3)


def test_the_examples_of_the_water_and_mix_forms_hold_together(here: Path) -> None:
    water = opened(blank(WaterForm, "w"))
    (here / "w.toml").write_text(water)
    assert set(tomllib.loads(water)) == set(WaterForm.model_fields)
    assert set(tomllib.loads(water)["ions"]) == set(IONS)
    assert read_water(here / "w.toml").hardness is not None
    mix = opened(filled(blank(MixForm, "m"), **REQUIRED["mix"]))
    raw = tomllib.loads(mix)
    assert set(raw) == set(MixForm.model_fields)
    assert set(raw["add"][0]) == set(AddForm.model_fields)
    assert set(raw["adjuvant"]) == set(AdjuvantForm.model_fields)
    one = [line for line in mix.splitlines() if not line.startswith(("leftover", "amount", "age"))]
    (here / "m.toml").write_text("\n".join(one))
    read = read_mix(here / "m.toml")
    assert read.adjuvant is not None and read.adjuvant.ph_low < read.adjuvant.ph_high


SHED = {"water": "waters/well.toml", "sprayers": "sprayers/boom.toml", "units": "us"}


def test_a_shed_holds_a_folder_per_shelf_and_what_is_set_once(here: Path) -> None:
    done = run("shed", "My shed", answers=script("shed", SHED))
    assert done.exit_code == Exit.OK, done.stderr
    assert "jarsight new product NAME --in 'My shed/products'" in done.stdout
    assert files(here / "My shed") == ["mixes", "products", "shed.toml", "sprayers", "waters"]
    raw = tomllib.loads((here / "My shed" / "shed.toml").read_text())
    assert raw == {**SHED, "sprayers": ["sprayers/boom.toml"], "products": "products"}


def test_a_shed_that_is_there_is_left_alone(here: Path) -> None:
    assert run("shed", "park", "--blank").exit_code == Exit.OK
    mine = here / "park" / "products" / "mine.toml"
    mine.write_text("mine")
    (here / "park" / "shed.toml").write_text("scribbled")
    done = run("shed", "park", "--blank")
    assert done.exit_code == Exit.INPUT
    assert "wrong: there is a folder of that name already" in done.stderr
    assert (here / "park" / "shed.toml").read_text() == "scribbled"
    assert run("shed", "park", "--blank", "--force").exit_code == Exit.OK
    assert mine.read_text() == "mine"
    assert "sprayers" in (here / "park" / "shed.toml").read_text()


# ------------------------------------------------------------ text


@fixed
@given(st.text(st.characters(exclude_categories=["Cs"])))
def test_any_text_survives_a_toml_string(text: str) -> None:
    assert tomllib.loads(f"{quoted(text)} = {quoted(text)}") == {text: text}


@fixed
@given(st.text(st.sampled_from("0123456789.,-<e_ %"), min_size=1, max_size=9))
def test_a_figure_is_one_toml_value_that_says_what_was_typed(text: str) -> None:
    value = tomllib.loads(rewritten({"x": figure(text)}))["x"]
    assert value == text or float(value) == float(text)


@pytest.mark.parametrize(
    ("name", "file"),
    [
        ('Iron & "Mn", 5 %', "iron-mn-5.toml"),
        ("calcium.toml", "calcium.toml"),
        ("../../Urea", "urea.toml"),
        ("D\u00fcnger Nr. 3", "dunger-nr-3.toml"),
        ("x" * 200, "x" * 60 + ".toml"),
    ],
)
def test_a_name_becomes_a_plain_file_name(name: str, file: str) -> None:
    assert file_name(name) == file


def test_a_name_that_no_file_can_hold_is_refused() -> None:
    with pytest.raises(InputProblem, match="UTF-8"):
        file_name("a\udcff")


@pytest.mark.parametrize("path", sorted(Path("data/demo/products").resolve().glob("*.toml")))
def test_a_demo_label_answered_again_is_the_same_product(path: Path, tmp_path: Path) -> None:
    answers = answers_of(ProductForm, tomllib.loads(path.read_text()))
    copy = tmp_path / path.name
    copy.write_text(text_of(kind_of("product", tmp_path), answers))
    assert read_product(copy) == read_product(path)
    done = run("product", path.stem, "--in", str(tmp_path), "--force",
               answers=product_answers(answers))  # fmt: skip
    assert done.exit_code == Exit.OK, done.stderr
    assert read_product(copy) == read_product(path)
