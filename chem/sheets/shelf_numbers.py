"""A shelf's chances as numbers: at other ratios, and every product against every other."""

from __future__ import annotations

from collections.abc import Sequence

from chem.sheets.blocks import Block
from chem.sheets.shelf_data import who
from chem.sheets.words import TIME_WORDS, and_more
from chem.shelf import Shelf, Together

LEAST_SHOWN = 0.05


def ratios(result: Shelf, most: int) -> list[Block]:
    """Each pair at every ratio, in words: a name cut short could be two products."""
    by_pair: dict[tuple[int, ...], list[Together]] = {}
    for found in result.ratios:
        by_pair.setdefault(found.members, []).append(found)
    if not by_pair:
        return []

    def worst(steps: Sequence[Together]) -> tuple[float, float]:
        tried = [t.shows(result.judged_at) for t in steps if t.odds is not None]
        return max(tried, default=0.0), sum(tried)

    rows = [steps for steps in by_pair.values() if worst(steps)[0] >= LEAST_SHOWN]
    rows.sort(key=worst, reverse=True)
    if not rows:
        return [Block("Other ratios", ["Under 5 in 100 at every ratio."])]
    first = "the first one" if result.asked is None else result.names[result.asked]
    what = f"Chance in 100 of solids, at so many times the rate of {first}."
    items = [
        f"{who(result, steps[0])}: {', '.join(_step(t, result.judged_at) for t in steps)}"
        for steps in rows[:most]
    ]
    return [Block("Other ratios, worst first", [what], [*items, *and_more(len(rows) - len(items))])]


def _step(found: Together, judged_at: str) -> str:
    if found.odds is None:
        return f"x{found.factor:g} no room"
    return f"x{found.factor:g} {_number(found.shows(judged_at)) or 'under 5'}"


def _number(chance: float) -> str:
    """A chance in 100, never as certainty; nothing under 5."""
    return "" if chance < LEAST_SHOWN else f"{100.0 * min(chance, 0.99):.0f}"


def table(result: Shelf, most: int) -> list[Block]:
    """Chances as numbers, every product against every other; alone where it meets itself."""
    count = len(result.items)
    if result.asked is not None or count < 3:
        return []
    title = f"Chance in 100 of solids within {TIME_WORDS[result.judged_at]}"
    if count > most:
        return [Block(title, ["Too wide here: --html FILE or --csv FILE has the whole table."])]
    tanks = {t.members: t for t in (*result.pairs, *result.alone)}
    rows = [("", *(str(k) for k in range(1, count + 1)))]
    for i in range(count):
        cells = []
        for j in range(count):
            key = (i,) if i == j else (min(i, j), max(i, j))
            found = tanks[key]
            cells.append(_number(found.shows(result.judged_at)))
        rows.append((str(i + 1), *cells))
    words = "Blank is under 5. A product against itself: alone in this water."
    if any(t.odds is None for t in tanks.values()):
        words += " 99 also where they must never meet or leave no room for water."
    if any(t.rules or (t.gases and len(t.members) > 1) for t in tanks.values()):
        words += " Gas and label rules are not in these numbers: see the list."
    numbered = [f"{k}  {name}" for k, name in enumerate(result.names, start=1)]
    return [Block(title, [words, *numbered], rows=rows)]
