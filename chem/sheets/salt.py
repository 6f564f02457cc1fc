"""Salt and acid on the leaf, in words: figures beside the labels', never a verdict."""

from __future__ import annotations

from chem.doubts import Range
from chem.forecast import Salt
from chem.notebook.sprayed import Strongest
from chem.sheets.blocks import Block
from chem.sheets.contract.parts import LabelShare, RangeEntry, SaltEntry
from chem.sheets.notebook import day_of
from chem.sheets.rules import two_figures
from chem.tank import Mix
from chem.units import Units, format_per_gallon_and_litre

KG_PER_HA_TO_LB_PER_1000_SQ_FT = 0.45359237**-1 * 92.90304 / 1e4
NO_VERDICT = "What a leaf stands isn't judged here: heat, drought and the grass decide as well."


def salt_block(
    found: Salt,
    mix: Mix,
    conductivity: Range | None,
    units: Units,
    strongest: Strongest | None = None,
) -> Block:
    """Dissolved solids, conductivity and free acid, beside the labels, the trade's rule and the
    strongest tank that was sprayed."""
    items = [f"{solids_sentence(found, units)}."]
    if conductivity is not None:
        items.append(f"Conductivity about {two_figures(conductivity.median)} mS/cm.")
    if found.free_acid_mmol_per_L is not None:
        acid = found.free_acid_mmol_per_L
        items.append(
            f"Below pH 4: free acid about {two_figures(acid.median)} mmol/L "
            f"({two_figures(max(acid.p05, 0.0))} to {two_figures(max(acid.p95, 0.0))})."
        )
    items += _beside_labels(found, mix)
    ounce = "1 oz per gallon" if units != "metric" else "7.5 g/L"
    items.append(
        f"A rule of the trade for fertilizer with pesticides, often exceeded, is {ounce}: this is "
        f"{two_figures(found.of_rule)} times that."
    )
    if strongest is not None and strongest.dissolved_g_per_L > 0.0:
        most = format_per_gallon_and_litre(strongest.dissolved_g_per_L, units)
        times = found.dissolved_g_per_L.median / strongest.dissolved_g_per_L
        number = f", {strongest.entry.number}" if strongest.entry.number else ""
        items.append(
            f"The strongest you have sprayed ({day_of(strongest.entry)}{number}, "
            f"{strongest.entry.mix.name}) held {most}: this is {two_figures(times)} times that."
        )
    return Block("Salt on the leaf", items=[*items, NO_VERDICT])


def solids_sentence(found: Salt, units: Units) -> str:
    """Dissolved solids per volume and per area."""
    per_L = format_per_gallon_and_litre(found.dissolved_g_per_L.median, units)
    us = f"{two_figures(found.kg_per_ha * KG_PER_HA_TO_LB_PER_1000_SQ_FT)} lb/1000 sq ft"
    metric = f"{two_figures(found.kg_per_ha)} kg/ha"
    area = {"us": us, "metric": metric}.get(units, f"{us} ({metric})")
    return f"Dissolved solids about {per_L}, {area}"


def half_doubles(found: Salt, units: Units) -> str:
    """What less carrier does to them."""
    now = format_per_gallon_and_litre(found.dissolved_g_per_L.median, units)
    twice = format_per_gallon_and_litre(2.0 * found.dissolved_g_per_L.median, units)
    text = f"Half the spray volume doubles the salt in it: about {now} now, {twice} then"
    return text + (", and the acid." if found.free_acid_mmol_per_L is not None else ".")


def _beside_labels(found: Salt, mix: Mix) -> list[str]:
    known = [(mix.additions[one.product].product.name, one.share) for one in found.of_label]
    out = [
        f"{name}: {two_figures(share)} times as strong as its label's most in its least water."
        for name, share in known
        if share is not None
    ]
    left = [name for name, share in known if share is None]
    if left:
        out.append(
            f"How strong {', '.join(left)} may be sprayed, the label doesn't tell: that takes a "
            "rate and the least water to put it in."
        )
    return out


def salt_entry(found: Salt, mix: Mix, strongest: Strongest | None = None) -> SaltEntry:
    """For JSON."""
    return SaltEntry(
        dissolved_g_per_L=RangeEntry.of(found.dissolved_g_per_L),
        kg_per_ha=found.kg_per_ha,
        free_acid_mmol_per_L=RangeEntry.known(found.free_acid_mmol_per_L),
        of_ounce_per_gallon=found.of_rule,
        strongest_sprayed_g_per_L=None if strongest is None else strongest.dissolved_g_per_L,
        of_label=[
            LabelShare(product=mix.additions[one.product].product.name, share=one.share)
            for one in found.of_label
        ],
    )
