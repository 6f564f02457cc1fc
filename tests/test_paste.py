"""Pasted labels: every layout read whole, or the line named that was not; no figure ever guessed.

The labels in `labels/` are invented. Beside each stands what a careful person would copy from it
by hand, written by hand.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chem.errors import InputProblem
from chem.files import ProductForm
from chem.label import read_product, unsupplied
from chem.label.paste import Pasted, read_paste
from chem.label.printed.declared import Named, recognise
from chem.label.printed.derived import items_of
from chem.reference import catalogue

LABELS = sorted((Path(__file__).parent / "labels").glob("*.txt"))
SHELF = sorted((Path(__file__).parent.parent / "data" / "demo" / "products").glob("*.toml"))
DEMO = [p for p in SHELF if "[guarantee]" in p.read_text(encoding="utf-8")]
NAME = "Pasted, invented"
START = "Guaranteed analysis\nIron (Fe) 5.0%\n"


def read(text: str) -> Pasted:
    pasted = read_paste(text, NAME)
    assert tomllib.loads(pasted.toml) == pasted.form
    ProductForm.model_validate(pasted.form)
    assert_nothing_lost(text, pasted)
    return pasted


def assert_nothing_lost(text: str, pasted: Pasted) -> None:
    told = {entry.line_number for entry in pasted.understood}
    told |= {entry.line_number for entry in pasted.not_understood}
    told |= {entry.line_number for entry in pasted.ignored}
    for number, line in enumerate(re.split(r"\r\n|\r|\n", text), start=1):
        if any(char.isprintable() and not char.isspace() for char in line):
            assert number in told, line


def meanings(line: str) -> list[str]:
    return [entry.meaning for entry in read(START + line).understood if entry.line_number > 2]


def refusals(line: str) -> list[tuple[str, tuple[str, ...]]]:
    return [(entry.why, entry.near) for entry in read(START + line).not_understood]


def expected(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.with_suffix(".toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("path", LABELS, ids=lambda p: p.stem)
def test_label_gives_what_a_person_would_copy(path: Path) -> None:
    wanted = expected(path)
    pasted = read(path.read_text(encoding="utf-8"))
    kept = dict(pasted.form)
    unread = [entry["line"] for entry in kept.pop("unread", [])]
    left_out = [entry.line for entry in pasted.ignored]
    assert all(any(care in line for line in left_out) for care in kept.pop("care", []))
    assert kept == {"name": NAME, **wanted["file"]}
    assert unread == [entry.line_number for entry in pasted.not_understood]
    assert [entry.line_number for entry in pasted.not_understood] == wanted["not_understood"]
    assert len(pasted.problems) == wanted["problems"], pasted.problems
    for entry in pasted.not_understood:
        assert f"# line {entry.line_number} not understood: " in pasted.toml


@pytest.mark.parametrize("path", LABELS, ids=lambda p: p.stem)
def test_written_file_reads_back_as_a_product(path: Path, tmp_path: Path) -> None:
    pasted = read(path.read_text(encoding="utf-8"))
    file = tmp_path / "pasted.toml"
    file.write_text(pasted.toml, encoding="utf-8")
    product = read_product(file)
    if path.stem == "unknown-sources":
        assert not unsupplied(product) and product.vague == ("iron chelate",)
    assert product.name == NAME
    assert bool(product.sources) and bool(product.guarantee)


def test_there_are_at_least_ten_layouts() -> None:
    assert len(LABELS) >= 10


# The label's own lines, one by one


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("Total Nitrogen (N) ..... 5.0%", ["total nitrogen 5.0 %"]),
        ("2.0% Ammoniacal Nitrogen", ["ammoniacal nitrogen 2.0 %"]),
        ("Available Phosphate (P2O5)........8%", ["available phosphate 8 %"]),
        ("AVAILABLE PHOSPHATE (P\u2082O\u2085)\u20268%", ["available phosphate 8 %"]),
        ("Soluble Potash (K2O) 8.00 %", ["soluble potash 8.00 %"]),
        ("Water Soluble Magnesium (Mg) 1%", ["magnesium 1 %, the part soluble in water"]),
        ("9 % CaO (6.4 % Ca)", ["CaO 9 %", "calcium 6.4 %, the same again"]),
        ("CaO water soluble 15 %", ["CaO 15 %, the part soluble in water"]),
        ("Calcium\u00a0(Ca)\u00a0%\u00a07.5", ["calcium 7.5 %"]),
        ("Total Nitrogen 5% Potash 4%", ["total nitrogen 5 %", "soluble potash 4 %"]),
        ("5% Total Nitrogen 4% Potash", ["total nitrogen 5 %", "soluble potash 4 %"]),
        ("Boron 200 mg/kg", ["boron 0.02 %; 200 mg/kg is 0.02 %"]),
        ("of which 1.5 % chelated by DTPA", ["chelated iron (DTPA) 1.5 %"]),
        (
            "Manganese (Mn) 1.0%, EDTA chelated",
            ["manganese 1.0 %", "chelated manganese (EDTA) 1.0 %"],
        ),
        ("Citric acid 6 %", ["also citric acid 6 %"]),
        (
            "12-0-0-26S",
            ["grade: total nitrogen 12, available phosphate 0, soluble potash 0, sulfur 26 %"],
        ),
        ("Density: 1340 kg/m3 at 20 \u00b0C", ["density 1340 kg/m3"]),
        ("A gallon weighs 11.2 lb", ["density 11.2 lb/gal"]),
        ("Sp. Gr. (68 F): 1.32", ["specific_gravity 1.32"]),
        ("pH 5.5 +/- 0.5", ["pH 5-6 (neat)"]),
        ("Rate: 1-1/2 qt/acre", ["usual_rate 1-1/2 qt/acre"]),
        ("Use 4 to 6 L/ha", ["rate_range 4-6 L/ha"]),
        ("Use at 0.25% v/v", ["usual_rate 0.25 % v/v"]),
        ("Always add this product last to the tank.", ["its rule: pour last"]),
        ("Not compatible with calcium", ["its rule: never with calcium"]),
    ],
)
def test_line_is_read_as_printed(line: str, wanted: list[str]) -> None:
    assert meanings(line) == wanted
    assert refusals(line) == []


@pytest.mark.parametrize(
    ("line", "why", "near"),
    [
        ("Zinc (Zn)......05%", "is the last dot a decimal point? (05%)", ("5 %", "0.05 %")),
        ("Zinc (Zn) 3.O%", "`3.O` has a letter among its digits", ("3.0",)),
        ("Zinc (Zn) l.5%", "`l.5` has a letter among its digits", ("1.5",)),
        ("1O-0-0", "`1O-0-0` has a letter among its digits", ("10-0-0",)),
        ("Zinc (Zn) 1,5 %", "the comma in `1,5` can be read in two ways", ("1.5", "15")),
        ("Boron (B) 0.02", "a figure without its % sign: percent of what?", ("0.02 %",)),
        ("Zinc EDTA 6 %", "percent of the metal or of the chelate?", None),
        ("Chlorine (Cl) max 2.0 %", None, None),
        ("Calcium (Mg) 2 %", "`calcium` and `magnesium` on one line", ("calcium", "magnesium")),
        ("Calcum (Ca) 5%", None, None),
        ("pH (5 % solution) 4", None, None),
        ("pH of a solution 4", "the pH at which strength?", ("neat, 1 % or 10 %",)),
        ("Density 13.4", None, None),
        ("Weight per gallon 112 lb", None, None),
        ("Net contents: 2 x 2.5 gal", "several packs on one line", None),
        ("Apply 5 oz per acre", None, None),
        ("Do not mix with calcium unless diluted", None, None),
        ("Chelating agent: magicate", "no chelating agent known here", None),
        ("Derived from: sodium unobtanate", None, None),
        ("Qwertium 9", "no rule reads this line", None),
    ],
)
def test_doubtful_line_is_asked_not_guessed(
    line: str, why: str | None, near: tuple[str, ...] | None
) -> None:
    found = refusals(line)
    assert len(found) == 1
    assert why is None or found[0][0] == why
    assert near is None or found[0][1] == near
    assert read(START + line).form["guarantee"] == {"iron": 5.0}


def test_point_that_a_leader_may_hide_is_asked_where_the_label_prints_bare_points() -> None:
    """`.05%` elsewhere on the label: then `....50%` may be .50 %; otherwise it is 50 %."""
    pasted = read("Boron (B) .05%\nZinc (Zn) ....50%")
    assert pasted.form["guarantee"] == {"boron": 0.05}
    assert pasted.not_understood[0].near == ("50 %", "0.50 %")
    assert read("Boron (B) 0.05%\nZinc (Zn) ....50%").form["guarantee"]["zinc"] == 50


@pytest.mark.parametrize(
    ("rest", "zinc"),
    [
        ("Density 1,31 kg/l", 1.5),
        ("Boron 0,020 %", 1.5),
        ("Boron 2.0 %", None),
        ("Apply 4 fl oz/1,000 sq ft", None),
        ("Boron 0,5,5 %", None),
    ],
)
def test_comma_is_decimal_only_where_the_whole_label_says_so(rest: str, zinc: float | None) -> None:
    pasted = read(f"Iron 5 %\nZinc 1,5 %\n{rest}")
    assert pasted.form["guarantee"].get("zinc") == zinc
    assert (2 in [entry.line_number for entry in pasted.not_understood]) == (zinc is None)


def test_zero_in_a_formula_is_read_as_the_letter_and_said() -> None:
    assert meanings("Phosphate (P205) 8 %") == [
        "available phosphate 8 %",
        "`P205` is read as P2O5",
    ]


# Sources


def test_every_source_and_guarantee_name_is_known_as_printed() -> None:
    known = catalogue()
    for name, key in known.source_names.items():
        if name not in known.ambiguous:
            assert [item.found for item in items_of(f"{name.title()}.")] == [key], name
    for name, key in known.guarantee_names.items():
        named = recognise(name.upper())
        assert isinstance(named, Named) and named.name == key, name


@pytest.mark.parametrize(
    ("text", "sources"),
    [
        (
            "Calcium Nitrate, Iron EDTA, and Zinc EDTA.",
            ["calcium nitrate", "iron EDTA", "zinc EDTA"],
        ),
        ("urea; MKP; potassium nitrate", ["urea", "monopotassium phosphate", "potassium nitrate"]),
        ("Urea. Boric Acid.", ["urea", "boric acid"]),
        ("mono- and di-potassium phosphite", ["potassium phosphite"]),
        ("KNO3 + Ca(NO3)2", ["potassium nitrate", "calcium nitrate"]),
        (
            "copper, zinc and manganese sulphates",
            ["copper sulfate", "zinc sulfate", "manganese sulfate"],
        ),
        ("EDTA chelated zinc & o,o-EDDHA iron", ["zinc EDTA", "iron EDDHA"]),
        ("Zinc EDTA (disodium zinc EDTA, 14 % Zn)", ["zinc EDTA"]),
        ("potas-\nsium\nnitrate, boric\nacid", ["potassium nitrate", "boric acid"]),
        ("urea,\n\npotassium nitrate", ["urea", "potassium nitrate"]),
    ],
)
def test_source_list_is_parted(text: str, sources: list[str]) -> None:
    assert read(f"{START}DERIVED FROM: {text}").form["sources"] == sources


def test_source_list_ends_where_the_next_thing_begins() -> None:
    pasted = read(
        START + "Derived from: iron EDTA, urea\nWear gloves\nTotal Nitrogen 5%\npotassium nitrate"
    )
    assert pasted.form["sources"] == ["iron EDTA", "urea"]
    assert pasted.form["guarantee"]["total nitrogen"] == 5


def test_a_vague_name_is_kept_and_its_liquids_are_told() -> None:
    """The commonest feeds say no more than that (common practice, no source)."""
    pasted = read(START + "Derived from: iron sulfate, ammonium phosphate, citric acid")
    assert pasted.form["sources"] == ["iron sulfate", "ammonium phosphate", "citric acid"]
    assert not pasted.not_understood
    told = " ".join(entry.meaning for entry in pasted.understood)
    assert "ferric sulfate" in told and "monoammonium phosphate" in told


# The label against itself


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("Total Nitrogen 8%\n3% Urea Nitrogen\n3% Nitrate Nitrogen", "forms add up to 6 %"),
        ("8-8-8\nTotal Nitrogen 8%\nPhosphate 8%\nPotash 4%", "grade says soluble potash 8 %"),
        ("8-8-8\nTotal Nitrogen 8%\nPotash 8%", "no line guarantees it"),
        ("Iron 1%\n1.5% Chelated Iron", "more iron chelated"),
        ("Calcium 10% (CaO 10%)", "the first is kept"),
        ("Magnesium 2%\n1% Water Soluble Magnesium", "only 1 % of 2 %"),
        ("Iron 5%\nDensity 1.34 kg/L\nSpecific gravity 1.20", "don't agree"),
        ("Iron 5%\nDensity 11.2 lb/gal (1.20 kg/L)", "don't agree"),
        ("Iron 5%\nNet contents 2.5 gal (8 L)", "don't agree"),
        ("Iron 5%\npH 5\npH 6", "above it was 5"),
    ],
)
def test_contradiction_is_told(text: str, problem: str) -> None:
    problems = read(text).problems
    assert len(problems) == 1 and problem in problems[0]


@pytest.mark.parametrize(
    "text",
    [
        "12-0-0\nTotal Nitrogen 12.4%\n12.4% Urea Nitrogen",
        "Calcium 10% (CaO 14%)",
        "Iron 5%\nDensity 11.2 lb/gal (1.34 kg/L)\nNet weight 28 lb\nNet contents 2.5 gal (9.46 L)",
        "8-8-8",
    ],
)
def test_consistent_label_has_no_problem(text: str) -> None:
    assert read(text).problems == ()


def test_grade_stands_for_lines_that_are_missing() -> None:
    assert read("12-0-0 + 10% Ca").form["guarantee"] == {"total nitrogen": 12, "calcium": 10}


def test_text_without_a_guarantee_is_refused() -> None:
    for text in ("", "\n \n", "Dear all,\nsee you on Monday."):
        with pytest.raises(InputProblem, match="no guarantee can be read"):
            read_paste(text, NAME)
    with pytest.raises(InputProblem, match="needs a name"):
        read_paste(START, " ")


def test_sources_without_an_analysis_are_kept() -> None:
    assert read("Derived from urea").form["sources"] == ["urea"]


# Round trips


@pytest.mark.parametrize("path", DEMO, ids=lambda p: p.stem)
def test_a_product_printed_as_a_label_reads_back(path: Path, tmp_path: Path) -> None:
    """Printed in the US way from its file, then pasted: the same product in numbers."""
    form = ProductForm.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    rows = [form.name, "GUARANTEED ANALYSIS"]
    rows[1:1] = ["Water soluble crystals"] if form.form == "dry" else []
    for name, percent in form.guarantee.items():
        rows.append(f"{name.title()} .......... {percent}%")
        if name in form.chelated:
            part = form.chelated[name]
            text = part if isinstance(part, str) else part.percent
            agent = "" if isinstance(part, str) else f" by {part.agent}"
            rows.append(f"     {text}% {name.title()} chelated{agent}")
    rows += [f"{percent}% {name}" for name, percent in form.also.items()]
    rows.append(f"DERIVED FROM: {', '.join(form.sources)}.")
    rows += [f"Density {form.density}"] if form.density else []
    if form.ph:
        rows.append(f"pH ({form.ph_at}{'' if form.ph_at == 'neat' else ' solution'}): {form.ph}")
    rows += [f"Apply {rate}." for rate in (form.usual_rate, form.rate_range) if rate]
    rows += [f"Add {form.says.pour}."] if form.says.pour else []
    if form.says.never_with:
        rows.append(f"Do not mix with {' or '.join(form.says.never_with)}.")
    if form.says.carrier_at_least:
        amount, _, area = form.says.carrier_at_least.partition("/")
        rows.append(f"Use at least {amount} of water per {area}.")
    pasted = read("\n".join(rows))
    assert pasted.not_understood == () and pasted.problems == ()
    file = tmp_path / path.name
    file.write_text(pasted.toml.replace(NAME, form.name), encoding="utf-8")
    again, original = read_product(file), read_product(path)
    for part in (
        "form", "density", "ph", "ph_at", "sources", "guarantee", "chelated", "also", "says",
        "usual_rate", "rate_range",
    ):  # fmt: skip
        assert getattr(again, part) == getattr(original, part), part


LEADERS = st.one_of(
    st.integers(2, 30).map(lambda n: "." * n + " "),
    st.integers(2, 12).map(lambda n: " ." * n + " "),
    st.integers(2, 12).map(lambda n: "_" * n),
    st.integers(2, 9).map(lambda n: "\u2026" * n + " "),
    st.sampled_from([" ", "\t", "\u00a0", "   ", ": ", " - ", " = "]),
)
CASES = st.sampled_from([str, str.upper, str.lower, str.title])
GAPS = st.sampled_from([" ", "  ", "\t", "\u00a0", "\u2009"])
SHAPES = ("calcium-nitrate", "micronutrients-wrapped", "contradictions")


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_leaders_spaces_and_case_change_nothing(data: st.DataObject) -> None:
    shape = data.draw(st.sampled_from(SHAPES))
    path = next(p for p in LABELS if p.stem == shape)
    text = path.read_text(encoding="utf-8")
    text = text.replace("\t.05%", "\t0.05%")  # behind `. . .` its point would be asked for
    case = data.draw(CASES)

    def changed(line: str) -> str:
        line = re.sub(r"[ .]{3,}(?=[0-9]+(?:\.[0-9]+)?%)|\t", "\x00", line)
        line = case(line)
        gap = data.draw(GAPS)
        line = re.sub(r"(?<=\S) (?=\S)", gap, line)
        return data.draw(GAPS) + line.replace("\x00", data.draw(LEADERS)) + data.draw(GAPS)

    other = "\n".join(changed(line) for line in text.split("\n"))
    assert read(other).form == read(text).form


NUTRIENTS = st.sampled_from(
    [g.key for g in catalogue().guarantees.values() if "nitrogen" not in g.key and not g.same_as]
)
PERCENT = st.integers(1, 1999).map(lambda n: f"{n / 100:.2f}")
SOURCES = st.lists(
    st.sampled_from([n for n in catalogue().source_names if n not in catalogue().ambiguous]),
    min_size=1,
    max_size=6,
    unique_by=lambda n: catalogue().source_names[n],
)


@settings(max_examples=40, deadline=None)
@given(st.dictionaries(NUTRIENTS, PERCENT, min_size=1, max_size=5), SOURCES, st.data())
def test_any_analysis_printed_any_way_is_read(
    lines: dict[str, str], sources: list[str], data: st.DataObject
) -> None:
    known = catalogue()
    rows = ["Guaranteed analysis"]
    for key, percent in lines.items():
        name = data.draw(CASES)(data.draw(st.sampled_from([key, *known.guarantees[key].aliases])))
        name = name.upper() if len(name) == 1 else name
        before = data.draw(st.booleans())
        rows.append(f"{name}{data.draw(LEADERS)}{percent}%" if before else f"{percent} % {name}")
    joint = data.draw(st.sampled_from([", ", "; ", ",\n", ";\n   "]))
    rows.append(f"DERIVED FROM: {joint.join(sources)}.")
    pasted = read("\n".join(rows))
    assert pasted.not_understood == ()
    assert pasted.form["guarantee"] == {key: float(percent) for key, percent in lines.items()}
    assert pasted.form["sources"] == [known.source_names[name] for name in sources]


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=300), st.sampled_from(LABELS), st.integers(0, 400))
def test_odd_text_never_breaks_and_nothing_is_lost(odd: str, path: Path, at: int) -> None:
    text = path.read_text(encoding="utf-8")
    read(START + odd)
    try:
        read(text[:at] + odd + text[at:])
    except InputProblem as problem:
        assert "no guarantee can be read" in str(problem)


# Layouts of trade labels and web pages


def test_one_figure_each_where_names_stand_before_and_after() -> None:
    """In brackets the names follow their figures, outside they stand before them."""
    pasted = read("Total nitrogen 5% (2% ammoniacal, 3% nitric), soluble potash 10%, sulfur 3%")
    assert pasted.form["guarantee"] == {
        "total nitrogen": 5, "ammoniacal nitrogen": 2, "nitrate nitrogen": 3,
        "soluble potash": 10, "sulfur": 3,
    }  # fmt: skip
    assert pasted.not_understood == ()
    other = read("Total nitrogen 5% (2% ammoniacal, 3% strange), soluble potash 10%, sulfur 3%")
    assert other.form["guarantee"]["soluble potash"] == 10
    assert other.form["guarantee"]["sulfur"] == 3
    assert [left.line for left in other.not_understood] == ["strange"]


def test_urea_beside_nitrogen_is_asked_for() -> None:
    pasted = read("Total nitrogen 5% (1% ammoniacal, 3% urea)")
    assert "urea" not in pasted.form.get("also", {})
    assert pasted.not_understood[0].near == ("urea nitrogen", "urea")


@pytest.mark.parametrize(
    "line",
    [
        "Total nitrogen 20% (5% nitrate, 5% ammonium, 10% urea)",
        "Nitrogen 20% (5.0 nitric, 5.0 ammoniacal, 10.0 ureic)",
        "Total Nitrogen (N) 20.0%: of which nitrate 5.0%, ammonium 5.0%, urea 10.0%",
        "Total Nitrogen 20.0 % (nitrate nitrogen 5.0, ammoniacal 5.0, urea 10.0)",
    ],
)
def test_parts_that_add_up_to_the_nitrogen_are_its_forms(line: str) -> None:
    """Common practice, no source: the same split in the words of four labels."""
    pasted = read(f"{line}\nSoluble potash 8%")
    assert pasted.not_understood == ()
    assert pasted.form["guarantee"] == {
        "total nitrogen": 20, "nitrate nitrogen": 5, "ammoniacal nitrogen": 5,
        "urea nitrogen": 10, "soluble potash": 8,
    }  # fmt: skip


def test_figures_in_brackets_that_do_not_add_up_stay_a_question() -> None:
    pasted = read("Total nitrogen 20% (nitrate 5, ammonium 6)\nSoluble potash 8%")
    assert pasted.form["guarantee"] == {"total nitrogen": 20, "soluble potash": 8}
    assert pasted.not_understood


@pytest.mark.parametrize(
    ("title", "open_"),
    [
        ("LIQUID CALCIUM 8%", False),
        ("8% CALCIUM LIQUID FERTILIZER", False),
        ("Calcium nitrate solution 7 + 8", False),
        ("LIQUID CALCIUM 9%", True),
        ("LIQUID IRON 8%", True),
        ("Liquid calcium 8% EDTA", True),
    ],
)
def test_a_title_that_repeats_the_analysis_is_no_question(title: str, open_: bool) -> None:
    """Common practice, no source: a name with its nutrient's figure; another figure is news."""
    pasted = read(f"{title}\nGuaranteed analysis\nTotal nitrogen 7%\nCalcium 8.0%")
    assert pasted.form["guarantee"] == {"total nitrogen": 7, "calcium": 8.0}
    assert bool(pasted.not_understood) == open_


def test_marks_of_footnotes_are_no_figures() -> None:
    pasted = read("Iron (Fe)\u00b9 .... 2.0%\n 2.0% Chelated Iron\u00b2\nDensity 1340 kg/m\u00b3")
    assert pasted.form["guarantee"] == {"iron": 2.0}
    assert pasted.form["density"] == "1340 kg/m3"


def test_a_content_per_litre_is_no_weight_of_the_pack() -> None:
    form = read("Contains: calcium 100 g/L, boron 2 g/L\nIron 5%").form
    assert "net_weight" not in form


@pytest.mark.parametrize(
    ("line", "guarantee"),
    [
        ("Nitrogen (N) as nitrate 10.0%", {"nitrate nitrogen": 10}),
        ("NITROGEN (N) as urea 9.0%", {"urea nitrogen": 9}),
        ("Total Nitrogen (N) / Azote total (N) ... 10%", {"total nitrogen": 10}),
        ("Soluble Potash (K2O) / Potasse soluble (K2O) 8%", {"soluble potash": 8}),
    ],
)
def test_names_as_other_countries_print_them(line: str, guarantee: dict[str, float]) -> None:
    assert read(line).form["guarantee"] == guarantee


def test_sources_behind_a_heading_in_two_languages() -> None:
    pasted = read(START + "Derived from / D\u00e9riv\u00e9 de: urea, potassium nitrate")
    assert pasted.form["sources"] == ["urea", "potassium nitrate"]


def test_specific_gravity_by_its_letters() -> None:
    assert read(START + "S.G. 1.22").form["specific_gravity"] == "1.22"


def test_a_refused_text_names_the_lines_that_were_not_read() -> None:
    with pytest.raises(InputProblem, match="line 2: Twelve prizes in 9 years"):
        read_paste("For lawns and greens\nTwelve prizes in 9 years", NAME)


def test_a_text_whose_only_content_is_doubtful_is_asked_not_refused() -> None:
    pasted = read_paste("GUARANTEED ANALYSIS\nTota1 Nitrogen (N) 7.O%", NAME)
    assert [entry["kind"] for entry in pasted.form["unread"]] == ["composition"]


@pytest.mark.parametrize("name", ["Ca", "Mg"])
@pytest.mark.parametrize("leader", [" ", "__", "  ", " .... "])
def test_a_figure_under_one_is_no_oxygen(name: str, leader: str) -> None:
    """`Ca 0.05%` is calcium, not CaO."""
    pasted = read(f"Guaranteed analysis\n{name}{leader}0.05%\nDerived from: urea")
    key = {"Ca": "calcium", "Mg": "magnesium"}[name]
    assert pasted.form["guarantee"] == {key: 0.05}
    assert pasted.not_understood == ()


@pytest.mark.parametrize(
    ("listed", "sources", "asked"),
    [
        (
            "urea, potassium nitrate and (citric acid)",
            ["urea", "potassium nitrate", "citric acid"],
            0,
        ),
        ("urea, potassium nitrate (citric acid)", ["urea"], 1),
        ("urea and potassium nitrate (and citric acid)", ["urea"], 1),
        ("urea, potassium nitrate (KNO3)", ["urea", "potassium nitrate"], 0),
    ],
)
def test_no_source_goes_missing_at_a_bracket(listed: str, sources: list[str], asked: int) -> None:
    """Common practice, no source: brackets hold a formula, another name or another source."""
    pasted = read(f"Total nitrogen 10%\nSoluble potash 5%\nDerived from {listed}")
    assert pasted.form["sources"] == sources
    assert len(pasted.not_understood) == asked


@pytest.mark.parametrize(
    "line",
    [
        "2.0% chelated iron (EDTA)",
        "Chelated iron (Fe) (EDTA) 2.0%",
        "Iron (Fe) EDTA 2.0%",
        "Chelated Iron (EDTA) 2.0 %",
    ],
)
def test_what_holds_a_metal_may_be_said_beside_chelated(line: str) -> None:
    """Common practice, no source."""
    pasted = read(f"Iron (Fe) 2.5%\n{line}")
    assert pasted.not_understood == ()
    assert pasted.form["chelated"] == {"iron": {"percent": 2.0, "agent": "EDTA"}}


def test_a_quart_and_quarts_are_one_unit() -> None:
    pasted = read("Total nitrogen 10%\nApply 1 quart per acre, no more than 2 quarts per acre")
    assert pasted.form["rate_range"] == "1-2 quarts/acre"
