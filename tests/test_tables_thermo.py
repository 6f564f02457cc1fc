"""The thermodynamic tables: form, balance, sources, and trends that chemistry demands.

Checks marked with a publication are outside values; none of them is a fitted point.
"""

from __future__ import annotations

import csv
import itertools
import math
import re
from collections import Counter
from pathlib import Path

import periodictable
import pytest

from chem.forecast.crystals import soluble_salts
from chem.laboratory import Recipe
from chem.laboratory.odds import solution_odds
from chem.reference import catalogue, tables
from chem.reference.unlisted import not_judged, unlisted

DATA = Path(__file__).resolve().parents[1] / "data"
GAS_CONSTANT = 8.314462618  # J/(mol K), CODATA 2018
Row = dict[str, str]


def rows(name: str) -> list[Row]:
    with (DATA / name).open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


COMPONENTS = rows("components.csv")
SPECIES = rows("species.csv")
SOLIDS = rows("solids.csv")
INTERACTIONS = rows("interactions.csv")
RULES = rows("interaction_rules.csv")
CLOUDING = rows("clouding.csv")
PHYSICAL = rows("physical.csv")
REFERENCES = {r["key"]: r["citation"] for r in rows("references.csv")}
MASTER = {r["master"]: r for r in COMPONENTS}
BY_SPECIES = {r["species"]: r for r in SPECIES}
BY_SOLID = {r["solid"]: r for r in SOLIDS}
KINDS = {"measured", "estimate", "fitted", "analogue"}


def reaction(text: str) -> dict[str, float]:
    """Signed coefficients of `A + 2 B - H+`."""
    out: dict[str, float] = {}
    sign = 1.0
    for token in re.split(r"\s+([+-])\s+", text):
        if token in {"+", "-"}:
            sign = 1.0 if token == "+" else -1.0
            continue
        match = re.fullmatch(r"(?:(\d+\.?\d*)\s+)?(\S+)", token)
        assert match, (text, token)
        out[match[2]] = out.get(match[2], 0.0) + sign * float(match[1] or 1)
    return out


def charge_of(part: str) -> int:
    if part in {"H+", "H2O"}:
        return int(part == "H+")
    return int(MASTER[part]["charge"])


def atoms(parts: dict[str, float]) -> dict[str, float]:
    out: Counter[str] = Counter()
    for part, n in parts.items():
        formula = {"H+": "H", "H2O": "H2O"}.get(part) or MASTER[part]["formula"]
        for element, count in periodictable.formula(formula).atoms.items():
            out[str(element)] += n * count
    return {k: v for k, v in out.items() if abs(v) > 1e-9}


def log_k(row: Row, t_celsius: float) -> float:
    """log10 K at t with constant heat capacity."""
    t, t0 = t_celsius + 273.15, 298.15
    dh = 1000.0 * float(row["delta_h_kJ_per_mol"])
    cp = float(row["delta_cp_J_per_mol_K"])
    change = dh * (1 / t0 - 1 / t) + cp * (t0 / t - 1 + math.log(t / t0))
    return float(row["log_k"]) + change / (GAS_CONSTANT * math.log(10.0))


def step(above: str, below: str, t: float = 25.0) -> float:
    return log_k(BY_SPECIES[above], t) - log_k(BY_SPECIES[below], t)


# form ------------------------------------------------------------------------------------------


def test_every_constant_has_a_source_a_spread_and_a_range() -> None:
    for row in SPECIES + SOLIDS:
        name = row.get("species") or row["solid"]
        assert row["source"] in REFERENCES, name
        assert row["where"], name
        assert row["kind"] in KINDS, name
        # the ten stand-ins for what a label leaves out are fixed: their amounts are the doubt
        assert float(row["log_k_u"]) > 0.0 or re.fullmatch(r"HAcid\d+", name), name
        assert float(row["delta_h_u_kJ_per_mol"]) > 0.0, name
        low, high = float(row["t_min_C"]), float(row["t_max_C"])
        assert low <= 5.0 and 40.0 <= high <= 100.0, name


def test_an_unknown_enthalpy_is_said_and_wide() -> None:
    for row in SPECIES + SOLIDS:
        if "delta_h assumed 0" in row["note"]:
            assert float(row["delta_h_kJ_per_mol"]) == 0.0
            assert float(row["delta_h_u_kJ_per_mol"]) >= 20.0


def test_an_estimate_says_its_rule_and_is_wide() -> None:
    for row in SPECIES:
        if row["kind"] == "estimate" and row["source"] == "this_work":
            assert "rule:" in row["note"], row["species"]
            assert float(row["log_k_u"]) >= 0.5, row["species"]


def test_other_tables_have_sources_and_units() -> None:
    for row in INTERACTIONS + RULES + CLOUDING + PHYSICAL:
        assert row["source"] in REFERENCES, row
    for row in INTERACTIONS:
        assert row["kind"] in KINDS and row["where"], row
        assert float(row["eps_u_kg_per_mol"]) > 0.0, row
    for row in PHYSICAL:
        assert row["unit"] and row["where"] and math.isfinite(float(row["value"])), row
    for row in CLOUDING:
        assert row["kind"] in KINDS and row["note"], row
    for row in rows("judged.csv"):
        assert row["source"] in REFERENCES and row["unit"] and row["conditions"], row
    chances = [float(r["value"]) for r in rows("judged.csv") if r["group"] == "chelated_by"]
    assert math.isclose(sum(chances), 1.0)


def test_keys_are_unique() -> None:
    for table, column in (
        (COMPONENTS, "component"),
        (COMPONENTS, "master"),
        (SPECIES, "species"),
        (SOLIDS, "solid"),
        (PHYSICAL, "key"),
    ):
        count = Counter(r[column] for r in table)
        assert max(count.values()) == 1, count.most_common(3)
    assert not set(BY_SPECIES) & set(MASTER)
    formed = Counter(frozenset(reaction(r["reaction"]).items()) for r in SPECIES)
    twice = [set(k) for k, n in formed.items() if n > 1]
    assert not twice, twice
    pairs = Counter(frozenset((r["ion_i"], r["ion_j"])) for r in INTERACTIONS)
    assert max(pairs.values()) == 1, pairs.most_common(3)
    by_charge = Counter((r["cation_charge"], r["anion_charge"]) for r in RULES)
    assert max(by_charge.values()) == 1


def test_every_ion_of_an_interaction_exists() -> None:
    known = set(BY_SPECIES) | set(MASTER) | {"H+"}
    for row in INTERACTIONS:
        assert {row["ion_i"], row["ion_j"]} <= known, row


def test_no_weak_alkali_pair_beside_a_coefficient_that_holds_it() -> None:
    # Only ligands of charge -4 and -5 keep a sodium, potassium or ammonium complex.
    for row in SPECIES:
        parts = reaction(row["reaction"])
        if parts.keys() & {"Na+", "K+", "NH4+"} and "NH3" not in row["species"]:
            assert parts.keys() & {"Edta-4", "P2O7-4", "P3O10-5"}, row["species"]


def test_clouding_time_falls_with_supersaturation() -> None:
    curves: dict[str, list[tuple[float, float]]] = {}
    for row in CLOUDING:
        assert 2.0 <= float(row["factor"]) <= 10.0
        curves.setdefault(row["curve"], []).append(
            (float(row["si_per_two_ions"]), float(row["t_median_s"]))
        )
    for curve, points in curves.items():
        assert 3 <= len(points) <= 6, curve
        ordered = sorted(points)
        assert all(a[1] > b[1] > 0.0 for a, b in itertools.pairwise(ordered)), curve
    assert {r["curve"] for r in SOLIDS} <= curves.keys()


def test_every_solid_that_can_form_in_a_spray_day_decides() -> None:
    kinds = {r["shows_as"] for r in rows("limits.csv")}
    for row in SOLIDS:
        assert row["class"] in {"prompt", "slow", "dormant", "soluble"}
        assert tables().solids[row["solid"]].decides == (row["class"] in {"prompt", "slow"})
        assert row["shows_as"] in kinds and row["family"], row["solid"]
        doubtful = row["kind"] == "estimate" or "low confidence" in row["note"]
        if doubtful or "conflict" in row["note"]:
            # A doubtful constant decides by its spread: half a decade in a product, or more.
            assert float(row["log_k_u"]) >= 0.15, row["solid"]


def test_solids_of_a_family_hold_the_same_ions() -> None:
    families: dict[str, set[str]] = {}
    for row in SOLIDS:
        parts = {p for p in reaction(row["reaction"]) if p not in {"H+", "H2O"}}
        shared = families.setdefault(row["family"], parts)
        shared &= parts
    assert all(families.values())


def test_every_solid_has_a_name_of_its_own_in_plain_words() -> None:
    names = [r["name"] for r in SOLIDS]
    assert len(set(names)) == len(names)
    for name in names:
        assert re.fullmatch(r"[A-Za-z ]+( \([A-Za-z, -]+\))?", name) and len(name) <= 46, name
    for key, plain in (
        ("gypsum", "calcium sulfate"),
        ("calcite", "lime"),
        ("ferrihydrite", "rust"),
    ):
        assert BY_SOLID[key]["name"] == f"{plain} ({key})"


def test_a_fitted_row_says_what_it_was_fitted_to() -> None:
    for row in SPECIES + SOLIDS:
        if row["kind"] == "fitted":
            text = row["where"] + row["note"]
            assert re.search("fit|FIT|solubilit|saturated", text), row


# balance ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("row", SPECIES, ids=lambda r: str(r["species"]))
def test_species_balance_in_charge(row: Row) -> None:
    parts = reaction(row["reaction"])
    total = sum(charge_of(p) * n for p, n in parts.items())
    assert total == int(row["charge"])
    match = re.search(r"([+-])(\d*)$", row["species"])
    written = 0 if not match else int(match[1] + (match[2] or "1"))
    assert written == total
    assert min(atoms(parts).values()) > 0.0


def test_species_written_as_plain_formulas_balance_in_elements() -> None:
    organic = re.compile(
        "Citrate|Edta|Dtpa|Hedta|Eddha|Gluconate|Glycinate|Oxalate|Tartrate|Formate|Acetate"
        "|Phthalate|Acid"
    )
    checked = 0
    for row in SPECIES:
        if organic.search(row["species"]):
            continue
        formula = re.sub(r"[+-]\d*$", "", row["species"])
        written = {str(e): n for e, n in periodictable.formula(formula).atoms.items()}
        made = atoms(reaction(row["reaction"]))
        # a group that keeps its water is written without it: compare all but H and O there
        for element in (written.keys() | made.keys()) - {"H", "O"}:
            assert made.get(element, 0.0) == pytest.approx(written.get(element, 0.0)), row
        surplus_h = made.get("H", 0.0) - written.get("H", 0.0)
        surplus_o = made.get("O", 0.0) - written.get("O", 0.0)
        assert surplus_h == pytest.approx(2.0 * surplus_o), row["species"]
        assert surplus_o == pytest.approx(0.0), row["species"]
        checked += 1
    assert checked > 100


@pytest.mark.parametrize("row", SOLIDS, ids=lambda r: str(r["solid"]))
def test_solids_balance_in_charge_and_elements(row: Row) -> None:
    parts = reaction(row["reaction"])
    assert sum(charge_of(p) * n for p, n in parts.items()) == 0
    written = {str(e): n for e, n in periodictable.formula(row["formula"]).atoms.items()}
    assert atoms(parts) == pytest.approx(written)


def test_component_charges_are_written_in_their_masters() -> None:
    for row in COMPONENTS:
        match = re.search(r"([+-])(\d*)$", row["master"])
        written = 0 if not match else int(match[1] + (match[2] or "1"))
        assert written == int(row["charge"]), row


# outside values --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("t", "pkw"), [(5.0, 14.734), (15.0, 14.346), (25.0, 13.995), (35.0, 13.680)]
)
def test_ion_product_of_water(t: float, pkw: float) -> None:
    # Harned and Owen, The Physical Chemistry of Electrolytic Solutions, 3rd ed. 1958, table
    # 15-2-1 (value from memory).
    assert -log_k(BY_SPECIES["OH-"], t) == pytest.approx(pkw, abs=0.015)


@pytest.mark.parametrize(
    ("t", "pk1", "pk2", "calcite"),
    [
        (5.0, 6.516, 10.554, -8.394),
        (15.0, 6.419, 10.428, -8.430),
        (25.0, 6.352, 10.329, -8.480),
        (35.0, 6.310, 10.252, -8.543),
    ],
)
def test_carbonate_against_temperature(t: float, pk1: float, pk2: float, calcite: float) -> None:
    # Plummer and Busenberg 1982, Geochim. Cosmochim. Acta 46, 1011: published equations. Our log K2
    # is that of Harvie, Moller and Weare 1984, 0.010 more; what calcite dissolves to under a
    # pressure of CO2 goes with the product of the two, which must be theirs.
    second = log_k(BY_SPECIES["HCO3-"], t)
    calcium = log_k(BY_SOLID["calcite"], t)
    assert step("CO2", "HCO3-", t) == pytest.approx(pk1, abs=0.01)
    assert second == pytest.approx(pk2 + 0.010, abs=0.003)
    assert calcium + second == pytest.approx(calcite + pk2, abs=0.003)


@pytest.mark.parametrize(("t", "pksp"), [(10.0, 6.263), (25.0, 6.401), (40.0, 6.588)])
def test_amorphous_lime_against_temperature(t: float, pksp: float) -> None:
    # Brecevic and Nielsen 1989, J. Cryst. Growth 98, 504, 10 to 55 C:
    # pKsp = 6.1987 + 0.0053369 t + 0.0001096 t^2 (value from memory).
    assert -log_k(BY_SOLID["amorphous_calcium_carbonate"], t) == pytest.approx(pksp, abs=0.01)


@pytest.mark.parametrize("t", [5.0, 15.0, 25.0, 35.0])
def test_second_step_of_phosphoric_acid(t: float) -> None:
    # Bates and Acree 1945, J. Res. Natl. Bur. Stand. 34, 373 (value from memory):
    # pK2 = 1979.5/T - 5.3541 + 0.01984 T.
    kelvin = t + 273.15
    published = 1979.5 / kelvin - 5.3541 + 0.01984 * kelvin
    assert step("H2PO4-", "HPO4-2", t) == pytest.approx(published, abs=0.02)


@pytest.mark.parametrize(("t", "pk"), [(5.0, 9.904), (15.0, 9.564), (25.0, 9.245), (35.0, 8.947)])
def test_ammonium(t: float, pk: float) -> None:
    # Bates and Pinching 1949, J. Res. Natl. Bur. Stand. 42, 419 (value from memory).
    assert -log_k(BY_SPECIES["NH3"], t) == pytest.approx(pk, abs=0.015)


@pytest.mark.parametrize(("t", "pksp"), [(5.0, 35.93), (15.0, 35.82), (25.0, 35.77), (35.0, 35.76)])
def test_vivianite_follows_its_published_temperature_function(t: float, pksp: float) -> None:
    # Al-Borno and Tomson 1994, Geochim. Cosmochim. Acta 58, 5373. The constant at 25 C is
    # Nriagu's -36.0, so only the change with temperature and one spread are compared.
    ours = -log_k(BY_SOLID["vivianite"], t)
    assert ours == pytest.approx(pksp, abs=0.3)
    change = ours + log_k(BY_SOLID["vivianite"], 25.0)
    assert change == pytest.approx(pksp - 35.77, abs=0.03)


@pytest.mark.parametrize(("t", "ksp"), [(25.0, 2.49e-7), (37.5, 2.19e-7)])
def test_brushite(t: float, ksp: float) -> None:
    # Patel, Gregory and Brown 1974, J. Res. Natl. Bur. Stand. 78A, 675 (25 C); Moreno, Gregory
    # and Brown 1966, J. Res. Natl. Bur. Stand. 70A, 545 (37.5 C): product of a(Ca) a(HPO4).
    ours = log_k(BY_SOLID["brushite"], t) + log_k(BY_SPECIES["HPO4-2"], t)
    assert ours == pytest.approx(math.log10(ksp), abs=0.06)


@pytest.mark.parametrize(
    ("species", "at_i_01", "dz2"),
    [
        ("CaEdta-2", 10.6, -16),
        ("MgEdta-2", 8.7, -16),
        ("MnEdta-2", 13.8, -16),
        ("ZnEdta-2", 16.5, -16),
        ("CuEdta-2", 18.8, -16),
        ("FeEdta-", 25.0, -24),
    ],
)
def test_edta_against_constants_at_another_ionic_strength(
    species: str, at_i_01: float, dz2: int
) -> None:
    # Martell and Smith, NIST Standard Reference Database 46, I = 0.1 mol/L, 25 C; brought to
    # I = 0 by the Debye-Hueckel term of SIT (0.1092 per unit of delta z^2).
    zero = at_i_01 - dz2 * 0.1092
    assert float(BY_SPECIES[species]["log_k"]) == pytest.approx(zero, abs=0.5)


def test_two_products_of_fresh_ferric_phosphate_agree_once_at_one_ionic_strength() -> None:
    # IUPAC SC-Database: -25.7 at I = 0 and -21.9 in a salt medium; SIT's Debye-Hueckel term at
    # 0.5-1 mol/kg over delta z^2 = 18 stands between them.
    row = BY_SOLID["ferric_phosphate"]
    for strength in (0.5, 1.0):
        shift = 18 * 0.509 * math.sqrt(strength) / (1.0 + 1.5 * math.sqrt(strength))
        assert -21.9 - shift == pytest.approx(-25.7, abs=float(row["log_k_u"]))
    assert float(row["log_k"]) == pytest.approx(-25.7, abs=0.4)


def test_newberyite_lies_between_its_published_products() -> None:
    # to HPO4-2: -5.83 (solubility, 25 C), -5.94 (37 C, Bull. Soc. Chim. Belg. 99 (1990) 543),
    # -5.58 +- 0.23 (PSI TDB 2020)
    product = log_k(BY_SOLID["newberyite"], 25.0) + log_k(BY_SPECIES["HPO4-2"], 25.0)
    assert product == pytest.approx(-5.83, abs=0.05)
    warm = log_k(BY_SOLID["newberyite"], 37.0) + log_k(BY_SPECIES["HPO4-2"], 37.0)
    assert warm == pytest.approx(-5.94, abs=0.15)


# trends ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("ligand", ["Edta", "Dtpa", "Hedta", "Glycinate", "Acetate"])
def test_irving_williams_order(ligand: str) -> None:
    # Irving and Williams 1953, J. Chem. Soc., 3192: Mn < Fe < ... < Cu > Zn.
    found = {}
    for row in SPECIES:
        parts = reaction(row["reaction"])
        if len(parts) == 2 and set(parts.values()) == {1.0}:
            metal, other = sorted(parts, key=lambda p: p.startswith(ligand))
            if other.startswith(ligand) and int(MASTER.get(metal, {"charge": "0"})["charge"]) == 2:
                found[metal] = float(row["log_k"])
    assert found["Mn+2"] <= found["Fe+2"] < found["Cu+2"]
    assert found["Zn+2"] < found["Cu+2"]
    assert found["Ca+2"] < found["Zn+2"] and found["Mg+2"] < found["Zn+2"]


def test_ferric_chelates_are_far_stronger_than_ferrous() -> None:
    for three, two in (
        ("FeEdta-", "FeEdta-2"),
        ("FeDtpa-2", "FeDtpa-3"),
        ("FeHedta", "FeHedta-"),
        ("FeEddha-", "FeEddha-2"),
        ("FeCitrate", "FeCitrate-"),
    ):
        assert float(BY_SPECIES[three]["log_k"]) > float(BY_SPECIES[two]["log_k"]) + 5.0


def test_ferric_chelates_strengthen_from_hedta_to_eddha() -> None:
    order = ["FeHedta", "FeEdta-", "FeDtpa-2", "FeEddha-"]
    values = [float(BY_SPECIES[s]["log_k"]) for s in order]
    assert values == sorted(values)


def test_steps_weaken_as_protons_are_added() -> None:
    for chain in (
        ["HPO4-2", "H2PO4-", "H3PO4"],
        ["HCitrate-2", "H2Citrate-", "H3Citrate"],
        ["HEdta-3", "H2Edta-2", "H3Edta-", "H4Edta"],
        ["HDtpa-4", "H2Dtpa-3", "H3Dtpa-2", "H4Dtpa-", "H5Dtpa"],
        ["HEddha-3", "H2Eddha-2", "H3Eddha-", "H4Eddha"],
        ["HP2O7-3", "H2P2O7-2", "H3P2O7-", "H4P2O7"],
        ["HP3O10-4", "H2P3O10-3", "H3P3O10-2", "H4P3O10-"],
    ):
        values = [0.0] + [float(BY_SPECIES[s]["log_k"]) for s in chain]
        steps = [b - a for a, b in itertools.pairwise(values)]
        assert steps == sorted(steps, reverse=True), chain


def test_gypsum_solubility_product_passes_a_maximum_near_room_temperature() -> None:
    values = {t: log_k(BY_SOLID["gypsum"], t) for t in (0.0, 10.0, 20.0, 30.0, 40.0, 50.0)}
    assert max(values, key=lambda t: values[t]) in {20.0, 30.0}
    assert values[0.0] < values[10.0] < values[20.0]
    assert values[50.0] < values[40.0] < values[30.0]


def test_less_stable_forms_dissolve_more() -> None:
    for stable, fresh in (
        ("calcite", "vaterite"),
        ("vaterite", "amorphous_calcium_carbonate"),
        ("monetite", "brushite"),
        ("tricalcium_phosphate_beta", "amorphous_calcium_phosphate"),
        ("goethite", "ferrihydrite"),
        ("strengite", "ferric_phosphate"),
        ("tenorite", "cu_hydroxide"),
        ("bobierrite", "cattiite"),
        ("newberyite", "phosphorrosslerite"),
    ):
        a, b = float(BY_SOLID[stable]["log_k"]), float(BY_SOLID[fresh]["log_k"])
        assert a < b, (stable, fresh)


def test_hydroxides_come_out_in_the_known_order() -> None:
    order = ["ferrihydrite", "cu_hydroxide", "zn_hydroxide", "fe_hydroxide", "mn_hydroxide"]
    order += ["brucite", "portlandite"]
    values = [float(BY_SOLID[s]["log_k"]) for s in order]
    assert values == sorted(values)


def test_retrograde_and_forward_solubility() -> None:
    for falls in ("calcite", "vaterite", "portlandite", "brucite", "calcium_citrate"):
        assert log_k(BY_SOLID[falls], 35.0) < log_k(BY_SOLID[falls], 10.0), falls
    for rises in (
        "potassium_nitrate",
        "potassium_chloride",
        "potassium_dihydrogen_phosphate",
        "arcanite",
        "borax",
        "boric_acid",
        "struvite",
        "calcium_oxalate",
        "potassium_hydrogen_tartrate",
    ):
        assert log_k(BY_SOLID[rises], 35.0) > log_k(BY_SOLID[rises], 10.0), rises


def test_very_soluble_salts_are_left_to_solubility_tables() -> None:
    for key in ("potassium_nitrate", "potassium_chloride", "boric_acid", "epsomite", "mascagnite"):
        assert BY_SOLID[key]["class"] == "soluble"


# pairs without a solid -------------------------------------------------------------------------


def _listed() -> set[tuple[str, str]]:
    """(cation, anion) components that some solid or soluble salt holds both of."""
    table = tables()
    component = {c.master: c.key for c in table.components.values()}
    for species in table.species:
        own = [m for m in species.reaction if m in component]
        if len(own) == 1:
            component[species.key] = component[own[0]]
    reactions = [s.reaction for s in table.solids.values()]
    reactions += [s.reaction for s in soluble_salts().values()]
    made = [{component[m] for m in r if m in component} for r in reactions]
    return {(a, b) for held in made for a in held for b in held}


def test_every_pair_of_ions_of_the_sources_has_a_solid_or_a_verdict() -> None:
    """A sweep over all that the source materials bring: no pair is silently without a solid."""
    charge = {c.key: c.charge for c in tables().components.values()}
    used = {c for s in catalogue().sources.values() for c in s.components if c in charge}
    cations = {c for c in used if charge[c] > 0}
    anions = {c for c in used if charge[c] < 0} | {"B", "Si"}
    solids = [row for row in unlisted() if row.verdict != "complex"]
    told = {(c, a) for row in solids for c in row.cations for a in row.anions}
    silent = {(c, a) for c in cations for a in anions} - _listed() - told
    assert not silent
    for row in unlisted():
        assert row.verdict in {"soluble", "colloid", "missing", "complex"} and row.what
        assert row.source in tables().references
        assert set(row.cations) <= cations | {"H"} and set(row.anions) <= anions | {"phthalate"}


def test_what_is_missing_is_named_where_its_ions_meet() -> None:
    met = not_judged({"Mn": 0.01, "HPO3": 0.02, "K": 0.03}, 6.0)
    assert met == ("phosphites of heavy metals (manganese(II) with phosphite (phosphonate))",)
    assert not not_judged({"Mn": 0.01, "HPO3": 0.02, "K": 0.03}, 2.0)
    assert not not_judged({"Mn": 1e-5, "HPO3": 0.02, "K": 0.03}, 6.0)
    assert not not_judged({"Ca": 0.01, "NO3": 0.02}, 6.0)
    lye = {"Zn": 0.01, "gluconate": 0.04, "SO4": 0.01}
    assert not_judged(lye, 12.0, "complex") and not not_judged(lye, 6.0, "complex")
    odds = solution_odds(Recipe("lye", 20.0, 10.0, lye), count=16)
    assert odds.probability is not None and odds.probability["1h"] == 0.9
    assert any("surer" in note for note in odds.notes)
