"""What commands find in the shed by themselves: adjuvants, acids and bases, other waters."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from chem.cli.main import whole_app
from chem.tank import read_mix

DEMO = Path(__file__).parent.parent / "data" / "demo"
MIX = """name = "8-8-8 in borehole water, invented"
water = "waters/hard-alkaline.toml"
carrier = "1 gal/1000 sq ft"
tank = "50 gal"

[[add]]
product = "npk-orthophosphate.toml"
rate = "10 fl oz/1000 sq ft"
"""


@pytest.fixture
def shed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for folder, names in (
        ("products", ("npk-orthophosphate", "ph-buffer", "potassium-carbonate-liquor")),
        ("waters", ("hard-alkaline", "soft")),
    ):
        (tmp_path / folder).mkdir()
        for name in names:
            shutil.copy(DEMO / folder / f"{name}.toml", tmp_path / folder)
    for name, window in (("acid", "4-5.5"), ("any", "4-9")):
        (tmp_path / "products" / f"{name}-spreader.toml").write_text(
            f'name = "{name.capitalize()} spreader, invented"\nform = "adjuvant"\n'
            f'ph_window = "{window}"\nusual_rate = "0.25 % v/v"\n'
        )
    (tmp_path / "shed.toml").write_text('products = "products"\n')
    (tmp_path / "mix.toml").write_text(MIX)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def said(*words: str) -> str:
    done = CliRunner().invoke(whole_app(), [*words, "--draws", "64", "--no-notebook"])
    assert done.exit_code == 0, done.output
    return done.stdout


def test_ph_without_a_target_finds_the_sheds_adjuvants_and_acids(shed: Path) -> None:
    found = json.loads(said("ph", "mix.toml", "--json"))["adjuvants"]
    acid, wide = found
    assert (acid["name"], wide["name"]) == ("Acid spreader, invented", "Any spreader, invented")
    assert wide["dose_g_per_L"] == 0.0  # a tank near neutral suits it as it is
    # Near neutral towards 5 leads an acid, so the potassium carbonate of the shed is not tried.
    assert acid["agent"] == "Acidifying buffer with citric acid, invented"
    assert acid["dose_g_per_L"] > 0.0 and acid["suited_at_dose"] >= 0.9
    assert [other["agent"] for other in acid["other_agents"]] == ["citric acid"]
    sheet = " ".join(said("ph", "mix.toml").split())
    assert "of Acidifying buffer with citric acid, invented in 50 gal" in sheet


def test_fix_numbers_its_proposals_and_offers_a_share_of_another_water(shed: Path) -> None:
    sheet = " ".join(said("fix", "mix.toml").split())
    listed = said("fix", "mix.toml", "--json")
    changes = [one["change"] for one in json.loads(listed)["fixes"] if one["lever"] == "water"]
    assert len(changes) == 2 and changes[1].endswith("% Soft town water, invented")
    assert f"2. Fill with {changes[1]}, the rest Hard alkaline borehole, invented." in sheet
    said("fix", "mix.toml", "--take", "2")
    mixed = read_mix("mix.toml").water
    shares = {water.name: share for water, share in mixed.parts}
    share = float(changes[1].partition(" %")[0]) / 100.0
    assert shares["Soft town water, invented"] == pytest.approx(share, abs=0.006)
    assert json.loads(said("forecast", "mix.toml", "--json"))["probability"]["4h"] < 0.1
