"""A tank that went wrong: the solid is named, remedies are tried before they are told."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pytest
from test_cli import jarsight
from test_forecast import mix

from chem.advice.diagnose import ENOUGH, MOST_DRAWS, Diagnosis, diagnose, no_acid
from chem.forecast import SEEN_WORDS
from chem.forecast.out import Part
from chem.forecast.sight import kind_of
from chem.reference import read_csv, tables
from chem.reference.colloids import colloids
from chem.sheets.blocks import as_text
from chem.sheets.diagnose import (
    _remarks,
    cause_sentence,
    clean_sentences,
    diagnose_json,
    diagnose_sheet,
    no_acid_words,
    try_sentence,
)
from chem.tank import read_mix

EXAMPLES = Path(__file__).parent.parent / "examples"
BENCH = Path(__file__).parent / "bench"
sys.path.insert(0, str(BENCH))

import bench_diagnose  # noqa: E402
import world  # noqa: E402


def told(name: str, **options: object) -> Diagnosis:
    return diagnose(read_mix(EXAMPLES / f"{name}.toml"), count=128, **options)  # type: ignore[arg-type]


def said_clean(result: Diagnosis) -> str:
    return " ".join(clean_sentences(result))


def test_calcium_and_phosphate_is_named_with_its_jugs_and_acid_clears_it() -> None:
    result = told("curdles", seen=["flakes"], after_min=5.0, ph=4.6)
    first = result.causes[0]
    assert first.key == "brushite" and first.probability > 0.9
    assert "Calcium nitrate liquor" in cause_sentence(first) and "8-8-8" in cause_sentence(first)
    works = {t.what: t.works for t in result.tries}
    assert works["acid"] > 0.8 > works["water"]
    assert result.sprayable < 0.1
    assert "acid rinse" in said_clean(result)


def test_acid_does_not_clear_gypsum_or_alginate() -> None:
    """Gypsum is no more soluble in mild acid; alginate gel stays (common practice, no source)."""
    gypsum = told("hazes-overnight", seen=["grit"], after_min=1440.0)
    assert gypsum.causes[0].key == "gypsum"
    assert {t.what: t.works for t in gypsum.tries}["acid"] < 0.2
    assert "Acid does not clear it." in said_clean(gypsum)
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
    text = " ".join(as_text(diagnose_sheet(result)).split())
    assert "did not expect" in text and "if it is a salt at all" in text


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
    assert acid.works == 0.0 and "poisonous gas" in try_sentence(acid, result.mix)


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
    wrong = jarsight("diagnose", "examples/curdles.toml", "--seen", "custard")
    assert wrong.returncode == 2 and "haze" in wrong.stderr


@pytest.mark.parametrize("after", [0.0, 5000.0])
def test_any_time_is_answered(after: float) -> None:
    assert told("curdles", seen=["haze"], after_min=after).causes


def product(folder: Path, name: str, *sources: str, says: str = "") -> str:
    """Write a product that holds so many sources, a little of each; returns its file name."""
    lines = [f'name = "{name}, invented"', 'density = "1.2 kg/L"']
    lines += ["sources = [" + ", ".join(f'"{s}"' for s in sources) + "]", "[known]"]
    lines += [f'"{s}" = 10' for s in sources]
    (folder / f"{name}.toml").write_text("\n".join([*lines, *(["[says]", says] if says else [])]))
    return f"{name}.toml"


CURDLING = (
    ("npk-orthophosphate", "6 fl oz/1000 sq ft"),
    ("calcium-chloride-liquor", "4 fl oz/1000 sq ft"),
)
RATE = "2 fl oz/1000 sq ft"


@pytest.mark.parametrize(
    ("source", "says", "because"),
    [
        ("potassium thiosulfate", "", "poisonous gas"),
        ("potassium sulfite", "", "poisonous gas"),
        ("ammonium bisulfite", "", "poisonous gas"),
        ("sodium hypochlorite", "", "poisonous gas"),
        ("potassium carbonate", "", "foam over"),
        ("potassium bicarbonate", "", "foam over"),
        ("potassium nitrate", 'never_with = ["acids"]', "label forbids"),
        ("potassium nitrate", 'never_with = ["citric acid"]', "label forbids"),
    ],
)
def test_acid_is_forbidden_by_gas_and_by_labels(
    tmp_path: Path, source: str, says: str, because: str
) -> None:
    file = product(tmp_path, "other", source, says=says)
    lone = no_acid(read_mix(mix(tmp_path, (file, RATE))))
    assert lone is not None and because in no_acid_words(lone)
    if source != "sodium hypochlorite":  # such a mix is refused as a whole
        # An acid that is in already doesn't make more of it harmless.
        path = mix(tmp_path, (file, RATE), ("ph-buffer", "1 fl oz/1000 sq ft"))
        assert no_acid(read_mix(path)) is not None
        path = mix(tmp_path, *CURDLING, (file, RATE))
        result = diagnose(read_mix(path), seen=["flakes"], after_min=5.0, count=64)
        acid = next(t for t in result.tries if t.what == "acid")
        assert acid.works == 0.0 and because in try_sentence(acid, result.mix)
        if "acid rinse" in said_clean(result):
            assert "Not before water has rinsed out" in said_clean(result)
    assert no_acid(read_mix(mix(tmp_path, *CURDLING))) is None


def test_no_more_water_than_a_label_allows(tmp_path: Path) -> None:
    file = product(
        tmp_path, "other", "potassium nitrate", says='carrier_at_most = "3 gal/1000 sq ft"'
    )
    path = mix(tmp_path, *CURDLING, (file, RATE))
    result = diagnose(read_mix(path), seen=["flakes"], after_min=5.0, count=64)
    water = next(t for t in result.tries if t.what == "water")
    assert water.works == 0.0 and "label" in try_sentence(water, result.mix)


def test_copper_is_minded_with_acid(tmp_path: Path) -> None:
    file = product(tmp_path, "blue", "copper sulfate pentahydrate")
    lines = (tmp_path / file).read_text().replace("[known]", "[guarantee]\ncopper = 2.0\n[known]")
    (tmp_path / file).write_text(lines)
    path = mix(tmp_path, *CURDLING, (file, "0.1 fl oz/1000 sq ft"))
    result = diagnose(read_mix(path), seen=["flakes"], after_min=5.0, count=64)
    acid = next(t for t in result.tries if t.what == "acid")
    assert acid.works >= 0.1
    words = try_sentence(acid, result.mix)
    assert "frees copper" in words and "1 oz per gallon" in words


def test_time_counts_what_is_out_by_then() -> None:
    early = told("hazes-overnight", seen=["grit"], after_min=2.0)
    late = told("hazes-overnight", seen=["grit"], after_min=1440.0)
    assert late.agrees and not early.agrees
    assert late.sprayable < early.sprayable


def test_the_strip_reads_what_stands_over_the_solids() -> None:
    """Brushite sets acid free as it comes out, so a low strip fits calcium and phosphate."""
    fits = told("curdles", seen=["flakes"], after_min=240.0, ph=4.0)
    assert fits.agrees and fits.causes[0].key == "brushite"


def test_more_versions_are_drawn_where_few_fit() -> None:
    curdles = read_mix(EXAMPLES / "curdles.toml")
    few = diagnose(curdles, seen=["flakes"], after_min=5.0, count=16, remedies=False)
    assert ENOUGH <= few.draws <= MOST_DRAWS and few.tries == ()
    many = diagnose(curdles, seen=["flakes"], after_min=5.0, count=256, remedies=False)
    assert many.draws == 256
    assert few.causes[0].key == many.causes[0].key


def test_each_kind_is_called_by_its_looks() -> None:
    looks = {
        "gypsum": "grains",
        "calcium_citrate": "grains",
        "brushite": "powder",
        "calcite": "powder",
        "ferrihydrite": "floc",
        "humate_by_hardness": "floc",
        "alginate_by_calcium": "gel",
        "silica_amorphous": "gel",
        "potassium_sulfate": "grains",
    }

    def part(key: str) -> Part:
        kinds = ("colloid", colloids()), ("salt", tables().solids)
        kind = next((k for k, known in kinds if key in known), "crystals")
        return Part(key, key, kind, True)

    assert {key: kind_of(part(key)) for key in looks} == looks


def test_words_that_tell_of_no_solid_name_none() -> None:
    smells = told("alkali-decides", seen=["fizz"], after_min=1.0)
    assert smells.causes == smells.tries == ()
    assert any("Fizzes" in r for r in _remarks(smells))
    assert "Fizzes" in as_text(diagnose_sheet(smells))
    oily = told("stays-clear", seen=["oil"], after_min=1.0)
    assert "emulsions" in _remarks(oily)[0]
    clear = told("stays-clear", seen=["clear"], after_min=5.0)
    assert clear.agrees and not clear.causes
    assert not told("curdles", seen=["clear"], after_min=60.0).agrees


def test_a_hydroxide_is_told_with_its_alkali() -> None:
    result = told("alkali-decides", seen=["colour", "flakes"], after_min=10.0)
    said = [cause_sentence(c) for c in result.causes]
    alone = [s for s in said if "hydroxide" in s or "rust" in s.lower()]
    assert alone and all("alkali of Potassium carbonate liquor" in s for s in alone)


def test_nothing_over_its_limit_is_not_promised_back() -> None:
    result = told("stays-clear", seen=["gel"], after_min=30.0)
    assert all(t.works == 0.0 and "only a jar" in try_sentence(t, result.mix) for t in result.tries)


def test_the_world_shows_what_an_eye_and_a_strip_could(tmp_path: Path) -> None:
    tank = world.draw_tank(5, tmp_path)
    # CaHPO4 from H2PO4-: each mole that comes out leaves one of acid behind.
    assert max(tank.out["15min"], key=lambda k: tank.out["15min"][k]) == "brushite"
    assert tank.ph_then["15min"] < tank.ph - 0.5
    rng = np.random.default_rng(1)
    looks = [world.look(rng, {"ferrihydrite": 1.0}) for _ in range(300)]
    assert {w for words in looks for w in words} <= set(SEEN_WORDS)
    assert sum("colour" in words for words in looks) > 150
    assert sum("haze" in world.look(rng, {"gypsum": 0.03}) for _ in range(300)) > 200


def test_bench_counts_failures() -> None:
    found = [c for c in map(bench_diagnose.case, (1, 3, 5, 7)) if c is not None]
    assert [c.seed for c in found] == [1, 5, 7]  # one stays clear
    for one in found:
        assert not one.problem and one.true in one.out
        assert set(one.causes) == set(bench_diagnose.WAYS)
        assert all(0.0 <= p <= 1.0 for _, p in one.causes["as told"])
        assert one.strip is None or one.strip % 0.5 == 0.0
    assert bench_diagnose.share(found, "as told", 2) > 0.5
    page = bench_diagnose.report(found, 4, 1.0, 1, 0)
    assert "| the true solid is first |" in page and "By bins" in page
    one = bench_diagnose.Case(0, true="calcite")
    one.causes["as told"] = (("vaterite", 0.6), ("gypsum", 0.3))
    assert bench_diagnose.place(one, "as told") == 99
    assert bench_diagnose.place(one, "as told", families=True) == 0
    assert bench_diagnose.reliability([one], "as told") == [(0.5, 0.7, 1, 0.6, 0)]


def test_metals_at_risk_have_a_source_and_go_by_what_is_in_the_tank() -> None:
    """Ammonia and copper alloys, acid and aluminium: Davis (2001), Pourbaix (1974), values from
    memory. An acid iron tank eats light metal; a plain one of urea doesn't."""
    rows = read_csv("metals.csv")
    keys = {r["key"] for r in read_csv("references.csv")}
    assert all(r["source"] in keys and r["metals"] and r["why"] for r in rows)
    sour = {m.key for m in told("hazes-overnight", seen=["grit"], after_min=60.0).metals}
    assert {"acid_on_light_metal", "acid_on_steel", "chloride_on_stainless"} <= sour
    assert "alkali_on_light_metal" not in sour
    ammonia = {m.key for m in told("smells-of-ammonia", seen=["clear"], after_min=5.0).metals}
    assert {"ammonia_on_copper", "alkali_on_light_metal"} <= ammonia
    assert not ammonia & {"acid_on_light_metal", "acid_on_steel"}
