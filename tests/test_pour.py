"""Pouring orders: set states against brute force, rules kept, facts of the trade."""

from __future__ import annotations

import itertools
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from chem.advice.agents import choose_agent
from chem.advice.ph import adjust
from chem.advice.pour import MATTERS, Pour, pour
from chem.cli.main import whole_app
from chem.forecast import Study, Variant, follow, forecast
from chem.forecast.order import Order, keeping_rules
from chem.sheets.blocks import as_text
from chem.sheets.ph import ph_sheet
from chem.sheets.pour import pour_json, pour_sheet
from chem.tank import Mix, finish, in_order, read_mix

EXAMPLES = Path(__file__).parent.parent / "examples"
PLAIN_ACID = """
name = "Citric buffer, invented"
density = "9.9 lb/gal"
ph = 3.1
ph_at = "1 %"
sources = ["citric acid", "potassium citrate"]
[guarantee]
"soluble potash" = 4.0
[also]
"citric acid" = 30.0
"""


def write(folder: Path, *adds: tuple[str, str], water: str = "soft.toml", **extra: str) -> Mix:
    """A mix of demo products (or files beside it) at rates in fl oz/1000 sq ft."""
    lines = ['name = "A trial, invented"', f'water = "{water}"', 'carrier = "2 gal/1000 sq ft"']
    lines += ['tank = "50 gal"', 'temperature = "60 F"']
    lines += [f'{k} = "{v}"' for k, v in extra.items()]
    for product, rate in adds:
        lines += ["[[add]]", f'product = "{product}.toml"', f'rate = "{rate} fl oz/1000 sq ft"']
    path = folder / "trial.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    return read_mix(path)


@pytest.fixture
def four(tmp_path: Path) -> Mix:
    """Four products of which an acid, written last, keeps two others from clouding."""
    (tmp_path / "citric.toml").write_text(PLAIN_ACID, encoding="utf-8")
    return write(
        tmp_path,
        ("npk-orthophosphate", "4"),
        ("calcium-chloride-liquor", "1"),
        ("micronutrient-pack", "1"),
        ("citric", "1.5"),
    )


def brute_force(mix: Mix, study: Study) -> dict[tuple[int, ...], float]:
    """Every order walked step by step, each step a forecast of its own, nothing shared."""
    seen: dict[tuple[frozenset[int], float], float] = {}

    def chance(poured: tuple[int, ...], share: float) -> float:
        key = (frozenset(poured), share)
        if key not in seen:
            seen[key] = study.look(Variant(mix, tuple(poured), share)).probability["15min"]
        return seen[key]

    n = len(mix.additions)
    return {
        order: max(
            *(chance(order[: k + 1], 0.5) for k in range(n)),
            chance(order, 1.0),
        )
        for order in itertools.permutations(range(n))
    }


def test_set_states_score_every_order_as_brute_force_does(four: Mix) -> None:
    slow = brute_force(four, Study(32, 1))
    assert max(slow.values()) - min(slow.values()) > 0.5, "the order has to matter here"
    result = pour(four, count=32)
    assert result.ways == len(slow)
    assert result.least == pytest.approx(min(slow.values()), abs=1e-6)
    assert result.most == pytest.approx(max(slow.values()), abs=1e-6)
    for order in (*result.orders, result.asked):
        assert order.probability == pytest.approx(slow[order.indices], abs=1e-6)
        assert order.probability == order.chances[order.worst_step - 1] == max(order.chances)
    best = sorted(slow.values())[: len(result.orders)]
    assert [o.probability for o in result.orders] == pytest.approx(best, abs=1e-6)


def test_a_batch_of_states_says_what_each_says_alone(tmp_path: Path) -> None:
    """Iron that rusts, a held chelate, a night in the cold and a gel: by every time."""
    mix = write(
        tmp_path,
        ("iron-citric", "4"),
        ("iron-edta", "2"),
        ("npk-orthophosphate", "2"),
        ("kelp-extract", "2"),
        water="hard-alkaline.toml",
        coldest="40 F",
    )
    study = Study(16, 3)
    sets = [(0,), (1,), (0, 1), (0, 2), (2, 3), (0, 1, 2, 3)]
    steps = [Variant(mix, s, 0.5) for s in sets]
    alone = [follow(study.stand(step)) for step in steps]
    for when in ("15min", "4h", "24h"):
        batch = [f.probability[when] for f in study.follow(steps, until=when)]
        if when == "24h":  # the cold night is part of the whole day
            assert batch == [a.probability[when] for a in alone]
        else:
            assert batch == pytest.approx([a.probability[when] for a in alone], abs=1e-9)
        assert any(batch)


def test_the_full_tank_does_not_know_its_order(four: Mix) -> None:
    """Invariant: the finished solution depends on what is in it alone."""
    whole = Study(16, 1).stand(four).finished
    for order in itertools.islice(itertools.permutations(range(4)), 3, None, 7):
        other = Study(16, 1).stand(in_order(four, order)).finished
        assert other.components == whole.components
        np.testing.assert_allclose(other.totals, whole.totals, rtol=1e-12)


def test_half_the_water_holds_twice_as_much_product(four: Mix) -> None:
    ready = Study(1, 1).stand(four)
    draws = ready.draws
    full = finish(four, ready.contents, ready.water, draws, [1])
    half = finish(four, ready.contents, ready.water, draws, [1], 0.5)
    column = full.components.index("Ca")
    water = ready.water.components.index("Ca")
    assert half.from_product[1, 0, column] == pytest.approx(
        2.0 * full.from_product[1, 0, column], rel=0.02
    )
    assert half.from_water[0, column] <= ready.water.mol_per_L[0, water]
    default = finish(four, ready.contents, ready.water, draws)
    np.testing.assert_array_equal(default.totals, ready.finished.totals)


def test_acid_before_calcium_and_phosphate(four: Mix) -> None:
    """Calcium and orthophosphate stay dissolved only in acid, so the acid has to be there first.

    Common practice, no source (the trade puts acid or conditioner into the water first).
    """
    result = pour(four)
    assert result.matters
    assert result.asked.probability > 0.9
    assert result.asked.culprit is not None and "phosphate" in result.asked.culprit
    assert result.asked.worst_step == 2
    assert result.asked.sequence[1].startswith("Calcium chloride")
    for order in result.orders:
        assert order.probability < 0.1
        acid, phosphate, calcium = (order.indices.index(i) for i in (3, 0, 1))
        assert acid < max(phosphate, calcium)
    assert result.advised is result.orders[0]
    assert result.orders[0].indices[0] == 3, "between orders alike, custom puts the acid first"
    text = as_text(pour_sheet(result))
    assert "Pour in another order." in text


def test_a_label_that_says_first_or_last_is_obeyed(tmp_path: Path) -> None:
    (tmp_path / "end.toml").write_text(
        PLAIN_ACID.replace("Citric buffer", "End piece") + '\n[says]\npour = "last"\n',
        encoding="utf-8",
    )
    mix = write(
        tmp_path, ("end", "0.5"), ("urea-liquor", "4"), ("ph-buffer", "0.5"), ("iron-edta", "2")
    )
    result = pour(mix, count=16)
    assert result.ways == 2
    for order in result.orders:
        assert order.indices[0] == 2
        assert order.indices[-1] == 0
        assert not order.breaks
    broken = [(b.code, b.product, b.step) for b in result.asked.breaks]
    assert ("pour_last", 0, 1) in broken and ("pour_first", 2, 3) in broken
    assert "breaks a rule" in as_text(pour_sheet(result))


AQUA_AMMONIA = """
name = "Aqua ammonia, invented"
density = "0.92 kg/L"
sources = ["aqua ammonia"]
[guarantee]
"ammoniacal nitrogen" = 16.0
"""


@pytest.mark.parametrize("other", ["potassium-carbonate-liquor", "aqua"])
def test_acid_never_stands_next_to_what_it_sets_free(other: str, tmp_path: Path) -> None:
    """Acid on carbonate fizzes and on ammonia heats and fumes (common practice, no source)."""
    (tmp_path / "citric.toml").write_text(PLAIN_ACID, encoding="utf-8")
    (tmp_path / "aqua.toml").write_text(AQUA_AMMONIA, encoding="utf-8")
    mix = write(tmp_path, ("citric", "0.3"), (other, "1"), ("urea-liquor", "4"))
    result = pour(mix, count=16)
    assert result.ways == len(result.orders) == 2
    for order in result.orders:
        assert order.indices[1] == 2, "the urea stands between them"
    assert result.gases
    assert any(b.code.startswith("acid_beside") for b in result.asked.breaks)
    text = " ".join(as_text(pour_sheet(result)).split())
    assert "Never Citric buffer, invented right before or after" in text
    assert "alone, stirred, into at least half the water" in text
    pair = pour(write(tmp_path, ("citric", "0.3"), (other, "1")), count=16)
    assert not pair.orders and pair.stuck and pair.advised is None
    assert "Not in one tank" in as_text(pour_sheet(pair))


def test_acid_and_thiosulfate_are_refused_alike_by_pour_and_by_ph(tmp_path: Path) -> None:
    """S2O3-2 + 2 H+ gives S and SO2 (Holleman-Wiberg, Inorganic Chemistry: value from memory)."""
    (tmp_path / "citric.toml").write_text(PLAIN_ACID, encoding="utf-8")
    thiosulfate = ("potassium-thiosulfate-liquor", "1")
    mix = write(tmp_path, ("citric", "0.3"), ("urea-liquor", "4"), thiosulfate)
    poured = pour(mix, count=16)
    alone = write(tmp_path, ("urea-liquor", "4"), thiosulfate)
    dosed = adjust(alone, 5.0, choose_agent("citric acid"), count=16)
    assert poured.refused == dosed.refused == "sulfur_in_acid"
    assert not poured.orders and dosed.dose_g_per_L is None
    for text in (as_text(pour_sheet(poured)), as_text(ph_sheet(dosed))):
        plain = " ".join(text.split())
        assert "sulfur dioxide" in plain and "into one tank: spray the two apart" in plain
        assert "fl oz" not in plain and "STEP BY STEP" not in plain
    assert pour(alone, count=16).orders


def test_a_label_that_forbids_the_mix_gets_no_order_on_the_sheet() -> None:
    result = pour(read_mix(EXAMPLES / "curdles.toml"))
    assert result.forbidden
    text = as_text(pour_sheet(result))
    assert "a label forbids it" in text
    assert "STEP BY STEP" not in text
    assert result.asked.probability > 0.9, "calcium nitrate meets orthophosphate: milk at once"


def test_order_that_does_not_matter_is_said() -> None:
    result = pour(read_mix(EXAMPLES / "five-products.toml"), count=16)
    assert not result.matters and result.most - result.least <= MATTERS
    assert result.advised is result.asked
    assert "makes no difference" in as_text(pour_sheet(result))


def test_the_asked_order_stands_beside_the_advised_one(four: Mix) -> None:
    text = as_text(pour_sheet(pour(four)))
    asked = text[text.index("THE ORDER YOU ASKED FOR") : text.index("OTHER ORDERS")]
    places = [asked.index(f"{k} {a.product.name}") for k, a in enumerate(four.additions, 1)]
    assert places == sorted(places)
    assert "9 in 10" in asked
    assert "What has fallen out by then may stay" in " ".join(asked.split())
    steps = text[text.index("STEP BY STEP") : text.index("THE ORDER YOU ASKED FOR")]
    assert "1 Citric buffer, invented" in steps


def test_no_difference_is_said_of_the_orders_that_are_allowed(tmp_path: Path) -> None:
    free = write(tmp_path, ("urea-liquor", "4"), ("iron-edta", "2"))
    assert "makes no difference." in as_text(pour_sheet(pour(free, count=16)))
    bound = write(tmp_path, ("ph-buffer", "1"), ("urea-liquor", "4"), ("iron-edta", "2"))
    result = pour(bound, count=16)
    assert result.ways == 2
    assert "no difference among those allowed" in as_text(pour_sheet(result)).replace("\n", " ")


def test_all_the_water_first_is_advised_where_half_of_it_clouds(tmp_path: Path) -> None:
    """Gypsum that the full tank holds for a quarter of an hour and half the water does not."""
    found = None
    for rate in (3.0, 3.5, 4.0, 4.5, 5.0, 6.0, 7.0, 8.0):
        mix = write(
            tmp_path,
            ("ammonium-sulfate-liquor", f"{rate}"),
            ("calcium-chloride-liquor", f"{0.5 * rate}"),
        )
        result = pour(mix, count=32)
        if result.asked.chances[-1] < 0.1 <= result.orders[0].probability:
            found = result
            break
    assert found is not None and found.all_water is not None
    assert found.all_water < found.orders[0].probability
    full = pour(replace(mix, fill="to mark"), count=32)
    text = " ".join(as_text(pour_sheet(full)).split())
    assert ("Put all the water in before the products" in text) == (found.all_water < 0.1)
    assert json.loads(pour_json(full))["all_water_first"] == found.all_water


def test_an_order_that_keeps_every_rule_is_found_if_there_is_one(tmp_path: Path) -> None:
    """Against every permutation: two acids, two carbonates, one first, one last."""
    (tmp_path / "citric.toml").write_text(PLAIN_ACID, encoding="utf-8")
    (tmp_path / "end.toml").write_text(
        PLAIN_ACID.replace("Citric buffer", "End piece") + '\n[says]\npour = "last"\n',
        encoding="utf-8",
    )
    pool = ("end", "potassium-carbonate-liquor", "citric", "kelp-extract", "ph-buffer", "iron-edta")
    found = 0
    for names in itertools.chain(*(itertools.combinations(pool, k) for k in (2, 3, 4, 5))):
        mix = write(tmp_path, *[(name, "0.5") for name in names])
        every = [
            in_order(mix, order)
            for order in itertools.permutations(range(len(names)))
            if Order.of(mix).keeps(order)
        ]
        ordered = keeping_rules(mix)
        assert (ordered is not None) == bool(every), names
        if ordered is not None:
            assert ordered in every
            found += 1
    assert 0 < found < 50


def test_one_product_has_no_custom(tmp_path: Path) -> None:
    text = as_text(pour_sheet(pour(write(tmp_path, ("urea-liquor", "4")), count=16)))
    assert "One product, one order." in text
    assert "WHERE THE ORDER COMES FROM" not in text


def test_ten_products_are_scored_over_every_set(tmp_path: Path) -> None:
    """3,628,800 orders over 1,023 sets; what is judged in words alone is among them."""
    mix = write(
        tmp_path,
        *[
            (name, "1")
            for name in (
                "urea-liquor", "ammonium-sulfate-liquor", "micronutrient-pack", "iron-edta",
                "magnesium-nitrate-liquor", "potassium-phosphite-liquor", "chelated-calcium",
                "npk-polyphosphate", "wetting-agent", "calcium-chloride-liquor",
            )
        ],
    )  # fmt: skip
    result = pour(mix, count=16)
    assert result.ways == 3628800
    assert len(result.orders[0].chances) == 11
    assert result.not_judged == ("Wetting agent emulsion, invented",)


def test_last_step_is_the_forecast() -> None:
    """The path ends in the tank that `forecast` judges."""
    mix = read_mix(EXAMPLES / "water-decides.toml")
    result = pour(mix, count=256)
    expected = forecast(mix, count=256).probability["15min"]
    assert result.asked.chances[-1] == pytest.approx(expected, abs=0.005)


def test_all_the_water_first_has_no_last_step(four: Mix) -> None:
    result = pour(replace(four, fill="water first"), count=16)
    assert len(result.asked.chances) == len(four.additions)
    assert [x.share for x in result.load.lines if x.kind == "water"] == ["all"]


def test_json_is_the_contract(four: Mix) -> None:
    data = json.loads(pour_json(pour(four, count=16)))
    assert {"orders", "asked"} <= data.keys()
    names = sorted(a.product.name for a in four.additions)
    for order in (*data["orders"], data["asked"]):
        assert {"sequence", "worst_step", "probability"} <= order.keys()
        assert sorted(order["sequence"]) == names
        assert isinstance(order["worst_step"], int)
        assert 0.0 <= order["probability"] <= 1.0
    chances = [o["probability"] for o in data["orders"]]
    assert chances == sorted(chances)
    assert data["asked"]["sequence"] == [a.product.name for a in four.additions]


def test_the_sheet_fits_and_measures_both_ways(four: Mix) -> None:
    text = as_text(pour_sheet(pour(four, count=16)))
    assert max(len(line) for line in text.splitlines()) <= 60
    assert "25 fl oz (740 mL)" in text
    assert re.search(r"water, half of it, stirring\n\s+24\.\d gal \(9\d(\.\d)? L\)", text)
    assert "The jar test at the same ratio decides." in text
    assert "Acid into water" in text
    metric = as_text(pour_sheet(pour(four, count=16), "metric"))
    assert "fl oz" not in metric.split("ALWAYS")[0]


def test_eight_products_take_all_their_orders(tmp_path: Path) -> None:
    """8 products, 64 draws: 256 states stand for 40,320 orders."""
    mix = write(
        tmp_path,
        ("urea-liquor", "5"),
        ("ammonium-sulfate-liquor", "3"),
        ("iron-citric", "2"),
        ("micronutrient-pack", "2"),
        ("magnesium-nitrate-liquor", "3"),
        ("npk-orthophosphate", "4"),
        ("calcium-chloride-liquor", "1"),
        ("iron-edta", "2"),
        water="hard-alkaline.toml",
    )
    result = pour(mix)
    assert result.ways == 40320 and result.draws == 64
    assert result.orders[0].probability <= result.asked.probability


def test_rules_know_acids_from_their_labels(four: Mix) -> None:
    rules = Order.of(four)
    assert rules.acids == {3}
    assert not rules.apart and not rules.first and not rules.last


@pytest.mark.parametrize("command", ["pour", "why"])
def test_commands_print_sheet_and_json(command: str) -> None:
    app = whole_app()
    mix = str(EXAMPLES / "acid-decides.toml")
    sheet = CliRunner().invoke(app, [command, mix, "--draws", "16", "--units", "metric"])
    assert sheet.exit_code == 0 and "The jar test at the same ratio decides." in sheet.output
    data = json.loads(CliRunner().invoke(app, [command, mix, "--draws", "16", "--json"]).output)
    assert data["draws"] == 16 and data["seed"] == 1


def test_same_answer_twice(four: Mix) -> None:
    first, second = (pour(four, count=16) for _ in range(2))
    assert isinstance(first, Pour)
    assert pour_json(first) == pour_json(second)
