"""Gas, heat and broken label rules: from sources and declared pH alone, before any chemistry."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from chem.errors import Problem, ToxicGas
from chem.label import Product
from chem.reference import catalogue
from chem.tank import Mix

ACID_PH = 4.5
BASE_PH = 9.5
NEUTRALISED_PH = 6.0
"""A product at or above it holds its acid as a salt (common practice, no source)."""
AMMONIA_PH = 8.0
WEAK_BASE_PH = 7.5
"""A tank that a weak base, such as a humic extract, leaves below it holds its ammonia (common
practice, no source)."""
HOT_ACID_PH, HOT_BASE_PH = 2.0, 12.5
"""A product between them has its strong acid or lye used up (common practice, no source)."""
BLEACH_WORDS = ("bleach", "hypochlorite")
FILM_WORDS = ("packet", "guar", "polyvinyl", "film")
"""What borate gels (common practice, no source)."""

ALWAYS = (
    "Goggles, chemical gloves, apron, closed shoes; eyewash within reach.",
    "Acid into water, never water into acid.",
    "Each label, the safety data sheets and local rules come first.",
)
IF_IT_GOES_WRONG = (
    "If it goes milky or gels: stop adding, keep stirring, don't open the boom.",
    "If it fizzes, heats or smells: lid open, stand upwind.",
    "Try water or acid in a jar of it, never first in the tank.",
    "Let the pressure off before you open a screen. No bleach.",
    "Never to drain, ditch or bare ground; ask the label and your local authority.",
)
JAR_DECIDES = "This is a forecast. The jar test at the same ratio decides."


@dataclass(frozen=True)
class Gas:
    """A gas, heat or fumes that the mix may give, and why."""

    key: str
    because: str


def hazards_of(product: Product) -> set[str]:
    """Hazard words of everything on the label, and of bleach by its name."""
    known = catalogue()
    found = {h for s in product.sources for h in s.hazard}
    found |= {h for key in product.also for h in known.sources[key].hazard}
    if any(word in product.name.lower() for word in BLEACH_WORDS):
        found.add("hypochlorite")
    return found


def holds_film(names: Iterable[str]) -> bool:
    """Whether something in the tank is a water-soluble film or gum, by the names given."""
    return any(word in name.lower() for name in names for word in FILM_WORDS)


def is_acid(product: Product) -> bool:
    """Whether it counts as an acid: by its stated pH or by what it is made of."""
    made_of = bool(hazards_of(product) & {"acid", "strong acid"})
    if product.ph is None:
        return made_of
    return product.ph.low <= ACID_PH or (made_of and product.ph.low < NEUTRALISED_PH)


def _base(product: Product) -> bool:
    if product.ph is None:
        return "strong base" in hazards_of(product)
    return product.ph.high >= BASE_PH


def _heats(product: Product) -> str | None:
    """What makes it hot on dilution, if anything: strong acid or lye not used up in the jug."""
    hazards, ph = hazards_of(product), product.ph
    if "strong acid" in hazards and (ph is None or ph.low <= HOT_ACID_PH):
        return "acid"
    if "strong base" in hazards and (ph is None or ph.high >= HOT_BASE_PH):
        return "lye"
    return None


def refuse_toxic(mix: Mix) -> None:
    """Raises: ToxicGas where hypochlorite meets anything or a sulfide meets acid."""
    products = [a.product for a in mix.additions]
    problems = []
    for product in products:
        others = [p for p in products if p is not product]
        if "hypochlorite" in hazards_of(product) and (others or mix.adjuvant):
            names = ", ".join(p.name for p in others) or (mix.adjuvant.name if mix.adjuvant else "")
            problems.append(
                Problem(
                    f"{mix.file}: {product.name} with {names}",
                    "Toxic gas. Don't pour. Hypochlorite with acid gives chlorine, with ammonium "
                    "or urea chloramines",
                    "bleach never goes into a tank with anything else; rinse before and after",
                )
            )
        sour = [p for p in products if is_acid(p) or (p.ph is not None and p.ph.low < 7.0)]
        sour = [p for p in sour if p is not product]
        if "sulfide" in hazards_of(product) and sour:
            problems.append(
                Problem(
                    f"{mix.file}: {product.name} with {', '.join(p.name for p in sour)}",
                    "Toxic gas. Don't pour. Sulfide with acid gives hydrogen sulfide",
                    "a sulfide goes alone, in water above pH 8",
                )
            )
    if mix.adjuvant and any(w in mix.adjuvant.name.lower() for w in BLEACH_WORDS) and products:
        problems.append(
            Problem(
                f"{mix.file}, adjuvant = {mix.adjuvant.name}",
                "Toxic gas. Don't pour. Bleach is no adjuvant",
                "leave it out",
            )
        )
    if problems:
        raise ToxicGas(problems)


def gases(mix: Mix, ph: float) -> list[Gas]:
    """What may fizz, smell or heat; `ph` of the finished solution."""
    products = [a.product for a in mix.additions]
    acids = [p for p in products if is_acid(p)]
    out = []

    def meets(hazard: str, others: list[Product]) -> list[str]:
        return [
            f"{p.name} meets {q.name}"
            for p in products
            if hazard in hazards_of(p)
            for q in others
            if q is not p
        ]

    for met in meets("carbonate", acids)[:1]:
        out.append(Gas("carbon_dioxide", f"Fizzes ({met}). Never close the jar or the lid."))
    for hazard in ("thiosulfate", "sulfite"):
        found = meets(hazard, acids)
        if found or (ph < 6.0 and any(hazard in hazards_of(p) for p in products)):
            why = found[0] if found else f"{hazard} at pH {ph:.1f}"
            out.append(Gas("sulfur_dioxide", f"Sulfur dioxide, sharp smell ({why}). Stand upwind."))
    ammonium = [p for p in products if "ammonium" in hazards_of(p)]
    basic = [
        p
        for p in products
        if p not in ammonium and (_heats(p) == "lye" or (_base(p) and ph > WEAK_BASE_PH))
    ]
    if ammonium and (ph > AMMONIA_PH or basic):
        why = f"{ammonium[0].name} meets {basic[0].name}" if basic else f"pH {ph:.1f}"
        out.append(Gas("ammonia", f"Ammonia, sharp smell ({why}). Lid open, stand upwind."))
    for product in products:
        hot = _heats(product)
        if hot is not None:
            out.append(
                Gas("heat", f"Heats up: {product.name} is strong {hot}. Slowly, into much water.")
            )
        if "sulfide" in hazards_of(product):
            out.append(Gas("hydrogen_sulfide", f"{product.name} must never meet acid: deadly gas."))
    return out


def label_forbids(mix: Mix) -> list[str]:
    """Rules of the labels' own `[says]` that this mix breaks."""
    out = []
    last = len(mix.additions) - 1
    for i, addition in enumerate(mix.additions):
        product = addition.product
        says = product.says
        for name in says.never_with:
            for other in mix.additions:
                if other.product is not product and _named(name, other.product):
                    out.append(f"{product.name}: never with {name} ({other.product.name})")
        if says.pour == "first" and i != 0:
            out.append(f"{product.name}: its label says to pour it first")
        if says.pour == "last" and i != last:
            out.append(f"{product.name}: its label says to pour it last")
        carrier = mix.carrier_L_per_m2
        if says.carrier_at_least is not None and carrier < says.carrier_at_least * 0.999:
            out.append(f"{product.name}: its label asks for more carrier")
        if says.carrier_at_most is not None and carrier > says.carrier_at_most * 1.001:
            out.append(f"{product.name}: its label asks for less carrier")
        if product.rate_range is not None:
            low, high = product.rate_range
            rate = addition.rate
            if (rate.kind, rate.per) == (low.kind, low.per) and not (
                low.value * 0.999 <= rate.value <= high.value * 1.001
            ):
                out.append(f"{product.name}: the rate is outside its label's range")
    return out


def _named(name: str, product: Product) -> bool:
    """Whether a rule's word (guarantee, source or product) speaks of this product."""
    word = name.strip().lower()
    known = catalogue()
    source = known.source_names.get(word)
    lines = {known.guarantee_names.get(word, word)}
    if lines & {k for k, v in product.guarantee.items() if v > 0.0}:
        return True
    names = [s.key for s in product.sources] + list(product.also)
    if source in names or word == product.key.lower():
        return True
    return any(word in text.lower() for text in [*names, product.name])
