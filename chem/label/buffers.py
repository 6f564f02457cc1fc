"""Acids and bases that no label lists, which keep a jug's pH and stay a doubt once it was read:
leavings by kind of goods, what is set on purpose, and the groups of living matter."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chem.label.curves import Made, charges
from chem.label.product import Product
from chem.reference import acid_groups, judged, unlisted_buffers

Floats = NDArray[np.float64]

ORGANIC_KINDS = {"organic", "polymer"}
OF_CHELANT = {"EDTA": 0.3, "DTPA": 1.0, "HEDTA": 0.3, "EDDHA": 0.3, "gluconate": 0.3}
"""Equivalents per mole; DTPA of iron is sold with one sodium or with two, by the same name."""
NOT_ORGANIC = {"urea", "methylene diurea", "triazone", "urea-triazone", "methylene urea"}
AMINES = {"boron ethanolamine", "ethanolamine"}
BUFFER_LN_SD, BUFFER_PK_SD = 0.84, 1.3
BUFFER_PKS = np.arange(2, 12)
WEAK = {"PO4", "P2O7", "P3O10", "HPO3", "B", "Si", "urea", "CO3", "slow_N"}
LIGANDS = {*OF_CHELANT, "citrate", "glycine", "acetate", "formate", "tartrate", "oxalate"}
BUFFERED = ("mineral", "chelates", "mixed", "ferric", "lignosulfonates", "matter")
ALIVE = 0.01
"""kg/kg of organic matter from which on a jug is one of living origin."""


def buffers(product: Product, made: Made, ph: Floats, generator: np.random.Generator) -> Floats:
    """(N, 10) mol/kg of unlisted acids of pK 2 to 11, each split over its two neighbours."""
    count = len(ph)
    out = np.zeros((count, len(BUFFER_PKS)))
    if product.dry:
        return out
    charge = 0.5 * (made.mol_per_kg @ np.abs(charges(made.components)))
    none, usual = _usual_buffers(made, charge)
    left = usual * np.exp(BUFFER_LN_SD * generator.standard_normal(count))
    left *= generator.random(count) >= none
    known = judged("set_buffer")
    put = known["least"] * (known["most"] / known["least"]) ** generator.random(count)
    put *= generator.random(count) < known["chance"]
    for amount in (left, put):
        pk = np.clip(ph + BUFFER_PK_SD * generator.standard_normal(count), 2.0, 11.0 - 1e-9)
        low = np.floor(pk).astype(np.int64) - 2
        share = pk - np.floor(pk)
        out[np.arange(count), low] += amount * (1.0 - share)
        out[np.arange(count), low + 1] += amount * share
    for j, source in enumerate(made.sources):
        for at, least, most in acid_groups().get(source.key, ()):
            each = least * (most / least) ** generator.random(count)
            out[:, at - BUFFER_PKS[0]] += made.amounts[:, j] * each
    return out


def _usual_buffers(made: Made, charge: Floats) -> tuple[Floats, Floats]:
    """Chance of none, and the usual amount [eq/kg], by what kind of goods each liquid (N,) is."""
    organic, lignin = np.zeros(len(charge)), np.zeros(len(charge))
    for j, source in enumerate(made.sources):
        if source.kind in ORGANIC_KINDS and source.key not in NOT_ORGANIC | AMINES:
            if source.key.endswith("lignosulfonate"):
                lignin = lignin + made.amounts[:, j]
            else:
                organic = organic + made.amounts[:, j]
    held = {c: made.of(c) > 0.0 for c in made.components}
    nothing = np.zeros(len(charge), dtype=bool)
    kinds = np.select(
        [
            organic > ALIVE,
            lignin > ALIVE,
            held.get("Fe3", nothing)
            & (held.get("citrate", nothing) | held.get("gluconate", nothing)),
            np.any([held.get(c, nothing) for c in sorted(LIGANDS)], axis=0),
            np.any([held.get(c, nothing) for c in sorted(WEAK)], axis=0),
        ],
        [5, 4, 3, 1, 2],
        0,
    )
    rows = [unlisted_buffers()[k] for k in BUFFERED]
    none, least, share, of_matter = (
        np.array([getattr(r, name) for r in rows])[kinds]
        for name in ("none", "least_eq_per_kg", "share_of_charge", "of_matter")
    )
    return none, np.maximum.reduce([share * charge, of_matter * (organic + lignin), least])
