"""What a forecast says, frozen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from chem.doubts import Range
from chem.forecast.answer import Answer
from chem.forecast.off_gas import Evolved
from chem.forecast.rules import Rule
from chem.forecast.salt_and_leaf import Salt
from chem.tank import Load, Mix, Window


@dataclass(frozen=True)
class SolidForecast:
    """One solid: SI, chance of showing by each time, clouding time [s], settled amount [g/L]."""

    key: str
    name: str
    formula: str
    kinetics: str
    decides: bool
    si: Range
    probability: Mapping[str, float]
    clouds_after_s: Range | None
    amount_g_per_L: float


@dataclass(frozen=True)
class ColloidForecast:
    """A colloid that may gel or flocculate: its chance in a day, and after how long [s]."""

    key: str
    risk: float
    after_s: float


@dataclass(frozen=True)
class DoubtShare:
    """A doubt, its first-order shares, and what would settle it.

    share: of the variance of the most pressing SI (of pH where no solid presses); of_ph; of_odds.
    """

    key: str
    share: float
    of_ph: float
    of_odds: float
    settle_by: str


@dataclass(frozen=True)
class WindowForecast:
    """Chance that the tank suits an adjuvant at filling and by 4 h; NaN: no window told."""

    window: Window
    at_filling: float
    at_4h: float


@dataclass(frozen=True)
class AloneForecast:
    """A product of the mix by itself in the same water, where that is trouble too.

    product: its place; answer: `haze` or `curdle`, with its chance.
    """

    product: int
    answer: str
    chance: float


@dataclass(frozen=True)
class Forecast:
    """The forecast of one mix.

    probability, clogs: chance by time that solids show / block a 50-mesh screen; course: (time
    [s], both chances) over the day;
    chance: the one behind `answer` at `judged_at`; because: why it can't be told, if so; rules:
    that it breaks or that are to be minded; refused: the code of the rule by which it must never
    be poured, if any; spray_within_minutes: until solids show, None within one or where a rule is
    broken; alone: of a mix that hazes or curdles, the products that do so by themselves; loads: the
    tanks to fill, everything poured in each, the full ones first.
    """

    mix: Mix
    answer: str
    chance: float
    judged_at: str
    because: Answer | None
    probability: Mapping[str, float]
    clogs: Mapping[str, float]
    course: tuple[tuple[float, float, float], ...]
    ph: Range
    ph_aired: float | None
    ph_settled: float
    ionic_strength_mol_per_kg: float
    conductivity_mS_per_cm: Range | None
    salt: Salt
    density_kg_per_L: float
    coverage: float
    totals_mol_per_L: Mapping[str, float]
    solids: tuple[SolidForecast, ...]
    colloids: tuple[ColloidForecast, ...]
    gases: tuple[Evolved, ...]
    not_judged: tuple[str, ...]
    loads: tuple[Load, ...]
    delivered_kg_per_ha: Mapping[str, float]
    suited: float | None
    windows: tuple[WindowForecast, ...]
    rules: tuple[Rule, ...]
    refused: str | None
    spray_within_minutes: float | None
    alone: tuple[AloneForecast, ...]
    doubts: tuple[DoubtShare, ...]
    notes: tuple[str, ...]
    draws: int
    seed: int
    failed_rows: int
    versions: Mapping[str, str]

    def __repr__(self) -> str:
        odds = f"chance {self.chance:.2f} at {self.judged_at}"
        return f"<Forecast of {self.mix.name!r}: {self.answer}, {odds}>"
