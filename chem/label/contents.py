"""A product's contents per draw: from guarantees and sources to moles of conserved components."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from chem.doubts import Draws
from chem.equilibrium import Conditions, build_system, solve
from chem.errors import InputProblem, Problem
from chem.label.nnls import Floats, nnls
from chem.label.product import Product
from chem.reference import Guarantee, Source, catalogue, molar_mass_g_per_mol, tables

OVER_FORMULATION_MEAN = 0.03
OVER_FORMULATION_SD = 0.03
"""A label is a minimum: contents lie some percent above it (common practice, no source)."""
ALSO_SD = 0.10
DENSITY_SD = 0.005
PH_READING_SD = 0.1
PH_DOUBT_SD = 1.0
FREE_ACID_SD = 0.005
CLOSING_LIMIT = 0.03
"""The closing acid or base is at most this share of the product's charge."""
SPREAD_RIDGE = 1e-4
SLOW_AGENTS = {"EDTA", "DTPA", "HEDTA", "EDDHA"}
"""Agents whose ferric chelates exchange over hours to days (common practice, no source)."""
STRONG_IONIC_STRENGTH = 4.0
DILUTION = {"neat": 1.0, "10 %": 0.1, "1 %": 0.01}


@dataclass(frozen=True)
class Contents:
    """What a product holds, per draw and per kg of product.

    components: C keys; mol_per_kg: (N, C); water_kg_per_kg: (N,); density_kg_per_L: (N,), NaN for
    a dry product; held: (metal, agent) -> (N,) mol per kg of chelates that exchange only slowly
    (their metal and agent stand in mol_per_kg too); sources_percent: source key -> (N,) percent by
    mass; closing_eq_per_kg: (N,) base added (acid if negative) to meet the stated pH; notes: what
    was assumed.
    """

    product: Product
    components: tuple[str, ...]
    mol_per_kg: Floats
    water_kg_per_kg: Floats
    density_kg_per_L: Floats
    held: Mapping[tuple[str, str], Floats]
    sources_percent: Mapping[str, Floats]
    closing_eq_per_kg: Floats
    hazards: frozenset[str]
    notes: tuple[str, ...]

    def of(self, component: str) -> Floats:
        """(N,) mol per kg of one component; zero where it holds none."""
        if component not in self.components:
            return np.zeros(len(self.mol_per_kg))
        return self.mol_per_kg[:, self.components.index(component)]


def contents(product: Product, draws: Draws) -> Contents:
    """The contents that a label implies.

    Raises:
        InputProblem: sources fall short of a guarantee by more than the published allowance, or
            weigh more than the product.
    """
    notes: list[str] = []
    sources, amounts = _amounts(product, draws)
    held: dict[str, Floats] = {}
    water = np.ones(draws.count)
    for j, source in enumerate(sources):
        water = water - amounts[:, j] * (1.0 - source.water_share)
        for component, mol in source.mol_per_kg().items():
            held[component] = held.get(component, 0.0) + amounts[:, j] * mol
    for line, chelated in product.chelated.items():
        _add_agent(line, chelated.agent, chelated.percent, held, product, notes)
    water = water - _extra_mass(sources, amounts, held)
    nominal = float(np.median(water))
    if nominal < (-1e-6 if not product.dry else -0.05):
        raise InputProblem(
            Problem(
                f"{product.file}, guarantee = {dict(product.guarantee)}",
                f"the sources needed for it weigh {100 * (1 - nominal):.0f} % of the product",
                "the percents as printed, and the hydrate that the label names",
            )
        )
    water = np.maximum(water, 0.0)
    components = tuple(c for c in tables().components if c in held)
    matrix = (
        np.stack([held[c] for c in components], axis=1)
        if components
        else np.zeros((draws.count, 0))
    )
    density = _density(product, water, draws, notes)
    closing = _closing(product, components, matrix, water, draws, notes)
    components, matrix = _close(components, matrix, closing)
    return Contents(
        product=product,
        components=components,
        mol_per_kg=matrix,
        water_kg_per_kg=water,
        density_kg_per_L=density,
        held=_held(sources, amounts),
        sources_percent={s.key: 100.0 * amounts[:, j] for j, s in enumerate(sources)},
        closing_eq_per_kg=closing,
        hazards=frozenset(h for s in sources for h in s.hazard),
        notes=tuple(notes),
    )


def _amounts(product: Product, draws: Draws) -> tuple[list[Source], Floats]:
    """Sources and their amounts (N, n) [kg per kg of product]."""
    known = catalogue()
    given = {known.sources[k]: p / 100.0 for k, p in product.also.items()}
    free = [s for s in product.sources if s not in given]
    fixed = (
        np.stack(
            [
                share * draws.factor(f"product:{product.key}:also:{s.key}", ALSO_SD)
                for s, share in given.items()
            ],
            axis=1,
        )
        if given
        else np.zeros((draws.count, 0))
    )
    lines = [(known.guarantees[k], p) for k, p in product.guarantee.items()]
    if not free or not lines:
        spread = np.zeros((draws.count, len(free)))
        return [*given, *free], np.concatenate([fixed, spread], axis=1)
    gives = np.array([[g.percent_of(s.mol_per_kg()) for s in free] for g, _ in lines])
    already = np.array([[g.percent_of(s.mol_per_kg()) for s in given] for g, _ in lines])
    already = already.reshape(len(lines), len(given))
    asked = np.array([p for _, p in lines])
    excess = np.stack(
        [
            draws.normal(
                f"product:{product.key}:guarantee:{g.key}",
                OVER_FORMULATION_MEAN,
                OVER_FORMULATION_SD,
            )
            for g, _ in lines
        ],
        axis=1,
    )
    floor = np.array([-g.allowance(p) / p if p > 0.0 else 0.0 for g, p in lines])
    right = asked * (1.0 + np.maximum(excess, floor)) - fixed @ already.T
    nominal = asked - already @ np.array(list(given.values())) if given else asked
    gives, right, nominal = _with_chelated(product, free, gives, right, nominal)
    scale = 1.0 / np.maximum(np.abs(nominal), 0.02)
    reach = np.array(
        [
            min(
                (max(n, 1e-3) / g for n, g in zip(nominal, column, strict=True) if g > 0), default=1
            )
            for column in gives.T
        ]
    )
    matrix = gives * scale[:, None] * reach
    ridge = np.full(len(free), SPREAD_RIDGE)
    middle = nnls(matrix, (nominal * scale)[None, :], ridge)[0] * reach
    _check_reached(product, lines, gives[: len(lines)] @ middle, nominal[: len(lines)])
    amounts = nnls(matrix, right * scale, ridge) * reach
    return [*given, *free], np.concatenate([fixed, amounts], axis=1)


def _with_chelated(
    product: Product, free: list[Source], gives: Floats, right: Floats, nominal: Floats
) -> tuple[Floats, Floats, Floats]:
    """One more line per metal declared chelated, which only its chelates supply."""
    known = catalogue()
    for line, chelated in product.chelated.items():
        guarantee = known.guarantees[line]
        row = np.array([guarantee.percent_of(s.mol_per_kg()) if s.bound else 0.0 for s in free])
        if not row.any():
            continue
        share = chelated.percent / max(product.guarantee[line], 1e-9)
        index = list(product.guarantee).index(line)
        gives = np.vstack([gives, row])
        right = np.column_stack([right, right[:, index] * share])
        nominal = np.append(nominal, nominal[index] * share)
    return gives, right, nominal


def _check_reached(
    product: Product, lines: list[tuple[Guarantee, float]], reached: Floats, asked: Floats
) -> None:
    """Raises: InputProblem where the best supply falls short by more than the allowance."""
    problems = []
    for (line, percent), got, wanted in zip(lines, reached, asked, strict=True):
        allowed = line.allowance(percent)
        if wanted - got > max(allowed, 0.02 * percent):
            problems.append(
                Problem(
                    f"{product.file}, guarantee.{line.key} = {percent:g}",
                    f"its sources reach only {max(percent - wanted + got, 0.0):.2g} % beside the "
                    f"other lines (allowed shortfall {allowed:.2g})",
                    "every source of the `derived from` line, and the percents as printed",
                )
            )
    if problems:
        raise InputProblem(problems)


def _add_agent(
    line: str,
    agent: str | None,
    percent: float,
    held: dict[str, Floats],
    product: Product,
    notes: list[str],
) -> None:
    """The agent of a chelated metal that no source brings along, one mole per mole of metal."""
    if agent is None:
        if not set(held) & {"EDTA", "DTPA", "HEDTA", "EDDHA", "citrate", "gluconate", "glycine"}:
            notes.append(
                f"{product.name}: the label names no agent for the chelated {line}; "
                "counted as free metal"
            )
        return
    if agent in held:
        return
    guarantee = catalogue().guarantees[line]
    mol = 10.0 * percent / guarantee.grams_per_mole
    held[agent] = np.full(len(next(iter(held.values()))), mol)
    notes.append(f"{product.name}: {agent} taken as one per {line} declared chelated")


def _held(sources: list[Source], amounts: Floats) -> dict[tuple[str, str], Floats]:
    """(metal, agent) -> (N,) mol per kg of strong ferric chelates."""
    out: dict[tuple[str, str], Floats] = {}
    for j, source in enumerate(sources):
        pair = (source.bound.get("metal", ""), source.bound.get("agent", ""))
        if pair[0] == "Fe3" and pair[1] in SLOW_AGENTS:
            mol = source.mol_per_kg()
            amount = amounts[:, j] * min(mol[pair[0]], mol[pair[1]])
            out[pair] = out.get(pair, np.zeros(len(amounts))) + amount
    return out


def _extra_mass(sources: list[Source], amounts: Floats, held: dict[str, Floats]) -> Floats:
    """(N,) kg per kg of agents that came with no source."""
    brought = {c for s in sources for c in s.components}
    formulas = tables().components
    total = np.zeros(len(amounts))
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
            return low * draws.factor(name, DENSITY_SD)
        return draws.uniform(name, low, high)
    volume = tables().physical["apparent_specific_volume_solids"]
    per_kg = draws.normal(name, volume.value, 0.1)
    notes.append(
        f"{product.name}: density not known; taken from what is dissolved, "
        f"about {np.median(1.0 / (water / 0.998 + (1.0 - water) * volume.value)):.2f} kg/L"
    )
    return np.asarray(1.0 / (water / 0.998 + (1.0 - water) * np.maximum(per_kg, 0.2)))


def _closing(
    product: Product,
    components: tuple[str, ...],
    mol_per_kg: Floats,
    water: Floats,
    draws: Draws,
    notes: list[str],
) -> Floats:
    """(N,) strong base [eq/kg product] that the stated pH asks for; acid if negative."""
    charges = np.array([tables().components[c].charge for c in components])
    if not components or not charges.any():
        return np.zeros(draws.count)
    load = mol_per_kg @ np.abs(charges)
    if product.ph is None:
        share = draws.normal(f"product:{product.key}:free acid", 0.0, FREE_ACID_SD)
        return np.asarray(share * load)
    dilution = DILUTION[product.ph_at if not product.dry else "1 %"]
    strong = 0.5 * (mol_per_kg @ charges**2) * dilution / (dilution * water + 1.0 - dilution + 1e-9)
    doubtful = bool(np.median(strong) > STRONG_IONIC_STRENGTH)
    if doubtful:
        dilution = min(dilution, 0.1)
        notes.append(
            f"{product.name}: its pH was read in a brine too strong for any model; "
            "taken as uncertain by one unit"
        )
    per_kgw = mol_per_kg * (dilution / (dilution * water + 1.0 - dilution))[:, None]
    reading = draws.uniform(f"product:{product.key}:ph", product.ph.low, product.ph.high)
    spread = PH_DOUBT_SD if doubtful else PH_READING_SD
    target = reading + draws.normal(f"product:{product.key}:ph reading", 0.0, spread)
    system = build_system(components)
    order = [components.index(c) for c in system.components]
    state = solve(
        system,
        per_kgw[:, order],
        Conditions.nominal(system),
        ph=np.clip(target, 0.0, 14.0),
    )
    imbalance = np.nan_to_num(state.molality) @ system.charge
    per_kg_product = -imbalance / (dilution / (dilution * water + 1.0 - dilution))
    limit = CLOSING_LIMIT * load
    return np.asarray(np.clip(np.where(state.converged, per_kg_product, 0.0), -limit, limit))


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
