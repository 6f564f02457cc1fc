"""The finished solution: water plus everything added, at the sprayer's own ratio."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from chem.doubts import Draws
from chem.equilibrium import water_density_g_per_mL
from chem.equilibrium.activity import Floats
from chem.label import Contents
from chem.reference import catalogue, tables
from chem.tank.mix import Mix
from chem.tank.water import WaterTotals


@dataclass(frozen=True)
class Finished:
    """The finished solution per draw.

    components: C keys; totals: (N, C) [mol/kg water]; water_kg_per_L: (N,) kg of water per litre
    of finished solution; density_kg_per_L: (N,); from_product: (P, N, C) and from_water (N, C):
    where the moles come from [mol/L finished]; held: (metal, agent) -> (N,) [mol/kg water] of
    chelates that exchange only slowly, counted in totals too; litres_per_L: (N,) what is in by
    then, per litre of the spray volume that rates speak of; from_leftover: (L, N, C) as
    from_product, of what is left of earlier tanks.
    """

    components: tuple[str, ...]
    totals: Floats
    water_kg_per_L: Floats
    density_kg_per_L: Floats
    from_product: Floats
    from_water: Floats
    held: Mapping[tuple[str, str], Floats]
    litres_per_L: Floats | float = 1.0
    from_leftover: Floats | None = None

    @property
    def totals_mol_per_L(self) -> Floats:
        """(N, C) mol per litre of finished solution."""
        return np.asarray(self.totals * self.water_kg_per_L[:, None])


def finish(
    mix: Mix,
    contents: Sequence[Contents],
    water: WaterTotals,
    draws: Draws,
    poured: Collection[int] | None = None,
    water_share: float = 1.0,
) -> Finished:
    """Mix the products into the water.

    Args:
        mix: rates, carrier and the way of filling.
        contents: of each addition, in the mix's order.
        poured: indices of additions already in; default all. The water is the full tank's
            less the room of the products not yet poured, so that a path can be followed.
        water_share: how much of that water is in already (0.5 while the products go in).

    Density is that of ideal mixing (volumes add); molality goes by the true mass of water.
    """
    n = draws.count
    carrier = (
        draws.of("carrier", "metering:carrier")
        if mix.carrier_error is None
        else draws.factor("metering:carrier", mix.carrier_error)
    )
    volume_L, mass_kg = [], []
    apparent = tables().value("apparent_specific_volume_solids")
    for addition, held in zip(mix.additions, contents, strict=True):
        amount = addition.amount_per_L(mix.carrier_L_per_m2) / 1000.0
        measured = amount * draws.of("metering", f"metering:{addition.product.key}") / carrier
        if addition.by_mass:
            mass = measured
            volume = mass * apparent if addition.product.dry else mass / held.density_kg_per_L
        else:
            volume = measured
            mass = volume * held.density_kg_per_L
        volume_L.append(volume)
        mass_kg.append(mass)
    room = np.sum(volume_L, axis=0) if volume_L else np.zeros(n)
    total = 1.0 + room if mix.fill == "water first" else np.ones(n)
    water_L = np.maximum(total - room, 1e-3) * water_share
    included = range(len(mix.additions)) if poured is None else sorted(poured)
    final = water_L + sum((volume_L[i] for i in included), np.zeros(n))
    keys = set(water.components).union(*(contents[i].components for i in included))
    components = tuple(c for c in tables().components if c in keys)
    place = {c: i for i, c in enumerate(components)}
    from_water = np.zeros((n, len(components)))
    for j, c in enumerate(water.components):
        from_water[:, place[c]] = water.mol_per_L[:, j] * water_L / final
    from_product = np.zeros((len(mix.additions), n, len(components)))
    kg_water = water_L * water_density_g_per_mL(mix.t_celsius)
    mass_total = kg_water.copy()
    for i in included:
        held = contents[i]
        for j, c in enumerate(held.components):
            from_product[i, :, place[c]] = held.mol_per_kg[:, j] * mass_kg[i] / final
        kg_water = kg_water + held.water_kg_per_kg * mass_kg[i]
        mass_total = mass_total + mass_kg[i]
    per_L = from_water + from_product.sum(axis=0)
    water_per_L = kg_water / final
    chelates: dict[tuple[str, str], Floats] = {}
    for i in included:
        for pair, mol in contents[i].held.items():
            bound = mol * mass_kg[i] / final / water_per_L
            chelates[pair] = chelates.get(pair, np.zeros(n)) + bound
    return Finished(
        components=components,
        totals=per_L / water_per_L[:, None],
        water_kg_per_L=water_per_L,
        density_kg_per_L=mass_total / final,
        from_product=from_product,
        from_water=from_water,
        held=chelates,
        litres_per_L=np.asarray(final),
    )


def topped(fresh: Finished, left: Sequence[tuple[float, Finished]], fresh_share: float) -> Finished:
    """What is left of earlier tanks, topped up with fresh spray; volumes add.

    left: (share of the full tank by volume, its solution) of each; fresh_share: of the full tank
    once all of it is in.
    """
    parts = [(np.asarray(fresh_share * fresh.litres_per_L), fresh)]
    parts += [(np.full(len(fresh.totals), share), one) for share, one in left]
    volume = np.sum([share for share, _ in parts], axis=0)
    keys = set().union(*(one.components for _, one in parts))
    components = tuple(c for c in tables().components if c in keys)

    def wide(values: Floats, one: Finished) -> Floats:
        out = np.zeros((*values.shape[:-1], len(components)))
        out[..., [components.index(c) for c in one.components]] = values
        return out

    weights = [share / volume for share, _ in parts]
    water = np.sum(
        [w * one.water_kg_per_L for w, (_, one) in zip(weights, parts, strict=True)], axis=0
    )
    density = np.sum(
        [w * one.density_kg_per_L for w, (_, one) in zip(weights, parts, strict=True)], axis=0
    )
    per_L = [
        w[:, None] * wide(one.totals_mol_per_L, one)
        for w, (_, one) in zip(weights, parts, strict=True)
    ]
    held: dict[tuple[str, str], Floats] = {}
    for w, (_, one) in zip(weights, parts, strict=True):
        for pair, mol in one.held.items():
            more = w * mol * one.water_kg_per_L / water
            held[pair] = held.get(pair, np.zeros(len(water))) + more
    return Finished(
        components=components,
        totals=np.sum(per_L, axis=0) / water[:, None],
        water_kg_per_L=water,
        density_kg_per_L=density,
        from_product=weights[0][:, None] * wide(fresh.from_product, fresh),
        from_water=weights[0][:, None] * wide(fresh.from_water, fresh),
        held=held,
        litres_per_L=volume,
        from_leftover=np.stack(per_L[1:]),
    )


def delivered_kg_per_ha(mix: Mix) -> dict[str, float]:
    """Guaranteed nutrients put down, by symbol [kg/ha]; nitrogen forms folded in total."""
    out: dict[str, float] = {}
    for lines in _put_down(mix):
        forms = {k for k in lines if k.endswith("nitrogen") and k != "total nitrogen"}
        total = lines.get("total nitrogen", sum(lines[k] for k in forms))
        if total:
            out["N"] = out.get("N", 0.0) + total
        for key in (k for k in lines if k not in forms and k != "total nitrogen"):
            symbol = catalogue().guarantees[key].expressed_as
            out[symbol] = out.get(symbol, 0.0) + lines[key]
    return out


def nitrogen_forms_kg_per_ha(mix: Mix) -> dict[str, float]:
    """Nitrogen put down by the forms that labels guarantee [kg/ha]; what names none is left out."""
    out: dict[str, float] = {}
    for lines in _put_down(mix):
        for key, amount in lines.items():
            if key.endswith("nitrogen") and key != "total nitrogen":
                out[key] = out.get(key, 0.0) + amount
    return out


def _put_down(mix: Mix) -> Iterator[dict[str, float]]:
    """Of each product in turn, guarantee line -> [kg/ha]."""
    litres_per_ha = 1e4 * mix.carrier_L_per_m2
    for addition in mix.additions:
        amount = addition.amount_per_L(mix.carrier_L_per_m2) / 1000.0 * litres_per_ha
        product = addition.product
        if not addition.by_mass:
            low, high = product.density or (1.0, 1.0)
            amount *= 0.5 * (low + high)
        yield {key: amount * percent / 100.0 for key, percent in product.guarantee.items()}
