"""Mine against a shop's, in words: the best neighbours first."""

from __future__ import annotations

from collections.abc import Sequence

from chem.sheets.blocks import Block
from chem.sheets.shelf_data import tank_because, tank_forbids
from chem.sheets.words import and_more, counted, odds, sentence
from chem.shelf import Neighbour, Shelf
from chem.shelf.together import REFUSED

NAMED = 3
"""Products of mine named on a neighbour's line."""


def answer_neighbours(result: Shelf) -> str:
    """How many of a shop's labels get along with all of mine."""
    if not result.neighbours:
        return "No label to try yours with."
    best, whole = result.neighbours[0].fits, result.mine
    count = sum(n.fits == whole for n in result.neighbours)
    if count:
        return f"{count} of {counted(len(result.neighbours), 'label')} get along with all {whole}."
    return f"None gets along with all {whole}; the best with {best}."


def neighbours(result: Shelf, most: int) -> list[Block]:
    """One line per label, the best first."""
    if not result.neighbours:
        return []
    items = [
        f"{rank}. {_neighbour(result, n)}"
        for rank, n in enumerate(result.neighbours[:most], start=1)
    ]
    by = "by odds" if not result.wanting else f"by odds, then by cost of {result.wanting}"
    return [
        Block(
            f"Best neighbours, {by}", items=[*items, *and_more(len(result.neighbours) - len(items))]
        )
    ]


def _neighbour(result: Shelf, n: Neighbour) -> str:
    """`X: with 11 of 12, clear 9 in 10; $ 4.20 per kg of iron. Keep apart from Y.`"""
    words = f"{result.names[n.place]}: with {n.fits} of {result.mine}, clear {odds(n.odds)}"
    if result.wanting and n.cost_per_kg is None:
        words += "; no price"
    elif result.wanting:
        words += f"; {n.currency} {n.cost_per_kg:.2f} per kg of {result.wanting}".replace("  ", " ")
    parts = [f"{words}."]
    for what, places in (
        ("Never with", n.refused),
        ("Keep apart from", tuple(i for i in n.apart if i not in n.refused)),
        ("Can't be told with", n.unsure),
        ("No worse than alone with", n.no_worse),
    ):
        if places:
            more = f" and {len(places) - NAMED} more" if len(places) > NAMED else ""
            parts.append(f"{what} {names_of(result, places[:NAMED])}{more}.")
    return " ".join(parts)


def refused(result: Shelf, most: int) -> list[Block]:
    """Labels that must never be poured with one of mine, and why."""
    never = result.pairs.where(REFUSED)
    if not len(never):
        return []
    items = []
    for found in never[:most]:
        mine, shop = (result.names[i] for i in found.members)
        why = f"{shop} with {mine}: {tank_because(found)}"
        items.append(sentence((tank_forbids(result, found) or [why])[0]))
    return [Block("Never in one tank", items=[*items, *and_more(len(never) - len(items))])]


def names_of(result: Shelf, members: Sequence[int]) -> str:
    """Products by their names, set apart by semicolons."""
    return "; ".join(result.names[i] for i in members)
