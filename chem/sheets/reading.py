"""A strip's reading beside the forecast, in words."""

from __future__ import annotations

from chem.advice.reading import Explanation, ReadPh
from chem.forecast import Forecast
from chem.sheets.blocks import Block
from chem.sheets.contract.parts import ExplainEntry, ReadEntry

MUCH = 0.2
"""A share of the pH's spread that is worth a measurement."""
STRIP = (
    "A strip reads the wet edge, in good light, after its minute; dye, turbid liquid and strong "
    "salt mislead it: read it again, or a meter."
)


def read_block(found: ReadPh, result: Forecast) -> Block:
    """Whether it is expected, and which jug, water or strip would explain it."""
    ph = result.ph
    span = f"about {ph.median:.1f}, likely {ph.p05:.1f} to {ph.p95:.1f}"
    if found.expected:
        lead = f"{found.read:g} is what this mix may read ({span})."
    else:
        way = "above" if found.off > 0.0 else "below"
        lead = f"{found.read:g} is {abs(found.off):.1f} {way} what this mix should read ({span})."
    items = [] if found.expected else [_sentence(e, result) for e in found.nearest]
    names = result.mix.additions
    items += [
        f"{names[i].product.name}: its label leaves {round(100 * min(share, 1.0))} % of the pH's "
        "spread open; measure the pH of that jug."
        for i, share in found.open_jugs
        if share >= MUCH
    ]
    if found.open_water >= MUCH:
        share = round(100 * min(found.open_water, 1.0))
        items.append(f"The water leaves {share} % of the pH's spread open: measure its pH.")
    if not found.expected and not found.nearest:
        items.append("No single slip explains it: something else may be in the tank.")
    return Block(f"Your reading, {found.read:g}", [lead], items=[*items, STRIP])


def _sentence(one: Explanation, result: Forecast) -> str:
    if one.cause == "water":
        return f"The water alone reads {one.ph:.1f}: nothing in, or not mixed through?"
    assert one.place is not None
    name = result.mix.additions[one.place].product.name
    slip = {"left_out": "Without", "half": "With half of", "twice": "With twice"}[one.cause]
    return f"{slip} {name} it would read {one.ph:.1f}."


def read_entry(found: ReadPh, result: Forecast) -> ReadEntry:
    """For JSON."""
    names = result.mix.additions
    return ReadEntry(
        ph=found.read,
        expected=found.expected,
        off=found.off,
        explained_by=[
            ExplainEntry(
                cause=e.cause,
                product=None if e.place is None else names[e.place].product.name,
                ph=e.ph,
                sentence=_sentence(e, result),
            )
            for e in found.nearest
        ],
    )
