"""The shelf for machines: JSON by parts, a table of values."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from itertools import chain
from typing import TypeVar

from chem.forecast import ALWAYS, JAR_DECIDES, TIMES_S
from chem.forecast.rules import STOP_WORDS
from chem.sheets.as_json import as_json_parts
from chem.sheets.buying import buying_json
from chem.sheets.contract import shelf as contract
from chem.sheets.contract.parts import ByTime
from chem.sheets.rules import because, forbids, gas_sentence, rules_json
from chem.shelf import Buying, Shelf, Together

E = TypeVar("E", bound=contract.AloneEntry)
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


def shelf_json(result: Shelf, buy: Buying | None = None, questions: Sequence[str] = ()) -> str:
    """The JSON object."""
    return "".join(shelf_json_parts(result, buy, questions))


def shelf_json_parts(
    result: Shelf, buy: Buying | None = None, questions: Sequence[str] = ()
) -> Iterator[str]:
    """The JSON object, piece by piece: a catalogue has half a million pairs.

    buy: what the one asked for would be to those owned; questions: to its seller.
    """

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
            because=tank_because(found),
            **rules_json(found.rules, result.mix(found), found.refused),
            gas_or_heat=warns(result, found),
            quarrels=found.quarrels,
            clear_at_rate_factor=found.clear_at,
            hint=hint(result, found),
            decided_by=None if o is None else o.decided_by,
        )

    def stepped(found: Together) -> contract.RatioEntry:
        pair = dict(entry(contract.PairEntry, found))
        return contract.RatioEntry(**pair, rate_factor_of_a=found.factor)

    setting = result.setting
    passes = None
    if result.passes is not None:
        passes = contract.PassesEntry(
            tanks=[names(t) for t in result.passes.tanks],
            fewest=result.passes.fewest,
            trouble_alone=names(result.passes.alone_fails),
            joined_by_asked=result.passes.joins,
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
            ratios=[stepped(t) for t in result.ratios],
            lower_rate=[stepped(t) for t in result.lower],
            in_place=[] if buy is None else buying_json(buy),
            ask_the_seller=questions,
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
                " ".join(tank_forbids(result, found)),
                " ".join(warns(result, found)),
                "" if o is None else o.decided_by,
                str(rank or ""),
                "" if cost is None else f"{cost:.4g}",
            ]
        )


def tank_forbids(result: Shelf, found: Together, *, new: bool = False) -> list[str]:
    """Rules broken in a tank; `new`: only those that no member breaks alone."""
    return forbids(found.new if new else found.rules, result.mix(found))


def warns(result: Shelf, found: Together) -> list[str]:
    """The gases of one tank, a sentence each."""
    return [gas_sentence(g, result.mix(found)) for g in found.gases]


def tank_because(found: Together) -> str | None:
    """Why it can't be told, or was not tried."""
    if found.untried == "no_room":
        return f"the products alone fill {100 * found.filled:.0f} % of the tank"
    if found.untried:
        return STOP_WORDS[found.untried][0]
    return because(found.answer) if found.answer.cause else None


def hint(result: Shelf, found: Together) -> str:
    """What to try."""
    if len(found.members) < 2 or not found.quarrels:
        return ""
    if found.toxic:
        return "Never in one tank."
    if found.clear_at is not None:
        name = result.names[found.members[0]]
        return f"Clear at {100 * found.clear_at:.0f} % of the rate of {name}; or two passes."
    return "Try: two passes." if len(found.members) == 2 else "Try: separate passes."


def who(result: Shelf, found: Together) -> str:
    """The others in a tank, beside the one asked for or among themselves."""
    others = [result.names[i] for i in found.members if i != result.asked]
    if result.asked is not None:
        return f"with {' and '.join(others)}"
    return " + ".join(others)
