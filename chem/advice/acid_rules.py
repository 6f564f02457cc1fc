"""What forbids an acid or base in a mix, and what to mind where it is allowed."""

from __future__ import annotations

import re

from chem.advice.agents import LICENCE, Reagent, mild
from chem.errors import InputProblem, Problem, ToxicGas
from chem.forecast import ALWAYS, Range, label_forbids
from chem.forecast.hazards import refuse_toxic
from chem.label import Contents, Product
from chem.reference import catalogue
from chem.tank import Mix, grams_per_litre, with_product

SULFUR_DIOXIDE_PH = 6.0
WIDE_PH = 1.0
HUMIC_PH = 5.0
BICARBONATE_PH = 8.3
"""Bicarbonate alone stands here; it lifts nothing higher (half of pK1 + pK2 of carbonic acid)."""
ACID_RULES = {"acid", "acids", "acidic products", "acidifier", "acidifiers", "acidulants"}
BASE_RULES = {"alkali", "alkalis", "alkaline products", "base", "bases"}
SULFONYLUREA = re.compile(r"sulfuron|sul(?:f|ph)onyl[ -]?urea", re.IGNORECASE)
"""Common names of sulfonylurea herbicides end in -sulfuron (ISO 1750)."""


def hazards_of(product: Product) -> set[str]:
    """Hazard words of everything on the label."""
    sources = catalogue().sources
    found = {h for s in product.sources for h in s.hazard}
    return found | {h for key in product.also for h in sources[key].hazard}


def pouring_place(mix: Mix, reagent: Reagent) -> int:
    """Where in the pouring order: acid before the products, base after; labels' rules first."""
    first = reagent.product.says.pour == "first" or reagent.acid
    if reagent.product.says.pour != "last" and first:
        place = 0
        while place < len(mix.additions) and mix.additions[place].product.says.pour == "first":
            place += 1
        return 0 if reagent.product.says.pour == "first" else place
    place = len(mix.additions)
    while place > 0 and mix.additions[place - 1].product.says.pour == "last":
        place -= 1
    return len(mix.additions) if reagent.product.says.pour == "last" else place


def refuse(mix: Mix, reagent: Reagent, place: int, target: float) -> None:
    """Stop where the agent must not go into this mix.

    Raises:
        ToxicGas: acid on sulfide, thiosulfate or sulfite; anything on hypochlorite.
        InputProblem: a label's own rule forbids it.
    """
    tried = with_product(mix, reagent.product, grams_per_litre(1.0), place)
    refuse_toxic(tried)
    products = [a.product for a in mix.additions]
    sulfur = [p.name for p in products if hazards_of(p) & {"thiosulfate", "sulfite"}]
    if sulfur and (reagent.acid or (reagent.agent is None and target < SULFUR_DIOXIDE_PH)):
        raise ToxicGas(
            Problem(
                f"{mix.file}: {reagent.name} with {', '.join(sulfur)}",
                "Toxic gas. Don't pour. Acid sets sulfur dioxide free from thiosulfate and "
                "sulfite, and drops sulfur that blocks the screens",
                "spray the two apart; no acid goes into a tank that holds these",
            )
        )
    rules = set(label_forbids(tried)) - set(label_forbids(mix))
    broken = [r for r in rules if ": never with " in r]
    words = set(ACID_RULES if reagent.acid else BASE_RULES)
    brings = {line for source in reagent.product.sources for line in source.supplies}
    known = catalogue().guarantee_names
    broken += [
        f"{p.name}: never with {w}"
        for p in products
        for w in p.says.never_with
        if w.strip().lower() in words or known.get(w.strip().lower()) in brings
    ]
    if broken:
        raise InputProblem(
            Problem(
                f"{mix.file}, --with {reagent.name}",
                f"a label forbids it ({'; '.join(dict.fromkeys(broken))})",
                "another agent, or this product in a pass of its own",
            )
        )


def refuse_other_side(mix: Mix, reagent: Reagent, target: float, start: float, way: float) -> None:
    """Raises: InputProblem where the agent moves the pH away from the target."""
    if way * (target - start) > 0.0:
        return
    moves, wanted = ("lowers", "raise") if way < 0.0 else ("raises", "lower")
    others = [a for a in mild("base" if way < 0.0 else "acid") if a != reagent.name]
    if target > BICARBONATE_PH:
        others = [a for a in others if a != "potassium bicarbonate"]
    side = "below" if way < 0.0 else "above"
    raise InputProblem(
        Problem(
            f"{mix.file}, --to {target:g} --with {reagent.name}",
            f"the full tank stands at pH {start:.1f} and {reagent.name} only {moves} it",
            f"{' or '.join(f'`{a}`' for a in others)} to {wanted} it, or a target {side} "
            f"{start:.1f}",
        )
    )


def cautions(
    mix: Mix,
    reagent: Reagent,
    held: tuple[Contents, ...],
    before: Range,
    after: Range,
    copper_free: tuple[float, float] | None,
) -> tuple[str, ...]:
    """What to mind, the most pressing first; the standing cautions last."""
    out = []
    lowers = after.median < before.median
    names = [a.product.name for a in mix.additions]
    if mix.adjuvant is not None:
        names.append(mix.adjuvant.name)
    if reagent.agent is not None and reagent.agent.named_only:
        out.append(LICENCE)
    if lowers:
        if copper_free is not None:
            was, now = (_percent(share) for share in copper_free)
            out.append(
                f"Copper is in the mix: {was} of it is free before the acid, {now} after. "
                "Free copper burns leaves."
            )
        elif any("copper" in n.lower() for n in names):
            out.append("Copper is in the mix: acid frees it, and free copper burns leaves.")
        weak = [n for n in names if SULFONYLUREA.search(n)]
        if weak:
            out.append(
                f"{weak[0]}: sulfonylurea herbicides fall apart in acid water. Its label's pH "
                "comes first; if it must be, spray at once."
            )
        if any("silicate" in hazards_of(a.product) for a in mix.additions):
            out.append("Acid turns silicate to gel.")
        colloids = {c for h in held for c in h.components} & {"humate", "alginate"}
        if colloids and after.p05 < HUMIC_PH:
            out.append("Acid can drop humic or kelp extracts: watch the jar for flakes and gel.")
    if after.p95 - after.p05 > WIDE_PH:
        out.append(
            f"Little holds the pH here: the same dose may land at {after.p05:.1f} or at "
            f"{after.p95:.1f}. Put in half, test with a strip, then the rest bit by bit."
        )
    if reagent.agent is not None:
        out += [*reagent.agent.care, f"{_sentence(reagent.name)}: {reagent.agent.hazard_class}."]
    if reagent.acid:
        out.append("Alone into at least half the water, stirring; then the other products.")
    else:
        out.append("Slowly, stirring, once the acid products are well mixed in.")
    return (*out, *ALWAYS)


def _percent(share: float) -> str:
    return "under 1 %" if share < 0.01 else f"about {100.0 * share:.0f} %"


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:]
