"""The shed's own measures: what they are called, what they show, and amounts told by them."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from chem.advice.jar import jar
from chem.errors import InputProblem
from chem.sheets.blocks import as_text
from chem.sheets.jar import jar_sheet
from chem.sheets.tank import line_text
from chem.tank import Mix, loads, read_mix
from chem.units import measured, read_measure

OZ_ML, QUART_ML = 29.5735295625, 946.352946  # NIST Handbook 44, appendix C


@pytest.mark.parametrize(
    ("text", "by_mass", "holds", "mark"),
    [
        # ISO 7886-1 gives a 10 mL syringe marks of 1 mL at most, a 5 mL one 0.5 mL: from memory.
        ("10 mL syringe", False, 10.0, 1.0),
        ("5 mL syringe", False, 5.0, 0.5),
        ("1 mL syringe", False, 1.0, 0.01),
        ("60 mL syringe by 1 mL", False, 60.0, 1.0),
        ("1 qt jug by 2 fl oz", False, QUART_ML, 2.0 * OZ_ML),
        ("2.5 L jug, marks of 100 mL", False, 2500.0, 100.0),
        ("1/2 tsp", False, OZ_ML / 12.0, OZ_ML / 12.0),
        ("tablespoon", False, OZ_ML / 2.0, OZ_ML / 2.0),
        ("measuring spoons", False, OZ_ML / 2.0, OZ_ML / 24.0),
        ("kitchen scale 1 g", True, 5000.0, 1.0),
        ("scale 0.1 oz to 5 lb", True, 2267.96185, 2.8349523125),
    ],
)
def test_measures_as_people_call_them(text: str, by_mass: bool, holds: float, mark: float) -> None:
    found = read_measure(text, "shed.toml, measures")
    assert (found.by_mass, found.holds, found.mark) == (by_mass, approx(holds), approx(mark))


@pytest.mark.parametrize("text", ["spade", "3 furlong jug", "scale of 2 gal"])
def test_what_nothing_can_be_measured_with_is_told(text: str) -> None:
    with pytest.raises(InputProblem, match=r"shed\.toml, measures"):
        read_measure(text, "shed.toml, measures")


TOOLS = [
    read_measure(text, "here")
    for text in (
        "10 mL syringe",
        "1 qt jug by 1 fl oz",
        "1 gal jug by 8 fl oz",
        "scale 1 g to 5 kg",
    )
]


@settings(max_examples=64, deadline=None)
@given(amount=st.floats(1.0, 50_000.0), by_mass=st.booleans())
def test_fillings_and_rest_make_up_the_amount(amount: float, by_mass: bool) -> None:
    found = measured(amount, by_mass, TOOLS)
    assert found is not None
    first = 0.0 if found.first is None else found.fillings * found.first.holds
    # Within half a mark of a measure that is fine enough, or of the finest there is.
    assert (
        abs(first + found.rest - amount)
        <= max(0.02 * amount, 0.5 * min(t.mark for t in TOOLS if t.by_mass == by_mass)) + 1e-9
    )
    assert found.text


def test_amounts_by_hand() -> None:
    # 150 fl oz: a gallon (128 fl oz) and 22 fl oz in a quart jug.
    found = measured(150.0 * OZ_ML, False, TOOLS)
    assert found is not None
    assert found.text == "1 x 1 gal jug + 22 fl oz in the 1 qt jug"
    scale = measured(12_000.0, True, TOOLS)
    assert scale is not None and scale.text == "2 x 5,000 g + 2,000 g on the scale"
    assert measured(5.0, True, TOOLS[:3]) is None


@pytest.fixture(scope="module")
def mix(tmp_path_factory: pytest.TempPathFactory) -> Mix:
    home = tmp_path_factory.mktemp("shed")
    (home / "shed.toml").write_text(
        'measures = ["10 mL syringe", "1 qt jug by 1 fl oz", "1 gal jug by 8 fl oz", "scale 1 g"]\n'
    )
    (home / "mix.toml").write_text(
        'name = "Feed, invented"\nwater = "soft"\ncarrier = "2 gal/1000 sq ft"\ntank = "50 gal"\n'
        '[[add]]\nproduct = "urea-liquor.toml"\nrate = "6 fl oz/1000 sq ft"\n'
        '[[add]]\nproduct = "magnesium-sulfate-heptahydrate.toml"\n'
        'rate = "3 oz wt/1000 sq ft"\n'
    )
    return read_mix(home / "mix.toml")


def test_the_pouring_table_tells_amounts_by_them(mix: Mix) -> None:
    load = loads(mix)[0]
    assert line_text(load.of(0), "us") == "150 fl oz: 1 x 1 gal jug + 22 fl oz in the 1 qt jug"
    assert line_text(load.of(1), "us").endswith("2,126 g on the scale")  # 75 oz wt


def test_the_jar_is_large_enough_for_them(mix: Mix) -> None:
    found = jar(mix, count=16)
    liquor, epsom = (step for step in found.steps if step.product is not None)
    assert (liquor.tool, epsom.tool) == ("10 mL syringe", "scale")
    # Half a mark of ten is 5 %: neither is told below ten of its marks.
    assert liquor.amount >= 10.0 and epsom.amount >= 10.0
    said = " ".join(as_text(jar_sheet(found)).split())
    assert "By your own measures: 10 mL syringe" in said and "on the scale" in said
