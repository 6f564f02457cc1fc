"""What is known of a jug besides its lines and its pH: that it was clear on a shelf, what it
weighs, what a dilution of it conducts; and which of that contradicts every liquid of its label."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chem.equilibrium import Conditions, conductivity_mS_per_cm, solve
from chem.label.curves import Made, in_water, per_kgw
from chem.label.product import Product
from chem.label.salting import salting_out
from chem.reference import judged

Floats = NDArray[np.float64]


def t4(z: Floats) -> Floats:
    """Density of Student's t with 4 degrees of freedom."""
    return np.asarray(0.375 * (1.0 + 0.25 * z**2) ** -2.5)


_SAID = judged("evidence")
NEVER_SOLD = _SAID["never_sold"]


def exists(product: Product, made: Made) -> Floats:
    """(M,) chance that a liquid stays clear on a shelf, by measured tables of its own system.

    Sold solutions were clear there. Where no table holds, every liquid is let pass.
    """
    count = len(made.water)
    if product.form != "solution":
        return np.ones(count)
    warmest = product.clear_at if product.clear_at is not None else _SAID["shelf"]
    salt = salting_out(made.components, made.mol_per_kg, made.water).salt_celsius
    beyond = np.clip(
        (np.nan_to_num(salt, nan=-99.0) - warmest) / _SAID["shelf_spread"], -50.0, 50.0
    )
    return np.asarray(1.0 / (1.0 + np.exp(np.clip(beyond, -50.0, 50.0))))


WATER_KG_PER_L = 0.998


def weighs(product: Product, made: Made) -> Floats:
    """(M,) likelihood of the density that is printed: what no line prints has weight too."""
    if product.density is None or product.dry:
        return np.ones(len(made.water))
    litres = made.water / WATER_KG_PER_L + np.maximum(made.volume, 0.0)
    low, high = product.density
    off = -np.log(litres)
    off = off - np.clip(off, np.log(low), np.log(high))
    return t4(off / np.hypot(_SAID["density_sd"], _SAID["volume_sd"] * made.volume / litres)) + 1e-6


def contradicted(product: Product, made: Made, never_sold: bool) -> tuple[str, ...]:
    """What is sure of a jug and contradicts every liquid that its label allows."""
    out = []
    if never_sold:
        out.append("none of the liquids that its label allows stays clear on a shelf")
    if product.density is not None and not product.dry:
        litres = made.water / WATER_KG_PER_L + np.maximum(made.volume, 0.0)
        least, most = float(1.0 / litres.max()), float(1.0 / litres.min())
        low, high = product.density
        if max(np.log(least / high), np.log(low / most)) > _SAID["density_far"]:
            out.append(
                f"its density of {low:.3g} kg/L contradicts its guarantees and sources, whose "
                f"liquids weigh {least:.3g} to {most:.3g} kg/L"
            )
    return tuple(out)


def conducts(product: Product, made: Made, ph: Floats) -> tuple[Floats, str]:
    """(M,) likelihood of the conductivity that a dilution of the jug was measured to have, and how
    the label contradicts it.

    ph: (M,) likeliest of each liquid. Where the method gives no figure, or no liquid comes near
    it, every liquid passes.
    """
    assert product.ec is not None
    measured, dilution = product.ec
    share = per_kgw(made, dilution)
    system, totals = in_water(made.components, made.mol_per_kg, share, dilution, 0.0)
    state = solve(system, totals, Conditions.nominal(system), ph=ph)
    figure = conductivity_mS_per_cm(state)
    z = np.log(np.maximum(figure, 1e-9) / measured) / _SAID["ec_sd"]
    given = np.isfinite(figure)
    if given.all() and np.abs(z).min() > _SAID["ec_far"]:
        span = f"{figure.min():.2g} to {figure.max():.2g} mS/cm at {100.0 * dilution:.3g} %"
        said = f"measured {measured:g} mS/cm contradicts the label, whose liquids read {span}"
        return np.ones(len(z)), said
    return np.where(given, t4(z) + 1e-12, t4(np.zeros(1))), ""
