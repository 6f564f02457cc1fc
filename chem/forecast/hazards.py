"""Acid, base, gas and heat: from sources and declared pH alone, before any chemistry."""

from __future__ import annotations

from dataclasses import dataclass

from chem.label import Product
from chem.reference import judged
from chem.tank import Mix

SULFUR = frozenset({"thiosulfate", "sulfite"})

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
    """A gas, heat or fumes that a mix may give.

    cause: `meets` (product meets other), `ph` (product's hazard at the tank's pH), `strong` (what
    is strong in the jug), `reckoned` (more than the tank holds, by its chemistry), `unsure` (only
    in the upper part of the range); product, other: places in the mix; hazard: of the product.
    """

    key: str
    cause: str
    product: int | None = None
    other: int | None = None
    hazard: str = ""
    ph: float | None = None


def is_acid(product: Product) -> bool:
    """Whether it counts as an acid: by its stated pH or by what it is made of."""
    made_of = bool(product.hazards & {"acid", "strong acid"})
    if product.ph is None:
        return made_of
    limits = judged("gas_ph")
    low = product.ph.low
    return low <= limits["acid_most"] or (made_of and low < limits["neutralised_from"])


def is_sour(product: Product) -> bool:
    """Whether it may bring any acid at all: what a sulfide must not meet."""
    return is_acid(product) or (product.ph is not None and product.ph.low < 7.0)


def is_base(product: Product) -> bool:
    """Whether a label's rule against alkaline products means it."""
    if product.ph is not None:
        return product.ph.high >= judged("gas_ph")["base_least"]
    return bool(product.hazards & {"strong base", "carbonate", "silicate"})


def _lifts(product: Product) -> bool:
    if product.ph is None:
        return "strong base" in product.hazards
    return product.ph.high >= judged("gas_ph")["base_least"]


def _heats(product: Product) -> str:
    """What makes it hot on dilution, if anything: strong acid or lye not used up in the jug."""
    ph, limits = product.ph, judged("gas_ph")
    if "strong acid" in product.hazards and (ph is None or ph.low <= limits["hot_acid_most"]):
        return "acid"
    if "strong base" in product.hazards and (ph is None or ph.high >= limits["hot_base_least"]):
        return "lye"
    return ""


def gases(mix: Mix, ph: float) -> list[Gas]:
    """What may fizz, smell or heat; `ph` of the finished solution."""
    limits = judged("gas_ph")
    products = list(enumerate(a.product for a in mix.met.additions))
    acids = [(i, p) for i, p in products if is_acid(p)]
    out = []

    def first_met(hazard: str) -> tuple[int, int] | None:
        pairs = ((i, j) for i, p in products if hazard in p.hazards for j, q in acids if q is not p)
        return next(pairs, None)

    met = first_met("carbonate")
    if met:
        out.append(Gas("carbon_dioxide", "meets", *met, "carbonate"))
    for hazard in ("thiosulfate", "sulfite"):
        met = first_met(hazard)
        held = next((i for i, p in products if hazard in p.hazards), None)
        if met:
            out.append(Gas("sulfur_dioxide", "meets", *met, hazard))
        elif held is not None and ph < limits["sulfur_dioxide_below"]:
            out.append(Gas("sulfur_dioxide", "ph", held, None, hazard, ph))
    ammonium = [i for i, p in products if "ammonium" in p.hazards]
    basic = [
        i
        for i, p in products
        if i not in ammonium
        and (_heats(p) == "lye" or (_lifts(p) and ph > limits["weak_base_above"]))
    ]
    if ammonium and basic:
        out.append(Gas("ammonia", "meets", ammonium[0], basic[0], "ammonium", ph))
    elif ammonium and ph > limits["ammonia_above"]:
        out.append(Gas("ammonia", "ph", ammonium[0], None, "ammonium", ph))
    for i, product in products:
        hot = _heats(product)
        if hot and i < len(mix.additions):
            out.append(Gas("heat", "strong", i, None, hot))
        if "sulfide" in product.hazards:
            out.append(Gas("hydrogen_sulfide", "strong", i, None, "sulfide"))
    return out
