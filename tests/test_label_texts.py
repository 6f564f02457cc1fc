"""Small labels, each with what a careful person would keep of it, ask, or say does not add up."""

from __future__ import annotations

import re
from typing import Any

import pytest

from chem.errors import InputProblem
from chem.label.paste import Pasted, read_paste

HEAD = "Guaranteed analysis\n"
NPK = "Total nitrogen (N) 12.0%\nAvailable phosphate (P2O5) 4.0%\nSoluble potash (K2O) 8.0%\n"


def read(text: str) -> Pasted:
    return read_paste(text, "A jug, invented")


def problems(text: str) -> list[str]:
    return list(read(text).problems)


def asked(text: str) -> list[str]:
    return [entry.why for entry in read(text).not_understood]


def form(text: str) -> dict[str, Any]:
    return read(text).form


# --- the analysis against itself -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("grade", "wrong"),
    [
        ("12-4-8", ()), ("12-4-9", ("soluble potash",)), ("13-4-8", ("total nitrogen",)),
        ("12-5-9", ("available phosphate", "soluble potash")), ("12-4-8.05", ()),
        ("12-4-8.1", ("soluble potash",)), ("12-0-8", ("available phosphate",)),
    ],
)  # fmt: skip
def test_a_grade_prints_whole_numbers_of_its_lines(grade: str, wrong: tuple[str, ...]) -> None:
    said = problems(f"{grade}\n{HEAD}{NPK}")
    assert len(said) == len(wrong) and all(
        f"grade says {name}" in text for name, text in zip(wrong, said, strict=True)
    )


def test_a_grade_rounds_down_less_than_a_point() -> None:
    odd = NPK.replace("8.0%", "8.9%")
    assert problems(f"12-4-8\n{HEAD}{odd}") == []
    assert problems(f"12-4-8\n{HEAD}{odd.replace('8.9', '9.1')}") != []


def test_a_grade_stands_for_what_no_line_says_and_asks_for_what_one_should() -> None:
    assert form("12-4-8")["guarantee"] == {
        "total nitrogen": 12, "available phosphate": 4, "soluble potash": 8,
    }  # fmt: skip
    some = read(f"12-4-8\n{HEAD}Total nitrogen (N) 12.0%\n")
    assert some.form["guarantee"] == {"total nitrogen": 12.0}
    assert [p.split(": ")[1].split(",")[0] for p in some.problems] == [
        "the grade says available phosphate 4 %", "the grade says soluble potash 8 %",
    ]  # fmt: skip
    iron = form(f"12-0-0 + 2% Fe\n{HEAD}Total nitrogen (N) 12.0%\n")["guarantee"]
    assert iron == {"total nitrogen": 12.0, "iron": 2}
    forms = f"12-0-0\n{HEAD}Nitrate nitrogen 5.0%\nUrea nitrogen {{}}%\n"
    assert problems(forms.format("7.0")) == []
    assert "total nitrogen" in problems(forms.format("9.0"))[0]


@pytest.mark.parametrize(
    ("total", "parts", "wrong"),
    [
        ("12.0", ("5.0", "7.0"), False), ("12.0", ("5.0", "7.1"), False),
        ("12.0", ("5.0", "7.3"), True), ("12.0", ("5.0", "6.9"), False),
        ("12.0", ("5.0", "6.7"), True), ("12", ("5", "6"), False), ("12", ("5", "5"), True),
    ],
)  # fmt: skip
def test_forms_of_nitrogen_add_up_as_far_as_they_are_printed(
    total: str, parts: tuple[str, str], wrong: bool
) -> None:
    """Half of each last digit: 0.15 % of three figures to a tenth."""
    forms = f"Nitrate nitrogen {parts[0]}%\nUrea nitrogen {parts[1]}%"
    assert bool(problems(f"{HEAD}Total nitrogen (N) {total}%\n{forms}")) is wrong


@pytest.mark.parametrize(("part", "wrong"), [("2.0", False), ("1.9", False), ("2.1", True)])
def test_no_more_is_chelated_than_there_is(part: str, wrong: bool) -> None:
    said = problems(f"{HEAD}Iron (Fe) 2.0%\n{part}% chelated by EDTA\n")
    assert bool(said) is wrong and all("more iron chelated" in text for text in said)


def test_a_chelated_part_alone_is_all_there_is() -> None:
    found = form(f"{HEAD}Total nitrogen (N) 5.0%\nChelated iron (Fe) 2.0%\nChelating agent: EDTA")
    assert found["guarantee"]["iron"] == 2.0
    assert found["chelated"]["iron"] == {"percent": 2.0, "agent": "EDTA"}


# --- density -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("more", "wrong"),
    [
        ("Density 1.20 kg/L\nSpecific gravity 1.20", False),
        ("Density 1.20 kg/L\nSpecific gravity 1.23", False),
        ("Density 1.20 kg/L\nSpecific gravity 1.25", True),
        ("Density 1.25 kg/L\nSpecific gravity 1.20", True),
        ("Density 1.20 kg/L\nNet weight 12 kg\nNet contents 10 L", False),
        ("Density 1.20 kg/L\nNet weight 13 kg\nNet contents 10 L", True),
        ("Net weight 50 kg\nNet contents 10 L", True),
        ("Net weight 5 kg\nNet contents 10 L", True),
        ("Net weight 1.250 kg\nNet contents 1000 L", False),  # a point that parts thousands
    ],
)
def test_ways_to_tell_a_density_agree_within_three_in_a_hundred(more: str, wrong: bool) -> None:
    assert bool(problems(f"{HEAD}Total nitrogen (N) 5.0%\n{more}")) is wrong


def test_a_weight_that_no_liquid_has_is_not_kept() -> None:
    odd = form(f"{HEAD}Total nitrogen (N) 5.0%\nNet weight 50 kg\nNet contents 10 L")
    assert "net_weight" not in odd and odd["density"] == "unknown"
    thousands = form(f"{HEAD}Total nitrogen (N) 5.0%\nNet weight 1.250 kg\nNet contents 1000 L")
    assert thousands["net_weight"] == "1250 kg" and "density" not in thousands


def test_a_volume_alone_at_an_end_is_the_pack() -> None:
    assert form(f"{HEAD}Total nitrogen (N) 5.0%\n20 L")["net_volume"] == "20 L"
    assert form(f"20 L\n{HEAD}Total nitrogen (N) 5.0%")["net_volume"] == "20 L"
    amid = read(f"{HEAD}Total nitrogen (N) 5.0%\n20 L\nSoluble potash (K2O) 5.0%")
    assert "net_volume" not in amid.form and len(amid.not_understood) == 1
    two = read(f"10 L\n{HEAD}Total nitrogen (N) 5.0%\n20 L")
    assert "net_volume" not in two.form


# --- by weight and by volume ---------------------------------------------------------------------


def test_one_basis_for_the_file() -> None:
    volume = form(f"{HEAD}Total nitrogen (N) 12% w/v\nSoluble potash (K2O) 8% w/v\n")
    assert volume["basis"] == "w/v" and volume["guarantee"]["total nitrogen"] == 12
    weight = form(f"{HEAD}Total nitrogen (N) 12% w/w\nSoluble potash (K2O) 8% w/w\n")
    assert "basis" not in weight
    both = read(f"{HEAD}Total nitrogen (N) 12% w/w\nSoluble potash (K2O) 8% w/v\n")
    assert both.form["guarantee"] == {"total nitrogen": 12}
    assert [e.why for e in both.not_understood] == ["percent by volume beside others by weight"]


# --- points that were lost -----------------------------------------------------------------------


def test_a_whole_figure_among_many_with_points_is_asked_for() -> None:
    """Three with decimals for each without, from 10 to 99."""
    many = f"{HEAD}Iron (Fe) 2.5%\nManganese (Mn) 1.5%\nZinc (Zn) 0.5%\n"
    asks = read(f"{many}Total nitrogen (N) 45%\n")
    assert "lost its point" in asks.not_understood[0].why
    assert asks.not_understood[0].near == ("45 %", "4.5 %")
    assert "total nitrogen" not in asks.form["guarantee"]
    assert form(f"{many}Total nitrogen (N) 5%\n")["guarantee"]["total nitrogen"] == 5
    assert asked(f"45-0-0\n{many}Total nitrogen (N) 45%\n") == []  # the grade confirms it
    few = f"{HEAD}Iron (Fe) 2.5%\nZinc (Zn) 0.5%\n"
    assert form(f"{few}Total nitrogen (N) 12%\n")["guarantee"]["total nitrogen"] == 12


def test_more_than_a_liquid_holds_is_asked_for() -> None:
    """Iron: no liquid holds a quarter of it (value from memory); crystals do."""
    text = f"{HEAD}Iron (Fe) 25%\n"
    assert "more than a liquid holds" in asked(f"{text}Specific gravity 1.30\n")[0]
    assert form(text)["guarantee"]["iron"] == 25  # nobody says that it is a liquid
    assert form(f"{HEAD}Iron (Fe) 5%\nSpecific gravity 1.30\n")["guarantee"]["iron"] == 5


# --- rates ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("Apply 3 fl oz per 1,000 sq ft", {"usual_rate": "3 fl oz/1000 sq ft"}),
        ("Apply 3-6 fl oz per 1,000 sq ft", {"rate_range": "3-6 fl oz/1000 sq ft"}),
        ("Apply 3 to 6 fl oz per 1,000 sq ft", {"rate_range": "3-6 fl oz/1000 sq ft"}),
        ("Dose: 2 L/ha in at least 200 L of water/ha",
         {"usual_rate": "2 L/ha", "says": {"carrier_at_least": "200 L/ha"}}),
        ("Dose: 2 L/ha in 200-400 L of water/ha",
         {"usual_rate": "2 L/ha",
          "says": {"carrier_at_least": "200 L/ha", "carrier_at_most": "400 L/ha"}}),
        ("Dose: 2 L/ha in 200 L of water/ha", {"usual_rate": "2 L/ha"}),
        ("Apply 2 fl oz per acre, no more than 4 fl oz per acre",
         {"usual_rate": "2 fl oz/acre", "rate_range": "2-4 fl oz/acre"}),
        ("Use at 0.5 % v/v", {"usual_rate": "0.5 % v/v"}),
        ("Use at 0.5-1 % v/v", {"rate_range": "0.5-1 % v/v"}),
    ],
)  # fmt: skip
def test_rates_of_a_line(line: str, wanted: dict[str, Any]) -> None:
    found = form(f"{HEAD}Total nitrogen (N) 5.0%\n{line}\n")
    keys = ("usual_rate", "rate_range", "says")
    assert {key: found[key] for key in keys if key in found} == wanted
    assert "unread" not in found


@pytest.mark.parametrize(
    ("lines", "why"),
    [
        ("Apply at most 6 fl oz per 1,000 sq ft", "a highest rate alone has no key"),
        ("Apply at least 6 fl oz per 1,000 sq ft", "a lowest rate alone has no key"),
        ("Usual rate 9 fl oz/1,000 sq ft\nApply 3-6 fl oz per 1,000 sq ft", "outside the rates"),
        ("Dose: 20 L/ha in at least 10 L of water/ha", "below the product's rate"),
        ("Apply - 6 fl oz per 1,000 sq ft", "without its other end"),
    ],
)
def test_rates_that_are_asked_for(lines: str, why: str) -> None:
    said = asked(f"{HEAD}Total nitrogen (N) 5.0%\n{lines}\n")
    assert len(said) == 1 and why in said[0]


# --- what is a label at all ----------------------------------------------------------------------


def test_a_text_is_kept_where_it_holds_anything_of_a_jug() -> None:
    for text in ("Density 1.2 kg/L\npH 6.5", "Derived from urea, potassium nitrate"):
        assert form(text)
    for text in ("A fine day\nNobody sprayed", "pH 6.5\nA fine day"):
        with pytest.raises(InputProblem, match="no guarantee can be read"):
            read(text)


def test_care_is_kept_apart_from_what_is_asked() -> None:
    found = form(f"{HEAD}Total nitrogen (N) 5.0%\nDo not store below 5 C. Wear gloves.\n")
    assert "unread" not in found and found["care"]


def test_an_agent_that_the_label_names_makes_its_chelate_a_source() -> None:
    iron = "Iron (Fe) 2.0%\n2.0% chelated iron (Fe)\nChelating agent: EDTA\n"
    text = f"{HEAD}{iron}Derived from {{}}"
    assert form(text.format("urea"))["sources"] == ["urea", "iron EDTA"]
    assert "iron EDTA" not in form(text.format("ferrous sulfate"))["sources"]


def test_a_figure_is_kept_as_printed() -> None:
    found = form(f"{HEAD}Total nitrogen (N) 5.50%\nIron (Fe) 0.10%\n")["guarantee"]
    assert found == {"total nitrogen": 5.5, "iron": 0.1}


@pytest.mark.parametrize(
    ("listed", "sources"),
    [
        ("zinc and manganese sulfates", ["zinc sulfate", "manganese sulfate"]),
        ("urea, zinc and manganese sulfates", ["urea", "zinc sulfate", "manganese sulfate"]),
        ("urea plus potassium nitrate", ["urea", "potassium nitrate"]),
        ("urea, potassium nitrate, and citric acid", ["urea", "potassium nitrate", "citric acid"]),
    ],
)
def test_sources_of_a_list(listed: str, sources: list[str]) -> None:
    found = form(f"{HEAD}Total nitrogen (N) 5.0%\nDerived from {listed}\n")["sources"]
    assert [re.sub(r" \w+hydrate$", "", s) for s in found] == sources
