"""A product file as written: what is printed on the jug."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from chem.files.reading import FormModel, Name

FormName = Literal["solution", "suspension", "emulsion", "pesticide", "dry"]


class ChelatedForm(FormModel):
    """`[chelated]`: percent of the product that is metal held by an agent."""

    percent: str
    agent: str | None = None


class SaysForm(FormModel):
    """`[says]`: the label's own rules."""

    pour: Literal["first", "last"] | None = None
    never_with: tuple[str, ...] = ()
    carrier_at_least: str | None = None
    carrier_at_most: str | None = None


class UnreadForm(FormModel):
    """`unread`: a line of the label that its reader could not use, and what it speaks of."""

    line: str
    text: str
    kind: Literal["composition", "rule", "rate", "reading", "other"]


class ProductForm(FormModel):
    """A product file as written."""

    name: Name
    density: str | None = None
    specific_gravity: str | None = None
    net_weight: str | None = None
    net_volume: str | None = None
    ph: str | None = None
    ph_at: Literal["neat", "1 %", "10 %"] = "neat"
    sources: tuple[str, ...] = ()
    form: FormName = "solution"
    basis: Literal["w/w", "w/v"] = "w/w"
    usual_rate: str | None = None
    rate_range: str | None = None
    price: str | None = None
    care: tuple[str, ...] = ()
    lot: str | None = None
    unread: tuple[UnreadForm, ...] = ()
    guarantee: Mapping[str, str] = {}
    chelated: Mapping[str, str | ChelatedForm] = {}
    also: Mapping[str, str] = {}
    says: SaysForm = SaysForm()
    known: Mapping[str, str] = {}
