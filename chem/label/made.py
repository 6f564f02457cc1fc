"""A product written in Python instead of a file."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Literal

from chem.files import FormName, ProductForm, validate
from chem.label.product import Product
from chem.label.product_file import product_of

Written = str | float
"""As a file has it: text with its unit, or a bare number where a file takes one."""


def make_product(
    name: str,
    *,
    density: Written | None = None,
    specific_gravity: Written | None = None,
    net_weight: str | None = None,
    net_volume: str | None = None,
    ph: Written | None = None,
    ph_at: Literal["neat", "1 %", "10 %"] = "neat",
    sources: Sequence[str] = (),
    form: FormName = "solution",
    basis: Literal["w/w", "w/v"] = "w/w",
    usual_rate: str | None = None,
    rate_range: str | None = None,
    price: str | None = None,
    guarantee: Mapping[str, Written] | None = None,
    chelated: Mapping[str, Written | Mapping[str, Written]] | None = None,
    also: Mapping[str, Written] | None = None,
    says: Mapping[str, str | Sequence[str]] | None = None,
    known: Mapping[str, Written] | None = None,
    care: Sequence[str] = (),
    lot: str | None = None,
    ph_window: str | None = None,
    good_for: str | None = None,
    unread: Sequence[Mapping[str, Written]] = (),
) -> Product:
    """A product from what is printed on its label, each value as a product file has it.

    The keys are those of a file: `density="1.34 kg/L"`, `guarantee={"calcium": 9.0}` in percent,
    `chelated={"iron": {"percent": 2.0, "agent": "EDTA"}}`, `says={"never_with": ["calcium"]}`.

    Raises: InputProblem with every problem of them, as for a file.
    """
    given = {key: value for key, value in locals().items() if value is not None}
    file = f"product {name!r}"
    key = "-".join(re.findall(r"\w+", name.casefold()))
    return product_of(validate(ProductForm, as_tables(given), file), file, key)


def as_tables(given: Mapping[str, object]) -> dict[str, object]:
    """What was passed as a TOML file would hold it: lists as lists, tables as tables."""
    return {key: _plain(value) for key, value in given.items()}


def _plain(value: object) -> object:
    if isinstance(value, Mapping):
        return as_tables(value)
    if isinstance(value, str) or not isinstance(value, Sequence):
        return value
    return [_plain(one) for one in value]
