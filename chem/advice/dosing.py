"""What an acid or base must not meet, and what to mind where it is allowed: by the rules alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from chem.advice.agents import Reagent, mild
from chem.errors import InputProblem, Problem
from chem.forecast import Range, Rule, broken
from chem.forecast.hazards import SULFUR
from chem.forecast.order import Order
from chem.forecast.rules import refuse_toxic, rules_of
from chem.reference import judged
from chem.tank import Mix, grams_per_litre, with_product

WIDE_PH = 1.0
BICARBONATE_PH = 8.3
"""Bicarbonate alone stands here; it lifts nothing higher (half of pK1 + pK2 of carbonic acid)."""


def dosed_with(mix: Mix, reagent: Reagent, place: int, grams: float = 1.0) -> Mix:
    """The mix with an agent in it at a place of the pouring order [g per litre of spray volume]."""
    return with_product(mix, reagent.product, grams_per_litre(grams, f"{grams:.4g} g/L"), place)


def dosing_rules(mix: Mix, reagent: Reagent, place: int, target: float) -> tuple[Rule, ...]:
    """Rules of the whole tank that putting an agent into a mix would break, by the dosed mix.

    target: the pH that it is to bring about: below 6 even a product that is no acid by its label
    frees sulfur dioxide from thiosulfate.

    Raises: ToxicGas: acid on sulfide; anything on hypochlorite.
    """
    dosed = dosed_with(mix, reagent, place)
    refuse_toxic(dosed)
    found = [
        r for r in broken(rules_of(dosed)) if r.kind == "mix" and place in (r.product, r.other)
    ]
    if target < judged("gas_ph")["sulfur_dioxide_below"] and reagent.agent is None and not found:
        found += [
            Rule("sulfur_in_acid", place, j, origin=min(SULFUR & a.product.hazards))
            for j, a in enumerate(dosed.additions)
            if j != place and SULFUR & a.product.hazards
        ]
    return tuple(found)


def refuse_forbidden(mix: Mix, reagent: Reagent, rules: Sequence[Rule]) -> None:
    """Raises: InputProblem where a label's own rule forbids the agent in the mix."""
    named = [r for r in rules if r.severity == "broken"]
    if named:
        words = ", ".join(dict.fromkeys(f"never with {r.origin}" for r in named))
        raise InputProblem(
            Problem(
                f"{mix.file}, --with {reagent.name}",
                f"a label forbids it ({words})",
                "another agent, or this product in a pass of its own",
            )
        )


def other_side(reagent: Reagent, target: float, way: float) -> list[str]:
    """Mild agents that would move the pH to a target that this one has passed; way: its own."""
    others = [a for a in mild("base" if way < 0.0 else "acid") if a != reagent.name]
    if target > BICARBONATE_PH:
        others = [a for a in others if a != "potassium bicarbonate"]
    return others


@dataclass(frozen=True)
class Minded:
    """What to mind of a dose.

    rules: of severity `mind` in the dosed mix; apart: places of the dosed mix next to which the
    agent must not go, each with the hazard; lowers: whether it lowers the pH; loose: whether the
    same dose may land more than a pH unit apart.
    """

    rules: tuple[Rule, ...]
    apart: tuple[tuple[int, str], ...]
    lowers: bool
    loose: bool


def minded(dosed: Mix, place: int, before: Range, after: Range) -> Minded:
    """What to mind of an agent at a place of a dosed mix, its pH before and after."""
    order = Order.of(dosed)
    lowers = after.median < before.median
    rules = [r for r in rules_of(dosed, after.p05) if r.severity == "mind"] if lowers else []
    beside = [
        (next(iter(pair - {place})), hazard)
        for pair, hazard in order.apart.items()
        if place in pair
    ]
    return Minded(tuple(rules), tuple(beside), lowers, after.p95 - after.p05 > WIDE_PH)
