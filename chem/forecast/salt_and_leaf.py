"""What a leaf gets of it: dissolved solids, free acid, and how that compares with the labels.

Figures beside each other, never a verdict: what a leaf stands depends on more than is known here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chem.doubts import Range, range_of
from chem.equilibrium import one_thread, solve
from chem.forecast.course import Followed
from chem.label import Product
from chem.reference import tables
from chem.tank import Addition, Mix, covered_m2

ACID_BELOW_PH = 4.0
"""Free acid is what it takes to lift the tank to this pH (common practice, no source)."""


@dataclass(frozen=True)
class OfLabel:
    """A product's strength in the tank over the strongest that its label allows.

    product: its place; share: 1 at the label's most in its least spray volume; None where the label
    names no rate or no spray volume.
    """

    product: int
    share: float | None


@dataclass(frozen=True)
class Salt:
    """What is dissolved in the finished spray, by the products (the water's own salts apart).

    dissolved_g_per_L; kg_per_ha: median, on the area; free_acid_mmol_per_L: of strong base up to pH
    4, None where the tank stands above; of_rule: median over the trade's ounce per gallon;
    of_label: by product.
    """

    dissolved_g_per_L: Range
    kg_per_ha: float
    free_acid_mmol_per_L: Range | None
    of_rule: float
    of_label: tuple[OfLabel, ...]


@one_thread()
def salt(seen: Followed) -> Salt:
    """Of a tank followed: its finished solution, fresh."""
    finished, mix = seen.ready.finished, seen.ready.mix
    dissolved = range_of(1000.0 * (finished.density_kg_per_L - finished.water_kg_per_L))
    solids_kg_per_ha = dissolved.median * mix.carrier_L_per_m2 * 10.0
    if mix.fill != "to mark":
        solids_kg_per_ha *= _sprayed_per_carrier(seen)
    return Salt(
        dissolved,
        solids_kg_per_ha,
        _free_acid(seen),
        dissolved.median / tables().value("ounce_per_gallon"),
        tuple(OfLabel(i, of_label(mix, a)) for i, a in enumerate(mix.additions)),
    )


def _sprayed_per_carrier(seen: Followed) -> float:
    """Litres of finished spray per litre of a carrier that is water alone."""
    mix = seen.ready.mix
    return 1.0 / (covered_m2(mix, 1.0, seen.ready.contents) * mix.carrier_L_per_m2)


def _free_acid(seen: Followed) -> Range | None:
    clear = seen.fresh.clear
    if not seen.ph.median < ACID_BELOW_PH:
        return None
    ph = np.nan_to_num(clear.ph, nan=ACID_BELOW_PH)
    lifted = solve(clear.system, clear.totals, clear.conditions, ph=np.maximum(ph, ACID_BELOW_PH))
    base = -np.asarray(lifted.molality @ clear.system.charge) + np.asarray(
        clear.molality @ clear.system.charge
    )
    base = np.where(clear.converged & lifted.converged, base, np.nan)
    return range_of(1000.0 * base * seen.ready.finished.water_kg_per_L)


def of_label(mix: Mix, addition: Addition) -> float | None:
    """The product's concentration in the tank over its label's most in its least spray volume."""
    product: Product = addition.product
    top = product.rate_range[1] if product.rate_range else product.usual_rate
    least = product.says.carrier_at_least
    if top is None or top.kind != addition.rate.kind:
        return None
    if top.per == "area" and least is None:
        return None
    most = Addition(product, top).amount_per_L(least or mix.carrier_L_per_m2)
    now = addition.amount_per_L(mix.carrier_L_per_m2)
    return now / most if most > 0.0 else None
