"""A product that may be bought, beside what is owned: as much of a nutrient, costs, the mixes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from pytest import approx
from typer.testing import CliRunner

from chem.cli.main import whole_app
from chem.cli.owned import ends
from chem.sheets.blocks import as_text
from chem.sheets.shelf import beside, shelf_sheet
from chem.shelf import Buying, Item, Setting, buying, read_item, shelf
from chem.tank import Mix, find_water, read_mix

ROOT = Path(__file__).parent.parent
PRODUCTS = ROOT / "data" / "demo" / "products"
POLY, ORTHO, UREA = "npk-polyphosphate", "npk-orthophosphate", "urea-liquor"
NITRATE, IRON = "calcium-nitrate-liquor", "iron-edta"
PRICE = 'price = "$48 per 2.5 gal"'


def copied(folder: Path, name: str, *more: str) -> Path:
    """A demo product with a few lines more (or in place of its own)."""
    keys = {line.partition(" =")[0] for line in more}
    text = (PRODUCTS / f"{name}.toml").read_text(encoding="utf-8")
    kept = [line for line in text.splitlines() if line.partition(" =")[0] not in keys]
    path = folder / f"{name}.toml"
    path.write_text("\n".join([*more, *kept]), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def shed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shed with three products, two mixes, a sprayer, and a label to buy beside it."""
    home = tmp_path_factory.mktemp("shed")
    for folder in ("products", "mixes", "shop"):
        (home / folder).mkdir()
    copied(home / "products", UREA, 'price = "$20 per 2.5 gal"')
    copied(home / "products", ORTHO, 'price = "$45 per 2.5 gal"')
    copied(home / "products", NITRATE)
    copied(home / "shop", POLY, PRICE)
    (home / "boom.toml").write_text('name = "Boom"\ncarrier = "2 gal/1000 sq ft"\n')
    (home / "shed.toml").write_text(
        'sprayers = ["boom.toml"]\nproducts = "products"\nwater = "soft"\n'
    )
    for name, other in (("Feed alone", None), ("Feed with calcium", NITRATE)):
        lines = [f'name = "{name}, invented"']
        lines += ["[[add]]", f'product = "{UREA}.toml"', 'rate = "2 fl oz/1000 sq ft"']
        if other:
            lines += ["[[add]]", f'product = "{other}.toml"', 'rate = "6 fl oz/1000 sq ft"']
        (home / "mixes" / f"{name.lower().replace(' ', '-')}.toml").write_text("\n".join(lines))
    return home


@pytest.fixture(scope="module")
def setting() -> Setting:
    return Setting(find_water("soft", None), 0.0815, 20.0, None, 16, 1)


@pytest.fixture(scope="module")
def owned(shed: Path) -> list[Item]:
    return [read_item(shed / "products" / f"{name}.toml") for name in (UREA, ORTHO, NITRATE)]


@pytest.fixture(scope="module")
def mixes(shed: Path) -> list[Mix]:
    return [read_mix(path) for path in sorted((shed / "mixes").glob("*.toml"))]


@pytest.fixture(scope="module")
def bought(shed: Path, owned: list[Item], setting: Setting, mixes: list[Mix]) -> Buying:
    return buying(read_item(shed / "shop" / f"{POLY}.toml"), owned, setting, mixes)


def test_as_much_is_by_the_labels_own_percents_and_weights(bought: Buying) -> None:
    # Arithmetic by hand: pounds per gallon times percent, common practice of the trade, no source.
    urea, ortho, _ = bought.in_place
    assert (urea.nutrient, ortho.nutrient) == ("N", "P2O5")
    assert ortho.rate is not None and urea.rate is not None
    oz = 29.5735295625 / 92.90304  # mL/m2 of 1 fl oz/1000 sq ft, NIST Handbook 44, appendix C
    assert ortho.rate.value / oz == approx(6.0 * (9.9 * 0.08) / (11.0 * 0.21), rel=1e-6)
    assert urea.rate.value / oz == approx(5.0 * (9.35 * 0.20) / (11.0 * 0.07), rel=1e-6)
    assert (urea.beyond, ortho.beyond) == ("above", "")


def test_costs_are_rate_times_price(bought: Buying) -> None:
    ortho = bought.in_place[1]
    per_acre = 43.56 * 6.0 * (9.9 * 0.08) / (11.0 * 0.21) / 128.0 / 2.5 * 48.0
    assert ortho.cost == approx(per_acre / 0.40468564224, rel=1e-6)
    assert ortho.own_cost == approx(43.56 * 6.0 / 128.0 / 2.5 * 45.0 / 0.40468564224, rel=1e-6)
    assert bought.in_place[2].own_cost is None  # no price in its file


def test_as_much_puts_down_as_much(bought: Buying, setting: Setting) -> None:
    from chem.tank import Addition, delivered_kg_per_ha

    for one in bought.in_place:
        assert one.nutrient is not None and one.rate is not None
        new = setting.mix(Addition(bought.asked.product, one.rate))
        assert delivered_kg_per_ha(new)[one.nutrient] == approx(one.kg_per_ha, rel=1e-9)


def test_it_stands_in_for_one_in_some_mixes_and_breaks_others(bought: Buying) -> None:
    # A phosphate beside calcium in one tank drops out: extension leaflets on fertigation, e.g.
    # the solubility rules in Burt et al., Fertigation (1995); from memory.
    urea = bought.in_place[0]
    assert [s.mix.name for s in urea.mixes] == [
        "Feed alone, invented",
        "Feed with calcium, invented",
    ]
    assert urea.replaces == 1 and urea.breaks == ("Feed with calcium, invented",)
    assert not bought.in_place[1].mixes and bought.mixes == 2


def test_a_nutrient_that_only_one_has_compares_nothing(owned: list[Item], setting: Setting) -> None:
    iron = read_item(PRODUCTS / f"{IRON}.toml")
    one = buying(iron, owned[:1], setting, wanting="iron").in_place[0]
    assert one.nutrient is None and one.rate is None and one.cost is None


def test_the_sheet_has_one_line_per_product_owned(
    shed: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(shed)
    monkeypatch.setenv("JARSIGHT_CACHE", str(tmp_path))

    def said(*words: str) -> str:
        done = CliRunner().invoke(whole_app(), list(words))
        assert done.exit_code == 0, done.output
        return done.stdout

    told = " ".join(said("shelf", f"shop/{POLY}.toml", "--draws", "16", "--units", "us").split())
    assert "as much P2O5 as 6 fl oz/1000 sq ft of it takes 2.06 fl oz/1000 sq ft" in told
    assert "$0.31 in place of $0.84 per 1000 sq ft, $13.44 in place of $36.75 an acre" in told
    assert "Replaces it in 1 of your 2 mixes with it, breaks 1 (Feed with calcium" in told
    assert "Fights it" in told and "of what you own. - Pass 1:" in told
    assert "QUESTIONS TO THE SELLER, TO COPY" in told
    read = json.loads(said("label", f"shop/{POLY}.toml", "--json"))
    assert [one["nutrient"] for one in read["in_place"]] == ["N", "P2O5", "N"]
    again = " ".join(said("label", str(PRODUCTS / f"{POLY}.toml"), "--units", "us").split())
    assert "what 7-21-7 with polyphosphate, invented costs is not told" in again


def test_a_label_with_a_range_is_tried_at_both_ends(
    tmp_path: Path, owned: list[Item], setting: Setting
) -> None:
    span = 'rate_range = "0.00001-6 fl oz/1000 sq ft"'
    upper, factor = ends(read_item(copied(tmp_path, POLY, span)))
    assert upper.product.rate_range is not None and factor == approx(0.00001 / 6.0)
    assert upper.rate == upper.product.rate_range[1]
    found = shelf(owned, setting, asked=upper, lower=factor, passes=True)
    # With next to nothing of it there is nothing to quarrel with, and that is told.
    fights = {t.members for t in found.pairs if t.quarrels}
    assert fights and fights == {t.members for t in found.lower if not t.quarrels}
    assert "Fights it" in beside(found)[f"{NITRATE}.toml"]
    assert "AT THE LOWER END OF ITS RATES" in as_text(shelf_sheet(found))
    assert found.passes is not None and all(0 not in tank for tank in found.passes.tanks)


def test_a_range_alone_gives_the_rate_it_is_tried_at(tmp_path: Path) -> None:
    path = copied(tmp_path, UREA)
    text = path.read_text(encoding="utf-8")
    path.write_text("\n".join(x for x in text.splitlines() if "usual_rate" not in x))
    found = read_item(path)
    assert found.product.rate_range is not None and found.rate == found.product.rate_range[1]
