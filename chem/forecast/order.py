"""What a pouring order must keep, and the custom of the trade: from labels and hazards alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from chem.forecast.hazards import SULFUR, is_acid
from chem.label import Product
from chem.reference import catalogue
from chem.tank import Mix, in_order

ORGANICS = {"humate", "alginate", "lignosulfonate", "hydrolysate", "glycine"}
MAIN_PERCENT = 1.0
CUSTOM = (
    "acid or conditioner",
    "urea and nitrates",
    "sulfates and potassium salts",
    "chelates",
    "phosphate or calcium",
    "organics, well thinned",
    "what only the jar can judge",
)
"""The order of the trade after the labels' own (common practice, no source)."""


def components_of(product: Product) -> set[str]:
    """Components that a label's sources and declared agents bring."""
    known = catalogue().sources
    held = [*product.sources, *(known[key] for key in product.also)]
    agents = {c.agent for c in product.chelated.values() if c.agent is not None}
    return {c for source in held for c in source.components} | agents


def hates_acid(product: Product) -> str:
    """Why an acid must not stand next to a product: `sulfur`, `ammonia`, `carbonate`, or empty."""
    if product.hazards & SULFUR:
        return "sulfur"
    known = catalogue().sources
    sources = [*product.sources, *(known[key] for key in product.also)]
    if any("ammonium" in s.hazard and "strong base" in s.hazard for s in sources):
        return "ammonia"
    return "carbonate" if "carbonate" in product.hazards else ""


def apart(products: Sequence[Product]) -> dict[frozenset[int], str]:
    """Pairs of an acid and what it must never stand next to, by index, each with why."""
    acids = [i for i, p in enumerate(products) if is_acid(p)]
    return {
        frozenset((i, j)): reason
        for i in acids
        for j, product in enumerate(products)
        if j not in acids and (reason := hates_acid(product))
    }


@dataclass(frozen=True)
class Order:
    """What an order must keep: products by index.

    first, last: by their labels; acids; apart: pairs of an acid and what it must not stand
    next to, with why.
    """

    products: tuple[Product, ...]
    first: frozenset[int]
    last: frozenset[int]
    acids: frozenset[int]
    apart: dict[frozenset[int], str]

    @classmethod
    def of(cls, mix: Mix) -> Order:
        """The rules of a mix, from its labels and hazards."""
        products = tuple(a.product for a in mix.additions)
        return cls(
            products,
            frozenset(i for i, p in enumerate(products) if p.says.pour == "first"),
            frozenset(i for i, p in enumerate(products) if p.says.pour == "last"),
            frozenset(i for i, p in enumerate(products) if is_acid(p)),
            apart(products),
        )

    @cached_property
    def _masks(self) -> tuple[int, int]:
        return mask(self.first), mask(set(range(len(self.products))) - self.last)

    def allow(self, poured: int, last: int, following: int) -> bool:
        """Whether a product may follow the set `poured`, whose last was `last` (-1: none)."""
        first, before_last = self._masks
        if following not in self.first and first & ~poured:
            return False
        if following in self.last and before_last & ~poured:
            return False
        return frozenset((last, following)) not in self.apart

    def keeps(self, sequence: Sequence[int]) -> bool:
        """Whether a sequence of all the products keeps every rule of order."""
        poured, last = 0, -1
        for i in sequence:
            if not self.allow(poured, last, i):
                return False
            poured, last = poured | 1 << i, i
        return True

    def some(self) -> tuple[int, ...] | None:
        """An order that keeps every rule, each step by the custom of the trade where it may."""
        by_custom = sorted(range(len(self.products)), key=lambda i: (place(self.products[i]), i))
        dead: set[tuple[int, int]] = set()

        def go_on(poured: int, last: int) -> tuple[int, ...] | None:
            left = [i for i in by_custom if not poured >> i & 1]
            if not left:
                return ()
            for i in left:
                node = (poured | 1 << i, i)
                if node in dead or not self.allow(poured, last, i):
                    continue
                rest = go_on(*node)
                if rest is not None:
                    return (i, *rest)
                dead.add(node)
            return None

        return go_on(0, -1)


def mask(indices: Sequence[int] | set[int] | frozenset[int]) -> int:
    """A set of places as bits."""
    return sum(1 << i for i in indices)


def place(product: Product) -> int:
    """Place in the trade's custom, an index of `CUSTOM`."""
    main = {k for k, v in product.guarantee.items() if v >= MAIN_PERCENT}
    if not product.judged or product.form == "adjuvant":
        return 6
    if components_of(product) & ORGANICS:
        return 5
    if product.hazards & {"acid", "strong acid"}:
        return 0
    if main & {"available phosphate", "calcium"}:
        return 4
    if product.chelated or any(s.bound for s in product.sources):
        return 3
    return 2 if main & {"soluble potash", "sulfur"} else 1


def keeping_rules(mix: Mix) -> Mix | None:
    """The mix in its own order if that keeps every rule of order, else in one that does.

    That one is the nearest to the custom of the trade; None where no order keeps them.
    """
    order = Order.of(mix)
    if order.keeps(range(len(mix.additions))):
        return mix
    found = order.some()
    return None if found is None else in_order(mix, found)


def pouring_place(mix: Mix, product: Product, acid: bool) -> int:
    """Where in the pouring order an agent goes: acid before the products, base after.

    Rules of labels come first.
    """
    first = product.says.pour == "first" or acid
    if product.says.pour != "last" and first:
        where = 0
        while where < len(mix.additions) and mix.additions[where].product.says.pour == "first":
            where += 1
        return 0 if product.says.pour == "first" else where
    where = len(mix.additions)
    while where > 0 and mix.additions[where - 1].product.says.pour == "last":
        where -= 1
    return len(mix.additions) if product.says.pour == "last" else where
