"""What must hold on every machine, whatever the constants: balances, order, batches."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from chem.equilibrium import Conditions, Equilibrium, System, build_system, solve
from chem.equilibrium.activity import Floats
from chem.forecast import forecast
from chem.label import read_product
from chem.laboratory.recipe import Recipe
from chem.laboratory.solution import equilibrate
from chem.reference import data_folder
from chem.tank import Addition, Mix, read_water
from chem.units import Rate

FEED = {
    "Ca": 0.004, "Mg": 0.002, "K": 0.007, "NH4": 0.001, "Fe3": 5e-5, "EDTA": 6e-5, "B": 3e-5,
    "NO3": 0.0135, "SO4": 0.0025, "PO4": 0.001, "CO3": 5e-4, "Cl": 0.001,
}  # fmt: skip
"""Ordinary nutrient solution, invented; small enough to solve in milliseconds."""
STRONG = {c: 25.0 * v for c, v in FEED.items()}
T_CELSIUS = 18.0
DRAWS = 16


@dataclass(frozen=True)
class Invariant:
    """A deviation that must stay below `tolerance`."""

    key: str
    what: str
    deviation: Callable[[], float]
    tolerance: float


def _solved(mixture: dict[str, float], rows: int = 1) -> tuple[System, Floats, Equilibrium]:
    system = build_system(mixture)
    factors = np.linspace(1.0, 3.0, rows)[:, None]
    totals = system.totals(mixture) * factors
    return system, totals, solve(system, totals, Conditions.nominal(system, T_CELSIUS))


def _mass_balance() -> float:
    system, totals, state = _solved(STRONG, 8)
    held = state.molality @ system.nu[:-1].T
    return float(np.abs(held / totals - 1.0).max())


def _electroneutrality() -> float:
    return float(_solved(STRONG, 8)[2].charge_balance_relative.max())


def _solid_in_excess() -> float:
    result = equilibrate(Recipe("feed", T_CELSIUS, None, FEED), saturate=["gypsum"])
    return abs(result.si["gypsum"])


def _settled() -> float:
    result = equilibrate(Recipe("strong feed", T_CELSIUS, None, STRONG), let_settle=True)
    assert result.settled and result.dissolved is not None
    return max(abs(result.si[key]) for key in result.settled)


def _tank() -> Mix:
    """Four products of the demo shelf in a demo water."""
    shelf = data_folder() / "demo"
    names = ("urea-liquor", "calcium-nitrate-liquor", "iron-edta", "ammonium-sulfate-liquor")
    rate = Rate("volume", "area", 0.6)
    products = [read_product(shelf / "products" / f"{name}.toml", name) for name in names]
    additions = tuple(Addition(product, rate) for product in products)
    water = read_water(shelf / "waters" / "hard-alkaline.toml")
    return Mix("self-check", "", water, 0.0815, "to mark", None, T_CELSIUS, None, additions, None)


def _apart(one: Mix, other: Mix) -> float:
    """Largest difference of pH and SI between the forecasts of two mixes."""
    first, second = forecast(one, count=DRAWS), forecast(other, count=DRAWS)
    si = {s.key: s.si.median for s in second.solids}
    differences = [abs(s.si.median - si[s.key]) for s in first.solids]
    return max(abs(first.ph.median - second.ph.median), *differences)


def _order() -> float:
    mix = _tank()
    return _apart(mix, replace(mix, additions=mix.additions[::-1]))


def _splitting() -> float:
    mix = _tank()
    halves = [replace(a, rate=replace(a.rate, value=0.5 * a.rate.value)) for a in mix.additions]
    return _apart(mix, replace(mix, additions=(*halves, *halves)))


def _batch() -> float:
    system, totals, batch = _solved(STRONG, 8)
    nominal = Conditions.nominal(system, T_CELSIUS)
    single = np.array([solve(system, row[None, :], nominal).ph[0] for row in totals])
    return float(np.abs(batch.ph - single).max())


def _fixed_ph() -> float:
    free = equilibrate(Recipe("a", T_CELSIUS, None, FEED))
    fixed = equilibrate(Recipe("b", T_CELSIUS, free.ph, FEED))
    return max(fixed.charge_balance_relative, *(abs(fixed.si[k] - free.si[k]) for k in free.si))


def _excess() -> float:
    """Solid that stands in excess already: more of it must not change the solution."""
    salt = {"Na": 0.5, "Cl": 0.5}
    over = salt | {"Ca": 0.2, "SO4": 0.2}
    one = equilibrate(Recipe("a", T_CELSIUS, None, salt), saturate=["gypsum"])
    other = equilibrate(Recipe("b", T_CELSIUS, None, over), let_settle=True)
    assert one.dissolved is not None and other.dissolved is not None
    # Gypsum binds water, so the second solution's salt is scaled by the water left.
    scale = other.dissolved["Na"] / one.dissolved["Na"]
    again = equilibrate(
        Recipe("c", T_CELSIUS, None, {c: v * scale for c, v in salt.items()}), saturate=["gypsum"]
    )
    assert again.dissolved is not None
    return abs(again.dissolved["Ca"] / other.dissolved["Ca"] - 1.0)


INVARIANTS = (
    Invariant("mass_balance", "mass balance of every component, relative", _mass_balance, 1e-9),
    Invariant("electroneutrality", "charge balance, relative", _electroneutrality, 1e-9),
    Invariant("held_solid", "SI of a solid in excess", _solid_in_excess, 1e-6),
    Invariant("settled_solids", "SI of every solid that settled", _settled, 1e-6),
    Invariant("order", "pH and SI of a tank poured in another order", _order, 1e-6),
    Invariant("splitting", "pH and SI with every product in two halves", _splitting, 1e-6),
    Invariant("batch", "pH of a batch against row by row", _batch, 1e-7),
    Invariant("fixed_ph", "given its own pH back: charge and SI", _fixed_ph, 1e-6),
    Invariant("saturation", "dissolving up against settling down, relative", _excess, 1e-3),
)
