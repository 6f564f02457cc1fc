"""What a mix must never be, what a label forbids, what to mind: records, made here alone.

Every command reads the same records; nothing decides by a sentence. What each severity does:
`never` gets no order, dose, jar or one-tank fix; of those that stop, not even a forecast is made.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from types import MappingProxyType

from chem.errors import Problem, ToxicGas
from chem.forecast.hazards import is_acid, is_base, is_sour
from chem.forecast.order import Order, components_of
from chem.label import Product, class_of_rule, plain
from chem.reference import read_csv
from chem.tank import Addition, Adjuvant, Mix
from chem.units import Rate, rounding

ADJUVANT = -1
"""The adjuvant's place, where a rule speaks of a product's."""
ORGANICS = frozenset({"humate", "alginate"})
ORGANICS_PH = 5.0
"""Below it acid may drop humic matter and kelp (common practice, no source)."""
PH_HAZARDS = frozenset({"ammonium", "thiosulfate", "sulfite"})
"""What gives off a gas or not by the pH of the tank."""
FLOAT_ERROR = 1e-9


@dataclass(frozen=True)
class RuleKind:
    """A row of `rules.csv`: severity is never, broken or mind; stops: no forecast is made;
    kind: what it speaks of (mix, carrier, rate, order, mind)."""

    code: str
    severity: str
    stops: bool
    kind: str
    meaning: str
    source: str


@cache
def rule_kinds() -> Mapping[str, RuleKind]:
    """Read `rules.csv` once."""
    return MappingProxyType(
        {
            r["code"]: RuleKind(
                r["code"], r["severity"], r["stops"] == "yes", r["kind"], r["meaning"], r["source"]
            )
            for r in read_csv("rules.csv")
        }
    )


@dataclass(frozen=True)
class Rule:
    """One rule that a mix breaks, or that is to be minded.

    product: whose rule it is, or the acid, by its place in the mix, None where it speaks of the
    tank; other: what it meets (`ADJUVANT` for the adjuvant); step: place in the pouring order,
    from 1, where it is broken; limit: what the label asks, in `unit`; origin: the label's word,
    or the hazard met.
    """

    code: str
    product: int | None = None
    other: int | None = None
    step: int | None = None
    limit: float | None = None
    unit: str = ""
    origin: str = ""

    @property
    def severity(self) -> str:
        """`never`, `broken` or `mind`."""
        return rule_kinds()[self.code].severity

    @property
    def kind(self) -> str:
        """What it speaks of: mix, carrier, rate, order or mind."""
        return rule_kinds()[self.code].kind


def never(rules: Sequence[Rule]) -> str | None:
    """The code of the first rule that refuses the mix, or None."""
    return next((r.code for r in rules if r.severity == "never"), None)


def ph_matters(mix: Mix) -> bool:
    """Whether any rule or gas of a mix goes by the tank's pH."""
    products = [a.product for a in mix.met.additions]
    organics = any(ORGANICS & components_of(p) for p in products)
    return organics or any(PH_HAZARDS & p.hazards for p in products)


def broken(rules: Sequence[Rule]) -> tuple[Rule, ...]:
    """Rules that are broken, `never` among them; not what is only to be minded."""
    return tuple(r for r in rules if r.severity != "mind")


def rules_of(mix: Mix, lowest_ph: float | None = None) -> tuple[Rule, ...]:
    """Every rule that a mix breaks in the order it stands in, the gravest first.

    lowest_ph: of the tank, where it is known (organics are minded below `ORGANICS_PH`).
    """
    found = [
        *_sulfur(mix.met),
        *_never_with(mix.met),
        *_carriers(mix),
        *_rates(mix),
        *broken_by(mix, range(len(mix.additions))),
        *_minded(mix.met, lowest_ph),
    ]
    return tuple(dict.fromkeys(found))


def refuse_toxic(mix: Mix) -> None:
    """Stop what no forecast is made of. Raises: ToxicGas with every reason."""
    problems, codes = [], []
    for rule, met_with in _stops(mix.met):
        codes.append(rule.code)
        who = "adjuvant = " if rule.product == ADJUVANT else ""
        names = f"{name_of(mix, rule.product)}" + (f" with {met_with}" if met_with else "")
        problems.append(Problem(f"{mix.file}: {who}{names}", *STOP_WORDS[rule.code]))
    if problems:
        raise ToxicGas(problems, codes[0])


STOP_WORDS = {
    "hypochlorite": (
        "Toxic gas. Don't pour. Hypochlorite with acid gives chlorine, with ammonium or urea "
        "chloramines",
        "bleach never goes into a tank with anything else; rinse before and after",
    ),
    "sulfide_in_acid": (
        "Toxic gas. Don't pour. Sulfide with acid gives hydrogen sulfide",
        "a sulfide goes alone, in water above pH 8",
    ),
}


def name_of(mix: Mix, index: int | None) -> str:
    """The product at a place of the mix, or its adjuvant; empty for none."""
    if index is None:
        return ""
    if index == ADJUVANT:
        return mix.adjuvant.name if mix.adjuvant else "the adjuvant"
    return mix.met.additions[index].product.name


def _stops(mix: Mix) -> Iterator[tuple[Rule, str]]:
    """Rules that stop a mix altogether, each with the names of what it meets."""
    products = [a.product for a in mix.additions]
    for i, product in enumerate(products):
        others = [p for p in products if p is not product]
        names = [p.name for p in others] + ([mix.adjuvant.name] if mix.adjuvant else [])
        if "hypochlorite" in product.hazards and names:
            yield Rule("hypochlorite", i), ", ".join(names)
        sour = [p.name for p in others if is_sour(p)]
        if "sulfide" in product.hazards and sour:
            yield Rule("sulfide_in_acid", i), ", ".join(sour)
    if mix.adjuvant and "hypochlorite" in mix.adjuvant.hazards and products:
        yield Rule("hypochlorite", ADJUVANT), ", ".join(p.name for p in products)


def _sulfur(mix: Mix) -> Iterator[Rule]:
    """Acid and thiosulfate or sulfite: never in one tank, whatever stands between them."""
    products = [a.product for a in mix.additions]
    for i, acid in enumerate(products):
        for j, other in enumerate(products):
            met = sorted({"thiosulfate", "sulfite"} & other.hazards)
            if met and other is not acid and is_acid(acid):
                yield Rule("sulfur_in_acid", i, j, origin=met[0])


def _never_with(mix: Mix) -> Iterator[Rule]:
    others: list[tuple[int, Product | Adjuvant]] = [
        (j, a.product) for j, a in enumerate(mix.additions)
    ]
    if mix.adjuvant is not None:
        others.append((ADJUVANT, mix.adjuvant))
    for i, addition in enumerate(mix.additions):
        for word in addition.product.says.never_with:
            for j, other in others:
                if other is not addition.product and _called(word, other):
                    yield Rule("never_with", i, j, origin=word)


def _called(word: str, other: Product | Adjuvant) -> bool:
    """Whether a label's word (a line, source, product, or class of products) means this one."""
    if plain(word) in other.answers_to:
        return True
    of_class = class_of_rule(word)
    if isinstance(other, Adjuvant) or of_class is None:
        return False
    return is_acid(other) if of_class == "acid" else is_base(other)


def met(value: float, limit: float, way: float, texts: Sequence[str]) -> bool:
    """Whether a value keeps a limit: at least it (way 1) or at most it (way -1).

    Equal within half a unit of the last digit printed on either side counts as kept.
    """
    slack = max((rounding(t)[0] for t in texts if t), default=0.0)
    return way * (value - limit) >= -(slack + FLOAT_ERROR) * max(value, limit)


def _carriers(mix: Mix) -> Iterator[Rule]:
    carrier = mix.carrier_L_per_m2
    for i, addition in enumerate(mix.additions):
        says = addition.product.says
        for code, limit, text, way in (
            ("carrier_at_least", says.carrier_at_least, says.least_text, 1.0),
            ("carrier_at_most", says.carrier_at_most, says.most_text, -1.0),
        ):
            if limit is not None and not met(carrier, limit, way, (text, mix.carrier_text)):
                yield Rule(code, i, limit=limit, unit="L/m2", origin=text)


def rate_span(mix: Mix, addition: Addition) -> tuple[float, float] | None:
    """A label's least and most rate as factors on the rate asked; None where none is printed.

    Rates by area and by volume of water are compared at the mix's own spray volume, weights and
    volumes by the density on the label.
    """
    limits = addition.product.rate_range
    if limits is None:
        return None

    def amount(rate: Rate) -> float | None:
        per_L = Addition(addition.product, rate).amount_per_L(mix.carrier_L_per_m2)
        if rate.kind == addition.rate.kind:
            return per_L
        density = addition.product.density
        if density is None:
            return None
        middle = 0.5 * sum(density)
        return per_L / middle if rate.kind == "mass" else per_L * middle

    now = addition.amount_per_L(mix.carrier_L_per_m2)
    low, high = (amount(limit) for limit in limits)
    if low is None or high is None or now <= 0.0:
        return None
    return low / now, high / now


def _rates(mix: Mix) -> Iterator[Rule]:
    for i, addition in enumerate(mix.additions):
        span = rate_span(mix, addition)
        if span is None or addition.product.rate_range is None:
            continue
        low, high = addition.product.rate_range
        printed, asked = rounding(low.text), rounding(addition.rate.text)[0]
        least, most = (max(p, asked) + FLOAT_ERROR for p in printed)
        if span[0] > 1.0 + least:
            yield Rule("rate_at_least", i, limit=low.value, unit=low.unit, origin=low.text)
        if span[1] < 1.0 - most:
            yield Rule("rate_at_most", i, limit=high.value, unit=high.unit, origin=high.text)


APART_CODES = {"carbonate": "acid_beside_carbonate", "ammonia": "acid_beside_ammonia"}
"""Sulfur is no matter of order: `sulfur_in_acid` refuses the tank."""


def broken_by(mix: Mix, sequence: Sequence[int]) -> tuple[Rule, ...]:
    """Rules of order that pouring a mix in a sequence of its places breaks; steps are of it."""
    order = Order.of(mix)
    out = []
    for place, i in enumerate(sequence):
        if i in order.first and any(j not in order.first for j in sequence[:place]):
            out.append(Rule("pour_first", i, step=place + 1))
        if i in order.last and any(j not in order.last for j in sequence[place + 1 :]):
            out.append(Rule("pour_last", i, step=place + 1))
    for step, (i, j) in enumerate(pairwise(sequence), start=2):
        hazard = order.apart.get(frozenset((i, j)), "")
        if hazard in APART_CODES:
            acid, other = (i, j) if i in order.acids else (j, i)
            out.append(Rule(APART_CODES[hazard], acid, other, step, origin=hazard))
    return tuple(out)


def _minded(mix: Mix, lowest_ph: float | None) -> Iterator[Rule]:
    """What an acid in the mix does to what else it declares."""
    products = [a.product for a in mix.additions]
    acid = next((i for i, p in enumerate(products) if is_acid(p)), None)
    if acid is None:
        return
    others: list[tuple[int, frozenset[str], Collection[str]]] = [
        (j, p.hazards, components_of(p)) for j, p in enumerate(products) if j != acid
    ]
    if mix.adjuvant is not None:
        others.append((ADJUVANT, mix.adjuvant.hazards, ()))
    for j, hazards, components in others:
        if "Cu" in components or "copper" in hazards:
            yield Rule("copper_in_acid", acid, j, origin="copper")
        if "sulfonylurea" in hazards:
            yield Rule("sulfonylurea_in_acid", acid, j, origin="sulfonylurea")
        if "silicate" in hazards:
            yield Rule("silicate_in_acid", acid, j, origin="silicate")
        if ORGANICS & set(components) and lowest_ph is not None and lowest_ph < ORGANICS_PH:
            yield Rule("organics_in_acid", acid, j, limit=ORGANICS_PH, unit="pH", origin="organics")
