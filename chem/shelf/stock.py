"""What stands on the shelf: product files with the rate each goes at, and the tank they meet in."""

from __future__ import annotations

import difflib
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from chem.errors import InputProblem, Problem
from chem.files import Collector
from chem.forecast import Study
from chem.label import Product, read_product
from chem.tank import UNKNOWN_WATER, Addition, Mix, Water, unfit_rate
from chem.units import Rate, read_carrier, read_rate, read_temperature


@dataclass(frozen=True)
class Item:
    """A product at its rate; text: what its file says, which the cache goes by."""

    product: Product
    rate: Rate
    text: str

    @property
    def name(self) -> str:
        """As on the label."""
        return self.product.name

    @property
    def identity(self) -> str:
        """A hash of everything that a tank takes from it."""
        whole = "\n".join((self.product.key, self.rate.text, repr(self.rate.value), self.text))
        return hashlib.sha256(whole.encode()).hexdigest()


@dataclass(frozen=True)
class LeftOut:
    """A file that could not be used, and why."""

    file: str
    why: str


@dataclass(frozen=True)
class Setting:
    """The tank that all meet in: water, spray volume [L/m2], temperatures [degC], draws, seed."""

    water: Water
    carrier_L_per_m2: float
    t_celsius: float
    coldest_celsius: float | None = None
    draws: int = 64
    seed: int = 1

    def mix(self, *additions: Addition) -> Mix:
        """These products in this tank."""
        return Mix(
            name=" + ".join(a.product.name for a in additions),
            file="shelf",
            water=self.water,
            carrier_L_per_m2=self.carrier_L_per_m2,
            fill="to mark",
            tank_L=None,
            t_celsius=self.t_celsius,
            coldest_celsius=self.coldest_celsius,
            additions=additions,
            adjuvant=None,
        )


def read_item(path: Path, rate: str | None = None) -> Item:
    """One product at a rate given as text, or its usual one.

    Raises: InputProblem where the file can't be read, its lines can't be met by its sources,
        neither it nor the caller gives a rate, or it is dry and the rate a volume.
    """
    product = read_product(path)
    where = f"{path.name}, usual_rate" if rate is None else f"command line, --rate {path.stem}"
    assert product.read_from is not None
    return item_of(product, rate, where, product.read_from.text, path.stem)


def make_item(product: Product, rate: str | None = None) -> Item:
    """A product made in Python or read, at a rate given as text, or its usual one.

    Raises: InputProblem as `read_item`.
    """
    where = f"{product.file}, {'usual_rate' if rate is None else 'rate'}"
    return item_of(product, rate, where, product.identity, product.key)


def make_setting(
    carrier: str,
    *,
    water: Water = UNKNOWN_WATER,
    temperature: str = "20 C",
    coldest: str | None = None,
    draws: int = 64,
    seed: int = 1,
) -> Setting:
    """The tank that all meet in, each value as a mix file has it.

    Raises: InputProblem with every problem of them.
    """
    found = Collector("setting")
    carrier_L_per_m2 = found.attempt(read_carrier, carrier, "carrier")
    t_celsius = found.attempt(read_temperature, temperature, "temperature")
    cold = found.attempt(read_temperature, coldest, "coldest") if coldest else None
    found.done()
    assert carrier_L_per_m2 is not None and t_celsius is not None
    return Setting(water, carrier_L_per_m2, t_celsius, cold, draws, seed)


def item_of(product: Product, rate: str | None, where: str, text: str, stem: str) -> Item:
    """A product at its rate, the upper end of its label's where that is all it says.

    where: the rate's file and key; text: what it is known by.

    Raises: InputProblem as `read_item`.
    """
    Study(1).contents(product)  # raises where the label can't be true
    used = product.usual_rate if rate is None else read_rate(rate, where, dry=product.dry)
    if used is None and product.rate_range is not None:
        used = product.rate_range[1]
    if used is None:
        raise InputProblem(
            Problem(
                where,
                "no rate to try it at",
                f'usual_rate = "4 fl oz/1000 sq ft", or --rate "{stem}=4 fl oz/1000 sq ft"',
            )
        )
    unfit = unfit_rate(product, used, where)
    if unfit is not None:
        raise InputProblem(replace(unfit, key=where.partition(", ")[2]))
    return Item(product, used, text)


def read_stock(
    folder: Path, rates: Mapping[str, str] | None = None
) -> tuple[tuple[Item, ...], tuple[LeftOut, ...]]:
    """Every product of a folder at its rate, and what had to be left out.

    rates: file stem -> rate as text, in place of the usual one.

    Raises: InputProblem where the folder holds no product file that can be used, or a rate names
        none.
    """
    given = dict(rates or {})
    if not folder.is_dir():
        raise InputProblem(
            Problem(
                f"`{folder}`", "there is no such folder", "a folder of product files, or `demo`"
            )
        )
    paths = sorted(folder.glob("*.toml"))
    stems = [p.stem for p in paths]
    problems = [
        Problem(
            f'command line, --rate "{key}={text}"',
            f"`{folder}` has no {key}.toml",
            " or ".join(near_names(key, stems)) or "the name of a file there",
        )
        for key, text in given.items()
        if key not in stems
    ]
    items: list[Item] = []
    left: list[LeftOut] = []
    for path in paths:
        try:
            items.append(read_item(path, given.get(path.stem)))
        except InputProblem as problem:
            asked = [p for p in problem.problems if p.read.startswith("command line")]
            problems += asked
            if not asked:
                left.append(why_left_out(path.name, problem))
        except Exception as error:  # one bad label must not cost the others their answer
            left.append(why_left_out(path.name, error))
    if not items and not problems:
        problems.append(
            Problem(
                f"`{folder}`",
                "no product file there can be used"
                + "".join(f"; {out.file}: {out.why}" for out in left[:3])
                + (f"; and {len(left) - 3} more" if len(left) > 3 else ""),
                "a folder of product files, each with its usual_rate",
            )
        )
    if problems:
        raise InputProblem(problems)
    return tuple(items), tuple(left)


def near_names(name: str, known: Sequence[str]) -> list[str]:
    """Up to three names that may have been meant, or the first few there are."""
    return difflib.get_close_matches(name, known, n=3, cutoff=0.5) or sorted(known)[:3]


def why_left_out(file: str, error: Exception) -> LeftOut:
    """A file that raised this, and in one line what is wrong with it."""
    if not isinstance(error, InputProblem):
        return LeftOut(file, f"it can't be worked out ({type(error).__name__}: {error})")
    first, *more = error.problems
    line = f"{first.key}: {first.wrong}" if first.key else first.wrong
    return LeftOut(file, f"{line}; and {len(more)} more" if more else line)


def all_apart(items: Sequence[Item]) -> tuple[Item, ...]:
    """The items, each under a key of its own, so that its doubts are not those of another jug."""
    out: dict[str, Item] = {}
    for item in items:
        key, n = item.product.key, 2
        while key in out:
            key, n = f"{item.product.key}-{n}", n + 1
        same = key == item.product.key
        out[key] = item if same else replace(item, product=replace(item.product, key=key))
    return tuple(out.values())
