"""A product in place of each one owned, in words: as much of a nutrient, its cost, the mixes."""

from __future__ import annotations

from collections.abc import Mapping

from chem.sheets.blocks import Block
from chem.sheets.contract import shelf as contract
from chem.shelf import Buying, InPlace
from chem.units import Units, format_rate

THOUSAND_SQ_FT_HA = 92.90304 / 1e4  # from exact definitions, NIST Handbook 44, appendix C
ACRE_HA = 43.56 * THOUSAND_SQ_FT_HA
NAMED = 3
"""Mixes named on a line."""


def buying_block(buy: Buying, units: Units, beside: Mapping[str, str] | None = None) -> Block:
    """One line per product owned; beside: its file -> how the two get along, a sentence."""
    name = buy.asked.name
    says = beside or {}
    items = [
        " ".join(part for part in (_line(buy, one, units), says.get(one.file, "")) if part)
        for one in buy.in_place
    ]
    if not items:
        return Block()
    notes = [] if buy.mixes else ["No mix of yours stands here to try it in."]
    if buy.asked.product.price is None:
        jug = "10 L" if units == "metric" else "2.5 gal"
        notes.append(
            f'No price in the file of {name}: price = "48 per {jug}" there compares costs.'
        )
    return Block("In place of what you own, as much put down", notes, items)


def _line(buy: Buying, one: InPlace, units: Units) -> str:
    """`X: as much Fe at 5 fl oz/1000 sq ft as at its 4; $1.20 for $0.90 ...`"""
    if one.nutrient is None or one.rate is None:
        return f"{one.name}: no nutrient in common."
    own = format_rate(one.own_rate, units)
    words = f"{one.name}: as much {one.nutrient} as {own} of it takes "
    words += format_rate(one.rate, units)
    if one.beyond:
        words += f", {one.beyond} the rates on its label"
    parts = [f"{words}; {_costs(buy, one, units)}."]
    if one.unweighed:
        parts.append(f"Density of {' and '.join(one.unweighed)} not told: taken as water's.")
    if one.mixes:
        parts.append(_mixes(one))
    return " ".join(parts)


def _costs(buy: Buying, one: InPlace, units: Units) -> str:
    """`$1.20 in place of $0.90 per 1000 sq ft ($52.27 in place of $39.20 an acre)`."""
    both = ((one.cost, buy.currency), (one.own_cost, one.own_currency))
    told = [(cost, currency) for cost, currency in both if cost is not None]
    if not told:
        return "what either costs is not told"

    def each(share: float) -> str:
        return " in place of ".join(f"{money}{share * cost:.2f}" for cost, money in told)

    us = f"{each(THOUSAND_SQ_FT_HA)} per 1000 sq ft, {each(ACRE_HA)} an acre"
    metric = f"{each(1.0)} a ha"
    words = {"us": us, "metric": metric, "both": f"{us}, {metric}"}[units]
    if len(told) == 2:
        return words
    return f"{words}; what {buy.asked.name if one.cost is None else one.name} costs is not told"


def _mixes(one: InPlace) -> str:
    """`Replaces it in 4 of your 6 mixes with it, breaks 1 (Greens, Monday).`"""
    whole = len(one.mixes)
    many = f"of your {whole} mixes" if whole > 1 else "of your 1 mix"
    words = f"Replaces it in {one.replaces or 'none'} {many} with it"
    broke = one.breaks
    if broke:
        more = f" and {len(broke) - NAMED} more" if len(broke) > NAMED else ""
        words += f", breaks {len(broke)} ({'; '.join(broke[:NAMED])}{more})"
    was = sum(not s.before and not s.after for s in one.mixes)
    if was:
        words += f"; {was} {'has' if was == 1 else 'have'} trouble with either"
    return f"{words}."


def buying_json(buy: Buying) -> list[contract.InPlaceEntry]:
    """For the JSON objects of `label` and `shelf`."""
    return [
        contract.InPlaceEntry(
            product=one.name,
            file=one.file,
            nutrient=one.nutrient,
            kg_per_ha=one.kg_per_ha,
            rate=None if one.rate is None else format_rate(one.rate, "both"),
            own_rate=one.own_rate.text or format_rate(one.own_rate, "both"),
            beyond_label=one.beyond or None,
            cost_per_ha=one.cost,
            own_cost_per_ha=one.own_cost,
            cost_per_acre=None if one.cost is None else ACRE_HA * one.cost,
            own_cost_per_acre=None if one.own_cost is None else ACRE_HA * one.own_cost,
            currency=buy.currency,
            own_currency=one.own_currency,
            in_mixes=[s.mix.name for s in one.mixes],
            replaces=[s.mix.name for s in one.mixes if s.after],
            breaks=list(one.breaks),
        )
        for one in buy.in_place
    ]
