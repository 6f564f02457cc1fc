"""What a tank may show that is no chemistry of ions, by what is in it: `not_judged.csv`."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from chem.reference import read_csv
from chem.tank import Mix


@cache
def _rows() -> tuple[tuple[tuple[str, ...], float, tuple[str, ...], str], ...]:
    return tuple(
        (
            tuple(r["components"].split()),
            float(r["least_mmol_per_L"]) / 1000.0,
            tuple(r["forms"].split()),
            r["what"],
        )
        for r in read_csv("not_judged.csv")
    )


def beyond_ions(mix: Mix, mol_per_L: Mapping[str, float]) -> tuple[str, ...]:
    """What is not judged here: components [mol/L] that meet, or meet a product of some form."""
    forms = {a.product.form for a in mix.additions}
    if mix.adjuvant is not None or any(a.product.is_anionic for a in mix.additions):
        forms.add("adjuvant")
    return tuple(
        what
        for components, least, with_forms, what in _rows()
        if all(mol_per_L.get(c, 0.0) >= least for c in components)
        and (not with_forms or forms & set(with_forms))
    )
