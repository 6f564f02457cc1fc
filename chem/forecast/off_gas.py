"""Gases and heat in amounts: what fizzes, what smells, how warm it gets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from chem.doubts import median, quantile, quantiles
from chem.equilibrium import Conditions, aired
from chem.equilibrium.activity import Floats
from chem.forecast.hazards import Gas
from chem.forecast.prepare import Prepared
from chem.forecast.state import State
from chem.reference import catalogue, read_csv, tables

Rows = NDArray[np.int_]
PATH = (0.1, 0.2, 0.35, 0.5, 0.7, 0.85)
"""Shares of a carbonate product that are in when the gas is looked at on the way."""


@cache
def gas_values() -> dict[tuple[str, str], float]:
    """(gas, quantity) -> value of `gases.csv`."""
    return {(r["gas"], r["quantity"]): float(r["value"]) for r in read_csv("gases.csv")}


@dataclass(frozen=True)
class Evolved:
    """A gas or heat with its amount.

    gas: what and why; amount: upper end over the draws, None where it can't be reckoned; unit:
    `mL/L` of gas per litre of mix, `ppm` in the air over the tank, or `K` warmer; bound: `at most`
    or `if acid got in` where it is no expectation; limit: of exposure or of fizz, in the unit.
    """

    gas: Gas
    amount: float | None = None
    unit: str = ""
    bound: str = ""
    limit: float | None = None

    @property
    def key(self) -> str:
        """Which gas, or `heat`."""
        return self.gas.key


AT_MOST, WITH_ACID = "at most", "if acid got in"


def evolved(ready: Prepared, fresh: State, warned: Sequence[Gas]) -> tuple[Evolved, ...]:
    """Amounts for the gases and heat warned of, and for carbon dioxide and ammonia in any case.

    carbon_dioxide [mL gas per L of mix at 1 atm]: what the water can't keep, at its worst while the
    carbonate goes in; where it keeps all, what stirring may yet drive out. ammonia [ppm in the air
    over the tank]; sulfur_dioxide [mL/L, all of the thiosulfate and sulfite, an upper bound];
    hydrogen_sulfide [mL/L, if acid got to all of the sulfide]; heat [K of the whole tank]. No
    figure rests on a tank that is too strong for the activity model.
    """
    found = {g.key: Evolved(g) for g in warned}
    value = gas_values()
    warned_of_fizz = "carbon_dioxide" in found
    strong = _too_strong(fresh)
    fizz, bound = None if strong else _carbon_dioxide(ready, warned_of_fizz, 1.0), ""
    if (
        warned_of_fizz
        and not strong
        and (fizz is None or fizz <= value["carbon_dioxide", "fizz_limit"])
    ):
        fizz, bound = _carbon_dioxide(ready, True, None), AT_MOST
    if fizz is not None and (warned_of_fizz or fizz > value["carbon_dioxide", "fizz_limit"]):
        gas = found["carbon_dioxide"].gas if warned_of_fizz else Gas("carbon_dioxide", "reckoned")
        limit = value["carbon_dioxide", "limit"]
        found["carbon_dioxide"] = Evolved(gas, fizz, "mL/L", bound, limit)
    middle, ammonia = _ammonia_ppm(fresh)
    limit = value["ammonia", "limit"]
    if ammonia > limit:
        if "ammonia" in found:
            gas = found["ammonia"].gas
        else:
            gas = Gas("ammonia", "reckoned" if middle > limit else "unsure")
        found["ammonia"] = Evolved(gas, ammonia, "ppm", "" if middle > limit else AT_MOST, limit)
    if "sulfur_dioxide" in found:
        mol = _total(ready, "S2O3") * value["sulfur_dioxide", "per_thiosulfate"]
        mol += sum(n * _sulfurs(key) for key, n in _sources_mol(ready, "sulfite").items())
        limit = value["sulfur_dioxide", "limit"]
        gas = found["sulfur_dioxide"].gas
        found["sulfur_dioxide"] = Evolved(gas, _millilitres(mol), "mL/L", AT_MOST, limit)
    if "hydrogen_sulfide" in found:
        mol = sum(_sources_mol(ready, "sulfide").values())
        mol *= value["hydrogen_sulfide", "per_sulfide"]
        limit = value["hydrogen_sulfide", "limit"]
        gas = found["hydrogen_sulfide"].gas
        found["hydrogen_sulfide"] = Evolved(gas, _millilitres(mol), "mL/L", WITH_ACID, limit)
    if "heat" in found:
        found["heat"] = Evolved(found["heat"].gas, _heat_kelvin(ready), "K")
    return tuple(found.values())


def _total(ready: Prepared, component: str) -> float:
    """Median mol/L of a component."""
    finished = ready.finished
    if component not in finished.components:
        return 0.0
    return median(finished.totals_mol_per_L[:, finished.components.index(component)])


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
            amount *= median(inside.density_kg_per_L)
        for key, percent in inside.sources_percent.items():
            if not hazard or hazard in known[key].hazard:
                mol = 10.0 * amount * median(percent) / known[key].molar_mass
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
    return _millilitres(max(quantile(worst, 0.95), 0.0))


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


def _too_strong(fresh: State) -> bool:
    """Whether the tank is beyond what the activity model is good for."""
    return median(fresh.clear.ionic_strength) > tables().value("ionic_strength_valid")


def _ammonia_ppm(fresh: State) -> tuple[float, float]:
    """ppm of ammonia in air in balance with the tank, 50 and 95 % quantile.

    No figure, 0, in a tank too strong for the model.
    """
    column = fresh.clear.system.index.get("NH3")
    if column is None or _too_strong(fresh):
        return 0.0, 0.0
    activity = np.exp(np.nan_to_num(fresh.clear.ln_activity[:, column], nan=-50.0))
    middle, upper = quantiles(activity, (0.5, 0.95))
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
    return heat / (value["heat", "water"] * median(ready.finished.density_kg_per_L))
