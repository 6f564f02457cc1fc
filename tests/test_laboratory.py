"""The chemists' commands: one solution, every constant, the self-check."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from chem.cli.main import whole_app
from chem.errors import InputProblem
from chem.laboratory import (
    Recipe,
    Solution,
    change_recipe,
    equilibrate,
    find_entries,
    kinds,
    read_recipe,
    referee_solution,
    saturating,
    selfcheck,
    summary,
)
from chem.laboratory.invariants import INVARIANTS
from chem.laboratory.odds import TIMES_S, SolutionOdds, solution_odds
from chem.reference import data_folder, data_hash, molar_mass_g_per_mol, tables
from chem.reference.fingerprint import fingerprint
from chem.sheets import as_text
from chem.sheets.laboratory import solution_sheet

SOLUTIONS = Path(__file__).parent.parent / "examples" / "solutions"


def command(*arguments: str) -> Result:
    return CliRunner().invoke(whole_app(), list(arguments))


def over(solid: str, t_celsius: float = 25.0, **totals: float) -> Solution:
    return equilibrate(Recipe("test", t_celsius, None, totals), saturate=[solid])


def dissolved(solid: str, component: str, t_celsius: float = 25.0, **totals: float) -> float:
    held = over(solid, t_celsius, **totals).dissolved
    assert held is not None
    return held[component]


def written(folder: Path, text: str) -> Path:
    path = folder / "test.toml"
    path.write_text(text)
    return path


# One solution


def test_json_keeps_the_contract() -> None:
    done = command("solution", str(SOLUTIONS / "phosphate-standard.toml"), "--json")
    assert done.exit_code == 0
    data = json.loads(done.output)
    assert {
        "ph", "ionic_strength_mol_per_kg", "water_activity", "species", "si",
        "charge_balance_relative", "temperature_celsius", "coverage", "notes", "versions",
    } <= set(data)  # fmt: skip
    assert "settled" not in data and "totals_mol_per_kg" not in data
    assert all(set(s) == {"molality_mol_per_kg", "activity"} for s in data["species"].values())
    assert all(isinstance(si, float) for si in data["si"].values())
    assert data["charge_balance_relative"] < 1e-9
    assert data["temperature_celsius"] == 25.0
    assert data["versions"] == fingerprint()
    # pH 6.865 (Buck et al. 2002, Pure Appl. Chem. 74, 2169; value from memory)
    assert data["ph"] == pytest.approx(6.865, abs=0.03)
    # 0.025 + 0.05 + 4 x 0.025 + 0.025 over two; K+ and Na+ are free
    assert data["ionic_strength_mol_per_kg"] == pytest.approx(0.1, abs=1e-4)
    assert data["species"]["K+"]["molality_mol_per_kg"] == pytest.approx(0.025, rel=1e-9)


def test_carbonate_standard() -> None:
    result = equilibrate(read_recipe(SOLUTIONS / "carbonate-standard.toml"))
    # Staples and Bates 1969, J. Res. NBS 73A, 37
    assert result.ph == pytest.approx(10.012, abs=0.03)


def test_every_example_solution_answers_and_fits_the_sheet() -> None:
    for path in SOLUTIONS.glob("*.toml"):
        result = equilibrate(read_recipe(path))
        text = as_text(solution_sheet(result))
        assert max(map(len, text.splitlines())) <= 60, path.name


def test_sheet_gives_ph_strength_and_water_first_then_species_then_si() -> None:
    done = command("solution", str(SOLUTIONS / "nutrient-solution.toml"))
    lines = done.output.splitlines()
    assert lines[2].startswith("pH 5.800 (given)")
    assert lines[3].startswith("Ionic strength") and "water activity" in lines[3]
    assert (
        done.output.index("Ca+2 ") < done.output.index("CaSO4 ") < done.output.index("SATURATION")
    )
    saturation = done.output.split("SATURATION")[1].split("NOTES")[0].splitlines()
    numbers = [float(line.split()[-1]) for line in saturation[3:] if line.strip()]
    assert numbers == sorted(numbers, reverse=True)
    everything = command("solution", str(SOLUTIONS / "nutrient-solution.toml"), "--all").output
    assert "e-1" in everything and len(everything) > len(done.output)
    hidden = set(everything.split()) - set(done.output.split())
    assert "FeOH+" in hidden or "Fe+2" in hidden or len(hidden) > 10


def test_ordinary_nutrient_solution_holds_its_prompt_solids_below_their_limit() -> None:
    """1 mM phosphate and 4 mM calcium at pH 5.5-6.5 stay clear (common practice, no source)."""
    recipe = read_recipe(SOLUTIONS / "nutrient-solution.toml")
    result = equilibrate(recipe, let_settle=True)
    assert result.settled == {}
    assert "Nothing settles" in as_text(solution_sheet(result))


def test_pure_water() -> None:
    # pKw 13.995 at 25 C (Bandura and Lvov 2006, J. Phys. Chem. Ref. Data 35, 15)
    assert equilibrate(Recipe("water", 25.0, None, {})).ph == pytest.approx(13.995 / 2, abs=0.005)


@pytest.mark.parametrize(
    ("t_celsius", "salt", "calcium", "tolerance"),
    [
        # Marshall and Slusher 1966, J. Phys. Chem. 70, 4015, gypsum in NaCl [mol/kg]; constants
        # were fitted to these points. Tolerances of the model, not of the measurement (1.2 %).
        (25.0, 0.0513, 0.0194, 0.05),
        (25.0, 0.2319, 0.0281, 0.05),
        (25.0, 0.548, 0.0372, 0.06),
        (25.0, 2.024, 0.0540, 0.06),
        (0.5, 0.2043, 0.0233, 0.06),
        (15.0, 1.05, 0.0461, 0.08),
        (40.0, 0.2321, 0.0282, 0.06),
        (40.0, 1.005, 0.0462, 0.06),
    ],
)
def test_gypsum_in_sodium_chloride(
    t_celsius: float, salt: float, calcium: float, tolerance: float
) -> None:
    found = dissolved("gypsum", "Ca", t_celsius, Na=salt, Cl=salt)
    # The measured molality of salt is that beside the gypsum; gypsum's water dilutes it by 0.1 %.
    assert found == pytest.approx(calcium, rel=tolerance)


def test_brushite() -> None:
    for t_celsius, product in (
        (25.0, 2.49e-7),  # Patel, Gregory and Brown 1974, J. Res. NBS 78A, 675
        (37.5, 2.19e-7),  # Moreno, Gregory and Brown 1966, J. Res. NBS 70A, 545
    ):
        activity = {s.key: s.activity for s in over("brushite", t_celsius).species}
        log = math.log10(activity["Ca+2"] * activity["HPO4-2"])
        assert log == pytest.approx(math.log10(product), abs=0.05)
    # Less of it dissolves when warmer (Gregory, Moreno and Brown 1970, J. Res. NBS 74A, 461),
    # at one pH.
    for ph in (5.0, 6.0):
        cold = equilibrate(Recipe("cold", 5.0, ph, {}), saturate=["brushite"]).dissolved
        warm = equilibrate(Recipe("warm", 37.5, ph, {}), saturate=["brushite"]).dissolved
        assert cold is not None and warm is not None
        assert warm["Ca"] < cold["Ca"]


def test_struvite_in_water() -> None:
    # 169.2 mg/L at 25 C in deionised water (Bhuiyan, Mavinic and Beckie 2007, Environ. Technol.
    # 28); 20 %: published products span 13.17 to 13.36.
    grams = dissolved("struvite", "Mg") * molar_mass_g_per_mol("MgNH4PO4+6H2O")
    assert grams == pytest.approx(0.1692, rel=0.2)


def test_other_solubilities() -> None:
    # Saturated calcium hydroxide at 25 C: about 0.0203 mol/L, pH 12.45 (European Pharmacopoeia
    # 5.0, table 2.2.3.-2)
    lime = over("portlandite")
    assert lime.dissolved is not None
    assert lime.dissolved["Ca"] == pytest.approx(0.0203, rel=0.03)
    assert lime.ph == pytest.approx(12.45, abs=0.04)
    # Boric acid 5.48 % by mass at 25 C (CRC Handbook, 98th ed., 2017), 0.938 mol/kg
    assert dissolved("boric_acid", "B") == pytest.approx(0.938, rel=0.03)
    # Calcite in water without CO2: pH about 9.9 in every database (Parkhurst and Appelo 2013)
    assert over("calcite").ph == pytest.approx(9.9, abs=0.05)


def test_saturation_does_not_depend_on_the_excess(monkeypatch: pytest.MonkeyPatch) -> None:
    small = over("gypsum", Na=0.5, Cl=0.5)
    monkeypatch.setattr(saturating, "EXCESSES_MOL_PER_KG", (3.0,))
    large = over("gypsum", Na=0.5, Cl=0.5)
    assert small.dissolved is not None and large.dissolved is not None
    for component, amount in small.dissolved.items():
        assert large.dissolved[component] == pytest.approx(amount, rel=1e-6)
    assert small.settled is not None and large.settled is not None
    assert large.settled["gypsum"] == pytest.approx(small.settled["gypsum"], rel=1e-5)
    assert large.water_left_kg == pytest.approx(small.water_left_kg, rel=1e-9)


def test_saturation_needs_no_totals_and_lets_nothing_else_form() -> None:
    result = over("calcite", Na=0.1, SO4=0.05, Mg=0.01, Cl=0.02)
    assert result.settled is not None and set(result.settled) == {"calcite"}
    assert result.settled["calcite"] < 0.0
    assert abs(result.si["calcite"]) < 1e-6
    rich = over("calcite", Ca=0.1, SO4=0.1, CO3=0.01, Na=0.02)
    assert rich.settled is not None and rich.settled["calcite"] > 0.0
    assert rich.si["gypsum"] > 0.0


def test_saturation_with_an_own_ion_and_several_solids() -> None:
    both = equilibrate(Recipe("t", 25.0, None, {}), saturate=["gypsum", "calcite"])
    assert abs(both.si["gypsum"]) < 1e-6 and abs(both.si["calcite"]) < 1e-6
    assert dissolved("gypsum", "SO4", Ca=0.05, Cl=0.1) < dissolved("gypsum", "SO4")
    named = equilibrate(Recipe("t", 25.0, None, {}), saturate=["amorphous calcium phosphate"])
    assert abs(named.si["amorphous_calcium_phosphate"]) < 1e-6


@pytest.mark.parametrize(
    ("solids", "read", "wrong", "instead"),
    [
        (["potassium_nitrate"], "--saturate potassium_nitrate", "can't saturate", "solubility"),
        (["potassium_chloride"], "--saturate potassium_chloride", "too soluble", "solubility"),
        (["mascagnite"], "--saturate mascagnite", "too soluble", "solubility"),
        (["calcite", "vaterite"], "--saturate calcite --saturate vaterite", "ions", "one of"),
        (["gypsun"], "--saturate gypsun", "no such solid", "did you mean `gypsum`"),
        (["xyzzy"], "--saturate xyzzy", "no such solid", "jarsight tables --kind solids"),
    ],
)
def test_what_cannot_be_saturated_is_refused(
    solids: list[str], read: str, wrong: str, instead: str
) -> None:
    with pytest.raises(InputProblem) as caught:
        equilibrate(Recipe("test", 25.0, None, {"Na": 0.01, "Cl": 0.01}), saturate=solids)
    problem = caught.value.problems[0]
    assert problem.read == read
    assert wrong in problem.wrong
    assert instead in problem.instead


def test_settling_keeps_every_mole_and_forms_only_what_may() -> None:
    recipe = read_recipe(SOLUTIONS / "stock-solution.toml")
    result = equilibrate(recipe, let_settle=True)
    assert result.settled and result.dissolved is not None
    assert "gypsum" in result.settled
    masters = {c.key: c.master for c in tables().components.values()}
    for component, total in recipe.totals.items():
        bound = sum(
            tables().solids[key].reaction.get(masters[component], 0.0) * amount
            for key, amount in result.settled.items()
        )
        held = result.dissolved[component] * result.water_left_kg
        assert held + bound == pytest.approx(total, rel=1e-9)
    for key in result.settled:
        solid = tables().solids[key]
        assert solid.kinetics == "prompt" and solid.decides
        assert abs(result.si[key]) < 1e-6
    for solid in tables().solids.values():
        if solid.kinetics == "prompt" and solid.decides and solid.key in result.si:
            assert result.si[solid.key] < 1e-6


def test_given_ph_leaves_the_imbalance_and_says_what_would_hold_it() -> None:
    recipe = read_recipe(SOLUTIONS / "phosphate-standard.toml")
    acid = equilibrate(change_recipe(recipe, ph="5", temperature=None))
    assert acid.ph == 5.0 and acid.ph_given
    # At pH 5 nearly all of the 0.025 mol/kg HPO4-2 has taken up a proton.
    assert acid.charge_mol_per_kg == pytest.approx(0.0245, abs=0.001)
    assert acid.charge_balance_relative == pytest.approx(0.0245 / 0.125, rel=0.05)
    assert any("strong acid" in note for note in acid.notes)
    base = equilibrate(change_recipe(recipe, ph="8", temperature=None))
    assert any("strong base" in note for note in base.notes)
    free = equilibrate(change_recipe(acid_free(recipe), ph="charge", temperature=None))
    back = equilibrate(Recipe("back", 25.0, free.ph, recipe.totals))
    assert back.charge_balance_relative < 1e-9


def acid_free(recipe: Recipe) -> Recipe:
    return Recipe(recipe.name, recipe.t_celsius, 5.0, recipe.totals)


def test_given_ph_holds_while_solids_settle_and_dissolve() -> None:
    recipe = Recipe("test", 20.0, 6.5, {"Ca": 0.02, "PO4": 0.02, "K": 0.02, "NO3": 0.04})
    settled = equilibrate(recipe, let_settle=True)
    assert settled.ph == pytest.approx(6.5, abs=1e-9)
    assert settled.settled and "brushite" in settled.settled
    assert equilibrate(recipe, saturate=["brushite"]).ph == pytest.approx(6.5, abs=1e-9)


def test_notes_on_range() -> None:
    strong = equilibrate(Recipe("t", 25.0, None, {"Na": 5.0, "Cl": 5.0}))
    assert any(n.startswith("Out of range: ionic strength 5.00") for n in strong.notes)
    stronger = equilibrate(Recipe("t", 25.0, None, {"Na": 11.0, "Cl": 11.0}))
    assert any(n.startswith("Far out of range") for n in stronger.notes)
    cold = equilibrate(Recipe("t", 2.0, None, {"Ca": 0.01, "citrate": 0.01}))
    assert any("beyond the temperature range" in n and "CaHCitrate" in n for n in cold.notes)
    plain = equilibrate(Recipe("t", 20.0, None, {"Na": 0.1, "Cl": 0.1}))
    assert plain.notes == ()
    inert = equilibrate(Recipe("t", 20.0, None, {"Co": 1e-5, "Cl": 2e-5}))
    assert any("without reactions" in n and "Co" in n for n in inert.notes)


# The file


def test_a_bare_number_is_mol_per_kg_and_units_are_read(tmp_path: Path) -> None:
    text = """
    [totals]
    Na = 0.05
    K = "25 mmol/kg"
    Cl = "0.075 mol/kg water"
    B = "30 µmol/kg"
    Mg = 0
    """
    recipe = read_recipe(written(tmp_path, text))
    assert recipe.totals == pytest.approx({"Na": 0.05, "K": 0.025, "Cl": 0.075, "B": 3e-5})
    assert recipe.t_celsius == 25.0 and recipe.ph is None
    assert recipe.notes == ("No temperature is given: 25 C is assumed",)
    changed = change_recipe(recipe, ph="7.2", temperature="50 F")
    assert changed.t_celsius == pytest.approx(10.0) and changed.ph == 7.2
    assert changed.notes == ()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[totals]\nCa = '2 mmol/L'", "needs the density"),
        ("[totals]\nCa = '0.1 M'", "needs the density"),
        ("[totals]\nCa = '40 mg/L'", "needs the density"),
        ("[totals]\nCa = '40 ppm'", "`ppm` is not mol per kg of water"),
        ("[totals]\nCa = '2 mmol'", '"25 mmol/kg"'),
        ("[totals]\nCa = -0.1", "can't be negative"),
        ("[totals]\nCa = 250", "more than water can hold"),
        ("[totals]\nCa = nan", "does not begin with a number"),
        ("[totals]\nCa = inf", "does not begin with a number"),
        ("[totals]\nCa = true", "totals.Ca"),
        ("[totals]\nCa = '0,1'", "0.1 with a point"),
        ("[totals]\nCa = '0.1-0.2'", "a range is printed"),
        ("[totals]\ncalcium = 0.1", "did you mean `Ca`"),
        ("[totals]\nSO9 = 0.1", "there is no such component"),
        ("ph = 15", "between 0 and 14"),
        ("ph = 'neutral'", '"charge"'),
        ("temperature = 25", "F or C"),
        ("temperature = '80 C'", "outside -10 to 60 C"),
        ("temprature = '25 C'", "did you mean `temperature`"),
        ("totals = 3", "totals"),
        ("totals", "not valid TOML"),
    ],
)
def test_bad_files_are_told_in_three_parts(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(InputProblem) as caught:
        read_recipe(written(tmp_path, text))
    message = str(caught.value)
    assert words in message
    assert "test.toml" in message
    assert "wrong:" in message and "write:" in message


def test_all_problems_of_a_file_at_once(tmp_path: Path) -> None:
    text = "temperature = 25\nph = 19\n[totals]\nCa = -1\nCalcum = 2\nK = '1 mg/L'"
    with pytest.raises(InputProblem) as caught:
        read_recipe(written(tmp_path, text))
    assert len(caught.value.problems) == 5


def test_bad_options_name_the_option(tmp_path: Path) -> None:
    recipe = read_recipe(SOLUTIONS / "phosphate-standard.toml")
    with pytest.raises(InputProblem) as caught:
        change_recipe(recipe, ph="acid", temperature="60")
    assert [p.read.split(" = ")[0] for p in caught.value.problems] == [
        "command line, --temperature",
        "command line, --ph",
    ]
    done = command("solution", str(tmp_path / "none.toml"))
    assert isinstance(done.exception, InputProblem)
    assert "there is no such file" in str(done.exception)


def test_options_reach_the_chemistry() -> None:
    file = str(SOLUTIONS / "sodium-chloride.toml")
    data = json.loads(command("solution", file, "--saturate", "gypsum", "--json").output)
    # Marshall and Slusher 1966: 0.0372 mol/kg in 0.548 mol/kg NaCl at 25 C
    assert data["totals_mol_per_kg"]["Ca"] == pytest.approx(0.0372, rel=0.06)
    assert data["settled"]["gypsum"] == pytest.approx(
        -data["totals_mol_per_kg"]["Ca"] * data["water_left_kg"], rel=1e-9
    )
    colder = command("solution", file, "--temperature", "10 C", "--ph", "6", "--json")
    assert json.loads(colder.output)["temperature_celsius"] == 10.0
    assert json.loads(colder.output)["ph"] == 6.0
    settled = json.loads(command("solution", file, "--settle", "--json").output)
    assert settled["settled"] == {} and settled["totals_mol_per_kg"]["Na"] == pytest.approx(0.548)
    text = command("solution", file, "--saturate", "gypsum").output
    assert "dissolved" in text and "per kg of the water left" in text


# Every constant


def test_every_row_of_every_table_is_listed() -> None:
    counts = summary()
    for path in data_folder().glob("*.csv"):
        if path.stem in {"references", "check_values"}:
            continue
        with path.open(encoding="utf-8", newline="") as handle:
            assert sum(counts[path.stem].values()) == len(list(csv.DictReader(handle))), path.name
    assert {"components", "species", "interactions", "interaction_rules", "solids", "clouding",
            "physical", "sources", "guarantees"} <= set(counts)  # fmt: skip


def test_every_entry_has_a_source_and_a_kind_and_constants_a_value() -> None:
    for entry in find_entries():
        assert entry.citation and entry.kind, entry.key
        if entry.table in {"species", "solids", "interactions", "interaction_rules", "sources"}:
            assert entry.value is not None and entry.unit, entry.key
        if entry.table in {"species", "solids", "interactions", "interaction_rules"}:
            assert entry.uncertainty is not None
        if entry.table in {"species", "solids"}:
            assert entry.t_min_celsius is not None and entry.t_max_celsius is not None


def test_searching() -> None:
    found = find_entries(["gypsum"])
    assert found[0].key == "gypsum" and found[0].table == "solids"
    assert all("gypsum" in e.text for e in found)
    assert {"species", "solids", "clouding"} <= {e.table for e in found}
    both = find_entries(["Ca", "citrate"], ["species"])
    assert both and all(e.table == "species" for e in both)
    guessed = find_entries(kind=["estimate", "solids"])
    assert {"koktaite", "calcium_phosphite"} <= {e.key for e in guessed}
    assert all(e.kind == "estimate" for e in guessed)


def test_values_are_those_of_the_tables() -> None:
    gypsum = find_entries(["gypsum"], ["solids"])[0]
    constant = tables().solids["gypsum"].constant
    assert (gypsum.value, gypsum.uncertainty) == (constant.log_k, constant.u)
    assert gypsum.citation == tables().references[constant.source]
    line = find_entries(["available phosphate"], ["guarantees"])[0]
    # P2O5 per P: half its molar mass
    assert line.value == pytest.approx(molar_mass_g_per_mol("P2O5") / 2)


def test_tables_prints_eighty_columns_and_a_summary_without_words() -> None:
    done = command("tables", "gypsum")
    assert done.exit_code == 0
    assert max(map(len, done.output.splitlines())) <= 80
    assert "Marshall, W. L., Slusher, R. (1966)" in done.output
    assert done.output.splitlines()[-1].endswith("entries.")
    overview = command("tables").output
    assert overview.splitlines()[0].split() == ["table", "entries", "estimates", "other", "kinds"]
    total = next(line for line in overview.splitlines() if line.startswith("all "))
    assert int(total.split()[1]) == len(find_entries())
    assert data_hash() in overview


def test_tables_json() -> None:
    data = json.loads(command("tables", "struvite", "--kind", "solids", "--json").output)
    entry = data["entries"][0]
    assert entry["key"] == "struvite"
    assert {
        "value", "unit", "uncertainty", "t_min_celsius", "t_max_celsius", "kind", "source",
        "citation", "note",
    } <= set(entry)  # fmt: skip
    assert data["tables"]["solids"]["entries"] == len(tables().solids)
    everything = json.loads(command("tables", "--json").output)
    assert len(everything["entries"]) == sum(t["entries"] for t in everything["tables"].values())


def test_nothing_found_and_unknown_kinds_are_refused() -> None:
    with pytest.raises(InputProblem, match="did you mean `gypsum`"):
        find_entries(["gypsm"])
    with pytest.raises(InputProblem, match="fewer or other words"):
        find_entries(["gypsum", "qqqqqqqq"], ["solids"])
    with pytest.raises(InputProblem, match="one of components, species") as caught:
        find_entries(kind=["minerals"])
    assert "estimate" in kinds() and "solids" in str(caught.value)


# The self-check


def test_selfcheck_passes_and_prints_its_fingerprint() -> None:
    done = command("selfcheck")
    assert done.exit_code == 0, done.output
    assert "FAIL" not in done.output
    assert "Largest deviation: " in done.output
    assert all(value in done.output for value in fingerprint().values())
    data = json.loads(command("selfcheck", "--json").output)
    assert data["passed"] and data["failed"] == []
    assert data["seconds"] > 0.0
    groups = [c["group"] for c in data["checks"]]
    assert groups.count("check value") >= 25
    assert groups.count("invariant") == len(INVARIANTS)
    examples = Path(__file__).parent.parent / "examples"
    assert groups.count("example") == len(list(examples.glob("*.toml")))


def test_check_values_have_sources_and_say_what_was_fitted() -> None:
    with (data_folder() / "check_values.csv").open(encoding="utf-8", newline="") as handle:
        rows = list(csv.DictReader(handle))
    assert len({r["id"] for r in rows}) == len(rows)
    for row in rows:
        assert row["source"] and row["unit"] and row["tolerance"], row["id"]
        assert row["role"] in {"blind", "recalled", "fitted"}
        assert (row["role"] == "recalled") == ("value from memory)" in row["source"]), row["id"]
    # Whoever fits a constant to a check value must say so.
    for solid, role in (("gypsum", "fitted"), ("arcanite", "fitted"), ("struvite", "blind")):
        pure = [r for r in rows if r["of"].startswith(solid + " ") and not r["composition"]]
        assert all(r["role"] == role for r in pure if r["what"] == "dissolved") and pure
        assert (tables().solids[solid].constant.kind == "fitted") == (role == "fitted")


def test_a_wrong_value_or_no_number_fails_with_exit_1(monkeypatch: pytest.MonkeyPatch) -> None:
    rows = [
        {"id": "wrong", "what": "ph", "of": "", "composition": "Na=0.075 CO3=0.05", "t_C": "25",
         "value": "9.86", "tolerance": "0.03", "unit": "pH", "role": "blind",
         "source": "carbonate standard with NaCO3- counted twice", "note": ""},
        {"id": "none", "what": "dissolved", "of": "potassium_nitrate K", "composition": "",
         "t_C": "25", "value": "3.79", "tolerance": "1 %", "unit": "mol/kg", "role": "blind",
         "source": "CRC Handbook, 98th ed., 2017", "note": ""},
    ]  # fmt: skip
    monkeypatch.setattr(selfcheck, "read_csv", lambda name: rows)
    monkeypatch.setattr(selfcheck, "INVARIANTS", INVARIANTS[:1])
    monkeypatch.setattr(selfcheck, "_mixes", list)
    done = command("selfcheck")
    assert done.exit_code == 1
    assert "2 of 3 failed" in done.output
    assert "FAIL wrong" in done.output and "FAIL none" in done.output
    assert "Largest deviation: none, no number" in done.output
    assert "can't saturate" in " ".join(done.output.split())
    assert "none were forecast" in done.output
    failed = command("selfcheck", "--json")
    assert failed.exit_code == 1
    data = json.loads(failed.output)
    assert data["failed"] == ["wrong", "none"] and not data["passed"]
    assert data["checks"][1]["found"] is None


def test_a_broken_invariant_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """The invariants look at the solver's numbers, not at constants."""
    from chem.equilibrium import Equilibrium

    monkeypatch.setattr(
        Equilibrium, "molality", property(lambda self: 1.001 * _exp(self.ln_molality))
    )
    by_key = {one.key: one for one in INVARIANTS}
    assert by_key["mass_balance"].deviation() > by_key["mass_balance"].tolerance


def _exp(values: object) -> object:
    import numpy as np

    return np.exp(values)


# Odds of one solution


def odds_of(totals: dict[str, float], ph: float | None = None, **more: object) -> SolutionOdds:
    return solution_odds(Recipe("test", 25.0, ph, totals, **more), count=64)  # type: ignore[arg-type]


def test_odds_rise_with_time_and_name_what_comes_out() -> None:
    """Calcium with sulfate at 0.1 mol/kg each is gypsum within the hour; with nitrate nothing."""
    salt = odds_of({"Ca": 0.1, "NO3": 0.2, "K": 0.2, "SO4": 0.1})
    assert salt.probability is not None and salt.clogs is not None
    chances = list(salt.probability.values())
    assert list(salt.probability) == ["1min", "15min", "1h", "4h", "24h", "7d", "30d"]
    assert chances == sorted(chances) and chances[-1] > 0.99
    assert all(salt.clogs[t] <= p for t, p in salt.probability.items())
    assert salt.solids[0].key == "gypsum"
    clear = odds_of({"Ca": 0.1, "NO3": 0.2})
    assert clear.probability is not None and max(clear.probability.values()) == 0.0


def test_a_given_ph_is_closed_by_sodium_or_chloride_and_said() -> None:
    for ph, ion in ((7.5, "Na"), (3.0, "Cl")):
        result = odds_of({"K": 0.02, "PO4": 0.02}, ph)
        assert result.closed_by is not None and result.closed_by[0] == ion
        assert result.ph == pytest.approx(ph, abs=0.01)
        assert any(f"of {ion} closes it" in n for n in result.notes)
        plain = equilibrate(Recipe("test", 25.0, ph, {"K": 0.02, "PO4": 0.02}))
        assert result.closed_by[1] == pytest.approx(abs(plain.charge_mol_per_kg), rel=0.02)


def test_what_a_file_says_is_held_stays_out_of_reach_for_a_day(tmp_path: Path) -> None:
    text = "ph = 8.5\n[totals]\nFe3 = 0.001\nEDTA = 0.001\nCO3 = 0.01\nCa = 0.001\n"
    free = read_recipe(written(tmp_path, text))
    bound = read_recipe(written(tmp_path, text + "[held.Fe3]\nEDTA = 0.001\n"))
    assert bound.held == {("Fe3", "EDTA"): 0.001}
    rust = {n: equilibrate(r).si.get("ferrihydrite", -99.0) for n, r in (("f", free), ("b", bound))}
    assert rust["f"] > rust["b"] + 3.0
    by = {s.key: s.probability for s in solution_odds(bound, count=64).solids}
    assert by["ferrihydrite"]["4h"] == 0.0
    # PHREEQC is given what is held as an element of its own, at once and settled.
    for settles in (False, True):
        checked = referee_solution(equilibrate(bound, let_settle=settles))
        assert checked.rows == 1 and checked.failed == 0
        assert checked.ph < 1e-4 and checked.si < 1e-4
    with pytest.raises(InputProblem, match=r"(?s)held.*the totals give 0.001"):
        read_recipe(written(tmp_path, text + "[held.Fe3]\nEDTA = 0.002\n"))


def test_species_of_one_component_may_stand_in_the_totals_in_their_own_spelling(
    tmp_path: Path,
) -> None:
    text = '[totals]\n"Na+" = 0.075\n"HCO3-" = 0.025\n"CO3-2" = 0.025\n'
    recipe = read_recipe(written(tmp_path, text))
    assert recipe.totals == {"Na": 0.075, "CO3": 0.05}
    assert equilibrate(recipe).ph == pytest.approx(10.01, abs=0.02)  # Staples and Bates 1969
    assert {"HCO3-", "CO3-2"} <= {s.key for s in equilibrate(recipe).species}


def test_beyond_the_model_no_odds_are_given_and_near_it_clear_is_never_sure() -> None:
    strong = odds_of({"Na": 6.0, "NO3": 6.0})
    assert strong.probability is not None and min(strong.probability.values()) >= 0.1
    assert odds_of({"Ca": 5.0, "NO3": 10.0}).probability is None


def test_gels_and_sulfur_count_into_the_odds() -> None:
    """Neutral silica sets, alkaline water glass keeps (Iler 1979: value from memory); thiosulfate
    in acid turns opaque in a minute, a fixing bath's sulfite keeps it clear (common practice, no
    source)."""

    def of(totals: dict[str, float], ph: float | None, t: str) -> float:
        found = odds_of(totals, ph).probability
        assert found is not None
        return found[t]

    assert of({"Si": 0.5, "Na": 0.3, "Cl": 0.29}, 7.0, "4h") > 0.9
    assert of({"Si": 0.3, "K": 0.18}, None, "7d") < 0.1
    assert of({"S2O3": 0.136, "Na": 0.272, "Cl": 0.182}, None, "15min") > 0.9
    bath = {"S2O3": 1.0, "Na": 2.06, "acetate": 0.235}
    assert of(bath, 3.0, "24h") > 0.9
    assert of(bath | {"SO3": 0.12}, 3.0, "24h") < 0.1
    gel = next(s for s in odds_of({"Si": 0.5, "Na": 0.3}, 7.0).solids if s.kinetics == "colloid")
    assert gel.si is None and gel.key.startswith("silicate")


def test_odds_stand_in_the_json_and_on_the_sheet() -> None:
    file = str(SOLUTIONS / "stock-solution.toml")
    told = json.loads(command("solution", file, "--odds", "--draws", "64", "--json").stdout)
    assert set(told["probability"]) == set(told["clogs"]) == set(TIMES_S)
    assert told["solids"][0]["key"] == "gypsum" and told["ph"] > 0.0
    sheet = command("solution", file, "--odds", "--draws", "64").stdout
    assert "ODDS IN A CLOSED JAR" in sheet and "gypsum" in sheet
