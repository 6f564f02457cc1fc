"""Which of a shop's labels get along with what is owned: the best first."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from chem.errors import InputProblem, Problem
from chem.label import NITROGEN_FORMS, Product, resolve_guarantee
from chem.reference import catalogue
from chem.shelf.stock import Item, near_names
from chem.shelf.together import CLEAR, QUARRELS, REFUSED, SAID_CLEAR, UNKNOWN, Tanks

STEPS = 10
"""Odds are ranked in tenths, as they are told."""


@dataclass(frozen=True)
class Neighbour:
    """A shop's label beside each of some products owned.

    place: in the shelf's items; fits: with how many it stays clear and nothing speaks against one
    tank; odds: chance of no solids with one of them, on the average; apart, refused, unsure: places
    of those it is better kept apart from, must never meet, and can't be told of; no_worse: of those
    with which it is not clear, but neither is one of them alone; cost_per_kg: of the nutrient
    wanted, in currency, None where no price or no nutrient is given.
    """

    place: int
    fits: int
    odds: float
    apart: tuple[int, ...]
    refused: tuple[int, ...]
    unsure: tuple[int, ...]
    no_worse: tuple[int, ...]
    cost_per_kg: float | None
    currency: str


def wanted(shop: Sequence[Item], nutrient: str) -> tuple[str, list[Item]]:
    """The guarantee meant, and the labels that have it.

    Raises: InputProblem where no guarantee is called so, or no label has it.
    """
    line = resolve_guarantee(nutrient)
    where = f"command line, --wanting {nutrient}"
    if line is None:
        near = " or ".join(near_names(nutrient, list(catalogue().guarantees)))
        raise InputProblem(Problem(where, "no line of a label is called so", near))
    some = [item for item in shop if percent_of(item.product, line.key) > 0.0]
    if not some:
        there = sorted({key for item in shop for key in item.product.guarantee})
        raise InputProblem(Problem(where, "no label there guarantees it", " or ".join(there[:5])))
    return line.key, some


def percent_of(product: Product, line: str) -> float:
    """A guarantee [% by weight]; total nitrogen from its forms where it is not printed."""
    lines = product.guarantee
    if line == "total nitrogen" and line not in lines:
        return sum(lines.get(form, 0.0) for form in NITROGEN_FORMS)
    return lines.get(line, 0.0)


def cost_per_kg(product: Product, line: str) -> float | None:
    """Money per kg of a guaranteed nutrient, None without a price, a density where it is sold by
    volume, or that nutrient."""
    percent, price = percent_of(product, line), product.price
    if price is None or not percent:
        return None
    if price.per == "kg":
        return 100.0 * price.amount / percent
    if product.density is None:
        return None
    return 100.0 * price.amount / (0.5 * sum(product.density) * percent)


def neighbours(
    items: Sequence[Item], mine: int, pairs: Tanks, line: str = ""
) -> tuple[Neighbour, ...]:
    """Every item after the first `mine`, the best neighbour of these first.

    pairs: each of them with each of mine. By how many it gets along with, by odds in steps, by the
    cost of the guarantee `line` where one is given (no price last, another currency than most have
    before that), then by odds.
    """
    rows = zip(pairs.members.tolist(), pairs.marks.tolist(), pairs.shows.tolist(), strict=True)
    met = sorted((max(pair), min(pair), mark, shows) for pair, mark, shows in rows)
    found = []
    for place, group in groupby(met, key=lambda row: row[0]):
        each = list(group)
        fits = [own for _, own, mark, _ in each if mark & CLEAR and mark & SAID_CLEAR]
        apart, refused, unknown, jar = (
            tuple(own for _, own, mark, _ in each if mark & there and not mark & missing)
            for there, missing in (
                (QUARRELS, 0),
                (REFUSED, 0),
                (UNKNOWN, 0),
                (CLEAR, SAID_CLEAR),
            )
        )
        told = {*fits, *apart, *unknown, *jar}
        product = items[place].product
        found.append(
            Neighbour(
                place,
                len(fits),
                1.0 - sum(row[3] for row in each) / len(each),
                apart,
                refused,
                tuple(sorted({*unknown, *jar})),
                tuple(own for _, own, _, _ in each if own not in told),
                cost_per_kg(product, line) if line else None,
                product.price.currency if product.price else "",
            )
        )
    priced = Counter(n.currency for n in found if n.cost_per_kg is not None)
    usual = priced.most_common(1)[0][0] if priced else ""

    def rank(n: Neighbour) -> tuple[float | str, ...]:
        cost = math.inf if n.cost_per_kg is None else n.cost_per_kg
        foreign = 2.0 if n.cost_per_kg is None else float(n.currency != usual)
        name = items[n.place].name
        return -n.fits, -round(STEPS * n.odds), foreign, cost, -n.odds, name, float(n.place)

    return tuple(sorted(found, key=rank))
