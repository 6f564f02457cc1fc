"""Metals that a ligand holds against their solids for longer than a spray day: `holding.csv`."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from chem.reference.files import read_csv


@dataclass(frozen=True)
class Holding:
    """How a metal is held in a range of pH, and how it comes loose.

    none_below, all_above: moles of agent per mole of metal, or None where only what a product was
    made with is held; ph_from, ph_to: where the row holds; gone: (days, least, most) of the held
    share given up by then, in order.
    """

    metal: str
    agent: str
    none_below: float | None
    all_above: float | None
    ph_from: float
    ph_to: float
    gone: tuple[tuple[float, float, float], ...]
    source: str
    note: str


@cache
def holdings() -> tuple[Holding, ...]:
    """Read `holding.csv` once."""
    return tuple(
        Holding(
            r["metal"],
            r["agent"],
            float(r["none_below"]) if r["none_below"] else None,
            float(r["all_above"]) if r["all_above"] else None,
            float(r["ph_from"]),
            float(r["ph_to"]),
            tuple(
                (days, float(r[f"gone_{name}_low"]), float(r[f"gone_{name}_high"]))
                for days, name in ((1.0, "1d"), (30.0, "30d"))
            ),
            r["source"],
            r["note"],
        )
        for r in read_csv("holding.csv")
    )
