"""Gases and heat in amounts: what fizzes, what smells, how warm it gets."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from chem.equilibrium import Conditions, aired
from chem.forecast.hazards import Gas
from chem.forecast.prepare import Doubtful, Prepared
from chem.reference import catalogue, read_csv


@cache
def gas_values() -> dict[tuple[str, str], float]:
    """(gas, quantity) -> value of `gases.csv`."""
    return {(r["gas"], r["quantity"]): float(r["value"]) for r in read_csv("gases.csv")}


@dataclass(frozen=True)
class Evolved:
    """A gas or heat with its amount: upper end over the draws, unit, and limit if there is one."""

    key: str
    because: str
    amount: float | None
    unit: str
    limit: float | None


def evolved(ready: Prepared, fresh: Doubtful, warned: tuple[Gas, ...]) -> tuple[Evolved, ...]:
    """Amounts for the gases and heat warned of, and for carbon dioxide and ammonia in any case.

    carbon_dioxide [mL gas per L of mix at 1 atm]; ammonia [ppm in the air over the tank];
    sulfur_dioxide [mL/L, all of the thiosulfate, an upper bound]; heat [K of the whole tank].
    """
    found = {g.key: Evolved(g.key, g.because, None, "", None) for g in warned}
    value = gas_values()
    fizz = _carbon_dioxide(ready)
    if fizz is not None and fizz > value["carbon_dioxide", "fizz_limit"]:
        because = (
            found["carbon_dioxide"].because
            if "carbon_dioxide" in found
            else (
                "Fizzes: more carbon dioxide than the water holds. Never close the jar or the lid."
            )
        )
        found["carbon_dioxide"] = Evolved(
            "carbon_dioxide", because, fizz, "mL gas per litre of mix", None
        )
    ammonia = _ammonia_ppm(fresh)
    limit = value["ammonia", "limit"]
    if ammonia > limit:
        because = (
            found["ammonia"].because
            if "ammonia" in found
            else ("Ammonia over the tank, sharp smell. Lid open, stand upwind.")
        )
        found["ammonia"] = Evolved("ammonia", because, ammonia, "ppm over the tank", limit)
    if "sulfur_dioxide" in found:
        old = found["sulfur_dioxide"]
        mol = _total(ready, "S2O3") * value["sulfur_dioxide", "per_thiosulfate"]
        litres = 1000.0 * mol * value["carbon_dioxide", "molar_volume"]
        found["sulfur_dioxide"] = Evolved(
            old.key,
            old.because,
            litres,
            "mL gas per litre at most",
            value["sulfur_dioxide", "limit"],
        )
    if "heat" in found:
        warmer = _heat_kelvin(ready)
        found["heat"] = Evolved("heat", found["heat"].because, warmer, "C warmer", None)
    return tuple(found.values())


def _total(ready: Prepared, component: str) -> float:
    """Median mol/L of a component."""
    finished = ready.finished
    if component not in finished.components:
        return 0.0
    return float(np.median(finished.totals_mol_per_L[:, finished.components.index(component)]))


def _carbon_dioxide(ready: Prepared) -> float | None:
    """mL of gas at 1 atm that a litre gives off, 95 % quantile of a few draws."""
    system = ready.aged.system
    rows = np.linspace(0, ready.draws.count - 1, min(16, ready.draws.count)).astype(int)
    totals = ready.aged.totals(0.0)[rows]
    state = aired(system, totals, Conditions.nominal(system, ready.mix.t_celsius), 1.0)
    if state is None or not state.converged.any():
        return None
    given = state.amounts[state.converged, 0] * ready.finished.water_kg_per_L[rows][state.converged]
    mol_per_L = max(float(np.quantile(given, 0.95)), 0.0)
    return 1000.0 * mol_per_L * gas_values()["carbon_dioxide", "molar_volume"]


def _ammonia_ppm(fresh: Doubtful) -> float:
    """ppm of ammonia in air in balance with the tank, 95 % quantile."""
    column = fresh.clear.system.index.get("NH3")
    if column is None:
        return 0.0
    activity = np.exp(np.nan_to_num(fresh.clear.ln_activity[:, column], nan=-50.0))
    return 1e6 * float(np.quantile(activity, 0.95)) / gas_values()["ammonia", "henry"]


def _heat_kelvin(ready: Prepared) -> float:
    """How much warmer the full tank gets from strong acids and bases diluted and neutralised."""
    value = gas_values()
    known = catalogue().sources
    acid = base = heat = 0.0
    for addition, inside in zip(ready.mix.additions, ready.contents, strict=True):
        amount = addition.amount_per_L(ready.mix.carrier_L_per_m2) / 1000.0
        if not addition.by_mass:
            amount *= float(np.nanmedian(inside.density_kg_per_L))
        for key, percent in inside.sources_percent.items():
            hazards = known[key].hazard
            mol = 10.0 * amount * float(np.median(percent)) / known[key].molar_mass
            name = next((q for g, q in value if g == "heat" and q in key), None)
            if name is not None:
                heat += mol * value["heat", name]
            if "strong acid" in hazards:
                acid += mol
            elif "strong base" in hazards:
                base += mol
    heat += min(acid, base) * value["heat", "neutralization"]
    return heat / (value["heat", "water"] * float(np.median(ready.finished.density_kg_per_L)))
