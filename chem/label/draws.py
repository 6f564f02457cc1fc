"""A product's contents per draw: from guarantees and sources to moles of conserved components."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from chem.doubts import Draws, doubts, median, varies
from chem.errors import InputProblem
from chem.label.amounts import Candidates, candidates, open_columns
from chem.label.buffers import buffers
from chem.label.closing import choose, closed, width_of
from chem.label.curves import Made
from chem.label.evidence import WATER_KG_PER_L
from chem.label.product import UNDECLARED_SALT, Product
from chem.reference import Source, catalogue, judged, living, molar_mass_g_per_mol, tables, volumes

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

SLOW_AGENTS = {"EDTA", "DTPA", "HEDTA", "EDDHA"}
"""Agents whose ferric chelates exchange over hours to days (common practice, no source)."""
INSOLUBLE = {
    "copper hydroxide", "zinc oxide", "manganese carbonate", "magnesium hydroxide",
    "magnesium oxide", "magnesium carbonate", "calcium carbonate", "calcium sulfate dihydrate",
}  # fmt: skip
"""Sources that a suspension carries as grains: not judged (common practice, no source)."""
MADE_IN_THE_VAT = "iron glucoheptonate"
"""No crystal: made of an iron salt and one to two moles of sugar acid."""
CHAINS = {"P2O7": 2.0, "P3O10": 3.0}
"""Phosphorus atoms of each chain."""
LINE_OF = {
    "K": "soluble potash",
    "Ca": "calcium",
    "Mg": "magnesium",
    "Na": "sodium",
    "Cl": "chlorine",
    "SO4": "sulfur",
    "PO4": "available phosphate",
}
CITRIC_CHANCE, CITRIC_PERCENT = 0.5, (0.4, 6.0)
"""How often a jug of plain iron salts holds citric acid that its label leaves out, and how much
[% by mass]: the usual guard against rust, and no source of a nutrient (common practice, no
source)."""
FREE_CALCIUM, GYPSUM_ROOM = 0.05, 2e-3
"""Free calcium [mol/kg] from which on a clear jug has little room for sulfate, and that room:
calcium times sulfate [mol2/kg2], as gypsum dissolves in calcium chloride (0.2 to 0.3 g/L of
calcium sulfate in strong brines, 1 g/L in 0.1 mol/L: values from memory)."""
SALT_L_PER_KG = 0.36
"""Apparent volume of sodium chloride: 26 % is 1.197 kg/L (value from memory)."""
OTHER_L_PER_KG = 0.5
"""Of what no row of `volumes.csv` tells (estimate)."""
MIDDLE_OF = 256
"""One draw stands for the middle of so many."""


@dataclass(frozen=True)
class Contents:
    """What a product holds, per draw and per kg of product.

    components: C keys; mol_per_kg: (N, C); water_kg_per_kg: (N,); density_kg_per_L: (N,), NaN for
    a dry product; held: (metal, agent) -> (N,) mol per kg of chelates that exchange only slowly
    (their metal and agent stand in mol_per_kg too); sources_percent: source key -> (N,) percent by
    mass; closing_eq_per_kg: (N,) base that no label names (acid if negative), without what keeps
    unlisted buffers at the jug's pH; ph: (N,) of the jug at `ph_at` (share by mass in pure water);
    words: what a vague name or an unsourced line may mean -> chance of each; doubts: name -> (N,)
    column of what the label leaves open; notes: what was assumed.
    """

    product: Product
    components: tuple[str, ...]
    mol_per_kg: Floats
    water_kg_per_kg: Floats
    density_kg_per_L: Floats
    held: Mapping[tuple[str, str], Floats]
    sources_percent: Mapping[str, Floats]
    closing_eq_per_kg: Floats
    ph: Floats
    ph_at: float
    words: Mapping[str, Mapping[str, float]]
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
            ph=self.ph[:count],
            doubts={name: column[:count] for name, column in self.doubts.items()},
        )

    def of(self, component: str) -> Floats:
        """(N,) mol per kg of one component; zero where it holds none."""
        if component not in self.components:
            return np.zeros(len(self.mol_per_kg))
        return self.mol_per_kg[:, self.components.index(component)]


def contents(product: Product, draws: Draws, *, strict: bool = True) -> Contents:
    """The contents that a label implies, over all liquids that fit it.

    strict: refuse a label that can't be true; else come as near as can be.

    Raises:
        InputProblem: the sources that the label asks for weigh more than the product.
    """
    notes = list(product.unread_notes)
    draws = draws.scoped(product.identity)
    if product.whole:
        return _stated(product, draws, notes)
    found, problems = candidates(product, draws, notes)
    if problems and strict:
        raise InputProblem(problems)
    vat = _Vat(product, found, draws, notes)
    made = vat.made()
    if not made.components:
        return _empty(product, draws, made, notes)
    generator = draws.generator(f"product:{product.key}:ph")
    chosen = choose(product, made, max(draws.count, MIDDLE_OF), generator)
    rows = chosen.rows
    some = made.rows(rows)
    acids = buffers(product, some, chosen.ph, generator)
    if draws.count == 1:
        some, chosen = some.middle(), chosen.middle()
        acids = np.zeros((1, acids.shape[1]))
    components, matrix = closed(some, chosen, acids, generator)
    held = {pair: mol[rows] for pair, mol in vat.held.items() if mol[rows].any()}
    if draws.count == 1:
        held = {pair: mol.mean(keepdims=True) for pair, mol in held.items()}
    density = _density(product, some.water, some.volume, draws, notes)
    name = f"product:{product.key}"
    made_here = open_columns(product, found, rows)
    made_here |= {f"{name}:{k}": values[rows] for k, values in vat.hidden.items()}
    notes += [f"{product.name}: {said}; all of them are forecast" for said in chosen.against]
    made_here |= {f"{name}:ph": chosen.ph, f"{name}:unlisted buffer": acids.sum(axis=1)}
    many = draws.count > 1
    open_ = dict(draws.used) | {k: v for k, v in made_here.items() if many and varies(v)}
    _say(product, chosen.brine, found, chosen.lacking, some, notes)
    return Contents(
        product=product,
        components=components,
        mol_per_kg=matrix,
        water_kg_per_kg=some.water,
        density_kg_per_L=density,
        held=held,
        sources_percent={
            s.key: 100.0 * some.amounts[:, j]
            for j, s in enumerate(found.sources)
            if some.amounts[:, j].any()
        },
        closing_eq_per_kg=chosen.lacking,
        ph=chosen.ph,
        ph_at=chosen.dilution,
        words=_words(found, rows),
        doubts=MappingProxyType(open_),
        notes=tuple(dict.fromkeys(notes)),
    )


def _stated(product: Product, draws: Draws, notes: list[str]) -> Contents:
    """A product stated whole, a reagent by its strength: what it is made of and water."""
    n = draws.count
    shares = {s: product.known[s.key] / 100.0 for s in product.sources}
    salt = product.known.get(UNDECLARED_SALT, 0.0) / 100.0
    mol: dict[str, float] = {}
    for source, share in shares.items():
        for component, each in source.mol_per_kg().items():
            mol[component] = mol.get(component, 0.0) + share * each
    for ion in ("Na", "Cl") if salt else ():
        mol[ion] = mol.get(ion, 0.0) + 1000.0 * salt / molar_mass_g_per_mol("NaCl")
    dissolved = salt + sum(share * (1.0 - s.water_share) for s, share in shares.items())
    water = np.full(n, max(1.0 - dissolved, 0.0))
    litres = SALT_L_PER_KG * salt + sum(w * _litres_per_kg(s) for s, w in shares.items())
    volume = np.full(n, max(litres, 0.0))
    components = tuple(c for c in tables().components if c in mol)
    density = _density(product, water, volume, draws, notes)
    return Contents(
        product=product,
        components=components,
        mol_per_kg=np.tile([mol[c] for c in components], (n, 1)),
        water_kg_per_kg=water,
        density_kg_per_L=density,
        held={},
        sources_percent={s.key: np.full(n, 100.0 * share) for s, share in shares.items()},
        closing_eq_per_kg=np.zeros(n),
        ph=np.full(n, np.nan),
        ph_at=0.1,
        words={},
        doubts=MappingProxyType(dict(draws.used)),
        notes=tuple(dict.fromkeys(notes)),
    )


def _empty(product: Product, draws: Draws, made: Made, notes: list[str]) -> Contents:
    """A product of which nothing is known, or without anything that ions could tell of."""
    n = draws.count
    nothing = np.zeros(n)
    return Contents(
        product=product,
        components=(),
        mol_per_kg=np.zeros((draws.count, 0)),
        water_kg_per_kg=np.full(draws.count, median(made.water)),
        density_kg_per_L=_density(product, made.water[:n], made.volume[:n], draws, notes),
        held={},
        sources_percent={},
        closing_eq_per_kg=nothing,
        ph=np.full(draws.count, np.nan),
        ph_at=0.1,
        words={},
        doubts=MappingProxyType(dict(draws.used)),
        notes=tuple(notes),
    )


def _words(found: Candidates, rows: Integers) -> dict[str, dict[str, float]]:
    """What each vague name or unsourced line was read as, with its share of the draws."""
    out = {}
    for k, slot in enumerate(found.slots):
        taken = np.array([r.taken[k] if k < len(r.taken) else 0 for r in found.readings])
        share = np.bincount(taken[found.reading[rows]], minlength=len(slot.options)) / len(rows)
        out[slot.name] = {
            " and ".join(keys) or "as named": float(p)
            for (keys, _), p in zip(slot.options, share, strict=True)
            if p > 0.0
        }
    return out


def _say(
    product: Product, brine: bool, found: Candidates, need: Floats, made: Made, notes: list[str]
) -> None:
    """What was assumed, in words."""
    sourced = bool(product.sources or product.also or product.vague)
    for k, slot in enumerate(found.slots):
        if slot.name == "forms of its phosphate":
            continue
        taken = [slot.options[r.taken[k]] for r in found.readings if k < len(r.taken)]
        tried = ", ".join(dict.fromkeys(" and ".join(keys) for keys, _ in taken if keys))
        if not tried:
            continue
        said = "may be" if slot.name in product.vague else "no source named for"
        if slot.name in product.vague:
            notes.append(f"{product.name}: {slot.name} {said} {tried}")
        elif not sourced or slot.name in product.guarantee:
            notes.append(f"{product.name}: {said} {slot.name}; tried {tried}")
    named = {s.key for s in product.sources} | set(product.also)
    open_amounts = [k for k in found.unstated if k in named]
    if open_amounts:
        highest = max(float(100.0 * found.amounts[:, j].max()) for j, s in enumerate(found.sources)
                      if s.key in open_amounts)  # fmt: skip
        notes.append(
            f"{product.name}: no amount on the label for {', '.join(open_amounts)}; up to "
            f"{highest:.2g} % tried: its percent under [also] settles it"
        )
    if brine:
        notes.append(
            f"{product.name}: its pH was read in a brine too strong for any model, and is taken "
            "as uncertain by one unit; 1 g in 9 g of distilled water would tell more"
        )
    if product.ph is not None and np.mean(np.abs(need) > 3.0 * width_of(product, made)) > 0.5:
        notes.append(
            f"{product.name}: its pH doesn't follow from its sources; "
            "something acid or basic is not on the label"
        )


class _Vat:
    """Candidate liquids, source by source, with what a label doesn't say of each.

    held: slow chelates (M,) [mol/kg]; hidden: name of a doubt -> (M,) its value.
    """

    def __init__(self, product: Product, found: Candidates, draws: Draws, notes: list[str]) -> None:
        self.product, self.found, self.draws, self.notes = product, found, draws, notes
        self.count = len(found.amounts)
        self.generator = draws.generator(f"product:{product.key}:unsaid")
        self.mol: dict[str, Floats] = {}
        self.water = np.ones(self.count)
        self.volume = np.zeros(self.count)
        self.held: dict[tuple[str, str], Floats] = {}
        self.hidden: dict[str, Floats] = {}

    def made(self) -> Made:
        """The liquids before their pH is closed."""
        found = self.found
        for source, amount in zip(found.sources, found.amounts.T, strict=True):
            self._pour(source, amount)
        for line, chelated in self.product.chelated.items():
            self._agent(line, chelated.agent, chelated.percent)
        self._shift_forms()
        self._split_chains()
        told = self.product.has_composition or self.product.ph is not None
        if not self.product.dry and told and self.product.form in {"solution", "suspension"}:
            self._unsaid()
        water = np.clip(self.water, 0.01, 1.0)
        components = tuple(c for c in tables().components if c in self.mol)
        matrix = np.zeros((self.count, 0))
        if components:
            matrix = np.maximum(np.stack([self.mol[c] for c in components], axis=1), 0.0)
        return Made(
            components,
            matrix,
            water,
            self.volume,
            found.sources,
            found.amounts,
            found.miss_eq,
            found.reading,
            found.bare,
        )

    def _uniform(self, doubt: str, name: str) -> Floats:
        row = doubts()[doubt]
        values = (
            row.a + (row.b - row.a) * (self.generator.permutation(self.count) + 0.5) / self.count
        )
        self.hidden[name] = values
        return np.asarray(values)

    def _log_uniform(self, low: float, high: float) -> Floats:
        u = self.generator.random(self.count)
        return np.asarray(np.exp(np.log(low) + (np.log(high) - np.log(low)) * u))

    def _add(self, component: str, mol: Floats) -> None:
        self.mol[component] = self.mol.get(component, np.zeros(self.count)) + mol

    def _pour(self, source: Source, amount: Floats) -> None:
        self.water = self.water - amount * (1.0 - source.water_share)
        self.volume = self.volume + amount * _litres_per_kg(source)
        if self.product.form == "suspension" and source.key in INSOLUBLE:
            self.notes.append(
                f"{self.product.name}: its {source.key} is taken to stay in suspension; "
                "acid dissolves it"
            )
            return
        mol = source.mol_per_kg()
        for component, each in mol.items():
            self._add(component, amount * each)
        if source.key == MADE_IN_THE_VAT and not self.product.dry:
            u = self._uniform("sugar_acid_iron", "sugar acid of iron")
            self.mol["gluconate"] -= (1.0 - u) * amount * mol["gluconate"]
        pair = (source.bound.get("metal", ""), source.bound.get("agent", ""))
        if pair[0] == "Fe3" and pair[1] in SLOW_AGENTS:
            chelate = amount * min(mol[pair[0]], mol[pair[1]])
            self.held[pair] = self.held.get(pair, np.zeros(self.count)) + chelate

    def _agent(self, line: str, agent: str | None, percent: float) -> None:
        """The agent of a chelated metal that no source brings along, one mole per mole of metal."""
        if agent is not None and (agent in self.mol or agent not in tables().components):
            return
        if agent is None and set(self.mol) & {*SLOW_AGENTS, "citrate", "gluconate", "glycine"}:
            return
        bound = self._uniform("chelate_bound", f"bound {line}")
        mol = bound * 10.0 * percent / catalogue().guarantees[line].grams_per_mole
        name = self.product.name
        if agent is not None:
            self._weigh(agent, mol)
            self.notes.append(f"{name}: {agent} taken as one per {line} declared chelated")
            return
        u = self.generator.random(self.count)
        self.hidden[f"agent of {line}"] = u
        low = 0.0
        for candidate, chance in judged("chelated_by").items():
            self._weigh(candidate, mol * ((u >= low) & (u < low + chance)))
            low += chance
        self.notes.append(
            f"{name}: the label names no agent for the chelated {line}; several were tried"
        )

    def _weigh(self, component: str, mol: Floats) -> None:
        """Add a component that came with no source, its mass in the place of water."""
        self._add(component, mol)
        grams = molar_mass_g_per_mol(tables().components[component].formula)
        self.water = self.water - mol * grams / 1000.0
        self.volume = self.volume + mol * volumes().get(("component", component), 0.0) / 1000.0

    def _shift_forms(self) -> None:
        """Ferrous to ferric iron, slow nitrogen to urea."""
        if "Fe2" in self.mol:
            doubt = "ferric_share_dry" if self.product.dry else "ferric_share"
            turned = self._uniform(doubt, "ferric share") * self.mol["Fe2"]
            sugar = self.mol.get("gluconate", np.zeros(self.count)) >= 0.8 * self.mol["Fe2"]
            sugar &= self.mol["Fe2"] > 0.0
            if sugar.any() and not self.product.dry:
                held = self._uniform("ferric_share_sugar", "ferric share of sugar acid iron")
                turned = np.where(sugar, held * self.mol["Fe2"], turned)
            self._add("Fe3", turned)
            self.mol["Fe2"] = self.mol["Fe2"] - turned
        if "slow_N" in self.mol:
            share = self._uniform("organic_as_urea", "organic nitrogen as urea")
            self._add("urea", 0.5 * share * self.mol["slow_N"])
            self.mol["slow_N"] = (1.0 - share) * self.mol["slow_N"]

    def _split_chains(self) -> None:
        """Chains of phosphate to single ones, in sources that hold both; others stay."""
        for source, amount in zip(self.found.sources, self.found.amounts.T, strict=True):
            mol = source.mol_per_kg()
            linked = sum(n * mol.get(chain, 0.0) for chain, n in CHAINS.items())
            single = mol.get("PO4", 0.0)
            if linked == 0.0 or single == 0.0:
                continue
            share = self.hidden.get("orthophosphate share")
            if share is None:
                share = self._uniform("ortho_share", "orthophosphate share")
            keep = (1.0 - share) * (single + linked) / linked
            self._add("PO4", amount * (share * (single + linked) - single))
            for chain in CHAINS:
                if chain in mol:
                    self._add(chain, amount * mol[chain] * (keep - 1.0))

    def _unsaid(self) -> None:
        """Salt of technical goods, free ligand, citric acid of iron, what living matter brings."""
        product = self.product
        if UNDECLARED_SALT in product.known:
            salt = np.full(self.count, product.known[UNDECLARED_SALT] / 100.0)
        elif "chlorine" in product.known:
            salt = np.zeros(self.count)
        else:
            salt = self._uniform("undeclared_sodium_chloride", UNDECLARED_SALT)
        for ion in ("Na", "Cl"):
            self._add(ion, 1000.0 * salt / molar_mass_g_per_mol("NaCl"))
        self.water = self.water - salt
        self.volume = self.volume + SALT_L_PER_KG * salt
        agents = [a for a in sorted(SLOW_AGENTS) if a in self.mol]
        if agents:
            share = self._uniform("free_ligand", "free ligand") ** 2
            for agent in agents:
                free = share * self.mol[agent]
                self._weigh(agent, free)
                self._add("Na", 2.0 * free)
        iron = self.mol.get("Fe2", np.zeros(self.count)) + self.mol.get("Fe3", np.zeros(self.count))
        held = sum(self.held.values(), np.zeros(self.count))
        if "citrate" not in self.mol and (iron - held > 0.05).any():
            there = (iron - held > 0.05) & (self.generator.random(self.count) < CITRIC_CHANCE)
            percent = self._log_uniform(*CITRIC_PERCENT) * there
            if there.any():
                self.hidden["unnamed citric acid"] = percent
                self._weigh("citrate", 10.0 * percent / molar_mass_g_per_mol("C6H8O7"))
        for source, amount in zip(self.found.sources, self.found.amounts.T, strict=True):
            for component, low, high in living().get(source.key, ()):
                if LINE_OF.get(component) in product.guarantee:
                    continue
                drawn = self._log_uniform(low, high) * amount
                if component == "SO4" and product.form == "solution":
                    drawn = np.minimum(drawn, self._gypsum())
                self._add(component, drawn)

    def _gypsum(self) -> Floats:
        """(M,) mol/kg of sulfate that the calcium of a clear jug leaves room for."""
        none = np.zeros(self.count)
        bound = sum((self.mol.get(a, none) for a in ("EDTA", "citrate", "SO4")), none)
        free = np.maximum(self.mol.get("Ca", none) - bound, 0.0)
        return np.where(free > FREE_CALCIUM, GYPSUM_ROOM / np.maximum(free, FREE_CALCIUM), np.inf)


def _litres_per_kg(source: Source) -> float:
    """Apparent volume of a source in a strong solution, without its water of crystallisation."""
    table, held = volumes(), source.mol_per_kg()
    if ("source", source.key) in table:
        return table["source", source.key]
    if all(("component", c) in table for c in held):
        return sum(table["component", c] * mol for c, mol in held.items()) / 1000.0
    return table.get(("kind", source.kind), OTHER_L_PER_KG * (1.0 - source.water_share))


def _density(
    product: Product, water: Floats, volume: Floats, draws: Draws, notes: list[str]
) -> Floats:
    """(N,) kg/L of water [kg/kg] and the volume of what is dissolved in it [L/kg]."""
    if product.dry:
        return np.full(draws.count, np.nan)
    name = f"product:{product.key}:density"
    if product.density is not None:
        low, high = product.density
        if low == high:
            return low * draws.of("density_reading", name)
        return draws.uniform(name, low, high)
    notes.append(
        f"{product.name}: density not known; taken from what is dissolved, "
        f"about {median(1.0 / (water / WATER_KG_PER_L + volume)):.2f} kg/L"
    )
    drawn = volume * draws.of("specific_volume", name)
    return np.asarray(1.0 / (water / WATER_KG_PER_L + drawn))
