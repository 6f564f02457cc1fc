"""The shelf's sheet, JSON object and table: who gets along with whom, worst first."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import Any

from chem.forecast import ALWAYS, JAR_DECIDES, TIMES_S
from chem.sheets.as_json import as_json
from chem.sheets.blocks import Block, Sheet
from chem.sheets.words import TIME_WORDS, after, odds
from chem.shelf import Shelf, Together
from chem.units import Units, format_carrier, format_temperature

LISTED = 30
CLEAR_LISTED = 40
TABLE_FITS = 14
"""Products whose numbered columns fit a terminal sheet."""
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
)


def shelf_sheet(result: Shelf, units: Units = "both", *, alone: bool = False) -> Sheet:
    """The sheet; alone: each product in this water instead of pairs."""
    span = TIME_WORDS[result.judged_at]
    if alone:
        blocks = _alone(result, everything=True)
        bad = sum(not t.clear for t in result.alone)
        answer = [f"{bad} of {len(result.alone)} won't stay clear alone in this water."]
    else:
        bad = sum(t.quarrels for t in result.pairs)
        answer = [_answer(result, bad), f"Judged for {span}, each at its own rate."]
        blocks = [
            *_asked_alone(result),
            *_worst(result),
            *_no_worse(result),
            *_clear(result),
            *_triples(result),
            *_ratios(result),
            *_most(result),
            *_groups(result),
            *_passes(result),
            *_alone(result, everything=False),
            *_table(result, TABLE_FITS),
        ]
    blocks += _left_out(result)
    blocks.append(_granted(result, units))
    blocks.append(Block("Before you pour", [JAR_DECIDES], ALWAYS))
    return Sheet(_heading(result), answer, blocks)


def shelf_page(result: Shelf, units: Units = "both", *, alone: bool = False) -> Sheet:
    """The sheet for a page, where the table of a whole shelf has room."""
    sheet = shelf_sheet(result, units, alone=alone)
    if alone or len(result.items) <= TABLE_FITS:
        return sheet
    blocks = [*sheet.blocks[:-2], *_table(result, len(result.items)), *sheet.blocks[-2:]]
    return Sheet(sheet.heading, sheet.answer, blocks)


def shelf_json(result: Shelf) -> str:
    """The JSON object."""

    def names(members: Sequence[int]) -> list[str]:
        return [result.items[i].name for i in members]

    def entry(found: Together) -> dict[str, Any]:
        o = found.odds
        keyed = dict(zip("abc", names(found.members), strict=False))
        return {
            **keyed,
            "answer": found.answer,
            "chance": found.chance,
            "probability": None if o is None else dict(o.probability),
            "clogs": None if o is None else dict(o.clogs),
            "worst_solid": None if o is None else o.worst,
            "clouds_after_s": None if o is None else o.clouds_after_s,
            "ph": None if o is None else o.ph,
            "because": found.because,
            "label_forbids": list(found.forbids),
            "gas_or_heat": list(found.warns),
            "try": found.hint,
        }

    setting = result.setting
    return as_json(
        {
            "asked": None if result.asked is None else result.items[result.asked].name,
            "for": result.judged_at,
            "pairs": [entry(t) for t in result.pairs],
            "triples": [entry(t) for t in result.triples],
            "ratios": [{**entry(t), "rate_factor_of_a": t.factor} for t in result.ratios],
            "alone": [entry(t) for t in result.alone],
            "quarrels": {item.name: result.quarrels_of(i) for i, item in enumerate(result.items)},
            "groups": [names(g) for g in result.groups],
            "passes": None
            if result.passes is None
            else {
                "tanks": [names(t) for t in result.passes.tanks],
                "fewest": result.passes.fewest,
                "not_clear_alone": names(result.passes.alone_fails),
            },
            "left_out": [{"file": out.file, "why": out.why} for out in result.left_out],
            "water": setting.water.name,
            "carrier_L_per_ha": 1e4 * setting.carrier_L_per_m2,
            "temperature_celsius": setting.t_celsius,
            "notes": list(result.notes),
            "cautions": [JAR_DECIDES, *ALWAYS],
            "draws": setting.draws,
            "seed": setting.seed,
            "seconds": result.seconds,
            "solves": result.solves,
            "versions": dict(result.versions),
        }
    )


def shelf_csv(result: Shelf) -> str:
    """One row per tank: alone, pairs, triples, ratios."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    ratios = [t for t in result.ratios if t.factor != 1.0]
    for found in (*result.alone, *result.pairs, *result.triples, *ratios):
        members = [result.items[i].name for i in found.members]
        o = found.odds
        chances = [""] * len(TIMES_S) if o is None else [f"{o.probability[t]:.4f}" for t in TIMES_S]
        writer.writerow(
            [
                *members,
                *[""] * (3 - len(members)),
                f"{found.factor:g}",
                found.answer,
                f"{found.chance:.4f}",
                *chances,
                "" if o is None else f"{o.clogs['4h']:.4f}",
                "" if o is None else o.worst or "",
                "" if o is None or o.clouds_after_s is None else f"{o.clouds_after_s:.0f}",
                "" if o is None else f"{o.ph:.2f}",
                " ".join(found.forbids),
                " ".join(found.warns),
            ]
        )
    return out.getvalue()


def _heading(result: Shelf) -> str:
    count = len(result.items)
    if result.asked is None:
        return f"{count} products in one tank, two at a time"
    return f"{result.items[result.asked].name} against {count - 1} products"


def _answer(result: Shelf, bad: int) -> str:
    if not result.pairs:
        return "One product: nothing to pair it with."
    if result.asked is None:
        if not bad:
            return f"All {len(result.pairs)} pairs get along."
        return f"{bad} of {len(result.pairs)} pairs are better kept apart."
    if not bad:
        return f"Gets along with all {len(result.pairs)}."
    return f"Better kept apart from {bad} of {len(result.pairs)}."


def _who(result: Shelf, found: Together) -> str:
    others = [result.items[i].name for i in found.members if i != result.asked]
    if result.asked is not None:
        return f"with {' and '.join(others)}"
    return " + ".join(others)


def _line(result: Shelf, found: Together) -> str:
    """`with X: curdles, 9 in 10, shows after about 10 min, gypsum. Try: two passes.`"""
    words = [f"{_who(result, found)}: {_verdict(result, found)}."]
    if found.because is not None and found.answer == "cannot tell":
        words.append(f"{found.because[0].upper()}{found.because[1:]}.")
    words += [_stopped(text) for text in (*found.forbids, *found.warns)]
    if found.hint:
        words.append(found.hint)
    return " ".join(words)


def _stopped(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else f"{text}."


def _verdict(result: Shelf, found: Together) -> str:
    o = found.odds
    if o is None:
        return "not tried"
    if found.answer not in VERBS:
        clear = 1.0 - found.shows(result.judged_at)
        word = "clear" if found.answer == "clear" else "can't tell"
        return f"{word}, {odds(clear)}" if found.answer == "clear" else word
    sure, unsure = VERBS[found.answer]
    parts = [sure if found.chance >= 0.5 else unsure, odds(found.chance)]
    if o.clouds_after_s is not None:
        parts.append(f"shows {after(o.clouds_after_s)}")
    if o.worst_name is not None:
        parts.append(o.worst_name)
    return ", ".join(parts)


def _worst(result: Shelf) -> list[Block]:
    bad = [t for t in result.pairs if t.quarrels]
    if not bad:
        return []
    items = [_line(result, t) for t in bad[:LISTED]]
    more = len(bad) - LISTED
    rest = [f"{more} more: --csv FILE or --html FILE has all."] if more > 0 else []
    return [Block("Better kept apart, worst first", items=[*items, *rest])]


def _asked_alone(result: Shelf) -> list[Block]:
    if result.asked is None:
        return []
    alone = next(t for t in result.alone if t.members == (result.asked,))
    name = result.items[result.asked].name
    return [Block("Alone in this water", [f"{name}: {_verdict(result, alone)}."])]


def _no_worse(result: Shelf) -> list[Block]:
    same = [t for t in result.pairs if not t.clear and not t.quarrels]
    if not same:
        return []
    title = "No worse than alone in this water"
    if result.asked is None:
        return [Block(title, [f"{len(same)} pairs."])]
    return [Block(title, items=[_line(result, t) for t in same[:LISTED]])]


def _clear(result: Shelf) -> list[Block]:
    fine = [t for t in result.pairs if t.clear and t.answer == "clear"]
    unsure = [t for t in result.pairs if t.clear and t.answer != "clear"]
    blocks = []
    if fine and result.asked is not None:
        items = [f"{_who(result, t)}: {_verdict(result, t)}" for t in fine[:CLEAR_LISTED]]
        blocks.append(Block("Stays clear", items=items))
    elif fine:
        blocks.append(Block("Stays clear", [f"{len(fine)} pairs."]))
    if unsure:
        names = dict.fromkeys(
            result.items[i].name
            for t in unsure
            for i in t.members
            if not result.items[i].product.judged
        )
        text = "The salts stay clear beside what can't be judged"
        blocks.append(Block("Only the jar can tell", [f"{text}: {'; '.join(names)}."]))
    return blocks


def _triples(result: Shelf) -> list[Block]:
    known = {t.members for t in result.pairs if t.quarrels}
    new = [
        t
        for t in result.triples
        if t.quarrels and not any(set(pair) <= set(t.members) for pair in known)
    ]
    if not result.triples:
        return []
    if not new:
        return [Block("Three at a time", ["No three quarrel whose pairs get along."])]
    return [
        Block(
            "Three at a time: quarrel though their pairs get along",
            items=[_line(result, t) for t in new[:LISTED]],
        )
    ]


def _ratios(result: Shelf) -> list[Block]:
    if not result.ratios:
        return []
    by_pair: dict[tuple[int, ...], list[Together]] = {}
    for found in result.ratios:
        by_pair.setdefault(found.members, []).append(found)
    factors = [t.factor for t in next(iter(by_pair.values()))]
    rows = [(" ", *(f"x{f:g}" for f in factors))]
    for members, steps in by_pair.items():
        chances = [t.shows(result.judged_at) for t in steps]
        if max(chances) < LEAST_SHOWN:
            continue
        if result.asked is None:
            name = " + ".join(result.items[i].name for i in members)
        else:
            name = result.items[members[1]].name
        rows.append((name, *(_number(c) or "-" for c in chances)))
    first = "the first one's" if result.asked is None else "its"
    what = f"Chance in 100 of solids at so many times {first} rate; - is under 5"
    if len(rows) == 1:
        return [Block("Other ratios", ["Under 5 in 100 at every ratio."])]
    narrow = [(_short(r[0]), *r[1:]) for r in rows[: LISTED + 1]]
    return [Block("Other ratios", [f"{what}."], rows=narrow)]


def _short(name: str, width: int = 34) -> str:
    return name if len(name) <= width else f"{name[: width - 3].rstrip()}..."


def _most(result: Shelf) -> list[Block]:
    if result.asked is not None or len(result.items) < 3:
        return []
    counts = [(result.quarrels_of(i), item.name) for i, item in enumerate(result.items)]
    counts = sorted((c for c in counts if c[0]), key=lambda c: (-c[0], c[1]))[:5]
    if not counts:
        return []
    items = [f"{name}: with {n} of {len(result.items) - 1}" for n, name in counts]
    return [Block("Who quarrels most", items=items)]


def _groups(result: Shelf) -> list[Block]:
    if not result.groups:
        return []
    items = [_names(result, group) for group in result.groups]
    return [Block("Get along, all in one tank", items=items)]


def _names(result: Shelf, members: Sequence[int]) -> str:
    return "; ".join(result.items[i].name for i in members)


def _passes(result: Shelf) -> list[Block]:
    found = result.passes
    if found is None:
        return []
    items = [f"Pass {k}: {_names(result, t)}" for k, t in enumerate(found.tanks, start=1)]
    if found.alone_fails:
        items.append(f"In none, not clear even alone: {_names(result, found.alone_fails)}")
    unjudged = [i for i, item in enumerate(result.items) if not item.product.judged]
    if unjudged:
        items.append(f"In none, only the jar can tell: {_names(result, unjudged)}")
    few = "The fewest passes" if found.fewest else "Passes (fewer were not ruled out)"
    return [Block(f"{few} that use them all", items=items)]


def _alone(result: Shelf, *, everything: bool) -> list[Block]:
    shown = [
        t for t in result.alone if everything or (not t.clear and t.members != (result.asked,))
    ]
    if not shown:
        return []
    items = []
    for t in shown:
        name = result.items[t.members[0]].name
        ph = "" if t.odds is None else f", pH about {t.odds.ph:.1f}"
        items.append(f"{name}: {_verdict(result, t)}{ph}")
    title = "Each alone in this water" if everything else "Not clear even alone in this water"
    return [Block(title, items=items)]


def _number(chance: float) -> str:
    """A chance in 100; nothing under 5."""
    return "" if chance < LEAST_SHOWN else f"{100.0 * min(chance, 0.99):.0f}"


def _table(result: Shelf, most: int) -> list[Block]:
    """Chances as numbers, every product against every other; alone where it meets itself."""
    count = len(result.items)
    if result.asked is not None or count < 3:
        return []
    title = f"Chance in 100 of solids within {TIME_WORDS[result.judged_at]}"
    if count > most:
        return [Block(title, ["--html FILE or --csv FILE has the whole table."])]
    chance = {t.members: t.shows(result.judged_at) for t in (*result.pairs, *result.alone)}
    rows = [("", *(str(k) for k in range(1, count + 1)))]
    for i in range(count):
        cells = []
        for j in range(count):
            key = (i,) if i == j else (min(i, j), max(i, j))
            cells.append(_number(chance[key]))
        rows.append((str(i + 1), *cells))
    numbered = [f"{k}  {item.name}" for k, item in enumerate(result.items, start=1)]
    return [
        Block(
            title,
            ["Blank is under 5. A product against itself: alone in this water.", *numbered],
            rows=rows,
        )
    ]


def _left_out(result: Shelf) -> list[Block]:
    if not result.left_out:
        return []
    return [Block("Left out", items=[f"{o.file}: {o.why}" for o in result.left_out])]


def _granted(result: Shelf, units: Units) -> Block:
    setting = result.setting
    items = [
        f"Spray volume {format_carrier(setting.carrier_L_per_m2, units)}",
        f"Water: {setting.water.name}",
        f"Temperature {format_temperature(setting.t_celsius, units)}",
        *result.notes[:3],
    ]
    if setting.coldest_celsius is not None:
        items.insert(3, f"Overnight {format_temperature(setting.coldest_celsius, units)}")
    items.append("The pouring order is left open: `jarsight pour` for a mix of them")
    effort = f"{setting.draws} versions of each tank, seed {setting.seed}"
    items.append(f"{effort}; {result.solves} equilibria in {result.seconds:.1f} s")
    return Block("Taken for granted, check these", items=items)
