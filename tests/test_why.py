"""Reasons: shares that add up, the right culprit and jugs, edges that hold when forecast again."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from chem.advice.origins import WATER
from chem.advice.reasons import reason
from chem.advice.why import Why, why
from chem.equilibrium import solve
from chem.forecast import THRESHOLD, Study, follow, forecast
from chem.reference import molar_mass_g_per_mol, tables
from chem.sheets.blocks import as_text
from chem.sheets.why import _other, reason_sentence, sentence_of_all, why_json, why_sheet
from chem.sheets.words import percent
from chem.tank import Mix, find_water, read_mix, with_rate

ROOT = Path(__file__).parent.parent
EXAMPLES = sorted((ROOT / "examples").glob("*.toml"))


def example(name: str) -> Mix:
    return read_mix(ROOT / "examples" / f"{name}.toml")


@pytest.fixture(scope="module")
def curdled() -> Why:
    return why(example("curdles"))


@pytest.fixture(scope="module")
def acid() -> Why:
    return why(example("acid-decides"))


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_json_is_the_contract_and_its_shares_add_up(path: Path) -> None:
    mix = read_mix(path)
    result = why(mix, count=32)
    data = json.loads(why_json(result))
    names = {a.product.name for a in mix.additions} | {WATER}
    assert data["solids"]
    for solid in data["solids"]:
        assert {"key", "si", "ions", "held_back_by", "sentence"} <= solid.keys()
        assert solid["key"] in tables().solids
        for ion in solid["ions"]:
            assert {"component", "free_fraction", "from"} <= ion.keys()
            assert set(ion["from"]) <= names
            assert sum(ion["from"].values()) == pytest.approx(1.0, abs=1e-9)
            held = sum(
                h["fraction"] for h in solid["held_back_by"] if h["component"] == ion["component"]
            )
            # Holds under 1 % are left out.
            assert ion["free_fraction"] + held == pytest.approx(1.0, abs=0.03)
            assert 0.0 <= ion["taken_fraction"] <= 1.0
        assert solid["sentence"].endswith(".")
    text = as_text(why_sheet(result))
    assert max(len(line) for line in text.splitlines()) <= 60
    assert "The jar test at the same ratio decides." in text


def test_calcium_nitrate_and_phosphate_are_named_rightly(curdled: Why) -> None:
    """Calcium with orthophosphate near neutral gives a milky calcium phosphate (common practice:
    micro-irrigation guides warn of calcium with any phosphate, University of California ANR)."""
    first = curdled.solids[0]
    assert first.threatens
    assert first.solid.key in {"brushite", "amorphous_calcium_phosphate"}
    calcium, phosphate = (next(i for i in first.ions if i.component == c) for c in ("Ca", "PO4"))
    assert calcium.shares["Calcium nitrate liquor, invented"] > 0.95
    assert phosphate.shares["8-8-8 with orthophosphate, invented"] > 0.99
    assert sentence_of_all(curdled).startswith(
        "The calcium of Calcium nitrate liquor, invented meets the phosphate of "
        "8-8-8 with orthophosphate, invented: calcium phosphate falls out within a minute"
    )
    assert curdled.edge is None
    assert "the label forbids" in " ".join(as_text(why_sheet(curdled)).split())


def test_shares_are_the_moles_that_each_jug_brings() -> None:
    """Counted again from contents and amounts: no share of ours is used."""
    mix = example("curdles")
    ready = Study(1, 1).stand(mix)
    calcium = []
    for addition, held in zip(mix.additions, ready.contents, strict=True):
        litres = addition.amount_per_L(mix.carrier_L_per_m2) / 1000.0
        mass = litres * float(held.density_kg_per_L[0])
        calcium.append(mass * float(held.of("Ca")[0]))
    used = sum(a.amount_per_L(mix.carrier_L_per_m2) / 1000.0 for a in mix.additions)
    column = ready.water.components.index("Ca")
    calcium.append(float(ready.water.mol_per_L[0, column]) * (1.0 - used))
    expected = np.array(calcium) / sum(calcium)
    ion = next(i for i in why(mix, count=16).solids[0].ions if i.component == "Ca")
    assert ion.shares["Calcium nitrate liquor, invented"] == pytest.approx(expected[1], abs=0.002)
    assert ion.shares[WATER] == pytest.approx(expected[2], abs=0.002)


def test_water_is_blamed_where_the_water_brings_the_calcium() -> None:
    """Hard water with orthophosphate clouds by itself (University of California ANR,
    micro-irrigation maintenance: calcium of the water with phosphate fertilizer)."""
    result = why(example("water-decides"))
    assert "calcium of the water" in sentence_of_all(result)
    ion = next(i for i in result.solids[0].ions if i.component == "Ca")
    assert ion.shares == {WATER: pytest.approx(1.0)}
    assert result.solids[0].limited_by == "Ca"


def test_what_is_taken_is_what_the_forecast_lets_out(curdled: Why) -> None:
    """Grams of the solid by tomorrow, as moles, over the moles that are there."""
    again = forecast(example("curdles"))
    first = curdled.solids[0]
    solid = next(s for s in again.solids if s.key == first.solid.key)
    moles = solid.amount_g_per_L / molar_mass_g_per_mol(solid.formula)
    for ion in first.ions:
        expected = moles / again.totals_mol_per_L[ion.component]
        assert ion.taken == pytest.approx(expected, rel=0.05)
    assert first.amount_g_per_L == pytest.approx(solid.amount_g_per_L, rel=0.02)
    assert first.limited_by == min(("Ca", "PO4"), key=lambda c: again.totals_mol_per_L[c])


def test_more_acid_keeps_calcium_phosphate_back(curdled: Why) -> None:
    """Brushite holds one proton per phosphate that acid takes up: SI rises with pH."""
    first = curdled.solids[0]
    assert first.si_lower < first.si < first.si_higher
    holds = {(h.component, h.by): h.fraction for h in first.held_back_by}
    assert holds["PO4", "H+"] > 0.5


def test_a_strong_chelate_holds_nearly_all_of_its_iron() -> None:
    """Iron EDTA: log K about 25 (NIST 46), so none of it is bare at pH 5 to 6."""
    study = Study(256, 1)
    seen = study.look(example("stays-clear"))
    rust = seen.fresh.phases.keys.index("ferrihydrite")
    first = reason(study, seen, rust, "4h", False)
    assert not first.threatens
    iron = next(i for i in first.ions if i.component == "Fe3")
    assert iron.free_fraction < 1e-8
    assert any(h.by == "EDTA" and h.fraction > 0.99 for h in first.held_back_by)
    assert "EDTA holds nearly all of the iron" in reason_sentence(first, "4h")


def test_carbonate_is_named_as_what_lifts_the_ph() -> None:
    """Iron falls out, as rust or as its green hydroxide, when potassium carbonate lifts the pH
    (common practice)."""
    result = why(example("alkali-decides"))
    assert result.solids[0].ph_from is not None
    assert result.solids[0].ph_from[0] == "Potassium carbonate liquor, invented"
    assert result.solids[0].ph_from[1] < 4.0
    assert re.search(r"(rust|iron hydroxide) falls out", sentence_of_all(result))


def test_gel_of_kelp_comes_first() -> None:
    result = why(example("kelp-and-calcium"))
    assert result.others
    assert "alginate" in sentence_of_all(result).lower()


@pytest.mark.parametrize("name", ["acid-decides", "hazes-overnight"])
def test_the_edge_turns_the_answer_when_forecast_again(name: str) -> None:
    mix = example(name)
    result = why(mix)
    assert result.edge is not None
    assert forecast(mix).answer == "clear"
    turned = 0
    for i, edge in enumerate(result.edge.products):
        for turn in (edge.more, edge.less):
            if turn is None:
                continue
            turned += 1
            again = forecast(with_rate(mix, i, turn.at))
            assert again.probability["4h"] >= THRESHOLD
            assert again.answer in {"haze", "curdle"}
            # Half the way there it is clear still: the factor is the least, not just one.
            nearer = 1.0 + 0.5 * (turn.at - 1.0)
            assert forecast(with_rate(mix, i, nearer)).probability["4h"] < THRESHOLD
    assert turned >= 2


def test_what_has_no_edge_does_not_turn() -> None:
    mix = example("stays-clear")
    result = why(mix)
    assert result.edge is not None
    for i, edge in enumerate(result.edge.products):
        assert edge.more is None and edge.less is None
        for factor in (0.0, 0.3, 3.0, 10.0):
            assert forecast(with_rate(mix, i, factor), count=64).probability["4h"] < THRESHOLD
    assert "No sensible factor" in as_text(why_sheet(result))


def test_the_acid_is_what_keeps_it_clear(acid: Why) -> None:
    """Less of the buffer turns it, and so does a higher pH; more of the buffer doesn't."""
    assert acid.edge is not None
    buffer = acid.edge.products[0]
    assert buffer.more is None and buffer.less is not None and 0.0 < buffer.less.at < 1.0
    assert buffer.less.culprit is not None and "calcium phosphate" in buffer.less.culprit
    assert acid.edge.ph_above is not None and acid.edge.ph_above.at > acid.ph
    assert acid.edge.ph_below is None
    at = f"{100.0 * buffer.less.at:.0f} % of its rate"
    assert sentence_of_all(acid).startswith(
        f"Acidifying buffer with citric acid, invented keeps it clear: at {at} calcium phosphate"
    )
    # And what that solid is made of, whose it is and what holds it back, is told as well.
    near = {r.solid.key: r for r in acid.solids}
    assert not any(r.threatens for r in acid.solids)
    holds = {(h.component, h.by): h.fraction for h in near["brushite"].held_back_by}
    assert holds["PO4", "H+"] > 0.9


def test_the_edge_in_ph_is_where_base_turns_it(acid: Why) -> None:
    """Every draw brought to a pH by potassium hydroxide, not our sodium: clear before the edge.

    Past it the tank turns; the outlook finds both, without the search that found the edge.
    """
    assert acid.edge is not None and acid.edge.ph_above is not None
    ready = Study(256, 1).stand(example("acid-decides"))
    clear = follow(ready, quick=True).fresh.clear
    column = ready.finished.components.index("K")
    chances = []
    for away in (-0.3, 0.1):
        shift = acid.edge.ph_above.at + away - acid.edge.ph
        moved = solve(clear.system, clear.totals, clear.conditions, ph=clear.ph + shift)
        totals = ready.finished.totals.copy()
        totals[:, column] -= moved.molality @ clear.system.charge
        finished = replace(ready.finished, totals=totals)
        seen = follow(replace(ready, finished=finished), quick=True)
        chances.append(seen.probability["4h"])
    assert chances[0] < THRESHOLD <= chances[1]


def test_tomorrow_is_said_where_only_tomorrow_is_cloudy() -> None:
    text = as_text(why_sheet(why(example("hazes-overnight"))))
    assert "cloudy by tomorrow" in text.replace("\n", " ")
    assert "leave none standing overnight" in text.replace("\n", " ")


def test_soft_water_is_not_blamed() -> None:
    """The same mix in soft water: nothing threatens, and the nearest solid is told."""
    mix = replace(example("water-decides"), water=find_water("soft.toml", None))
    result = why(mix)
    assert len(result.solids) == 1 and not result.solids[0].threatens
    assert result.edge is not None
    assert result.answer == "clear"


def test_units_and_repetition(curdled: Why) -> None:
    assert why_json(curdled) == why_json(why(example("curdles")))
    metric = as_text(why_sheet(curdled, "metric"))
    assert "oz wt" not in metric and "g/L" in metric
    both = " ".join(as_text(why_sheet(curdled)).split())
    assert "oz wt/gal" in both and "g/L" in both


@pytest.fixture
def tank(tmp_path: Path) -> Callable[..., Mix]:
    def write(*adds: tuple[str, str], water: str = "soft.toml") -> Mix:
        lines = ['name = "Trial"', f'water = "{water}"', 'carrier = "2 gal/1000 sq ft"']
        for product, rate in adds:
            lines += ["[[add]]", f'product = "{product}"', f'rate = "{rate}/1000 sq ft"']
        (tmp_path / "mix.toml").write_text("\n".join(lines), encoding="utf-8")
        return read_mix(tmp_path / "mix.toml")

    return write


def said(result: Why) -> str:
    return " ".join(as_text(why_sheet(result)).split())


def test_how_far_over_its_limit_is_a_number_and_so_is_what_the_ph_does(curdled: Why) -> None:
    """As a multiple of the limit per ion pair: 10 to the SI, divided by pairs of ions."""
    first = curdled.solids[0]
    times = 10.0 ** (first.si / first.per_two_ions)
    text = said(curdled)
    assert f"far over its limit ({float(f'{times:.2g}'):g} times)" in text
    lower, higher = (
        float(f"{10.0 ** (si / first.per_two_ions):.2g}")
        for si in (first.si_lower, first.si_higher)
    )
    assert lower < times < higher
    assert f"Half a pH unit lower it is far over its limit ({lower:g} times)" in text
    assert f"half a unit higher far over its limit ({higher:g} times)" in text
    clear = said(why(example("acid-decides"), count=64))
    assert re.search(r"under its limit \(\d+ % of it\)", clear)


def test_what_holds_the_rest_is_said_in_percent(tank: Callable[..., Mix]) -> None:
    """Calcium and citrate: log K 3.5 at I = 0.1 (NIST SRD 46), so citrate to spare at pH 6 holds
    most of the little calcium of hard water."""
    mix = tank(
        ("ph-buffer.toml", "6 fl oz"),
        ("potassium-carbonate-liquor.toml", "3 fl oz"),
        ("npk-orthophosphate.toml", "4 fl oz"),
        water="hard-alkaline.toml",
    )
    result = why(mix, count=64)
    holds = {(h.component, h.by): h.fraction for r in result.solids for h in r.held_back_by}
    assert holds["Ca", "citrate"] > 0.5
    share = round(100.0 * holds["Ca", "citrate"])
    assert re.search(rf"citrate holds (nearly all|{share} %)", said(result))


def test_too_little_to_show_is_not_called_slow(tank: Callable[..., Mix]) -> None:
    """Soft water and carbonate: lime over its limit, but 5 mg/L of calcium make 13 mg/L of it."""
    mix = tank(("ph-buffer.toml", "1 fl oz"), ("potassium-carbonate-liquor.toml", "3 fl oz"))
    result = why(mix, count=64)
    first = result.solids[0]
    assert first.solid.key == "calcite" and first.si > 0.0 and not first.threatens
    assert first.would_settle_g_per_L < tables().value("show_limit")
    assert "too little lime would come out to show" in sentence_of_all(result)


def test_a_gel_tells_whose_ions_meet() -> None:
    result = why(example("kelp-and-calcium"), count=64)
    (gel,) = (o for o in result.others if o.key == "alginate_by_calcium")
    assert gel.shares["alginate"] == {"Kelp extract, alkaline, invented": pytest.approx(1.0)}
    assert gel.shares["Ca"]["Calcium nitrate liquor, invented"] > 0.9
    assert sum(gel.shares["Ca"].values()) == pytest.approx(1.0)
    assert "meets the calcium of Calcium nitrate liquor, invented" in _other(gel)
    assert json.loads(why_json(result))["others"][0]["from"]["Ca"]


def test_among_the_sure_ones_the_heaviest_is_named_first(
    tank: Callable[..., Mix], tmp_path: Path
) -> None:
    """Milligrams of copper hydroxide don't hide grams of gypsum."""
    (tmp_path / "copper.toml").write_text(
        'name = "Copper sulfate, invented"\nform = "dry"\nsources = ["copper sulfate"]\n'
        "[guarantee]\ncopper = 25.0\n",
        encoding="utf-8",
    )
    mix = tank(
        ("magnesium-sulfate-heptahydrate.toml", "12 oz"),
        ("copper.toml", "1 oz"),
        ("calcium-chloride-liquor.toml", "6 fl oz"),
        water="hard-alkaline.toml",
    )
    sure = [r for r in why(mix, count=64).solids if r.probability["4h"] > 0.95]
    assert len(sure) > 1
    assert sure[0].solid.key == "gypsum"


def test_rules_of_labels_and_acids_are_told(tank: Callable[..., Mix]) -> None:
    mix = tank(
        ("ph-buffer.toml", "0.5 fl oz"),
        ("potassium-thiosulfate-liquor.toml", "3 fl oz"),
    )
    text = said(why(mix, count=32))
    assert "Toxic gas: don't pour these together." in text
    assert "sulfur dioxide free from thiosulfate" in text
    assert text.lower().count("sulfur dioxide") == 2, "once as a rule, once as a gas"


def test_unknown_water_and_what_is_not_judged_are_named(tank: Callable[..., Mix]) -> None:
    mix = tank(
        ("npk-orthophosphate.toml", "4 fl oz"), ("wetting-agent.toml", "6 fl oz"), water="unknown"
    )
    text = said(why(mix, count=64))
    assert "Nothing is known of the water" in text
    assert "Wetting agent emulsion, invented is not judged" in text


def test_percent_in_words() -> None:
    assert [percent(f) for f in (0.001, 0.12, 0.6, 0.999)] == [
        "under 1 %",
        "12 %",
        "60 %",
        "nearly all",
    ]


def test_what_cannot_be_told_is_not_told_here_either() -> None:
    lines = as_text(why_sheet(why(example("cannot-tell"), count=64))).splitlines()
    assert lines[2].startswith("Cannot tell: Wetting agent emulsion, invented")
    step = lines[lines.index("DO THIS NEXT") + 1]
    assert step.startswith("Only the jar can tell")
