"""Computes ours for every outside check of `values.csv`.

A quantity is one of
    pH
    solubility of SOLID as COMPONENT        dissolved total [mol/kg water] over an excess of SOLID
    log product of SOLID                    log10 of its concentration product over an excess of it
    mean activity coefficient of C with A   stoichiometric, of the cation C and the anion A
    activity coefficient of S
    log K: LEFT = RIGHT                     of the tables, at I = 0
    log Kc: LEFT = RIGHT                    of molalities, in the row's composition
    share of COMPONENT as SPECIES           molar share 0-1
    molality of SPECIES
    Ca/P of the first solid                 of the prompt solid furthest over its limit
    chart mark                              compatible, or incompatible where a solid shows
A composition is `KEY=total; ...` [mol/kg water]; `pH=` fixes the pH, `pCO2=` [atm] a gas above.
A tolerance is absolute (`0.02`), relative (`8 %`) or in decades (`0.15 log`); a row without one is
printed, not judged.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from chem.equilibrium import (
    Conditions,
    Equilibrium,
    Phases,
    System,
    build_phases,
    build_system,
    settle,
    solve,
    water_density_g_per_mL,
)
from chem.equilibrium.air import henry_constant
from chem.reference import Solid, molar_mass_g_per_mol, tables
from chem.reference.reactions import parse_reaction

VALUES = Path(__file__).with_name("values.csv")
NOT_MATCHED = Path(__file__).with_name("not_matched.csv")
FLOOR = 1e-13
"""A component that only a solid brings in starts at this total [mol/kg water]."""
EXCESS = (0.02, 0.2, 2.0, 3.5, 12.0)
"""Excess of the solid offered [mol/kg water], until some stays undissolved."""
ALKALI = {"K+", "Na+", "NH4+"}
SPECIAL = {"pH", "pCO2"}


@dataclass(frozen=True)
class Check:
    """One row of `values.csv`."""

    id: str
    group: str
    system: str
    composition: str
    t_celsius: float
    quantity: str
    value: str
    unit: str
    uncertainty: str
    tolerance: str
    how_known: str
    fitted: str
    confidence: str
    source: str
    note: str

    @property
    def kind(self) -> str:
        """`fitted`, in whole or in part; `recalled` from memory; else `blind`: counted apart.

        `not blind`: chosen after a comparison with ours, and in no count.
        """
        if self.fitted in {"yes", "partly"}:
            return "fitted"
        if self.fitted == "not blind":
            return self.fitted
        return "recalled" if self.how_known == "value from memory" else "blind"

    @property
    def number(self) -> float:
        """The measured value; raises ValueError for a mark."""
        return float(self.value)

    @property
    def totals(self) -> dict[str, float]:
        """Totals [mol/kg water] by component key."""
        return {k: v for k, v in _pairs(self.composition).items() if k not in SPECIAL}

    @property
    def special(self) -> dict[str, float]:
        """`pH` and `pCO2` [atm] where the row fixes them."""
        return {k: v for k, v in _pairs(self.composition).items() if k in SPECIAL}

    @property
    def target(self) -> str:
        """The tolerance that the project wants: the row's own, or that of a row not yet there."""
        _, found, rest = self.note.partition("not yet reached: target ")
        return rest.split(";")[0].strip() if found else self.tolerance


def _pairs(text: str) -> dict[str, float]:
    parts = [p.split("=") for p in text.split(";") if p.strip()]
    return {k.strip(): float(v) for k, v in parts}


@cache
def read_checks() -> tuple[Check, ...]:
    """Every row of `values.csv`."""
    with VALUES.open(encoding="utf-8", newline="") as handle:
        rows = list(csv.DictReader(handle))
    return tuple(Check(**{**row, "t_celsius": float(row["t_celsius"])}) for row in rows)


@cache
def system_of(components: frozenset[str]) -> System:
    """The system of all species of some components."""
    return build_system(components)


def _row(system: System, totals: Mapping[str, float]) -> np.ndarray:
    return np.maximum(system.totals(totals), FLOOR)


def _gas(system: System, t_celsius: float, pressure_atm: float) -> tuple[Phases, float]:
    """CO2 at a pressure as a phase in unlimited supply, and its log K in activities of masters."""
    column = system.index["CO2"]
    constant = system.constants[column]
    assert constant is not None
    reaction = next(s.reaction for s in tables().species if s.key == "CO2")
    henry = henry_constant()
    gas = Solid("carbon_dioxide_gas", "", "CO2", reaction, henry, "prompt", "", "", "")
    phases = Phases((gas.key,), (gas,), system.nu[:, [column]], system.water[[column]], np.ones(1))
    log_k = henry.at(t_celsius) + math.log10(pressure_atm) - constant.at(t_celsius)
    return phases, log_k


def saturated(
    system: System,
    totals_mol_per_kgw: Mapping[str, float],
    solid: str,
    t_celsius: float,
    *,
    ph: float | None = None,
    pco2_atm: float | None = None,
) -> Equilibrium:
    """The solution over an excess of one solid (1 row); totals are those of the solution's water.

    An excess is added to the totals so that none is zero; the water that it binds is made up for
    by scaling the totals with the water left. Raises: ArithmeticError without a result.
    """
    phases = build_phases(system, [solid])
    log_ksp = list(phases.log_k(t_celsius))
    if pco2_atm is not None:
        gas, log_gas = _gas(system, t_celsius, pco2_atm)
        log_ksp.append(log_gas)
        phases = Phases(
            phases.keys + gas.keys,
            phases.solids + gas.solids,
            np.hstack([phases.nu, gas.nu]),
            np.concatenate([phases.water, gas.water]),
            np.concatenate([phases.ions, gas.ions]),
        )
    conditions = Conditions.nominal(system, t_celsius)
    base = _row(system, totals_mol_per_kgw)
    count = len(system.components)
    brings = np.array(phases.nu[:count, 0])[None, :]
    if pco2_atm is not None:
        carbon = system.components.index("CO3")
        base[0, carbon] += 0.5
    for excess in EXCESS:
        left = 1.0
        for _ in range(3):
            state = settle(
                system,
                base * left + excess * brings,
                conditions,
                phases,
                log_ksp=np.array([log_ksp]),
                always=np.ones(len(phases), dtype=bool),
                ph=None if ph is None else np.array([ph]),
            )
            if not state.converged[0]:
                break
            left = float(state.water_left[0])
        if state.converged[0] and state.amounts[0, 0] > 0.0:
            return state
    raise ArithmeticError(f"{solid} in {dict(totals_mol_per_kgw)} at {t_celsius} C: no result")


def dissolved(state: Equilibrium, component: str) -> float:
    """Total of a component in the solution [mol/kg water]."""
    row = state.system.components.index(component)
    return float((state.molality @ state.system.nu[row])[0])


def _log_formation(term: str, t_celsius: float) -> float:
    """log10 K of formation of a species or solid from masters (0 for a master and water)."""
    for species in tables().species:
        if species.key == term:
            return species.constant.at(t_celsius)
    if term in tables().solids:
        return -tables().solids[term].constant.at(t_celsius)
    if term in {"H2O", "H+"} or any(c.master == term for c in tables().components.values()):
        return 0.0
    raise KeyError(term)


def _sides(text: str) -> tuple[dict[str, float], dict[str, float]]:
    left, right = text.split(" = ")
    sides = []
    for side in (left, right):
        sides.append({side: 1.0} if side in tables().solids else dict(parse_reaction(side)))
    return sides[0], sides[1]


def log_k(reaction: str, t_celsius: float) -> float:
    """log10 K of `LEFT = RIGHT` at I = 0 from the tables."""
    left, right = _sides(reaction)
    made = sum(n * _log_formation(s, t_celsius) for s, n in right.items())
    return made - sum(n * _log_formation(s, t_celsius) for s, n in left.items())


def _free(state: Equilibrium, species: str) -> float:
    """Molality of a species, with its alkali ion pairs: titrations can't tell them apart."""
    system = state.system
    total = float(state.molality[0, system.index[species]])
    if species not in system.masters or system.charge[system.index[species]] >= 0:
        return total
    row = system.masters[species]
    alkali = [r for m, r in system.masters.items() if m in ALKALI]
    for s in range(len(system.components) + 1, len(system.species)):
        used = set(np.flatnonzero(system.nu[:, s]))
        if system.nu[row, s] == 1.0 and used <= {row, *alkali}:
            total += float(state.molality[0, s])
    return total


def _solved(check: Check) -> Equilibrium:
    system = system_of(frozenset(check.totals))
    ph = check.special.get("pH")
    state = solve(
        system,
        _row(system, check.totals),
        Conditions.nominal(system, check.t_celsius),
        ph=None if ph is None else np.array([ph]),
    )
    if not state.converged[0]:
        raise ArithmeticError(f"{check.id}: no result")
    return state


def _over(check: Check, solid: str) -> Equilibrium:
    reaction = tables().solids[solid].reaction
    masters = {c.master: k for k, c in tables().components.items()}
    brought = {masters[m] for m in reaction if m in masters}
    gas = {"CO3"} if "pCO2" in check.special else set()
    system = system_of(frozenset(check.totals) | brought | gas)
    return saturated(
        system,
        check.totals,
        solid,
        check.t_celsius,
        ph=check.special.get("pH"),
        pco2_atm=check.special.get("pCO2"),
    )


def mean_activity_coefficient(state: Equilibrium, cation: str, anion: str) -> float:
    """Stoichiometric: activities of the ions over the totals that the salt brings."""
    system = state.system
    z_c, z_a = (abs(system.charge[system.index[s]]) for s in (cation, anion))
    divisor = math.gcd(int(z_c), int(z_a))
    n_c, n_a = z_a / divisor, z_c / divisor
    ln_sum = 0.0
    for species, n in ((cation, n_c), (anion, n_a)):
        column = system.index[species]
        component = int(np.flatnonzero(system.nu[:-1, column])[0])
        total = math.log(state.totals[0, component])
        ln_sum += n * (float(state.ln_activity[0, column]) - total)
    return math.exp(ln_sum / (n_c + n_a))


def chart_mark(check: Check) -> str:
    """`incompatible` where deciding solids settle to more than shows [g/L], else `compatible`."""
    system = system_of(frozenset(check.totals))
    phases = build_phases(system)
    conditions = Conditions.nominal(system, check.t_celsius)
    allowed = np.array([s.decides for s in phases.solids])
    state = settle(system, _row(system, check.totals), conditions, phases, allowed=allowed)
    mass = np.array([molar_mass_g_per_mol(s.formula) for s in phases.solids])
    g_per_L = float(state.amounts[0] @ mass) * water_density_g_per_mL(check.t_celsius)
    return "incompatible" if g_per_L > tables().value("show_limit") else "compatible"


def first_solid_ca_per_p(check: Check) -> float:
    """Ca/P of the prompt calcium phosphate furthest over its limit per ion."""
    state = _solved(check)
    phases = build_phases(state.system)
    si = state.saturation_index(phases)[0] / phases.ions
    prompt = [
        m
        for m, s in enumerate(phases.solids)
        if s.kinetics == "prompt" and {"Ca+2", "PO4-3"} <= set(s.reaction)
    ]
    first = phases.solids[max(prompt, key=lambda m: float(si[m]))]
    return first.reaction["Ca+2"] / first.reaction["PO4-3"]


def computed(check: Check) -> float | str:
    """Ours for one row, in the row's unit. Raises: ArithmeticError without a result."""
    q = check.quantity
    if q == "pH":
        return float(_solved(check).ph[0])
    if q == "chart mark":
        return chart_mark(check)
    if q == "Ca/P of the first solid":
        return first_solid_ca_per_p(check)
    if q.startswith("pH over "):
        return float(_over(check, q.removeprefix("pH over ")).ph[0])
    if q.startswith("log K: "):
        return log_k(q.removeprefix("log K: "), check.t_celsius)
    if q.startswith("log Kc: "):
        state = _solved(check)
        left, right = _sides(q.removeprefix("log Kc: "))
        made = sum(n * math.log10(_free(state, s)) for s, n in right.items())
        return made - sum(n * math.log10(_free(state, s)) for s, n in left.items())
    if q.startswith("solubility of "):
        solid, component = q.removeprefix("solubility of ").split(" as ")
        return dissolved(_over(check, solid), component)
    if q.startswith("log product of "):
        solid = q.removeprefix("log product of ")
        state = _over(check, solid)
        return sum(
            n * math.log10(float(state.molality[0, state.system.index[s]]))
            for s, n in tables().solids[solid].reaction.items()
            if s != "H2O"
        )
    if q.startswith("mean activity coefficient of "):
        cation, anion = q.removeprefix("mean activity coefficient of ").split(" with ")
        return mean_activity_coefficient(_solved(check), cation, anion)
    if q.startswith("activity coefficient of "):
        state = _solved(check)
        column = state.system.index[q.removeprefix("activity coefficient of ")]
        return math.exp(float(state.ln_activity[0, column] - state.ln_molality[0, column]))
    if q.startswith("share of "):
        component, species = q.removeprefix("share of ").split(" as ")
        state = _solved(check)
        row = state.system.components.index(component)
        return (
            _free(state, species)
            * float(state.system.nu[row, state.system.index[species]])
            / float(state.totals[0, row])
        )
    if q.startswith("molality of "):
        return _free(_solved(check), q.removeprefix("molality of "))
    raise ValueError(f"{check.id}: no such quantity: {q}")


def distance(check: Check, ours: float | str, tolerance: str | None = None) -> tuple[float, float]:
    """How far ours is from the value, and how far it may be, in the tolerance's own measure.

    Absolute, relative [fraction] or in decades; signed, ours minus value. A mark is 0 or 1 off.
    """
    limit = check.tolerance if tolerance is None else tolerance
    if isinstance(ours, str):
        return (0.0 if ours == check.value else 1.0), 0.5
    if limit.endswith("%"):
        return ours / check.number - 1.0, float(limit[:-1]) / 100.0
    if limit.endswith("log"):
        return math.log10(ours / check.number), float(limit[:-3])
    return ours - check.number, float(limit) if limit else math.inf
