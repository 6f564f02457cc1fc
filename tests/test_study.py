"""The Study: warm equals cold, few draws are the first of the many, beliefs come down alike."""

from __future__ import annotations

import json
import random
import threading
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from threadpoolctl import threadpool_info, threadpool_limits

from chem.advice.fix import fix
from chem.advice.why import why
from chem.doubts import chance
from chem.equilibrium import one_thread
from chem.equilibrium.threads import _hold
from chem.errors import ToxicGas
from chem.forecast import Beliefs, Followed, Study, Variant, broken, forecast, rules_of
from chem.forecast.rules import met, refuse_toxic
from chem.label import Contents, Product, as_measured, class_of_rule, read_name, read_product
from chem.sheets.blocks import as_text
from chem.sheets.forecast import forecast_sheet
from chem.sheets.forecast_data import forecast_json
from chem.shelf import Item, Setting, local, shelf
from chem.tank import Adjuvant, Mix, find_water, read_mix, with_carrier, with_rate
from chem.units import Number, rounding

ROOT = Path(__file__).parent.parent
EXAMPLES, DEMO = ROOT / "examples", ROOT / "data" / "demo" / "products"


def example(name: str) -> Mix:
    return read_mix(EXAMPLES / f"{name}.toml")


def figures(found: Followed) -> np.ndarray[Any, Any]:
    """Everything that a move is told by, as one row of numbers."""
    finished = found.ready.finished
    return np.concatenate(
        [
            list(found.probability.values()),
            list(found.clogs.values()),
            np.nan_to_num(found.fresh.clear.ph, nan=-1.0),
            finished.totals.sum(axis=0),
            finished.density_kg_per_L,
        ]
    )


def edited(product: Product, random_: random.Random) -> Product:
    """A jug whose label was read anew: a density, a pH or a guarantee moved."""
    kind = random_.choice(["density", "ph", "guarantee"])
    if kind == "density" and product.density is not None:
        low = product.density[0] * random_.choice([0.98, 1.0, 1.02])
        return replace(product, density=(low, low * random_.choice([1.0, 1.05])))
    if kind == "ph" and product.ph is not None:
        low = product.ph.low + random_.choice([-0.3, 0.2])
        return replace(product, ph=Number(low, low + random_.choice([0.0, 0.5])))
    return replace(
        product,
        guarantee={k: v * random_.choice([0.97, 1.0]) for k, v in product.guarantee.items()},
    )


def moved(mix: Mix, random_: random.Random, waters: Sequence[Any]) -> Mix:
    """One edit of a mix as a hand at a desk would make it."""
    place = random_.randrange(len(mix.additions))
    match random_.choice(["jug", "water", "carrier", "rate", "temperature", "sprayer"]):
        case "jug":
            jugs = list(mix.additions)
            jugs[place] = replace(jugs[place], product=edited(jugs[place].product, random_))
            return replace(mix, additions=tuple(jugs))
        case "water":
            return replace(mix, water=random_.choice(waters))
        case "carrier":
            return with_carrier(mix, random_.choice([0.8, 1.25]))
        case "rate":
            return with_rate(mix, place, random_.choice([0.7, 1.4]))
        case "temperature":
            return replace(mix, t_celsius=random_.choice([10.0, 15.0, 20.0]))
    return replace(mix, carrier_error=random_.choice([None, 0.02, 0.08]))


def test_in_any_order_of_200_edits_a_warm_study_equals_a_cold_one() -> None:
    """An edited jug once found the columns of the old one; now nothing is kept by name alone."""
    random_ = random.Random(20)
    waters = [find_water(name, None) for name in ("soft", "hard-alkaline", "saline", "unknown")]
    start, warm = example("stays-clear"), Study(16, 3)
    mix = start
    for k in range(200):
        mix = start if k % 20 == 0 else moved(mix, random_, waters)
        found = warm.follow([mix])[0]
        if k % 8 == 7:
            cold = Study(16, 3).follow([mix])[0]
            np.testing.assert_allclose(figures(found), figures(cold), rtol=0.0, atol=1e-12)


def test_few_draws_are_the_first_rows_of_the_many() -> None:
    mix = example("acid-decides")
    whole, few = Study(256, 1), Study(256, 1).few(64)
    for addition in mix.additions:
        many, some = whole.contents(addition.product), few.contents(addition.product)
        np.testing.assert_array_equal(some.mol_per_kg, many.mol_per_kg[:64])
    np.testing.assert_array_equal(
        few.water(mix.water).mol_per_L, whole.water(mix.water).mol_per_L[:64]
    )
    np.testing.assert_allclose(few.fresh(mix).ph, whole.fresh(mix).ph[:64], atol=1e-7)
    np.testing.assert_allclose(Study(64, 1).fresh(mix).ph, few.fresh(mix).ph, atol=1e-12)


def test_a_tank_rests_on_the_doubts_that_it_asked_for_and_no_others() -> None:
    study = Study(32, 1)
    study.look(example("kelp-and-calcium"))
    names = study.look(example("curdles")).ready.doubts
    keys = {n.split(":")[1] for n in names if n.startswith("product:")}
    assert keys == {"npk-orthophosphate", "calcium-nitrate-liquor"}
    assert any(n == "metering:carrier" for n in names)


def test_a_jug_is_reckoned_once_for_all_its_tanks(monkeypatch: pytest.MonkeyPatch) -> None:
    from chem.forecast import study as room

    asked: list[str] = []
    real = room.contents

    def counted(product: Product, draws: Any, **how: Any) -> Contents:
        asked.append(product.key)
        return real(product, draws, **how)

    monkeypatch.setattr(room, "contents", counted)
    fix(example("water-decides"), count=64)
    assert asked.count("npk-orthophosphate") == 1


# --- beliefs -----------------------------------------------------------------------------------


def sourer(product: Product) -> Product:
    """A jug that was measured to be sourer than its label lets one think."""
    if product.key != "npk-orthophosphate":
        return product
    return as_measured(product, {"ph": "5.2"})


def items(mix: Mix) -> list[Item]:
    return [Item(a.product, a.rate, a.product.key) for a in mix.additions]


def test_every_question_sees_one_set_of_beliefs() -> None:
    mix = replace(example("hazes-overnight"), coldest_celsius=None)
    plain = Study(64, 1)
    for beliefs in (
        Beliefs(memory=lambda jugs: 2.0),
        Beliefs(shared={"metering:carrier": lambda column: 0.8 * column}),
        Beliefs(shared={"water:hardness": lambda column: 3.0 * column}),
    ):
        study = Study(64, 1, beliefs)
        told = forecast(mix, study=study)
        before = forecast(mix, study=plain)
        assert why(mix, study=study).probability == told.probability
        assert fix(mix, study=study).probability == told.probability
        where = Setting(mix.water, mix.carrier_L_per_m2, mix.t_celsius, None, 64, 1)
        (pair,) = shelf(items(mix), where, engine=local(1), beliefs=beliefs).pairs
        assert pair.odds is not None
        if not beliefs.shared:  # the shelf's own mix has no catch test, so the carrier is as here
            assert pair.odds.probability == pytest.approx(told.probability, abs=1e-12)
            assert told.probability["24h"] > before.probability["24h"]
        assert told.rules == before.rules and told.refused == before.refused


def test_a_belief_of_a_jug_moves_the_tank_and_is_held_to_that_jug() -> None:
    mix, study = example("curdles"), Study(64, 1, Beliefs(jug=sourer))
    assert study.look(mix).ph.median < Study(64, 1).look(mix).ph.median - 0.1
    other = mix.additions[1].product
    np.testing.assert_array_equal(
        study.contents(other).mol_per_kg, Study(64, 1).contents(other).mol_per_kg
    )


def test_odds_that_are_remembered_are_never_certain() -> None:
    n = 64
    for shift in (-30.0, 30.0):
        odds = forecast(
            example("curdles"), study=Study(n, 1, Beliefs(memory=lambda _, by=shift: by))
        )
        assert all(0.0 < p < 1.0 for p in odds.probability.values())
    assert 0.0 < chance(np.zeros(n, dtype=bool), shift=0.1) <= 0.6 / n


def test_a_stretch_only_widens() -> None:
    mix = example("five-products")
    plain, wide = (forecast(mix, study=Study(64, 1, Beliefs(stretch=s))) for s in (1.0, 2.0))
    assert wide.ph.median == pytest.approx(plain.ph.median)
    assert wide.ph.p95 - wide.ph.p05 == pytest.approx(2.0 * (plain.ph.p95 - plain.ph.p05))
    with pytest.raises(ValueError, match="only widens"):
        Beliefs(stretch=0.5)


def test_no_belief_lifts_a_rule_a_gas_or_a_refusal(tmp_path: Path) -> None:
    """Acid frees sulfur dioxide from thiosulfate whatever a jar showed before."""
    path = tmp_path / "mix.toml"
    path.write_text(
        'name = "Iron and thiosulfate, invented"\nwater = "soft"\ncarrier = "2 gal/1000 sq ft"\n'
        '[[add]]\nproduct = "iron-citric"\n[[add]]\nproduct = "potassium-thiosulfate-liquor"\n'
    )

    def neutral(product: Product) -> Product:
        return replace(product, sources=(), guarantee={}, also={}, vague=())

    mix = read_mix(path)
    beliefs = Beliefs(jug=neutral, memory=lambda _: -9.0)
    believed, plain = Study(32, 1, beliefs), Study(32, 1)
    assert believed.rules(mix) == plain.rules(mix)
    assert believed.gases(mix) == plain.gases(mix)
    assert forecast(mix, study=believed).refused == "sulfur_in_acid"


# --- one thread --------------------------------------------------------------------------------


def blas_threads() -> set[int]:
    return {lib["num_threads"] for lib in threadpool_info() if lib["user_api"] == "blas"}


def test_threads_that_overlap_give_the_hosts_setting_back() -> None:
    _hold.cache_clear()  # other tests may have loaded libraries since the first look
    with threadpool_limits(2, user_api="blas"):
        host = blas_threads()
        first_in, second_in, first_out = (threading.Event() for _ in range(3))
        seen: list[set[int]] = []

        def first() -> None:
            with one_thread():
                first_in.set()
                second_in.wait(5.0)
            first_out.set()

        def second() -> None:
            first_in.wait(5.0)
            with one_thread():
                second_in.set()
                first_out.wait(5.0)
                seen.append(blas_threads())  # the first has left, the second still works

        both = [threading.Thread(target=first), threading.Thread(target=second)]
        for thread in both:
            thread.start()
        for thread in both:
            thread.join()
        assert seen == [{1}]
        assert blas_threads() == host
        with pytest.raises(RuntimeError), one_thread():
            raise RuntimeError
        assert blas_threads() == host


# --- the door and the rules --------------------------------------------------------------------


def product(folder: Path, name: str, body: str = "", key: str = "jug") -> Product:
    path = folder / f"{key}.toml"
    path.write_text(
        f'name = "{name}"\ndensity = "1.2 kg/L"\n'
        + (body or 'sources = ["urea"]\n[guarantee]\n"urea nitrogen" = 10.0\n')
    )
    return read_product(path)


@pytest.mark.parametrize(
    ("name", "means"),
    [
        ("Household bleach, invented", {"hypochlorite"}),
        ("Sodium Hypochlorite 12.5 %, invented", {"hypochlorite"}),
        ("Bleach free cleaner, invented", set()),
        ("Filmore green, invented", set()),
        ("Bleached oak, invented", set()),
        ("Guar thickener, invented", {"film"}),
        ("Examplesulfuron 75, invented", {"sulfonylurea"}),
        ("Sulphonylurea herbicide, invented", {"sulfonylurea"}),
        ("Liquid copper, invented", {"copper"}),
    ],
)
def test_a_name_is_read_by_whole_words(name: str, means: set[str]) -> None:
    assert {word.means for word in read_name(name)} == means


def test_bleach_by_name_stops_the_tank(tmp_path: Path) -> None:
    mix = example("stays-clear")
    bleach = product(tmp_path, "Household bleach, invented")
    first = replace(mix.additions[0], product=bleach)
    with pytest.raises(ToxicGas) as stopped:
        refuse_toxic(replace(mix, additions=(first, *mix.additions[1:])))
    assert stopped.value.code == "hypochlorite"
    with pytest.raises(ToxicGas):
        forecast(replace(mix, adjuvant=Adjuvant("bleach", None, 0.0, 14.0)), count=16)
    harmless = replace(first, product=product(tmp_path, "Bleach free cleaner, invented"))
    refuse_toxic(replace(mix, additions=(harmless, *mix.additions[1:])))


@pytest.mark.parametrize(
    ("word", "fires"),
    [
        ("potassium phosphate", True),
        ("phosphates", True),
        ("Phosphate", True),
        ("monopotassium phosphate", True),
        ("soluble potash", True),
        ("sulphate", False),
        ("calcium", False),
        ("acids", False),
        ("spreader sticker", True),
    ],
)
def test_a_labels_word_is_resolved_at_the_door(tmp_path: Path, word: str, fires: bool) -> None:
    other = product(
        tmp_path,
        "Clear green, invented",
        'sources = ["monopotassium phosphate"]\n[guarantee]\n"available phosphate" = 10.0\n'
        '"soluble potash" = 6.6\n',
        "green",
    )
    rule = (
        'sources = ["urea"]\n[guarantee]\n"urea nitrogen" = 10.0\n'
        f'[says]\nnever_with = ["{word}"]\n'
    )
    own = product(tmp_path, "Feed, invented", rule, "feed")
    mix = example("stays-clear")
    two = [replace(a, product=p) for a, p in zip(mix.additions, (own, other), strict=False)]
    adjuvant = Adjuvant("Spreader-sticker, invented", None, 0.0, 14.0)
    rules = rules_of(replace(mix, additions=tuple(two), adjuvant=adjuvant))
    assert bool([r for r in rules if r.code == "never_with"]) == fires


def test_classes_of_products_are_words_of_rules() -> None:
    assert class_of_rule("Acidifiers") == class_of_rule("acidic products") == "acid"
    assert class_of_rule("alkaline products") == "base" and class_of_rule("calcium") is None


@pytest.mark.parametrize(
    ("carrier", "kept"),
    [
        ("407 L/ha", True),  # what we print for the label's own gallon: 407.5 L/ha
        ("1 gal/1000 sq ft", True),
        ("1.00 gal/1000 sq ft", True),
        ("0.95 gal/1000 sq ft", False),
        ("390 L/ha", False),
        ("0.9 gal/1000 sq ft", False),
    ],
)
def test_a_limit_is_met_within_its_printed_rounding(
    tmp_path: Path, carrier: str, kept: bool
) -> None:
    rule = (
        'sources = ["urea"]\nusual_rate = "2 fl oz/1000 sq ft"\n'
        '[guarantee]\n"urea nitrogen" = 10.0\n'
        '[says]\ncarrier_at_least = "1 gal/1000 sq ft"\n'
    )
    product(tmp_path, "Feed, invented", rule, "feed")
    path = tmp_path / "mix.toml"
    path.write_text(
        f'name = "M, invented"\nwater = "soft"\ncarrier = "{carrier}"\n[[add]]\nproduct = "feed"\n'
    )
    assert (broken(rules_of(read_mix(path))) == ()) == kept


def test_rounding_of_printed_numbers() -> None:
    assert rounding("407 L/ha") == pytest.approx((0.5 / 407.0,) * 2)
    assert rounding("1 gal/1000 sq ft") == (0.025, 0.025), "never half a gallon"
    assert rounding("3.25 to 12 fl oz")[0] == pytest.approx(0.005 / 3.25)
    assert rounding("1/2 gal") == (0.0, 0.0) and rounding("") == (0.0, 0.0)
    assert met(0.96, 1.0, 1.0, ()) is False and met(1.0 - 1e-12, 1.0, 1.0, ()) is True


def renamed(mix: Mix) -> Mix:
    """The same jugs, water and adjuvant under neutral names."""
    jugs = tuple(
        replace(a, product=replace(a.product, name=f"Jug {k}")) for k, a in enumerate(mix.additions)
    )
    adjuvant = None if mix.adjuvant is None else replace(mix.adjuvant, name="Helper")
    return replace(mix, name="Tank", additions=jugs, adjuvant=adjuvant)


def test_behind_the_door_nothing_reads_a_name() -> None:
    """Under other names, none of them a word of the door's table, nothing but names differs."""
    random_ = random.Random(7)
    shelf_ = [read_product(p) for p in sorted(DEMO.glob("*.toml"))]
    shelf_ = [p for p in shelf_ if p.usual_rate is not None]
    base = example("five-products")
    for _ in range(12):
        jugs = random_.sample(shelf_, random_.choice([2, 3, 4]))
        additions = tuple(replace(base.additions[0], product=p, rate=p.usual_rate) for p in jugs)
        mix = replace(base, additions=additions)
        told, again = (
            json.loads(forecast_json(forecast(m, count=16))) for m in (mix, renamed(mix))
        )
        names = {p.name: f"Jug {k}" for k, p in enumerate(jugs)} | {mix.name: "Tank"}
        if mix.adjuvant is not None:
            names[mix.adjuvant.name] = "Helper"
        text = json.dumps(told)
        for old in sorted(names, key=len, reverse=True):
            text = text.replace(json.dumps(old)[1:-1], names[old])
        assert json.loads(text) == again


def test_a_moment_of_pouring_is_a_variant_of_the_mix() -> None:
    mix, study = example("curdles"), Study(32, 1)
    steps = [Variant(mix, (0,), 0.5), Variant(mix, (0, 1), 0.5), Variant(mix)]
    first, both, full = study.follow(steps, until="15min")
    assert list(first.probability) == ["15min"]
    assert first.probability["15min"] < 0.1 < both.probability["15min"]
    assert full.probability["15min"] == study.look(mix).probability["15min"]
    shifted = study.follow([Variant(mix, ph_shift=0.5)], until="fresh")[0]
    assert shifted.ph.median == pytest.approx(full.ph.median + 0.5, abs=0.05)


LEFT_OVER = (
    'sources = ["urea"]\nusual_rate = "2 fl oz/1000 sq ft"\n{}[guarantee]\n"urea nitrogen" = 10.0\n'
)


@pytest.mark.parametrize(
    ("kind", "answer", "note"),
    [
        ("composition", "cannot tell", "it may hold anything"),
        ("rule", "cannot tell", "perhaps a rule, read it yourself: Printed, of some kind"),
        ("other", "clear", ""),
    ],
)
def test_a_line_that_was_not_read_stands_beside_the_answer(
    tmp_path: Path, kind: str, answer: str, note: str
) -> None:
    line = f'unread = [{{ line = 4, text = "Printed, of some kind", kind = "{kind}" }}]\n'
    product(tmp_path, "Feed, invented", LEFT_OVER.format(line), "feed")
    path = tmp_path / "mix.toml"
    path.write_text(
        'name = "M, invented"\nwater = "soft"\ncarrier = "2 gal/1000 sq ft"\n'
        '[[add]]\nproduct = "feed"\n'
    )
    found = forecast(read_mix(path), count=64)
    assert found.answer == answer
    told = [n for n in found.notes if "Printed, of some kind" in n]
    assert bool(told) == bool(note)
    assert all(note in n for n in told)


def test_a_reagent_stated_whole_is_what_it_says(tmp_path: Path) -> None:
    """93 % sulfuric acid, by hand: 930 g / 98.08 g/mol = 9.482 mol/kg, in every draw."""
    text = 'sources = ["sulfuric acid"]\n[known]\n"sulfuric acid" = 93\n'
    open_, whole = (
        product(tmp_path, name, text + more, name.lower().replace(" ", "-"))
        for name, more in (("Acid", ""), ("Acid whole", '"undeclared sodium chloride" = 0\n'))
    )
    assert whole.whole and not open_.whole
    inside = Study(64, 1).contents(whole)
    assert inside.components == ("SO4",)
    assert inside.mol_per_kg == pytest.approx(np.full((64, 1), 9.482), rel=1e-3)
    assert (inside.closing_eq_per_kg == 0.0).all()


def test_no_other_note_crowds_out_a_line_that_was_not_read(tmp_path: Path) -> None:
    lines = ", ".join(
        f'{{ line = {k}, text = "Printed rule {k}", kind = "rule" }}' for k in range(1, 13)
    )
    product(tmp_path, "Feed, invented", LEFT_OVER.format(f"unread = [{lines}]\n"), "feed")
    path = tmp_path / "mix.toml"
    path.write_text(
        'name = "M, invented"\nwater = "unknown"\ncarrier = "2 gal/1000 sq ft"\n'
        '[[add]]\nproduct = "iron-partly-chelated.toml"\nrate = "2 fl oz/1000 sq ft"\n'
        '[[add]]\nproduct = "feed"\n'
    )
    text = as_text(forecast_sheet(forecast(read_mix(path), count=16))).replace("\n  ", " ")
    assert all(f"Printed rule {k}." in text or f"Printed rule {k}\n" in text for k in range(1, 13))


def test_what_products_do_alone_is_kept_and_the_same_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A hand that moves one rate asks of the others what it asked before."""
    mix, study = example("curdles"), Study(64)
    forecast(mix, study=study)
    first, *others = mix.additions
    more = replace(first, rate=replace(first.rate, value=1.2 * first.rate.value, text=""))
    moved = replace(mix, additions=(more, *others))
    asked, follow = [], Study.follow

    def counted(self: Study, mixes: Sequence[Mix | Variant], *, until: str) -> list[Followed]:
        asked.extend(mixes)
        return follow(self, mixes, until=until)

    monkeypatch.setattr(Study, "follow", counted)
    warm = forecast(moved, study=study)
    assert [a.product for mix in asked for a in mix.additions] == [first.product]
    assert warm.alone == forecast(moved, count=64).alone
