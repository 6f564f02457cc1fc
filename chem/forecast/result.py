"""What a forecast says, frozen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from chem.forecast.evolved import Evolved
from chem.tank import Mix

TIMES_S = {"15min": 900.0, "4h": 14400.0, "24h": 86400.0}


def known_time(judged_at: str) -> str:
    """The time itself. Raises: ValueError where it is none of `TIMES_S`."""
    if judged_at not in TIMES_S:
        raise ValueError(f"judged_at is one of {', '.join(TIMES_S)}, not {judged_at!r}")
    return judged_at


@dataclass(frozen=True)
class Range:
    """Median with the 5 and 95 % quantiles over the draws."""

    median: float
    p05: float
    p95: float

    def as_dict(self) -> dict[str, float]:
        """For JSON."""
        return {"median": self.median, "p05": self.p05, "p95": self.p95}


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
    """A colloid that may gel or flocculate: its chance in a day, why, and after how long [s]."""

    key: str
    risk: float
    because: str
    after_s: float


@dataclass(frozen=True)
class TankLine:
    """One product of the tank table: [mL] or [g] of it, in pouring order."""

    product: str
    amount: float
    by_mass: bool


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
class Forecast:
    """The forecast of one mix.

    probability, clogs: chance by time that solids show / block a 50-mesh screen;
    chance: the one behind `answer` at `judged_at`; because: why it can't be told, if so.
    """

    mix: Mix
    answer: str
    chance: float
    judged_at: str
    because: str | None
    probability: Mapping[str, float]
    clogs: Mapping[str, float]
    ph: Range
    ph_aired: float | None
    ph_settled: float
    ionic_strength_mol_per_kg: float
    density_kg_per_L: float
    coverage: float
    totals_mol_per_L: Mapping[str, float]
    solids: tuple[SolidForecast, ...]
    colloids: tuple[ColloidForecast, ...]
    gases: tuple[Evolved, ...]
    not_judged: tuple[str, ...]
    tank: tuple[TankLine, ...]
    delivered_kg_per_ha: Mapping[str, float]
    suited: float | None
    label_forbids: tuple[str, ...]
    doubts: tuple[DoubtShare, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    draws: int
    seed: int
    failed_rows: int
    versions: Mapping[str, str]

    def as_json(self, tank_texts: list[str]) -> dict[str, Any]:
        """The JSON object of the contract; `tank_texts` are the sheet's words for each amount."""
        window = None
        if self.mix.adjuvant is not None:
            window = {
                "suited": self.suited,
                "window": [self.mix.adjuvant.ph_low, self.mix.adjuvant.ph_high],
            }
        return {
            "mix": self.mix.name,
            "answer": self.answer,
            "chance": self.chance,
            "for": self.judged_at,
            "because": self.because,
            "probability": dict(self.probability),
            "clogs": dict(self.clogs),
            "ph": self.ph.as_dict(),
            "ph_aired": self.ph_aired,
            "ph_settled": self.ph_settled,
            "ionic_strength_mol_per_kg": self.ionic_strength_mol_per_kg,
            "density_kg_per_L": self.density_kg_per_L,
            "coverage": self.coverage,
            "totals_mol_per_L": dict(self.totals_mol_per_L),
            "solids": [
                {
                    "key": s.key,
                    "formula": s.formula,
                    "class": s.kinetics,
                    "decides": s.decides,
                    "si": s.si.as_dict(),
                    "probability": dict(s.probability),
                    "clouds_after_s": s.clouds_after_s.as_dict() if s.clouds_after_s else None,
                    "amount_g_per_L": s.amount_g_per_L,
                }
                for s in self.solids
            ],
            "colloids": [
                {"key": c.key, "risk": c.risk, "because": c.because, "after_s": c.after_s}
                for c in self.colloids
            ],
            "gases": [
                {
                    "key": g.key,
                    "because": g.because,
                    "amount": g.amount,
                    "unit": g.unit,
                    "limit": g.limit,
                }
                for g in self.gases
            ],
            "not_judged": list(self.not_judged),
            "tank": [
                {
                    "product": line.product,
                    ("amount_g" if line.by_mass else "amount_mL"): line.amount,
                    "text": text,
                }
                for line, text in zip(self.tank, tank_texts, strict=True)
            ],
            "delivered_kg_per_ha": dict(self.delivered_kg_per_ha),
            "adjuvant": window,
            "label_forbids": list(self.label_forbids),
            "doubts": [
                {
                    "key": d.key,
                    "share": d.share,
                    "share_of_ph": d.of_ph,
                    "share_of_odds": d.of_odds,
                    "settle_by": d.settle_by,
                }
                for d in self.doubts
            ],
            "cautions": list(self.cautions),
            "notes": list(self.notes),
            "draws": self.draws,
            "seed": self.seed,
            "failed_rows": self.failed_rows,
            "versions": dict(self.versions),
        }
