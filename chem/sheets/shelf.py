"""The shelf's sheet, JSON object and table: who gets along with whom, worst first."""

from __future__ import annotations

from collections.abc import Sequence

from chem.forecast import ALWAYS, JAR_DECIDES
from chem.sheets.against import answer_neighbours, names_of, neighbours, refused
from chem.sheets.blocks import WIDTH, Block, Sheet
from chem.sheets.buying import buying_block
from chem.sheets.shelf_data import hint, tank_because, tank_forbids, warns, who
from chem.sheets.shelf_numbers import ratios, table
from chem.sheets.words import TIME_WORDS, after, and_more, counted, odds, sentence
from chem.shelf import Buying, Shelf, Together
from chem.shelf.together import CLEAR, QUARRELS, SAID_CLEAR, UNKNOWN
from chem.units import Units, format_carrier, format_rate, format_temperature

LISTED = 30
"""Tanks told in words on a terminal; a page tells all."""
LISTED_ON_PAGE = 5_000
TABLE_FITS, TABLE_FITS_PAGE = 14, 200
"""Products whose numbered columns fit a terminal sheet, and a page."""
VERBS = {"curdle": ("curdles", "may curdle"), "haze": ("hazes", "may haze")}


def shelf_sheet(
    result: Shelf,
    units: Units = "both",
    *,
    alone: bool = False,
    buy: Buying | None = None,
    questions: Sequence[str] = (),
) -> Sheet:
    """The sheet; alone: each product in this water instead of pairs; buy: what the one asked for
    would be to those owned; questions: to its seller."""
    more = _bought(result, units, buy, questions)
    return _sheet(result, units, alone, LISTED, TABLE_FITS, more)


def shelf_page(
    result: Shelf,
    units: Units = "both",
    *,
    alone: bool = False,
    buy: Buying | None = None,
    questions: Sequence[str] = (),
) -> Sheet:
    """The sheet for a page, where the tanks and the table of a whole shelf have room."""
    more = _bought(result, units, buy, questions)
    return _sheet(result, units, alone, LISTED_ON_PAGE, TABLE_FITS_PAGE, more)


def _bought(
    result: Shelf, units: Units, buy: Buying | None, questions: Sequence[str]
) -> list[Block]:
    blocks = [] if buy is None else [buying_block(buy, units, beside(result))]
    blocks.append(Block("Questions to the seller, to copy", items=questions))
    return [block for block in blocks if block.told]


def beside_owned(result: Shelf, buy: Buying, units: Units = "both") -> list[Block]:
    """For a label's sheet: what it would be to each product owned, and whose passes it fits."""
    return [buying_block(buy, units, beside(result)), *_passes(result)]


def beside(result: Shelf) -> dict[str, str]:
    """File of each one owned -> how it gets along with the one asked for, and at what rate not."""
    out = {}
    for found in result.pairs:
        file = result.items[found.members[-1]].product.file
        if found.toxic:
            out[file] = "Never with it in one tank."
        elif found.quarrels and found.clear_at is not None:
            out[file] = f"Fights it; that ends at {100 * found.clear_at:.0f} % of the new rate."
        elif found.quarrels:
            out[file] = "Fights it at any rate tried." if found.fine else "Fights it."
        elif found.clear and found.answer.word == "clear":
            out[file] = "Stays clear with it."
        elif found.clear:
            out[file] = "The salts stay clear with it."
        elif found.unknown:
            out[file] = "Can't be told with it."
        else:
            out[file] = "No worse together than one of them alone."
    return out


def _sheet(
    result: Shelf, units: Units, alone: bool, most: int, wide: int, more: Sequence[Block]
) -> Sheet:
    """most: tanks told in words per list; wide: products that a table holds; more: of buying."""
    if alone:
        blocks = _alone(result, everything=True)
        answer = _answer_alone(result)
    elif result.mine:
        answer = [answer_neighbours(result), _judged(result)]
        blocks = [
            *neighbours(result, most),
            *refused(result, most),
            *_alone(result, everything=False, most=most),
        ]
    else:
        bad = result.pairs.marked(QUARRELS)
        answer = [_answer(result, bad), _judged(result)]
        blocks = [
            *_asked_alone(result),
            *_worst(result, most),
            *_no_worse(result, most),
            *_unknown(result, most),
            *_clear(result, most),
            *_triples(result, most),
            *_lower(result, most, units),
            *ratios(result, most),
            *_most(result),
            *_groups(result),
            *_passes(result),
            *_alone(result, everything=False, most=most),
            *table(result, wide),
        ]
    blocks += [*more, *_left_out(result)]
    blocks.append(_granted(result, units, alone))
    blocks.append(Block("Before you pour", [JAR_DECIDES], ALWAYS))
    return Sheet(_heading(result, alone), answer, blocks)


def _heading(result: Shelf, alone: bool) -> str:
    count = len(result.items)
    if result.mine:
        shop = counted(len(result.neighbours), "label")
        return f"{counted(result.mine, 'product')} against {shop} of a shop"
    if result.asked is None:
        products = counted(count, "product")
        return f"{products}, each alone" if alone else f"{products} in one tank, two at a time"
    rest = " alone" if alone else f" against {counted(count - 1, 'product')}"
    return f"{_short(result.names[result.asked], WIDTH - len(rest))}{rest}"


def _answer_alone(result: Shelf) -> list[str]:
    bad = sum(t.answer.word in VERBS for t in result.alone)
    rule = sum(bool(t.rules) for t in result.alone)
    if len(result.alone) == 1:
        words = ["Won't stay clear in this water." if bad else "No solids in this water."]
        if not bad and result.alone[0].answer.word == "cannot tell":
            words = ["Can't be told in this water."]
    else:
        words = [f"{bad} of {len(result.alone)} won't stay clear alone in this water."]
    if rule:
        words.append(f"A label's own rule speaks against {rule}.")
    return [*words, _judged(result)]


def _judged(result: Shelf) -> str:
    return f"Judged for {TIME_WORDS[result.judged_at]}, each at the rate it goes at."


def _answer(result: Shelf, bad: int) -> str:
    if not len(result.pairs):
        return "One product: nothing to pair it with."
    fine = len(result.pairs.where(CLEAR | SAID_CLEAR)) == len(result.pairs)
    if result.asked is None:
        if fine:
            return f"All {counted(len(result.pairs), 'pair')} stay clear."
        are = "is" if bad == 1 else "are"
        return f"{bad} of {counted(len(result.pairs), 'pair')} {are} better kept apart."
    if fine:
        return f"Stays clear with all {len(result.pairs)}."
    return f"Better kept apart from {bad} of {len(result.pairs)}."


def _line(result: Shelf, found: Together) -> str:
    """`with X: curdles, 9 in 10, shows after about 10 min, gypsum. Try: two passes.`"""
    words = [f"{_verdict(result, found)}."]
    why = tank_because(found)
    if why is not None and found.answer.word == "cannot tell":
        words.append(sentence(why))
    told = (*warns(result, found), *tank_forbids(result, found, new=True))
    dangers = [sentence(text) for text in told]
    if found.toxic:
        first = (tank_forbids(result, found) or [why or ""])[0]
        words = ["never in one tank.", sentence(first)]
        return " ".join([f"{who(result, found)}:", *words])
    if found.untried:
        words = [sentence(why or "")]
    elif dangers and found.answer.word == "clear":
        words = [*dangers, f"No solids, {odds(found.answer.chance)}."]
    else:
        words += dangers
    return " ".join([f"{who(result, found)}:", *words, hint(result, found)]).rstrip()


def _verdict(result: Shelf, found: Together) -> str:
    o = found.odds
    if o is None:
        return "not tried"
    if found.answer.word not in VERBS:
        clear = 1.0 - found.shows(result.judged_at)
        word = "clear" if found.answer.word == "clear" else "can't tell"
        return f"{word}, {odds(clear)}" if found.answer.word == "clear" else word
    sure, unsure = VERBS[found.answer.word]
    chance = found.answer.chance
    parts = [sure if chance >= 0.5 else unsure, odds(chance)]
    if o.clouds_after_s is not None:
        parts.append(f"shows {after(o.clouds_after_s)}")
    if o.worst_name is not None:
        parts.append(o.worst_name)
    return ", ".join(parts)


def _worst(result: Shelf, most: int) -> list[Block]:
    bad = result.pairs.where(QUARRELS)
    if not len(bad):
        return []
    return [Block("Better kept apart, worst first", items=_lines(result, bad, most))]


def _lines(result: Shelf, tanks: Sequence[Together], most: int) -> list[str]:
    lines = [_line(result, t) for t in tanks[:most]]
    return [*lines, *and_more(len(tanks) - len(lines))]


def _asked_alone(result: Shelf) -> list[Block]:
    if result.asked is None:
        return []
    alone = next(t for t in result.alone if t.members == (result.asked,))
    name = result.names[result.asked]
    words = [f"{name}: {_verdict(result, alone)}."]
    words += [sentence(t) for t in (*tank_forbids(result, alone), *warns(result, alone))]
    return [Block("Alone in this water", [" ".join(words)])]


def _no_worse(result: Shelf, most: int) -> list[Block]:
    same = result.pairs.where(unmarked=CLEAR | QUARRELS | UNKNOWN)
    if not len(same):
        return []
    title = "Not clear, but no worse than one of them alone"
    if result.asked is None and most == LISTED:
        return [Block(title, [f"{counted(len(same), 'pair')}."])]
    return [Block(title, items=_lines(result, same, most))]


def _unknown(result: Shelf, most: int) -> list[Block]:
    what = result.pairs.where(UNKNOWN)
    return [Block("Can't be told", items=_lines(result, what, most))] if len(what) else []


def _clear(result: Shelf, most: int) -> list[Block]:
    fine = result.pairs.where(CLEAR | SAID_CLEAR)
    unsure = result.pairs.where(CLEAR, unmarked=SAID_CLEAR)
    blocks = []
    if len(fine) and result.asked is not None:
        blocks.append(Block("Stays clear", items=_lines(result, fine, most)))
    elif len(fine):
        blocks.append(Block("Stays clear", [f"{counted(len(fine), 'pair')}."]))
    if len(unsure):
        names = dict.fromkeys(
            result.names[i]
            for i in unsure.members.ravel().tolist()
            if not result.items[i].product.judged
        )
        text = "The salts stay clear beside what can't be judged"
        blocks.append(Block("Only the jar can tell", [f"{text}: {'; '.join(names)}."]))
    return blocks


def _triples(result: Shelf, most: int) -> list[Block]:
    if not len(result.triples):
        return []
    bad = result.triples.marked(QUARRELS)
    count = f"{bad} of {len(result.triples)} are better kept apart"
    if not len(result.only_three):
        return [Block("Three at a time", [f"{count}, each for a pair among them."])]
    title = "Three at a time: quarrel though no two of them do"
    return [Block(title, [f"{count}."], _lines(result, result.only_three, most))]


def _lower(result: Shelf, most: int, units: Units) -> list[Block]:
    """Pairs of which something else is said at the lower end of the label's range."""
    if not len(result.lower):
        return []
    product = result.items[result.asked or 0].product
    low = product.rate_range[0] if product.rate_range is not None else None
    title = "At the lower end of its rates, otherwise"
    at = [] if low is None else [f"At {format_rate(low, units)}."]
    return [Block(title, at, _lines(result, result.lower, most))]


def _short(name: str, width: int) -> str:
    return name if len(name) <= width else f"{name[: width - 3].rstrip()}..."


def _most(result: Shelf) -> list[Block]:
    if result.asked is not None or len(result.items) < 3:
        return []
    counts = [(result.quarrels_of(i), name) for i, name in enumerate(result.names)]
    counts = sorted((c for c in counts if c[0]), key=lambda c: (-c[0], c[1]))[:5]
    if not counts:
        return []
    items = [f"{name}: with {n} of {len(result.items) - 1}" for n, name in counts]
    return [Block("Who quarrels most", items=items)]


def _groups(result: Shelf) -> list[Block]:
    if not result.groups:
        return []
    items = [f"{len(group)}: {names_of(result, group)}" for group in result.groups]
    return [Block("Get along, all in one tank", items=items)]


def _passes(result: Shelf) -> list[Block]:
    found = result.passes
    if found is None:
        return []
    joined = {k: "" if result.asked is None else " (it fits)" for k in found.joins}
    items = [
        f"Pass {k}: {names_of(result, t)}{joined.get(k - 1, '')}"
        for k, t in enumerate(found.tanks, start=1)
    ]
    if found.alone_fails:
        items.append(f"In none, trouble even alone: {names_of(result, found.alone_fails)}")
    fails = found.alone_fails
    unjudged = [
        i
        for i, item in enumerate(result.items)
        if not (item.product.judged or i in fails or i == result.asked)
    ]
    if unjudged:
        items.append(f"In none, only the jar can tell: {names_of(result, unjudged)}")
    few = "The fewest passes" if found.fewest else "Passes (fewer were not ruled out)"
    if result.asked is not None:
        name = result.names[result.asked]
        of = f"{len(found.joins)} of {counted(len(found.tanks), 'pass')}".replace("passs", "passes")
        said = [f"{name} fits {of} of what you own."]
        return [Block(f"{few} that use all you own", said, items)]
    return [Block(f"{few} that use them all", items=items)]


def _alone(result: Shelf, *, everything: bool, most: int = LISTED_ON_PAGE) -> list[Block]:
    shown = [
        t for t in result.alone if everything or (not t.clear and t.members != (result.asked,))
    ]
    if not shown:
        return []
    items = []
    for t in shown[:most]:
        name = result.names[t.members[0]]
        ph = "" if t.odds is None or t.odds.failed > 0.5 else f", pH about {t.odds.ph:.1f}"
        words = [f"{name}: {_verdict(result, t)}{ph}."]
        why = tank_because(t)
        if why is not None and t.answer.word == "cannot tell":
            words.append(sentence(why))
        plain = f"{result.items[t.members[0]].name}: "
        words += [sentence(text.removeprefix(plain)) for text in tank_forbids(result, t)]
        words += [sentence(text) for text in warns(result, t) if everything]
        items.append(" ".join(words))
    items += and_more(len(shown) - len(items))
    title = "Each alone in this water" if everything else "Trouble even alone in this water"
    return [Block(title, items=items)]


def _left_out(result: Shelf) -> list[Block]:
    if not result.left_out:
        return []
    return [Block("Left out", items=[f"{o.file}: {o.why}" for o in result.left_out])]


def _granted(result: Shelf, units: Units, alone: bool) -> Block:
    setting = result.setting
    items = [
        f"Spray volume {format_carrier(setting.carrier_L_per_m2, units)}",
        f"Water: {setting.water.name}",
        f"Temperature {format_temperature(setting.t_celsius, units)}",
        *result.notes[:3],
    ]
    if setting.coldest_celsius is not None:
        items.insert(3, f"Overnight {format_temperature(setting.coldest_celsius, units)}")
    if not alone:
        items.append("The pouring order is left open: `jarsight pour` for a mix of them")
    effort = f"{setting.draws} versions of each tank, seed {setting.seed}"
    items.append(f"{effort}; {result.solves} equilibria in {result.seconds:.1f} s")
    return Block("Taken for granted, check these", items=items)
