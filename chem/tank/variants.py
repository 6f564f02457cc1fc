"""The same mix with something changed, for asking what a change would do."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from chem.label import Product
from chem.tank.mix import Addition, Mix
from chem.units import Rate


def with_carrier(mix: Mix, factor: float) -> Mix:
    """More (or less) finished spray on the same area; rates per area stay what they are."""
    return replace(mix, carrier_L_per_m2=mix.carrier_L_per_m2 * factor, carrier_text="")


def with_rate(mix: Mix, index: int, factor: float) -> Mix:
    """One product's rate multiplied."""
    additions = list(mix.additions)
    old = additions[index]
    rate = replace(old.rate, value=old.rate.value * factor, text="")
    additions[index] = replace(old, rate=rate)
    return replace(mix, additions=tuple(additions))


def only(mix: Mix, indices: Collection[int]) -> Mix:
    """A tank of some of the products, same water and carrier, nothing left over in it."""
    keep = tuple(a for i, a in enumerate(mix.additions) if i in set(indices))
    return replace(mix, additions=keep, leftovers=())


def with_product(mix: Mix, product: Product, rate: Rate, index: int | None = None) -> Mix:
    """One product more, at a place of the pouring order (default last)."""
    additions = list(mix.additions)
    additions.insert(len(additions) if index is None else index, Addition(product, rate))
    return replace(mix, additions=tuple(additions))


def with_swap(mix: Mix, index: int, product: Product, rate: Rate) -> Mix:
    """One product taken out, another in at its place."""
    additions = list(mix.additions)
    additions[index] = Addition(product, rate)
    return replace(mix, additions=tuple(additions))


def in_order(mix: Mix, order: Collection[int]) -> Mix:
    """The products poured in another order."""
    return replace(mix, additions=tuple(mix.additions[i] for i in order))


def grams_per_litre(value: float, text: str = "") -> Rate:
    """A weight per litre of finished spray as a rate [g/L]."""
    return Rate("mass", "volume", value, text)


def millilitres_per_litre(value: float, text: str = "") -> Rate:
    """A volume per litre of finished spray as a rate [mL/L]."""
    return Rate("volume", "volume", value, text)
