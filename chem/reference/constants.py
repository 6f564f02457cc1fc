"""The tables in `data/`, typed and immutable."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Any

from chem.reference.files import read_csv, read_toml
from chem.reference.reactions import parse_reaction
from chem.units.masses import molar_mass_g_per_mol

GAS_CONSTANT_J_PER_MOL_K = 8.31446261815324  # CODATA 2018, exact by definition of the SI
T_REFERENCE_K = 298.15


@dataclass(frozen=True)
class Component:
    """A conserved component; `master` is the form in which reactions count it.

    Those of `sources.toml` [_inert] have charge and mass but form no complex.
    """

    key: str
    master: str
    charge: int
    formula: str
    name: str


@dataclass(frozen=True)
class Constant:
    """An equilibrium constant and how it moves with temperature.

    log_k: log10 K at 25 degC, I = 0 (molal); u: one standard uncertainty.
    delta_h [kJ/mol], delta_cp [J/mol/K] of the same reaction; range [degC].
    """

    log_k: float
    u: float
    delta_h: float
    delta_h_u: float
    delta_cp: float
    t_min: float
    t_max: float
    kind: str
    source: str
    where: str
    note: str

    def at(self, t_celsius: float) -> float:
        """log10 K at t [degC]: van 't Hoff with constant delta Cp."""
        t = t_celsius + 273.15
        t0 = T_REFERENCE_K
        enthalpy = 1000.0 * self.delta_h * (1.0 / t0 - 1.0 / t)
        capacity = self.delta_cp * (math.log(t / t0) + t0 / t - 1.0)
        return self.log_k + (enthalpy + capacity) / (GAS_CONSTANT_J_PER_MOL_K * math.log(10.0))


@dataclass(frozen=True)
class Species:
    """An aqueous complex; `reaction` forms it from masters, H+ and H2O."""

    key: str
    charge: int
    reaction: Mapping[str, float]
    constant: Constant


@dataclass(frozen=True)
class Interaction:
    """SIT coefficient of a pair: eps + eps1 log10(I) + slope (t - 25 degC) [kg/mol]."""

    pair: frozenset[str]
    eps: float
    eps1: float
    u: float
    slope_per_k: float
    kind: str
    source: str
    where: str
    note: str


@dataclass(frozen=True)
class InteractionRule:
    """Fallback SIT coefficient by charge, used where no pair is listed [kg/mol]."""

    rule: str
    cation_charge: int | None
    anion_charge: int | None
    eps: float
    u: float
    source: str
    note: str


@dataclass(frozen=True)
class Solid:
    """A solid; `reaction` lists what it dissolves into, so IAP is its product.

    kinetics: prompt (minutes), slow (hours), dormant (days, never) or soluble (judged from its
    solubility table, where the activity model can't saturate it);
    family: solids of the same ions, one of which comes first and turns into the others;
    shows_as: what it looks like, a row of `limits.csv`.
    """

    key: str
    name: str
    formula: str
    reaction: Mapping[str, float]
    constant: Constant
    kinetics: str
    family: str
    shows_as: str
    curve: str

    @property
    def decides(self) -> bool:
        """Whether it may form in a spray day: every such solid decides, a doubtful one widely."""
        return self.kinetics in {"prompt", "slow"}

    @property
    def ions(self) -> float:
        """Ions per formula unit, for comparing SI across formulas.

        Water, H+ and OH- are left out; what is counted as a neutral acid (boric, silicic) is one
        anion beside a cation, however many of it join.
        """
        parts = {n: abs(k) for n, k in self.reaction.items() if n not in {"H+", "H2O"}}
        charged = sum(k for n, k in parts.items() if "+" in n or "-" in n)
        return charged + 1.0 if 0.0 < charged < sum(parts.values()) else sum(parts.values())


@dataclass(frozen=True)
class Clouding:
    """Median time until a solid shows against SI per two ions, and its one-sigma factor."""

    curve: str
    si: tuple[float, ...]
    t_s: tuple[float, ...]
    factor: float
    kind: str
    source: str
    note: str


@dataclass(frozen=True)
class Physical:
    """A physical constant of `physical.csv`."""

    key: str
    value: float
    unit: str
    conditions: str
    source: str
    where: str
    note: str


@dataclass(frozen=True, eq=False)
class Tables:
    """Every thermodynamic table."""

    components: Mapping[str, Component]
    species: tuple[Species, ...]
    interactions: Mapping[frozenset[str], Interaction]
    rules: tuple[InteractionRule, ...]
    solids: Mapping[str, Solid]
    clouding: Mapping[str, Clouding]
    physical: Mapping[str, Physical]
    references: Mapping[str, str]

    def value(self, key: str) -> float:
        """The number of a physical constant. Raises: KeyError."""
        return self.physical[key].value


def _number(text: str) -> float:
    return float(text) if text.strip() else 0.0


def _charge(text: str) -> int | None:
    return int(text) if text.strip() not in {"", "*"} else None


def _constant(row: Mapping[str, str]) -> Constant:
    return Constant(
        log_k=float(row["log_k"]),
        u=float(row["log_k_u"]),
        delta_h=_number(row["delta_h_kJ_per_mol"]),
        delta_h_u=_number(row["delta_h_u_kJ_per_mol"]),
        delta_cp=_number(row["delta_cp_J_per_mol_K"]),
        t_min=_number(row["t_min_C"]),
        t_max=_number(row["t_max_C"]),
        **{k: row[k] for k in ("kind", "source", "where", "note")},
    )


def _clouding() -> dict[str, Clouding]:
    rows: dict[str, list[dict[str, str]]] = {}
    for row in read_csv("clouding.csv"):
        rows.setdefault(row["curve"], []).append(row)
    out = {}
    for curve, points in rows.items():
        points.sort(key=lambda r: float(r["si_per_two_ions"]))
        first = points[0]
        out[curve] = Clouding(
            curve,
            tuple(float(r["si_per_two_ions"]) for r in points),
            tuple(float(r["t_median_s"]) for r in points),
            float(first["factor"]),
            first["kind"],
            first["source"],
            first["note"],
        )
    return out


def _frozen(mapping: dict[Any, Any]) -> Mapping[Any, Any]:
    return MappingProxyType(mapping)


@cache
def tables() -> Tables:
    """Read every thermodynamic table once."""
    components = {
        r["component"]: Component(
            r["component"], r["master"], int(r["charge"]), r["formula"], r["name"]
        )
        for r in read_csv("components.csv")
    }
    for key, entry in read_toml("sources.toml")["_inert"].items():
        charge = int(entry["charge"])
        sign = "" if charge == 0 else f"{charge:+d}"
        components[key] = Component(key, f"{key}{sign}", charge, entry["formula"], key)
    species = tuple(
        Species(r["species"], int(r["charge"]), parse_reaction(r["reaction"]), _constant(r))
        for r in read_csv("species.csv")
    )
    interactions = {}
    for r in read_csv("interactions.csv"):
        pair = frozenset((r["ion_i"], r["ion_j"]))
        interactions[pair] = Interaction(
            pair,
            float(r["eps_kg_per_mol"]),
            _number(r["eps1_kg_per_mol"]),
            float(r["eps_u_kg_per_mol"]),
            _number(r["eps_slope_per_K"]),
            r["kind"],
            r["source"],
            r["where"],
            r["note"],
        )
    rules = tuple(
        InteractionRule(
            r["rule"],
            _charge(r["cation_charge"]),
            _charge(r["anion_charge"]),
            float(r["eps_kg_per_mol"]),
            float(r["eps_u_kg_per_mol"]),
            r["source"],
            r["note"],
        )
        for r in read_csv("interaction_rules.csv")
    )
    solids = {
        r["solid"]: Solid(
            r["solid"],
            r["name"],
            r["formula"],
            parse_reaction(r["reaction"]),
            _constant(r),
            r["class"],
            r["family"],
            r["shows_as"],
            r["curve"],
        )
        for r in read_csv("solids.csv")
    }
    physical = {
        r["key"]: Physical(
            r["key"],
            molar_mass_g_per_mol(r["value"]) if r["unit"] == "formula" else float(r["value"]),
            r["unit"],
            r["conditions"],
            r["source"],
            r["where"],
            r["note"],
        )
        for r in read_csv("physical.csv")
    }
    references = {r["key"]: r["citation"] for r in read_csv("references.csv")}
    return Tables(
        _frozen(components),
        species,
        _frozen(interactions),
        rules,
        _frozen(solids),
        _frozen(_clouding()),
        _frozen(physical),
        _frozen(references),
    )
