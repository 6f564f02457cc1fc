"""Every code that advice gives has words of its own: sheets of facts made by hand, no solver."""

from __future__ import annotations

import ast
import json
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chem.advice.agents import choose_agent
from chem.advice.cleaning import STEP_OF, clean_steps
from chem.advice.diagnose import Cause, Diagnosis, NoAcid, Try
from chem.advice.edges import Edge, ProductEdge, Turn
from chem.advice.fix import LEVERS, Fixes
from chem.advice.jar import FIXED_LOOKS, OPEN, Jar, JarStep, Look
from chem.advice.levers import Fix, NoUse
from chem.advice.pour import Pour, PourOrder
from chem.advice.why import Other, Why
from chem.doubts import Range
from chem.forecast import Answer, Evolved, Forecast, Gas, Rule, Salt, never, rules_of
from chem.forecast.hazards import is_acid
from chem.forecast.out import Part
from chem.forecast.rules import ADJUVANT, STOP_WORDS, rule_kinds
from chem.label import read_product
from chem.reference.colloids import colloids
from chem.sheets.blocks import Sheet, as_text
from chem.sheets.diagnose import (
    cause_sentence,
    clean_sentences,
    diagnose_sheet,
    no_acid_words,
    try_sentence,
)
from chem.sheets.fix import BECAUSE, TITLES, fix_change, fix_json, fix_sentence, fix_sheet
from chem.sheets.fix import no_use_sentence as of_no_use
from chem.sheets.jar import LOOKS, ORDERS, jar_sheet
from chem.sheets.jar_data import jar_json
from chem.sheets.pour import pour_json, pour_sheet
from chem.sheets.rules import (
    because,
    evolved_sentence,
    evolved_unit,
    forbids,
    gas_sentence,
    minds,
    rule_next,
    rule_sentence,
)
from chem.sheets.why import sentence_of_all, why_json, why_sheet
from chem.tank import Adjuvant, Mix, in_order, loads, only, read_mix, with_carrier, with_rate

ROOT = Path(__file__).parent.parent
DEMO = ROOT / "data" / "demo" / "products"
CLEAR = {"15min": 0.01, "4h": 0.02, "24h": 0.03}
CLOUDY = {"15min": 0.5, "4h": 0.8, "24h": 0.9}
SALT = Salt(Range(20.0, 19.0, 21.0), 163.0, None, 2.67, ())
IRON, SULFATE, CARBONATE = 0, 1, 2
"""Places in the mix: an acid with a range of rates, ammonium sulfate, a carbonate."""


@pytest.fixture(scope="module")
def mix(tmp_path_factory: pytest.TempPathFactory) -> Mix:
    lines = ['name = "Trial, invented"', 'water = "soft.toml"', 'carrier = "2 gal/1000 sq ft"']
    lines += ['tank = "50 gal"', 'temperature = "60 F"', 'coldest = "40 F"']
    for name in ("iron-citric", "ammonium-sulfate-liquor", "potassium-carbonate-liquor"):
        lines += ["[[add]]", f'product = "{name}.toml"', 'rate = "3 fl oz/1000 sq ft"']
    path = tmp_path_factory.mktemp("words") / "trial.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    read = read_mix(path)
    spreader = Adjuvant("Spreader, invented", None, 4.0, 7.0)
    return replace(read, adjuvant=spreader)


def names(mix: Mix) -> list[str]:
    return [a.product.name for a in mix.additions]


def flat(sheet: Sheet) -> str:
    """A sheet in one line; none is wider than a phone or a label printer."""
    text = as_text(sheet)
    assert max(map(len, text.splitlines())) <= 60
    return " ".join(text.split())


def block(sheet: Sheet, title: str) -> list[str]:
    """Paragraphs and items of a block of a sheet."""
    found = next(b for b in sheet.blocks if b.title == title)
    return [*found.paragraphs, *found.items]


def proper(text: str) -> str:
    """A sentence that a person can read: a capital, a full stop, nothing left unfilled."""
    assert text[0].isupper() or text[0].isdigit(), text
    assert text.endswith(".") and ".." not in text, text
    assert "None" not in text and "nan" not in text and "_" not in text, text
    assert "  " not in text and " ." not in text, text
    return text


@cache
def calls(*folders: str) -> tuple[ast.Call, ...]:
    """Every call in the modules of these packages."""
    files = [f for folder in folders for f in sorted((ROOT / "chem" / folder).glob("*.py"))]
    trees = [ast.parse(f.read_text(encoding="utf-8")) for f in files]
    return tuple(n for tree in trees for n in ast.walk(tree) if isinstance(n, ast.Call))


def strings(node: ast.expr) -> Iterator[str]:
    """The string constants that an argument may be."""
    if isinstance(node, ast.IfExp):
        yield from strings(node.body)
        yield from strings(node.orelse)
    elif isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value


def made(name: str, *folders: str) -> set[tuple[str, str]]:
    """First two codes of every record of a kind that the package makes; `*` where it varies."""
    found = set()
    for call in calls(*folders):
        if isinstance(call.func, ast.Name) and call.func.id == name and len(call.args) >= 2:
            first = list(strings(call.args[0])) or ["*"]
            found |= {(a, b) for a in first for b in strings(call.args[1])}
    return found


# --- rules


def by_hand(code: str, mix: Mix) -> Rule:
    """A rule of each code, as one of this mix."""
    kind = rule_kinds()[code].kind
    limits = {"carrier": (0.1, "L/m2"), "rate": (1.0, "mL")}
    origins = {
        "never_with": "acids",
        "acid_beside_carbonate": "carbonate",
        "acid_beside_ammonia": "ammonia",
        "sulfur_in_acid": "thiosulfate",
    }
    limit, unit = limits.get(kind, (None, ""))
    other = CARBONATE if kind in {"mix", "mind"} or "beside" in code else None
    step = 2 if kind == "order" else None
    return Rule(code, IRON, other, step, limit, unit, origins.get(code, ""))


SAID = [c for c, k in rule_kinds().items() if not k.stops and k.kind != "check"]


def test_every_code_of_a_rule_is_said_stops_the_tank_or_never_leaves_a_search() -> None:
    stopping = {c for c, k in rule_kinds().items() if k.stops}
    assert stopping == set(STOP_WORDS)
    for wrong, instead in STOP_WORDS.values():
        assert wrong.startswith("Toxic gas. Don't pour. ") and instead
    made_here = {
        text
        for call in calls("advice", "forecast")
        if isinstance(call.func, ast.Name) and call.func.id == "Rule" and call.args
        for text in strings(call.args[0])
    }
    assert made_here <= set(rule_kinds()), "a code that rules.csv doesn't know"
    assert len(SAID) > 10


@pytest.mark.parametrize("code", SAID)
def test_every_rule_has_its_own_words_and_says_what_next(code: str, mix: Mix) -> None:
    rule = by_hand(code, mix)
    own, *_, other = names(mix)
    said = rule_sentence(rule, mix)
    proper(f"{said[0].upper()}{said[1:]}.")
    others = {rule_sentence(by_hand(c, mix), mix) for c in SAID if c != code}
    alike = {"rate_at_least", "rate_at_most"}
    assert (said in others) == (code in alike)
    for units in ("both", "us", "metric"):
        proper(rule_next(rule, mix, units))  # type: ignore[arg-type]
    todo = rule_next(rule, mix)
    if rule.severity == "mind":
        assert minds([rule], mix) == [f"{said}."] and forbids([rule], mix) == []
    else:
        assert own in said and own in todo
        assert forbids([rule], mix) == [said] and minds([rule], mix) == []
        assert (other in said) == (rule.other is not None)
    if rule.kind in {"carrier", "rate"}:
        assert ("at least" in todo) == code.endswith("least")
        assert ("at most" in todo) == code.endswith("most")
    assert (never([rule]) == code) == (rule.severity == "never")


def test_a_label_may_forbid_the_adjuvant(mix: Mix) -> None:
    rule = Rule("never_with", IRON, ADJUVANT, origin="spreaders")
    assert rule_sentence(rule, mix).endswith("never with spreaders (Spreader, invented)")
    assert "Spreader, invented apart" in rule_next(rule, mix)


# --- gases

GASES = [
    Gas("carbon_dioxide", "meets", CARBONATE, IRON, "carbonate"),
    Gas("carbon_dioxide", "reckoned"),
    Gas("sulfur_dioxide", "meets", SULFATE, IRON, "thiosulfate"),
    Gas("sulfur_dioxide", "ph", SULFATE, None, "sulfite", 5.2),
    Gas("ammonia", "meets", SULFATE, CARBONATE, "ammonium", 9.0),
    Gas("ammonia", "ph", SULFATE, None, "ammonium", 8.6),
    Gas("ammonia", "reckoned"),
    Gas("ammonia", "unsure"),
    Gas("heat", "strong", IRON, None, "acid"),
    Gas("heat", "strong", IRON, None, "lye"),
    Gas("hydrogen_sulfide", "strong", IRON, None, "sulfide"),
]


def test_these_are_all_the_gases_that_there_are() -> None:
    assert made("Gas", "forecast", "advice", "shelf") == {(g.key, g.cause) for g in GASES}
    assert {g.key for g in GASES} == OPEN, "the jar stays open for every one of them"


@pytest.mark.parametrize("gas", GASES, ids=lambda g: f"{g.key}, {g.cause} {g.hazard}")
def test_every_gas_has_its_own_words(gas: Gas, mix: Mix) -> None:
    said = proper(gas_sentence(gas, mix))
    assert [gas_sentence(g, mix) for g in GASES].count(said) == 1
    if gas.product is not None and gas.cause in {"meets", "strong"}:
        assert names(mix)[gas.product] in said
    if gas.other is not None:
        assert names(mix)[gas.other] in said
    assert (gas.ph is not None and gas.cause == "ph") == (f"pH {gas.ph or 0.0:.1f}" in said)
    for unit, bound in (("mL/L", "at most"), ("ppm", ""), ("K", ""), ("mL/L", "if acid got in")):
        told = proper(evolved_sentence(Evolved(gas, 2340.0, unit, bound, 25.0), mix))
        assert told.startswith(said) and "2340" in told
        assert evolved_unit(Evolved(gas, 2340.0, unit, bound)) in told
    assert evolved_sentence(Evolved(gas), mix) == said, "no figure where none could be reckoned"


@pytest.mark.parametrize("cause", ["failed", "strong", "unjudged"])
def test_every_reason_for_no_answer_has_words(cause: str) -> None:
    answer = Answer("cannot tell", 0.5, cause, 0.4, ("Wetting agent, invented",))
    said = because(answer)
    assert {"failed": "40 %", "strong": "0.4 mol/kg", "unjudged": "Wetting agent"}[cause] in said


# --- fix


def one_fix(lever: str, mix: Mix) -> Fix:
    """A change of each kind, as a search would hand it over."""
    own = {
        "carrier": {"factor": 2.0},
        "rate": {"factor": 0.5, "product": SULFATE},
        "water": {"factor": 0.25},
        "acid": {"reagent": choose_agent("citric acid"), "dose_g_per_L": 1.5},
        "base": {"reagent": choose_agent("potassium hydroxide", "45 %"), "dose_g_per_L": 1.5},
        "swap": {
            "product": SULFATE,
            "swap": (read_product(DEMO / "urea-liquor.toml"), mix.additions[SULFATE].rate),
        },
        "passes": {"factor": 2.0},
    }
    tanks = {
        "carrier": (with_carrier(mix, 2.0),),
        "rate": (with_rate(mix, SULFATE, 0.5),),
        "order": (in_order(mix, (1, 0, 2)),),
        "passes": (only(mix, [IRON, SULFATE]), only(mix, [CARBONATE])),
    }.get(lever, (mix,))
    moved = (lever == "acid",) * len(tanks)
    return Fix(lever, CLEAR, tanks, moved, 0.01, False, **own.get(lever, {}))  # type: ignore[arg-type]


def some_fixes(mix: Mix, *fixes: Fix, **other: object) -> Fixes:
    found = Fixes(
        mix=mix, judged_at="4h", answer="haze", probability=CLOUDY, fixes=fixes, no_use=(),
        rules=(), refused=None, on_the_way=0.9, spray_within_minutes=None, because=None,
        gases=(), salt=SALT, not_judged=(), draws=64, seed=1,
    )  # fmt: skip
    return replace(found, **other)  # type: ignore[arg-type]


@pytest.mark.parametrize("lever", LEVERS)
def test_every_change_is_told_in_its_own_form(lever: str, mix: Mix) -> None:
    found = one_fix(lever, mix)
    result = some_fixes(mix, found)
    said = proper(fix_sentence(found, result, "both"))
    change = fix_change(found, result, "both")
    wanted = {
        "carrier": ("2 times the water", "4 gal/1000 sq ft", "A tank then covers"),
        "rate": ("50 % of Ammonium sulfate", "1.5 fl oz/1000 sq ft"),
        "water": ("at least 75 % rain",),
        "acid": (" oz wt (", "citric acid (dry, anhydrous) per 50 gal", "into half the water"),
        "base": ("fl oz (", "45 % potassium hydroxide per 50 gal", "once the acid products"),
        "swap": ("Use Urea liquor", "in place of Ammonium sulfate", "nitrogen"),
        "order": ("Pour in this order: Ammonium sulfate", ", then Iron with citric acid"),
        "passes": ("2 passes, the tank rinsed in between", " + ", "; then Potassium carbonate"),
    }[lever]
    for words in wanted:
        assert words in said
    assert ("Pour in this order" in said) == (lever in {"acid", "order"})
    if lever in {"water", "acid", "base", "order"}:
        assert change in said
    metric = fix_sentence(found, result, "metric")
    assert "fl oz" not in metric and " gal" not in metric and "oz wt" not in metric
    sheet = flat(fix_sheet(result))
    assert TITLES[lever].upper() in sheet and "One change would do." in sheet
    assert "Then solids within" in sheet and "under 1 in 20" in sheet
    (entry,) = json.loads(fix_json(result))["fixes"]
    assert entry["sentence"] == said and entry["change"] == change


def test_a_strong_agent_a_wet_way_and_a_bad_night_are_minded(mix: Mix) -> None:
    base = one_fix("base", mix)
    night = dict(CLEAR) | {"24h": 0.7}
    told = flat(fix_sheet(some_fixes(mix, replace(base, probability_after=night, on_the_way=0.4))))
    assert "a licence may be required" in told
    assert "By tomorrow: " in told and "It may cloud on the way" in told
    assert "Check the pH that" not in told
    acid = replace(one_fix("acid", mix), all_water_first=True)
    acid = replace(acid, minds=(by_hand("copper_in_acid", mix), by_hand("copper_in_acid", mix)))
    told = flat(fix_sheet(some_fixes(mix, acid)))
    assert "Put all the water in before the products" in told
    assert told.count("free copper burns leaves") == 1
    assert "Check the pH that Spreader, invented wants" in told


NO_USE = {
    ("carrier", "by_volume"): "every rate is by volume of water",
    ("carrier", "label"): "a label allows no more",
    ("carrier", "not_enough"): "not even 4 times as much",
    ("rate", "not_enough"): "not for any of them",
    ("water", "water_unknown"): "can't be told while the water isn't known",
    ("water", "not_enough"): "not even rain water",
    ("*", "gas"): "toxic gas",
    ("*", "forbidden"): "a label forbids it (never with acids)",
    ("*", "not_enough"): "no dose up to 4 g/L",
    ("swap", "no_shelf"): "`--in`",
    ("swap", "not_enough"): "none of the shelf",
    ("order", "same_tank"): "the full tank is the same",
    ("order", "not_enough"): "none keeps it clear on the way",
    ("passes", "one_product"): "only one product",
    ("passes", "many_products"): "not searched beyond 4 products",
    ("passes", "alone"): "by itself in this water would not do: Iron with citric acid",
    ("passes", "not_enough"): "none keeps every tank clear",
}
OPENS = {
    "carrier": "More water",
    "rate": "Less of one product",
    "water": "Softer water",
    "acid": "Citric acid",
    "base": "Potassium carbonate",
    "swap": "Another product",
    "order": "Another order",
    "passes": "Separate passes",
}


def test_these_are_all_the_ways_to_be_of_no_use() -> None:
    assert made("NoUse", "advice") == set(NO_USE)
    assert set(OPENS) == set(LEVERS) == set(TITLES)


@pytest.mark.parametrize(
    ("lever", "cause"),
    [
        (lever, cause)
        for told, cause in NO_USE
        for lever in (("acid", "base") if told == "*" else (told,))
    ],
)
def test_every_change_of_no_use_says_why(lever: str, cause: str, mix: Mix) -> None:
    agent = {"acid": "citric acid", "base": "potassium carbonate"}.get(lever)
    found = NoUse(
        lever,
        cause,
        4.0,
        None if agent is None else choose_agent(agent),
        (by_hand("never_with", mix),) if cause == "forbidden" else (),
        (IRON,),
    )
    result = some_fixes(mix, no_use=(found,), because="none")
    said = proper(of_no_use(found, result))
    assert said.startswith(f"{OPENS[lever]}: ") or cause == "by_volume"
    assert NO_USE["*" if agent else lever, cause] in said
    assert said in flat(fix_sheet(result))
    assert json.loads(fix_json(result))["no_use"] == [{"lever": lever, "sentence": said}]
    asks_each = "`jarsight fix` of each alone tells what helps" in flat(fix_sheet(result))
    assert asks_each == ((lever, cause) == ("passes", "alone"))


def test_acid_that_frees_gas_is_of_no_use_for_that_and_no_label(mix: Mix) -> None:
    rules = (by_hand("sulfur_in_acid", mix),)
    found = NoUse("acid", "forbidden", reagent=choose_agent("citric acid"), rules=rules)
    said = of_no_use(found, some_fixes(mix))
    assert "toxic gas. Don't pour." in said and "label" not in said


def test_every_reason_why_nothing_does_has_words(mix: Mix) -> None:
    tree = ast.parse((ROOT / "chem" / "advice" / "fix.py").read_text(encoding="utf-8"))
    given = {
        text
        for node in ast.walk(tree)
        if isinstance(node, ast.Assign)
        and any(isinstance(t, ast.Name) and t.id == "because" for t in node.targets)
        for text in strings(node.value)
    }
    assert given == set(BECAUSE)
    for code, words in BECAUSE.items():
        rules = (by_hand("never_with", mix),) if code == "forbidden" else ()
        clear = code in {"nothing_to_change", "on_the_way"}
        result = some_fixes(
            mix, because=code, rules=rules, probability=CLEAR if clear else CLOUDY,
            on_the_way=0.01 if code == "nothing_to_change" else 0.9,
        )  # fmt: skip
        told = flat(fix_sheet(result))
        assert ("Nothing to change." if code == "nothing_to_change" else words[1:]) in told
        assert ("Don't fill the tank" in told) == (code != "nothing_to_change")
        assert json.loads(fix_json(result))["because"] == words


def test_a_mix_that_must_never_be_poured_is_said_first_and_nothing_sprayed_at_once(
    mix: Mix,
) -> None:
    rule = by_hand("sulfur_in_acid", mix)
    parted = one_fix("passes", mix)
    sheet = fix_sheet(some_fixes(mix, parted, rules=(rule,), refused=rule.code))
    assert sheet.answer[0].startswith("Never in one tank: toxic gas.")
    assert sheet.blocks[0].title == "Never in one tank"
    assert block(sheet, "Do this next") == [rule_next(rule, mix)]
    assert not any(b.title == "Or spray it at once" for b in sheet.blocks)


# --- why


def a_why(mix: Mix, **other: object) -> Why:
    found = Why(
        mix=mix, judged_at="4h", answer="clear", probability=CLEAR, ph=6.0, solids=(), others=(),
        edge=None, rules=(), refused=None, gases=(), not_judged=(), notes=(), draws=64, seed=1,
    )  # fmt: skip
    return replace(found, **other)  # type: ignore[arg-type]


@pytest.mark.parametrize("key", sorted(colloids()))
def test_every_colloid_tells_whose_it_is_and_what_it_meets(key: str, mix: Mix) -> None:
    own, _, other = names(mix)
    component = colloids()[key].component
    shares = {component: {own: 1.0}, "Ca": {other: 0.9, "water": 0.1}}
    meets = Other(key, key, 0.8, shares, component, metal="Ca")
    stands = Other(key, key, 0.8, shares, component, ph=3.2, ph_from=other)
    for told, words in ((meets, "meets the calcium of"), (stands, "stands at pH 3.2, where")):
        result = a_why(mix, others=(told,), answer="curdle", probability=CLOUDY)
        said = proper(sentence_of_all(result))
        assert colloids()[key].because[1:] in said and own in said and other in said
        assert words in said
        assert said in flat(why_sheet(result))
        assert json.loads(why_json(result))["others"][0]["because"][1:] == said[1:-1]


def test_cold_crystals_and_an_empty_tank_have_words(mix: Mix) -> None:
    cold = Other("potassium_sulfate", "potassium sulfate crystals (cold)", 0.5, {})
    said = proper(sentence_of_all(a_why(mix, others=(cold,))))
    assert said == "Potassium sulfate crystallises: too much salt for the cold."
    assert "Nothing in this tank can form a solid." in flat(why_sheet(a_why(mix)))


def test_an_edge_is_told_each_way_or_said_not_to_be_there(mix: Mix) -> None:
    iron, sulfate, carbonate = names(mix)
    lime = "lime"
    edge = Edge(
        (
            ProductEdge(iron, None, Turn(0.0, lime)),
            ProductEdge(sulfate, Turn(3.0, None), None),
            ProductEdge(carbonate, None, None),
        ),
        6.0,
        Turn(7.5, lime),
        None,
    )
    told = flat(why_sheet(a_why(mix, edge=edge)))
    for words in (
        f"{iron} turns it if left out",
        f"{sulfate} turns it at 3 times its rate, 9 fl oz/1000 sq ft",
        f"No sensible factor turns it for {carbonate}.",
        "Turns above about pH 7.5",
        "pH now 6.0",
    ):
        assert words in told
    assert "Turns below" not in told and "No pH within" not in told
    none = Edge(tuple(ProductEdge(n, None, None) for n in names(mix)), 6.0, None, None)
    told = flat(why_sheet(a_why(mix, edge=none)))
    assert "for any product." in told and "No pH within four units turns it." in told


def test_why_of_a_mix_that_must_never_be_poured(mix: Mix) -> None:
    rule = by_hand("sulfur_in_acid", mix)
    result = a_why(mix, rules=(rule,), refused=rule.code, gases=tuple(GASES[:3]))
    sheet = why_sheet(result)
    assert sheet.answer[0] == "Toxic gas: don't pour these together."
    assert [b.title for b in sheet.blocks[:3]] == [
        "Never in one tank",
        "Gas or heat",
        "Do this next",
    ]
    assert block(sheet, "Gas or heat") == [gas_sentence(g, mix) for g in GASES[:3]]
    assert block(sheet, "Do this next") == [rule_next(rule, mix)]


# --- pour


def an_order(
    mix: Mix, *indices: int, chances: tuple[float, ...] = (0.01, 0.02, 0.02, 0.01)
) -> PourOrder:
    sequence = tuple(names(mix)[i] for i in indices)
    worst = max(range(len(chances)), key=lambda k: chances[k])
    return PourOrder(sequence, indices, chances, worst + 1, chances[worst], None, ())


def a_pour(mix: Mix, **other: object) -> Pour:
    asked = an_order(mix, 0, 1, 2)
    found = Pour(
        mix=mix, rules=(), refused=None, orders=(asked,), asked=asked, ways=6, least=0.02,
        most=0.02, matters=False, stuck=None, apart=(), acids=(IRON,), custom=(1, 2, 3),
        load=loads(mix)[0], all_water=None, gases=(),
        not_judged=(), unsure=False, draws=64, seed=1,
    )  # fmt: skip
    return replace(found, **other)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("stuck", "words"),
    [
        (None, "no order keeps every label's rule"),
        ((IRON, CARBONATE, "carbonate"), "(fizzes)"),
        ((IRON, SULFATE, "ammonia"), "(heats and fumes)"),
        ((IRON, SULFATE, "thiosulfate"), "(gives sulfur dioxide and sulfur)"),
    ],
)
def test_every_reason_for_no_order_has_words(
    stuck: tuple[int, int, str] | None, words: str, mix: Mix
) -> None:
    result = a_pour(mix, orders=(), ways=0, stuck=stuck)
    sheet = pour_sheet(result)
    assert sheet.answer[0].startswith("Not in one tank: ") and words in sheet.answer[0]
    assert block(sheet, "Do this next") == ["Spray them apart, the tank rinsed in between."]
    assert not any(b.title == "Step by step" for b in sheet.blocks)
    assert words in json.loads(pour_json(result))["because"]
    if stuck is not None:
        assert all(names(mix)[i] in sheet.answer[0] for i in stuck[:2])


@pytest.mark.parametrize("code", [c for c in SAID if rule_kinds()[c].kind == "mix"])
def test_a_mix_that_a_rule_forbids_gets_no_order(code: str, mix: Mix) -> None:
    rule = by_hand(code, mix)
    result = a_pour(mix, rules=(rule,), refused=never([rule]), orders=(), ways=0)
    sheet = pour_sheet(result)
    first = "Never in one tank: toxic gas." if result.refused else "Don't pour these together:"
    assert sheet.answer[0].startswith(first)
    assert block(sheet, "Do this next") == [rule_next(rule, mix)]
    assert not any(b.title in {"Step by step", "While pouring"} for b in sheet.blocks)
    assert json.loads(pour_json(result))["rules_broken"][0]["code"] == code


def test_orders_alike_another_order_and_all_the_water_first(mix: Mix) -> None:
    alike = flat(pour_sheet(a_pour(mix)))
    assert "The order makes no difference. " in alike and "STEP BY STEP" in alike
    assert f"{names(mix)[IRON]} (acid): alone, stirred" in alike
    among = flat(pour_sheet(a_pour(mix, ways=2, apart=((CARBONATE, IRON),))))
    assert "no difference among those allowed" in among
    assert f"Never {names(mix)[IRON]} right before or after {names(mix)[CARBONATE]}." in among
    better = an_order(mix, 2, 1, 0)
    asked = an_order(mix, 0, 1, 2, chances=(0.01, 0.6, 0.9, 0.05))
    told = flat(pour_sheet(a_pour(mix, orders=(better,), asked=asked, matters=True, most=0.9)))
    assert "Pour in another order." in told and "6 orders keep every rule" in told
    assert f"At its worst at step 3, after {names(mix)[CARBONATE]}: 9 in 10" in told
    assert "What has fallen out by then may stay" in told
    cloudy = replace(asked, chances=(0.01, 0.02, 0.02, 0.6), worst_step=4, probability=0.6)
    told = flat(pour_sheet(a_pour(mix, orders=(cloudy,), asked=cloudy, all_water=0.02)))
    assert "At its worst at step 4, with the last water in" in told
    assert "Put all the water in before the products" in told
    told = flat(pour_sheet(a_pour(mix, orders=(cloudy,), asked=cloudy, unsure=True)))
    assert "No order keeps it clear" in told and "Some steps had no answer" in told


# --- the jar


def a_forecast(mix: Mix, **other: object) -> Forecast:
    ph = Range(6.0, 5.8, 6.2)
    found = Forecast(
        mix=mix, answer="clear", chance=0.98, judged_at="4h", because=None, probability=CLEAR,
        clogs=CLEAR, course=(), ph=ph, ph_aired=None, ph_settled=6.0, ionic_strength_mol_per_kg=0.1,
        conductivity_mS_per_cm=None, salt=SALT, density_kg_per_L=1.0, coverage=1.0,
        totals_mol_per_L={}, solids=(), colloids=(), gases=(), not_judged=(), loads=loads(mix),
        delivered_kg_per_ha={}, suited=None, windows=(), rules=(), refused=None,
        spray_within_minutes=None, alone=(), doubts=(), notes=(), draws=64, seed=1,
        failed_rows=0, versions={},
    )  # fmt: skip
    return replace(found, **other)  # type: ignore[arg-type]


def a_jar(mix: Mix, **other: object) -> Jar:
    steps = (
        JarStep(None, 370.0, False, 5.0, 1, "first"),
        JarStep(names(mix)[0], 8.5, False, 0.1),
        JarStep(names(mix)[1], 0.6, False, 0.01),
        JarStep("Spreader, invented", 12.0, True, 0.2),
        JarStep(names(mix)[2], 0.01, True, 0.1, 100),
        JarStep(None, 370.0, False, 5.0, 1, "last"),
    )
    looks = tuple(Look(m, ()) for m in FIXED_LOOKS)
    found = Jar(
        forecast=a_forecast(mix), jar_mL=757.0, vessel_mL=946.0, order="asked", steps=steps,
        looks=looks, fumes=(), enlarged=False, thinned=False, unrated=None, scale=250.0,
    )  # fmt: skip
    return replace(found, **other)  # type: ignore[arg-type]


def test_every_step_of_a_jar_is_measured_in_its_own_way(mix: Mix) -> None:
    text = [s["text"] for s in json.loads(jar_json(a_jar(mix)))["steps"]]
    assert text == [
        "370 mL, about half the water, stirring",
        "8.5 mL by syringe (about 1.7 tsp)",
        "0.60 mL by syringe (about 12 drops)",
        "12.0 g on a scale",
        "1.0 mL of 1 g made up to 100 mL with the same water",
        "370 mL, the rest, to 757 mL in all",
    ]
    whole = a_jar(mix, steps=(JarStep(None, 740.0, False, 10.0, 1, "all"),))
    assert json.loads(jar_json(whole))["steps"][0]["text"] == "740 mL, all the water, stirring"
    assert "tsp" not in flat(jar_sheet(a_jar(mix), "metric"))
    assert "Your tank is 250 times this." in flat(jar_sheet(a_jar(mix)))


def test_every_order_and_look_of_a_jar_has_words(mix: Mix) -> None:
    tree = ast.parse((ROOT / "chem" / "advice" / "jar.py").read_text(encoding="utf-8"))
    (best,) = [n for n in tree.body if isinstance(n, ast.FunctionDef) and n.name == "_best"]
    given = {
        text
        for node in ast.walk(best)
        if isinstance(node, ast.Return) and isinstance(node.value, ast.Tuple)
        for value in node.value.elts
        for text in strings(value)
    }
    assert given | {"asked"} == set(ORDERS)
    for order, words in ORDERS.items():
        assert proper(words) in flat(jar_sheet(a_jar(mix, order=order)))
    assert set(LOOKS) == set(FIXED_LOOKS)
    for minutes in FIXED_LOOKS:
        expected = (("salt", "gypsum", 0.7), *(("colloid", key, 0.3) for key in colloids()))
        (entry,) = json.loads(jar_json(a_jar(mix, looks=(Look(minutes, expected),))))["look"]
        assert entry["minutes"] == minutes and entry["for"].startswith(LOOKS[minutes])
        assert "Expected about now: gypsum." in entry["for"]
        for rule in colloids().values():
            assert f"Perhaps about now: {rule.because}." in entry["for"]


@pytest.mark.parametrize("gas", GASES, ids=lambda g: f"{g.key}, {g.cause} {g.hazard}")
def test_a_jar_that_gives_anything_off_stays_open(gas: Gas, mix: Mix) -> None:
    unit = "K" if gas.key == "heat" else "ppm" if gas.key == "ammonia" else "mL/L"
    fumes = (Evolved(gas, 400.0, unit, "", 25.0),)
    data = json.loads(jar_json(a_jar(mix, fumes=fumes)))
    assert data["gases"][0].startswith(gas_sentence(gas, mix))
    assert ("Up to 300 mL of gas from this jar." in data["gases"][0]) == (unit == "mL/L")
    assert "Never shake or close it" in data["gases"][-1]
    assert "never shake or close this jar" in data["between"]
    calm = json.loads(jar_json(a_jar(mix)))
    assert calm["gases"] == [] and "turn it over" in calm["between"]


def test_notes_of_a_jar_and_none_of_a_mix_that_must_never_be_poured(mix: Mix) -> None:
    told = flat(jar_sheet(a_jar(mix, enlarged=True, thinned=True, unrated="Spreader, invented")))
    for words in ("smallest dose can be measured", "hides what its concentrate", "no rate in the"):
        assert words in told
    assert "Stand a second jar overnight at 40 F" in told
    rule = by_hand("sulfur_in_acid", mix)
    refused = a_forecast(mix, rules=(rule,), refused=rule.code)
    sheet = jar_sheet(a_jar(mix, forecast=refused, steps=(), jar_mL=0.0, scale=None))
    assert sheet.answer[0] == "Never in one tank: toxic gas. No jar of it either."
    titles = {b.title for b in sheet.blocks}
    assert not titles & {"Measure", "Look", "Write here", "pH", "Then"}
    assert block(sheet, "Do this next") == [rule_next(rule, mix)]


# --- diagnose


def a_cause(rinse: str, *, key: str = "gypsum", kind: str = "salt", chance: float = 0.6) -> Cause:
    part = Part(key, key, kind, True)
    return Cause(key, chance, part, (("Ca", "Lime liquor, invented", 0.9),), None, rinse)


def a_diagnosis(mix: Mix, **other: object) -> Diagnosis:
    found = Diagnosis(
        mix=mix, seen=("flakes",), causes=(), tries=(), sprayable=0.5, cleaning=(), no_acid=None,
        gases=(), agrees=True, rules=(), refused=None, draws=64, seed=1,
    )  # fmt: skip
    return replace(found, **other)  # type: ignore[arg-type]


def test_every_way_of_rinsing_is_one_that_a_cause_may_ask_for() -> None:
    tree = ast.parse((ROOT / "chem" / "advice" / "diagnose.py").read_text(encoding="utf-8"))
    (asked,) = [n for n in tree.body if isinstance(n, ast.FunctionDef) and n.name == "rinse"]
    every = {t for n in ast.walk(asked) if isinstance(n, ast.Return) and n.value for t in
             (*strings(n.value), *_defaults(n.value))}  # fmt: skip
    assert every == set(STEP_OF)


def _defaults(node: ast.expr) -> Iterator[str]:
    """What a look-up in a literal table may give."""
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
        table = node.func.value
        if isinstance(table, ast.Dict):
            for value in (*table.values, *node.args[1:]):
                yield from strings(value)


@pytest.mark.parametrize("rinse", sorted(STEP_OF))
def test_every_way_of_rinsing_has_words_and_its_acid_a_limit(rinse: str, mix: Mix) -> None:
    one = a_cause(rinse, key="humate_by_acid" if rinse == "humate" else "gypsum")
    one = replace(one, part=replace(one.part, kind="colloid" if rinse == "humate" else "salt"))
    steps = clean_steps(mix, [(one.key, rinse)])
    result = a_diagnosis(mix, causes=(one,), cleaning=steps)
    said = " ".join(clean_sentences(result))
    assert (f"For {cause_name(one)}:" in said) == (rinse in {"warm_water", "gypsum", "humate",
                                                             "acid"})  # fmt: skip
    assert ("acid rinse" in said) == (rinse == "acid")
    metric = " ".join(clean_sentences(result, "metric"))
    assert "fl oz" not in metric and " gal" not in metric and "oz wt" not in metric
    for no_acid in (NoAcid("gas"), NoAcid("foam", product="X")):
        wary = " ".join(clean_sentences(replace(result, no_acid=no_acid)))
        assert ("Not before water has rinsed out the last of this mix." in wary) == (
            rinse == "acid"
        )


def cause_name(cause: Cause) -> str:
    said = cause_sentence(cause).split(":")[0].rstrip(".")
    return (
        colloids()[cause.key].because
        if cause.part.kind == "colloid"
        else said[0].lower() + said[1:]
    )


@given(
    ways=st.lists(st.sampled_from(sorted(STEP_OF)), min_size=1, max_size=7, unique=True),
    wary=st.booleans(),
)
def test_one_order_of_cleaning_is_right_for_all_that_came_out(
    mix: Mix, ways: list[str], wary: bool
) -> None:
    """Acid on thiosulfate frees sulfur dioxide and sulfur (Holleman-Wiberg, Inorganic Chemistry:
    value from memory); acid drops humic acid, alkali dissolves it (the very definition of humic
    acid: IHSS). The rest common practice, no source."""
    steps = clean_steps(mix, [(f"cause {way}", way) for way in ways], wary=wary)
    order = [s.what for s in steps]
    assert order[0] == "flush" and order[-1] == "last" and len(set(order)) == len(order)
    assert all(s.litres in {0.1 * (mix.tank_L or 0.0), 0.5 * (mix.tank_L or 0.0)} for s in steps)
    for way in ways:
        served = STEP_OF[way]
        assert served in order or (served == "acid" and "sulfur" in ways)
        if served not in {"flush", "acid"}:
            assert f"cause {way}" in next(s for s in steps if s.what == served).keys
    if "acid" in order:
        assert "sulfur" not in ways
        assert order.index("acid") == len(order) - 2, "nothing but clean water after acid"
        assert not wary or steps[0].times >= 3


def test_causes_name_their_jugs_and_their_alkali(mix: Mix) -> None:
    said = proper(cause_sentence(a_cause("gypsum")))
    assert "Lime liquor, invented" in said and "gypsum" in said.lower()
    lifted = replace(a_cause("acid", key="ferrihydrite"), alkali="Lye, invented")
    assert "the alkali of Lye, invented" in proper(cause_sentence(lifted))
    for key, rule in colloids().items():
        said = proper(cause_sentence(a_cause("gel", key=key, kind="colloid")))
        assert said[1:] == f"{rule.because[1:]}."
    cold = a_cause("warm_water", key="potash_of_no_table", kind="crystals")
    proper(cause_sentence(replace(cold, part=replace(cold.part, name="potash crystals (cold)"))))
    surprised = a_diagnosis(mix, causes=(a_cause("gypsum"),), agrees=False)
    told = flat(diagnose_sheet(surprised))
    assert "if it is a salt at all" in told and "The model did not expect what you saw" in told


@pytest.mark.parametrize(
    ("no_acid", "words"),
    [
        (NoAcid("gas"), "frees a poisonous gas"),
        (NoAcid("label", (Rule("never_with", 0, 1, origin="acids"),)), "never with acids"),
        (NoAcid("foam", product="Carbonate, invented"), "Carbonate, invented would foam over"),
    ],
)
def test_every_reason_against_acid_has_words(no_acid: NoAcid, words: str, mix: Mix) -> None:
    causes = {t for name, t in _keyed("NoAcid") if name == "NoAcid"}
    assert no_acid.cause in causes == {"gas", "label", "foam"}
    assert words in no_acid_words(no_acid)
    tried = Try("acid", 0.0, sure=True, lost=False, no_acid=no_acid)
    said = proper(try_sentence(tried, mix))
    assert said.startswith("Acid: n") and words in said and " g per litre" not in said


def _keyed(name: str) -> Iterator[tuple[str, str]]:
    for call in calls("advice"):
        if isinstance(call.func, ast.Name) and call.func.id == name and call.args:
            for text in strings(call.args[0]):
                yield name, text


@pytest.mark.parametrize("what", ["water", "acid", "nothing"])
@pytest.mark.parametrize(
    ("works", "sure", "lost", "words"),
    [
        (0.0, False, False, "only a jar of it can tell"),
        (0.9, True, False, "may take it back, stirred long"),
        (0.2, True, False, "hardly"),
        (0.0, True, False, "not"),
        (0.0, True, True, "does not go back"),
    ],
)
def test_every_remedy_says_what_it_would_do(
    what: str, works: float, sure: bool, lost: bool, words: str, mix: Mix
) -> None:
    said = proper(try_sentence(Try(what, works, sure, lost), mix))
    assert words in said
    opens = {"water": "As much water again", "acid": "Citric acid, 8 g per litre"}
    assert said.startswith(opens.get(what, ("Stirring and waiting", "Waiting")))  # type: ignore[arg-type]
    sheet = diagnose_sheet(a_diagnosis(mix, tries=(Try(what, works, sure, lost),)))
    assert block(sheet, "Try, first in a jar of it") == [said]
    if what == "acid":
        assert ("lid open: it may fizz" in said) == (works >= 0.1)
        copper = tuple(by_hand(c, mix) for c in ("copper_in_acid", "sulfonylurea_in_acid"))
        minded = try_sentence(Try(what, works, sure, lost, minds=copper), mix)
        assert ("free copper" in minded and "Sulfonylurea" in minded) == (works >= 0.1)


def test_water_that_a_label_forbids_is_no_remedy(mix: Mix) -> None:
    rules = (by_hand("carrier_at_most", mix),)
    said = proper(try_sentence(Try("water", 0.0, True, False, forbidden=rules), mix))
    assert said == f"As much water again: no, {rule_sentence(rules[0], mix)}."


def test_what_is_no_solid_is_remarked_on(mix: Mix) -> None:
    gassed = a_diagnosis(mix, seen=("fizz",), gases=tuple(GASES))
    told = flat(diagnose_sheet(gassed))
    assert all(gas_sentence(g, mix) in told for g in GASES)
    assert "What you saw tells of no solid." in told
    calm = flat(diagnose_sheet(a_diagnosis(mix, seen=("heat",))))
    assert "No gas or heat is expected of this mix: lid open" in calm
    assert "emulsions and wetting agents" in flat(diagnose_sheet(a_diagnosis(mix, seen=("oil",))))
    assert "look for an emulsion or dirt" in flat(diagnose_sheet(a_diagnosis(mix)))


def test_a_tank_that_should_never_have_been_poured_is_not_sprayed(mix: Mix) -> None:
    rule = by_hand("sulfur_in_acid", mix)
    sheet = diagnose_sheet(a_diagnosis(mix, rules=(rule,), refused=rule.code))
    said = rule_sentence(rule, mix)
    assert sheet.answer[0] == f"{said[0].upper()}{said[1:]}."
    titles = {b.title for b in sheet.blocks}
    assert not titles & {"May it still be sprayed", "Try, first in a jar of it", "A rule is broken"}


def test_the_mix_of_these_tests_is_what_it_is_said_to_be(mix: Mix) -> None:
    """Nothing by hand would hold of a mix that reads otherwise."""
    products = [a.product for a in mix.additions]
    assert [is_acid(p) for p in products] == [True, False, False]
    assert "ammonium" in products[SULFATE].hazards and "carbonate" in products[CARBONATE].hazards
    assert products[IRON].rate_range is not None
    assert never(rules_of(mix)) is None
