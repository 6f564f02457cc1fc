"""A product's contents per draw: from guarantees and sources to moles of conserved components."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from chem.doubts import Draws, median, varies
from chem.errors import InputProblem
from chem.label.buffers import buffers
from chem.label.candidates import Candidates, candidates, open_columns
from chem.label.closing import choose, closed, width_of
from chem.label.curves import Made
from chem.label.evidence import WATER_KG_PER_L
from chem.label.product import UNDECLARED_SALT, Product
from chem.label.vat import UNSAID, Vat, litres_per_kg
from chem.reference import molar_mass_g_per_mol, tables

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

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
    vat = Vat(product, found, draws, notes)
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
    litres = UNSAID["salt_volume"] * salt + sum(w * litres_per_kg(s) for s, w in shares.items())
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
