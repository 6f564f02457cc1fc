"""A mix that must never be poured: every command says so alike and measures nothing out."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chem.advice.agents import choose_agent
from chem.advice.diagnose import diagnose
from chem.advice.fix import fix
from chem.advice.jar import jar
from chem.advice.ph import adjust
from chem.advice.pour import pour
from chem.advice.why import why
from chem.cli import main
from chem.doubts import Range
from chem.errors import ToxicGas
from chem.forecast import forecast, never, rules_of
from chem.forecast.rules import met, rule_kinds
from chem.sheets.blocks import Sheet, as_text
from chem.sheets.diagnose import diagnose_json, diagnose_sheet
from chem.sheets.fix import fix_json, fix_sheet
from chem.sheets.forecast import forecast_sheet, forecast_short
from chem.sheets.forecast_data import forecast_json
from chem.sheets.jar import jar_sheet
from chem.sheets.jar_data import jar_json
from chem.sheets.ph import doses, ph_sheet
from chem.sheets.ph_data import ph_json
from chem.sheets.pour import pour_json, pour_sheet
from chem.sheets.rules import rule_next, rule_sentence
from chem.sheets.shelf import shelf_sheet
from chem.sheets.shelf_data import shelf_json
from chem.sheets.why import why_json, why_sheet
from chem.shelf import Item, Setting, local, shelf
from chem.tank import Mix, change_mix, only, read_mix
from chem.units import (
    format_carrier,
    format_mass,
    format_rate,
    format_temperature,
    format_volume,
    read_carrier,
    read_mass,
    read_rate,
    read_volume,
)

DRAWS = 32
IRON, THIOSULFATE = "iron-citric", "potassium-thiosulfate-liquor"
SULFITE = """
name = "Sulfite liquor, invented"
density = "1.3 kg/L"
sources = ["potassium sulfite"]
[known]
"potassium sulfite" = 30
"""
NEVER_MIXES = {
    # Acid with thiosulfate or sulfite gives sulfur dioxide, with thiosulfate sulfur as well:
    # S2O3-2 + 2 H+ = S + SO2 + H2O (Holleman-Wiberg, Inorganic Chemistry: value from memory).
    "iron and thiosulfate": (IRON, THIOSULFATE),
    "the acid last": (THIOSULFATE, IRON),
    "a third in between": (IRON, "urea-liquor", THIOSULFATE),
    "an acid and sulfite": ("ph-buffer", "sulfite"),
    "curdling as well": ("npk-orthophosphate", "calcium-chloride-liquor", IRON, THIOSULFATE),
}
AMOUNT = re.compile(r"\d ?(mL|L|g|kg|fl oz|oz wt|oz(?! wt)|lb|gal|qt|tsp|drops)\b(?!/| gas)")
"""An amount that could be measured out; `mL gas per litre` is of gas, g/L of what comes out."""
OF_NO_TANK = {"Taken for granted, check these", "Clean out, in this order"}
"""How to measure the pH of a jug of it alone; the water that rinses a sprayer."""


def written(folder: Path, names: tuple[str, ...]) -> Path:
    """A mix file with a tank, so that amounts could be told if any command would."""
    (folder / "sulfite.toml").write_text(SULFITE, encoding="utf-8")
    lines = ['name = "Trial, invented"', 'water = "soft.toml"', 'carrier = "2 gal/1000 sq ft"']
    lines += ['tank = "50 gal"', 'temperature = "60 F"']
    for name in names:
        lines += ["[[add]]", f'product = "{name}.toml"', 'rate = "3 fl oz/1000 sq ft"']
    path = folder / "trial.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


@dataclass(frozen=True)
class Told:
    """What a command says: its result, JSON object and sheet."""

    result: Any
    json: Mapping[str, Any]
    sheet: Sheet


def every_command(mix: Mix) -> dict[str, Told]:
    """Everything that is asked of one mix."""
    buffered = adjust(mix, 5.0, choose_agent("citric acid"), count=DRAWS)
    lifted = adjust(mix, 8.0, choose_agent("potassium carbonate"), count=DRAWS)
    seen = diagnose(mix, seen=["flakes", "smell"], after_min=5.0, count=DRAWS)
    told = {
        "forecast": (forecast(mix, count=DRAWS), forecast_json, forecast_sheet),
        "why": (why(mix, count=DRAWS), why_json, why_sheet),
        "fix": (fix(mix, count=DRAWS), fix_json, fix_sheet),
        "pour": (pour(mix, count=DRAWS), pour_json, pour_sheet),
        "ph, acid": (buffered, ph_json, ph_sheet),
        "ph, base": (lifted, ph_json, ph_sheet),
        "jar": (jar(mix, count=DRAWS), jar_json, jar_sheet),
        "jar, best": (jar(mix, order="best", count=DRAWS), jar_json, jar_sheet),
        "diagnose": (seen, diagnose_json, diagnose_sheet),
    }
    return {
        name: Told(result, json.loads(as_json(result)), as_sheet(result))
        for name, (result, as_json, as_sheet) in told.items()
    }


@pytest.fixture(scope="module", params=NEVER_MIXES, ids=str)
def asked(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Mix, dict[str, Told]]:
    mix = read_mix(written(tmp_path_factory.mktemp("never"), NEVER_MIXES[request.param]))
    return mix, every_command(mix)


def test_one_refusal_and_one_list_of_rules(asked: tuple[Mix, dict[str, Told]]) -> None:
    mix, told = asked
    rules = rules_of(mix)
    assert never(rules) == "sulfur_in_acid"
    first = told["forecast"].json
    assert first["rules_broken"][0]["code"] == "sulfur_in_acid"
    assert {r["code"] for r in first["rules_broken"]} >= {r.code for r in rules}
    for name, one in told.items():
        result = one.result.forecast if name.startswith("jar") else one.result
        assert result.refused == one.json["refused"] == "sulfur_in_acid", name
        assert one.json["rules_broken"] == first["rules_broken"], name
        assert one.json["label_forbids"] == first["label_forbids"], name
        assert "sulfur dioxide" in one.json["label_forbids"][0], name


def test_the_refusal_is_the_first_thing_said(asked: tuple[Mix, dict[str, Told]]) -> None:
    mix, told = asked
    for name, one in told.items():
        assert "toxic gas" in one.sheet.answer[0].lower(), name
        if name == "diagnose":  # it is in the tank already: the rule itself is the answer
            assert rule_sentence(rules_of(mix)[0], mix)[1:] in one.sheet.answer[0]
            continue
        (title, rules), *_ = [(b.title, b.items) for b in one.sheet.blocks if b.items]
        assert title == "Never in one tank", name
        assert "Acid sets sulfur dioxide free" in rules[0], name
        text = " ".join(as_text(one.sheet).split())
        assert "into one tank: spray the two apart" in text, name
    assert "Never in one tank: toxic gas" in forecast_short(told["forecast"].result)


def test_nothing_is_measured_out(asked: tuple[Mix, dict[str, Told]]) -> None:
    """No order, dose, jar step, remedy or one-tank fix: not in the object, JSON nor sheet."""
    _, told = asked
    for name, one in told.items():
        kept = [b for b in one.sheet.blocks if b.title not in OF_NO_TANK]
        for block in kept:
            for line in (*block.paragraphs, *block.items, *(" ".join(r) for r in block.rows)):
                assert not AMOUNT.search(line), (name, block.title, line)
    assert told["forecast"].json["tank"] == []
    for name in ("jar", "jar, best"):
        assert told[name].result.steps == () and told[name].json["steps"] == []
        assert told[name].result.scale is None
    poured = told["pour"]
    assert poured.result.orders == () and poured.result.advised is None
    assert poured.json["orders"] == [] and poured.json["advised"] is None
    assert poured.json["because"]
    for name in ("ph, acid", "ph, base"):
        dosed = told[name]
        assert dosed.result.dose_g_per_L is dosed.json["dose_g_per_L"] is None
        assert doses(dosed.result) == dosed.json["doses"] == {}
        assert dosed.json["curve"] == [] and dosed.json["dose_range_g_per_L"] == {
            "p05": None,
            "p95": None,
        }
    assert told["diagnose"].result.tries == () and told["diagnose"].json["try"] == []
    mended = told["fix"]
    assert {f.lever for f in mended.result.fixes} <= {"passes"}
    for found in mended.result.fixes:
        assert len(found.mixes) > 1
        assert all(never(rules_of(tank)) is None for tank in found.mixes)
    assert mended.json["spray_within_minutes"] is None


def test_a_tank_of_gas_is_never_rinsed_with_acid(asked: tuple[Mix, dict[str, Told]]) -> None:
    _, told = asked
    steps = told["diagnose"].json["cleaning"]
    assert steps and not any(s["agent"] in {"citric acid", "vinegar"} for s in steps)
    assert "No acid, not even to rinse" in told["diagnose"].json["clean_out"]


def test_what_may_be_poured_is_measured_out(tmp_path: Path) -> None:
    """The search for amounts above finds them where they are."""
    mix = read_mix(written(tmp_path, ("urea-liquor", "npk-orthophosphate")))
    sheets = (
        forecast_sheet(forecast(mix, count=DRAWS)),
        pour_sheet(pour(mix, count=DRAWS)),
        jar_sheet(jar(mix, count=DRAWS)),
        ph_sheet(adjust(mix, 5.0, choose_agent("citric acid"), count=DRAWS)),
    )
    for sheet in sheets:
        kept = [b for b in sheet.blocks if b.title not in OF_NO_TANK]
        lines = [t for b in kept for t in (*b.items, *(" ".join(row) for row in b.rows))]
        assert sum(bool(AMOUNT.search(line)) for line in lines) >= 2, sheet.title


def test_the_shelf_refuses_the_pair_by_the_same_rules(tmp_path: Path) -> None:
    mix = read_mix(written(tmp_path, NEVER_MIXES["iron and thiosulfate"]))
    told = json.loads(forecast_json(forecast(mix, count=DRAWS)))
    items = [Item(a.product, a.rate, a.product.key) for a in mix.additions]
    where = Setting(mix.water, mix.carrier_L_per_m2, mix.t_celsius, None, DRAWS, 1)
    result = shelf(items, where, engine=local(1), passes=True)
    (pair,), (entry,) = result.pairs, json.loads(shelf_json(result))["pairs"]
    assert pair.refused == entry["refused"] == told["refused"]
    assert entry["rules_broken"] == told["rules_broken"]
    assert entry["label_forbids"] == told["label_forbids"]
    assert pair.toxic and pair.quarrels and not pair.fine and pair.clear_at is None
    assert entry["try"] == "Never in one tank."
    assert result.passes is not None and all(len(t) == 1 for t in result.passes.tanks)
    assert not any(len(group) > 1 for group in result.groups)
    text = " ".join(as_text(shelf_sheet(result)).split())
    assert "never in one tank. " in text and "Acid sets sulfur dioxide free" in text


@pytest.mark.parametrize(
    "arguments",
    [
        ("forecast",),
        ("why",),
        ("fix",),
        ("pour",),
        ("ph", "--to", "5", "--with", "citric acid"),
        ("jar",),
        ("diagnose", "--seen", "smell", "--after", "1"),
    ],
    ids=lambda a: a[0],
)
def test_the_command_line_says_so_and_exits_0(
    arguments: tuple[str, ...],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    path = written(tmp_path, NEVER_MIXES["iron and thiosulfate"])
    name, *others = arguments
    asked_ = ["jarsight", name, str(path), *others, "--draws", str(DRAWS)]
    monkeypatch.setattr(sys, "argv", asked_)
    with pytest.raises(SystemExit) as left:
        main.run()
    told = capsys.readouterr()
    assert not left.value.code, told.err
    head = " ".join(told.out.splitlines()[:6])
    assert "toxic gas" in head.lower()
    monkeypatch.setattr(sys, "argv", [*asked_, "--json"])
    with pytest.raises(SystemExit) as left:
        main.run()
    assert not left.value.code
    assert json.loads(capsys.readouterr().out)["refused"] == "sulfur_in_acid"


QUESTIONS: dict[str, Callable[[Mix], object]] = {
    "forecast": lambda mix: forecast(mix, count=DRAWS),
    "why": lambda mix: why(mix, count=DRAWS),
    "fix": lambda mix: fix(mix, count=DRAWS),
    "pour": lambda mix: pour(mix, count=DRAWS),
    "ph": lambda mix: adjust(mix, 5.0, choose_agent("citric acid"), count=DRAWS),
    "jar": lambda mix: jar(mix, count=DRAWS),
    "diagnose": lambda mix: diagnose(mix, seen=["smell"], count=DRAWS),
}


@pytest.mark.parametrize("question", QUESTIONS)
@pytest.mark.parametrize(
    ("source", "other", "code"),
    [
        # Chlorine and chloramines, hydrogen sulfide: nothing more is asked of such a tank.
        ("sodium hypochlorite", "urea-liquor", "hypochlorite"),
        ("calcium polysulfide", "ph-buffer", "sulfide_in_acid"),
    ],
)
def test_what_stops_a_tank_stops_every_question(
    question: str, source: str, other: str, code: str, tmp_path: Path
) -> None:
    """Common practice, no source: neither meets anything that frees its gas."""
    (tmp_path / "bad.toml").write_text(
        f'name = "Bad, invented"\ndensity = "1.1 kg/L"\nsources = ["{source}"]\n'
        f'[known]\n"{source}" = 5\n'
    )
    mix = read_mix(written(tmp_path, ("bad", other)))
    with pytest.raises(ToxicGas) as stopped:
        QUESTIONS[question](mix)
    assert stopped.value.code == code and rule_kinds()[code].stops


LIMIT = 'carrier_at_least = "{}"'


def limited(folder: Path, limit: str, carrier: str) -> Mix:
    """One plain liquid whose label asks for some carrier."""
    (folder / "liquor.toml").write_text(
        'name = "Urea liquor, invented"\ndensity = "1.1 kg/L"\nsources = ["urea"]\n'
        f'[guarantee]\n"total nitrogen" = 15\n[says]\n{LIMIT.format(limit)}\n',
        encoding="utf-8",
    )
    path = folder / "limited.toml"
    path.write_text(
        f'name = "Trial, invented"\ncarrier = "{carrier}"\n'
        '[[add]]\nproduct = "liquor.toml"\nrate = "3 fl oz/1000 sq ft"\n',
        encoding="utf-8",
    )
    return read_mix(path)


def test_a_limit_is_met_within_its_printed_rounding(tmp_path: Path) -> None:
    """1 gal/1000 sq ft is 407.46 L/ha (3.785412 L over 92.90304 m2, exact by definition)."""
    for carrier in ("407 L/ha", "407.5 L/ha", "43.56 gal/acre", "44 gal/acre", "4.07 L/100 m2"):
        assert not rules_of(limited(tmp_path, "1 gal/1000 sq ft", carrier)), carrier
    for carrier in ("390 L/ha", "40 gal/acre", "0.9 gal/1000 sq ft"):
        (rule,) = rules_of(limited(tmp_path, "1 gal/1000 sq ft", carrier))
        assert rule.code == "carrier_at_least"
        assert "1 gal/1000 sq ft" in rule_next(rule, limited(tmp_path, "1 gal/1000 sq ft", carrier))


@given(
    gallons=st.integers(5, 60_000).map(lambda n: f"{n / 1000:g} gal/1000 sq ft")
    | st.integers(10, 9000).map(lambda n: f"{n} L/ha")
)
@settings(max_examples=40, deadline=None)
def test_every_equivalent_that_we_print_keeps_the_limit_typed_back(gallons: str) -> None:
    limit = read_carrier(gallons, "test")
    for units in ("us", "metric"):
        back = format_carrier(limit, units)
        assert met(read_carrier(back, "test"), limit, 1.0, (gallons, back)), back
        assert met(read_carrier(back, "test"), limit, -1.0, (gallons, back)), back


@pytest.mark.parametrize("name", ["curdles", "water-decides", "hazes-overnight", "stays-clear"])
def test_the_printed_carrier_and_rates_typed_back_give_the_same_verdict(
    name: str, tmp_path: Path
) -> None:
    file = Path("examples") / f"{name}.toml"
    asked = read_mix(file)
    back = change_mix(
        asked,
        file.parent,
        carrier=format_carrier(asked.carrier_L_per_m2, "metric"),
        temperature=format_temperature(asked.t_celsius, "metric"),
    )
    rates = [
        replace(a, rate=read_rate(format_rate(a.rate, "metric"), "test", dry=a.product.dry))
        for a in asked.additions
    ]
    one, other = (forecast(mix, count=64) for mix in (asked, replace(back, additions=tuple(rates))))
    assert one.answer == other.answer and [r.code for r in one.rules] == [
        r.code for r in other.rules
    ]
    assert other.chance == pytest.approx(one.chance, abs=0.02)


@pytest.mark.parametrize("answer", ["haze", "curdle"])
@pytest.mark.parametrize("minutes", [None, 5.0, 240.0])
def test_forecast_and_fix_agree_on_spraying_at_once(answer: str, minutes: float | None) -> None:
    mix = read_mix("examples/calcium-and-potash.toml")
    found = replace(
        forecast(mix, count=16), answer=answer, chance=0.7, rules=(), spray_within_minutes=minutes
    )
    fixed = replace(
        fix(mix, count=16), answer=answer, rules=(), spray_within_minutes=minutes, fixes=()
    )
    said = " ".join(as_text(forecast_sheet(found)).split())
    other = " ".join(as_text(fix_sheet(fixed)).split())
    may = answer == "haze" or minutes == 240.0
    assert (("spray at once" in said) or ("spray within that" in said)) == may
    assert (("spray at once" in other) or ("spray within that" in other)) == may
    assert ("Don't fill the tank" in said) != may
    assert ("No use" in other) != may


def test_both_reckon_the_same_minutes() -> None:
    mix = read_mix("examples/hazes-overnight.toml")
    for at in ("4h", "24h"):
        one = forecast(mix, count=DRAWS, judged_at=at)
        other = fix(mix, count=DRAWS, judged_at=at)
        assert one.spray_within_minutes == other.spray_within_minutes
        assert one.answer == other.answer


def test_one_jug_that_is_trouble_alone_is_told(tmp_path: Path) -> None:
    """Much calcium with its own phosphate, an invented jug, beside one that harms nobody."""
    lines = ['name = "Trial, invented"', 'water = "hard-alkaline.toml"']
    lines += ['carrier = "2 gal/1000 sq ft"', 'temperature = "60 F"']
    for name in ("urea-liquor", "npk-orthophosphate"):
        lines += ["[[add]]", f'product = "{name}.toml"', 'rate = "6 fl oz/1000 sq ft"']
    path = tmp_path / "alone.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    mix = read_mix(path)
    found = forecast(mix, count=64)
    assert found.answer in {"haze", "curdle"}
    (one,) = (a for a in found.alone if a.product == 1)
    alone = forecast(only(mix, [1]), count=64)
    assert (alone.answer, alone.alone) == (one.answer, ())
    assert one.chance == pytest.approx(alone.chance, abs=1e-9)
    assert "8-8-8 with orthophosphate, invented clouds by itself in this water too" in " ".join(
        as_text(forecast_sheet(found)).split()
    )
    told = json.loads(forecast_json(found))["alone"]
    assert "8-8-8 with orthophosphate, invented" in [t["product"] for t in told]
    curd = replace(found, answer="curdle", spray_within_minutes=None)
    curd = replace(curd, alone=(replace(one, answer="curdle"),))
    said = " ".join(as_text(forecast_sheet(curd)).split())
    assert "Don't fill the tank with 8-8-8 with orthophosphate, invented in this water" in said
    assert "apart" not in said.split("THE TANK")[0].split("DO THIS NEXT")[1]


def test_what_is_under_its_limit_in_most_versions_says_so() -> None:
    found = forecast(read_mix("examples/hazes-overnight.toml"), count=16)
    solid = replace(
        next(s for s in found.solids if s.key == "gypsum"),
        si=Range(-0.05, -0.4, 0.3),
        clouds_after_s=None,
        probability={"15min": 0.0, "4h": 0.2, "24h": 0.4},
    )
    said = " ".join(as_text(forecast_sheet(replace(found, solids=(solid,)))).split())
    assert (
        "under its limit in most versions, over it in 4 of 10, where it shows by tomorrow" in said
    )


@settings(max_examples=64, deadline=None)
@given(amount=st.floats(0.02, 400.0), metric=st.booleans())
def test_every_amount_that_we_print_is_read_back(amount: float, metric: bool) -> None:
    """`9 gal 45 fl oz` and `2 lb 4 oz`, as poured, can be typed: within their rounding."""
    units = "metric" if metric else "us"
    assert read_volume(format_volume(amount, units), "typed") == pytest.approx(amount, rel=0.05)
    assert read_mass(format_mass(amount, units), "typed") == pytest.approx(amount, rel=0.05)
