"""The set of species that some components make, as arrays.

Shape letters of the whole project: N draws, C components, S species, M solids.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from chem.equilibrium.activity import Floats, debye_hueckel_a
from chem.reference import Constant, InteractionRule, Solid, Tables, tables

SHIFT_CLASSES = ("1:1", "1:2", "other")
"""Charge classes by which estimated interaction coefficients move together."""


@dataclass(frozen=True, eq=False)
class System:
    """Stoichiometry and constants of the species that `components` can form.

    Attributes:
        components: C keys, H+ not among them; row C of `nu` is H+.
        species: S keys: masters in the order of components, then H+, then complexes.
        constants: S constants of formation (None for masters and H+).
        nu: (C+1, S) components and H+ per species.
        water: (S,) H2O taken up when a species forms.
        charge: (S,) charges; component_charge: (C,) of masters.
        eps, eps1, slope: (S, S) interaction coefficients [kg/mol], [kg/mol], [kg/mol/K].
        estimated: (3, S, S) 1 where a coefficient is a rule's, by SHIFT_CLASSES.
        log_limit: I [mol/kg] up to which the log10(I) term was fitted; it stays there above.
        eps_u: (3,) one standard uncertainty of the estimated coefficients [kg/mol].
    """

    components: tuple[str, ...]
    species: tuple[str, ...]
    constants: tuple[Constant | None, ...]
    nu: Floats
    water: Floats
    charge: Floats
    component_charge: Floats
    eps: Floats
    eps1: Floats
    slope: Floats
    estimated: Floats
    eps_u: Floats
    ba: float
    log_limit: float

    def __post_init__(self) -> None:
        for name in ("nu", "water", "charge", "component_charge", "eps", "eps1", "slope"):
            getattr(self, name).setflags(write=False)

    @cached_property
    def index(self) -> Mapping[str, int]:
        """Species key -> column."""
        return {key: i for i, key in enumerate(self.species)}

    @cached_property
    def masters(self) -> Mapping[str, int]:
        """Master species, and H+ -> row of `nu`."""
        return {self.species[i]: i for i in range(len(self.components) + 1)}

    def log_k(self, t_celsius: float) -> Floats:
        """(S,) log10 formation constants at t [degC]; 0 for masters."""
        return np.array([0.0 if k is None else k.at(t_celsius) for k in self.constants])

    def log_k_u(self) -> Floats:
        """(S,) standard uncertainty of log10 K; 0 for masters."""
        return np.array([0.0 if k is None else k.u for k in self.constants])

    def debye_hueckel(self, t_celsius: float) -> float:
        """A [(kg/mol)^1/2] at t [degC]."""
        return debye_hueckel_a(t_celsius)

    def eps_at(self, t_celsius: float, ionic_strength: float | None = None) -> Floats:
        """(S, S) coefficients at t [degC]: their constant part, or all at I [mol/kg]."""
        constant = self.eps + self.slope * (t_celsius - 25.0)
        if ionic_strength is None:
            return constant
        return constant + self.eps1 * math.log10(min(ionic_strength, self.log_limit))

    def totals(self, mol_per_kgw: Mapping[str, float]) -> Floats:
        """(1, C) totals from a mapping; components not named are 0."""
        return np.array([[float(mol_per_kgw.get(c, 0.0)) for c in self.components]])


@dataclass(frozen=True)
class Phases:
    """Solids (or a gas) that may stand in equilibrium with a system.

    nu: (C+1, M); water: (M,) H2O set free on dissolving; ions: (M,); solids: M rows of the table.
    """

    keys: tuple[str, ...]
    solids: tuple[Solid, ...]
    nu: Floats
    water: Floats
    ions: Floats

    def log_k(self, t_celsius: float) -> Floats:
        """(M,) log10 Ksp at t [degC]."""
        return np.array([s.constant.at(t_celsius) for s in self.solids])

    def log_k_u(self) -> Floats:
        """(M,) standard uncertainty of log10 Ksp."""
        return np.array([s.constant.u for s in self.solids])

    def __len__(self) -> int:
        return len(self.keys)

    def pick(self, columns: NDArray[np.int64]) -> Phases:
        """Some of the solids, by column."""
        return Phases(
            tuple(self.keys[i] for i in columns),
            tuple(self.solids[i] for i in columns),
            self.nu[:, columns],
            self.water[columns],
            self.ions[columns],
        )


def _vector(reaction: Mapping[str, float], rows: Mapping[str, int]) -> Floats | None:
    """(C+1,) coefficients, or None if the reaction needs a component that is not there."""
    out = np.zeros(len(rows))
    for name, count in reaction.items():
        if name == "H2O":
            continue
        if name not in rows:
            return None
        out[rows[name]] = count
    return out


def _rule(rules: Iterable[InteractionRule], cation: int, anion: int) -> InteractionRule:
    """The first rule whose charges match; a blank charge matches all."""
    for rule in rules:
        if rule.cation_charge in (None, cation) and rule.anion_charge in (None, anion):
            return rule
    raise ValueError("interaction_rules.csv needs a last row without charges")


def _shift_class(z1: int, z2: int) -> int:
    low, high = sorted((abs(z1), abs(z2)))
    return 0 if high == 1 else 1 if (low, high) == (1, 2) else 2


def held_key(metal: str, agent: str) -> str:
    """Component key of a chelate that does not exchange."""
    return f"{metal}:{agent}"


def _held_species(
    metal: str, agent: str, table: Tables
) -> tuple[str, int, list[tuple[str, int, float, float, Constant]]]:
    """A held chelate: its bare form, its charge, and its protonated and hydroxo forms.

    Each form: species key, charge, H+ and H2O taken up from the bare form, constant of that step.
    A pair without a one-to-one complex in the tables has its bare form alone.
    """
    masters = table.components[metal].master, table.components[agent].master
    forms = [
        s
        for s in table.species
        if {k for k in s.reaction if k not in {"H+", "H2O"}} == set(masters)
        and all(s.reaction[m] == 1.0 for m in masters)
    ]
    bare = next((s for s in forms if not set(s.reaction) - set(masters)), None)
    if bare is None:
        charge = table.components[metal].charge + table.components[agent].charge
        return held_key(metal, agent), charge, []
    steps = []
    for s in forms:
        if s is bare:
            continue
        constant = replace(
            s.constant,
            log_k=s.constant.log_k - bare.constant.log_k,
            delta_h=s.constant.delta_h - bare.constant.delta_h,
            delta_cp=s.constant.delta_cp - bare.constant.delta_cp,
            u=min(s.constant.u, 0.2),
        )
        protons, water = s.reaction.get("H+", 0.0), s.reaction.get("H2O", 0.0)
        steps.append((s.key, s.charge, protons, water, constant))
    return bare.key, bare.charge, steps


def build_system(
    components: Iterable[str],
    table: Tables | None = None,
    held: Iterable[tuple[str, str]] = (),
) -> System:
    """The system of all tabulated species of `components`.

    held: (metal, agent) of chelates that do not exchange; each is one more component, named
    `held_key(metal, agent)`, whose species carry the suffix `*`.

    Raises: KeyError for a component that the tables don't hold.
    """
    return _built(frozenset(components), tuple(held), table or tables())


@lru_cache(maxsize=32)
def _built(wanted: frozenset[str], held: tuple[tuple[str, str], ...], table: Tables) -> System:
    keys = tuple(c for c in table.components if c in wanted)
    missing = wanted - set(keys)
    if missing:
        raise KeyError(f"no component {sorted(missing)} in components.csv")
    chelates = {held_key(*pair): _held_species(*pair, table) for pair in held}
    names = [table.components[c].master for c in keys]
    names += [f"{bare}*" for bare, _, _ in chelates.values()]
    charges = [table.components[c].charge for c in keys]
    charges += [charge for _, charge, _ in chelates.values()] + [1]
    keys += tuple(chelates)
    rows = {name: i for i, name in enumerate([*names, "H+"])}
    names = list(rows)
    constants: list[Constant | None] = [None] * len(names)
    columns = [np.eye(len(rows))[i] for i in range(len(rows))]
    water = [0.0] * len(names)
    for bare, _, steps in chelates.values():
        for key, charge, protons, hydrated, constant in steps:
            column = np.eye(len(rows))[rows[f"{bare}*"]]
            column[rows["H+"]] = protons
            names.append(f"{key}*")
            charges.append(charge)
            constants.append(constant)
            columns.append(column)
            water.append(hydrated)
    for species in table.species:
        column = _vector(species.reaction, rows)
        if column is None:
            continue
        names.append(species.key)
        charges.append(species.charge)
        constants.append(species.constant)
        columns.append(column)
        water.append(species.reaction.get("H2O", 0.0))
    eps, eps1, slope, estimated, eps_u = _interactions(names, np.array(charges), table)
    return System(
        components=keys,
        species=tuple(names),
        constants=tuple(constants),
        nu=np.array(columns).T.copy(),
        water=np.array(water),
        charge=np.array(charges, dtype=float),
        component_charge=np.array(charges[: len(keys)], dtype=float),
        eps=eps,
        eps1=eps1,
        slope=slope,
        estimated=estimated,
        eps_u=eps_u,
        ba=table.value("sit_Ba"),
        log_limit=table.value("interaction_log_limit"),
    )


def _interactions(
    names: list[str], charges: NDArray[np.int64], table: Tables
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """eps, eps1, slope, estimated and eps_u of `System`: by rule, then what is measured."""
    size = len(names)
    eps, eps1, slope, spread = (np.zeros((size, size)) for _ in range(4))
    estimated = np.zeros((len(SHIFT_CLASSES), size, size))
    present = {z: charges == z for z in set(charges.tolist())}
    for zi, some in present.items():
        for zj, others in present.items():
            if zi * zj < 0:
                rule, pairs = _rule(table.rules, max(zi, zj), min(zi, zj)), np.ix_(some, others)
                eps[pairs], spread[pairs] = rule.eps, rule.u
                estimated[_shift_class(zi, zj)][pairs] = 1.0
    places: dict[str, list[int]] = {}
    for i, name in enumerate(names):
        places.setdefault(name.rstrip("*"), []).append(i)
    for pair, row in table.interactions.items():
        first, last = min(pair), max(pair)
        for i in places.get(first, ()):
            for j in places.get(last, ()):
                if i != j:
                    eps[i, j] = eps[j, i] = row.eps
                    eps1[i, j] = eps1[j, i] = row.eps1
                    slope[i, j] = slope[j, i] = row.slope_per_k
                    estimated[:, i, j] = estimated[:, j, i] = 0.0
    counts = estimated.sum(axis=(1, 2))
    eps_u = (estimated * spread).sum(axis=(1, 2)) / np.maximum(counts, 1.0)
    return eps, eps1, slope, estimated, eps_u


def build_phases(
    system: System, solids: Iterable[str] | None = None, table: Tables | None = None
) -> Phases:
    """The solids whose every component is in the system (all, or those named).

    Raises: KeyError for a solid that the tables don't hold.
    """
    wanted = None if solids is None else tuple(solids)
    return _solids(system, wanted, table or tables())


@lru_cache(maxsize=32)
def _solids(system: System, wanted: tuple[str, ...] | None, table: Tables) -> Phases:
    found = []
    for key in table.solids if wanted is None else wanted:
        solid = table.solids[key]
        column = _vector(solid.reaction, system.masters)
        if column is not None:
            found.append((key, solid, column))
    return Phases(
        keys=tuple(key for key, _, _ in found),
        solids=tuple(solid for _, solid, _ in found),
        nu=np.array([c for _, _, c in found]).T.reshape(len(system.components) + 1, len(found)),
        water=np.array([s.reaction.get("H2O", 0.0) for _, s, _ in found]),
        ions=np.array([s.ions for _, s, _ in found]),
    )
