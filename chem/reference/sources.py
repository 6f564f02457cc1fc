"""What a label can name: source materials and lines of the guaranteed analysis."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from types import MappingProxyType

from chem.reference.as_sold import vague_sources
from chem.reference.files import read_csv, read_toml
from chem.units.masses import molar_mass_g_per_mol


@dataclass(frozen=True, eq=False)
class Source:
    """A compound of the "derived from" line.

    components: moles per formula unit; bound: {"metal": component, "agent": component} of a
    chelate; mixture_of: the sources it stands for where the label's lines set the proportion.
    """

    key: str
    formula: str
    components: Mapping[str, float]
    hydrate_water: float
    aliases: tuple[str, ...]
    supplies: tuple[str, ...]
    kind: str
    hazard: frozenset[str]
    bound: Mapping[str, str]
    mixture_of: tuple[str, ...]
    source: str
    note: str

    @cached_property
    def molar_mass(self) -> float:
        """g per mole of formula units."""
        return molar_mass_g_per_mol(self.formula)

    @property
    def water_share(self) -> float:
        """kg of water of crystallisation per kg."""
        return self.hydrate_water * molar_mass_g_per_mol("H2O") / self.molar_mass

    def mol_per_kg(self) -> dict[str, float]:
        """Components [mol per kg of the source]."""
        return {c: 1000.0 * n / self.molar_mass for c, n in self.components.items()}


@dataclass(frozen=True, eq=False)
class Guarantee:
    """A line of the guaranteed analysis; `counts` of its element per mole of component."""

    key: str
    expressed_as: str
    element: str
    counts: Mapping[str, float]
    aliases: tuple[str, ...]
    same_as: str | None
    allowance_unit: float
    allowance_percent: float
    allowance_at_most: float

    @cached_property
    def grams_per_mole(self) -> float:
        """g of what the line is expressed as per mole of its element."""
        import periodictable

        atoms = periodictable.formula(self.expressed_as).atoms
        count = sum(n for atom, n in atoms.items() if atom.symbol == self.element)
        return molar_mass_g_per_mol(self.expressed_as) / float(count)

    def percent_of(self, mol_per_kg: Mapping[str, float]) -> float:
        """The percent by mass that a content of components [mol/kg] would print as."""
        moles = sum(n * mol_per_kg.get(c, 0.0) for c, n in self.counts.items())
        return moles * self.grams_per_mole / 10.0

    def allowance(self, percent: float) -> float:
        """Published shortfall allowed at a guarantee, percentage points."""
        return min(
            self.allowance_unit + self.allowance_percent * percent / 100.0, self.allowance_at_most
        )


@dataclass(frozen=True)
class Catalogue:
    """Every source and guarantee line; `inert` names components without chemistry; `ambiguous`:
    names that fit several sources, which the label's lines narrow down."""

    sources: Mapping[str, Source]
    guarantees: Mapping[str, Guarantee]
    ambiguous: Mapping[str, tuple[str, ...]]
    inert: frozenset[str]
    source_names: Mapping[str, str]
    guarantee_names: Mapping[str, str]

    def look_alikes(self, name: str, among: Mapping[str, str], count: int = 3) -> list[str]:
        """Known names like the one given, best first."""
        found = difflib.get_close_matches(name.lower(), list(among), n=2 * count, cutoff=0.55)
        return list(dict.fromkeys(among[n] for n in found))[:count]


@cache
def catalogue() -> Catalogue:
    """Read `sources.toml` and `guarantees.toml` once."""
    raw = read_toml("sources.toml")
    inert = raw.pop("_inert")
    sources = {}
    for key, entry in raw.items():
        sources[key] = Source(
            key,
            entry["formula"],
            MappingProxyType({c: float(n) for c, n in entry["components"].items()}),
            float(entry.get("hydrate_water", 0.0)),
            tuple(entry.get("aliases", ())),
            tuple(entry.get("supplies", ())),
            entry["kind"],
            frozenset(entry.get("hazard", ())),
            MappingProxyType(dict(entry.get("bound", {}))),
            tuple(entry.get("mixture_of", ())),
            entry["source"],
            entry.get("note", ""),
        )
    guarantees = {}
    for key, entry in read_toml("guarantees.toml").items():
        allowance = entry.get("allowance", {})
        guarantees[key] = Guarantee(
            key,
            entry["expressed_as"],
            entry["element"],
            MappingProxyType({c: float(n) for c, n in entry["counts"].items()}),
            tuple(entry.get("aliases", ())),
            entry.get("same_as"),
            float(allowance.get("unit", 0.0)),
            float(allowance.get("percent", 0.0)),
            float(allowance.get("at_most", 100.0)),
        )
    lines = _names(guarantees)
    # "Iron" on its own names a line before it names a source.
    ambiguous = {
        name: tuple(dict.fromkeys(s for keys, _ in options for s in keys))
        for name, options in vague_sources().items()
        if name not in lines
    }
    return Catalogue(
        MappingProxyType(sources),
        MappingProxyType(guarantees),
        MappingProxyType(ambiguous),
        frozenset(inert),
        MappingProxyType(_names(sources)),
        MappingProxyType(lines),
    )


@cache
def common_sources(guarantee: str) -> tuple[tuple[tuple[str, ...], float], ...]:
    """Source keys that commonly stand behind a guarantee line, with their chances."""
    rows = [r for r in read_csv("common_sources.csv") if r["guarantee"] == guarantee]
    return tuple((tuple(r["source"].split(" + ")), float(r["chance"])) for r in rows)


def _names(entries: Mapping[str, Source] | Mapping[str, Guarantee]) -> dict[str, str]:
    names = {}
    for key, entry in entries.items():
        names[key.lower()] = key
        for alias in entry.aliases:
            names.setdefault(alias.lower(), key)
    return names
