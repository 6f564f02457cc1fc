"""Everything that is poured into a tank, in its order, and how many tanks an area takes."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from chem.doubts import median
from chem.label import Contents, Product
from chem.reference import tables
from chem.tank.mix import Mix
from chem.units import Measured, Rate, measured

FIRST_SHARE = 0.5
"""Of the water that is in before the products, where the tank is filled to a mark."""
WHOLE_JUG = 0.005
"""What is left over whole jugs counts as nothing below this share of one."""
WHOLE = 1e-6
"""A last load smaller than this share of a tank is no load."""
NITROGEN_AND_COMPANY = {"sulfur", "chlorine"}
TRACE_NUTRIENT = 0.2
SETS_PH = frozenset({"acid", "strong acid", "strong base"})


@dataclass(frozen=True)
class TankLine:
    """Something that goes into the tank.

    product: its name, `water` for water; kind: `water`, `agent` (an acid or base that is bought for
    its pH), `product`, `adjuvant` or `leftover`; amount: [mL], or [g] where `by_mass`, None where
    its rate isn't known; share: of water, `first`, `all` or `last`; jug_mL: net volume on its
    label; place: in the mix, None for water and an `[adjuvant]`; by: the shed's own measures, what
    is over whole jugs.
    """

    product: str
    amount: float | None
    by_mass: bool
    kind: str = "product"
    share: str = ""
    jug_mL: float | None = None
    place: int | None = None
    by: Measured | None = None


@dataclass(frozen=True)
class Load:
    """Tanks that are filled alike: how many, to what mark [L], for what area [m2] each."""

    count: int
    litres: float
    area_m2: float
    lines: tuple[TankLine, ...]

    def of(self, place: int) -> TankLine:
        """The line of an addition, by its place in the mix."""
        return next(line for line in self.lines if line.place == place)


def main_nutrient(product: Product) -> tuple[str, float]:
    """The guarantee that the product is bought for: not nitrogen or sulfur if there is another.

    Empty where its label guarantees nothing to speak of.
    """
    guaranteed = {k: v for k, v in product.guarantee.items() if v >= TRACE_NUTRIENT}
    others = {
        k: v for k, v in guaranteed.items() if "nitrogen" not in k and k not in NITROGEN_AND_COMPANY
    }
    pool = others or guaranteed
    key = max(pool, key=lambda k: pool[k], default="")
    if key == "soluble potash" and sum(product.also.values()) > pool[key]:
        return "", 0.0  # kelp, humic matter and buffers aren't bought for their potash
    return key, pool.get(key, 0.0)


def kind_of(product: Product) -> str:
    """`product`, `adjuvant`, or `agent` where it is poured for its pH alone."""
    if product.form == "adjuvant":
        return "adjuvant"
    agent = SETS_PH & product.hazards and not main_nutrient(product)[0]
    return "agent" if agent else "product"


def _volume_mL(amount: float, by_mass: bool, product: Product, inside: Contents | None) -> float:
    """[mL] that an amount [mL] or [g] takes up."""
    if not by_mass:
        return amount
    if product.dry:
        return amount * tables().value("apparent_specific_volume_solids")
    if inside is not None:
        return amount / median(inside.density_kg_per_L)
    return amount / (0.5 * sum(product.density) if product.density else 1.0)


def _adjuvant_per_L(mix: Mix) -> float:
    """[mL] or [g] of the mix's adjuvant per litre of spray volume, 0 where none is told."""
    rate: Rate | None = mix.adjuvant.rate if mix.adjuvant else None
    if rate is None:
        return 0.0
    if rate.per == "area":
        return rate.value / mix.carrier_L_per_m2
    return rate.value if rate.per == "volume" else 1000.0 * rate.value


def _room_mL_per_L(mix: Mix, contents: Sequence[Contents] | None) -> float:
    """[mL] that all but the water takes up per litre of the spray volume that rates speak of."""
    room = _adjuvant_per_L(mix)
    for i, addition in enumerate(mix.additions):
        amount = addition.amount_per_L(mix.carrier_L_per_m2)
        inside = None if contents is None else contents[i]
        room += _volume_mL(amount, addition.by_mass, addition.product, inside)
    return room


def _spray_L(mix: Mix, litres: float, contents: Sequence[Contents] | None) -> float:
    """[L] of the spray volume that rates speak of, in a tank filled to a mark."""
    if mix.fill == "to mark":
        return litres
    return litres / (1.0 + _room_mL_per_L(mix, contents) / 1000.0)


def covered_m2(mix: Mix, litres: float, contents: Sequence[Contents] | None = None) -> float:
    """The area [m2] that a tank filled to a mark [L] covers."""
    return _spray_L(mix, litres, contents) / mix.carrier_L_per_m2


def tank_amounts(mix: Mix, contents: Sequence[Contents] | None = None) -> list[float]:
    """[L] or [kg] of each product in the mix's tank (in one litre where no tank is named)."""
    spray = _spray_L(mix, mix.fresh_share * (mix.tank_L or 1.0), contents)
    return [spray * a.amount_per_L(mix.carrier_L_per_m2) / 1000.0 for a in mix.additions]


def lines(
    mix: Mix, litres: float, contents: Sequence[Contents] | None = None
) -> tuple[TankLine, ...]:
    """Everything poured into a tank filled to a mark [L], water first and last.

    contents: of each addition, for the room that weighed liquids take.
    """
    rest = [
        TankLine(left.mix.name, 1000.0 * litres * left.share, False, "leftover")
        for left in mix.leftovers
    ]
    litres *= mix.fresh_share
    spray = _spray_L(mix, litres, contents)
    poured = [
        TankLine(
            a.product.name,
            spray * a.amount_per_L(mix.carrier_L_per_m2),
            a.by_mass,
            kind_of(a.product),
            jug_mL=None if a.product.net_volume_L is None else 1000.0 * a.product.net_volume_L,
            place=i,
        )
        for i, a in enumerate(mix.additions)
    ]
    if mix.adjuvant is not None:
        rate = mix.adjuvant.rate
        amount = None if rate is None else spray * _adjuvant_per_L(mix)
        by_mass = rate is not None and rate.kind == "mass"
        poured.append(TankLine(mix.adjuvant.name, amount, by_mass, "adjuvant"))
    room = spray * _room_mL_per_L(mix, contents)
    water = max(1000.0 * litres - room, 0.0)
    if mix.tank_L is not None or mix.area_m2 is not None:
        poured = [replace(line, by=_by(line, mix)) for line in poured]
    own = TankLine("water", water, False, "water")
    if mix.fill != "to mark":
        return (*rest, replace(own, share="all"), *poured)
    first = replace(own, amount=FIRST_SHARE * water, share="first")
    return (*rest, first, *poured, replace(own, amount=(1.0 - FIRST_SHARE) * water, share="last"))


def _by(line: TankLine, mix: Mix) -> Measured | None:
    """By what of the shed it is measured, as far as it isn't poured in whole jugs."""
    if line.amount is None:
        return None
    left = line.amount
    if line.jug_mL is not None and not line.by_mass:
        left -= line.jug_mL * int(line.amount / line.jug_mL + WHOLE_JUG)
        if left <= WHOLE_JUG * line.jug_mL:
            return None
    return measured(left, line.by_mass, mix.measures)


def loads(mix: Mix, contents: Sequence[Contents] | None = None) -> tuple[Load, ...]:
    """Full tanks and the last one that an area takes; one full tank where no area is named.

    An area without a tank is one load; without either it is one litre.
    """

    def load(count: int, litres: float) -> Load:
        return Load(count, litres, covered_m2(mix, litres, contents), lines(mix, litres, contents))

    if mix.area_m2 is None:
        return (load(1, mix.tank_L or 1.0),)
    if mix.leftovers and mix.tank_L is not None:
        return _loads_after_leftovers(mix, mix.tank_L, mix.area_m2, contents)
    per_m2 = 1.0 / covered_m2(mix, 1.0, contents)
    needed = mix.area_m2 * per_m2
    if mix.tank_L is None:
        return (load(1, needed),)
    full = math.floor(needed / mix.tank_L + WHOLE)
    rest = needed - full * mix.tank_L
    out = [load(full, mix.tank_L)] if full else []
    if rest > WHOLE * mix.tank_L:
        out.append(load(1, rest))
    return tuple(out)


def side_by_side(of: Sequence[Load]) -> Iterator[tuple[TankLine | None, ...]]:
    """Each line of the first load with its like in the others, None where one takes none of it:
    what is left of an earlier tank goes into the first alone."""
    rests = [sum(line.kind == "leftover" for line in load.lines) for load in of]
    columns = [(None,) * (rests[0] - n) + load.lines for n, load in zip(rests, of, strict=True)]
    return zip(*columns, strict=True)


def _loads_after_leftovers(
    mix: Mix, tank_L: float, area_m2: float, contents: Sequence[Contents] | None
) -> tuple[Load, ...]:
    """The tank that takes the leftovers first; it covers as much ground as any other."""
    covers = covered_m2(mix, tank_L, contents)
    first = Load(1, tank_L, covers, lines(mix, tank_L, contents))
    left = area_m2 - covers
    if left <= WHOLE * covers:
        return (first,)
    return (first, *loads(replace(mix, leftovers=(), area_m2=left), contents))
