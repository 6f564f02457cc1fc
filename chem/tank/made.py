"""A water and a mix written in Python instead of files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

from chem.files import MixForm, WaterForm, validate
from chem.label import Product, Written, as_tables
from chem.tank.mix import Mix
from chem.tank.mix_file import mix_of
from chem.tank.water import UNKNOWN_WATER, Water, water_of
from chem.units import read_carrier


def make_water(
    name: str,
    *,
    ph: Written | None = None,
    alkalinity: str | None = None,
    hardness: str | None = None,
    ions: Mapping[str, str] | None = None,
    sampled: str | None = None,
) -> Water:
    """A water from its report, each value as a water file has it: `ions={"Ca": "68 mg/L"}`.

    Raises: InputProblem with every problem of them, as for a file.
    """
    given = {key: value for key, value in locals().items() if value is not None}
    file = f"water {name!r}"
    return water_of(validate(WaterForm, as_tables(given), file), file)


def make_mix(
    name: str,
    additions: Sequence[tuple[Product, str | None]],
    *,
    carrier: str,
    water: Water = UNKNOWN_WATER,
    fill: Literal["to mark", "water first"] = "to mark",
    tank: str | None = None,
    area: str | None = None,
    temperature: str | None = None,
    coldest: str | None = None,
    adjuvant: Mapping[str, Written] | None = None,
) -> Mix:
    """A mix of products, each with its rate (None: its usual one), in the order poured.

    Values are written as in a mix file: `carrier="2 gal/1000 sq ft"`, `temperature="60 F"`,
    `adjuvant={"name": "spreader", "ph_at_most": 5.0}`.

    Raises: InputProblem with every problem of them, as for a file.
    """
    given: dict[str, object] = {
        "name": name,
        "carrier": carrier,
        "fill": fill,
        "tank": tank,
        "area": area,
        "temperature": temperature,
        "coldest": coldest,
        "add": [{"product": p.name, "rate": rate} for p, rate in additions],
        "adjuvant": adjuvant,
    }
    file = f"mix {name!r}"
    form = validate(MixForm, as_tables({k: v for k, v in given.items() if v is not None}), file)
    return mix_of(
        form,
        file,
        carrier=lambda found: (found.attempt(read_carrier, carrier, "carrier"), None, ()),
        water=lambda where: water,
        product=lambda i, where: additions[i][0],
    )
