"""What a tank may show that is no chemistry of ions, by what is in it: `not_judged.csv`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from chem.reference import read_csv
from chem.tank import Mix


@dataclass(frozen=True)
class Unjudged:
    """A row: components that meet, from how much of each [mol/L], with products of which forms.

    night_from_C: lowest temperature of the night [degC] from which a leftover tank shows it, None
    for what shows on the day.
    """

    components: tuple[str, ...]
    least_mol_per_L: float
    forms: frozenset[str]
    night_from_C: float | None
    what: str


@cache
def _rows() -> tuple[Unjudged, ...]:
    return tuple(
        Unjudged(
            tuple(r["components"].split()),
            float(r["least_mmol_per_L"]) / 1000.0,
            frozenset(r["forms"].split()),
            float(r["night_from_C"]) if r["night_from_C"] else None,
            r["what"],
        )
        for r in read_csv("not_judged.csv")
    )


def beyond_ions(mix: Mix, mol_per_L: Mapping[str, float]) -> tuple[str, ...]:
    """What is not judged here: components [mol/L] that meet, or meet a product of some form.

    A leftover tank is spoken of where the mix names its coldest night and that is a warm one.
    """
    forms = {a.product.form for a in mix.met.additions}
    if mix.adjuvant is not None or any(a.product.is_anionic for a in mix.met.additions):
        forms.add("adjuvant")
    night = mix.coldest_celsius
    return tuple(
        row.what
        for row in _rows()
        if all(mol_per_L.get(c, 0.0) >= row.least_mol_per_L for c in row.components)
        and (not row.forms or forms & row.forms)
        and (row.night_from_C is None or (night is not None and night >= row.night_from_C))
    )
