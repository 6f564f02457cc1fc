"""Numbers that a practitioner judges, not measures: `judged.csv`, each with unit and conditions."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

from chem.reference.files import read_csv


@cache
def judged(group: str) -> Mapping[str, float]:
    """Name -> value of a group of `judged.csv`, in the table's order [unit of the row].

    Raises: KeyError for a group that the table lacks.
    """
    found = {r["name"]: float(r["value"]) for r in read_csv("judged.csv") if r["group"] == group}
    if not found:
        raise KeyError(f"judged.csv has no group {group!r}")
    return MappingProxyType(found)
