"""Liquids as makers sell them: what goes into the vat, what comes along unasked, the pH it gets.

Built from the trade's side and importing nothing of the program. Compounds are technical grades;
a maker weighs them over target, trims the pH into its own window with whatever stands beside the
vat (or leaves it as it comes), adds a preservative or a buffer, and names none of that. Amounts,
windows, chances: common practice, no source, unless a line says otherwise.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from world_chemistry import Lab

BUFFERS = {"citric acid", "phosphoric acid", "acetic acid", "triethanolamine"}
STRAYS = 0.12
"""Of the vats that come out far from their family's window, the share that is sold all the same."""
VOLUMES = {
    "urea": 0.74,
    "triazone": 0.72,
    "methylene diurea": 0.72,
    "ethanolamine": 0.98,
    "boric acid": 0.64,
    "citric acid": 0.62,
    "ammonium nitrate": 0.63,
    "ammonium sulfate": 0.53,
    "ammonium thiosulfate": 0.59,
    "ammonium chloride": 0.72,
    "monoammonium phosphate": 0.49,
    "diammonium phosphate": 0.5,
    "ammonium polyphosphate": 0.54,
    "phosphoric acid": 0.5,
    "phosphorous acid": 0.42,
    "urea phosphate": 0.6,
    "aqua ammonia": 1.4,
    "acetic acid": 0.87,
    "sulfuric acid": 0.43,
    "nitric acid": 0.52,
    "hydrochloric acid": 0.56,
    "potassium nitrate": 0.4,
    "potassium chloride": 0.41,
    "potassium sulfate": 0.23,
    "potassium carbonate": 0.3,
    "potassium bicarbonate": 0.33,
    "potassium hydroxide": 0.32,
    "potassium acetate": 0.57,
    "potassium formate": 0.52,
    "potassium thiosulfate": 0.36,
    "monopotassium phosphate": 0.34,
    "dipotassium phosphate": 0.28,
    "tetrapotassium pyrophosphate": 0.31,
    "potassium citrate": 0.43,
    "potassium silicate": 0.28,
    "calcium nitrate": 0.3,
    "calcium chloride": 0.28,
    "calcium acetate": 0.5,
    "calcium thiosulfate": 0.2,
    "magnesium nitrate": 0.31,
    "magnesium chloride": 0.27,
    "magnesium sulfate": 0.11,
    "ferrous sulfate": 0.11,
    "ferric sulfate": 0.2,
    "manganese sulfate": 0.12,
    "zinc sulfate": 0.08,
    "copper sulfate": 0.05,
    "zinc nitrate": 0.25,
    "manganese nitrate": 0.28,
    "sodium chloride": 0.36,
    "sodium hydroxide": 0.25,
    "sodium octaborate": 0.45,
    "sodium molybdate": 0.2,
}
"""Apparent L/kg of what is dissolved, water of crystals apart, from the densities of common
solutions (50 % potassium carbonate 1.54, 32 % calcium chloride 1.31, 60 % ammonium thiosulfate
1.32, ...: handbooks, values from memory); of chelates and others 0.5, of matter of life 0.6."""

# name: (formula, components per formula unit, water of crystallisation)
COMPOUNDS: Mapping[str, tuple[str, Mapping[str, float], float]] = {
    "urea": ("CH4N2O", {"urea": 1}, 0),
    "ammonium nitrate": ("NH4NO3", {"NH4": 1, "NO3": 1}, 0),
    "ammonium sulfate": ("N2H8SO4", {"NH4": 2, "SO4": 1}, 0),
    "ammonium thiosulfate": ("N2H8S2O3", {"NH4": 2, "S2O3": 1}, 0),
    "ammonium chloride": ("NH4Cl", {"NH4": 1, "Cl": 1}, 0),
    "aqua ammonia": ("NH3", {"NH4": 1}, 0),
    "triazone": ("C3H7N3O", {"slow": 3}, 0),
    "methylene diurea": ("C3H8N4O2", {"slow": 4}, 0),
    "monoammonium phosphate": ("NH4H2PO4", {"NH4": 1, "PO4": 1}, 0),
    "diammonium phosphate": ("N2H9PO4", {"NH4": 2, "PO4": 1}, 0),
    "ammonium polyphosphate": (
        "N3.6H15P2O7", {"NH4": 2.7, "PO4": 0.75, "P2O7": 0.42, "P3O10": 0.14}, 0,
    ),
    "phosphoric acid": ("H3PO4", {"PO4": 1}, 0),
    "phosphorous acid": ("H3PO3", {"HPO3": 1}, 0),
    "urea phosphate": ("CH7N2O5P", {"urea": 1, "PO4": 1}, 0),
    "potassium nitrate": ("KNO3", {"K": 1, "NO3": 1}, 0),
    "potassium chloride": ("KCl", {"K": 1, "Cl": 1}, 0),
    "potassium sulfate": ("K2SO4", {"K": 2, "SO4": 1}, 0),
    "potassium carbonate": ("K2CO3", {"K": 2, "CO3": 1}, 0),
    "potassium bicarbonate": ("KHCO3", {"K": 1, "CO3": 1}, 0),
    "potassium hydroxide": ("KOH", {"K": 1}, 0),
    "potassium acetate": ("KC2H3O2", {"K": 1, "acetate": 1}, 0),
    "potassium formate": ("KCHO2", {"K": 1, "formate": 1}, 0),
    "potassium thiosulfate": ("K2S2O3", {"K": 2, "S2O3": 1}, 0),
    "monopotassium phosphate": ("KH2PO4", {"K": 1, "PO4": 1}, 0),
    "dipotassium phosphate": ("K2HPO4", {"K": 2, "PO4": 1}, 0),
    "tetrapotassium pyrophosphate": ("K4P2O7", {"K": 4, "P2O7": 1}, 0),
    "potassium citrate": ("K3C6H5O7", {"K": 3, "citrate": 1}, 0),
    "potassium silicate": ("K2Si3O7", {"K": 2, "Si": 3}, 0),
    "calcium nitrate": ("CaN2O6", {"Ca": 1, "NO3": 2}, 0),
    "calcium chloride": ("CaCl2", {"Ca": 1, "Cl": 2}, 0),
    "calcium acetate": ("CaC4H6O4", {"Ca": 1, "acetate": 2}, 0),
    "calcium thiosulfate": ("CaS2O3", {"Ca": 1, "S2O3": 1}, 0),
    "calcium gluconate": ("CaC12H22O14", {"Ca": 1, "gluconate": 2}, 0),
    "calcium EDTA": ("CaNa2C10H12N2O8", {"Ca": 1, "Na": 2, "EDTA": 1}, 0),
    "calcium lignosulfonate": ("CaC40H42O16S2", {"Ca": 1, "ligno": 2, "phenol": 2}, 0),
    "magnesium nitrate": ("MgN2O6", {"Mg": 1, "NO3": 2}, 0),
    "magnesium chloride": ("MgCl2", {"Mg": 1, "Cl": 2}, 0),
    "magnesium sulfate": ("MgSO4H14O7", {"Mg": 1, "SO4": 1}, 7),
    "ferrous sulfate": ("FeSO4H14O7", {"Fe2": 1, "SO4": 1}, 7),
    "ferric citrate": ("FeC6H5O7", {"FecitA": 1}, 0),
    "ferric ammonium citrate": ("FeC6H14O7N3", {"FecitA": 1, "NH4": 2, "citrate": 0.4}, 0),
    "ferric sulfate": ("Fe2S3O12", {"Fe3": 2, "SO4": 3}, 0),
    "iron gluconate": ("FeC6H9O7", {"FeglucA": 1, "gluconate": 0.3, "Na": 0.3}, 0),
    "iron EDTA": ("NaFeC10H12N2O8", {"Na": 1, "FeEDTA": 1}, 0),
    "iron HEDTA": ("NaFeC10H14N2O7", {"FeHEDTA": 1, "Na": 0.4}, 0),
    "iron DTPA": ("Na2FeC14H18N3O10", {"Na": 2, "FeDTPA": 1}, 0),
    "iron EDDHA": ("NaFeC18H16N2O6", {"Na": 1, "FeEDDHA": 1}, 0),
    "manganese sulfate": ("MnSO4H2O", {"Mn": 1, "SO4": 1}, 1),
    "manganese nitrate": ("MnN2O6", {"Mn": 1, "NO3": 2}, 0),
    "manganese EDTA": ("MnNa2C10H12N2O8", {"Mn": 1, "Na": 2, "EDTA": 1}, 0),
    "zinc sulfate": ("ZnSO4H2O", {"Zn": 1, "SO4": 1}, 1),
    "zinc nitrate": ("ZnN2O6", {"Zn": 1, "NO3": 2}, 0),
    "zinc chloride": ("ZnCl2", {"Zn": 1, "Cl": 2}, 0),
    "zinc EDTA": ("ZnNa2C10H12N2O8", {"Zn": 1, "Na": 2, "EDTA": 1}, 0),
    "zinc citrate": ("ZnC6H6O7", {"Zn": 1, "citrate": 1}, 0),
    "manganese citrate": ("MnC6H6O7", {"Mn": 1, "citrate": 1}, 0),
    "copper sulfate": ("CuSO4H10O5", {"Cu": 1, "SO4": 1}, 5),
    "copper EDTA": ("CuNa2C10H12N2O8", {"Cu": 1, "Na": 2, "EDTA": 1}, 0),
    "boric acid": ("H3BO3", {"B": 1}, 0),
    "sodium octaborate": ("Na2B8O13H8O4", {"Na": 2, "B": 8}, 4),
    "borax": ("Na2B4O7H20O10", {"Na": 2, "B": 4}, 10),
    "ethanolamine": ("C2H7NO", {"MEA": 1}, 0),
    "sodium molybdate": ("Na2MoO4H4O2", {"Na": 2, "Mo": 1}, 2),
    "cobalt sulfate": ("CoSO4H14O7", {"Mg": 1, "SO4": 1}, 7),
    "citric acid": ("C6H8O7", {"citrate": 1}, 0),
    "acetic acid": ("C2H4O2", {"acetate": 1}, 0),
    "sulfuric acid": ("H2SO4", {"SO4": 1}, 0),
    "nitric acid": ("HNO3", {"NO3": 1}, 0),
    "hydrochloric acid": ("HCl", {"Cl": 1}, 0),
    "lactic acid": ("C3H6O3", {"lactate": 1}, 0),
    "gluconic acid": ("C6H12O7", {"gluconate": 1}, 0),
    "sodium gluconate": ("NaC6H11O7", {"Na": 1, "gluconate": 1}, 0),
    "disodium EDTA": ("Na2C10H14N2O8", {"Na": 2, "EDTA": 1}, 0),
    "sodium benzoate": ("NaC7H5O2", {"Na": 1, "benzoate": 1}, 0),
    "potassium sorbate": ("KC6H7O2", {"K": 1, "sorbate": 1}, 0),
    "triethanolamine": ("C6H15NO3", {"TEA": 1}, 0),
    "sodium hydroxide": ("NaOH", {"Na": 1}, 0),
    "hydrated lime": ("CaO2H2", {"Ca": 1}, 0),
    "sodium chloride": ("NaCl", {"Na": 1, "Cl": 1}, 0),
    "ammonium sulfite": ("N2H8SO3", {"NH4": 2, "sulfite": 1}, 0),
    "surfactant": ("NaC18H29SO3", {"Na": 1, "soap": 1}, 0),
    "succinic acid": ("C4H6O4", {"succinate": 1}, 0),
    "fluoride": ("HF", {"F": 1}, 0),
}  # fmt: skip
ORGANIC: Mapping[str, Mapping[str, float]] = {
    # mol per kg of organic matter as weighed
    "humic matter": {"humicA": 1.8, "humicB": 1.8, "humicC": 1.6},
    "fulvic matter": {"humicA": 3.4, "humicB": 2.2, "humicC": 1.5},
    "hydrolysate": {"amino": 6.0, "glutamate": 0.9, "histidine": 0.2},
    "kelp solids": {"alginate": 0.8, "humicC": 0.5, "amino": 0.4, "K": 1.6, "Na": 0.6, "Cl": 1.2,
                    "SO4": 0.25, "Mg": 0.15, "Ca": 0.05},
    "fish solids": {"amino": 3.0, "glutamate": 0.5, "PO4": 0.5, "Ca": 0.15, "K": 0.3, "Na": 0.2,
                    "Cl": 0.3, "lactate": 0.3},
    "molasses solids": {"aconitate": 0.15, "acetate": 0.2, "amino": 0.25, "K": 1.0, "Ca": 0.25,
                        "Mg": 0.15, "Cl": 0.7, "SO4": 0.2, "Na": 0.08},
}  # fmt: skip
ORGANIC_N = {"hydrolysate": 14.0, "fish solids": 8.0, "molasses solids": 0.6, "kelp solids": 1.0}
"""Percent of nitrogen that such matter is sold for."""


@dataclass(frozen=True)
class Family:
    """recipe: (compound, least, most [kg/kg], chance); ph: window of a maker who trims, read at
    1:10; trims: chance of that; acid, base: what stands beside the vat; rate: fl oz/1000 sq ft."""

    group: str
    recipe: tuple[tuple[str, float, float, float], ...]
    ph: tuple[float, float]
    trims: float
    acid: tuple[str, ...] = ("sulfuric acid",)
    base: tuple[str, ...] = ("aqua ammonia",)
    rate: tuple[float, float] = (2.0, 9.0)


def _recipe(text: str) -> tuple[tuple[str, float, float, float], ...]:
    """`ferrous sulfate 12-26; urea 4-12 @0.4`: percent by mass, and the share of vats with it."""
    rows = []
    for part in text.split("; "):
        what, _, chance = part.partition(" @")
        compound, _, span = what.rpartition(" ")
        low, high = (float(x) / 100.0 for x in span.split("-"))
        rows.append((compound, low, high, float(chance or 1.0)))
    return tuple(rows)


def _families() -> dict[str, Family]:
    with (Path(__file__).parent / "world_families.csv").open() as handle:
        return {
            r["family"]: Family(
                r["group"],
                _recipe(r["recipe"]),
                (float(r["ph_low"]), float(r["ph_high"])),
                float(r["trims"]),
                tuple(r["acid"].split("|")),
                tuple(r["base"].split("|")),
                (float(r["rate_low"]), float(r["rate_high"])),
            )
            for r in csv.DictReader(handle)
        }


FAMILIES: Mapping[str, Family] = _families()


@cache
def molar_mass(formula: str) -> float:
    """g/mol."""
    import periodictable

    if formula == "N3.6H15P2O7":  # the average ammonium polyphosphate of 1.0 mol... per 2 P
        return 2.7 * 17.03 + 2.03 * 98.0 - 1.27 * 18.02
    return float(periodictable.formula(formula).mass)


@dataclass(frozen=True)
class Liquid:
    """What is in a jug, per kg: components [mol], water [kg]; density [kg/L]; amounts [kg/kg] of
    what the maker weighed in, `named` the part the label may speak of; ph_tenth: of 1 g in 9 g of
    pure water."""

    number: int
    family: str
    group: str
    database: str
    mol_per_kg: Mapping[str, float]
    water: float
    density: float
    named: Mapping[str, float]
    extras: Mapping[str, float]
    over: float
    ph_tenth: float
    rate: float


def _put(held: dict[str, float], compound: str, amount: float) -> float:
    """Add kg/kg of a compound; returns kg of water it brings."""
    if compound in ORGANIC:
        for c, mol in ORGANIC[compound].items():
            held[c] = held.get(c, 0.0) + amount * mol
        return 0.0
    formula, parts, crystal = COMPOUNDS[compound]
    mass = molar_mass(formula)
    for c, n in parts.items():
        held[c] = held.get(c, 0.0) + 1000.0 * amount * n / mass
    return amount * crystal * 18.015 / mass


def diluted(mol_per_kg: Mapping[str, float], water: float, share: float) -> dict[str, float]:
    """mol/kg water of `share` kg of product in 1 - share kg of pure water."""
    kgw = share * water + 1.0 - share
    return {c: m * share / kgw for c, m in mol_per_kg.items()}


STRONG = {"sulfuric acid": 2, "nitric acid": 1, "hydrochloric acid": 1}
REACHES = {
    "citric acid": 2.4, "phosphoric acid": 1.6, "lactic acid": 3.2, "gluconic acid": 3.2,
    "acetic acid": 4.2, "aqua ammonia": 9.6, "ethanolamine": 9.8, "triethanolamine": 8.2,
}  # fmt: skip
"""How far a weak acid or base is used to trim: within about half a unit of its pK."""


def _agent(rng: np.random.Generator, beside: tuple[str, ...], wanted: float, base: bool) -> str:
    """What a maker takes to a wanted pH of what stands beside the vat."""
    able = [a for a in beside if a not in REACHES or (wanted < REACHES[a]) == base]
    return str(rng.choice(able or (("sodium hydroxide",) if base else ("sulfuric acid",))))


def make(rng: np.random.Generator, number: int, family: str, lab: Lab) -> Liquid | None:
    """One vat of a family; None where it would not be sold (solids at 1:10, no room for water)."""
    kind = FAMILIES[family]
    target = {c: rng.uniform(a, b) for c, a, b, often in kind.recipe if rng.random() < often}
    over = 1.0 + abs(rng.normal(0.0, 0.035)) + rng.uniform(0.0, 0.02)
    named = {c: w * over * math.exp(rng.normal(0.0, 0.012)) for c, w in target.items()}
    extras: dict[str, float] = {}
    if rng.random() < 0.35:
        extras["sodium chloride"] = rng.uniform(0.001, 0.015)
    if rng.random() < 0.2:
        extras["sodium benzoate" if rng.random() < 0.5 else "potassium sorbate"] = rng.uniform(
            0.001, 0.005
        )
    if rng.random() < 0.15 and "calcium" not in kind.group:
        buffer = rng.choice(sorted(BUFFERS))
        extras[str(buffer)] = rng.uniform(0.003, 0.025)
    if rng.random() < 0.05:
        extras["surfactant"] = rng.uniform(0.002, 0.015)
    if rng.random() < 0.06 and kind.group in {"living", "N-P-K"}:
        extras["succinic acid"] = rng.uniform(0.002, 0.01)
    held: dict[str, float] = {}
    water = 1.0
    volume = 0.0
    for compound, amount in [*named.items(), *extras.items()]:
        brought = _put(held, compound, amount)
        water -= amount - brought
        dry = amount - brought
        middle = VOLUMES.get(compound, 0.6 if compound in ORGANIC else 0.5)
        volume += dry * middle * rng.uniform(0.92, 1.08)
    if "Fe2" in held:
        rust = rng.beta(1.0, 12.0) * held["Fe2"]
        held["Fe2"] -= rust
        held["Fe3"] = held.get("Fe3", 0.0) + rust
    if "ammonium polyphosphate" in named:
        age = rng.uniform(0.0, 0.35)
        for chain, n in (("P2O7", 2), ("P3O10", 3)):
            gone = age * held[chain]
            held[chain] -= gone
            held["PO4"] += n * gone
    if water < 0.12:
        return None
    charge = sum(abs(_charge_of(c)) * m for c, m in held.items())
    buffered = bool(extras.keys() & BUFFERS)
    trims = rng.random() < kind.trims or buffered  # who buffers sets the pH
    if trims:
        low, high = kind.ph
        wanted = (
            rng.uniform(low, high) if rng.random() < 0.92 else rng.normal((low + high) / 2, 1.6)
        )
        wanted = float(np.clip(wanted, 0.4, 13.0))
        for _ in range(12):
            state = lab.solve(diluted(held, water, 0.1), ph=wanted)
            if state is None:
                return None
            kgw = 0.1 * water + 0.9
            base = -state.imbalance * kgw / 0.1
            if abs(base) < 1e-4 * max(charge, 0.01):
                break
            agent = _agent(rng, kind.base if base > 0 else kind.acid, wanted, base > 0)
            equivalents = STRONG.get(agent, 2 if agent == "hydrated lime" else 1)
            formula = COMPOUNDS[agent][0]
            amount = 0.9 * abs(base) / equivalents * molar_mass(formula) / 1000.0
            if amount > 0.25:
                return None
            extras[agent] = extras.get(agent, 0.0) + amount
            water -= amount - _put(held, agent, amount)
            volume += 0.4 * amount
    else:
        stray = rng.normal(0.0, 0.004) * charge + rng.normal(0.0, 0.002)
        key = "Na" if stray > 0 else "Cl"
        held[key] = held.get(key, 0.0) + abs(stray)
    state = lab.solve(diluted(held, water, 0.1))
    if state is None or water < 0.1:
        return None
    prompt = {k: s for k, s in state.si.items() if k not in {"koktaite", "calcite", "Ca_soap"}}
    if max(prompt.values()) > 0.4 or not 0.2 < state.ph < 13.4:
        return None
    low, high = kind.ph
    if not low - 0.7 < state.ph < high + 0.7 and rng.random() > STRAYS:
        return None
    density = 1.0 / (water / 0.998 + max(volume, 0.0))
    rate = math.exp(rng.uniform(math.log(kind.rate[0]), math.log(kind.rate[1])))
    return Liquid(
        number, family, kind.group, lab.database.name, dict(held), water, density,
        dict(named), dict(extras), over, state.ph, round(rate * 2) / 2 or 0.5,
    )  # fmt: skip


_CHARGES = {
    "Ca": 2, "Mg": 2, "K": 1, "Na": 1, "NH4": 1, "Fe2": 2, "Fe3": 3, "Mn": 2, "Zn": 2, "Cu": 2,
    "Cl": -1, "NO3": -1, "SO4": -2, "CO3": -2, "PO4": -2, "P2O7": -3, "P3O10": -4, "HPO3": -2,
    "S2O3": -2, "acetate": -1, "citrate": -3, "EDTA": -3, "gluconate": -1, "formate": -1,
}  # fmt: skip


def _charge_of(component: str) -> int:
    return _CHARGES.get(component, 0)


def liquids(count: int, labs: Mapping[str, Lab], seed: int) -> list[Liquid]:
    """`count` liquids, families in turn, databases in turn within each family."""
    out: list[Liquid] = []
    families = list(FAMILIES)
    for number in range(count):
        family = families[number % len(families)]
        turn = number // len(families)
        lab = list(labs.values())[turn % len(labs)]
        rng = np.random.default_rng((seed, number))
        for _ in range(300):
            liquid = make(rng, number, family, lab)
            if liquid is not None:
                out.append(liquid)
                break
        else:
            raise RuntimeError(f"no {family} that would be sold")
    return out
