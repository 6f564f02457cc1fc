"""At what temperature a strong liquid begins to crystallise: `liquidus.csv`, as measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from chem.reference.files import read_csv

Floats = NDArray[np.float64]
ICE = "ice"


@dataclass(frozen=True)
class Line:
    """Where one solid stands beside its liquid.

    t_celsius: (P,) rising; w_percent: (P,) dissolved, percent by mass without the water of
    crystals; u_K: one standard uncertainty [K]; falls: whether warmth drives it out instead.
    """

    solid: str
    t_celsius: Floats
    w_percent: Floats
    u_K: float

    @property
    def falls(self) -> bool:
        """Whether it dissolves less in warmth."""
        return bool(self.w_percent[-1] < self.w_percent[0])

    def saturated_percent(self, t_celsius: Floats) -> Floats:
        """(T,) percent dissolved, infinite outside the line."""
        inside = (t_celsius >= self.t_celsius[0]) & (t_celsius <= self.t_celsius[-1])
        w = np.interp(t_celsius, self.t_celsius, self.w_percent)
        return np.where(inside, w, np.inf)


@dataclass(frozen=True)
class Liquidus:
    """The lines of one system.

    salts: source keys (none for the ammonium polyphosphates); lines: of salts; ice: its line or
    None; limits: quantity -> (low, high) within which the system holds; ends_in_ice: whether the
    coldest salt point is where ice comes too, so that weaker liquids freeze first.
    """

    key: str
    salts: tuple[str, ...]
    lines: tuple[Line, ...]
    ice: Line | None
    limits: Mapping[str, tuple[float, float]]

    @property
    def coldest(self) -> float:
        """Lowest temperature of a salt line [degC]."""
        return float(min(line.t_celsius[0] for line in self.lines))

    @property
    def warmest(self) -> float:
        """Highest temperature of a salt line [degC]."""
        return float(max(line.t_celsius[-1] for line in self.lines))

    @property
    def ends_in_ice(self) -> bool:
        """Whether the coldest salt point is a point of the ice line."""
        if self.ice is None:
            return False
        cold = min(self.lines, key=lambda line: float(line.t_celsius[0]))
        at = np.abs(self.ice.t_celsius - cold.t_celsius[0]) < 0.05
        return bool(at.any())

    def saturated_percent(self, t_celsius: Floats) -> Floats:
        """(T,) percent that the liquid holds: of the stable solid, infinite without one."""
        rising = [line for line in self.lines if not line.falls]
        return np.asarray(np.min([line.saturated_percent(t_celsius) for line in rising], axis=0))


@cache
def liquiduses() -> Mapping[str, Liquidus]:
    """Read `liquidus.csv` and `liquidus_systems.csv` once."""
    points: dict[str, dict[str, list[tuple[float, float, float]]]] = {}
    for r in read_csv("liquidus.csv"):
        point = float(r["t_celsius"]), float(r["w_percent"]), float(r["u_K"])
        points.setdefault(r["system"], {}).setdefault(r["solid"], []).append(point)
    limits: dict[str, dict[str, tuple[float, float]]] = {}
    for r in read_csv("liquidus_systems.csv"):
        limits.setdefault(r["system"], {})[r["quantity"]] = float(r["low"]), float(r["high"])
    out = {}
    for key, solids in points.items():
        lines = {}
        for solid, found in solids.items():
            found.sort()
            t, w, u = (np.array(column) for column in zip(*found, strict=True))
            lines[solid] = Line(solid, t, w, float(u.max()))
        ice = lines.pop(ICE, None)
        if not lines:
            continue
        whole = "+" not in key and key in limits
        out[key] = Liquidus(
            key,
            () if whole else tuple(key.split(" + ")),
            tuple(lines.values()),
            ice,
            MappingProxyType(limits.get(key, {})),
        )
    return MappingProxyType(out)
