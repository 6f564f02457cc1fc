"""Hard mixes frozen by seed, for the solver's tests, the referee and the bench.

Totals are log-uniform over 0.001-3 mol/kg, then bent one way per kind; sodium or chloride is added
until the outcome's pH is the one drawn. Rows come in families of one component set, so that a
family is one batch.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from chem.doubts import Draws
from chem.equilibrium import SHIFT_CLASSES, Conditions, System, build_system, solve
from chem.reference import tables

LOW, HIGH = 1e-3, 3.0
TRACE = 1e-12
LIGANDS = ("citrate", "EDTA", "DTPA", "HEDTA", "P2O7", "P3O10", "gluconate", "glycine", "oxalate")
METALS = ("Ca", "Mg", "Fe2", "Fe3", "Mn", "Zn", "Cu")
KINDS = ("wide", "traces", "equal", "excess ligand", "excess metal", "iron citrate", "nutrients")
FAMILY_ROWS = 50
ADDED_SINCE = {"SO3"}
"""Components younger than the frozen mixes, left out so that these stay what they were."""


@dataclass(frozen=True)
class Family:
    """Rows of one component set: totals (N, C) [mol/kg], one temperature [degC], a kind per row."""

    system: System
    totals: NDArray[np.float64]
    t_celsius: float
    kinds: tuple[str, ...]


@cache
def system_of(components: tuple[str, ...]) -> System:
    return build_system(components)


def families(count: int, seed: int, rows: int = FAMILY_ROWS) -> Iterator[Family]:
    """`count` families of component sets from 7 to all; every tenth holds all."""
    rng = np.random.default_rng(seed)
    every = tuple(c for c in tables().components if c not in ADDED_SINCE)
    for number in range(count):
        if number % 10 == 9:
            components = every
        else:
            size = 7 + int((len(every) - 7) * rng.random() ** 2)
            must = {"Na", "Cl", "Fe3", "citrate", "EDTA"} if number % 2 else {"Na", "Cl"}
            others = [c for c in every if c not in must]
            drawn = rng.choice(others, size - len(must), replace=False)
            components = tuple(c for c in every if c in must or c in set(drawn))
        yield family(rng, components, rows)


def family(
    rng: np.random.Generator,
    components: Sequence[str],
    rows: int,
    *,
    kinds: Sequence[str] = KINDS,
    high: float = HIGH,
    ph: tuple[float, float] = (1.0, 11.0),
) -> Family:
    """Random rows of one component set; sodium and chloride must be in it."""
    system = system_of(tuple(components))
    totals = np.exp(rng.uniform(np.log(LOW), np.log(high), (rows, len(components))))
    t_celsius = float(rng.uniform(5.0, 40.0))
    named = tuple(kinds[i % len(kinds)] for i in range(rows))
    for i, kind in enumerate(named):
        _bend(rng, components, totals[i], kind)
    targets = rng.uniform(*ph, rows)
    return Family(system, closed(system, totals, t_celsius, targets), t_celsius, named)


def _bend(
    rng: np.random.Generator, components: Sequence[str], totals: NDArray[np.float64], kind: str
) -> None:
    """Make one row hard in its own way, in place."""
    place = {c: i for i, c in enumerate(components)}
    ligands = [place[c] for c in LIGANDS if c in place]
    metals = [place[c] for c in METALS if c in place]
    if kind == "traces":
        totals[rng.random(len(totals)) < 0.4] = TRACE
    elif kind == "equal" and {"Fe3", "EDTA"} <= set(place):
        totals[metals] = TRACE
        totals[place["Fe3"]] = totals[place["EDTA"]] * (1.0 + rng.uniform(-1e-9, 1e-9))
    elif kind == "excess ligand":
        totals[metals] *= 0.01
    elif kind == "excess metal":
        totals[ligands] *= 0.01
    elif kind == "iron citrate" and {"Fe3", "citrate"} <= set(place):
        totals[ligands] *= 1e-3
        totals[place["Fe3"]] = 10.0 ** rng.uniform(-3, 0)
        totals[place["citrate"]] = totals[place["Fe3"]] * 10.0 ** rng.uniform(-0.5, 1.0)
    elif kind == "nutrients":
        totals *= 10.0 ** rng.uniform(-3.0, -1.0)


def closed(
    system: System,
    totals: NDArray[np.float64],
    t_celsius: float,
    ph: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Totals with sodium or chloride added until electroneutrality gives about the asked pH."""
    base = totals.copy()
    sodium, chloride = system.components.index("Na"), system.components.index("Cl")
    added = np.zeros(len(base))
    conditions = Conditions.nominal(system, t_celsius)
    for _ in range(6):
        out = base.copy()
        out[:, sodium] += np.maximum(-added, 0.0)
        out[:, chloride] += np.maximum(added, 0.0)
        state = solve(system, out, conditions, ph=ph)
        added = added + np.nan_to_num(state.molality @ system.charge)
    out = base.copy()
    out[:, sodium] += np.maximum(-added, 0.0)
    out[:, chloride] += np.maximum(added, 0.0)
    return out


def with_doubts(system: System, t_celsius: float, rows: int, seed: int = 1) -> Conditions:
    """Constants of every row drawn from their uncertainties."""
    draws = Draws(rows, seed)
    log_k = [
        k + draws.normal(key, 0.0, u)
        for key, k, u in zip(system.species, system.log_k(t_celsius), system.log_k_u(), strict=True)
    ]
    shifts = [
        draws.normal(name, 0.0, u) for name, u in zip(SHIFT_CLASSES, system.eps_u, strict=True)
    ]
    return Conditions(t_celsius, np.stack(log_k, axis=1), np.stack(shifts, axis=1))
