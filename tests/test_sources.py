"""The source materials and the guarantee lines: elements, charges and names add up."""

from __future__ import annotations

import csv
import tomllib
from collections import Counter
from itertools import pairwise
from pathlib import Path
from typing import Any

import periodictable
import pytest

DATA = Path(__file__).resolve().parent.parent / "data"
with (DATA / "sources.toml").open("rb") as _handle:
    FILE: dict[str, Any] = tomllib.load(_handle)
with (DATA / "guarantees.toml").open("rb") as _handle:
    GUARANTEES: dict[str, Any] = tomllib.load(_handle)
SOURCES: dict[str, Any] = {k: v for k, v in FILE.items() if not k.startswith("_")}
INERT: dict[str, Any] = FILE["_inert"]
with (DATA / "vague_sources.csv").open(encoding="utf-8", newline="") as _rows:
    VAGUE = list(csv.DictReader(_rows))

# Formula and charge of the form in which each component is counted: plain chemistry, written
# here a second time so that a slip in the tables shows.
COMPONENTS: dict[str, tuple[str, int]] = {
    "Ca": ("Ca", 2),
    "Mg": ("Mg", 2),
    "K": ("K", 1),
    "Na": ("Na", 1),
    "NH4": ("NH4", 1),
    "Fe2": ("Fe", 2),
    "Fe3": ("Fe", 3),
    "Mn": ("Mn", 2),
    "Zn": ("Zn", 2),
    "Cu": ("Cu", 2),
    "B": ("B(OH)3", 0),
    "Mo": ("MoO4", -2),
    "Si": ("Si(OH)4", 0),
    "Cl": ("Cl", -1),
    "NO3": ("NO3", -1),
    "SO4": ("SO4", -2),
    "CO3": ("CO3", -2),
    "PO4": ("PO4", -3),
    "P2O7": ("P2O7", -4),
    "P3O10": ("P3O10", -5),
    "HPO3": ("HPO3", -2),
    "S2O3": ("S2O3", -2),
    "SO3": ("SO3", -2),
    "acetate": ("C2H3O2", -1),
    "citrate": ("C6H5O7", -3),
    "EDTA": ("C10H12N2O8", -4),
    "DTPA": ("C14H18N3O10", -5),
    "HEDTA": ("C10H15N2O7", -3),
    "EDDHA": ("C18H16N2O6", -4),
    "gluconate": ("C6H11O7", -1),
    "glycine": ("C2H4NO2", -1),
    "oxalate": ("C2O4", -2),
    "tartrate": ("C4H4O6", -2),
    "formate": ("CHO2", -1),
    "urea": ("CH4N2O", 0),
    "phthalate": ("C8H4O4", -2),
}
HAZARDS = {
    "strong acid",
    "strong base",
    "acid",
    "carbonate",
    "hypochlorite",
    "sulfide",
    "thiosulfate",
    "sulfite",
    "ammonium",
    "nitrate",
    "silicate",
    "urea",
}
HAZARD_OF_COMPONENT = {
    "CO3": "carbonate",
    "NH4": "ammonium",
    "NO3": "nitrate",
    "S2O3": "thiosulfate",
    "SO3": "sulfite",
    "Si": "silicate",
    "urea": "urea",
}
KINDS = {"salt", "acid", "base", "chelate", "organic", "polymer", "mixture"}
NOT_SOLD = {
    "potassium hydrogen phthalate", "ammonium bisulfite", "sodium metabisulfite",
    "potassium sulfite",
}  # fmt: skip
NOT_ASKED = {"total nitrogen", "water insoluble nitrogen"}


def _part(component: str) -> tuple[str, int]:
    if component in INERT:
        return INERT[component]["formula"], INERT[component]["charge"]
    return COMPONENTS[component]


def _atoms(formula: str) -> Counter[str]:
    atoms: Counter[str] = Counter()
    for element, count in periodictable.formula(formula).atoms.items():
        atoms[str(element)] += count
    return atoms


def _sum_of_parts(source: dict[str, Any]) -> tuple[dict[str, float], float]:
    """Elements and charge of everything a formula unit holds, before H+ and water."""
    parts = [(*_part(c), n) for c, n in source["components"].items()]
    if "unmodelled" in source:
        rest = source["unmodelled"]
        parts.append((rest["formula"], rest["charge"], rest["moles"]))
    elements: dict[str, float] = {}
    charge = 0.0
    for formula, z, n in parts:
        charge += z * n
        for element, count in _atoms(formula).items():
            elements[element] = elements.get(element, 0.0) + n * count
    return elements, charge


@pytest.mark.parametrize("name", SOURCES)
def test_elements_and_charge_add_up(name: str) -> None:
    """Formula = components + H+ for neutrality + water, element by element, so masses are exact."""
    source = SOURCES[name]
    left = dict(_atoms(source["formula"]))
    right, charge = _sum_of_parts(source)
    right["H"] = right.get("H", 0.0) - charge  # n(H+) = -sum(z n)
    off = {e: left.get(e, 0.0) - right.get(e, 0.0) for e in {*left, *right}}
    water = off.pop("O", 0.0)
    assert off.pop("H", 0.0) == pytest.approx(2.0 * water, abs=1e-9)
    assert all(abs(x) < 1e-9 for x in off.values()), off
    if all(float(n).is_integer() for n in source["components"].values()) and set(
        source["components"]
    ).isdisjoint(INERT):
        assert water == pytest.approx(round(water), abs=1e-9)


@pytest.mark.parametrize("name", SOURCES)
def test_hydrate_water_is_that_of_the_formula(name: str) -> None:
    _, _, tail = SOURCES[name]["formula"].rpartition("+")
    written = 0.0
    if tail.endswith("H2O") and "+" in SOURCES[name]["formula"]:
        written = float(tail.removesuffix("H2O") or 1)
    assert SOURCES[name]["hydrate_water"] == written


@pytest.mark.parametrize("name", SOURCES)
def test_every_field_is_one_of_those_known(name: str) -> None:
    source = SOURCES[name]
    needed = {
        "formula",
        "components",
        "hydrate_water",
        "aliases",
        "supplies",
        "kind",
        "hazard",
        "bound",
        "source",
        "note",
    }
    assert needed <= set(source) <= needed | {"mixture_of", "parts", "unmodelled"}
    assert source["kind"] in KINDS
    assert set(source["hazard"]) <= HAZARDS
    assert source["source"]
    assert all(n > 0 for n in source["components"].values())
    for component, hazard in HAZARD_OF_COMPONENT.items():
        assert (component in source["components"]) <= (hazard in source["hazard"])


@pytest.mark.parametrize("name", SOURCES)
def test_supplied_lines_are_those_its_components_count_for(name: str) -> None:
    source = SOURCES[name]
    expected = {
        line
        for line, g in GUARANTEES.items()
        if "same_as" not in g
        and line not in NOT_ASKED
        and set(g["counts"]) & set(source["components"])
    }
    assert set(source["supplies"]) == expected


@pytest.mark.parametrize("name", [k for k, v in SOURCES.items() if v["kind"] == "chelate"])
def test_a_chelate_holds_its_metal_with_enough_agent(name: str) -> None:
    source = SOURCES[name]
    metal, agent = source["bound"]["metal"], source["bound"]["agent"]
    assert source["components"][agent] >= source["components"][metal] > 0


@pytest.mark.parametrize("name", [k for k, v in SOURCES.items() if v.get("mixture_of")])
def test_a_mixture_is_made_of_sources_that_can_make_it(name: str) -> None:
    parts = [SOURCES[p] for p in SOURCES[name]["mixture_of"]]
    held = {c for p in parts for c in p["components"]}
    assert held == set(SOURCES[name]["components"])


@pytest.mark.parametrize("name", [k for k, v in SOURCES.items() if "parts" in v])
def test_phosphorus_shares_agree_with_the_components(name: str) -> None:
    source = SOURCES[name]
    atoms = {"PO4": 1, "P2O7": 2, "P3O10": 3}
    assert sum(source["parts"].values()) == pytest.approx(1.0)
    for component, share in source["parts"].items():
        assert atoms[component] * source["components"][component] == pytest.approx(share)


def test_names_are_used_once() -> None:
    names = Counter(k.lower() for k in [*SOURCES, *{r["name"] for r in VAGUE}])
    names.update(a for s in SOURCES.values() for a in s["aliases"])
    assert [n for n, count in names.items() if count > 1] == []
    assert all(a == a.lower() and "," not in a for s in SOURCES.values() for a in s["aliases"])


def test_vague_names_mean_sources_with_odds() -> None:
    chances: dict[str, float] = {}
    for row in VAGUE:
        assert set(row["sources"].split(" + ")) <= set(SOURCES), row
        chances[row["name"]] = chances.get(row["name"], 0.0) + float(row["chance"])
    assert all(total == pytest.approx(1.0) for total in chances.values()), chances


def test_every_source_has_a_ph_as_sold_within_its_range() -> None:
    with (DATA / "ph_as_sold.csv").open(encoding="utf-8", newline="") as handle:
        rows = list(csv.DictReader(handle))
    weights: dict[tuple[str, str], float] = {}
    for row in rows:
        assert 0.0 < float(row["ph_low"]) < float(row["ph_high"]) < 14.0
        assert row["note"] and row["source_key"]
        beside = set(filter(None, row["beside"].replace(" & ", "|").split("|")))
        assert beside | set(row["sources"].split("|")) <= set(SOURCES), row["family"]
        for source in row["sources"].split("|") if not beside else ():
            branch = (source, row["when"])
            weights[branch] = weights.get(branch, 0.0) + float(row["weight"])
    assert all(w == pytest.approx(1.0) for w in weights.values()), weights
    for source in {s for s, when in weights if when}:
        parts = [when.split() for s, when in weights if s == source]
        assert len({p[0] for p in parts}) == 1, source
        ends = sorted((float(p[1]), float(p[2])) for p in parts)
        assert ends[0][0] == 0.0 and ends[-1][1] >= 20.0, source
        assert all(a[1] == b[0] for a, b in pairwise(ends)), source
    without = {k for k, v in SOURCES.items() if not set(v["hazard"]) & {"hypochlorite", "sulfide"}}
    assert without - {s for s, _ in weights} <= NOT_SOLD


def test_there_are_enough_sources_for_the_trade() -> None:
    assert len(SOURCES) >= 75
    for name in ("calcium chloride", "magnesium sulfate heptahydrate", "zinc sulfate monohydrate"):
        assert name in SOURCES


def _percent(source: str, line: str) -> float:
    """What the pure compound would guarantee, percent by mass."""
    g = GUARANTEES[line]
    moles = sum(SOURCES[source]["components"].get(c, 0) * n for c, n in g["counts"].items())
    expressed = periodictable.formula(g["expressed_as"])
    per_mole = expressed.mass / _atoms(g["expressed_as"])[g["element"]]
    return float(100.0 * moles * per_mole / periodictable.formula(SOURCES[source]["formula"]).mass)


@pytest.mark.parametrize(
    ("source", "line", "percent", "within"),
    [
        # Auburn University / Alabama Extension ANR-174, analyses of fertilizer materials:
        # urea 46-0-0, potassium nitrate 13-0-44, ammonium sulfate 21-0-0, ammonium nitrate 34-0-0
        ("urea", "total nitrogen", 46.0, 0.7),
        ("potassium nitrate", "nitrate nitrogen", 13.0, 0.9),
        ("potassium nitrate", "soluble potash", 44.0, 2.6),
        ("ammonium sulfate", "ammoniacal nitrogen", 21.0, 0.3),
        ("ammonium nitrate", "total nitrogen", 34.0, 1.1),
        # the same source for the granular calcium nitrate, 15.5 % N
        ("ammonium calcium nitrate double salt", "total nitrogen", 15.5, 0.1),
        # University of Arizona turf tips, March 1998: ferrous ammonium sulfate 7-0-0, 14 % Fe
        ("ferrous ammonium sulfate", "iron", 14.0, 0.3),
        ("ferrous ammonium sulfate", "ammoniacal nitrogen", 7.0, 0.2),
        # common grades, value from memory: MKP 0-52-34, Epsom salt 9.8 % Mg and 13 % S
        ("monopotassium phosphate", "available phosphate", 52.0, 0.3),
        ("monopotassium phosphate", "soluble potash", 34.0, 0.8),
        ("magnesium sulfate heptahydrate", "magnesium", 9.8, 0.1),
        ("magnesium sulfate heptahydrate", "sulfur", 13.0, 0.1),
        ("sodium tetraborate decahydrate", "boron", 11.3, 0.1),
        ("iron EDTA trihydrate", "iron", 13.2, 0.1),
    ],
)
def test_pure_compounds_give_the_grades_the_trade_prints(
    source: str, line: str, percent: float, within: float
) -> None:
    assert _percent(source, line) == pytest.approx(percent, abs=within)


@pytest.mark.parametrize("line", GUARANTEES)
def test_guarantee_lines_count_their_element(line: str) -> None:
    g = GUARANTEES[line]
    assert _atoms(g["expressed_as"])[g["element"]] > 0
    for component, count in g["counts"].items():
        if component in {"humate", "alginate"}:
            continue
        assert _atoms(_part(component)[0])[g["element"]] == pytest.approx(count)
    if "same_as" in g:
        assert g["counts"] == GUARANTEES[g["same_as"]]["counts"]


def test_guarantee_names_are_used_once() -> None:
    names = Counter(k.lower() for k in GUARANTEES)
    names.update(a for g in GUARANTEES.values() for a in g["aliases"])
    assert [n for n, count in names.items() if count > 1] == []


def test_forms_of_nitrogen_sum_to_the_total() -> None:
    forms = ("nitrate", "ammoniacal", "urea", "other water soluble")
    summed: Counter[str] = Counter()
    for form in forms:
        summed.update(GUARANTEES[f"{form} nitrogen"]["counts"])
    assert summed == GUARANTEES["total nitrogen"]["counts"]


def _allowance(line: str, guarantee: float) -> float:
    a = GUARANTEES[line]["allowance"]
    return float(min(a["unit"] + a["percent"] * guarantee / 100.0, a["at_most"]))


@pytest.mark.parametrize(
    ("line", "guarantee", "allowed"),
    [
        # N.H. Admin. Code Agr 1105.04: 0.2 unit + 5 %, 0.005 unit + 10 %, 0.003 unit + 15 %,
        # never more than one unit
        ("calcium", 6.0, 0.5),
        ("iron", 5.0, 0.505),
        ("boron", 0.02, 0.006),
        ("calcium", 20.0, 1.0),
    ],
)
def test_allowances_as_published(line: str, guarantee: float, allowed: float) -> None:
    assert _allowance(line, guarantee) == pytest.approx(allowed, abs=1e-9)


@pytest.mark.parametrize("line", [k for k, v in GUARANTEES.items() if "allowance_table" in v])
def test_the_straight_line_follows_the_table(line: str) -> None:
    """Within 0.06 of a percentage point, less than any label is rounded to."""
    for guarantee, allowed in GUARANTEES[line]["allowance_table"]:
        assert _allowance(line, guarantee) == pytest.approx(allowed, abs=0.06)


def test_components_are_those_of_the_thermodynamic_tables() -> None:
    with (DATA / "components.csv").open(encoding="utf-8", newline="") as handle:
        rows = {r["component"]: r for r in csv.DictReader(handle)}
    used = {c for s in SOURCES.values() for c in s["components"]} - set(INERT)
    assert used <= set(rows)
    for component in used:
        formula, charge = COMPONENTS[component]
        assert int(rows[component]["charge"]) == charge, component
        assert _atoms(rows[component]["formula"]) == _atoms(formula), component


SHELF = {p.name: tomllib.loads(p.read_text()) for p in (DATA / "demo" / "products").glob("*.toml")}
WATERS = {p.name: tomllib.loads(p.read_text()) for p in (DATA / "demo" / "waters").glob("*.toml")}
MIXES = {
    p.name: tomllib.loads(p.read_text())
    for p in (DATA.parent / "examples").glob("*.toml")
    if "add" in tomllib.loads(p.read_text())
}
LABELLED = sorted(k for k, v in SHELF.items() if "guarantee" in v)
WATER_KG_PER_L = 0.9982  # at 20 degC, CRC Handbook of Chemistry and Physics


def _made_from(product: dict[str, Any]) -> tuple[dict[str, float], dict[str, float]]:
    """Moles of each source per kg that give the label best, and what that would then print."""
    from scipy.optimize import nnls

    names = [m for s in product["sources"] for m in SOURCES[s].get("mixture_of", [s])]
    rows, wanted = [], []
    for line, percent in product["guarantee"].items():
        mass = [periodictable.formula(SOURCES[n]["formula"]).mass for n in names]
        rows.append(
            [_percent(n, line) / 100 * m / 10 / percent for n, m in zip(names, mass, strict=True)]
        )
        wanted.append(1.0)
    for source, percent in product.get("also", {}).items():
        mass_of_it = periodictable.formula(SOURCES[source]["formula"]).mass
        rows.append([mass_of_it / 10 / percent if n == source else 0.0 for n in names])
        wanted.append(1.0)
    amounts, _ = nnls(rows, wanted)
    printed = {
        line: percent * sum(r * a for r, a in zip(rows[i], amounts, strict=True))
        for i, (line, percent) in enumerate(product["guarantee"].items())
    }
    return dict(zip(names, map(float, amounts), strict=True)), printed


@pytest.mark.parametrize("name", LABELLED)
def test_a_demo_product_can_exist(name: str) -> None:
    """Its sources supply every line, none goes unused, and they fit into the stated volume."""
    product = SHELF[name]
    moles, printed = _made_from(product)
    assert all(n > 0 for n in moles.values())
    for line, percent in product["guarantee"].items():
        assert printed[line] == pytest.approx(percent, abs=_allowance(line, percent))
    if product.get("form") == "dry":
        return
    number, unit = product["density"].split()
    density = float(number) * {"kg/L": 1.0, "lb/gal": 0.45359237 / 3.785411784}[unit]
    dry = sum(
        n
        * (
            periodictable.formula(SOURCES[s]["formula"]).mass
            - SOURCES[s]["hydrate_water"] * periodictable.formula("H2O").mass
        )
        / 1000
        for s, n in moles.items()
    )
    assert 0.0 < dry < 0.6
    volume_mL_per_g = (1 / density - (1 - dry) / WATER_KG_PER_L) / dry
    assert 0.2 < volume_mL_per_g < 0.8  # salts near 0.3, urea 0.74, value from memory


@pytest.mark.parametrize("name", sorted(SHELF))
def test_demo_products_say_that_they_are_invented(name: str) -> None:
    first = (DATA / "demo" / "products" / name).read_text().splitlines()[0]
    assert first.startswith("# Invented")
    assert SHELF[name]["name"].endswith(", invented")


@pytest.mark.parametrize("name", sorted(WATERS))
def test_demo_waters_are_neutral(name: str) -> None:
    """Cations and anions within 5 %, the usual limit of a water analysis."""
    water = WATERS[name]
    charge = {"Ca": 2, "Mg": 2, "Na": 1, "K": 1, "SO4": -2, "Cl": -1, "NO3": -1}
    number = float(water["alkalinity"].removesuffix(" mg/L as CaCO3"))
    meq = [-number / (periodictable.formula("CaCO3").mass / 2)]
    for ion, text in water["ions"].items():
        mass = periodictable.formula(ion).mass
        meq.append(charge[ion] * float(text.removesuffix(" mg/L")) / mass)
    assert abs(sum(meq)) / sum(abs(x) for x in meq) < 0.05


@pytest.mark.parametrize("name", sorted(MIXES))
def test_examples_name_what_stands_on_the_shelf(name: str) -> None:
    mix = MIXES[name]
    assert mix["water"] in WATERS
    assert {a["product"] for a in mix["add"]} <= set(SHELF)
