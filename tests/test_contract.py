"""What `--json` prints, key for key: every example by every command, against the JSON Schemas.

The judge is the library jsonschema, which knows nothing of our models. The keys that must be there
are written out here once more, so that a model can't lose one unseen.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from chem.advice.agents import choose_agent
from chem.advice.diagnose import diagnose
from chem.advice.fix import fix
from chem.advice.jar import jar
from chem.advice.jug import jug
from chem.advice.ph import adjust
from chem.advice.pour import pour
from chem.advice.why import why
from chem.errors import InputProblem
from chem.forecast import Study, forecast
from chem.label import read_product
from chem.laboratory import equilibrate, find_entries, read_recipe, summary
from chem.laboratory.odds import solution_odds
from chem.laboratory.trace import trace
from chem.notebook import Look, Notebook, Reading, Sighting, Sprayed
from chem.notebook.entry import entry_of
from chem.notebook.score import score
from chem.notebook.season import season
from chem.notebook.wall import teach_most, wall
from chem.reference import data_folder
from chem.reference.fingerprint import fingerprint
from chem.sheets.catch import catch_json
from chem.sheets.contract.parts import Part
from chem.sheets.contract.schemas import OBJECTS, schemas
from chem.sheets.diagnose import diagnose_json
from chem.sheets.fix import fix_json
from chem.sheets.forecast_data import forecast_json
from chem.sheets.jar_data import jar_json
from chem.sheets.jug import jug_json
from chem.sheets.laboratory import solution_json, tables_json
from chem.sheets.ph_data import ph_json
from chem.sheets.pour import pour_json
from chem.sheets.records import (
    check_json,
    imported_json,
    list_json,
    next_json,
    score_json,
    season_json,
    sprayed_json,
    wall_json,
)
from chem.sheets.shelf_data import shelf_json
from chem.sheets.trace import trace_json
from chem.sheets.why import why_json
from chem.shelf import make_setting, read_stock, shelf
from chem.tank import by_speed, read_mix

ROOT = Path(__file__).parent.parent
EXAMPLES = sorted((ROOT / "examples").glob("*.toml"))
SOLUTIONS = sorted((ROOT / "examples" / "solutions").glob("*.toml"))
SCHEMAS = schemas()
JUDGES = {name: Draft202012Validator(schema) for name, schema in SCHEMAS.items()}
TIMES = "15min 4h 24h"
ODDS_TIMES = {"1min", "15min", "1h", "4h", "24h", "7d", "30d"}
RANGE = "median p05 p95"
RULED = {"": "refused label_forbids rules_broken gases"}
RULE = {"rules_broken[]": "code severity product other limit sentence"}
MUST: dict[str, dict[str, str]] = {
    "forecast": {
        "": "mix answer chance for probability clogs ph ph_aired ph_settled "
        "ionic_strength_mol_per_kg density_kg_per_L coverage totals_mol_per_L solids colloids "
        "gases tank delivered_kg_per_ha adjuvant label_forbids doubts cautions notes draws seed "
        "versions refused rules_broken conductivity_mS_per_cm learned",
        "probability": TIMES,
        "clogs": TIMES,
        "ph": RANGE,
        "solids[]": "key formula class si probability clouds_after_s amount_g_per_L",
        "solids[].si": RANGE,
        "solids[].probability": TIMES,
        "solids[].clouds_after_s": RANGE,
        "colloids[]": "key risk because",
        "gases[]": "key because",
        "tank[]": "product text",
        "adjuvant": "suited window",
        "doubts[]": "key share settle_by",
        **RULE,
    },
    "why": {
        "solids[]": "key si ions held_back_by sentence",
        "solids[].ions[]": "component free_fraction from",
        "solids[].held_back_by[]": "component by fraction",
        **RULED,
        **RULE,
    },
    "fix": {
        "": "fixes spray_within_minutes because refused label_forbids rules_broken gases",
        "fixes[]": "lever change factor probability_after sentence",
        "fixes[].probability_after": TIMES,
        **RULE,
    },
    "pour": {
        "": "orders asked refused label_forbids rules_broken gases",
        "orders[]": "sequence worst_step probability",
        "asked": "sequence worst_step probability",
        **RULE,
    },
    "ph": {
        "": "agent target_ph dose_g_per_L dose_text ph_after answer_after curve suited refused "
        "label_forbids rules_broken gases",
        "ph_after": RANGE,
        **RULE,
    },
    "jar": {
        "": "jar_mL steps look cautions refused label_forbids rules_broken gases number",
        "steps[]": "product text",
        "look[]": "minutes for",
        **RULE,
    },
    "diagnose": {
        "": "causes try sprayable refused label_forbids rules_broken gases",
        "causes[]": "key probability sentence",
        "try[]": "what works sentence",
        **RULE,
    },
    "shelf": {
        "": "pairs seconds solves",
        "pairs[]": "a b answer probability worst_solid",
        "triples[]": "a b c answer",
    },
    "label": {
        "": "product density_kg_per_L makeup_mol_per_kg sources_percent ph adds_up problems doubts "
        "salts_out_below_C cannot_judge",
        "makeup_mol_per_kg.*": RANGE,
        "sources_percent.*": RANGE,
    },
    "solution": {
        "": "ph ionic_strength_mol_per_kg water_activity species si charge_balance_relative "
        "conductivity_mS_per_cm",
        "species.*": "molality_mol_per_kg activity",
    },
    "notebook-season": {"": "rows totals"},
    "notebook-wall": {"": "works dont untried"},
    "notebook-score": {"": "entries brier log_score ph_inside"},
    "notebook-entry": {
        "": "id by at amends kind number mix seen ph sprayed forecast versions",
        "mix": "files lots rates order water carrier tank area temperatures",
        "mix.files[]": "text hash",
        "seen[]": "word after_s",
        "ph[]": "value instrument step after_s t_C",
    },
}


def parts_at(data: Any, path: str) -> Iterator[dict[str, Any]]:
    """Every object at a path (`solids[].si`, `species.*`), none where there is null."""
    found = [data]
    for step in filter(None, path.replace("[]", ".[]").split(".")):
        if step == "[]":
            found = [item for one in found for item in one]
        elif step == "*":
            found = [item for one in found for item in one.values()]
        else:
            found = [one[step] for one in found if one[step] is not None]
    yield from found


def check(name: str, text: str) -> dict[str, Any]:
    def not_json(word: str) -> float:
        raise AssertionError(f"{word} has no place in JSON")

    data = json.loads(text, parse_constant=not_json)
    wrong = [f"{e.json_path}: {e.message}" for e in JUDGES[name].iter_errors(data)]
    assert not wrong, wrong
    for path, keys in MUST.get(name, {}).items():
        for part in parts_at(data, path):
            assert set(keys.split()) <= part.keys(), path
    assert isinstance(data, dict)
    return data


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_every_command_keeps_to_its_schema(path: Path) -> None:
    mix = read_mix(path)
    study = Study(16, 1)
    told = forecast(mix, study=study)
    assert check("forecast", forecast_json(told))["mix"] == mix.name
    check("why", why_json(why(mix, study=study)))
    check("fix", fix_json(fix(mix, study=study)))
    check("pour", pour_json(pour(mix, study=study)))
    check("jar", jar_json(jar(mix, study=study)))
    seen = diagnose(mix, seen=("flakes", "smell"), after_min=15.0, count=16)
    check("diagnose", diagnose_json(seen))
    for target, agent in ((5.0, "citric acid"), (8.0, "potassium carbonate")):
        try:
            dosed = adjust(mix, target, choose_agent(agent), study=study)
        except InputProblem:
            continue  # the tank stands beyond the target already
        check("ph", ph_json(dosed))
    check("trace", trace_json(trace(mix, "ph")))
    entry = entry_of(
        told, Sighting((Look(word="flakes", after_s=900.0),), (Reading(value=6.5, after_s=0.0),))
    )
    check("notebook-entry", entry.line().decode("utf-8"))


def test_no_number_becomes_null() -> None:
    from dataclasses import replace

    from chem.doubts import Range

    lost = Range(float("nan"), float("-inf"), float("inf"))
    told = forecast(read_mix(EXAMPLES[0]), count=16)
    data = check("forecast", forecast_json(replace(told, ph=lost, ph_settled=float("nan"))))
    assert data["ph"] == {"median": None, "p05": None, "p95": None} and data["ph_settled"] is None


@pytest.mark.parametrize("path", SOLUTIONS, ids=lambda p: p.stem)
def test_solutions_keep_to_their_schema(path: Path) -> None:
    recipe = read_recipe(path)
    assert "settled" not in check("solution", solution_json(equilibrate(recipe)))
    settled = check("solution", solution_json(equilibrate(recipe, let_settle=True)))
    assert {"settled", "totals_mol_per_kg"} <= settled.keys()
    odds = solution_odds(recipe, count=16)
    for let_settle in (False, True):
        found = equilibrate(recipe, let_settle=let_settle)
        data = check("solution", solution_json(found, odds))
        assert {"probability", "clogs", "solids", "draws", "seed"} <= data.keys()
        for key in ("probability", "clogs"):
            assert data[key] is None or set(data[key]) == ODDS_TIMES


def test_the_shelf_and_labels_keep_to_their_schemas() -> None:
    folder = data_folder() / "demo" / "products"
    for path in sorted(folder.glob("*.toml")):
        check("label", jug_json(jug(read_product(path), count=16)))
    items, left_out = read_stock(folder)
    four = {"calcium-nitrate-liquor", "npk-orthophosphate", "ph-buffer"}
    four |= {"potassium-thiosulfate-liquor"}
    some = [i for i in items if i.product.key in four]
    setting = make_setting("2 gal/1000 sq ft", draws=16)
    found = shelf(some, setting, triples=True, ratios=(0.5,), passes=True, left_out=left_out)
    data = check("shelf", shelf_json(found))
    assert len(data["pairs"]) == 6 and len(data["alone"]) == 4
    assert data["passes"] and data["triples"] and data["ratios"]


def test_the_other_objects_keep_to_their_schemas() -> None:
    check("tables", tables_json(find_entries(), summary(), fingerprint()))
    check("calibrate", catch_json(by_speed([0.65, 0.68, 0.9], 30.0, 0.5, 1.8)))
    done = jarsight("selfcheck", "--json", cwd=ROOT)
    assert check("selfcheck", done.stdout)["passed"] == (done.returncode == 0)


def test_the_notebook_keeps_to_its_schemas(tmp_path: Path) -> None:
    book, study = Notebook(tmp_path / "notebook.sqlite"), Study(16, 1)
    for name in ("stays-clear", "curdles"):
        told = forecast(read_mix(ROOT / "examples" / f"{name}.toml"), study=study)
        look = Look(word="clear", after_s=900.0)
        book.add(entry_of(told, Sighting((look,), (Reading(value=6.5, after_s=0.0),))))
    gone = Sighting(kind="sprayed", sprayed=Sprayed(site="4 green", through=True))
    book.add(entry_of(told, gone))
    kept = book.kept()
    assert len(check("notebook-list", list_json(book.entries()))["entries"]) == 3
    assert check("notebook-wall", wall_json(wall(kept, (), study)))["works"]
    assert check("notebook-season", season_json(season(book.entries())))["rows"]
    assert check("notebook-next", next_json(teach_most(kept, study)))["kind"]
    assert check("notebook-next", next_json(None))["kind"] is None
    assert check("notebook-score", score_json(score(kept)))["looks"] == 2
    check("notebook-check", check_json(book.check()))
    check("notebook-import", imported_json(book.take_in(book.path)))
    check("sprayed", sprayed_json(kept[-1].entry))


def test_a_key_missing_or_unknown_is_found() -> None:
    text = forecast_json(forecast(read_mix(ROOT / "examples" / "curdles.toml"), count=16))
    data = json.loads(text)
    for where in (data, data["solids"][0], data["solids"][0]["si"], data["rules_broken"][0]):
        for key in list(where):
            kept = where.pop(key)
            assert not JUDGES["forecast"].is_valid(data), key
            where[key] = kept
        where["surprise"] = 1
        assert not JUDGES["forecast"].is_valid(data)
        del where["surprise"]
    assert JUDGES["forecast"].is_valid(data)


def test_every_part_is_closed_and_its_model_reads_it_back() -> None:
    for name, schema in SCHEMAS.items():
        Draft202012Validator.check_schema(schema)
        if name == "notebook-entry":
            continue  # keys that a later version adds are kept
        for part in [schema, *schema.get("$defs", {}).values()]:
            if part.get("type") == "object":
                assert part["additionalProperties"] is False
                assert set(part["required"]) == set(part["properties"])
    text = forecast_json(forecast(read_mix(EXAMPLES[0]), count=16))
    (model,) = OBJECTS["forecast"]
    assert issubclass(model, Part)
    assert json.loads(model.model_validate_json(text).model_dump_json(by_alias=True)) == json.loads(
        text
    )


def jarsight(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "chem", *arguments],
        capture_output=True,
        text=True,
        cwd=cwd,
        env=os.environ | {"PYTHONPATH": str(ROOT), "COLUMNS": "80"},
        check=False,
        stdin=subprocess.DEVNULL,
    )


def test_schemas_are_written_whole_and_over_nothing_else(tmp_path: Path) -> None:
    for _ in range(2):  # over its own it writes again
        done = jarsight("tables", "--schemas", "made", cwd=tmp_path)
        assert done.returncode == 0, done.stderr
        assert len(done.stdout.splitlines()) == len(SCHEMAS)
    for name, schema in SCHEMAS.items():
        written = tmp_path / "made" / f"{name}.schema.json"
        assert json.loads(written.read_text(encoding="utf-8")) == schema
        assert str(written.relative_to(tmp_path)) in done.stdout
    assert len(list((tmp_path / "made").iterdir())) == len(SCHEMAS)

    foreign, gone = (tmp_path / "made" / f"{n}.schema.json" for n in ("ph", "why"))
    foreign.write_text('{"mine": true}', encoding="utf-8")
    gone.unlink()
    done = jarsight("tables", "--schemas", "made", cwd=tmp_path)
    assert done.returncode == 2 and "ph.schema.json" in done.stderr
    assert foreign.read_text(encoding="utf-8") == '{"mine": true}' and not gone.exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--schemas", "no/where"), "no folder"),
        (("--schemas", "file"), "no folder"),
        (("gypsum", "--schemas", "made"), "--schemas DIR alone"),
        (("--json", "--schemas", "made"), "--schemas DIR alone"),
    ],
)
def test_refused_folders(arguments: tuple[str, ...], words: str, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", encoding="utf-8")
    done = jarsight("tables", *arguments, cwd=tmp_path)
    assert done.returncode == 2 and words in done.stderr and "Traceback" not in done.stderr
    assert sorted(p.name for p in tmp_path.iterdir()) == ["file"]
