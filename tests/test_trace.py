"""A printed number walked back adds up at every step."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from chem.errors import InputProblem
from chem.laboratory.trace import Step, trace
from chem.sheets.trace import trace_json, trace_text
from chem.tank import read_mix

MIX = Path(__file__).parent.parent / "examples" / "curdles.toml"


def find(step: Step, words: str) -> Step:
    if words in step.text:
        return step
    for part in step.parts:
        try:
            return find(part, words)
        except LookupError:
            continue
    raise LookupError(words)


def test_saturation_index_adds_up() -> None:
    walk = trace(read_mix(MIX), "si:brushite").step
    product, constant = walk.parts
    assert walk.value == pytest.approx(product.value - constant.value, abs=1e-9)  # type: ignore[operator]
    counted = 0.0
    for part in product.parts:
        assert part.value is not None
        counted += float(part.text.split()[0]) * part.value
    assert product.value == pytest.approx(counted, abs=1e-9)
    assert "Gregory" in constant.source


def test_activity_and_coefficient_add_up() -> None:
    walk = trace(read_mix(MIX), "species:Ca+2").step
    gamma = find(walk, "log10 activity coefficient of Ca+2")
    assert gamma.value == pytest.approx(sum(p.value or 0.0 for p in gamma.parts), abs=2e-3)
    assert walk.value is not None
    molality = float(walk.text.split("=")[1].split()[0])
    assert math.log10(walk.value / molality) == pytest.approx(gamma.value, abs=1e-3)
    assert all(p.source for p in gamma.parts)


def test_total_adds_up_to_label_lines() -> None:
    walk = trace(read_mix(MIX), "total:Ca").step
    assert walk.value == pytest.approx(sum(p.value or 0.0 for p in walk.parts), rel=1e-9)
    assert "label line: calcium" in find(walk, "label line: calcium").text
    assert "Soft" in find(walk, "from Soft town water").text


def test_ph_names_its_constants_and_json_is_one_object() -> None:
    walk = trace(read_mix(MIX), "ph")
    assert "log K of" in trace_text(walk)
    data = json.loads(trace_json(walk))
    assert data["value"] == pytest.approx(walk.step.value)


@pytest.mark.parametrize("what", ["si:gipsum", "total:Zr", "colour", "species:Xx"])
def test_unknown_numbers_are_refused_with_near_names(what: str) -> None:
    with pytest.raises(InputProblem, match="write:"):
        trace(read_mix(MIX), what)
