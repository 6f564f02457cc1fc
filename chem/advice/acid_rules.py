"""What an acid or base must not meet, and what to mind where it is allowed.

The one place of these rules: `ph` doses, `pour` orders and `fix` proposes by them.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence

from chem.advice.agents import LICENCE, Reagent, mild
from chem.errors import InputProblem, Problem, ToxicGas
from chem.forecast import ALWAYS, Range, label_forbids
from chem.forecast.hazards import hazards_of, is_acid, refuse_toxic
from chem.label import Contents, Product
from chem.reference import catalogue
from chem.tank import Mix, grams_per_litre, with_product

SULFUR_DIOXIDE_PH = 6.0
SULFUR = {"thiosulfate", "sulfite"}
SULFUR_GAS = (
    "Toxic gas. Don't pour. Acid sets sulfur dioxide free from thiosulfate and sulfite, and drops "
    "sulfur that blocks the screens"
)
SULFUR_FUMES = "gives sulfur dioxide and sulfur"
SULFUR_APART = "spray the two apart; no acid goes into a tank that holds these"
WIDE_PH = 1.0
HUMIC_PH = 5.0
BICARBONATE_PH = 8.3
"""Bicarbonate alone stands here; it lifts nothing higher (half of pK1 + pK2 of carbonic acid)."""
ACID_RULES = {"acid", "acids", "acidic products", "acidifier", "acidifiers", "acidulants"}
BASE_RULES = {"alkali", "alkalis", "alkaline products", "base", "bases"}
SULFONYLUREA = re.compile(r"sulfuron|sul(?:f|ph)onyl[ -]?urea", re.IGNORECASE)
"""Common names of sulfonylurea herbicides end in -sulfuron (ISO 1750)."""


def hates_acid(product: Product) -> str:
    """Why an acid must not stand next to a product; empty where it may."""
    hazards = hazards_of(product)
    if hazards & SULFUR:
        return SULFUR_FUMES
    known = catalogue().sources
    sources = [*product.sources, *(known[key] for key in product.also)]
    if any("ammonium" in s.hazard and "strong base" in s.hazard for s in sources):
        return "heats and fumes"
    return "fizzes" if "carbonate" in hazards else ""


def kept_apart(products: Sequence[Product]) -> dict[frozenset[int], str]:
    """Pairs of an acid and what it must never stand next to, by index, each with why."""
    acids = [i for i, p in enumerate(products) if is_acid(p)]
    return {
        frozenset((i, j)): reason
        for i in acids
        for j, product in enumerate(products)
        if j not in acids and (reason := hates_acid(product))
    }


def sulfur_meets_acid(products: Sequence[Product]) -> list[tuple[str, str]]:
    """(acid, what holds thiosulfate or sulfite): names that never go into one tank.

    Acid sets sulfur dioxide free from thiosulfate and drops sulfur, whatever stands between them
    in the pouring order, because the tank is one in the end.
    """
    acids = [p for p in products if is_acid(p)]
    sulfur = [p for p in products if hazards_of(p) & SULFUR]
    return [(a.name, p.name) for a in acids for p in sulfur if p is not a]


def refuse_sulfur(where: str, pairs: Sequence[tuple[str, str]]) -> None:
    """Raises: ToxicGas where an acid and thiosulfate or sulfite would be in one tank."""
    if not pairs:
        return
    acids, held = (", ".join(dict.fromkeys(names)) for names in zip(*pairs, strict=True))
    raise ToxicGas(Problem(f"{where}: {acids} with {held}", SULFUR_GAS, SULFUR_APART))


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
    pairs = sulfur_meets_acid([a.product for a in tried.additions])
    if reagent.agent is None and target < SULFUR_DIOXIDE_PH:
        pairs += [(reagent.name, p.name) for p in products if hazards_of(p) & SULFUR]
    refuse_sulfur(mix.file, pairs)
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
    if reagent.agent is not None and reagent.agent.named_only:
        out.append(LICENCE)
    if after.median < before.median:
        present = {c for h in held for c in h.components}
        out += minded_in_acid(mix, present, after.p05, copper_free)
    tried = [*(a.product for a in mix.additions), reagent.product]
    last = len(tried) - 1
    for pair, reason in kept_apart(tried).items():
        if last in pair:
            (other,) = pair - {last}
            out.append(
                f"Never right before or after {tried[other].name} ({reason}): something else in "
                "between, well stirred in, or spray them apart."
            )
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


def minded_in_acid(
    mix: Mix, present: Collection[str], lowest_ph: float, copper_free: tuple[float, float] | None
) -> list[str]:
    """What acid does to what the mix declares: copper, herbicides, silicate, humic and kelp.

    present: components of the products; lowest_ph: of the tank after the acid; copper_free: shares
    before and after, where reckoned.
    """
    out = []
    names = [a.product.name for a in mix.additions]
    if mix.adjuvant is not None:
        names.append(mix.adjuvant.name)
    if copper_free is not None:
        was, now = (_percent(share) for share in copper_free)
        out.append(
            f"Copper is in the mix: {was} of it is free before the acid, {now} after. "
            "Free copper burns leaves."
        )
    elif "Cu" in present or any("copper" in n.lower() for n in names):
        out.append("Copper is in the mix: acid frees it, and free copper burns leaves.")
    weak = [n for n in names if SULFONYLUREA.search(n)]
    if weak:
        out.append(
            f"{weak[0]}: sulfonylurea herbicides fall apart in acid water. Its label's pH "
            "comes first; if it must be, spray at once."
        )
    if any("silicate" in hazards_of(a.product) for a in mix.additions):
        out.append("Acid turns silicate to gel.")
    if {"humate", "alginate"} & set(present) and lowest_ph < HUMIC_PH:
        out.append("Acid can drop humic or kelp extracts: watch the jar for flakes and gel.")
    return out


def _percent(share: float) -> str:
    return "under 1 %" if share < 0.01 else f"about {100.0 * share:.0f} %"


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:]
