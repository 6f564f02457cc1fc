"""A product's contents per draw: from guarantees and sources to moles of conserved components."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from chem.doubts import Draws, doubts, median, varies
from chem.equilibrium import Conditions, Equilibrium, build_system, solve
from chem.label.amounts import Fitting, Prior, fitting, open_columns
from chem.label.nnls import Floats
from chem.label.product import UNDECLARED_SALT, Product
from chem.reference import Source, catalogue, molar_mass_g_per_mol, tables

CLOSING_LIMIT = 0.03
"""The closing acid or base is at most this share of the product's charge, unless that leaves the
product further from its stated pH than the reading is doubtful."""
PH_MISS, PH_MISS_IN_BRINE = 0.5, 2.0
"""Furthest that a product may stand from its stated pH: what is acid or basic in a jug need not be
on its label, but the pH of a jug is a measurement (common practice, no source)."""
STRONG_IONIC_STRENGTH = 4.0
DILUTION = {"neat": 1.0, "10 %": 0.1, "1 %": 0.01}
SLOW_AGENTS = {"EDTA", "DTPA", "HEDTA", "EDDHA"}
"""Agents whose ferric chelates exchange over hours to days (common practice, no source)."""
AGENT_CHANCES = (("EDTA", 0.4), ("citrate", 0.3), ("gluconate", 0.2), ("glycine", 0.1))
"""Agents of a metal declared chelated by none named (common practice, no source)."""
INSOLUBLE = {
    "copper hydroxide",
    "zinc oxide",
    "manganese carbonate",
    "magnesium hydroxide",
    "magnesium oxide",
    "magnesium carbonate",
    "calcium carbonate",
    "calcium sulfate dihydrate",
}
"""Sources that a suspension carries as grains: not judged (common practice, no source)."""
CHAINS = {"P2O7": 2.0, "P3O10": 3.0}
"""Phosphorus atoms of each chain."""
CANDIDATE_SETS = 4
OFTEN_WRONG = 0.10


@dataclass(frozen=True)
class Contents:
    """What a product holds, per draw and per kg of product.

    components: C keys; mol_per_kg: (N, C); water_kg_per_kg: (N,); density_kg_per_L: (N,), NaN for
    a dry product; held: (metal, agent) -> (N,) mol per kg of chelates that exchange only slowly
    (their metal and agent stand in mol_per_kg too); sources_percent: source key -> (N,) percent by
    mass; closing_eq_per_kg: (N,) base added (acid if negative) to meet the stated pH; doubts: name
    -> (N,) column of what the label leaves open; notes: what was assumed.
    """

    product: Product
    components: tuple[str, ...]
    mol_per_kg: Floats
    water_kg_per_kg: Floats
    density_kg_per_L: Floats
    held: Mapping[tuple[str, str], Floats]
    sources_percent: Mapping[str, Floats]
    closing_eq_per_kg: Floats
    doubts: Mapping[str, Floats]
    notes: tuple[str, ...]

    def first(self, count: int) -> Contents:
        """The first rows of all."""
        if count >= len(self.mol_per_kg):
            return self
        return replace(
            self,
            mol_per_kg=self.mol_per_kg[:count],
            water_kg_per_kg=self.water_kg_per_kg[:count],
            density_kg_per_L=self.density_kg_per_L[:count],
            held={pair: mol[:count] for pair, mol in self.held.items()},
            sources_percent={k: v[:count] for k, v in self.sources_percent.items()},
            closing_eq_per_kg=self.closing_eq_per_kg[:count],
            doubts={name: column[:count] for name, column in self.doubts.items()},
        )

    def of(self, component: str) -> Floats:
        """(N,) mol per kg of one component; zero where it holds none."""
        if component not in self.components:
            return np.zeros(len(self.mol_per_kg))
        return self.mol_per_kg[:, self.components.index(component)]


def contents(product: Product, draws: Draws, *, strict: bool = True) -> Contents:
    """The contents that a label implies, over all liquids that fit it.

    strict: refuse a label whose lines its sources can't reach; else come as near as can be.

    Where a pH is stated and the label leaves acids and bases open, liquids are chosen by how
    little closing acid or base they need for it.

    Raises:
        InputProblem: sources fall short of a guarantee by more than the published allowance, or
            weigh more than the product.
    """
    notes: list[str] = []
    draws = draws.scoped(product.identity)
    fits = fitting(product, notes, strict=strict)
    sources, amounts = fits.sources, fits.amounts(product, draws)
    made = _make(product, sources, amounts, draws, notes)
    need, limit, state = _closing(product, made, draws, notes)
    wrong = np.abs(need) > limit
    if draws.count > 1 and len(sources) > 1 and state is not None:
        share = float(wrong.mean())
        if share > OFTEN_WRONG:
            base = _BaseNeeded.fitted(made, need, state)
            amounts = _chosen_by_ph(product, fits, amounts, made, base, draws)
            made = _make(product, sources, amounts, draws, [])
            need, limit, state = _closing(product, made, draws, [], state)
            wrong = np.abs(need) > limit
    if wrong.mean() > 0.5:
        notes.append(
            f"{product.name}: its pH doesn't follow from its sources; "
            "something acid or basic is not on the label"
        )
    closing = np.clip(need, -limit, limit)
    if wrong.any() and state is not None:
        rows = np.flatnonzero(wrong)
        closing[rows] = _undeclared(product, made, draws, rows, need[rows], closing[rows], state)
    components, matrix = _close(made.components, made.mol_per_kg, closing)
    density = _density(product, made.water, draws, notes)
    open_ = dict(draws.used)
    if isinstance(fits, Fitting):
        made_here = open_columns(product, fits.lines, amounts)
        open_ |= {name: column for name, column in made_here.items() if varies(column)}
    return Contents(
        product=product,
        components=components,
        mol_per_kg=matrix,
        water_kg_per_kg=made.water,
        density_kg_per_L=density,
        held=made.held,
        sources_percent={s.key: 100.0 * amounts[:, j] for j, s in enumerate(sources)},
        closing_eq_per_kg=closing,
        doubts=MappingProxyType(open_),
        notes=tuple(notes),
    )


@dataclass(frozen=True)
class _Made:
    """Components (N, C) [mol/kg], water [kg/kg] and slow chelates before the pH is closed."""

    components: tuple[str, ...]
    mol_per_kg: Floats
    water: Floats
    held: Mapping[tuple[str, str], Floats]


def _make(
    product: Product,
    sources: tuple[Source, ...],
    amounts: Floats,
    draws: Draws,
    notes: list[str],
) -> _Made:
    """Source amounts (N, n) -> components, with what the label doesn't say of each."""
    held: dict[str, Floats] = {}
    water = np.ones(draws.count)
    for j, source in enumerate(sources):
        water = water - amounts[:, j] * (1.0 - source.water_share)
        if product.form == "suspension" and source.key in INSOLUBLE:
            notes.append(
                f"{product.name}: its {source.key} is taken to stay in suspension; "
                "acid dissolves it"
            )
            continue
        for component, mol in source.mol_per_kg().items():
            held[component] = held.get(component, 0.0) + amounts[:, j] * mol
    for line, chelated in product.chelated.items():
        _add_agent(line, chelated.agent, chelated.percent, held, product, draws, notes)
    _shift_forms(product, held, draws)
    _split_chains(product, sources, amounts, held, draws)
    if held and not product.dry:
        salt = _undeclared_salt(product, draws)
        for ion in ("Na", "Cl"):
            held[ion] = held.get(ion, 0.0) + 1000.0 * salt / molar_mass_g_per_mol("NaCl")
        water = water - salt
    water = np.maximum(water - _extra_mass(sources, held), 0.0)
    components = tuple(c for c in tables().components if c in held)
    matrix = np.stack([held[c] for c in components], axis=1) if held else np.zeros((draws.count, 0))
    return _Made(components, matrix, water, _slow_chelates(sources, amounts))


def _undeclared_salt(product: Product, draws: Draws) -> Floats:
    """(N,) kg/kg of sodium chloride that technical salts bring along."""
    if UNDECLARED_SALT in product.known:
        return np.full(draws.count, product.known[UNDECLARED_SALT] / 100.0)
    if "chlorine" in product.known:
        return np.zeros(draws.count)
    return draws.of("undeclared_sodium_chloride", f"product:{product.key}:{UNDECLARED_SALT}")


def _slow_chelates(sources: tuple[Source, ...], amounts: Floats) -> dict[tuple[str, str], Floats]:
    """(metal, agent) -> (N,) mol per kg of strong ferric chelates; a named chelate is all bound."""
    out: dict[tuple[str, str], Floats] = {}
    for j, source in enumerate(sources):
        pair = (source.bound.get("metal", ""), source.bound.get("agent", ""))
        if pair[0] == "Fe3" and pair[1] in SLOW_AGENTS:
            mol = source.mol_per_kg()
            chelate = amounts[:, j] * min(mol[pair[0]], mol[pair[1]])
            out[pair] = out.get(pair, np.zeros(len(amounts))) + chelate
    return out


def _shift_forms(product: Product, held: dict[str, Floats], draws: Draws) -> None:
    """Ferrous to ferric iron, slow nitrogen to urea, free ammonia."""
    zero = np.zeros(draws.count)
    if "Fe2" in held:
        doubt = "ferric_share_dry" if product.dry else "ferric_share"
        share = draws.of(doubt, f"product:{product.key}:ferric share")
        held["Fe3"] = held.get("Fe3", zero) + share * held["Fe2"]
        held["Fe2"] = (1.0 - share) * held["Fe2"]
    if "slow_N" in held:
        share = draws.of("organic_as_urea", f"product:{product.key}:organic nitrogen as urea")
        held["urea"] = held.get("urea", zero) + 0.5 * share * held["slow_N"]
        held["slow_N"] = (1.0 - share) * held["slow_N"]
    if "NH4" in held and product.ph is None and not product.dry:
        share = draws.of("free_ammonia", f"product:{product.key}:free ammonia")
        held["NH4"] = held["NH4"] * (1.0 + share)


def _split_chains(
    product: Product,
    sources: tuple[Source, ...],
    amounts: Floats,
    held: dict[str, Floats],
    draws: Draws,
) -> None:
    """Chains of phosphate to single ones, in sources that hold both; others stay as they are."""
    for j, source in enumerate(sources):
        mol = source.mol_per_kg()
        linked = sum(n * mol.get(chain, 0.0) for chain, n in CHAINS.items())
        single = mol.get("PO4", 0.0)
        if linked == 0.0 or single == 0.0:
            continue
        share = draws.of("ortho_share", f"product:{product.key}:orthophosphate share")
        keep = (1.0 - share) * (single + linked) / linked
        held["PO4"] = held["PO4"] + amounts[:, j] * (share * (single + linked) - single)
        for chain in CHAINS:
            if chain in mol:
                held[chain] = held[chain] + amounts[:, j] * mol[chain] * (keep - 1.0)


@dataclass(frozen=True)
class _BaseNeeded:
    """The closing base of liquids like those solved: linear in each component and its pH.

    Within 3 % of the most allowed for the shipped shelf, which is enough to choose by.
    """

    ph: Floats
    weights: Floats

    @classmethod
    def fitted(cls, made: _Made, need: Floats, state: Equilibrium) -> _BaseNeeded:
        """From liquids (N,) whose closing base [eq/kg] was solved for."""
        solved = state.converged
        blank = cls(np.where(solved, state.ph, 0.0), np.zeros(0))
        rows = blank._rows(made)[solved]
        weights = np.linalg.lstsq(rows, need[solved], rcond=1e-9)[0]
        return cls(blank.ph, np.asarray(weights, dtype=np.float64))

    def of(self, made: _Made) -> Floats:
        """(N,) closing base [eq/kg] of other liquids at the pH of the same draws."""
        return np.asarray(self._rows(made) @ self.weights)

    def _rows(self, made: _Made) -> Floats:
        away = (self.ph - self.ph.mean())[:, None]
        return np.hstack([made.mol_per_kg, made.mol_per_kg * away])


def _chosen_by_ph(
    product: Product,
    fits: Fitting | Prior,
    amounts: Floats,
    made: _Made,
    base: _BaseNeeded,
    draws: Draws,
) -> Floats:
    """Amounts (N, n) chosen from more candidates by how little closing acid or base they need."""
    more = fits.amounts(product, draws, CANDIDATE_SETS)
    liquids = [made]
    for candidates in np.split(more, CANDIDATE_SETS):
        liquids.append(_make(product, fits.sources, candidates, draws, []))
    miss = np.concatenate([np.abs(base.of(m)) / np.maximum(_most(m), 1e-12) for m in liquids])
    weight = np.exp(-0.5 * np.minimum(miss - miss.min(), 30.0) ** 2)
    edges = np.cumsum(weight) / weight.sum()
    levels = (np.arange(draws.count) + 0.5) / draws.count
    chosen = np.searchsorted(edges, levels)
    generator = draws.generator(f"product:{product.key}:liquids:order")
    return np.asarray(np.concatenate([amounts, more])[generator.permutation(chosen)])


def _most(made: _Made) -> Floats:
    """(N,) the most closing acid or base that is believed [eq/kg]."""
    charges = np.array([tables().components[c].charge for c in made.components])
    return np.asarray(CLOSING_LIMIT * (made.mol_per_kg @ np.abs(charges)))


def _add_agent(
    line: str,
    agent: str | None,
    percent: float,
    held: dict[str, Floats],
    product: Product,
    draws: Draws,
    notes: list[str],
) -> None:
    """The agent of a chelated metal that no source brings along, one mole per mole of metal."""
    if agent is not None and agent in held:
        return
    bound = draws.of("chelate_bound", f"product:{product.key}:bound {line}")
    mol = bound * 10.0 * percent / catalogue().guarantees[line].grams_per_mole
    if agent is not None:
        held[agent] = mol
        notes.append(f"{product.name}: {agent} taken as one per {line} declared chelated")
        return
    if set(held) & {*SLOW_AGENTS, "citrate", "gluconate", "glycine"}:
        return
    u = draws.uniform(f"product:{product.key}:agent of {line}", 0.0, 1.0)
    low = 0.0
    for name, chance in AGENT_CHANCES:
        picked = (u >= low) & (u < low + chance)
        held[name] = held.get(name, np.zeros(draws.count)) + mol * picked
        low += chance
    notes.append(
        f"{product.name}: the label names no agent for the chelated {line}; several were tried"
    )


def _extra_mass(sources: tuple[Source, ...], held: Mapping[str, Floats]) -> Floats:
    """(N,) kg per kg of agents that came with no source."""
    brought = {c for s in sources for c in s.components} | {"Na", "Cl", "Fe3", "urea"}
    formulas = tables().components
    total = np.zeros(len(next(iter(held.values())))) if held else np.zeros(1)
    for component, mol in held.items():
        if component not in brought:
            total = total + mol * molar_mass_g_per_mol(formulas[component].formula) / 1000.0
    return total


def _density(product: Product, water: Floats, draws: Draws, notes: list[str]) -> Floats:
    """(N,) kg/L."""
    if product.dry:
        return np.full(draws.count, np.nan)
    name = f"product:{product.key}:density"
    if product.density is not None:
        low, high = product.density
        if low == high:
            return low * draws.of("density_reading", name)
        return draws.uniform(name, low, high)
    per_kg = draws.of("specific_volume", name)
    middle = doubts()["specific_volume"].a
    notes.append(
        f"{product.name}: density not known; taken from what is dissolved, "
        f"about {median(1.0 / (water / 0.998 + (1.0 - water) * middle)):.2f} kg/L"
    )
    return np.asarray(1.0 / (water / 0.998 + (1.0 - water) * np.maximum(per_kg, 0.2)))


def _closing(
    product: Product,
    made: _Made,
    draws: Draws,
    notes: list[str],
    near: Equilibrium | None = None,
) -> tuple[Floats, Floats, Equilibrium | None]:
    """(N,) strong base that the stated pH asks for (acid if negative), and the most allowed.

    Both [eq/kg product]; also the solution it was found in. The pH is met at the dilution at
    which it was read. near: the solution of a like liquid, to start from.
    """
    charges = np.array([tables().components[c].charge for c in made.components])
    if not made.components or not charges.any():
        return np.zeros(draws.count), np.zeros(draws.count), None
    limit = _most(made)
    if product.ph is None:
        doubt = "free_acid_dry" if product.dry else "free_acid"
        free = draws.of(doubt, f"product:{product.key}:free acid")
        return free * limit / CLOSING_LIMIT, limit, None
    reading, dilution, doubtful = _reading(product, made, draws)
    if doubtful:
        notes.append(
            f"{product.name}: its pH was read in a brine too strong for any model; "
            "taken as uncertain by one unit"
        )
    need, state = _base_for(reading, dilution, made, near)
    return need, limit, state


def _undeclared(
    product: Product,
    made: _Made,
    draws: Draws,
    rows: NDArray[np.int64],
    need: Floats,
    closing: Floats,
    near: Equilibrium,
) -> Floats:
    """(R,) closing [eq/kg] with what no label names, where the stated pH is out of reach else.

    rows: (R,) draws; need, closing: (R,) theirs; near: the solution of all draws.
    """
    reading, dilution, doubtful = _reading(product, made, draws)
    miss = PH_MISS_IN_BRINE if doubtful else PH_MISS
    nearest = np.clip(reading[rows] - miss * np.sign(need), 0.0, 14.0)
    some = replace(made, mol_per_kg=made.mol_per_kg[rows], water=made.water[rows])
    least, _ = _base_for(nearest, dilution, some, near.rows(rows))
    beyond = (np.sign(least) == np.sign(need)) & (np.abs(least) > np.abs(closing))
    return np.where(beyond, least, closing)


def _reading(product: Product, made: _Made, draws: Draws) -> tuple[Floats, float, bool]:
    """(N,) stated pH as read, the dilution it is met at, and whether it was read in a brine."""
    assert product.ph is not None
    charges = np.array([tables().components[c].charge for c in made.components])
    dilution = DILUTION[product.ph_at if not product.dry else "1 %"]
    thinned = dilution / (dilution * made.water + 1.0 - dilution + 1e-9)
    strong = 0.5 * (made.mol_per_kg @ charges**2) * thinned
    doubtful = bool(median(strong) > STRONG_IONIC_STRENGTH)
    reading = draws.uniform(f"product:{product.key}:ph", product.ph.low, product.ph.high)
    error = draws.of(
        "ph_in_brine" if doubtful else "ph_reading", f"product:{product.key}:ph reading"
    )
    ph = np.clip(reading + error, 0.0, 14.0)
    return ph, min(dilution, 0.1) if doubtful else dilution, doubtful


def _base_for(
    ph: Floats, dilution: float, made: _Made, near: Equilibrium | None
) -> tuple[Floats, Equilibrium]:
    """(N,) strong base [eq/kg product] that a pH at a dilution asks for, and the solution."""
    to_kgw = dilution / (dilution * made.water + 1.0 - dilution)
    system = build_system(made.components)
    order = [made.components.index(c) for c in system.components]
    state = solve(
        system,
        (made.mol_per_kg * to_kgw[:, None])[:, order],
        Conditions.nominal(system),
        ph=ph,
        start=near if near is not None and near.system is system else None,
    )
    imbalance = np.nan_to_num(state.molality) @ system.charge
    return np.where(state.converged, -imbalance / to_kgw, 0.0), state


def _close(
    components: tuple[str, ...], mol_per_kg: Floats, closing: Floats
) -> tuple[tuple[str, ...], Floats]:
    """Contents with the closing base as sodium, the closing acid as chloride."""
    columns = {c: mol_per_kg[:, i] for i, c in enumerate(components)}
    for ion, amount in (("Na", np.maximum(closing, 0.0)), ("Cl", np.maximum(-closing, 0.0))):
        if amount.any():
            columns[ion] = columns.get(ion, np.zeros(len(closing))) + amount
    order = tuple(c for c in tables().components if c in columns)
    if not order:
        return components, mol_per_kg
    return order, np.stack([columns[c] for c in order], axis=1)
