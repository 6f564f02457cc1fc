"""A mix file as written: what goes into the tank, in the order poured."""

from __future__ import annotations

from typing import Literal

from chem.files.reading import FormModel, Name


class AddForm(FormModel):
    """`[[add]]`: one product and its rate, or what is left of an earlier tank."""

    product: str | None = None
    rate: str | None = None
    leftover: str | None = None
    amount: str | None = None
    age: str | None = None


class AdjuvantForm(FormModel):
    """`[adjuvant]`: only its pH window is judged."""

    name: Name
    rate: str | None = None
    ph_at_most: str | None = None
    ph_at_least: str | None = None


class MixForm(FormModel):
    """A mix file as written."""

    name: Name
    water: str = "unknown"
    carrier: str
    fill: Literal["to mark", "water first"] = "to mark"
    tank: str | None = None
    area: str | None = None
    temperature: str | None = None
    coldest: str | None = None
    add: tuple[AddForm, ...] = ()
    adjuvant: AdjuvantForm | None = None
