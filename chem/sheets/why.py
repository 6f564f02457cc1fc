"""The sheet of reasons: one sentence for the customer first, then the numbers behind it."""

from __future__ import annotations

from typing import Any

from chem.advice.why import (
    MOST_FACTOR,
    NUTRIENTS,
    WATER,
    Edge,
    Ion,
    ProductEdge,
    Reason,
    Turn,
    Why,
    common_name,
    percent,
    plain,
)
from chem.forecast import ALWAYS, JAR_DECIDES, THRESHOLD
from chem.sheets.as_json import as_json
from chem.sheets.blocks import Block, Sheet
from chem.sheets.words import TIME_WORDS, odds, over_limit
from chem.tank import with_rate
from chem.units import Units, format_per_gallon_and_litre, format_rate

SHOWN = 3
LITTLE_SHARE = 0.01
LEAST_SHIFT = 0.02


def why_sheet(result: Why, units: Units = "both") -> Sheet:
    """Answer first: what meets what; then each solid, the edge, and what to do next."""
    shown: dict[str, Reason] = {}
    for reason in result.solids:
        shown.setdefault(common_name(reason.solid), reason)
    listed = list(shown.values())[:SHOWN]
    blocks = [Block("Do this next", [_next(result)])]
    if result.label_forbids:
        blocks.insert(0, Block("A rule is broken as asked", items=result.label_forbids))
    if result.others:
        items = [f"{_capital(o.because)}: {odds(o.probability)}." for o in result.others]
        blocks.append(Block("Not a salt at its limit, but shows", items=items))
    blocks += [_solid(result, reason, units) for reason in listed]
    if result.edge is not None:
        blocks.append(_edge(result, result.edge, units))
    granted = [f"{name} is not judged: only the jar can tell" for name in result.not_judged]
    granted += result.notes
    granted.append("Shares and fractions are the middle of all versions of the tank tried")
    blocks += [
        Block("Taken for granted, check these", items=granted),
        Block("Always", items=ALWAYS),
        Block("", [JAR_DECIDES]),
    ]
    return Sheet(f"{result.mix.name}: why", _answer(result), blocks)


def why_json(result: Why) -> str:
    """The JSON object of the contract, with more about each solid and the edge."""

    def turn(at: Turn | None) -> dict[str, Any] | None:
        return None if at is None else {"at": at.at, "culprit": at.culprit}

    edge = None
    if result.edge is not None:
        edge = {
            "products": [
                {"product": p.product, "more": turn(p.more), "less": turn(p.less)}
                for p in result.edge.products
            ],
            "ph": {
                "now": result.edge.ph,
                "above": turn(result.edge.ph_above),
                "below": turn(result.edge.ph_below),
            },
        }
    data = {
        "mix": result.mix.name,
        "for": result.judged_at,
        "answer": result.answer,
        "probability": dict(result.probability),
        "ph": result.ph,
        "sentence": result.sentence,
        "solids": [_solid_json(reason) for reason in result.solids],
        "others": [
            {
                "key": o.key,
                "probability": o.probability,
                "because": o.because,
                "from": {c: dict(shares) for c, shares in o.shares.items()},
            }
            for o in result.others
        ],
        "edge": edge,
        "label_forbids": list(result.label_forbids),
        "not_judged": list(result.not_judged),
        "notes": list(result.notes),
        "draws": result.draws,
        "seed": result.seed,
    }
    return as_json(data)


def _solid_json(reason: Reason) -> dict[str, Any]:
    return {
        "key": reason.solid.key,
        "name": reason.solid.name,
        "threatens": reason.threatens,
        "si": reason.si,
        "si_half_a_ph_lower": reason.si_lower,
        "si_half_a_ph_higher": reason.si_higher,
        "probability": dict(reason.probability),
        "clouds_after_s": reason.clouds_after_s,
        "amount_g_per_L": reason.amount_g_per_L,
        "ions": [
            {
                "component": ion.component,
                "free_fraction": ion.free_fraction,
                "from": dict(ion.shares),
                "taken_fraction": ion.taken,
            }
            for ion in reason.ions
        ],
        "held_back_by": [
            {"component": h.component, "by": h.by, "fraction": h.fraction}
            for h in reason.held_back_by
        ],
        "limited_by": reason.limited_by,
        "ph_moved_by": None
        if reason.ph_from is None
        else {"product": reason.ph_from[0], "ph_without": reason.ph_from[1]},
        "sentence": reason.sentence,
    }


def _answer(result: Why) -> list[str]:
    span = TIME_WORDS[result.judged_at]
    chance = result.probability[result.judged_at]
    if any("toxic gas" in rule for rule in result.label_forbids):
        return ["Toxic gas: don't pour these together.", f"Solids within {span}: {odds(chance)}."]
    if chance >= THRESHOLD:
        return [result.sentence, f"Solids within {span}: {odds(chance)}."]
    tomorrow = result.probability["24h"]
    lines = [f"Clear for {span}: {odds(1.0 - chance)}.", result.sentence]
    if result.judged_at != "24h" and tomorrow >= THRESHOLD:
        lines[0] = f"Clear for {span}: {odds(1.0 - chance)}; cloudy by tomorrow: {odds(tomorrow)}."
    return lines


def _next(result: Why) -> str:
    if any("toxic gas" in rule for rule in result.label_forbids):
        return "Don't mix these: toxic gas."
    if any(": never with " in rule for rule in result.label_forbids):
        return "Don't mix these: a label forbids it."
    if result.label_forbids:
        return "Ask `jarsight pour` and `jarsight fix`: the mix breaks a rule as it stands."
    if result.probability[result.judged_at] >= THRESHOLD:
        return "Ask `jarsight fix` for the smallest change, then try it in a jar."
    if result.probability["24h"] >= THRESHOLD:
        return "Jar test at the same ratio, then fill; leave none standing overnight."
    return "Jar test at the same ratio, then fill."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _solid(result: Why, reason: Reason, units: Units) -> Block:
    state = f"{reason.solid.formula}: {_level(reason.si / reason.per_two_ions)}"
    if reason.threatens:
        chance = reason.probability
        state += (
            f"; shows within {TIME_WORDS[result.judged_at]}: {odds(chance[result.judged_at])}"
            f", by tomorrow: {odds(chance['24h'])}"
        )
        if reason.amount_g_per_L > 0.0:
            state += f"; {format_per_gallon_and_litre(reason.amount_g_per_L, units)} by then"
    items = [f"{state}.", *(_ion(reason, ion) for ion in reason.ions), _ph(reason)]
    if reason.threatens:
        least = plain(reason.limited_by)
        taken = " and ".join(
            f"{percent(ion.taken)} of the {plain(ion.component)}"
            for ion in reason.ions
            if ion.component in NUTRIENTS
        )
        if len(reason.ions) > 1:
            items.append(f"The {least} sets how much: there is least of it for this.")
        if taken:
            items.append(f"Nutrient lost with it: {taken}.")
    lead = [] if reason.sentence in result.sentence else [reason.sentence]
    return Block(reason.solid.name, lead, items=items)


def _ion(reason: Reason, ion: Ion) -> str:
    """`Calcium: 93 % from the water, 7 % from X; 40 % free, citrate holds 55 %.`"""
    order = sorted(ion.shares, key=lambda name: -ion.shares[name])
    places = [n for n in order if ion.shares[n] >= LITTLE_SHARE] or order[:1]
    said = [f"{percent(ion.shares[n])} from {'the water' if n == WATER else n}" for n in places]
    shares: dict[str, float] = {}
    for hold in reason.held_back_by:
        if hold.component == ion.component:
            shares[plain(hold.by)] = shares.get(plain(hold.by), 0.0) + hold.fraction
    held = [f"{by} holds {percent(share)}" for by, share in shares.items()]
    free = f"{percent(ion.free_fraction)} as the bare ion"
    return f"{_capital(plain(ion.component))}: {', '.join(said)}; {', '.join([free, *held])}."


def _level(level: float) -> str:
    """How far over or under its limit a solid is, in words and as a multiple of the limit.

    level: SI per two ions, so that multiples compare between solids.
    """
    if level <= 0.0:
        return f"under its limit ({percent(10.0**level)} of it)"
    return f"{over_limit(level)} ({_times(level)})"


def _times(level: float) -> str:
    times = 10.0**level
    return "over 1000 times" if times > 1000.0 else f"{float(f'{times:.2g}'):g} times"


def _ph(reason: Reason) -> str:
    lower, higher = (si / reason.per_two_ions for si in (reason.si_lower, reason.si_higher))
    now = reason.si / reason.per_two_ions
    if max(abs(lower - now), abs(higher - now)) < LEAST_SHIFT:
        text = "Half a pH unit lower or higher changes little."
    else:
        text = f"Half a pH unit lower it is {_level(lower)}, half a unit higher {_level(higher)}."
    if reason.ph_from is not None:
        name, without = reason.ph_from
        text += f" {name} moves the pH that way most: without it pH {without:.1f}."
    return text


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
