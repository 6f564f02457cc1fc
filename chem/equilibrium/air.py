"""The carbon dioxide of the air as a phase in unlimited supply."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from chem.equilibrium.activity import MOLAR_MASS_WATER_KG, Floats
from chem.equilibrium.outcome import Conditions, Equilibrium
from chem.equilibrium.solids import settle
from chem.equilibrium.system import Phases, System
from chem.reference import Constant, Solid, tables

DISSOLVED = "CO2"


def henry_constant() -> Constant:
    """log10 of the molality of CO2(aq) per atm of CO2, with its temperature function."""
    value = tables().value
    row = tables().physical["henry_co2_log_k"]
    return Constant(
        log_k=row.value,
        u=0.02,
        delta_h=value("henry_co2_delta_h"),
        delta_h_u=0.5,
        delta_cp=value("henry_co2_delta_cp"),
        t_min=0.0,
        t_max=50.0,
        kind="measured",
        source=row.source,
        where=row.where,
        note=row.note,
    )


def aired(
    system: System,
    totals_mol_per_kgw: Floats,
    conditions: Conditions,
    pressure_atm: float | None = None,
    *,
    start: Equilibrium | None = None,
) -> Equilibrium | None:
    """The solution once in balance with CO2 at a pressure (default the air's), (N,) rows.

    start: the same rows shut off from air. None where it can hold no CO2. `amounts` (N, 1): CO2
    given off, negative where taken up [mol/kg water]. Raises: ValueError as `solve`.
    """
    column = system.index.get(DISSOLVED)
    constant = None if column is None else system.constants[column]
    species = next((s for s in tables().species if s.key == DISSOLVED), None)
    if column is None or constant is None or species is None:
        return None
    gas = Solid(
        "carbon_dioxide_gas",
        "carbon dioxide of the air",
        "CO2",
        species.reaction,
        henry_constant(),
        "prompt",
        "carbon_dioxide_gas",
        "",
        "",
    )
    phases = Phases((gas.key,), (gas,), system.nu[:, [column]], system.water[[column]], np.ones(1))
    t = conditions.t_celsius
    # Mass balance bounds what a species may reach, so the totals get an excess of CO2 that the air
    # takes back; the H2O that it then leaves is left out of the water from the start.
    carbon = next(c for c in species.reaction if c not in {"H+", "H2O"})
    totals = np.array(np.atleast_2d(totals_mol_per_kgw), dtype=float)
    excess = 0.01 + 0.1 * (totals @ np.abs(system.component_charge))
    totals[:, system.masters[carbon]] += excess
    first_water = 1.0 - MOLAR_MASS_WATER_KG * excess
    totals /= first_water[:, None]
    pressure = tables().value("pco2_air") if pressure_atm is None else pressure_atm
    log_activity = henry_constant().at(t) + math.log10(pressure)
    state = settle(
        system,
        totals,
        conditions,
        phases,
        log_ksp=np.array([[log_activity - constant.at(t)]]),
        always=np.array([True]),
        start=start,
    )
    return replace(
        state,
        totals=np.atleast_2d(totals_mol_per_kgw),
        amounts=state.amounts * first_water[:, None] - excess[:, None],
        water_left=state.water_left * first_water,
    )
