"""`shelf` and `label`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from chem.sheets.contract.parts import ByTime, DoubtEntry, Figure, Part, RangeEntry, Ruled


class AloneEntry(Ruled):
    """A product in the tank by itself; clear_at_rate_factor: of its rates, at which it is clear.

    decided_by: `full`, or `screen` where its first draws told; null where it was not tried.
    """

    a: str
    answer: str
    chance: Figure
    probability: ByTime | None
    clogs: ByTime | None
    worst_solid: str | None
    clouds_after_s: Figure
    ph: Figure
    because: str | None
    gas_or_heat: Sequence[str]
    quarrels: bool
    clear_at_rate_factor: Figure
    hint: str
    decided_by: Literal["screen", "full"] | None


class PairEntry(AloneEntry):
    """Two products in one tank."""

    b: str


class TripleEntry(PairEntry):
    """Three products in one tank."""

    c: str


class RatioEntry(PairEntry):
    """Two products with the first one's rate changed."""

    rate_factor_of_a: float


class PassesEntry(Part):
    """Tanks that everything goes into; fewest: whether fewer are known not to do; joined_by_asked:
    places of those that stay clear with the one asked for."""

    tanks: Sequence[Sequence[str]]
    fewest: bool
    trouble_alone: Sequence[str]
    joined_by_asked: Sequence[int]


class LeftOutEntry(Part):
    """A file that was not judged, and why."""

    file: str
    why: str


class NeighbourEntry(Part):
    """A shop's label beside all of mine: fits: with how many it gets along; odds: chance that it
    stays clear with one of them, on the average; cost_per_kg: of the nutrient wanted."""

    product: str
    file: str
    fits: int
    odds: Figure
    keep_apart_from: Sequence[str]
    never_with: Sequence[str]
    cannot_tell_with: Sequence[str]
    no_worse_than_alone_with: Sequence[str]
    cost_per_kg: Figure
    currency: str


class InPlaceEntry(Part):
    """The product asked for in place of one owned, at as much of a nutrient per area; costs are
    money in the prices' currency; in_mixes: own mixes that hold the one owned, of which replaces
    stay fine with the other in its place, and breaks no more."""

    product: str
    file: str
    nutrient: str | None
    kg_per_ha: float
    rate: str | None
    own_rate: str
    beyond_label: Literal["above", "below"] | None
    cost_per_ha: Figure
    own_cost_per_ha: Figure
    cost_per_acre: Figure
    own_cost_per_acre: Figure
    currency: str
    own_currency: str
    in_mixes: Sequence[str]
    replaces: Sequence[str]
    breaks: Sequence[str]


class Shelf(Part):
    """Who gets along with whom; groups, tanks: names; quarrels: how many each product has.

    lower_rate: pairs at the other end of the range on the label of the one asked for, where that
    changes what is said; in_place: it in place of each one owned.
    mine: products tried against a shop's, none otherwise; neighbours: the shop's, best first;
    wanting: the guarantee asked of these.
    """

    asked: str | None
    judged_at: str
    mine: Sequence[str]
    wanting: str | None
    neighbours: Sequence[NeighbourEntry]
    pairs: Sequence[PairEntry]
    triples: Sequence[TripleEntry]
    ratios: Sequence[RatioEntry]
    alone: Sequence[AloneEntry]
    quarrels: dict[str, int]
    groups: Sequence[Sequence[str]]
    passes: PassesEntry | None
    lower_rate: Sequence[RatioEntry]
    in_place: Sequence[InPlaceEntry]
    ask_the_seller: Sequence[str]
    left_out: Sequence[LeftOutEntry]
    water: str
    carrier_L_per_ha: float
    temperature_celsius: float
    notes: Sequence[str]
    cautions: Sequence[str]
    draws: int
    seed: int
    seconds: float
    solves: int
    versions: dict[str, str]


class CarriedEntry(Part):
    """A nutrient that a jug carries; price: in the label's currency."""

    nutrient: str
    kg_per_L: Figure
    lb_per_gal: Figure
    price_per_kg: Figure


class SaltOutEntry(Part):
    """A salt that comes out of the jug in the cold, and below which temperature."""

    key: str
    t_celsius: RangeEntry | None


class UnreadEntry(Part):
    """A line of the label that gave nothing, and what it would have spoken of."""

    line: int
    text: str
    kind: Literal["composition", "rule", "rate", "reading", "other"]


class Label(Part):
    """What a label holds in ions, and whether it adds up."""

    product: str
    density_kg_per_L: Figure
    makeup_mol_per_kg: dict[str, RangeEntry]
    sources_percent: dict[str, RangeEntry]
    ph: RangeEntry | None
    conductivity_1_in_100_mS_per_cm: RangeEntry | None
    adds_up: bool
    problems: Sequence[str]
    unread: Sequence[UnreadEntry]
    doubts: Sequence[DoubtEntry]
    open: Sequence[str]
    ask_the_seller: Sequence[str]
    carries: Sequence[CarriedEntry]
    salts_out_below_C: RangeEntry | None
    freezes_below_C: RangeEntry | None
    salts_out: Sequence[SaltOutEntry]
    cannot_judge: str | None
    coldest_celsius: float
    clear_at_coldest: Figure
    water_matters: str | None
    in_place: Sequence[InPlaceEntry]
    notes: Sequence[str]
    draws: int
    seed: int
