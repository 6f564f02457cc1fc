"""The sheet of reasons: one sentence for the customer first, then the numbers behind it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from chem.advice.edges import Edge, Turn
from chem.advice.origins import WATER
from chem.advice.reasons import Hold, Ion, Reason
from chem.advice.why import Other, Why
from chem.forecast import ALWAYS, JAR_DECIDES, THRESHOLD, broken, show_limit
from chem.notebook.tried import Told
from chem.reference import Solid, tables
from chem.reference.colloids import colloids
from chem.sheets.as_json import as_json
from chem.sheets.blocks import Block, Sheet
from chem.sheets.contract import advice as contract
from chem.sheets.contract.parts import ByTime
from chem.sheets.edges import _edge
from chem.sheets.notebook import learned_entries
from chem.sheets.rules import (
    forbids,
    gas_entries,
    gas_sentence,
    minds,
    rule_next,
    rules_json,
)
from chem.sheets.words import TIME_WORDS, WATCH_THE_JAR, capital, odds, over_limit, percent
from chem.units import Units, format_per_gallon_and_litre

PLAIN = {
    "NH4": "ammonium",
    "Fe2": "iron",
    "Fe3": "iron",
    "Mn": "manganese",
    "Cu": "copper",
    "B": "borate",
    "Mo": "molybdate",
    "Si": "silicate",
    "CO3": "carbonate",
    "PO4": "phosphate",
    "P2O7": "pyrophosphate",
    "P3O10": "tripolyphosphate",
    "HPO3": "phosphite",
    "EDTA": "EDTA",
    "DTPA": "DTPA",
    "HEDTA": "HEDTA",
    "EDDHA": "EDDHA",
    "glycine": "glycine",
    "H+": "acid",
    "OH-": "alkali",
}
NUTRIENTS = {"Ca", "Mg", "K", "NH4", "NO3", "SO4", "PO4", "P2O7", "P3O10", "HPO3", "Si"}
NUTRIENTS |= {"Fe2", "Fe3", "Mn", "Zn", "Cu", "B", "Mo"}
MAIN_SHARE = 0.2
"""A jug that brings less of an ion than this isn't named in the sentence."""
MOSTLY, SHOWN = 0.5, 3
SHARES = "Shares and fractions are the middle of all versions of the tank tried"
LITTLE_SHARE = 0.01
LEAST_SHIFT = 0.02


def why_sheet(result: Why, units: Units = "both") -> Sheet:
    """Answer first: what meets what; then each solid, the edge, and what to do next."""
    shown: dict[str, Reason] = {}
    for reason in result.solids:
        shown.setdefault(common_name(reason.solid), reason)
    listed = list(shown.values())[:SHOWN]
    blocks = [Block("Do this next", [_next(result, units)], kind="next")]
    if result.gases:
        items = [gas_sentence(g, result.mix) for g in result.gases]
        blocks.insert(0, Block("Gas or heat", items=items, kind="gas"))
    rules = [f"{r[0].upper()}{r[1:]}." for r in forbids(result.rules, result.mix)]
    if rules:
        title = "Never in one tank" if result.refused else "A rule is broken as asked"
        blocks.insert(0, Block(title, items=rules, kind="stop"))
    if result.others:
        items = [f"{capital(_other(o))}: {odds(o.probability)}." for o in result.others]
        blocks.append(Block("Not a salt at its limit, but shows", items=items))
    blocks += [_solid(result, reason, units) for reason in listed]
    if result.edge is not None:
        blocks.append(_edge(result, result.edge, units))
    blocks += _origins(result)
    granted = [f"{name} is not judged: only the jar can tell" for name in result.not_judged]
    granted += [*result.notes, SHARES]
    blocks += [
        Block("Taken for granted, check these", items=granted),
        Block("Always", items=[*minds(result.rules, result.mix), *ALWAYS]),
        Block("", [JAR_DECIDES]),
    ]
    return Sheet(f"{result.mix.name}: why", _answer(result), blocks)


def _origins(result: Why) -> list[Block]:
    """A picture of where the ions come from, on a page only: the sheet has it in words."""
    from chem.sheets.page.pictures import origins_picture

    drawn = origins_picture(result, plain)
    return [] if drawn is None else [Block("Where each ion comes from", picture=drawn.figure)]


def why_json(result: Why, told: Told | None = None) -> str:
    """The JSON object of the contract, with more about each solid and the edge."""
    return as_json(
        contract.Why(
            learned=learned_entries(told),
            mix=result.mix.name,
            judged_at=result.judged_at,
            answer=result.answer,
            probability=ByTime.of(result.probability),
            ph=result.ph,
            sentence=sentence_of_all(result),
            solids=[_reason_entry(result, reason) for reason in result.solids],
            others=[
                contract.OtherEntry(
                    key=o.key,
                    probability=o.probability,
                    because=_other(o),
                    come_from={c: dict(shares) for c, shares in o.shares.items()},
                )
                for o in result.others
            ],
            edge=None if result.edge is None else _edge_entry(result.edge),
            **rules_json(result.rules, result.mix, result.refused),
            gases=gas_entries(result.gases, result.mix),
            not_judged=result.not_judged,
            notes=result.notes,
            draws=result.draws,
            seed=result.seed,
        )
    )


def _edge_entry(edge: Edge) -> contract.EdgeEntry:
    def turn(at: Turn | None) -> contract.TurnEntry | None:
        return None if at is None else contract.TurnEntry(at=at.at, culprit=at.culprit)

    return contract.EdgeEntry(
        products=[
            contract.ProductTurns(product=p.product, more=turn(p.more), less=turn(p.less))
            for p in edge.products
        ],
        ph=contract.PhTurns(now=edge.ph, above=turn(edge.ph_above), below=turn(edge.ph_below)),
    )


def _reason_entry(result: Why, reason: Reason) -> contract.ReasonEntry:
    mover = None
    if reason.ph_from is not None:
        mover = contract.PhMover(product=reason.ph_from[0], ph_without=reason.ph_from[1])
    return contract.ReasonEntry(
        key=reason.solid.key,
        name=reason.solid.name,
        threatens=reason.threatens,
        si=reason.si,
        si_half_a_ph_lower=reason.si_lower,
        si_half_a_ph_higher=reason.si_higher,
        probability=ByTime.of(reason.probability),
        clouds_after_s=reason.clouds_after_s,
        amount_g_per_L=reason.amount_g_per_L,
        ions=[
            contract.IonEntry(
                component=ion.component,
                free_fraction=ion.free_fraction,
                come_from=dict(ion.shares),
                taken_fraction=ion.taken,
            )
            for ion in reason.ions
        ],
        held_back_by=[
            contract.HoldEntry(component=h.component, by=h.by, fraction=h.fraction)
            for h in reason.held_back_by
        ],
        limited_by=reason.limited_by,
        ph_moved_by=mover,
        sentence=reason_sentence(reason, result.judged_at),
    )


def plain(component: str) -> str:
    """A component in the words of the shed."""
    found = tables().components.get(component)
    return PLAIN.get(component, found.name if found else component)


def _named(shares: Mapping[str, float]) -> list[str]:
    """Where an ion mainly comes from, the largest first; two places at most."""
    order = sorted(shares, key=lambda name: -shares[name])
    main = [n for n in order if shares[n] >= MAIN_SHARE][:2] or order[:1]
    return ["the water" if n == WATER else n for n in main] or ["what the labels leave open"]


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def common_name(solid: Solid) -> str:
    """A solid's name without the mineral's."""
    return solid.name.split(" (")[0]


def reason_sentence(reason: Reason, judged_at: str) -> str:
    """One sentence that a customer understands."""
    chance = reason.probability[judged_at]
    meeting = _meeting(reason, reason.ph)
    name = common_name(reason.solid)
    if not reason.threatens:
        level = reason.si / reason.per_two_ions
        if level > 0.0:
            if reason.would_settle_g_per_L <= show_limit():
                return f"{meeting}, but too little {name} would come out to show."
            return f"{meeting}, but {name}, though over its limit, forms too slowly to show."
        limit = f"{percent(10.0**level)} of its limit"
        hold = _main_hold(reason)
        if hold is not None:
            held = f"{plain(hold.by)} holds {percent(hold.fraction)} of the {plain(hold.component)}"
            return f"{meeting}, but {held}: {name} stays at {limit}."
        return f"{meeting}, but there is too little for {name}: {limit}."
    late = chance < THRESHOLD  # what shows tomorrow only, where the tank has changed by then
    when = "by tomorrow" if late else _after(reason.clouds_after_s)
    chance = reason.probability["24h"] if late else chance
    verb = "falls out" if chance >= 0.5 else "may fall out"
    taken = next(i.taken for i in reason.ions if i.component == reason.limited_by)
    return (
        f"{meeting}: {name} {verb} {when} and takes "
        f"{percent(taken)} of the {plain(reason.limited_by)}."
    )


def _main_hold(reason: Reason) -> Hold | None:
    """What holds most of one of the ions, if it holds half; the solid's own ions don't count."""
    own = {i.component for i in reason.ions}
    outside = [h for h in reason.held_back_by if h.by not in own and h.fraction >= MOSTLY]
    return outside[0] if outside else None


def _meeting(reason: Reason, ph: float) -> str:
    """`The calcium of X meets the phosphate of Y`, without its end."""
    groups: dict[tuple[str, ...], list[str]] = {}
    for ion in reason.ions:
        groups.setdefault(tuple(_named(ion.shares)), []).append(plain(ion.component))
    if len(groups) == 1:
        places, ions = next(iter(groups.items()))
        ions = list(dict.fromkeys(ions))
        if len(reason.ions) == 1:
            lifted = reason.ph_from
            why_ph = f", where {lifted[0]} puts it" if lifted and lifted[0] not in places else ""
            return f"The {ions[0]} of {_listed(places)} stands at pH {ph:.1f}{why_ph}"
        return f"The {_listed(ions)} of {_listed(places)} are in one tank"
    said = [f"the {_listed(ions)} of {_listed(places)}" for places, ions in groups.items()]
    meet = "meet" if len(next(iter(groups.values()))) > 1 else "meets"
    text = f"{said[0]} {meet} {_listed(said[1:])}"
    return capital(text)


def _after(seconds: float | None) -> str:
    if seconds is None:
        return "by tomorrow"
    if seconds < 60.0:
        return "within a minute"
    if seconds < 5400.0:
        return f"after about {seconds / 60.0:.0f} min"
    return f"after about {seconds / 3600.0:.0f} h"


def sentence_of_all(result: Why) -> str:
    """The whole mix in one sentence, or two."""
    solids, others, edge = result.solids, result.others, result.edge
    at = result.judged_at
    pressing = solids[0].probability[at] if solids and solids[0].threatens else -1.0
    if others and others[0].probability > pressing:
        return f"{capital(_other(others[0]))}."
    if not solids:
        return "Nothing in this tank can form a solid."
    own = reason_sentence(solids[0], at)
    keeper = edge and next((p for p in edge.products if p.less is not None), None)
    if keeper and keeper.less and not solids[0].threatens:
        less = keeper.less
        what = less.culprit or "something"
        when = f"at {percent(less.at)} of its rate" if less.at else "without it"
        return f"{keeper.product} keeps it clear: {when} {what} would show. {own}"
    return own


def _other(other: Other) -> str:
    """Why a colloid falls or a very soluble salt crystallises."""
    if other.colloid is None:
        name = other.name.removesuffix(" crystals (cold)")
        return f"{name} crystallises: too much salt for the cold"
    because = colloids()[other.key].because
    whose = f"the {plain(other.colloid)} of {_listed(_named(other.shares[other.colloid]))}"
    if other.metal is not None:
        met = f"meets the {plain(other.metal)} of {_listed(_named(other.shares[other.metal]))}"
    else:
        met = f"stands at pH {other.ph:.1f}"
        if other.ph_from is not None:
            met += f", where {other.ph_from} puts it"
    return f"{because}: {whose} {met}"


def _answer(result: Why) -> list[str]:
    span = TIME_WORDS[result.judged_at]
    chance = result.probability[result.judged_at]
    sentence = sentence_of_all(result)
    if result.refused:
        return ["Toxic gas: don't pour these together.", f"Solids within {span}: {odds(chance)}."]
    unjudged = result.answer == "cannot tell" and chance < THRESHOLD and bool(result.not_judged)
    if result.answer == "cannot tell" and not unjudged:
        return ["Cannot tell: the tank is outside what the model covers.", sentence]
    if chance >= THRESHOLD:
        return [sentence, f"Solids within {span}: {odds(chance)}."]
    tomorrow = result.probability["24h"]
    lines = [f"Clear for {span}: {odds(1.0 - chance)}.", sentence]
    if result.judged_at != "24h" and tomorrow >= THRESHOLD:
        lines[0] = f"Clear for {span}: {odds(1.0 - chance)}; cloudy by tomorrow: {odds(tomorrow)}."
    if unjudged:
        lines.insert(0, f"Cannot tell: {_listed(result.not_judged)} can't be judged. The salts:")
    return lines


def _next(result: Why, units: Units) -> str:
    against = broken(result.rules)
    if against:
        return rule_next(against[0], result.mix, units)
    if result.answer == "cannot tell":
        return WATCH_THE_JAR
    if result.probability[result.judged_at] >= THRESHOLD:
        return "Ask `jarsight fix` for the smallest change, then try it in a jar."
    if result.probability["24h"] >= THRESHOLD:
        return "Jar test at the same ratio, then fill; leave none standing overnight."
    return "Jar test at the same ratio, then fill."


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
    first = result.solids and reason is result.solids[0]
    lead = [] if first else [reason_sentence(reason, result.judged_at)]
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
    return f"{capital(plain(ion.component))}: {', '.join(said)}; {', '.join([free, *held])}."


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
        text += " {} moves the pH that way most: without it pH {:.1f}.".format(*reason.ph_from)
    return text
