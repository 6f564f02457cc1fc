"""Several waters in one tank, by their shares; a report that is old is said."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from chem.advice.levers import softened
from chem.errors import InputProblem
from chem.forecast import Study, forecast
from chem.forecast.settling import ONLY_THE_JAR, settle_by
from chem.tank import Mix, find_water, read_mix, read_water
from chem.tank.water import blended

EXAMPLES = Path(__file__).parent.parent / "examples"
HARD, SOFT = find_water("hard-alkaline", None), find_water("soft", None)


def mix(folder: Path, water: str) -> Mix:
    path = folder / "mix.toml"
    text = (EXAMPLES / "water-decides.toml").read_text(encoding="utf-8")
    lines = [f"water = {water}" if line.startswith("water") else line for line in text.split("\n")]
    path.write_text("\n".join(lines), encoding="utf-8")
    return read_mix(path)


def test_a_blend_is_the_sum_of_its_shares() -> None:
    """0.6 and 0.4 of each water's moles, of every component and so of the alkalinity."""
    study = Study(32, 1)
    one, other = study.water(HARD), study.water(SOFT)
    both = study.water(blended([(HARD, 0.6), (SOFT, 0.4)]))
    for j, key in enumerate(both.components):
        parts = [
            share * w.mol_per_L[:, w.components.index(key)]
            for share, w in ((0.6, one), (0.4, other))
            if key in w.components
        ]
        assert both.mol_per_L[:, j] == pytest.approx(np.sum(parts, axis=0), rel=1e-9)
    assert both.doubts and all(settle_by(name) != ONLY_THE_JAR for name in both.doubts)


def test_a_water_blended_with_itself_is_the_water() -> None:
    study = Study(32, 1)
    base = read_mix(EXAMPLES / "water-decides.toml")
    plain = forecast(replace(base, water=HARD), study=study)
    same = forecast(replace(base, water=blended([(HARD, 0.3), (HARD, 0.7)])), study=study)
    for t in plain.probability:
        assert same.probability[t] == pytest.approx(plain.probability[t], abs=1e-6)
    assert same.ph.median == pytest.approx(plain.ph.median, abs=1e-6)


def test_a_mix_file_names_its_waters_with_their_shares(tmp_path: Path) -> None:
    tables = '[{file = "hard-alkaline.toml", share = "60 %"}, {file = "soft.toml", share = "rest"}]'
    found = mix(tmp_path, tables)
    assert [share for _, share in found.water.parts] == pytest.approx([0.6, 0.4])
    assert found.water.name.startswith("60 % ") and " + 40 % " in found.water.name
    assert len([f for f in found.files if f.what == "water"]) == 2
    text = mix(tmp_path, '"hard-alkaline.toml = 60 %; soft.toml = rest"')
    assert text.water.identity == found.water.identity
    chances = [
        forecast(m, study=Study(32, 1)).probability["4h"]
        for m in (mix(tmp_path, '"hard-alkaline.toml"'), found, mix(tmp_path, '"soft.toml"'))
    ]
    assert chances == sorted(chances, reverse=True) and chances[0] > chances[-1] + 0.3
    softer = softened(found.water, 0.5)
    assert softer.parts[0][0].alkalinity is not None and HARD.alkalinity is not None
    assert softer.parts[0][0].alkalinity.low == pytest.approx(0.5 * HARD.alkalinity.low)


@pytest.mark.parametrize(
    ("water", "words"),
    [
        ('"soft.toml = 60 %; hard-alkaline.toml = 50 %"', "100 % in all"),
        ('"soft.toml = rest; hard-alkaline.toml = rest"', "100 % in all"),
        ('"soft.toml = 100 %; hard-alkaline.toml = rest"', "100 % in all"),
        ('"soft.toml = 60 %; hard-alkaline.toml"', "a water and its share"),
        ('[{file = "soft.toml"}]', "each water is"),
        ('"soft.toml = much; hard-alkaline.toml = rest"', "water"),
    ],
)
def test_shares_that_make_no_whole_are_refused(tmp_path: Path, water: str, words: str) -> None:
    with pytest.raises(InputProblem, match=words):
        mix(tmp_path, water)


def test_a_report_older_than_twelve_months_is_said(tmp_path: Path) -> None:
    path = tmp_path / "well.toml"
    path.write_text('name = "Well, invented"\nph = 7.2\nsampled = "2025-01-10"\n', "utf-8")
    water = read_water(path)
    assert water.old(date(2025, 12, 30)) == () == SOFT.old(date(2030, 1, 1))
    (said,) = water.old(date(2026, 3, 15))
    assert said.startswith("The report of Well, invented is 14 months old")
    undated = replace(water, sampled=None)
    assert undated.identity == water.identity, "its age moves no odds"
    assert blended([(water, 0.5), (SOFT, 0.5)]).old(date(2026, 3, 15)) == (said,)
    path.write_text('name = "Well, invented"\nsampled = "spring"\n', "utf-8")
    with pytest.raises(InputProblem, match="no day of the calendar"):
        read_water(path)
