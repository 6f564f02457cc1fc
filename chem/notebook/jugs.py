"""Jugs as measured: density, conductivity and pH of what stands in the shed, by name and lot."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from chem.errors import InputProblem
from chem.label import Product, as_measured
from chem.notebook.entry import Entry, Measured
from chem.notebook.store import Kept


@dataclass(frozen=True)
class Told:
    """A measurement and the entry that holds it."""

    entry: Entry
    jug: Measured


class Jugs:
    """What was measured of this shed's jugs. A later reading of a jug counts for an earlier one,
    figure by figure; another lot's counts only while no lot is told of either."""

    def __init__(self, kept: Sequence[Kept]) -> None:
        """kept: entries that stand, in the order kept."""
        self._told: dict[str, list[Told]] = {}
        self._lot: dict[str, str] = {}
        for k in kept:
            mix = k.entry.mix
            if not k.ours:
                continue
            for name, lot in zip(mix.order, mix.lots, strict=True):
                if lot is not None:
                    self._lot[name] = lot
            for jug in k.entry.measured:
                self._told.setdefault(jug.product, []).append(Told(k.entry, jug))
                if jug.lot is not None:
                    self._lot[jug.product] = jug.lot
        self._known: dict[tuple[str, str | None], Product] = {}

    @property
    def key(self) -> str:
        """What all of it is known by; empty where nothing was measured."""
        each = [repr((x.jug, self._lot.get(name))) for name in sorted(self._told)
                for x in self._told[name]]  # fmt: skip
        return hashlib.sha256("\n".join(each).encode()).hexdigest() if each else ""

    def lot_of(self, product: Product) -> str | None:
        """The lot in use: the file's, else that told last of the product."""
        return product.lot or self._lot.get(product.name)

    def of(self, product: Product) -> list[Told]:
        """What holds of a jug, the latest last."""
        lot = self.lot_of(product)
        return [
            x
            for x in self._told.get(product.name, [])
            if x.jug.lot is None or lot is None or x.jug.lot == lot
        ]

    def measured(self, product: Product) -> Product:
        """The jug as measured; as its label says where nothing was, or it can't be true."""
        if product.name not in self._told:
            return product
        key = product.identity, product.lot
        if key not in self._known:
            texts: dict[str, str] = {}
            for one in self.of(product):
                texts |= one.jug.texts
            try:
                found = as_measured(product, texts)
            except InputProblem:
                found = product
            self._known[key] = found
        return self._known[key]
