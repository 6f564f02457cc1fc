"""The shelf's sheet, JSON object and table: who gets along with whom, worst first."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from itertools import chain
from typing import TypeVar

from chem.forecast import ALWAYS, JAR_DECIDES, TIMES_S
from chem.forecast.rules import STOP_WORDS
from chem.sheets.as_json import as_json_parts
from chem.sheets.blocks import WIDTH, Block, Sheet
from chem.sheets.contract import shelf as contract
from chem.sheets.contract.parts import ByTime
from chem.sheets.rules import because, forbids, gas_sentence, rules_json
from chem.sheets.words import TIME_WORDS, after, odds
from chem.shelf import Neighbour, Shelf, Together
from chem.shelf.together import CLEAR, QUARRELS, REFUSED, SAID_CLEAR, UNKNOWN
from chem.units import Units, format_carrier, format_temperature

E = TypeVar("E", bound=contract.AloneEntry)
LISTED = 30
"""Tanks told in words on a terminal; a page tells all."""
LISTED_ON_PAGE = 5_000
TABLE_FITS, TABLE_FITS_PAGE = 14, 200
"""Products whose numbered columns fit a terminal sheet, and a page."""
NAMED = 3
"""Products of mine named on a neighbour's line."""
LEAST_SHOWN = 0.05
VERBS = {"curdle": ("curdles", "may curdle"), "haze": ("hazes", "may haze")}
COLUMNS = (
    "a",
    "b",
    "c",
    "rate_factor_of_a",
    "answer",
    "chance",
    "probability_15min",
    "probability_4h",
    "probability_24h",
    "clogs_4h",
    "worst_solid",
    "clouds_after_s",
    "ph",
    "label_forbids",
    "gas_or_heat",
    "decided_by",
    "neighbour_b",
    "cost_per_kg_b",
)


def shelf_sheet(result: Shelf, units: Units = "both", *, alone: bool = False) -> Sheet:
    """The sheet; alone: each product in this water instead of pairs."""
    return _sheet(result, units, alone, LISTED, TABLE_FITS)


def shelf_page(result: Shelf, units: Units = "both", *, alone: bool = False) -> Sheet:
    """The sheet for a page, where the tanks and the table of a whole shelf have room."""
    return _sheet(result, units, alone, LISTED_ON_PAGE, TABLE_FITS_PAGE)


def _sheet(result: Shelf, units: Units, alone: bool, most: int, wide: int) -> Sheet:
    """most: tanks told in words per list; wide: products that a table holds."""
    if alone:
        blocks = _alone(result, everything=True)
        answer = _answer_alone(result)
    elif result.mine:
        answer = [_answer_neighbours(result), _judged(result)]
        blocks = [
            *_neighbours(result, most),
            *_refused(result, most),
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
            *_ratios(result, most),
            *_most(result),
            *_groups(result),
            *_passes(result),
            *_alone(result, everything=False, most=most),
            *_table(result, wide),
        ]
    blocks += _left_out(result)
    blocks.append(_granted(result, units, alone))
    blocks.append(Block("Before you pour", [JAR_DECIDES], ALWAYS))
    return Sheet(_heading(result, alone), answer, blocks)


def shelf_json(result: Shelf) -> str:
    """The JSON object."""
    return "".join(shelf_json_parts(result))


def shelf_json_parts(result: Shelf) -> Iterator[str]:
    """The JSON object, piece by piece: a catalogue has half a million pairs."""

    def names(members: Sequence[int]) -> list[str]:
        return [result.names[i] for i in members]

    def entry(kind: type[E], found: Together) -> E:
        o = found.odds
        return kind(
            **dict(zip("abc", names(found.members), strict=False)),
            answer=found.answer.word,
            chance=found.answer.chance,
            probability=None if o is None else ByTime.of(o.probability),
            clogs=None if o is None else ByTime.of(o.clogs),
            worst_solid=None if o is None else o.worst,
            clouds_after_s=None if o is None else o.clouds_after_s,
            ph=None if o is None else o.ph,
            because=_because(found),
            **rules_json(found.rules, result.mix(found), found.refused),
            gas_or_heat=_warns(result, found),
            quarrels=found.quarrels,
            clear_at_rate_factor=found.clear_at,
            hint=_hint(result, found),
            decided_by=None if o is None else o.decided_by,
        )

    setting = result.setting
    passes = None
    if result.passes is not None:
        passes = contract.PassesEntry(
            tanks=[names(t) for t in result.passes.tanks],
            fewest=result.passes.fewest,
            trouble_alone=names(result.passes.alone_fails),
        )
    return as_json_parts(
        contract.Shelf(
            asked=None if result.asked is None else result.names[result.asked],
            judged_at=result.judged_at,
            mine=result.names[: result.mine],
            wanting=result.wanting or None,
            neighbours=[
                contract.NeighbourEntry(
                    product=result.names[n.place],
                    file=result.items[n.place].product.file,
                    fits=n.fits,
                    odds=n.odds,
                    keep_apart_from=names(n.apart),
                    never_with=names(n.refused),
                    cannot_tell_with=names(n.unsure),
                    no_worse_than_alone_with=names(n.no_worse),
                    cost_per_kg=n.cost_per_kg,
                    currency=n.currency,
                )
                for n in result.neighbours
            ],
            pairs=[],
            triples=[entry(contract.TripleEntry, t) for t in result.triples],
            ratios=[
                contract.RatioEntry(**dict(entry(contract.PairEntry, t)), rate_factor_of_a=t.factor)
                for t in result.ratios
            ],
            alone=[entry(contract.AloneEntry, t) for t in result.alone],
            quarrels={name: result.quarrels_of(i) for i, name in enumerate(result.names)},
            groups=[names(g) for g in result.groups],
            passes=passes,
            left_out=[contract.LeftOutEntry(file=out.file, why=out.why) for out in result.left_out],
            water=setting.water.name,
            carrier_L_per_ha=1e4 * setting.carrier_L_per_m2,
            temperature_celsius=setting.t_celsius,
            notes=result.notes,
            cautions=[JAR_DECIDES, *ALWAYS],
            draws=setting.draws,
            seed=setting.seed,
            seconds=result.seconds,
            solves=result.solves,
            versions=dict(result.versions),
        ),
        "pairs",
        (entry(contract.PairEntry, t) for t in result.pairs),
    )


def shelf_csv(result: Shelf) -> Iterator[str]:
    """The table's lines, one per tank: alone, pairs, triples, ratios; against a shop's the pairs
    come first, those of the best neighbour foremost."""
    line = io.StringIO()
    writer = csv.writer(line, lineterminator="\n")

    def written(row: Sequence[str]) -> str:
        line.seek(0)
        line.truncate()
        writer.writerow(row)
        return line.getvalue()

    yield written(COLUMNS)
    ratios = (t for t in result.ratios if t.factor != 1.0)
    first, second = (result.pairs, result.alone) if result.mine else (result.alone, result.pairs)
    ranked = {n.place: (rank, n) for rank, n in enumerate(result.neighbours, start=1)}
    for found in chain(first, second, result.triples, ratios):
        members = [result.names[i] for i in found.members]
        o = found.odds
        chances = [""] * len(TIMES_S) if o is None else [f"{o.probability[t]:.4f}" for t in TIMES_S]
        rank, beside = ranked.get(found.members[-1], (0, None)) if result.mine else (0, None)
        cost = None if beside is None else beside.cost_per_kg
        yield written(
            [
                *members,
                *[""] * (3 - len(members)),
                f"{found.factor:g}",
                found.answer.word,
                f"{found.answer.chance:.4f}",
                *chances,
                "" if o is None else f"{o.clogs['4h']:.4f}",
                "" if o is None else o.worst or "",
                "" if o is None or o.clouds_after_s is None else f"{o.clouds_after_s:.0f}",
                "" if o is None else f"{o.ph:.2f}",
                " ".join(_forbids(result, found)),
                " ".join(_warns(result, found)),
                "" if o is None else o.decided_by,
                str(rank or ""),
                "" if cost is None else f"{cost:.4g}",
            ]
        )


def _forbids(result: Shelf, found: Together, *, new: bool = False) -> list[str]:
    """Rules broken in a tank; `new`: only those that no member breaks alone."""
    return forbids(found.new if new else found.rules, result.mix(found))


def _warns(result: Shelf, found: Together) -> list[str]:
    return [gas_sentence(g, result.mix(found)) for g in found.gases]


def _because(found: Together) -> str | None:
    """Why it can't be told, or was not tried."""
    if found.untried == "no_room":
        return f"the products alone fill {100 * found.filled:.0f} % of the tank"
    if found.untried:
        return STOP_WORDS[found.untried][0]
    return because(found.answer) if found.answer.cause else None


def _hint(result: Shelf, found: Together) -> str:
    """What to try."""
    if len(found.members) < 2 or not found.quarrels:
        return ""
    if found.toxic:
        return "Never in one tank."
    if found.clear_at is not None:
        name = result.names[found.members[0]]
        return f"Clear at {100 * found.clear_at:.0f} % of the rate of {name}; or two passes."
    return "Try: two passes." if len(found.members) == 2 else "Try: separate passes."


def _heading(result: Shelf, alone: bool) -> str:
    count = len(result.items)
    if result.mine:
        shop = _count(len(result.neighbours), "label")
        return f"{_count(result.mine, 'product')} against {shop} of a shop"
    if result.asked is None:
        products = _count(count, "product")
        return f"{products}, each alone" if alone else f"{products} in one tank, two at a time"
    rest = " alone" if alone else f" against {_count(count - 1, 'product')}"
    return f"{_short(result.names[result.asked], WIDTH - len(rest))}{rest}"


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


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


def _answer_neighbours(result: Shelf) -> str:
    if not result.neighbours:
        return "No label to try yours with."
    best, whole = result.neighbours[0].fits, result.mine
    count = sum(n.fits == whole for n in result.neighbours)
    if count:
        return f"{count} of {_count(len(result.neighbours), 'label')} get along with all {whole}."
    return f"None gets along with all {whole}; the best with {best}."


def _neighbours(result: Shelf, most: int) -> list[Block]:
    """One line per label, the best first."""
    if not result.neighbours:
        return []
    items = [
        f"{rank}. {_neighbour(result, n)}"
        for rank, n in enumerate(result.neighbours[:most], start=1)
    ]
    by = "by odds" if not result.wanting else f"by odds, then by cost of {result.wanting}"
    return [
        Block(f"Best neighbours, {by}", items=[*items, *_more(len(result.neighbours) - len(items))])
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
            parts.append(f"{what} {_names(result, places[:NAMED])}{more}.")
    return " ".join(parts)


def _refused(result: Shelf, most: int) -> list[Block]:
    """Labels that must never be poured with one of mine, and why."""
    never = result.pairs.where(REFUSED)
    if not len(never):
        return []
    items = []
    for found in never[:most]:
        mine, shop = (result.names[i] for i in found.members)
        why = f"{shop} with {mine}: {_because(found)}"
        items.append(_sentence((_forbids(result, found) or [why])[0]))
    return [Block("Never in one tank", items=[*items, *_more(len(never) - len(items))])]


def _answer(result: Shelf, bad: int) -> str:
    if not len(result.pairs):
        return "One product: nothing to pair it with."
    fine = len(result.pairs.where(CLEAR | SAID_CLEAR)) == len(result.pairs)
    if result.asked is None:
        if fine:
            return f"All {_count(len(result.pairs), 'pair')} stay clear."
        are = "is" if bad == 1 else "are"
        return f"{bad} of {_count(len(result.pairs), 'pair')} {are} better kept apart."
    if fine:
        return f"Stays clear with all {len(result.pairs)}."
    return f"Better kept apart from {bad} of {len(result.pairs)}."


def _who(result: Shelf, found: Together) -> str:
    others = [result.names[i] for i in found.members if i != result.asked]
    if result.asked is not None:
        return f"with {' and '.join(others)}"
    return " + ".join(others)


def _line(result: Shelf, found: Together) -> str:
    """`with X: curdles, 9 in 10, shows after about 10 min, gypsum. Try: two passes.`"""
    words = [f"{_verdict(result, found)}."]
    why = _because(found)
    if why is not None and found.answer.word == "cannot tell":
        words.append(_sentence(why))
    told = (*_warns(result, found), *_forbids(result, found, new=True))
    dangers = [_sentence(text) for text in told]
    if found.toxic:
        first = (_forbids(result, found) or [why or ""])[0]
        words = ["never in one tank.", _sentence(first)]
        return " ".join([f"{_who(result, found)}:", *words])
    if found.untried:
        words = [_sentence(why or "")]
    elif dangers and found.answer.word == "clear":
        words = [*dangers, f"No solids, {odds(found.answer.chance)}."]
    else:
        words += dangers
    return " ".join([f"{_who(result, found)}:", *words, _hint(result, found)]).rstrip()


def _sentence(text: str) -> str:
    text = f"{text[0].upper()}{text[1:]}"
    return text if text.endswith((".", "!", "?")) else f"{text}."


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
    return [*lines, *_more(len(tanks) - len(lines))]


def _more(count: int) -> list[str]:
    return [f"{count} more: --csv FILE or --html FILE has all."] if count else []


def _asked_alone(result: Shelf) -> list[Block]:
    if result.asked is None:
        return []
    alone = next(t for t in result.alone if t.members == (result.asked,))
    name = result.names[result.asked]
    words = [f"{name}: {_verdict(result, alone)}."]
    words += [_sentence(t) for t in (*_forbids(result, alone), *_warns(result, alone))]
    return [Block("Alone in this water", [" ".join(words)])]


def _no_worse(result: Shelf, most: int) -> list[Block]:
    same = result.pairs.where(unmarked=CLEAR | QUARRELS | UNKNOWN)
    if not len(same):
        return []
    title = "Not clear, but no worse than one of them alone"
    if result.asked is None and most == LISTED:
        return [Block(title, [f"{_count(len(same), 'pair')}."])]
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
        blocks.append(Block("Stays clear", [f"{_count(len(fine), 'pair')}."]))
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


def _ratios(result: Shelf, most: int) -> list[Block]:
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
        f"{_who(result, steps[0])}: {', '.join(_step(t, result.judged_at) for t in steps)}"
        for steps in rows[:most]
    ]
    return [Block("Other ratios, worst first", [what], [*items, *_more(len(rows) - len(items))])]


def _step(found: Together, judged_at: str) -> str:
    if found.odds is None:
        return f"x{found.factor:g} no room"
    return f"x{found.factor:g} {_number(found.shows(judged_at)) or 'under 5'}"


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
    items = [f"{len(group)}: {_names(result, group)}" for group in result.groups]
    return [Block("Get along, all in one tank", items=items)]


def _names(result: Shelf, members: Sequence[int]) -> str:
    return "; ".join(result.names[i] for i in members)


def _passes(result: Shelf) -> list[Block]:
    found = result.passes
    if found is None:
        return []
    items = [f"Pass {k}: {_names(result, t)}" for k, t in enumerate(found.tanks, start=1)]
    if found.alone_fails:
        items.append(f"In none, trouble even alone: {_names(result, found.alone_fails)}")
    fails = found.alone_fails
    unjudged = [i for i, item in enumerate(result.items) if not (item.product.judged or i in fails)]
    if unjudged:
        items.append(f"In none, only the jar can tell: {_names(result, unjudged)}")
    few = "The fewest passes" if found.fewest else "Passes (fewer were not ruled out)"
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
        why = _because(t)
        if why is not None and t.answer.word == "cannot tell":
            words.append(_sentence(why))
        plain = f"{result.items[t.members[0]].name}: "
        words += [_sentence(text.removeprefix(plain)) for text in _forbids(result, t)]
        words += [_sentence(text) for text in _warns(result, t) if everything]
        items.append(" ".join(words))
    items += _more(len(shown) - len(items))
    title = "Each alone in this water" if everything else "Trouble even alone in this water"
    return [Block(title, items=items)]


def _number(chance: float) -> str:
    """A chance in 100, never as certainty; nothing under 5."""
    return "" if chance < LEAST_SHOWN else f"{100.0 * min(chance, 0.99):.0f}"


def _table(result: Shelf, most: int) -> list[Block]:
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
