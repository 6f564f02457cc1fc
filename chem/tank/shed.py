"""What a mix leaves out and its shed knows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from chem.errors import InputProblem, Problem
from chem.files import FileText, MixForm, Shed, as_found, find_file, find_shed
from chem.tank.sprayer import Sprayer, read_sprayer
from chem.tank.water import Water, find_water
from chem.units import Measure, read_measure


@dataclass(frozen=True)
class Taken:
    """A mix's form with what its shed adds to it; places: where its products are looked up too.

    notes: what came from the shed, in words; files: those of the shed that were read for it.
    """

    form: MixForm
    water: Water | None = None
    sprayer: Sprayer | None = None
    measures: tuple[Measure, ...] = ()
    places: tuple[Path, ...] = ()
    notes: tuple[str, ...] = ()
    files: tuple[FileText, ...] = ()


def taken(form: MixForm, beside: Path, sprayer: str | None = None) -> Taken:
    """The form with what it leaves out taken from the shed that it stands in.

    sprayer: the one to take, by its name or file, also in place of the mix's own spray volume.

    Raises: InputProblem where a file that the shed names can't be read, or no sprayer is meant.
    """
    shed = find_shed(beside)
    if shed is None:
        if sprayer is not None:
            raise _no_sprayer(sprayer, (), "no shed.toml stands beside the mix or above it")
        return Taken(form)
    told: list[str] = []
    changes: dict[str, object] = {}
    water = None
    if form.water is None and shed.form.water is not None:
        water = find_water(shed.form.water, shed.folder, "shed.toml, water")
        told.append(f"water {water.name}")
    machine = pick_sprayer(shed, sprayer)
    if machine is not None:
        if sprayer is not None:
            changes |= {"carrier": None, "tank": machine.tank_text or form.tank}
        elif form.tank is None:
            changes["tank"] = machine.tank_text
        if form.carrier is None or sprayer is not None:
            told.append(f"spray volume {machine.carrier_text} of {machine.name}")
    for key in ("temperature", "adjuvant"):
        value = getattr(shed.form, key)
        if getattr(form, key) is None and value is not None:
            changes[key] = value
            told.append(f"{key} {value if isinstance(value, str) else value.name}")
    notes = (f"From your shed: {'; '.join(told)}",) if told else ()
    files = [shed.read_from, *([machine.read_from] if machine and machine.read_from else [])]
    return Taken(
        form.model_copy(update=changes),
        water,
        machine,
        shed_measures(shed),
        (product_folder(shed),),
        notes,
        tuple(files) if told else (),
    )


def shed_measures(shed: Shed) -> tuple[Measure, ...]:
    """What there is to measure with. Raises: InputProblem."""
    return tuple(read_measure(text, "shed.toml, measures") for text in shed.form.measures)


def product_folder(shed: Shed) -> Path:
    """Where a product's name is looked up."""
    return shed.folder / (shed.form.products or ".")


def find_sprayer(name: str, beside: Path, where: str, places: Sequence[Path] = ()) -> Sprayer:
    """A sprayer's file named in another file. Raises: InputProblem."""
    path = find_file(name, beside, "", "sprayer", where, places)
    sprayer = read_sprayer(path)
    assert sprayer.read_from is not None
    return replace(sprayer, read_from=replace(sprayer.read_from, name=as_found(name, path)))


def pick_sprayer(shed: Shed, name: str | None = None) -> Sprayer | None:
    """The shed's sprayer of that name, or any unmistakable part of it; else its first, if any.

    Raises: InputProblem where none or more than one is meant.
    """
    where = "shed.toml, sprayers"
    every = shed.form.sprayers if name is not None else shed.form.sprayers[:1]
    known = [find_sprayer(file, shed.folder, where) for file in every]
    if name is None:
        return known[0] if known else None
    asked = name.removesuffix(".toml").casefold()
    names = [
        f"{one.name} {Path(file).stem}".casefold() for one, file in zip(known, every, strict=True)
    ]
    meant = [one for one, words in zip(known, names, strict=True) if asked in words]
    exact = [one for one in meant if asked == one.name.casefold()]
    if len(exact or meant) != 1:
        wrong = "more than one sprayer is meant" if meant else "no such sprayer in your shed"
        raise _no_sprayer(name, [one.name for one in meant or known], wrong)
    return (exact or meant)[0]


def _no_sprayer(name: str, known: Sequence[str], wrong: str) -> InputProblem:
    instead = "one of " + ", ".join(known) if known else "--carrier, or `jarsight new shed`"
    return InputProblem(Problem(f"command line, --sprayer = {name!r}", wrong, instead))
