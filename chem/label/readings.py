"""The liquids that a label's words may mean: vague names and unsourced lines as alternatives.

"Potassium phosphate", "iron chelate", a guarantee that no listed source supplies: each is a slot
with named options and their chances. A reading takes one option of each slot; those that misfit
the label's lines are dropped, and if all do, the nearest stays.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from chem.label.door import plain_words
from chem.label.product import NITROGEN_FORMS, Product
from chem.reference import Source, catalogue, common_sources, judged, vague_sources

MOST_TRIED, MOST_READINGS = 96, 24
"""Readings held against the label's lines, and kept of those that fit."""
NONE_OF_ITS_OWN: tuple[tuple[tuple[str, ...], float], ...] = (((), 1.0),)
LIVING = {"seaweed extract", "fish hydrolysate", "molasses", "amino acids", "fulvic acid"}
BARE_IONS = {
    "soluble potash": "potassium hydroxide",
    "calcium": "calcium hydroxide",
    "magnesium": "magnesium hydroxide",
    "available phosphate": "phosphoric acid",
    "sulfur": "sulfuric acid",
    "sodium": "sodium hydroxide",
    "total nitrogen": "amino acids",
    "other water soluble nitrogen": "amino acids",
    "ammoniacal nitrogen": "aqua ammonia",
}
"""What stands for a nutrient that matter of living origin brings along: the ion alone, whose
partner the closing acid or base is."""
ACIDIFIERS = frozenset({"acidifier", "acidifying", "acidulant"})
ACID_AND_BASE = {"K": "potassium hydroxide", "NH4": "aqua ammonia", "Na": "sodium hydroxide"}


@dataclass(frozen=True)
class Slot:
    """What a label leaves open: as named, and (source keys, chance) of each option."""

    name: str
    options: tuple[tuple[tuple[str, ...], float], ...]


@dataclass(frozen=True)
class Reading:
    """One way to read a label: its sources, its chance, the option taken of each slot."""

    sources: frozenset[str]
    chance: float
    taken: tuple[int, ...]


def named_sources(product: Product) -> tuple[str, ...]:
    """Keys of the sources that the label names without doubt."""
    known = catalogue().sources
    keys = [s.key for s in product.sources]
    keys += [k for k in (*product.also, *product.known) if k in known]
    return tuple(dict.fromkeys(keys))


def open_lines(product: Product) -> list[str]:
    """Guaranteed lines that some source must stand behind."""
    forms = any(product.guarantee.get(n, 0.0) > 0.0 for n in NITROGEN_FORMS)
    return [
        k for k, p in product.guarantee.items() if p > 0.0 and (k != "total nitrogen" or not forms)
    ]


def slots_of(product: Product) -> tuple[Slot, ...]:
    """Everything about its sources that a label leaves open."""
    known = catalogue()
    named = named_sources(product)
    out = [Slot(name, vague_sources()[name]) for name in product.vague]
    chelated = set() if not product.chelated else set(product.chelated)
    living = bool(LIVING & set(named))
    sure = _components(named)
    for line in open_lines(product):
        if sure & set(known.guarantees[line].counts):
            continue
        options = common_sources(line)
        if living and product.guarantee[line] <= judged("living_most").get(line, 0.0):
            options = (((BARE_IONS[line],), 1.0),)
        if line in chelated:
            options = tuple(o for o in options if known.sources[o[0][0]].bound) or options
        if options:
            out.append(Slot(line, options))
    out = [_own(slot, [o for o in out if o is not slot], product) for slot in out]
    out = [slot for slot in out if slot.options != NONE_OF_ITS_OWN]
    if ACIDIFIERS & set(plain_words(product.name)):
        acid = {k for k in named if known.sources[k].kind == "acid"}
        if "citric acid" not in acid:
            chances = judged("beside_its_acid" if acid else "its_acid")
            out.append(Slot("acid", tuple((_acids(k), p) for k, p in chances.items())))
    phosphate = _phosphates(named)
    if phosphate is not None:
        out.append(phosphate)
    return tuple(out)


def _acids(name: str) -> tuple[str, ...]:
    return () if name == "none" else tuple(name.split(" + "))


def _own(slot: Slot, others: list[Slot], product: Product) -> Slot:
    """A line's slot, with none of its own among the options where others may supply it."""
    if slot.name in product.vague:
        return slot
    counts = set(catalogue().guarantees[slot.name].counts)
    supplied = {o.name: [bool(counts & _components(k)) for k, _ in o.options] for o in others}
    if any(all(each) for name, each in supplied.items() if name in product.vague):
        return Slot(slot.name, NONE_OF_ITS_OWN)
    if not any(any(each) for each in supplied.values()):
        return slot
    elsewhere = judged("label_words")["elsewhere"]
    own = tuple((keys, (1.0 - elsewhere) * chance) for keys, chance in slot.options)
    return Slot(slot.name, (((), elsewhere), *own))


def bare_ions(product: Product, readings: tuple[Reading, ...]) -> frozenset[str]:
    """Sources that only stand for ions which living matter brings along."""
    named = set(named_sources(product))
    if not LIVING & named:
        return frozenset()
    taken = frozenset().union(*(r.sources for r in readings))
    return (taken & {*BARE_IONS.values()}) - named - LIVING


def _components(keys: Mapping[str, float] | list[str] | tuple[str, ...]) -> set[str]:
    return {c for k in keys for c in catalogue().sources[k].components}


def _phosphates(named: tuple[str, ...]) -> Slot | None:
    """The acid and base forms beside a named salt of orthophosphoric acid."""
    salts = [
        catalogue().sources[k]
        for k in named
        if set(catalogue().sources[k].components) in ({"K", "PO4"}, {"NH4", "PO4"}, {"Na", "PO4"})
    ]
    if not salts:
        return None
    bases = {ACID_AND_BASE[c] for s in salts for c in s.components if c != "PO4"}
    as_named = judged("label_words")["as_named"]
    return Slot(
        "forms of its phosphate",
        (((), as_named), (("phosphoric acid", *sorted(bases)), 1.0 - as_named)),
    )


def readings_of(product: Product, slots: tuple[Slot, ...]) -> tuple[Reading, ...]:
    """The likeliest readings, at most MOST_TRIED, chances adding to 1."""
    kept = [Reading(frozenset(named_sources(product)), 1.0, ())]
    for slot in slots:
        grown = [
            Reading(r.sources | frozenset(keys), r.chance * chance, (*r.taken, i))
            for r in kept
            for i, (keys, chance) in enumerate(slot.options)
        ]
        kept = sorted(grown, key=lambda r: -r.chance)[:MOST_TRIED]
    total = sum(r.chance for r in kept)
    return tuple(Reading(r.sources, r.chance / total, r.taken) for r in kept)


def columns(readings: tuple[Reading, ...]) -> tuple[Source, ...]:
    """Every source of any reading, in the catalogue's order."""
    wanted = frozenset().union(*(r.sources for r in readings))
    return tuple(s for k, s in catalogue().sources.items() if k in wanted)
