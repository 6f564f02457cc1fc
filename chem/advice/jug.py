"""What a jug holds by its label: ions with ranges, what doesn't add up, what is left open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chem.advice.salting import JugCold, jug_cold
from chem.doubts import Range, chance, doubts, first_order, median, range_of
from chem.equilibrium import (
    Conditions,
    build_system,
    conductivity_mS_per_cm,
    held_key,
    one_thread,
    solve,
)
from chem.forecast import DoubtShare, Study, settle_by
from chem.label import NITROGEN_FORMS, Contents, Product, label_lines, misfits
from chem.reference import catalogue
from chem.tank import UNKNOWN_WATER, Mix, millilitres_per_litre
from chem.tank.mix import Addition

GALLON_L, POUND_KG = 3.785411784, 0.45359237  # NIST Handbook 44, appendix C
READ_AS = (
    ("available phosphate", "P"),
    ("soluble potash", "K"),
    ("calcium", "CaO"),
    ("magnesium", "MgO"),
    ("sulfur", "SO3"),
)
SPECIFIC_VOLUME = (0.25, 0.75)
"""Apparent volumes that dissolved matter takes, calcium chloride to urea [L/kg] (common practice,
no source)."""
USUAL_SHARE_ML_PER_L = 20.0
LEAST_SHARE = 0.05
LEAST_CHANCE = 0.05
SHARES = {
    "undeclared_sodium_chloride": "undeclared sodium chloride",
    "ferric_share": "ferric share",
    "ortho_share": "orthophosphate share",
}
"""Rows of `data/doubts.csv` that a label leaves open, each with its column of a jug's doubts."""
WATER_FIGURES = ("hardness", "alkalinity share", "ph", "SO4", "Cl", "calcium share of hardness")


@dataclass(frozen=True)
class Finding:
    """What doesn't add up, or is left open; its sentence is in `sheets/jug.py` under its key.

    of: the names that it is about; figures: its numbers, in the order of the sentence; words: what
    the label or a table says of it.
    """

    key: str
    of: tuple[str, ...] = ()
    figures: tuple[float, ...] = ()
    words: str = ""


@dataclass(frozen=True)
class Cold:
    """A jug in the cold: salts_out_below, freezes_below [degC], None where not so or not told;
    names: of what salts out; clear_at: chance that no salt is out at the coldest, None where it
    can't be judged; cannot_judge: why not, if so."""

    salts_out_below: Range | None
    freezes_below: Range | None
    names: tuple[str, ...]
    clear_at: float | None
    cannot_judge: str | None


@dataclass(frozen=True)
class Carried:
    """A nutrient per volume and what a weight of it costs."""

    nutrient: str
    kg_per_L: float
    price_per_kg: float | None


@dataclass(frozen=True)
class Jug:
    """A label read as a liquid.

    makeup: component -> [mol/kg]; sources_percent: [% by mass]; ph: of 1 part in 10 of water, or
    None; conductivity_mS_per_cm: of 1 part in 100 at 25 degC, None beyond the method; cold: what
    crystallises, None for a dry product; coldest_celsius: for its odds; water_matters: the water's
    figure, and the name of the solid by which it counts.
    """

    product: Product
    density_kg_per_L: Range | None
    makeup: Mapping[str, Range]
    sources_percent: Mapping[str, Range]
    ph: Range | None
    conductivity_mS_per_cm: Range | None
    problems: tuple[Finding, ...]
    open: tuple[Finding, ...]
    doubts: tuple[DoubtShare, ...]
    carried: tuple[Carried, ...]
    currency: str
    cold: Cold | None
    coldest_celsius: float
    water_matters: tuple[str, str] | None
    notes: tuple[str, ...]
    draws: int
    seed: int

    @property
    def adds_up(self) -> bool:
        """Whether nothing contradicts."""
        return not self.problems


@one_thread()
def jug(product: Product, *, count: int = 256, seed: int = 1, coldest_celsius: float = 5.0) -> Jug:
    """Read a label as a liquid. Misfits stand in `problems`; nothing is raised for them."""
    study = Study(count, seed)
    inside = study.contents(product, strict=False)
    cold = None if product.dry else jug_cold(inside, study.draws)
    problems = [*_misfits(product), *_nitrogen(product), *_too_heavy(product, inside)]
    dried = None if product.dry else range_of(inside.density_kg_per_L)
    price = product.price
    per_kg = None
    middle = 1.0 if dried is None else dried.median
    if price is not None:
        per_kg = price.amount if price.per == "kg" else price.amount / middle
    if cold is not None and product.form == "solution":
        over = cold.t_celsius > WARM_CELSIUS + WARM_MARGIN_K
        if chance(over) > OVER_IN_NEARLY_ALL:
            problems.append(Finding("more_than_dissolves", tuple(_named(cold, over))))
    return Jug(
        product=product,
        density_kg_per_L=dried,
        makeup={c: range_of(inside.of(c)) for c in inside.components if inside.of(c).any()},
        sources_percent={k: range_of(v) for k, v in inside.sources_percent.items()},
        ph=_ph(inside),
        conductivity_mS_per_cm=_conductivity(inside),
        problems=tuple(problems),
        open=tuple(_left_open(product, inside)),
        doubts=_doubts(inside),
        carried=tuple(_carried(product, middle, per_kg)),
        currency=price.currency if price else "",
        cold=None if cold is None else _cold(cold, coldest_celsius),
        coldest_celsius=coldest_celsius,
        water_matters=_water_matters(product, count, seed) if not problems else None,
        notes=inside.notes,
        draws=count,
        seed=seed,
    )


WARM_CELSIUS, WARM_MARGIN_K, OVER_IN_NEARLY_ALL = 25.0, 15.0, 0.95
"""What needs over 40 C to dissolve in nearly every version can't be a clear jug."""
TOLD_IN = 0.5
NAMED_FROM = 0.1


def _named(cold: JugCold, rows: NDArray[np.bool_]) -> list[str]:
    """What comes out in some of the draws, the most frequent first."""
    counts = np.bincount(cold.name[rows & (cold.name >= 0)], minlength=len(cold.names))
    least = NAMED_FROM * max(int(rows.sum()), 1)
    return [cold.names[k] for k in np.argsort(-counts) if counts[k] > least]


def _cold(cold: JugCold, coldest_celsius: float) -> Cold:
    """Sum of the draws: what was told in half of them or more."""
    told = ~np.isnan(cold.t_celsius)
    salts = np.isfinite(cold.t_celsius)
    below = ice = clear = why = None
    if chance(salts) >= TOLD_IN:
        below = range_of(np.where(salts, cold.t_celsius, np.nan))
    iced = np.isfinite(cold.ice_celsius) & ~salts
    if chance(iced) >= TOLD_IN:
        ice = range_of(np.where(iced, cold.ice_celsius, np.nan))
    if chance(told) >= TOLD_IN:
        clear = chance(told & (cold.t_celsius < coldest_celsius), told)
    if below is None and ice is None:
        reasons = np.bincount(cold.reason[cold.reason >= 0], minlength=len(cold.reasons))
        why = cold.reasons[int(reasons.argmax())] if reasons.any() else "its draws disagree"
    return Cold(below, ice, tuple(_named(cold, salts)), clear, why)


def _misfits(product: Product) -> list[Finding]:
    """What the sources can't reach, and the misreading that would explain it."""
    found = misfits(product, label_lines(product))
    if not found:
        return []
    out = [Finding("misfit", (p.key,), words=p.wrong) for p in found]
    known = catalogue().guarantees
    for line, other in READ_AS:
        if line not in product.guarantee:
            continue
        factor = known[line].grams_per_mole / known[other].grams_per_mole
        scaled = dict(product.guarantee) | {line: product.guarantee[line] * factor}
        again = replace(product, guarantee=scaled)
        if not misfits(again, label_lines(again)):
            out.append(Finding("printed_as", (line, other), (product.guarantee[line],)))
    return out


def _nitrogen(product: Product) -> list[Finding]:
    """Nitrogen forms against the total."""
    forms = {k: product.guarantee[k] for k in NITROGEN_FORMS if k in product.guarantee}
    total = product.guarantee.get("total nitrogen")
    if total is None or not forms:
        return []
    allowed = max(0.15, 0.05 * total)
    gap = total - sum(forms.values())
    if abs(gap) <= allowed:
        return []
    return [Finding("nitrogen_forms", tuple(forms), (sum(forms.values()), total))]


def _too_heavy(product: Product, inside: Contents) -> list[Finding]:
    """Whether the printed density can belong to so much dissolved matter."""
    if product.dry or product.density is None:
        return []
    water = median(inside.water_kg_per_kg)
    least, most = (1.0 / (water / 0.998 + (1.0 - water) * v) for v in reversed(SPECIFIC_VOLUME))
    low, high = product.density
    dissolved_percent = 100.0 * (1.0 - water)
    if high < least * 0.97:
        return [Finding("too_light", figures=(high, dissolved_percent, least))]
    if low > most * 1.03:
        return [Finding("too_heavy", figures=(low, dissolved_percent, most))]
    return []


def _ph(inside: Contents) -> Range | None:
    """pH of one part in ten of pure water."""
    if not inside.components:
        return None
    system = build_system(inside.components)
    order = [inside.components.index(c) for c in system.components]
    per_kgw = inside.mol_per_kg[:, order] * (0.1 / (0.1 * inside.water_kg_per_kg + 0.9))[:, None]
    state = solve(system, per_kgw, Conditions.nominal(system))
    return range_of(state.ph) if state.converged.any() else None


def _conductivity(inside: Contents) -> Range | None:
    """mS/cm of one part in a hundred of pure water at 25 degC; None where half isn't told."""
    if not inside.components:
        return None
    system = build_system(inside.components, held=tuple(inside.held))
    thin = 0.01 / (0.01 * inside.water_kg_per_kg + 0.99)
    totals = dict(zip(inside.components, (inside.mol_per_kg * thin[:, None]).T, strict=True))
    for (metal, agent), made in inside.held.items():
        bound = np.minimum(made * thin, np.minimum(totals[metal], totals[agent]))
        totals[held_key(metal, agent)] = bound
        totals[metal], totals[agent] = totals[metal] - bound, totals[agent] - bound
    rows = np.stack([totals[c] for c in system.components], axis=1)
    figure = conductivity_mS_per_cm(solve(system, rows, Conditions.nominal(system)))
    told = np.isfinite(figure)
    return range_of(figure) if chance(told) >= TOLD_IN else None


def _left_open(product: Product, inside: Contents) -> list[Finding]:
    """What the label doesn't say."""
    table = doubts()
    out = []
    columns = [n.removeprefix(f"product:{product.key}:") for n in inside.doubts]
    if product.ph is None:
        out.append(Finding("no_ph"))
    if product.density is None and not product.dry:
        out.append(Finding("no_density"))
    for name, options in inside.words.items():
        likely = sorted(options.items(), key=lambda o: -o[1])[:4]
        likely = [(words, p) for words, p in likely if p >= LEAST_CHANCE]
        if len(options) > 1:
            words, chances = zip(*likely, strict=True) if likely else ((), ())
            out.append(Finding("which", (name, *words), chances))
    out += [Finding("half_read", (name,)) for name in product.half_read]
    split = tuple(c.removeprefix("source:") for c in columns if c.startswith("source:"))
    if split:
        out.append(Finding("split", split))
    out += [
        Finding(key, words=table[key].reason) for key, column in SHARES.items() if column in columns
    ]
    agents = [c.removeprefix("agent of ") for c in columns if c.startswith("agent of ")]
    return out + [Finding("agent", (metal,)) for metal in agents]


def _doubts(inside: Contents) -> tuple[DoubtShare, ...]:
    """Doubts by the largest share that they carry of any component's spread; of_ph: of the pH's."""
    spread = {c: inside.of(c) for c in inside.components}
    spread = {c: v for c, v in spread.items() if v.std() > 0.02 * max(float(v.mean()), 1e-9)}
    found = []
    for name, column in inside.doubts.items():
        shares = [first_order(v, column) for v in spread.values()]
        share = max(shares, default=0.0)
        if share > 0.2:
            found.append(DoubtShare(name, share, 0.0, 0.0, settle_by(name)))
    return tuple(sorted(found, key=lambda d: -d.share)[:8])


def _carried(product: Product, density: float, price_per_kg: float | None) -> list[Carried]:
    """N, P2O5 and K2O per volume (per kg for a dry product) and their price."""
    lines = dict(product.guarantee)
    forms = sum(lines.get(k, 0.0) for k in NITROGEN_FORMS)
    amounts = {
        "N": lines.get("total nitrogen", forms),
        "P2O5": lines.get("available phosphate", 0.0),
        "K2O": lines.get("soluble potash", 0.0),
    }
    return [
        Carried(
            nutrient,
            density * percent / 100.0,
            None if price_per_kg is None else price_per_kg / (percent / 100.0),
        )
        for nutrient, percent in amounts.items()
        if percent > 0.0
    ]


def _water_matters(product: Product, count: int, seed: int) -> tuple[str, str] | None:
    """The figure of an unknown water that moves this product's most pressing solid most."""
    if not product.has_composition:
        return None
    rate = product.usual_rate
    if rate is None or rate.kind == "mass":
        rate = millilitres_per_litre(USUAL_SHARE_ML_PER_L)
    if product.dry:
        return None
    mix = Mix(
        name=product.name,
        file=product.file,
        water=UNKNOWN_WATER,
        carrier_L_per_m2=0.0815,
        fill="to mark",
        tank_L=None,
        t_celsius=20.0,
        coldest_celsius=None,
        additions=(Addition(product, rate),),
        adjuvant=None,
    )
    ready = Study(count, seed).stand(mix)
    tank = ready.at(0.0)
    solids = tank.phases.solids
    counted = [
        m
        for m, s in enumerate(solids)
        if s.decides and s.kinetics != "dormant" and np.isfinite(tank.si[:, m]).any()
    ]
    if not counted:
        return None
    pressing = max(counted, key=lambda m: median(tank.si[:, m]) / tank.phases.ions[m])
    shares = {
        figure: first_order(tank.si[:, pressing], ready.water.doubts[f"water:{figure}"])
        for figure in WATER_FIGURES
        if f"water:{figure}" in ready.water.doubts
    }
    best = max(shares, key=lambda f: shares[f], default="")
    if not best or shares[best] < LEAST_SHARE:
        return None
    return best, solids[pressing].name
