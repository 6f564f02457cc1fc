"""Changes that keep a mix clear: each forecast again, each within every label's rule."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from chem.advice.fix import Fixes, fix
from chem.forecast import THRESHOLD, forecast, label_forbids
from chem.label import read_shelf
from chem.sheets.blocks import as_text
from chem.sheets.fix import fix_json, fix_sheet
from chem.tank import read_mix

ROOT = Path(__file__).parent.parent
EXAMPLES = ROOT / "examples"
SHELF = ROOT / "data" / "demo" / "products"


def fixed(name: str, **options: object) -> Fixes:
    return fix(read_mix(EXAMPLES / f"{name}.toml"), **options)  # type: ignore[arg-type]


@pytest.mark.parametrize("name", ["curdles", "water-decides", "alkali-decides"])
def test_every_proposal_holds_when_forecast_as_its_own_mix(name: str) -> None:
    result = fixed(name)
    assert result.fixes, result.because
    for found in result.fixes:
        worst = 0.0
        for tank in found.mixes:
            again = forecast(tank)
            worst = max(worst, again.probability["4h"])
            assert again.answer not in {"haze", "curdle"}
            assert not label_forbids(tank)
            for addition in tank.additions:
                span = addition.product.rate_range
                if span and (span[0].kind, span[0].per) == (addition.rate.kind, addition.rate.per):
                    assert span[0].value * 0.999 <= addition.rate.value <= span[1].value * 1.001
        assert worst == pytest.approx(found.probability_after["4h"], abs=0.03)
        assert worst < THRESHOLD


def test_a_smaller_change_would_not_do() -> None:
    """The carrier or rate found is the least, to a tenth: clearly less of it still clouds."""
    mix = read_mix(EXAMPLES / "water-decides.toml")
    found = next(f for f in fixed("water-decides").fixes if f.lever == "water")
    assert found.factor is not None
    from chem.advice.fix import _diluted

    milder = replace(mix, water=_diluted(mix.water, found.factor * 1.5))
    assert forecast(milder).probability["4h"] >= THRESHOLD


def test_a_label_that_forbids_leaves_only_separate_passes() -> None:
    result = fixed("curdles")
    assert {f.lever for f in result.fixes} == {"passes"}
    assert result.label_forbids


def test_a_shelf_offers_another_product_at_the_same_nutrient() -> None:
    result = fixed("water-decides", shelf=read_shelf(SHELF))
    swap = next(f for f in result.fixes if f.lever == "swap")
    before = forecast(read_mix(EXAMPLES / "water-decides.toml")).delivered_kg_per_ha
    after = forecast(swap.mixes[0]).delivered_kg_per_ha
    assert any(after.get(k, 0.0) == pytest.approx(v, rel=0.01) for k, v in before.items())


def test_nothing_to_change_is_said_and_spraying_at_once_stands_apart() -> None:
    clear = fixed("stays-clear")
    assert not clear.fixes and clear.because and "nothing to change" in clear.because
    overnight = fixed("hazes-overnight", judged_at="24h")
    assert overnight.spray_within_minutes is not None
    assert 60.0 < overnight.spray_within_minutes < 1440.0
    assert fixed("curdles").spray_within_minutes is None


def test_json_and_sheet() -> None:
    result = fixed("curdles")
    data = json.loads(fix_json(result))
    assert {"fixes", "spray_within_minutes", "because"} <= set(data)
    assert {"lever", "change", "factor", "probability_after", "sentence"} == set(data["fixes"][0])
    text = as_text(fix_sheet(result))
    assert max(map(len, text.splitlines())) <= 60
    assert "jar test at the same ratio decides" in text.replace("\n", " ")
