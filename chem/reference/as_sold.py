"""What the trade knows and no label says: pH as sold, vague names, amounts left out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from chem.reference.files import read_csv


@dataclass(frozen=True)
class SoldPh:
    """A branch of goods: about 90 % of them read low to high, 1 g in 9 g of pure water.

    weight: share of the branch among goods of the same source; beside: it takes the place of the
    source's other branches where one of these sources is named too, or all of them (`&`); when: a
    component and its amount, from and below [mol/kg], in the goods it speaks of, None for all.
    """

    family: str
    beside: frozenset[str]
    every: bool
    when: tuple[str, float, float] | None
    weight: float
    low: float
    high: float

    def holds(self, named: frozenset[str]) -> bool:
        """Whether its condition is met by the sources named."""
        return self.beside <= named if self.every else bool(self.beside & named)


@cache
def ph_as_sold() -> Mapping[str, tuple[SoldPh, ...]]:
    """Source key -> its branches, from `ph_as_sold.csv`."""
    out: dict[str, list[SoldPh]] = {}
    for r in read_csv("ph_as_sold.csv"):
        every = " & " in r["beside"]
        component, *amounts = r["when"].split() or [""]
        row = SoldPh(
            r["family"],
            frozenset(filter(None, r["beside"].split(" & " if every else "|"))),
            every,
            (component, float(amounts[0]), float(amounts[1])) if amounts else None,
            float(r["weight"]),
            float(r["ph_low"]),
            float(r["ph_high"]),
        )
        for source in r["sources"].split("|"):
            out.setdefault(source, []).append(row)
    return MappingProxyType({k: tuple(v) for k, v in out.items()})


@cache
def vague_sources() -> Mapping[str, tuple[tuple[tuple[str, ...], float], ...]]:
    """A name that fits several liquids -> (source keys, chance), from `vague_sources.csv`."""
    out: dict[str, list[tuple[tuple[str, ...], float]]] = {}
    for r in read_csv("vague_sources.csv"):
        out.setdefault(r["name"], []).append((tuple(r["sources"].split(" + ")), float(r["chance"])))
    return MappingProxyType({k: tuple(v) for k, v in out.items()})


@cache
def unstated() -> Mapping[str, tuple[float, float]]:
    """Source key -> percent by mass that goods hold where the label gives none."""
    return MappingProxyType(
        {r["source"]: (float(r["low_percent"]), float(r["high_percent"]))
         for r in read_csv("unstated.csv")}
    )  # fmt: skip


@dataclass(frozen=True)
class Buffers:
    """Unlisted weak acids and bases of a kind of goods: chance of none, least amount [eq/kg], usual
    share of the charge, and of its organic matter [eq/kg of it]."""

    none: float
    least_eq_per_kg: float
    share_of_charge: float
    of_matter: float


@cache
def unlisted_buffers() -> Mapping[str, Buffers]:
    """Kind of goods -> its unlisted buffers, from `unlisted_buffers.csv`."""
    return MappingProxyType(
        {
            r["kind"].partition(" ")[0].strip(","): Buffers(
                *(float(r[k]) for k in ("none", "least_eq_per_kg", "share_of_charge", "of_matter"))
            )
            for r in read_csv("unlisted_buffers.csv")
        }
    )


@cache
def volumes() -> Mapping[tuple[str, str], float]:
    """(component, source or kind; its key) -> apparent volume [cm3/mol; L/kg, crystal water apart]
    in strong solutions, from `volumes.csv`."""
    return MappingProxyType(
        {(r["scope"], r["of"]): float(r["volume"]) for r in read_csv("volumes.csv")}
    )


@cache
def living() -> Mapping[str, tuple[tuple[str, float, float], ...]]:
    """Source key -> (component, least, most [mol per kg of the matter]) that come along unsaid."""
    out: dict[str, list[tuple[str, float, float]]] = {}
    for r in read_csv("living.csv"):
        row = (r["component"], float(r["low_mol_per_kg"]), float(r["high_mol_per_kg"]))
        out.setdefault(r["source"], []).append(row)
    return MappingProxyType({k: tuple(v) for k, v in out.items()})


@cache
def acid_groups() -> Mapping[str, tuple[tuple[int, float, float], ...]]:
    """Source key -> (pK, least, most [eq per kg of the matter]) of what takes up protons in it."""
    out: dict[str, list[tuple[int, float, float]]] = {}
    for r in read_csv("acid_groups.csv"):
        row = (int(r["pk"]), float(r["low_eq_per_kg"]), float(r["high_eq_per_kg"]))
        out.setdefault(r["source"], []).append(row)
    return MappingProxyType({k: tuple(v) for k, v in out.items()})
