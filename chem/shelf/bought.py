"""A product in place of each one owned: as much of a nutrient, what that costs, and the mixes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from chem.equilibrium import one_thread
from chem.errors import InputProblem, Problem, ToxicGas
from chem.forecast import THRESHOLD, Study, broken, known_time
from chem.label import Product, resolve_guarantee
from chem.shelf.stock import Item, Setting
from chem.tank import (
    Addition,
    Mix,
    delivered_kg_per_ha,
    room_taken,
    unfit_rate,
    with_swap,
)
from chem.units import Rate


@dataclass(frozen=True)
class Swapped:
    """A mix with the product in place of one owned: `fine` before and after.

    Fine: no solids by the time judged, no rule broken and room for water.
    """

    mix: Mix
    before: bool
    after: bool


@dataclass(frozen=True)
class InPlace:
    """The product asked for in place of one owned.

    name, file: of the one owned; nutrient: by symbol, what is brought as much of, None where they
    have none in common; kg_per_ha: of it; rate: of the one asked for that brings it, own_rate: of
    the one owned; beyond: `above` or `below` the rates on its label, else empty; cost, own_cost:
    money per ha at these, None where a price, or the density that it takes, is not told;
    own_currency: of the latter; unweighed: products whose density is not told, taken as water's;
    mixes: each that holds the one owned, tried with the other in its place.
    """

    name: str
    file: str
    nutrient: str | None
    kg_per_ha: float
    rate: Rate | None
    own_rate: Rate
    beyond: Literal["", "above", "below"]
    cost: float | None
    own_cost: float | None
    own_currency: str
    unweighed: tuple[str, ...]
    mixes: tuple[Swapped, ...]

    @property
    def replaces(self) -> int:
        """In how many mixes it stands in for the one owned, and they are fine."""
        return sum(s.after for s in self.mixes)

    @property
    def breaks(self) -> tuple[str, ...]:
        """Mixes that were fine and are no more."""
        return tuple(s.mix.name for s in self.mixes if s.before and not s.after)


@dataclass(frozen=True)
class Buying:
    """What a product would be to what is owned.

    asked: at the rate tried; in_place: of each owned, in the order of the shelf; mixes: how many
    own mixes there are; currency: as the prices have it.
    """

    asked: Item
    in_place: tuple[InPlace, ...]
    mixes: int
    judged_at: str
    currency: str


@one_thread()
def buying(
    asked: Item,
    owned: Sequence[Item],
    setting: Setting,
    mixes: Sequence[Mix] = (),
    *,
    wanting: str = "",
    judged_at: str = "4h",
    study: Study | None = None,
) -> Buying:
    """What a product would be to each one owned, at as much of a nutrient per area.

    wanting: the nutrient, else the one that both are bought for; mixes: the user's own.

    Raises: InputProblem for a nutrient that no label line is called.
    """
    known_time(judged_at)
    study = Study(setting.draws, setting.seed) if study is None else study
    wanted = _symbol(wanting) if wanting else None
    trials: list[tuple[int, Mix, Mix]] = []
    found: list[InPlace] = []
    for item in owned:
        place = len(found)
        own = _brings(item.product, item.rate, setting)
        nutrient = _shared(asked, own, setting, wanted)
        rate = _as_much(asked, nutrient, own, setting)
        found.append(
            InPlace(
                item.name,
                item.product.file,
                nutrient,
                own.get(nutrient or "", 0.0),
                rate,
                item.rate,
                "" if rate is None else _beyond(asked.product, rate, setting),
                None if rate is None else _cost(asked.product, rate, setting),
                _cost(item.product, item.rate, setting),
                _currency(item.product),
                tuple(i.name for i in (asked, item) if _unweighed(i)),
                (),
            )
        )
        if nutrient is not None:
            trials += [
                (place, mix, swap)
                for mix in mixes
                for swap in _swaps(asked, item, mix, nutrient, setting)
            ]
    verdicts = _fine(study, [m for _, *both in trials for m in both], judged_at)
    for (place, mix, _), before, after in zip(trials, verdicts[::2], verdicts[1::2], strict=True):
        one = found[place]
        found[place] = replace(one, mixes=(*one.mixes, Swapped(mix, before, after)))
    return Buying(asked, tuple(found), len(mixes), judged_at, _currency(asked.product))


def _currency(product: Product) -> str:
    return "" if product.price is None else product.price.currency


def _symbol(nutrient: str) -> str:
    """A nutrient by the symbol it is put down as. Raises: InputProblem."""
    line = resolve_guarantee(nutrient)
    if line is None:
        where = f"command line, --wanting {nutrient}"
        raise InputProblem(Problem(where, "no line of a label is called so", "iron, N or K2O"))
    return "N" if "nitrogen" in line.key else line.expressed_as


def _brings(product: Product, rate: Rate, setting: Setting) -> Mapping[str, float]:
    """What one product puts down, by symbol [kg/ha]."""
    alone = setting.mix(Addition(product, rate))
    return {k: v for k, v in delivered_kg_per_ha(alone).items() if v > 0.0}


def _shared(
    asked: Item, own: Mapping[str, float], setting: Setting, wanted: str | None
) -> str | None:
    """The nutrient that both are bought for: the largest part of the lesser, or the one wanted."""
    new = _brings(asked.product, asked.rate, setting)
    both = [k for k in new if k in own and (wanted is None or k == wanted)]

    def part(symbol: str) -> float:
        return min(new[symbol] / sum(new.values()), own[symbol] / sum(own.values()))

    return max(both, key=part, default=None)


def _as_much(
    asked: Item, nutrient: str | None, own: Mapping[str, float], setting: Setting
) -> Rate | None:
    """The rate per area of the product asked for that brings as much."""
    if nutrient is None:
        return None
    per_m2 = _per_m2(asked.product, asked.rate, setting)
    brings = _brings(asked.product, asked.rate, setting)[nutrient]
    return Rate(asked.rate.kind, "area", per_m2 * own[nutrient] / brings)


def _per_m2(product: Product, rate: Rate, setting: Setting) -> float:
    """[mL/m2] or [g/m2]."""
    carrier = setting.carrier_L_per_m2
    return Addition(product, rate).amount_per_L(carrier) * carrier


def _beyond(product: Product, rate: Rate, setting: Setting) -> Literal["", "above", "below"]:
    """Where a rate lies beside those of the label; within half a percent counts as within."""
    if product.rate_range is None or product.rate_range[0].kind != rate.kind:
        return ""
    low, high = (_per_m2(product, end, setting) for end in product.rate_range)
    return "above" if rate.value > 1.005 * high else "below" if rate.value < 0.995 * low else ""


def _cost(product: Product, rate: Rate, setting: Setting) -> float | None:
    """Money per ha."""
    if product.price is None:
        return None
    per_ha = 10.0 * _per_m2(product, rate, setting)
    sold_by_mass = product.price.per == "kg"
    by_mass = rate.kind == "mass" or rate.per == "mass-fraction"
    if by_mass != sold_by_mass:
        if product.density is None:
            return None
        kg_per_L = 0.5 * sum(product.density)
        per_ha = per_ha * kg_per_L if sold_by_mass else per_ha / kg_per_L
    return per_ha * product.price.amount


def _unweighed(item: Item) -> bool:
    """Whether what a volume of it weighs is not told: it is taken to weigh as water does."""
    return item.product.density is None and item.rate.kind == "volume"


def _swaps(asked: Item, item: Item, mix: Mix, nutrient: str, setting: Setting) -> list[Mix]:
    """The mix with the product in place of the one owned, where it holds it, at as much of it."""
    out = []
    for place, one in enumerate(mix.additions):
        if one.product.identity != item.product.identity:
            continue
        here = replace(setting, carrier_L_per_m2=mix.carrier_L_per_m2)
        rate = _as_much(asked, nutrient, _brings(one.product, one.rate, here), here)
        if rate is not None and unfit_rate(asked.product, rate, asked.product.file) is None:
            out.append(with_swap(mix, place, asked.product, rate))
    return out[:1]


def _fine(study: Study, mixes: Sequence[Mix], judged_at: str) -> list[bool]:
    """Of each mix, whether nothing speaks against it; one mix is looked at once."""
    known: dict[int, bool] = {}
    apart = {id(mix): mix for mix in mixes}
    todo = []
    for key, mix in apart.items():
        try:
            study.rules(mix)
            known[key] = False
            if room_taken(mix.additions, mix.carrier_L_per_m2) < 1.0:
                todo.append(key)
        except (ToxicGas, InputProblem):
            known[key] = False
    for key, found in zip(todo, study.follow([apart[k] for k in todo]), strict=True):
        against = broken(study.rules(apart[key], found))
        known[key] = not against and found.cloudy(judged_at) < THRESHOLD
    return [known[id(mix)] for mix in mixes]
