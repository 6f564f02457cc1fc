"""A solution file as written: temperature, pH and totals per kg of water."""

from __future__ import annotations

from pydantic import Field

from chem.files.reading import FormModel

CHARGE = "charge"
"""A pH that electroneutrality decides."""


class SolutionForm(FormModel):
    """Keys of a solution file."""

    name: str | None = None
    temperature: str | None = None
    ph: str = CHARGE
    totals: dict[str, str] = Field(default_factory=dict)
    held: dict[str, dict[str, str]] = Field(default_factory=dict)
