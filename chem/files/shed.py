"""`shed.toml` as written: what is set once, and taken where a mix leaves it out."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, ClassVar, Literal

from chem.files.kept import FileText, is_kept, only_kept
from chem.files.mix import AdjuvantForm
from chem.files.reading import FormModel, is_file, load_file, validate
from chem.files.table import Ask, Reader
from chem.units import read_temperature

SHED = "shed.toml"


class ShedForm(FormModel):
    """A shed's file as written. Paths in it are relative to it."""

    title: ClassVar[str] = "What is set once: a mix that leaves it out takes it from here."

    water: Annotated[
        str | None,
        Ask("Your water's file (Enter = not known)", "waters/well.toml", note="a water file"),
    ] = None
    sprayers: Annotated[
        tuple[str, ...],
        Ask(
            "Sprayers' files, parted by commas",
            ("sprayers/boom.toml",),
            note="the first is taken unless --sprayer NAME says another",
        ),
    ] = ()
    products: Annotated[
        str | None,
        Ask("Folder of your products", "products", note="where a product's name is looked up"),
    ] = None
    temperature: Annotated[
        str | None,
        Reader(read_temperature),
        Ask("Usual temperature of the tank", "60 F"),
    ] = None
    units: Annotated[
        Literal["us", "metric", "both"] | None,
        Ask("Units on sheets: us, metric or both", "us", note="us, metric or both"),
    ] = None
    ph_by: Annotated[
        Literal["strip", "meter"] | None, Ask("pH read by: strip or meter", "strip")
    ] = None
    measures: Annotated[
        tuple[str, ...],
        Ask(
            "Measures you have, parted by commas",
            ("10 mL syringe", "kitchen scale 1 g"),
            note="amounts are told by them; `1 qt jug by 2 fl oz` tells its marks too",
        ),
    ] = ()
    notebook: Annotated[str | None, Ask(example="notebook.sqlite")] = None
    adjuvant: AdjuvantForm | None = None


@dataclass(frozen=True)
class Shed:
    """A shed's file, the folder that its paths start from, and its text as read."""

    form: ShedForm
    folder: Path
    read_from: FileText


def find_shed(beside: Path) -> Shed | None:
    """The `shed.toml` of a folder or of the nearest one above it. Raises: InputProblem."""
    if only_kept():  # one that stands there now is another
        return _shed(Path(SHED)) if is_kept("shed", SHED) else None
    here = beside.resolve()
    path = next((p for f in (here, *here.parents) if is_file(p := f / SHED)), None)
    return None if path is None else _shed(path)


def read_shed(path: Path | str) -> Shed:
    """A shed's file. Raises: InputProblem with every problem of the file."""
    return _shed(Path(path))


def _shed(path: Path) -> Shed:
    raw, read_from = load_file(path, "shed")
    return Shed(validate(ShedForm, raw, path.name), path.parent, read_from)
