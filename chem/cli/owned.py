"""What the user owns beside a product that is asked about: the mixes, and the shed's shelf."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from chem.label import Product
    from chem.shelf import Buying, Item, Shelf
    from chem.tank import Mix, Water


def ends(asked: Item) -> tuple[Item, float | None]:
    """A product at the upper end of its label's rates, and the lower as a factor on it."""
    from dataclasses import replace

    span = asked.product.rate_range
    if span is None or span[0].value <= 0.0 or span[0].value >= span[1].value:
        return asked, None
    return replace(asked, rate=span[1]), span[0].value / span[1].value


def own_mixes(folder: Path) -> list[Mix]:
    """Every mix that can be read, of the shed that a folder stands in, or else of the folder.

    Looked for there and in `mixes`; what can't be read is another command's to complain of.
    """
    from chem.cli.kinds import what_is
    from chem.errors import InputProblem
    from chem.files import find_shed, load_toml
    from chem.tank import read_mix

    shed = find_shed(folder)
    home = folder if shed is None else shed.folder
    found = []
    for path in [*sorted(home.glob("*.toml")), *sorted((home / "mixes").glob("*.toml"))]:
        try:
            if what_is(path, load_toml(path, "mix")) == "mix":
                found.append(read_mix(path))
        except InputProblem:
            continue
    return found


def own_products(folder: Path) -> list[Product]:
    """Every product that can be read, of the shed that a folder stands in; none without a shed."""
    from chem.errors import InputProblem
    from chem.files import find_shed
    from chem.label import read_product
    from chem.tank import product_folder

    shed = find_shed(folder)
    found = []
    for path in () if shed is None else sorted(product_folder(shed).glob("*.toml")):
        try:
            found.append(read_product(path))
        except InputProblem:
            continue
    return found


def own_waters(folder: Path) -> list[tuple[Path, Water]]:
    """Every water that can be read, of the shed that a folder stands in; none without a shed."""
    from chem.cli.kinds import what_is
    from chem.errors import InputProblem
    from chem.files import find_shed, load_toml
    from chem.tank import read_water

    shed = find_shed(folder)
    found = []
    homes = () if shed is None else (shed.folder, shed.folder / "waters")
    for path in (p for home in homes for p in sorted(home.glob("*.toml"))):
        try:
            if what_is(path, load_toml(path, "water")) == "water":
                found.append((path, read_water(path)))
        except InputProblem:
            continue
    return found


def beside_owned_of(product: Path, seed: int = 1) -> tuple[Shelf, Buying] | None:
    """A label against the products of the shed it stands in, or that the command is given in.

    None where there is no shed, its sprayer tells no spray volume, or nothing can be compared.
    """
    from chem.errors import InputProblem
    from chem.files import find_shed
    from chem.reference.fingerprint import made_with
    from chem.shelf import Cache, Setting, buying, cache_folder, read_item, read_stock, shelf
    from chem.tank import MAX_PRODUCTS, UNKNOWN_WATER, find_water, pick_sprayer, product_folder
    from chem.units import read_temperature

    shed = find_shed(product.parent) or find_shed(Path())
    if shed is None:
        return None
    try:
        machine = pick_sprayer(shed)
        if machine is None:
            return None
        water = shed.form.water
        setting = Setting(
            UNKNOWN_WATER if water is None else find_water(water, shed.folder, "shed.toml, water"),
            machine.carrier_L_per_m2,
            read_temperature(shed.form.temperature or "68 F", "shed.toml, temperature"),
            seed=seed,
        )
        asked, lower = ends(read_item(product))
        items, left_out = read_stock(product_folder(shed))
        with Cache(cache_folder(), repr(sorted(made_with().items()))) as cache:
            result = shelf(
                items,
                setting,
                asked=asked,
                lower=lower,
                passes=len(items) < MAX_PRODUCTS,
                left_out=left_out,
                cache=cache,
            )
    except InputProblem:
        return None
    mine = [item for i, item in enumerate(result.items) if i != result.asked]
    return (result, buying(asked, mine, setting, own_mixes(shed.folder))) if mine else None
