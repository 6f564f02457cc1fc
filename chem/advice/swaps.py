"""A product of the shelf that brings the same nutrient in another's place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from chem.advice.levers import SAME, poured
from chem.forecast.rules import rate_span
from chem.label import Product
from chem.tank import (
    Addition,
    Mix,
    main_nutrient,
    with_swap,
)
from chem.units import Rate


def swaps(mix: Mix, shelf: Sequence[Product]) -> list[tuple[int, Product, Rate, Mix]]:
    """Products of a shelf that bring as much of the same main nutrient, each with its tank."""
    mine = {a.product.key for a in mix.additions}
    return [
        (i, other, rate, tank)
        for i, addition in enumerate(mix.additions)
        for other in shelf
        if other.key not in mine
        and other.judged
        and (rate := _same_nutrient(mix, addition, other)) is not None
        and (tank := poured(with_swap(mix, i, other, rate))) is not None
    ]


def _same_nutrient(mix: Mix, addition: Addition, other: Product) -> Rate | None:
    """The other product's rate that brings as much of the first one's main nutrient."""
    product, rate = addition.product, addition.rate
    main, theirs = main_nutrient(product), main_nutrient(other)
    if not main[0] or main[0] != theirs[0] or other.key == product.key:
        return None
    grams = rate.value * main[1] / theirs[1]
    if rate.kind == "volume":
        if product.density is None:
            return None
        grams *= 0.5 * sum(product.density)
    if other.dry:
        swapped = replace(rate, kind="mass", value=grams, text="")
    elif other.density is None or rate.per == "mass-fraction":
        return None
    else:
        swapped = replace(rate, kind="volume", value=grams / (0.5 * sum(other.density)), text="")
    span = rate_span(mix, Addition(other, swapped))
    if span is not None and not span[0] * (1.0 - SAME) <= 1.0 <= span[1] * (1.0 + SAME):
        return None
    return swapped
