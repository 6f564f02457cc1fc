"""What the shelf's options name, read: its folder, its tank, its rates."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from chem.cli.saying import say

if TYPE_CHECKING:
    from chem.shelf import Item, LeftOut, Setting
    from chem.tank import Water
    from chem.units import Units


def setting_of(
    folder: str,
    carrier: str | None,
    sprayer: str | None,
    water: str | None,
    temperature: str | None,
    coldest: str | None,
    units: Units | None,
    draws: int,
    seed: int,
) -> tuple[Setting, Units]:
    """The tank that all meet in, what is not said taken from the shed, and the sheet's units.

    Raises: InputProblem, also where neither says the spray volume: none is ever assumed.
    """
    from chem.errors import InputProblem, Problem
    from chem.files import find_shed
    from chem.shelf import Setting
    from chem.tank import find_water, pick_sprayer
    from chem.units import read_carrier, read_temperature

    shed = find_shed(Path() if folder == "demo" else Path(folder))
    told = []
    machine = pick_sprayer(shed, sprayer) if shed is not None and carrier is None else None
    if carrier is None and machine is None:
        wrong = "no spray volume, and no sprayer in a shed.toml: none is assumed"
        instead = (
            '--carrier "2 gal/1000 sq ft", what leaves your nozzles; `jarsight new shed` keeps it'
        )
        raise InputProblem(Problem("command line, --carrier", wrong, instead))
    if machine is not None:
        told.append(f"spray volume {machine.carrier_text} of {machine.name}")
    if water is None and shed is not None and shed.form.water is not None:
        found = find_water(shed.form.water, shed.folder, "shed.toml, water")
        told.append(f"water {found.name}")
    else:
        found = _water(water or "unknown", folder)
    if temperature is None and shed is not None and shed.form.temperature is not None:
        temperature = shed.form.temperature
        told.append(f"temperature {temperature}")
    if told:
        say(f"From your shed: {'; '.join(told)}", err=True)
    setting = Setting(
        found,
        machine.carrier_L_per_m2
        if machine is not None
        else read_carrier(carrier or "", "command line, --carrier"),
        read_temperature(temperature or "68 F", "command line, --temperature"),
        None if coldest is None else read_temperature(coldest, "command line, --coldest"),
        draws,
        seed,
    )
    return setting, units or (shed.form.units if shed is not None else None) or "both"


def _folder(name: str) -> Path:
    """The folder named, the products of the shed there, or the demo shelf."""
    from chem.files import find_shed
    from chem.reference.files import data_folder
    from chem.tank import product_folder

    path = Path(name)
    if name == "demo" and not path.is_dir():
        return data_folder() / "demo" / "products"
    shed = find_shed(path)
    if shed is not None and shed.folder.resolve() == path.resolve():
        return product_folder(shed)
    inside = path / "products"
    return inside if inside.is_dir() and not any(path.glob("*.toml")) else path


def _water(name: str, folder: str) -> Water:
    """A water file: a path, or a name in the folder, in its `waters` or among the demo's.

    Raises: InputProblem.
    """
    from chem.tank import find_water, read_water

    if Path(name).is_file():
        return read_water(Path(name))
    plain = name.removesuffix(".toml")
    inside = Path(folder) / "waters" / f"{plain}.toml"
    return read_water(inside) if inside.is_file() else find_water(name, Path(folder))


def product_of(name: str, folder: str) -> Path:
    """The file asked for: a path, or a name in the folder or on the demo shelf.

    Raises: InputProblem.
    """
    from chem.errors import InputProblem, Problem
    from chem.reference.files import data_folder
    from chem.shelf.stock import near_names

    plain = name.removesuffix(".toml")
    places = (_folder(folder), data_folder() / "demo" / "products")
    for path in (Path(name), *(place / f"{plain}.toml" for place in places)):
        if path.is_file():
            return path
    known = {p.stem for place in places for p in place.glob("*.toml")}
    wrong = f"there is no such file, nor is it in `{folder}`"
    raise InputProblem(Problem(f"`{name}`", wrong, " or ".join(near_names(plain, sorted(known)))))


def must_be_writable(file: Path | None) -> None:
    """Told before the work, not after it. Raises: InputProblem."""
    from chem.errors import InputProblem, Problem

    if file is None:
        return
    if file.is_dir():
        raise InputProblem(Problem(f"`{file}`", "it is a folder", f"a file, `{file}/shelf`"))
    if not file.parent.is_dir():
        raise InputProblem(
            Problem(f"`{file}`", "it can't be written (no such folder)", "a folder that exists")
        )


def stock_of(
    folder: str, rates: dict[str, str], use: str | None
) -> tuple[tuple[Item, ...], tuple[LeftOut, ...]]:
    """The products of a folder, or those named. Raises: InputProblem."""
    from chem.errors import InputProblem, Problem
    from chem.shelf import read_stock
    from chem.shelf.stock import near_names

    items, left_out = read_stock(_folder(folder), rates)
    if use is None:
        return items, left_out
    wanted = [name.strip().removesuffix(".toml") for name in use.split(",") if name.strip()]
    keys = {item.product.key: item for item in items}
    problems = []
    for name in dict.fromkeys(wanted):
        if name not in keys:
            why = next((o.why for o in left_out if o.file == f"{name}.toml"), "no such product")
            near = " or ".join(near_names(name, list(keys)))
            problems.append(Problem(f"command line, --use {name}", why, near))
    if not wanted:
        problems.append(
            Problem(f"command line, --use {use}", "no product is named", ",".join(list(keys)[:3]))
        )
    if problems:
        raise InputProblem(problems)
    return tuple(keys[name] for name in dict.fromkeys(wanted)), ()


def rates_of(given: list[str]) -> dict[str, str]:
    """`NAME=RATE` options. Raises: InputProblem."""
    from chem.errors import InputProblem, Problem

    out = {}
    for text in given:
        name, equals, value = text.partition("=")
        if not (equals and name.strip() and value.strip()):
            raise InputProblem(
                Problem(
                    f"command line, --rate {text}",
                    "a product and its rate are needed",
                    '--rate "calcium-nitrate-liquor=4 fl oz/1000 sq ft"',
                )
            )
        out[name.strip().removesuffix(".toml")] = value.strip()
    return out


def factors_of(text: str | None) -> list[float]:
    """`0.5,1,2`. Raises: InputProblem."""
    from chem.errors import InputProblem, Problem

    if text is None:
        return []
    try:
        return [float(part) for part in text.split(",")]
    except ValueError:
        raise InputProblem(
            Problem(f"command line, --ratios {text}", "numbers with commas are needed", "0.5,1,2")
        ) from None
