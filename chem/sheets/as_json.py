"""What the sheets of advice share: an object as JSON, and a chance told as under the threshold."""

from __future__ import annotations

import json

from chem.sheets.contract.parts import Part


def as_json(data: Part) -> str:
    """An object of the contract as text, indented."""
    return json.dumps(data.model_dump(by_alias=True), indent=2, allow_nan=False)


def odds_under(chance: float) -> str:
    """A chance known to be under 1 in 10, never rounded up to it."""
    return "under 1 in 20" if chance < 0.05 else "under 1 in 10"
