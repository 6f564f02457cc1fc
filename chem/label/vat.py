"""Candidate liquids filled source by source, with what a label doesn't say of each."""

from __future__ import annotations

import numpy as np

from chem.doubts import Draws, doubts
from chem.equilibrium.activity import Floats
from chem.label.candidates import Candidates
from chem.label.curves import Made
from chem.label.product import UNDECLARED_SALT, Product
from chem.reference import Source, catalogue, judged, living, molar_mass_g_per_mol, tables, volumes

SLOW_AGENTS = {"EDTA", "DTPA", "HEDTA", "EDDHA"}
"""Agents whose ferric chelates exchange over hours to days (common practice, no source)."""
INSOLUBLE = {
    "copper hydroxide", "zinc oxide", "manganese carbonate", "magnesium hydroxide",
    "magnesium oxide", "magnesium carbonate", "calcium carbonate", "calcium sulfate dihydrate",
}  # fmt: skip
"""Sources that a suspension carries as grains: not judged (common practice, no source)."""
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
MADE_IN_THE_VAT = "iron glucoheptonate"
"""No crystal: made of an iron salt and one to two moles of sugar acid."""
UNSAID = judged("jug_unsaid")


class Vat:
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
        self.volume = self.volume + amount * litres_per_kg(source)
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
        self.volume = self.volume + UNSAID["salt_volume"] * salt
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
            there = (iron - held > 0.05) & (
                self.generator.random(self.count) < UNSAID["citric_chance"]
            )
            percent = self._log_uniform(UNSAID["citric_least"], UNSAID["citric_most"]) * there
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
        least = UNSAID["free_calcium"]
        return np.where(free > least, UNSAID["gypsum_room"] / np.maximum(free, least), np.inf)


def litres_per_kg(source: Source) -> float:
    """Apparent volume of a source in a strong solution, without its water of crystallisation."""
    table, held = volumes(), source.mol_per_kg()
    if ("source", source.key) in table:
        return table["source", source.key]
    if all(("component", c) in table for c in held):
        return sum(table["component", c] * mol for c, mol in held.items()) / 1000.0
    return table.get(("kind", source.kind), UNSAID["other_volume"] * (1.0 - source.water_share))
