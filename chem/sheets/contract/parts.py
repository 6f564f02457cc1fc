"""What the JSON objects share: a number that may be unknown, a range, chances by time, rules."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Self, TypedDict

from pydantic import BaseModel, BeforeValidator, ConfigDict

from chem.doubts import Range

ALIASES = {
    "judged_at": "for",
    "what_for": "for",
    "come_from": "from",
    "of_class": "class",
    "tries": "try",
    "hint": "try",
    "at_15min": "15min",
    "at_4h": "4h",
    "at_24h": "24h",
}
"""Fields whose key in the JSON is no name in Python."""


def _key(field: str) -> str:
    return ALIASES.get(field, field)


def _known(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value


Figure = Annotated[float | None, BeforeValidator(_known)]
"""A number, or null where it is not known: JSON has no NaN and no infinity."""


class Part(BaseModel):
    """Every key is always there, and no other; docstrings stand in the schemas."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        populate_by_name=True,
        alias_generator=_key,
        defer_build=True,  # a sheet on the screen needs none
    )


class Between(Part):
    """The 5 and 95 % quantiles."""

    p05: Figure
    p95: Figure


class RangeEntry(Between):
    """Median and the 5 and 95 % quantiles over the draws."""

    median: Figure

    @classmethod
    def of(cls, spread: Range) -> Self:
        """A range of the draws."""
        return cls(median=spread.median, p05=spread.p05, p95=spread.p95)

    @classmethod
    def known(cls, spread: Range | None) -> Self | None:
        """A range of the draws, or null."""
        return None if spread is None else cls.of(spread)


class ByTime(Part):
    """A chance 0-1 by each time after the last pour."""

    at_15min: Figure
    at_4h: Figure
    at_24h: Figure

    @classmethod
    def of(cls, chances: Mapping[str, float]) -> Self:
        """From what a forecast holds."""
        return cls(at_15min=chances["15min"], at_4h=chances["4h"], at_24h=chances["24h"])


class RuleEntry(Part):
    """A rule broken or to be minded; product, other: by name, null where none is meant.

    step: of the order poured, from 1; limit: in `unit`.
    """

    code: str
    severity: str
    product: str
    other: str | None
    step: int | None
    limit: Figure
    unit: str | None
    sentence: str


class Ruling(TypedDict):
    """What `rules_json` gives, to be put into any object that is `Ruled`."""

    refused: str | None
    label_forbids: list[str]
    rules_broken: list[RuleEntry]


class Ruled(Part):
    """What is said of a mix's rules; refused: the code by which it must never be poured."""

    refused: str | None
    label_forbids: Sequence[str]
    rules_broken: Sequence[RuleEntry]


class LearnedEntry(Part):
    """What an entry of the notebook says of this mix; no entry: how far the forecast moved."""

    entry: str
    sentence: str


class OfMix(Ruled):
    """What every object of one mix holds."""

    mix: str
    draws: int
    seed: int


class GasEntry(Part):
    """A gas, fumes or heat, and why."""

    key: str
    because: str


class EvolvedEntry(GasEntry):
    """The same with its amount in `unit`, null where it can't be reckoned, and its limit."""

    amount: Figure
    unit: str
    limit: Figure


class Poured(Part):
    """Something that goes into a tank or jar, in the order poured.

    kind: water, agent, product, adjuvant or leftover.
    """

    product: str
    kind: str
    text: str


class PouredVolume(Poured):
    """Measured by volume."""

    amount_mL: Figure


class PouredMass(Poured):
    """Weighed."""

    amount_g: Figure


TankLine = PouredVolume | PouredMass
"""A line of the tank, by volume or by weight."""


def tank_line(
    product: str, amount: float | None, text: str, *, by_mass: bool, kind: str
) -> TankLine:
    """A line of the tank; amount [mL], or [g] where weighed."""
    if by_mass:
        return PouredMass(product=product, kind=kind, text=text, amount_g=amount)
    return PouredVolume(product=product, kind=kind, text=text, amount_mL=amount)


class LoadEntry(Part):
    """Tanks that are filled alike: how many, to what mark, for what area each."""

    count: int
    litres: Figure
    area_m2: Figure
    tank: Sequence[TankLine]


class ExplainEntry(Part):
    """A slip that would explain a reading, and the pH it gives."""

    cause: str
    product: str | None
    ph: Figure
    sentence: str


class ReadEntry(Part):
    """A pH read in the full tank beside the forecast."""

    ph: Figure
    expected: bool
    off: Figure
    explained_by: Sequence[ExplainEntry]


class WindowEntry(Part):
    """An adjuvant's pH window, null where it isn't told; chances that the tank suits it."""

    name: str
    window: tuple[float, float] | None
    suited: Figure
    suited_4h: Figure
    good_for_s: Figure


class LabelShare(Part):
    """A product's strength over its label's most in its least spray volume, null where unnamed."""

    product: str
    share: Figure


class SaltEntry(Part):
    """What is dissolved in the finished spray; free acid: to pH 4, null above it;
    strongest_sprayed: the most that a tank in the notebook held and was sprayed."""

    dissolved_g_per_L: RangeEntry
    kg_per_ha: Figure
    free_acid_mmol_per_L: RangeEntry | None
    of_ounce_per_gallon: Figure
    strongest_sprayed_g_per_L: Figure
    of_label: Sequence[LabelShare]


class DoubtEntry(Part):
    """A doubt, its share of the variance, and what would settle it."""

    key: str
    share: Figure
    settle_by: str
