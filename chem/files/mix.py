"""A mix file as written: what goes into the tank, in the order poured."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import BeforeValidator

from chem.files.reading import FormModel, Name
from chem.files.table import Ask, Numbered, Reader
from chem.units import (
    read_area,
    read_carrier,
    read_duration,
    read_ph,
    read_rate,
    read_temperature,
    read_volume,
)

MAX_PRODUCTS = 12


def shares_text(water: object) -> object:
    """Several waters with their shares as one text, `well.toml = 60 %; pond.toml = rest`."""
    if not isinstance(water, list | tuple):
        return water
    parts = []
    for one in water:
        if not isinstance(one, dict) or set(one) != {"file", "share"}:
            raise ValueError('each water is {file = "well.toml", share = "60 %"}')
        parts.append(f"{one['file']} = {one['share']}")
    return "; ".join(parts)


class AddForm(FormModel):
    """`[[add]]`: one product and its rate, or what is left of an earlier tank."""

    product: Annotated[
        str | None,
        Ask(
            "Product {n}, its file or name",
            heading="Products, in the order poured:",
            note='REQUIRED: a product file and its rate, such as "4 fl oz/1000 sq ft" or "1 '
            'qt/100 gal". One such block for each product; "" as rate = the label\'s usual rate.',
            open=True,
        ),
    ] = None
    rate: Annotated[
        str | None,
        Reader(read_rate, by_form=True),
        Ask("  rate", "4 fl oz/1000 sq ft", open=True),
    ] = None
    leftover: Annotated[
        str | None,
        Ask(
            example="yesterday.toml",
            note="or, in place of a product, what is left of an earlier tank: its mix file or the "
            "number of its sheet, how much, how old",
        ),
    ] = None
    amount: Annotated[str | None, Reader(read_volume), Ask(example="10 gal")] = None
    age: Annotated[str | None, Reader(read_duration), Ask(example="1 day")] = None


class AdjuvantForm(FormModel):
    """`[adjuvant]`: only its pH window is judged."""

    name: Annotated[
        Name,
        Ask(
            "Adjuvant not on your shelf, its name",
            "spreader",
            heading="Only an adjuvant's pH window is judged:",
            note="An adjuvant of which only the pH window is judged",
        ),
    ]
    rate: Annotated[str | None, Reader(read_rate), Ask("Its rate", "0.25 % v/v")] = None
    ph_at_most: Annotated[str | None, Reader(read_ph, bare=True), Ask("Its pH at most", "8.0")] = (
        None
    )
    ph_at_least: Annotated[
        str | None, Reader(read_ph, bare=True), Ask("Its pH at least", "4.0")
    ] = None


class MixForm(FormModel):
    """A mix file as written. What it leaves out comes from the shed that it stands in."""

    title: ClassVar[str] = "A mix: what goes into the tank, in the order poured."

    name: Annotated[Name, Ask("What you call this mix", note="REQUIRED: what you call it")]
    water: Annotated[
        str | None,
        BeforeValidator(shares_text),
        Ask(
            "Water file (Enter = {water})",
            note='a water file, or "unknown". Files are looked for beside this one, in the shed, '
            'then on the demo shelf: "../products/iron.toml", "urea-liquor.toml". Several: '
            '[{file = "well.toml", share = "60 %"}, {file = "pond.toml", share = "rest"}]',
            example="unknown",
        ),
    ] = None
    carrier: Annotated[
        str | None,
        Reader(read_carrier),
        Ask(
            "Spray volume",
            "2 gal/1000 sq ft",
            note="REQUIRED unless a sprayer's file stands in the shed: spray volume, products "
            'included, such as "2 gal/1000 sq ft", "40 gal/acre" or "400 L/ha"',
            open=True,
        ),
    ] = None
    fill: Annotated[
        Literal["to mark", "water first"],
        Ask(example="to mark", note='"water first" if the products come on top of it'),
    ] = "to mark"
    tank: Annotated[
        str | None,
        Reader(read_volume),
        Ask(
            "Tank, filled to this mark, such as 50 gal",
            "50 gal",
            note="how full, products included",
        ),
    ] = None
    area: Annotated[
        str | None,
        Reader(read_area),
        Ask(
            "Area to spray, such as 2.6 acre",
            "2.6 acre",
            note="with the tank: how many loads, and what goes into each",
        ),
    ] = None
    temperature: Annotated[
        str | None, Reader(read_temperature), Ask("Temperature (Enter = {temperature})", "60 F")
    ] = None
    coldest: Annotated[
        str | None,
        Reader(read_temperature),
        Ask("Coldest where it stands overnight", "40 F", note="where it stands overnight"),
    ] = None
    add: Annotated[tuple[AddForm, ...], Numbered(MAX_PRODUCTS)] = ()
    adjuvant: AdjuvantForm | None = None
