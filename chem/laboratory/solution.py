"""Speciation and saturation of one declared solution."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from chem.equilibrium import (
    Conditions,
    Equilibrium,
    Phases,
    System,
    build_phases,
    build_system,
    conductivity_mS_per_cm,
    coverage,
    held_key,
    solve,
)
from chem.equilibrium.activity import Floats
from chem.errors import InputProblem, Problem
from chem.laboratory.recipe import Recipe
from chem.laboratory.saturating import (
    components_of,
    given_ph,
    listed,
    saturated,
    settled_state,
    solids_named,
)
from chem.reference import Solid, catalogue, tables
from chem.reference.fingerprint import fingerprint

if TYPE_CHECKING:
    from chem.forecast import RefereeReport

SEEN_SHARE = 1e-4
"""A species below this share of its component does not rate a note on its constant."""
NEAR_SI = -1.0


@dataclass(frozen=True)
class SpeciesLine:
    """One species: molality [mol/kg], activity, share 0-1 of each of its components."""

    key: str
    molality_mol_per_kg: float
    activity: float
    shares: Mapping[str, float]


@dataclass(frozen=True)
class Solution:
    """A solution at equilibrium.

    totals: declared [mol/kg water]; held: (metal, agent) -> how much of it does not exchange; si:
    solid key -> SI; coverage: share of the ion pairs met by
    measured interaction coefficients; charge_mol_per_kg: sum z m; conductivity_mS_per_cm: at its
    own temperature, None beyond an ionic strength of 0.7 mol/kg and below pH 2.5.
    settled, dissolved: None unless solids could form or dissolve. settled [mol per kg of the
    declared water], below zero for a saturating solid that dissolved; dissolved [mol per kg of
    the water left] per component; water_left_kg: per kg of the declared water.
    """

    name: str
    t_celsius: float
    ph: float
    ph_given: bool
    totals: Mapping[str, float]
    ionic_strength_mol_per_kg: float
    conductivity_mS_per_cm: float | None
    water_activity: float
    species: tuple[SpeciesLine, ...]
    si: Mapping[str, float]
    charge_balance_relative: float
    charge_mol_per_kg: float
    coverage: float
    settled: Mapping[str, float] | None
    dissolved: Mapping[str, float] | None
    water_left_kg: float
    notes: tuple[str, ...]
    held: Mapping[tuple[str, str], float] = field(default_factory=dict)
    versions: Mapping[str, str] = field(default_factory=fingerprint)


def equilibrate(
    recipe: Recipe, *, saturate: Iterable[str] = (), let_settle: bool = False
) -> Solution:
    """Speciate a solution, saturate it or let it settle.

    Args:
        recipe: what `read_recipe` gave.
        saturate: keys of solids in unlimited excess; they may dissolve, no other solid forms.
        let_settle: every prompt solid may form.

    Raises:
        InputProblem: an unknown solid, solids that can't stand together, a salt that the activity
            model can't saturate, or totals without an equilibrium.
    """
    solids = solids_named(saturate)
    components = set(recipe.totals) | {c for s in solids for c in components_of(s)}
    system = build_system(components, held=tuple(recipe.held))
    conditions = Conditions.nominal(system, recipe.t_celsius)
    totals = system.totals(recipe.parted)
    phases = build_phases(system)
    declared = solve(system, totals, conditions, ph=given_ph(recipe))
    if not declared.converged[0]:
        raise InputProblem(
            Problem(
                f"{recipe.name}, totals in mol/kg water: {_pairs(recipe.totals)}",
                f"no equilibrium was found ({int(declared.iterations[0])} iterations)",
                "totals that one solution can hold; the model is good to an ionic strength of "
                f"{tables().value('ionic_strength_valid'):g} mol/kg",
            )
        )
    state, settled, water_left = declared, None, 1.0
    notes = list(recipe.notes)
    if solids:
        state, settled, water_left = saturated(
            recipe, system, conditions, declared, solids, let_settle
        )
    elif let_settle:
        state, settled, water_left = settled_state(recipe, system, totals, conditions, declared)
    si = dict(zip(phases.keys, (float(v) for v in state.saturation_index(phases)[0]), strict=True))
    species = _species(state)
    charge = float(state.molality[0] @ system.charge)
    notes += _notes(recipe, state, phases, si, species, solids, settled, charge)
    dissolved = None
    if settled is not None:
        held = state.molality[0] @ system.nu[: len(system.components)].T
        dissolved = dict(zip(system.components, (float(v) for v in held), strict=True))
    return Solution(
        name=recipe.name,
        t_celsius=recipe.t_celsius,
        ph=float(state.ph[0]),
        ph_given=recipe.ph is not None,
        totals=recipe.totals,
        ionic_strength_mol_per_kg=float(state.ionic_strength[0]),
        conductivity_mS_per_cm=_told(float(conductivity_mS_per_cm(state)[0])),
        water_activity=float(np.exp(state.ln_water_activity[0])),
        species=species,
        si=si,
        charge_balance_relative=float(state.charge_balance_relative[0]),
        charge_mol_per_kg=charge,
        coverage=float(coverage(state)[0]),
        settled=settled,
        dissolved=dissolved,
        water_left_kg=water_left,
        notes=tuple(dict.fromkeys(notes)),
        held=recipe.held,
    )


def _told(value: float) -> float | None:
    return value if np.isfinite(value) else None


def referee_solution(result: Solution) -> RefereeReport:
    """Put what is dissolved in a solution before PHREEQC, given our tables.

    A solid that came out or saturates it must then stand at SI 0 there too.

    Raises: InputProblem where PHREEQC isn't installed; RuntimeError if it can't load the database.
    """
    from chem.equilibrium.referee import disagreement, referee
    from chem.forecast import RefereeReport

    declared = Recipe(result.name, result.t_celsius, None, result.totals, held=result.held)
    there = declared.parted if result.dissolved is None else result.dissolved
    plain = [c for c in there if c not in {held_key(*pair) for pair in result.held}]
    system = build_system(plain, held=tuple(result.held))
    totals = system.totals(there)
    ph = np.array([result.ph]) if result.ph_given else None
    state = solve(system, totals, Conditions.nominal(system, result.t_celsius), ph=ph)
    phases = build_phases(system)
    found = disagreement(state, phases, None, referee(state, [0], phases, ph=ph))
    return RefereeReport(found.ph, found.si, found.amount, found.rows, found.failed)


def _species(state: Equilibrium) -> tuple[SpeciesLine, ...]:
    """Every species, largest first."""
    system = state.system
    molality = state.molality[0]
    activity = np.exp(state.ln_activity[0])
    parts: Floats = system.nu[:-1] * molality
    totals = parts.sum(axis=1)
    lines = [
        SpeciesLine(
            key,
            float(molality[i]),
            float(activity[i]),
            {
                c: float(parts[row, i] / totals[row])
                for row, c in enumerate(system.components)
                if parts[row, i] > 0.0
            },
        )
        for i, key in enumerate(system.species)
    ]
    return tuple(sorted(lines, key=lambda s: -s.molality_mol_per_kg))


def _notes(
    recipe: Recipe,
    state: Equilibrium,
    phases: Phases,
    si: Mapping[str, float],
    species: Sequence[SpeciesLine],
    saturating: Sequence[Solid],
    settled: Mapping[str, float] | None,
    charge: float,
) -> list[str]:
    notes = []
    value = tables().value
    ionic = float(state.ionic_strength[0])
    if ionic > value("ionic_strength_valid"):
        far = "Far out" if ionic > value("ionic_strength_limit") else "Out"
        notes.append(
            f"{far} of range: ionic strength {ionic:.2f} mol/kg, the activity model is good "
            f"to {value('ionic_strength_valid'):g}"
        )
    if recipe.ph is not None and charge != 0.0:
        kind = "acid" if charge > 0.0 else "base"
        notes.append(
            f"pH {recipe.ph:g} is given: {abs(charge):.3g} mol/kg of a strong {kind} beyond what "
            "is declared would hold it"
        )
    strange = _out_of_range(recipe.t_celsius, state.system, species, phases, si)
    if strange:
        notes.append(
            f"At {recipe.t_celsius:g} C beyond the temperature range of these constants: "
            f"{listed(strange)}"
        )
    inert = [c for c in state.system.components if c in catalogue().inert]
    if inert:
        notes.append(
            f"Carried for charge and mass only, without reactions in the tables: {listed(inert)}"
        )
    notes += [f"{s.key}: {s.constant.note}" for s in saturating if s.constant.note]
    if settled is not None:
        notes.append(
            "Settled amounts are per kg of the declared water (below zero: dissolved); dissolved "
            "totals and all molalities per kg of the water left"
        )
    return notes


def _out_of_range(
    t_celsius: float,
    system: System,
    species: Sequence[SpeciesLine],
    phases: Phases,
    si: Mapping[str, float],
) -> list[str]:
    """Species that matter here and solids near their limit, used beyond their constants' range."""
    constants = dict(zip(system.species, system.constants, strict=True))
    out = []
    for line in species:
        constant = constants[line.key]
        if constant is None or max(line.shares.values(), default=1.0) < SEEN_SHARE:
            continue
        if not constant.t_min <= t_celsius <= constant.t_max:
            out.append(line.key)
    for solid in phases.solids:
        inside = solid.constant.t_min <= t_celsius <= solid.constant.t_max
        if not inside and si[solid.key] > NEAR_SI:
            out.append(solid.key)
    return out


def _pairs(totals: Mapping[str, float]) -> str:
    return ", ".join(f"{c} {v:g}" for c, v in totals.items())
