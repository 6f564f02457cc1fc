"""What changes as the tank stands: iron takes up air, strong chelates begin to exchange."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chem.doubts import Draws
from chem.equilibrium import Conditions, Equilibrium, System, build_system, held_key, solve
from chem.equilibrium.activity import Floats
from chem.reference import tables
from chem.tank import Finished

EXCHANGE_BY_S = 86400.0
"""Exchange of a strong ferric chelate counts from here on (common practice, no source)."""
IRON_PER_OXYGEN = 4.0
MINUTE_S, HOUR_S = 60.0, 3600.0
TRACE_MOL_PER_KG = 1e-6


@dataclass(frozen=True)
class Aging:
    """A finished solution that changes with time.

    system: its components and held chelates; oxidation: (N,) first-order rate of Fe(II) [1/s];
    supply: (N,) oxygen that the stirred tank takes up, as Fe [mol/kg water/s]; near: the fresh
    solution by the tables' own constants, to start from.
    """

    system: System
    finished: Finished
    oxidation: Floats
    supply: Floats
    dissolved: float
    exchanged: Floats
    near: Equilibrium | None = None

    @property
    def changes(self) -> bool:
        """Whether time matters at all."""
        return bool(self.finished.held) or bool((self.oxidised(EXCHANGE_BY_S) > 0.0).any())

    def oxidised(self, t_s: float) -> Floats:
        """(N,) Fe(II) turned Fe(III) by t [mol/kg water], capped by the oxygen there is."""
        components = self.finished.components
        if "Fe2" not in components:
            return np.zeros(len(self.oxidation))
        iron = self.finished.totals[:, components.index("Fe2")]
        oxygen = self.dissolved + self.supply * t_s
        turned = np.minimum(iron * -np.expm1(-self.oxidation * t_s), oxygen)
        return np.where(turned > TRACE_MOL_PER_KG, turned, 0.0)

    def totals(self, t_s: float) -> Floats:
        """(N, C) totals by t [mol/kg water], in the order of the system's components."""
        place = {c: i for i, c in enumerate(self.system.components)}
        out = np.zeros((len(self.oxidation), len(place)))
        for j, component in enumerate(self.finished.components):
            out[:, place[component]] = self.finished.totals[:, j]
        turned = self.oxidised(t_s)
        if turned.any():
            out[:, place["Fe2"]] -= turned
            out[:, place["Fe3"]] += turned
        still = 1.0 - self.exchanged if t_s >= EXCHANGE_BY_S else np.ones(len(out))
        for (metal, agent), amount in self.finished.held.items():
            bound = amount * still
            out[:, place[held_key(metal, agent)]] = bound
            out[:, place[metal]] = np.maximum(out[:, place[metal]] - bound, 0.0)
            out[:, place[agent]] = np.maximum(out[:, place[agent]] - bound, 0.0)
        return out


def aging(
    finished: Finished, t_celsius: float, draws: Draws, near: Equilibrium | None = None
) -> Aging:
    """How a finished solution changes, from its fresh pH.

    Oxidation: -d ln[Fe(II)]/dt = k pO2 [OH-]^2 (Stumm and Lee 1961), in air, all Fe(II) counted
    alike; the oxygen dissolved at first and what stirring brings in set the cap. near: a solution
    of like totals and the same rows, to start from.
    """
    components = [*finished.components]
    iron = "Fe2" in components and bool(
        (finished.totals[:, components.index("Fe2")] > TRACE_MOL_PER_KG).any()
    )
    if iron and "Fe3" not in components:
        components.append("Fe3")
    system = build_system(components, held=tuple(finished.held))
    value = tables().value
    zero = np.zeros(draws.count)
    exchanged = draws.of("ferric_exchange", "exchange:ferric chelates") if finished.held else zero
    near = near if near is not None and near.system is system else None
    start = Aging(system, finished, zero, zero, 0.0, exchanged, near)
    if not iron:
        return start
    fresh = solve(system, start.totals(0.0), Conditions.nominal(system, t_celsius), start=near)
    hydroxide = np.exp(np.nan_to_num(fresh.ln_activity[:, system.index["OH-"]], nan=-50.0))
    k = value("fe2_oxidation_k") * draws.factor(
        "iron:oxidation rate", np.log(10.0) * value("fe2_oxidation_k_log10_u")
    )
    rate = k * value("po2_air") * hydroxide**2 / MINUTE_S
    dissolved = value("oxygen_air_saturated") * IRON_PER_OXYGEN
    renewals = value("oxygen_renewals") * draws.factor(
        "iron:air taken up", np.log(value("oxygen_renewals_factor"))
    )
    return Aging(system, finished, rate, renewals * dissolved / HOUR_S, dissolved, exchanged, fresh)
