"""A strip reads another pH than the forecast: which jug, the water or the strip explains it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from chem.advice.reading import read_ph_of
from chem.cli.main import whole_app
from chem.forecast import Study, forecast
from chem.sheets.blocks import as_text
from chem.sheets.forecast import forecast_sheet
from chem.tank import Mix, only, read_mix, with_rate

EXAMPLES = Path(__file__).parent.parent / "examples"
BUFFERED = read_mix(EXAMPLES / "acid-decides.toml")


def ph_of(mix: Mix, study: Study) -> float:
    return forecast(mix, study=study).ph.median


def test_a_jug_left_out_is_found_by_the_reading_it_makes() -> None:
    """The reading is made by leaving the buffer out, and by that alone it must be explained."""
    study = Study(64, 1)
    result = forecast(BUFFERED, study=study)
    read = ph_of(only(BUFFERED, [1, 2]), study)
    found = read_ph_of(result, read, study=study)
    assert not found.expected and found.off == pytest.approx(read - result.ph.median)
    first = found.nearest[0]
    assert (first.cause, first.place) == ("left_out", 0)
    assert first.ph == pytest.approx(read, abs=0.02)
    said = " ".join(as_text(forecast_sheet(result, read=found)).split())
    assert "Without Acidifying buffer with citric acid, invented it would read" in said


def test_what_is_expected_needs_no_slip() -> None:
    study = Study(64, 1)
    result = forecast(BUFFERED, study=study)
    found = read_ph_of(result, round(result.ph.median, 1), study=study)
    assert found.expected and found.nearest == ()
    assert "is what this mix may read" in " ".join(
        as_text(forecast_sheet(result, read=found)).split()
    )
    twice = ph_of(with_rate(BUFFERED, 0, 2.0), study)
    assert twice < result.ph.median
    with pytest.raises(ValueError, match="between 0 and 14"):
        read_ph_of(result, 15.0, study=study)


def test_the_command_takes_a_reading() -> None:
    file = str(EXAMPLES / "acid-decides.toml")
    arguments = ["forecast", file, "--read", "8.4", "--draws", "32", "--json", "--no-notebook"]
    done = CliRunner().invoke(whole_app(), arguments)
    told = json.loads(done.stdout)["read"]
    assert told["ph"] == 8.4 and told["expected"] is False and told["off"] > 2.0
    plain = CliRunner().invoke(
        whole_app(), ["forecast", file, "--draws", "16", "--json", "--no-notebook"]
    )
    assert json.loads(plain.stdout)["read"] is None
