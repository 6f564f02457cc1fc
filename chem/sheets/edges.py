"""What would have to change for another answer, as sentences."""

from __future__ import annotations

from chem.advice.edges import MOST_FACTOR, Edge, ProductEdge, Turn
from chem.advice.why import Why
from chem.sheets.blocks import Block
from chem.sheets.words import TIME_WORDS, percent
from chem.tank import with_rate
from chem.units import Units, format_rate


def _edge(result: Why, edge: Edge, units: Units) -> Block:
    items = []
    for i, product in enumerate(edge.products):
        text = _product_edge(result, i, product, units)
        if text:
            items.append(text)
    still = [p.product for p in edge.products if p.more is None and p.less is None]
    if still and len(still) == len(edge.products):
        items.append(
            f"No sensible factor: nothing from leaving it out to {MOST_FACTOR:g} times its rate "
            "turns the mix, for any product."
        )
    elif still:
        items.append(f"No sensible factor turns it for {', '.join(still)}.")
    for turn, word in ((edge.ph_above, "above"), (edge.ph_below, "below")):
        if turn is not None:
            items.append(f"Turns {word} about pH {turn.at:.1f}{_what(turn)}.")
    if edge.ph_above is None and edge.ph_below is None:
        items.append("No pH within four units turns it.")
    return Block(
        "How near the edge",
        [f"Turns: 1 in 10 shows within {TIME_WORDS[result.judged_at]}. pH now {edge.ph:.1f}."],
        items=items,
    )


def _product_edge(result: Why, index: int, product: ProductEdge, units: Units) -> str:
    said = []
    if product.more is not None:
        said.append(
            f"at {product.more.at:.2g} times its rate, {_rate(result, index, product.more, units)}"
        )
    if product.less is not None:
        if product.less.at == 0.0:
            said.append(f"if left out{_what(product.less)}")
        else:
            said.append(
                f"at {percent(product.less.at)} of its rate, "
                f"{_rate(result, index, product.less, units)}"
            )
    return f"{product.product} turns it {'; '.join(said)}." if said else ""


def _rate(result: Why, index: int, turn: Turn, units: Units) -> str:
    changed = with_rate(result.mix, index, turn.at)
    return f"{format_rate(changed.additions[index].rate, units)}{_what(turn)}"


def _what(turn: Turn) -> str:
    return f": {turn.culprit}" if turn.culprit else ""
