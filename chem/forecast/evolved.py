"""Gases and heat in amounts: what fizzes, what smells, how warm it gets."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from chem.equilibrium import Conditions, aired
from chem.equilibrium.activity import Floats
from chem.forecast.hazards import Gas
from chem.forecast.prepare import Doubtful, Prepared
from chem.reference import catalogue, read_csv

Rows = NDArray[np.int_]
PATH = (0.1, 0.2, 0.35, 0.5, 0.7, 0.85)
"""Shares of a carbonate product that are in when the gas is looked at on the way."""


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

    carbon_dioxide [mL gas per L of mix at 1 atm]: what the water can't keep, at its worst while the
    carbonate goes in; where it keeps all, what stirring may yet drive out. ammonia [ppm in the air
    over the tank]; sulfur_dioxide [mL/L, all of the thiosulfate and sulfite, an upper bound];
    hydrogen_sulfide [mL/L, if acid got to all of the sulfide]; heat [K of the whole tank].
    """
    found = {g.key: Evolved(g.key, g.because, None, "", None) for g in warned}
    value = gas_values()
    warned_of_fizz = "carbon_dioxide" in found
    fizz = _carbon_dioxide(ready, warned_of_fizz, 1.0)
    unit = "mL gas per litre of mix"
    if warned_of_fizz and (fizz is None or fizz <= value["carbon_dioxide", "fizz_limit"]):
        fizz = _carbon_dioxide(ready, True, None)
        unit += " at most"
    if fizz is not None and (warned_of_fizz or fizz > value["carbon_dioxide", "fizz_limit"]):
        because = (
            found["carbon_dioxide"].because
            if warned_of_fizz
            else "Fizzes: more carbon dioxide than the water holds. Never close the jar or the lid."
        )
        limit = value["carbon_dioxide", "limit"]
        found["carbon_dioxide"] = Evolved("carbon_dioxide", because, fizz, unit, limit)
    middle, ammonia = _ammonia_ppm(fresh)
    limit = value["ammonia", "limit"]
    if ammonia > limit:
        if "ammonia" in found:
            because = found["ammonia"].because
        elif middle > limit:
            because = "Ammonia over the tank, sharp smell. Lid open, stand upwind."
        else:
            because = "May smell of ammonia: check the pH. Lid open, stand upwind."
        unit = "ppm over the tank" + ("" if middle > limit else " at most")
        found["ammonia"] = Evolved("ammonia", because, ammonia, unit, limit)
    if "sulfur_dioxide" in found:
        old = found["sulfur_dioxide"]
        mol = _total(ready, "S2O3") * value["sulfur_dioxide", "per_thiosulfate"]
        mol += sum(n * _sulfurs(key) for key, n in _sources_mol(ready, "sulfite").items())
        found["sulfur_dioxide"] = Evolved(
            old.key,
            old.because,
            _millilitres(mol),
            "mL gas per litre at most",
            value["sulfur_dioxide", "limit"],
        )
    if "hydrogen_sulfide" in found:
        old = found["hydrogen_sulfide"]
        mol = sum(_sources_mol(ready, "sulfide").values())
        found["hydrogen_sulfide"] = Evolved(
            old.key,
            old.because,
            _millilitres(mol * value["hydrogen_sulfide", "per_sulfide"]),
            "mL gas per litre if acid got in",
            value["hydrogen_sulfide", "limit"],
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


def _millilitres(mol: float) -> float:
    """mL of gas at 20 C and 1 atm."""
    return 1000.0 * mol * gas_values()["carbon_dioxide", "molar_volume"]


def _sources_mol(ready: Prepared, hazard: str = "") -> dict[str, float]:
    """Source (with a hazard, if one is named) -> mol in a litre of mix, at the middle draw."""
    known = catalogue().sources
    out: dict[str, float] = {}
    for addition, inside in zip(ready.mix.additions, ready.contents, strict=True):
        amount = addition.amount_per_L(ready.mix.carrier_L_per_m2) / 1000.0
        if not addition.by_mass:
            amount *= float(np.nanmedian(inside.density_kg_per_L))
        for key, percent in inside.sources_percent.items():
            if not hazard or hazard in known[key].hazard:
                mol = 10.0 * amount * float(np.median(percent)) / known[key].molar_mass
                out[key] = out.get(key, 0.0) + mol
    return out


def _sulfurs(source: str) -> int:
    """Sulfur atoms in a formula unit of a source."""
    import periodictable

    atoms = periodictable.formula(catalogue().sources[source].formula).atoms
    return int(sum(n for atom, n in atoms.items() if atom.symbol == "S"))


def _carbon_dioxide(ready: Prepared, on_the_way: bool, pressure_atm: float | None) -> float | None:
    """mL of gas at 1 atm that a litre gives off, 95 % quantile of a few draws.

    on_the_way: also at its worst while a carbonate product goes into all the rest; pressure_atm:
    of carbon dioxide over the tank, None for that of the air.
    """
    system, known = ready.aged.system, catalogue().sources
    rows = np.linspace(0, ready.draws.count - 1, min(16, ready.draws.count)).astype(int)
    water = ready.finished.water_kg_per_L[rows]
    whole = ready.aged.totals(0.0)[rows]
    states = [whole]
    if on_the_way:
        states += [
            np.maximum(whole - (1.0 - share) * _carried(ready, i, rows), 0.0)
            for i, inside in enumerate(ready.contents)
            if any("carbonate" in known[key].hazard for key in inside.sources_percent)
            for share in PATH
        ]
    conditions = Conditions.nominal(system, ready.mix.t_celsius)
    state = aired(system, np.concatenate(states), conditions, pressure_atm)
    if state is None or not state.converged.any():
        return None
    given = np.where(state.converged, state.amounts[:, 0], np.nan) * np.tile(water, len(states))
    by_state = given.reshape(len(states), len(rows))
    if not np.isfinite(by_state).any(axis=0).all():
        return None
    worst = np.nanmax(by_state, axis=0)
    return _millilitres(max(float(np.quantile(worst, 0.95)), 0.0))


def _carried(ready: Prepared, index: int, rows: Rows) -> Floats:
    """(rows, C) [mol/kg water] that one product brings, in the order of the system's components."""
    finished, system = ready.finished, ready.aged.system
    place = {c: i for i, c in enumerate(system.components)}
    out = np.zeros((len(rows), len(place)))
    for j, component in enumerate(finished.components):
        out[:, place[component]] = (
            finished.from_product[index, rows, j] / finished.water_kg_per_L[rows]
        )
    return out


def _ammonia_ppm(fresh: Doubtful) -> tuple[float, float]:
    """ppm of ammonia in air in balance with the tank, 50 and 95 % quantile."""
    column = fresh.clear.system.index.get("NH3")
    if column is None:
        return 0.0, 0.0
    activity = np.exp(np.nan_to_num(fresh.clear.ln_activity[:, column], nan=-50.0))
    middle, upper = np.quantile(activity, (0.5, 0.95))
    ppm = 1e6 / gas_values()["ammonia", "henry"]
    return ppm * float(middle), ppm * float(upper)


def _heat_kelvin(ready: Prepared) -> float:
    """How much warmer the full tank gets from strong acids and bases diluted and neutralised."""
    value = gas_values()
    heat = 0.0
    for key, mol in _sources_mol(ready).items():
        name = next((q for g, q in value if g == "heat" and q in key), None)
        if name is not None:
            heat += mol * value["heat", name]
    acid = sum(_sources_mol(ready, "strong acid").values())
    base = sum(_sources_mol(ready, "strong base").values())
    heat += min(acid, base) * value["heat", "neutralization"]
    return heat / (value["heat", "water"] * float(np.median(ready.finished.density_kg_per_L)))
