"""What labels name besides salts: a class with an effect, in every language of the labels."""

from __future__ import annotations

import pytest

from chem.forecast.unjudged import beyond_ions
from chem.label import Product, make_product
from chem.label.paste import read_paste
from chem.reference import catalogue, ingredient, read_csv
from chem.tank import make_mix


def calcium(*sources: str) -> Product:
    """Calcium chloride with other ingredients, invented."""
    return make_product(
        "Calcium, invented",
        density="1.2 kg/L",
        guarantee={"calcium": 8.0},
        sources=["calcium chloride", *sources],
    )


def test_every_row_has_a_class_and_counts_as_a_known_source() -> None:
    classes = {row["class"]: row for row in read_csv("ingredient_classes.csv")}
    assert {row["class"] for row in read_csv("ingredients.csv")} <= set(classes)
    for row in classes.values():
        assert (row["kind"] == "source") == bool(row["counts_as"])
        assert not row["counts_as"] or row["counts_as"] in catalogue().sources


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("propylene glycol", "inert"),
        ("Propylenglykol", "inert"),
        ("alcohol ethoxylate", "nonionic surfactant"),
        ("sodium lauryl sulfate", "anionic surfactant"),
        ("guar gum", "gum"),
        ("goma guar", "gum"),
        ("GLDA", "complexant"),
        ("\u00e1cidos h\u00famicos", "humate"),
        ("extrait d'algues", "seaweed"),
        ("chitosan", "cationic polymer or surfactant"),
        ("1,2-benzisothiazolin-3-one", "preservative"),
    ],
)
def test_names_in_several_languages(name: str, kind: str) -> None:
    """What each is: common practice, no source; its effect in a tank: value from memory."""
    found = ingredient(name)
    assert found is not None and found.key == kind


def test_inert_and_known_ingredients_leave_a_product_judged() -> None:
    """An unknown name may hold anything; a preservative or a complexant may not."""
    plain = calcium()
    known = calcium("1,2-benzisothiazolin-3-one", "GLDA")
    other = calcium("wonder juice")
    assert plain.judged and known.judged and not other.judged
    assert known.sources == plain.sources
    (note,) = known.unread_notes
    assert "GLDA" in note and "complexant" in note


def test_colloids_count_as_the_source_that_has_rules() -> None:
    product = calcium("\u00e1cidos h\u00famicos")
    assert [s.key for s in product.sources] == ["calcium chloride", "humic acid"]


def test_anionic_surfactant_brings_the_note_on_scum() -> None:
    """Soaps and anionic surfactants give scum with calcium; common practice, no source."""
    plain = calcium()
    soapy = calcium("potassium oleate")
    assert soapy.is_anionic and not plain.is_anionic
    told = {}
    for product in (plain, soapy):
        mix = make_mix("Tank, invented", [(product, "2 gal/acre")], carrier="50 gal/acre")
        told[product.is_anionic] = " ".join(beyond_ions(mix, {"Ca": 0.05}))
    assert "scum" in told[True] and "scum" not in told[False]


def test_a_pasted_list_of_sources_places_its_ingredients() -> None:
    pasted = read_paste(
        "Guaranteed analysis\nIron (Fe) 5.0%\n"
        "Derived from: ferrous sulfate, propylene glycol, guar gum, alcohol ethoxylate",
        "Iron, invented",
    )
    assert pasted.form["sources"] == [
        "ferrous sulfate", "propylene glycol", "guar gum", "alcohol ethoxylate",
    ]  # fmt: skip
    assert "unread" not in pasted.form


def test_a_percent_of_an_ingredient_is_no_question() -> None:
    pasted = read_paste(
        "Guaranteed analysis\nIron (Fe) 5.0%\nAlcohol ethoxylate 2.5 %\n"
        "Derived from: ferrous sulfate",
        "Iron, invented",
    )
    assert "unread" not in pasted.form
    assert pasted.form["guarantee"] == {"iron": 5.0}
    assert set(pasted.form["sources"]) == {"ferrous sulfate", "Alcohol ethoxylate"}
