"""Changes that keep a mix clear: each forecast again, each within every rule."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from chem.advice.agents import choose_agent, product_file
from chem.advice.fix import LEVERS, Fixes, fix
from chem.advice.levers import softened
from chem.advice.passes import fewest
from chem.advice.pour import pour, worst_on_the_way
from chem.cli.main import whole_app
from chem.errors import InputProblem
from chem.forecast import THRESHOLD, Study, broken, forecast, rules_of
from chem.label import read_shelf
from chem.sheets.blocks import as_text
from chem.sheets.fix import _minds, fix_change, fix_json, fix_sentence, fix_sheet, no_use_sentence
from chem.sheets.rules import forbids, gas_sentence
from chem.tank import Mix, only, read_mix
from chem.units import Rate

ROOT = Path(__file__).parent.parent
EXAMPLES = ROOT / "examples"
SHELF = ROOT / "data" / "demo" / "products"
CURDLING = ("curdles", "water-decides", "alkali-decides", "kelp-and-calcium")
STRONG = ("sulfuric", "nitric", "hydrochloric", "hydroxide", "ammonia")
ACID = """
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


def fixed(name: str, **options: object) -> Fixes:
    return fix(read_mix(EXAMPLES / f"{name}.toml"), **options)  # type: ignore[arg-type]


def write(folder: Path, *adds: tuple[str, str], **other: str) -> Mix:
    """A mix of demo products, or of files beside it, at rates with their units."""
    keys = {"water": "soft.toml", "carrier": "2 gal/1000 sq ft", "temperature": "60 F"} | other
    lines = ['name = "A trial, invented"', *(f'{k} = "{v}"' for k, v in keys.items())]
    for product, rate in adds:
        lines += ["[[add]]", f'product = "{product}.toml"', f'rate = "{rate}"']
    (folder / "trial.toml").write_text("\n".join(lines), encoding="utf-8")
    return read_mix(folder / "trial.toml")


def rate_text(rate: Rate) -> str:
    """A rate as a mix file has it."""
    unit = {"volume": "mL", "mass": "g"}[rate.kind]
    if rate.per == "area":
        return f"{rate.value * 1e4:.6f} {unit}/ha"
    return f"{rate.value:.6f} {unit}/L"


def as_own_file(folder: Path, asked: Path, tank: Mix) -> Mix:
    """A proposal written as its own mix file, its agent and water beside it, and read again."""
    water = tank.water
    lines = [f'name = "{water.name}"']
    if water.ph is not None:
        lines.append(f"ph = {water.ph.value}")
    if water.alkalinity is not None:
        low, high = water.alkalinity.low, water.alkalinity.high
        assert low == high
        lines.append(f'alkalinity = "{low:.9f} meq/L"')
    assert water.hardness is None
    lines.append("[ions]")
    for ion, value in water.ions.items():
        assert value.low == value.high
        lines.append(f'{ion} = "{value.low:.9f} mmol/L"')
    (folder / "water.toml").write_text("\n".join(lines), encoding="utf-8")
    text = [
        'name = "A proposal"',
        'water = "water.toml"',
        f'carrier = "{tank.carrier_L_per_m2 * 1e4:.6f} L/ha"',
        f'temperature = "{tank.t_celsius:.6f} C"',
    ]
    if tank.coldest_celsius is not None:
        text.append(f'coldest = "{tank.coldest_celsius:.6f} C"')
    for addition in tank.additions:
        file = folder / addition.product.file
        shipped = SHELF / addition.product.file
        agent = (
            choose_agent(addition.product.key.replace("-", " ")) if not shipped.exists() else None
        )
        file.write_text(product_file(agent) if agent else shipped.read_text(), encoding="utf-8")
        text += ["[[add]]", f'product = "{file.name}"', f'rate = "{rate_text(addition.rate)}"']
    (folder / asked.name).write_text("\n".join(text), encoding="utf-8")
    return read_mix(folder / asked.name)


@pytest.mark.parametrize("name", CURDLING)
def test_every_proposal_holds_when_forecast_as_its_own_mix_file(name: str, tmp_path: Path) -> None:
    asked = EXAMPLES / f"{name}.toml"
    result = fix(read_mix(asked), shelf=read_shelf(SHELF))
    assert result.fixes, result.because
    for k, found in enumerate(result.fixes):
        worst = dict.fromkeys(found.probability_after, 0.0)
        for j, tank in enumerate(found.mixes):
            folder = tmp_path / f"{k}-{j}"
            folder.mkdir()
            again = forecast(as_own_file(folder, asked, tank))
            worst = {t: max(worst[t], again.probability[t]) for t in worst}
            assert again.answer == "clear"
            assert not broken(again.rules)
            assert not broken(rules_of(tank))
            for addition in tank.additions:
                span = addition.product.rate_range
                if span and (span[0].kind, span[0].per) == (addition.rate.kind, addition.rate.per):
                    assert span[0].value * 0.999 <= addition.rate.value <= span[1].value * 1.001
        for time, chance in worst.items():
            assert found.probability_after[time] == pytest.approx(chance, abs=0.03)
        assert found.probability_after["4h"] < THRESHOLD


@pytest.mark.parametrize("judged_at", ["15min", "24h"])
def test_proposals_hold_at_the_time_asked_for(judged_at: str) -> None:
    for name in ("hazes-overnight", "water-decides"):
        result = fixed(name, judged_at=judged_at, count=64)
        assert result.fixes or judged_at == "15min"
        for found in result.fixes:
            assert found.probability_after[judged_at] < THRESHOLD
            for tank in found.mixes:
                again = Study(64, 1).look(tank)
                assert again.probability[judged_at] < THRESHOLD


def test_a_smaller_change_would_not_do() -> None:
    """Clearly less of what was found still clouds: of rain water, and of acid."""
    mix = read_mix(EXAMPLES / "water-decides.toml")
    result = fixed("water-decides")
    water = next(f for f in result.fixes if f.lever == "water")
    assert water.factor is not None
    milder = replace(mix, water=softened(mix.water, water.factor * 1.4))
    assert forecast(milder).probability["4h"] >= THRESHOLD
    (tank,) = next(f for f in result.fixes if f.lever == "acid").mixes
    acid = tank.additions[0]
    assert acid.product.key == "citric-acid"
    less = replace(acid, rate=replace(acid.rate, value=0.8 * acid.rate.value))
    again = forecast(replace(tank, additions=(less, *tank.additions[1:])))
    assert again.probability["4h"] >= THRESHOLD


def test_more_carrier_and_less_of_a_product_are_the_least_that_do(tmp_path: Path) -> None:
    """Gypsum a little over its limit: both thinning and cutting help, by no more than needed."""
    mix = write(
        tmp_path,
        ("ammonium-sulfate-liquor", "6 fl oz/1000 sq ft"),
        ("calcium-chloride-liquor", "3 fl oz/1000 sq ft"),
        tank="50 gal",
    )
    result = fix(mix)
    carrier = next(f for f in result.fixes if f.lever == "carrier")
    assert carrier.factor is not None and carrier.factor > 1.0
    tighter = replace(
        mix, carrier_L_per_m2=mix.carrier_L_per_m2 * (1.0 + 0.7 * (carrier.factor - 1.0))
    )
    assert forecast(tighter).probability["4h"] >= THRESHOLD
    assert "A tank then covers" in fix_sentence(carrier, result, "both")
    for rate in (f for f in result.fixes if f.lever == "rate"):
        assert rate.factor is not None and rate.factor < 1.0
        (tank,) = rate.mixes
        more = []
        for was, now in zip(mix.additions, tank.additions, strict=True):
            middle = 0.3 * was.rate.value + 0.7 * now.rate.value
            more.append(replace(now, rate=replace(now.rate, value=middle)))
        assert forecast(replace(tank, additions=tuple(more))).probability["4h"] >= THRESHOLD
    # What half the water would drop on the way is told, and what to do about it.
    for found in result.fixes:
        (*_,) = found.mixes
        share = 1.0 if found.all_water_first else 0.5
        way = max(worst_on_the_way(Study(256).few(64), m, share) for m in found.mixes)
        assert found.on_the_way == pytest.approx(way)
    text = " ".join(as_text(fix_sheet(result)).split())
    assert ("Put all the water in before" in text) == any(f.all_water_first for f in result.fixes)


def test_a_label_that_forbids_leaves_only_separate_passes() -> None:
    result = fixed("curdles")
    assert {f.lever for f in result.fixes} == {"passes"}
    assert broken(result.rules)
    assert result.spray_within_minutes is None
    text = as_text(fix_sheet(result))
    assert "A rule forbids it as asked." in text and "OR SPRAY IT AT ONCE" not in text


def test_no_proposal_lets_acid_stand_next_to_carbonate() -> None:
    """`pour` has no order for the two, so no dose of acid is proposed for one tank of them."""
    result = fixed("alkali-decides", count=64)
    assert {f.lever for f in result.fixes} == {"passes"}
    assert any("next to" in rule for rule in forbids(result.rules, result.mix))


def test_acid_with_thiosulfate_is_parted(tmp_path: Path) -> None:
    (tmp_path / "citric.toml").write_text(ACID, encoding="utf-8")
    mix = write(
        tmp_path,
        ("citric", "0.5 fl oz/1000 sq ft"),
        ("urea-liquor", "5 fl oz/1000 sq ft"),
        ("potassium-thiosulfate-liquor", "3 fl oz/1000 sq ft"),
    )
    result = fix(mix, count=64)
    assert result.probability["4h"] > 0.5  # milky sulfur, no salt
    (found,) = result.fixes
    assert found.lever == "passes"
    for tank in found.mixes:
        keys = {a.product.key for a in tank.additions}
        assert keys.isdisjoint({"citric"}) or keys.isdisjoint({"potassium-thiosulfate-liquor"})
    assert result.refused == "sulfur_in_acid"
    assert not any(f.lever == "swap" for f in result.fixes), "no tank of another company either"
    assert "toxic gas" in as_text(fix_sheet(result)).split("\n\n")[0]


def test_an_order_is_proposed_where_the_tank_is_clear_but_the_way_is_not(tmp_path: Path) -> None:
    (tmp_path / "citric.toml").write_text(ACID, encoding="utf-8")
    mix = write(
        tmp_path,
        ("npk-orthophosphate", "4 fl oz/1000 sq ft"),
        ("calcium-chloride-liquor", "1 fl oz/1000 sq ft"),
        ("citric", "1.5 fl oz/1000 sq ft"),
    )
    result = fix(mix, count=64)
    assert result.probability["4h"] < THRESHOLD <= result.on_the_way
    (found,) = result.fixes
    assert found.lever == "order" and found.on_the_way < THRESHOLD
    (tank,) = found.mixes
    assert pour(tank).asked.probability < THRESHOLD
    assert tank.additions[0].product.key == "citric"
    assert "clouds on the way" in as_text(fix_sheet(result)).replace("\n", " ")


def test_a_label_that_says_first_is_mended_by_another_order(tmp_path: Path) -> None:
    mix = write(
        tmp_path,
        ("urea-liquor", "4 fl oz/1000 sq ft"),
        ("ph-buffer", "0.5 fl oz/1000 sq ft"),
    )
    assert broken(rules_of(mix))
    result = fix(mix, count=64)
    (found,) = result.fixes  # the smallest change; more water or less of either mends nothing
    assert found.lever == "order"
    assert found.mixes[0].additions[0].product.key == "ph-buffer"
    assert not broken(rules_of(found.mixes[0]))


def test_a_carrier_or_rate_outside_its_label_is_brought_inside(tmp_path: Path) -> None:
    kelp = write(tmp_path, ("kelp-extract", "2 fl oz/1000 sq ft"), carrier="0.6 gal/1000 sq ft")
    result = fix(kelp, count=64)
    assert any(rule.code == "carrier_at_least" for rule in result.rules)
    carrier = next(f for f in result.fixes if f.lever == "carrier")
    assert carrier.factor == pytest.approx(1.0 / 0.6, rel=0.03)
    much = write(tmp_path, ("urea-liquor", "15 fl oz/1000 sq ft"))
    rate = next(f for f in fix(much, count=64).fixes if f.lever == "rate")
    assert rate.factor == pytest.approx(10.0 / 15.0, abs=0.01)


def test_a_rate_range_by_area_binds_a_rate_by_volume_too(tmp_path: Path) -> None:
    """0.5 gal of the 8-8-8 per 100 gal is 1.28 fl oz/1000 sq ft: under its label's 4."""
    mix = write(tmp_path, ("npk-orthophosphate", "0.5 gal/100 gal"), water="hard-alkaline.toml")
    for found in fix(mix, count=64).fixes:
        for tank in found.mixes:
            for addition in tank.additions:
                if addition.product.key == "npk-orthophosphate":
                    ounces = addition.amount_per_L(tank.carrier_L_per_m2) * tank.carrier_L_per_m2
                    assert ounces * 92.903 / 29.5735 >= 3.99


def test_the_fewest_passes_are_found() -> None:
    """Three products of which only the whole and one pair can't be together."""
    clear = {0b001, 0b010, 0b100, 0b011, 0b110}
    assert sorted(fewest(3, clear) or []) in ([0b001, 0b110], [0b011, 0b100])
    assert fewest(3, {0b001, 0b010}) is None
    # Four that only go in two pairs, and one lone product that spoils any company.
    assert sorted(fewest(4, {1, 2, 4, 8, 0b0101, 0b1010}) or []) == [0b0101, 0b1010]
    assert sorted(fewest(3, {1, 2, 4, 0b110}) or []) == [1, 0b110]


def test_an_acid_that_two_others_need_is_kept_with_them(tmp_path: Path) -> None:
    """Phosphate and calcium cloud as a pair, so a search that grows pairs would miss the three."""
    (tmp_path / "citric.toml").write_text(ACID, encoding="utf-8")
    mix = write(
        tmp_path,
        ("citric", "1.5 fl oz/1000 sq ft"),
        ("npk-orthophosphate", "4 fl oz/1000 sq ft"),
        ("calcium-chloride-liquor", "1 fl oz/1000 sq ft"),
        ("potassium-carbonate-liquor", "6 fl oz/1000 sq ft"),
    )
    assert forecast(only(mix, [1, 2]), count=64).probability["4h"] >= THRESHOLD
    found = next(f for f in fix(mix, count=64).fixes if f.lever == "passes")
    assert found.factor == 2.0
    assert sorted(len(m.additions) for m in found.mixes) == [1, 3]


def test_a_shelf_offers_another_product_at_the_same_nutrient() -> None:
    """In half as hard a water: in the borehole's own the polyphosphate is at the threshold."""
    mix = read_mix(EXAMPLES / "water-decides.toml")
    mix = replace(mix, water=softened(mix.water, 0.5))
    result = fix(mix, shelf=read_shelf(SHELF))
    assert result.probability["4h"] > 0.5
    swap = next(f for f in result.fixes if f.lever == "swap")
    assert swap.swap is not None and swap.swap[0].key == "npk-polyphosphate"
    before = forecast(mix).delivered_kg_per_ha
    after = forecast(swap.mixes[0]).delivered_kg_per_ha
    assert after["P2O5"] == pytest.approx(before["P2O5"], rel=0.01)
    kelp = fixed("kelp-and-calcium", shelf=read_shelf(SHELF), count=64)
    assert not any(f.lever == "swap" for f in kelp.fixes), "nobody buys kelp for its potash"


def test_strong_ones_only_if_named() -> None:
    for name in CURDLING:
        for found in fixed(name, count=64).fixes:
            for tank in found.mixes:
                mine = {a.product.key for a in read_mix(EXAMPLES / f"{name}.toml").additions}
                new = [a.product for a in tank.additions if a.product.key not in mine]
                assert not any(word in p.key for p in new for word in STRONG)
                assert not any(p.hazards & {"strong acid", "strong base"} for p in new)
    named = [choose_agent("sulfuric acid"), choose_agent("phosphoric acid", "75 %")]
    result = fixed("water-decides", agents=named, count=64)
    (sulfuric,) = (
        f for f in result.fixes if f.lever == "acid" and "sulfuric" in fix_change(f, result, "both")
    )
    licence = "Follow the label and safety data sheet; a licence may be required."
    assert licence in _minds(sulfuric, result)
    told = fix_sentence(sulfuric, result, "both")
    assert "fl oz" in told and "L)" in told, "a liquid is measured, not weighed"
    assert "oz wt" not in told
    assert licence in as_text(fix_sheet(result)).replace("\n  ", " ")


def test_acid_beside_a_label_that_forbids_it_is_not_proposed(tmp_path: Path) -> None:
    (tmp_path / "npk.toml").write_text(
        (SHELF / "npk-orthophosphate.toml").read_text().replace('"calcium nitrate"]', '"acid"]'),
        encoding="utf-8",
    )
    mix = write(
        tmp_path,
        ("npk", "10 fl oz/1000 sq ft"),
        water="hard-alkaline.toml",
        carrier="1 gal/1000 sq ft",
    )
    result = fix(mix, count=64)
    assert not any(f.lever == "acid" for f in result.fixes)
    assert any("never with acid" in no_use_sentence(n, result) for n in result.no_use)
    assert any(f.lever == "water" for f in result.fixes)


def test_copper_beside_a_proposed_acid_is_minded(tmp_path: Path) -> None:
    (tmp_path / "copper.toml").write_text(
        'name = "Copper EDTA, invented"\ndensity = "1.2 kg/L"\nsources = ["copper EDTA"]\n'
        '[guarantee]\ncopper = 2.0\n[chelated]\ncopper = { percent = 2.0, agent = "EDTA" }\n',
        encoding="utf-8",
    )
    mix = write(
        tmp_path,
        ("npk-orthophosphate", "10 fl oz/1000 sq ft"),
        ("copper", "1 fl oz/1000 sq ft"),
        water="hard-alkaline.toml",
        carrier="1 gal/1000 sq ft",
    )
    result = fix(mix, count=64)
    acid = next(f for f in result.fixes if f.lever == "acid")
    assert any("free copper burns leaves" in m for m in _minds(acid, result))


def test_every_lever_either_works_or_is_said_not_to() -> None:
    for name in ("water-decides", "kelp-and-calcium"):
        result = fixed(name, count=64)
        said = {f.lever for f in result.fixes} | {n.lever for n in result.no_use}
        assert said == set(LEVERS)
        assert {f.lever for f in result.fixes}.isdisjoint({n.lever for n in result.no_use})


def test_nothing_to_change_is_said_and_spraying_at_once_stands_apart() -> None:
    clear = fixed("stays-clear", count=64)
    assert not clear.fixes and clear.because == "nothing_to_change"
    text = as_text(fix_sheet(clear))
    assert "Nothing to change." in text and "Try the change" not in text
    day = fixed("hazes-overnight", count=64)
    text = " ".join(as_text(fix_sheet(day)).split())
    assert "Ask again with `--for 24h`" in text and "leave none standing overnight" in text
    overnight = fixed("hazes-overnight", judged_at="24h")
    assert overnight.spray_within_minutes is not None
    assert 60.0 < overnight.spray_within_minutes < 1440.0
    assert "OR SPRAY IT AT ONCE" in as_text(fix_sheet(overnight))


def test_a_gel_leaves_no_time_to_spray() -> None:
    """Alginate gels as it meets calcium (King, A. H. (1983), Food Hydrocolloids II: value from
    memory): counting the salts alone would promise hours."""
    result = fixed("kelp-and-calcium", count=64)
    assert result.probability["15min"] > 0.33, "from a label alone, even odds at most"
    assert result.spray_within_minutes is None


def test_what_is_not_judged_is_named(tmp_path: Path) -> None:
    mix = write(
        tmp_path,
        ("npk-orthophosphate", "10 fl oz/1000 sq ft"),
        ("wetting-agent", "6 fl oz/1000 sq ft"),
        water="hard-alkaline.toml",
        carrier="1 gal/1000 sq ft",
    )
    result = fix(mix, count=64)
    assert result.fixes, "what can't be judged doesn't hide what helps the salts"
    assert "Wetting agent emulsion, invented is not judged" in " ".join(
        as_text(fix_sheet(result)).split()
    )


def test_unknown_water_is_not_softened(tmp_path: Path) -> None:
    mix = write(tmp_path, ("npk-orthophosphate", "10 fl oz/1000 sq ft"), water="unknown")
    result = fix(mix, count=64)
    assert any(n.lever == "water" and n.cause == "water_unknown" for n in result.no_use)


def test_an_order_that_a_proposal_needs_is_told(tmp_path: Path) -> None:
    """The buffer's label says first: every proposal puts it there and says so."""
    mix = write(
        tmp_path,
        ("npk-orthophosphate", "10 fl oz/1000 sq ft"),
        ("ph-buffer", "0.25 fl oz/1000 sq ft"),
        water="hard-alkaline.toml",
        carrier="1 gal/1000 sq ft",
    )
    result = fix(mix, count=64)
    assert result.probability["4h"] >= THRESHOLD
    assert result.fixes
    for found in result.fixes:
        if len(found.mixes) == 1:
            assert found.mixes[0].additions[0].product.key == "ph-buffer" and found.reordered[0]
            assert "Pour in this order: " in fix_sentence(found, result, "both")


def test_gas_of_the_mix_as_asked_is_told_even_if_there_is_nothing_to_change(
    tmp_path: Path,
) -> None:
    mix = write(
        tmp_path,
        ("ammonium-sulfate-liquor", "6 fl oz/1000 sq ft"),
        ("potassium-carbonate-liquor", "4 fl oz/1000 sq ft"),
    )
    result = fix(mix, count=32)
    assert any("Ammonia" in gas_sentence(g.gas, mix) for g in result.gases)
    assert "GAS OR HEAT" in as_text(fix_sheet(result))


def test_json_and_sheet() -> None:
    result = fixed("curdles", count=64)
    data = json.loads(fix_json(result))
    assert {"fixes", "spray_within_minutes", "because"} <= set(data)
    contract = {"lever", "change", "factor", "probability_after", "sentence"}
    assert contract <= set(data["fixes"][0])
    assert set(data["fixes"][0]["probability_after"]) == {"15min", "4h", "24h"}
    for name in CURDLING:
        text = as_text(fix_sheet(fixed(name, count=32)))
        assert max(map(len, text.splitlines())) <= 60
        assert "jar test at the same ratio decides" in text.replace("\n", " ")


def test_command_takes_its_options_and_refuses_pool_acid(tmp_path: Path) -> None:
    app = whole_app()
    (tmp_path / "half.toml").write_text(
        'name = "Half as hard, invented"\nph = 7.5\nalkalinity = "130 mg/L as CaCO3"\n'
        '[ions]\nCa = "49 mg/L"\nMg = "9 mg/L"\n',
        encoding="utf-8",
    )
    asked = (EXAMPLES / "water-decides.toml").read_text(encoding="utf-8")
    (tmp_path / "mix.toml").write_text(
        asked.replace('water = "hard-alkaline.toml"', 'water = "half.toml"'), encoding="utf-8"
    )
    mix = str(tmp_path / "mix.toml")
    few = ["--draws", "32", "--seed", "2"]
    done = CliRunner().invoke(
        app, ["fix", mix, *few, "--in", str(SHELF), "--with", "phosphoric acid", "--json"]
    )
    assert done.exit_code == 0, done.output
    data = json.loads(done.output)
    assert data["draws"] == 32 and data["seed"] == 2
    assert "swap" in {f["lever"] for f in data["fixes"]}
    metric = CliRunner().invoke(app, ["fix", mix, *few, "--units", "metric"]).output
    assert "fl oz" not in metric and " gal" not in metric and "oz wt" not in metric
    for wrong in (["--with", "pool acid"], ["--in", str(ROOT / "nowhere")]):
        bad = CliRunner().invoke(app, ["fix", mix, *few, *wrong])
        assert isinstance(bad.exception, InputProblem)


def test_passes_of_many_products_are_left_to_the_shelf(tmp_path: Path) -> None:
    """Every group of eleven is two thousand tanks: said, not tried."""
    calm = [("urea-liquor", "1 fl oz/1000 sq ft")] * 9
    mix = write(
        tmp_path,
        ("calcium-nitrate-liquor", "8 fl oz/1000 sq ft"),
        ("ammonium-sulfate-liquor", "12 fl oz/1000 sq ft"),
        *calm,
    )
    found = fix(mix, count=16)
    assert not [f for f in found.fixes if f.lever == "passes"]
    assert any(
        "not searched beyond 10" in no_use_sentence(n, found)
        for n in found.no_use
        if n.lever == "passes"
    )
