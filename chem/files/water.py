"""A water file as written: its report, or what a strip showed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, ClassVar

from chem.files.reading import FormModel, Name
from chem.files.table import Ask, Lines, Reader
from chem.units import read_alkalinity, read_concentration, read_hardness, read_ph

IONS = {
    "Ca": "calcium",
    "Mg": "magnesium",
    "Na": "sodium",
    "K": "potassium",
    "NH4": "ammonium",
    "HCO3": "bicarbonate",
    "SO4": "sulfate",
    "Cl": "chloride",
    "NO3": "nitrate",
    "PO4": "phosphate",
    "Fe": "iron",
    "Mn": "manganese",
    "B": "boron",
    "Zn": "zinc",
    "Cu": "copper",
    "Si": "silicon",
}
"""The ions of a water report, cations before anions before traces (common practice, no source)."""
_EXAMPLES = {"Ca": "68 mg/L", "NO3": "2 mg/L as N", "Si": "12 mg/L as SiO2"}


def _ion_asks() -> dict[str, Ask]:
    asks = {}
    for ion, name in IONS.items():
        such = f", such as {_EXAMPLES[ion]}" if ion in _EXAMPLES else ""
        example = _EXAMPLES.get(ion, "2 mg/L")
        asks[ion] = Ask(f"{name.capitalize()} ({ion}){such}", example)
    first = asks["Ca"]
    asks["Ca"] = Ask(
        first.question,
        first.example,
        heading="Ions, in mg/L, mmol/L or meq/L:",
        note='mg/L, mmol/L or meq/L; "as N" or "as SiO2" where the report says so; "<0.5 mg/L" '
        "where nothing was found",
    )
    return asks


class WaterForm(FormModel):
    """A water file as written."""

    title: ClassVar[str] = (
        "A water, as its report or a test strip gives it. The more is filled in, the less has to "
        "be guessed."
    )

    name: Annotated[Name, Ask("What you call this water", note="REQUIRED: what you call it")]
    ph: Annotated[str | None, Reader(read_ph, bare=True), Ask("pH", "7.9")] = None
    alkalinity: Annotated[
        str | None,
        Reader(read_alkalinity),
        Ask(
            "Alkalinity",
            "210 mg/L as CaCO3",
            note="mg/L needs its basis; meq/L and ranges are read too",
        ),
    ] = None
    hardness: Annotated[str | None, Reader(read_hardness), Ask("Hardness", "250 mg/L as CaCO3")] = (
        None
    )
    sampled: Annotated[
        str | None,
        Ask(
            "When it was sampled, as 2026-04-12",
            "2026-04-12",
            note="the day of the sample; a report older than 12 months is said",
        ),
    ] = None
    ions: Annotated[Mapping[str, str], Reader(read_concentration), Lines(_ion_asks)] = {}
