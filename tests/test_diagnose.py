"""A tank that went wrong: the solid is named, remedies are tried before they are told."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from test_cli import jarsight
from test_forecast import mix

from chem.advice.diagnose import Diagnosis, diagnose
from chem.reference import tables
from chem.sheets.blocks import as_text
from chem.sheets.diagnose import diagnose_json, diagnose_sheet
from chem.tank import read_mix

EXAMPLES = Path(__file__).parent.parent / "examples"


def told(name: str, **options: object) -> Diagnosis:
    return diagnose(read_mix(EXAMPLES / f"{name}.toml"), count=128, **options)  # type: ignore[arg-type]


def test_calcium_and_phosphate_is_named_with_its_jugs_and_acid_clears_it() -> None:
    result = told("curdles", seen=["flakes"], after_min=5.0, ph=4.6)
    first = result.causes[0]
    assert first.key == "brushite" and first.probability > 0.9
    assert "Calcium nitrate liquor" in first.sentence and "8-8-8" in first.sentence
    works = {t.what: t.works for t in result.tries}
    assert works["acid"] > 0.8 > works["water"]
    assert result.sprayable < 0.1
    assert "acid rinse" in result.clean_out


def test_acid_does_not_clear_gypsum_or_alginate() -> None:
    """Gypsum is no more soluble in mild acid; alginate gel stays (common practice, no source)."""
    gypsum = told("hazes-overnight", seen=["grit"], after_min=1440.0)
    assert gypsum.causes[0].key == "gypsum"
    assert {t.what: t.works for t in gypsum.tries}["acid"] < 0.2
    assert "Acid does not clear gypsum" in gypsum.clean_out
    kelp = told("kelp-and-calcium", seen=["gel"], after_min=5.0)
    assert kelp.causes[0].key == "alginate_by_calcium"
    assert all(t.works == 0.0 for t in kelp.tries)


def test_what_was_seen_moves_the_odds() -> None:
    plain = told("alkali-decides", seen=["haze"], after_min=10.0)
    rusty = told("alkali-decides", seen=["colour"], after_min=10.0)

    def of_iron(result: Diagnosis) -> float:
        return sum(
            c.probability
            for c in result.causes
            if {"Fe+2", "Fe+3"} & set(tables().solids[c.key].reaction)
        )

    assert of_iron(rusty) >= of_iron(plain) - 0.03
    assert rusty.causes != plain.causes
    assert sum(c.probability for c in plain.causes) <= 1.0 + 1e-9


def test_a_surprise_is_said() -> None:
    result = told("stays-clear", seen=["gel"], after_min=30.0)
    assert not result.agrees
    assert "did not expect" in " ".join(as_text(diagnose_sheet(result)).split())


def test_fewer_products_poured_are_judged_alone() -> None:
    result = told("curdles", seen=["haze"], after_min=5.0, poured=1)
    assert len(result.mix.additions) == 1
    assert not result.agrees


def test_acid_is_never_offered_beside_thiosulfate(tmp_path: Path) -> None:
    path = mix(
        tmp_path,
        ("potassium-thiosulfate-liquor", "4 fl oz/1000 sq ft"),
        ("npk-orthophosphate", "6 fl oz/1000 sq ft"),
        ("calcium-chloride-liquor", "4 fl oz/1000 sq ft"),
    )
    result = diagnose(read_mix(path), seen=["flakes"], after_min=5.0, count=64)
    acid = next(t for t in result.tries if t.what == "acid")
    assert acid.works == 0.0 and "poisonous gas" in acid.sentence


def test_json_command_and_sheet_width() -> None:
    done = jarsight(
        "diagnose", "examples/curdles.toml", "--seen", "haze", "--after", "2", "--ph", "4.6",
        "--draws", "64", "--json",
    )  # fmt: skip
    data = json.loads(done.stdout)
    assert {"causes", "try", "sprayable"} <= set(data)
    assert {"key", "probability", "sentence"} == set(data["causes"][0])
    assert {"what", "works", "sentence"} == set(data["try"][0])
    result = told("curdles", seen=["flakes"], after_min=5.0)
    assert json.loads(diagnose_json(result))["seen"] == ["flakes"]
    assert max(map(len, as_text(diagnose_sheet(result)).splitlines())) <= 60
    wrong = jarsight("diagnose", "examples/curdles.toml", "--seen", "curd")
    assert wrong.returncode == 2 and "haze" in wrong.stderr


@pytest.mark.parametrize("after", [0.0, 5000.0])
def test_any_time_is_answered(after: float) -> None:
    assert told("curdles", seen=["haze"], after_min=after).causes
