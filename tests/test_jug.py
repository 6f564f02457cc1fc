"""One label read as a liquid."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from test_cli import jarsight
from test_forecast import product

from chem.advice.jug import Finding, Jug, jug
from chem.label import read_product
from chem.sheets.blocks import as_text
from chem.sheets.jug import finding_text, jug_json, jug_sheet, seller_questions
from chem.sheets.words import with_name
from chem.shelf import read_item

DEMO = Path(__file__).parent.parent / "data" / "demo" / "products"


def read(folder: Path, **entries: object) -> Jug:
    return jug(read_product(folder / product(folder, "jug", **entries)), count=128)


@pytest.mark.parametrize("path", sorted(DEMO.glob("*.toml")), ids=lambda p: p.stem)
def test_the_demo_shelf_adds_up(path: Path) -> None:
    result = jug(read_product(path), count=128)
    assert result.adds_up, result.problems
    text = as_text(jug_sheet(result))
    assert max(map(len, text.splitlines())) <= 60
    data = json.loads(jug_json(result))
    assert {
        "product", "density_kg_per_L", "makeup_mol_per_kg", "sources_percent", "ph", "adds_up",
        "problems", "doubts",
    } <= set(data)  # fmt: skip
    for entry in data["makeup_mol_per_kg"].values():
        assert entry["p05"] <= entry["median"] <= entry["p95"]


def test_phosphate_printed_as_the_element_is_recognised(tmp_path: Path) -> None:
    """KH2PO4 holds 22.8 % P and 34.6 % K2O (IUPAC masses): P taken for P2O5 doesn't add up."""
    result = read(
        tmp_path, form="dry", sources=["monopotassium phosphate"],
        guarantee={"available phosphate": 22.5, "soluble potash": 34.0},
    )  # fmt: skip
    assert not result.adds_up
    assert any("was printed as P" in finding_text(p) for p in result.problems)
    right = read(
        tmp_path, form="dry", sources=["monopotassium phosphate"],
        guarantee={"available phosphate": 51.5, "soluble potash": 34.0},
    )  # fmt: skip
    assert right.adds_up, right.problems


def test_forms_that_do_not_sum_and_densities_that_can_not_be(tmp_path: Path) -> None:
    forms = read(
        tmp_path, density="1.3 kg/L", sources=["urea", "ammonium nitrate"],
        guarantee={"total nitrogen": 28.0, "nitrate nitrogen": 7.0, "ammoniacal nitrogen": 7.0},
    )  # fmt: skip
    assert any("nitrogen forms add up to 14" in finding_text(p) for p in forms.problems)
    light = read(
        tmp_path, density="1.02 kg/L", sources=["calcium chloride"], guarantee={"calcium": 12.0}
    )
    assert any("too light" in finding_text(p) for p in light.problems)
    heavy = read(tmp_path, density="1.9 kg/L", sources=["urea"], guarantee={"urea nitrogen": 10.0})
    assert any("too heavy" in finding_text(p) for p in heavy.problems)


def test_sentences_are_made_of_findings_alone() -> None:
    """By hand, without a label."""
    assert finding_text(Finding("nitrogen_forms", ("nitrate nitrogen",), (9.0, 14.0))) == (
        "its nitrogen forms add up to 9 %, less than 14 %"
    )
    assert finding_text(Finding("too_light", figures=(1.02, 40.0, 1.1234))) == (
        "a density of 1.02 kg/L is too light for 40 % dissolved (at least 1.12)"
    )
    assert finding_text(
        Finding("which", ("iron chelate", "iron EDTA", "iron DTPA"), (0.7, 0.3))
    ) == ("what its iron chelate is: iron EDTA (7 in 10), iron DTPA (3 in 10)")


def test_an_unreachable_guarantee_stands_in_problems_and_exits_0(tmp_path: Path) -> None:
    name = product(
        tmp_path, "odd", density="1.3 kg/L", sources=["calcium nitrate"],
        guarantee={"nitrate nitrogen": 12.0, "calcium": 2.0},
    )  # fmt: skip
    done = jarsight("label", str(tmp_path / name), "--json", "--draws", "64")
    assert done.returncode == 0, done.stderr
    data = json.loads(done.stdout)
    assert not data["adds_up"] and data["problems"]


def test_what_a_gallon_carries_and_costs(tmp_path: Path) -> None:
    """10-34-0 at 11.4 lb/gal: 1.1 lb N and 3.9 lb P2O5 a gallon (Univ. of Nebraska lesson)."""
    result = read(
        tmp_path, density="11.4 lb/gal", sources=["ammonium polyphosphate"], price="$57/5 gal",
        guarantee={"ammoniacal nitrogen": 10.0, "available phosphate": 34.0},
    )  # fmt: skip
    per_gallon = {c.nutrient: c.kg_per_L * 3.785412 / 0.45359237 for c in result.carried}
    assert per_gallon["N"] == pytest.approx(1.14, abs=0.02)
    assert per_gallon["P2O5"] == pytest.approx(3.88, abs=0.03)
    price = next(c.price_per_kg for c in result.carried if c.nutrient == "P2O5")
    assert price is not None
    assert price * 0.45359237 == pytest.approx(11.4 / 3.88, rel=0.02)
    assert "$2.9" in as_text(jug_sheet(result))


def test_cold_salts_out_where_the_trade_says(tmp_path: Path) -> None:
    """Half urea half water salts out near 16 C (common practice, no source)."""
    result = read(
        tmp_path, density="1.145 kg/L", sources=["urea"], guarantee={"urea nitrogen": 22.6},
        known={"urea": 49.0},
    )  # fmt: skip
    cold = result.cold
    assert cold is not None and cold.names == ("urea",) and cold.cannot_judge is None
    assert cold.salts_out_below is not None and cold.freezes_below is None
    assert cold.salts_out_below.median == pytest.approx(16.0, abs=4.0)
    assert cold.clear_at is not None and cold.clear_at < 0.2
    told = json.loads(jug_json(result))
    assert told["salts_out_below_C"]["median"] == cold.salts_out_below.median
    assert told["salts_out"][0]["key"] == "urea" and told["cannot_judge"] is None


def test_a_dilution_has_a_conductivity(tmp_path: Path) -> None:
    """KCl at 0.0134 mol/kg: between 1.408 at 0.01 and 12.82 at 0.1 (Wu, Koch and Pratt 1991)."""
    result = read(
        tmp_path, density="1.06 kg/L", sources=["potassium chloride"], ph=7.0,
        guarantee={"soluble potash": 6.3},
    )  # fmt: skip
    current = result.conductivity_mS_per_cm
    assert current is not None and current.median == pytest.approx(1.97, rel=0.12)
    assert "mS/cm" in as_text(jug_sheet(result))


def test_a_mixture_that_no_table_holds_is_said(tmp_path: Path) -> None:
    result = read(
        tmp_path, density="1.2 kg/L", sources=["urea", "potassium chloride"],
        guarantee={"urea nitrogen": 10.0, "soluble potash": 10.0},
    )  # fmt: skip
    assert result.cold is not None and result.cold.salts_out_below is None
    assert result.cold.cannot_judge is not None and "table" in result.cold.cannot_judge
    assert json.loads(jug_json(result))["salts_out_below_C"] is None


def test_known_narrows_and_missing_is_said(tmp_path: Path) -> None:
    entries = {
        "density": "1.3 kg/L", "sources": ["calcium nitrate", "calcium chloride"],
        "guarantee": {"calcium": 9.0},
    }  # fmt: skip
    wide = read(tmp_path, **entries)
    narrow = read(tmp_path, **entries, known={"calcium chloride": 10.0, "ph": 6.0})
    spread = [r.makeup["Cl"].p95 - r.makeup["Cl"].p05 for r in (wide, narrow)]
    assert spread[1] < 0.5 * spread[0]
    left = {found.key for found in wide.open}
    assert {"no_ph", "split"} <= left and "no_ph" not in {found.key for found in narrow.open}


def test_command_finds_the_demo_shelf_and_tells_what_is_missing() -> None:
    done = jarsight("label", "urea-liquor", "--draws", "64", "--coldest", "20 F")
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[2] == "The label adds up."
    assert jarsight("label").returncode == 2
    assert jarsight("label", "nothing-like-it").returncode == 2


def test_a_key_inside_another_word_is_no_product() -> None:
    asked = "ask the maker how much dipotassium phosphite is in phite"
    assert with_name(asked, "product:phite:source:dipotassium phosphite", {"phite": "Liquor"}) == (
        "ask the maker how much dipotassium phosphite is in Liquor"
    )
    assert with_name("how much urea is in urea", "product:urea:x", {"urea": "Prills"}) == (
        "how much urea is in Prills"
    )


def test_questions_to_the_seller_ask_what_the_label_leaves_open() -> None:
    """Plain text, each a question; what a label tells is not asked."""
    product = read_product(DEMO / "npk-orthophosphate.toml")
    found = jug(product, count=64)
    asked = seller_questions(found)
    assert 2 <= len(asked) <= 7 and all(a.endswith("?") and "jarsight" not in a for a in asked)
    assert any("What is the pH" in a for a in asked) == (product.ph is None)
    assert any("sodium or chloride" in a for a in asked)
    assert json.loads(jug_json(found))["ask_the_seller"] == asked
    bare = jug(replace(product, ph=None), count=64)
    assert any("What is the pH" in a for a in seller_questions(bare))
    assert "QUESTIONS TO THE SELLER, TO COPY" in as_text(jug_sheet(found))


def test_a_metric_sheet_holds_no_unit_of_the_us() -> None:
    text = as_text(jug_sheet(jug(read_product(DEMO / "iron-citric.toml"), count=64), "metric"))
    assert "kg/L" in text and not re.search(r"lb\b|gal\b|\d F\b", text)


def test_a_line_without_a_source_is_a_doubt_with_candidates(tmp_path: Path) -> None:
    """Magnesium on a label that names urea alone: common salts stand for it, nothing is refused."""
    result = read(
        tmp_path, density="1.15 kg/L", usual_rate="4 fl oz/1000 sq ft", sources=["urea"],
        guarantee={"urea nitrogen": 15.0, "magnesium": 2.0},
    )  # fmt: skip
    assert result.adds_up, result.problems
    assert {"magnesium sulfate", "magnesium nitrate"} <= set(result.sources_percent)
    assert any("no source named for magnesium" in note for note in result.notes)
    assert read_item(tmp_path / "jug.toml").product.name
