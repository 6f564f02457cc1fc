"""A mix's file read: water, carrier, jugs, leftovers and adjuvant of one tank."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import replace
from pathlib import Path
from typing import Any

from chem.errors import InputProblem, Problem
from chem.files import (
    MAX_PRODUCTS,
    Collector,
    FileText,
    MixForm,
    is_file,
    load_file,
    validate,
)
from chem.files.kept import is_kept
from chem.label import Product, find_product
from chem.tank.mix import Addition, Adjuvant, Leftover, Mix, Spray
from chem.tank.shed import Taken, find_sprayer, taken
from chem.tank.water import UNKNOWN_WATER, Water, find_water, read_water
from chem.units import (
    Rate,
    read_area,
    read_carrier,
    read_duration,
    read_ph,
    read_rate,
    read_temperature,
    read_volume,
)

DEFAULT_T_CELSIUS = 20.0
_BY_NUMBER: ContextVar[Callable[[str, Path], Mix | None] | None] = ContextVar(
    "by_number", default=None
)


def mix_schema() -> dict[str, Any]:
    """JSON Schema of a mix file."""
    return MixForm.model_json_schema()


def read_mix(path: Path | str, sprayer: str | None = None) -> Mix:
    """Read a mix and every file it names; what it leaves out comes from the shed it stands in.

    sprayer: which of the shed's sprayers, by its name or file.

    Raises: InputProblem with every problem of the mix and of its products.
    """
    path = Path(path)
    raw, read_from = load_file(path, "mix")
    return mix_from(raw, path, read_from, sprayer)


def mix_from(
    raw: dict[str, Any],
    path: Path,
    read_from: FileText | None = None,
    sprayer: str | None = None,
) -> Mix:
    """The mix of a file's tables, as `read_mix`; path: where it stands, or would."""
    form = validate(MixForm, raw, path.name)
    beside = path.parent
    shed = taken(form, beside, sprayer)
    form = shed.form
    mix = mix_of(
        form,
        path.name,
        carrier=lambda found: _carrier(form.carrier, beside, shed, found),
        water=lambda where: shed.water or find_water(form.water or "unknown", beside, where),
        product=lambda i, where: find_product(
            form.add[i].product or "", beside, where, shed.places
        ),
        leftover=lambda i, where: _earlier(form.add[i].leftover or "", path, where),
        read_from=(*(() if read_from is None else (read_from,)), *shed.files),
    )
    notes = (*mix.notes, *shed.notes)
    return replace(mix, notes=notes, sprayer=shed.sprayer, measures=shed.measures)


@contextmanager
def numbered(by_number: Callable[[str, Path], Mix | None]) -> Iterator[None]:
    """Within it, a leftover may be named by what `by_number` knows: (name, folder of the mix that
    takes it) -> the mix printed under that number, None for any other name."""
    token = _BY_NUMBER.set(by_number)
    try:
        yield
    finally:
        _BY_NUMBER.reset(token)


def _earlier(name: str, path: Path, where: str) -> Mix:
    """The mix of a leftover, beside the mix that takes it. Raises: InputProblem."""
    earlier = path.parent / name.strip()
    by_number = _BY_NUMBER.get()
    printed = None
    if by_number is not None and not is_kept("mix", earlier.as_posix()):
        printed = by_number(name.strip(), path.parent)
    if earlier.resolve() == path.resolve():
        raise InputProblem(
            Problem(f"{where} = {name!r}", "that is this very mix", "the earlier tank's file")
        )
    if printed is None:
        mix = read_mix(earlier)
    else:
        # Kept under its number, so that the mix that takes it can be read again.
        own, *rest = printed.read_from
        mix = replace(printed, read_from=(replace(own, name=name.strip()), *rest))
    if mix.leftovers:
        raise InputProblem(
            Problem(
                f"{where} = {name!r}",
                "that tank was made of a leftover itself",
                "a tank mixed fresh; what is left twice over is for the label's disposal",
            )
        )
    return mix


def mix_of(
    form: MixForm,
    file: str,
    *,
    carrier: Callable[[Collector], Spray],
    water: Callable[[str], Water],
    product: Callable[[int, str], Product],
    leftover: Callable[[int, str], Mix] | None = None,
    read_from: tuple[FileText, ...] = (),
) -> Mix:
    """The mix of a form; file: as messages name it.

    carrier, water, product: where each comes from; product: by place; the last two also by the
    file and key that name it. Raises: InputProblem with every problem.
    """
    found = Collector(file)
    notes: list[str] = []
    carrier_L_per_m2, carrier_error, catch = carrier(found)
    tank = found.attempt(read_volume, form.tank, "tank") if form.tank else None
    area = found.attempt(read_area, form.area, "area") if form.area else None
    temperature = DEFAULT_T_CELSIUS
    if form.temperature:
        read = found.attempt(read_temperature, form.temperature, "temperature")
        temperature = DEFAULT_T_CELSIUS if read is None else read
    else:
        notes.append("Temperature not given: 68 F (20 C) taken")
    coldest = found.attempt(read_temperature, form.coldest, "coldest") if form.coldest else None
    standing = UNKNOWN_WATER
    try:
        standing = water(found.where("water"))
    except InputProblem as problem:
        found.take(problem, "water")
    additions = _additions(form, product, found)
    leftovers = _leftovers(form, tank, leftover, found)
    adjuvant = _adjuvant(form, found)
    if not [entry for entry in form.add if entry.leftover is None]:
        found.add("add", [], "a mix needs at least one product", "an [[add]] table per product")
    if len(form.add) > MAX_PRODUCTS:
        found.add("add", len(form.add), f"more than {MAX_PRODUCTS} products", "fewer in one tank")
    if not found.problems and carrier_L_per_m2 is not None:
        _room(additions, carrier_L_per_m2, form.fill, found, f"carrier = {form.carrier!r}")
    found.done()
    assert carrier_L_per_m2 is not None
    return Mix(
        name=form.name,
        file=file,
        water=standing,
        carrier_L_per_m2=carrier_L_per_m2,
        fill=form.fill,
        tank_L=tank,
        t_celsius=temperature,
        coldest_celsius=coldest,
        additions=tuple(additions),
        adjuvant=adjuvant,
        notes=tuple(notes),
        carrier_error=carrier_error,
        carrier_text="" if carrier_error is not None else form.carrier or "",
        area_m2=area,
        leftovers=tuple(leftovers),
        read_from=(*read_from, *catch),
    )


def change_mix(
    mix: Mix,
    beside: Path,
    *,
    carrier: str | None = None,
    water: str | None = None,
    temperature: str | None = None,
    coldest: str | None = None,
    tank: str | None = None,
    area: str | None = None,
) -> Mix:
    """The mix with another carrier, tank, area, water or temperature, each as text with its unit.

    Raises: InputProblem with every problem of the values given.
    """
    found = Collector("command line")
    changes: dict[str, Any] = {}
    for name, option, text, reader in (
        ("carrier_L_per_m2", "--carrier", carrier, read_carrier),
        ("t_celsius", "--temperature", temperature, read_temperature),
        ("coldest_celsius", "--coldest", coldest, read_temperature),
        ("tank_L", "--tank", tank, read_volume),
        ("area_m2", "--area", area, read_area),
    ):
        if text is not None:
            changes[name] = found.attempt(reader, text, option)
    if water is not None:
        try:
            path = Path(water)
            changes["water"] = (
                read_water(path)
                if is_file(path)
                else find_water(water, beside, found.where("--water"))
            )
        except InputProblem as problem:
            found.problems.extend(problem.problems)
    found.done()
    changed = replace(mix, **changes)
    if carrier is not None:
        changed = replace(changed, carrier_text=carrier)
        read = f"--carrier = {carrier!r}"
        _room(list(changed.additions), changed.carrier_L_per_m2, changed.fill, found, read)
    found.done()
    return changed


def _carrier(text: str | None, beside: Path, shed: Taken, found: Collector) -> Spray:
    """Spray volume [L/m2] and its relative error, from text, a sprayer's file or the shed's."""
    sprayer = shed.sprayer
    if text is None and sprayer is None:
        wrong = "this key is missing, and no sprayer stands in a shed.toml"
        instead = 'a line `carrier = "2 gal/1000 sq ft"`, what leaves your nozzles'
        found.problems.append(Problem(found.where("carrier"), wrong, instead, "carrier"))
        return None, None, ()
    if text is not None and not text.strip().endswith(".toml"):
        return found.attempt(read_carrier, text, "carrier"), None, ()
    try:
        if text is not None:
            sprayer = find_sprayer(text.strip(), beside, found.where("carrier"), shed.places)
    except InputProblem as problem:
        found.take(problem, "carrier")
        return None, None, ()
    assert sprayer is not None
    file = (sprayer.read_from,) if sprayer.read_from is not None else ()
    return sprayer.carrier_L_per_m2, sprayer.carrier_error, file


def _additions(
    form: MixForm, of: Callable[[int, str], Product], found: Collector
) -> list[Addition]:
    out: list[Addition] = []
    seen: dict[str, Product] = {}
    for i, entry in enumerate(form.add, start=1):
        if entry.leftover is not None:
            continue
        if entry.product is None:
            found.add(f"add[{i}].product", None, "no product", "a product's file")
            continue
        try:
            product = of(i - 1, found.where(f"add[{i}].product"))
        except InputProblem as problem:
            found.take(problem, f"add[{i}].product")
            continue
        # One jug poured twice keeps its key and so its doubts; another jug of that name doesn't.
        if seen.setdefault(product.key, product) != product:
            product = replace(product, key=f"{product.key}-{i}")
        if entry.rate:
            rate = found.attempt(read_rate, entry.rate, f"add[{i}].rate", dry=product.dry)
        else:
            rate = product.usual_rate
            if rate is None:
                found.add(f"add[{i}].rate", None, "no rate", 'such as `"4 fl oz/1000 sq ft"`')
        if rate is None:
            continue
        where = found.where(f"add[{i}].rate") if entry.rate else f"{product.file}, usual_rate"
        unfit = unfit_rate(product, rate, where)
        if unfit is not None:
            found.take(InputProblem(unfit), f"add[{i}].rate")
            continue
        out.append(Addition(product, rate))
    return out


def _leftovers(
    form: MixForm,
    tank_L: float | None,
    of: Callable[[int, str], Mix] | None,
    found: Collector,
) -> list[Leftover]:
    out: list[Leftover] = []
    for i, entry in enumerate(form.add, start=1):
        if entry.leftover is None:
            for key in ("amount", "age"):
                if getattr(entry, key) is not None:
                    found.add(
                        f"add[{i}].{key}", getattr(entry, key), "only of a leftover", "`rate`"
                    )
            continue
        if entry.product is not None or entry.rate is not None:
            key = "product" if entry.product is not None else "rate"
            found.add(f"add[{i}].{key}", getattr(entry, key), "not of a leftover", "`amount`")
        if entry.amount is None:
            found.add(f"add[{i}].amount", None, "how much is left", 'such as `"40 gal"`')
            continue
        if tank_L is None:
            found.add("tank", form.tank, "a leftover needs the tank's size", 'such as `"50 gal"`')
            continue
        amount = 0.0
        if not re.fullmatch(r"0(\.0*)?\s*[a-zA-Z ]+", entry.amount.strip()):
            amount = found.attempt(read_volume, entry.amount, f"add[{i}].amount") or 0.0
        age = found.attempt(read_duration, entry.age or "1 day", f"add[{i}].age")
        try:
            assert of is not None
            mix = of(i - 1, found.where(f"add[{i}].leftover"))
        except InputProblem as problem:
            found.problems.extend(problem.problems)
            continue
        if age is not None:
            out.append(Leftover(mix, amount / tank_L, age))
    if sum(left.share for left in out) >= 1.0:
        found.add("add", "leftover", "what is left fills the tank", "less than the tank holds")
    return out


def unfit_rate(product: Product, rate: Rate, where: str) -> Problem | None:
    """A dry product's rate by volume: how much that weighs, nobody can say. where: file and key."""
    if not product.dry or rate.kind == "mass":
        return None
    return Problem(
        f"{where} = {rate.text!r}", "a dry product is weighed", "such as `8 oz wt/1000 sq ft`"
    )


def _adjuvant(form: MixForm, found: Collector) -> Adjuvant | None:
    if form.adjuvant is None:
        return None
    low, high = (
        found.attempt(read_ph, text, f"adjuvant.{key}") if text else None
        for key, text in (
            ("ph_at_least", form.adjuvant.ph_at_least),
            ("ph_at_most", form.adjuvant.ph_at_most),
        )
    )
    if low and high and low.high > high.low:
        found.add(
            "adjuvant.ph_at_most",
            form.adjuvant.ph_at_most,
            f"below ph_at_least = {form.adjuvant.ph_at_least!r}: no pH lies between",
            "the lower pH under ph_at_least",
        )
    rate = form.adjuvant.rate
    read = found.attempt(read_rate, rate, "adjuvant.rate") if rate else None
    return Adjuvant(form.adjuvant.name, read, low.high if low else 0.0, high.low if high else 14.0)


def room_taken(additions: Sequence[Addition], carrier_L_per_m2: float) -> float:
    """Share of the spray volume that the products alone fill."""
    total = 0.0
    for addition in additions:
        amount = addition.amount_per_L(carrier_L_per_m2) / 1000.0
        density = addition.product.density
        if addition.by_mass:
            amount = 0.45 * amount if addition.product.dry else amount / (density or (1.0, 1.0))[0]
        total += amount
    return total


def _room(
    additions: list[Addition], carrier: float, fill: str, found: Collector, read: str
) -> None:
    """More product than spray volume leaves no room for water; `read`: carrier as written."""
    if fill == "water first":
        return
    total = room_taken(additions, carrier)
    if total >= 1.0:
        found.problems.append(
            Problem(
                found.where(read),
                f"the products alone fill {100 * total:.4g} % of the spray volume",
                "more carrier, lower rates, or each rate's own unit checked",
                "carrier",
            )
        )
