"""What changes as the tank stands: iron takes up air, held metals come loose."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache

import numpy as np

from chem.doubts import Draws
from chem.equilibrium import Conditions, Equilibrium, System, build_system, held_key, solve
from chem.equilibrium.activity import Floats
from chem.reference import read_csv, tables
from chem.reference.holding import holdings
from chem.tank import Finished

DAY_S = 86400.0
IRON_PER_OXYGEN = 4.0
MINUTE_S, HOUR_S = 60.0, 3600.0
TRACE_MOL_PER_KG = 1e-6
Pair = tuple[str, str]


@dataclass(frozen=True)
class Hold:
    """A metal and the agent that holds it, per draw.

    made: (N,) held by what a product was made as [mol/kg water]; none_below, all_above: (N,) moles
    of agent per metal between which the tank itself holds the rest, NaN where it does not;
    gone_day, gone_month: (N,) share given up by one and by thirty days.
    """

    made: Floats
    none_below: Floats
    all_above: Floats
    gone_day: Floats
    gone_month: Floats

    def kept(self, t_s: float) -> Floats:
        """(N,) share still held by t [s]: all within a day, then straight in ln t."""
        if t_s < DAY_S:
            return np.ones(len(self.made))
        way = min(np.log(t_s / DAY_S) / np.log(30.0), 1.0)
        return np.asarray(1.0 - self.gone_day - way * (self.gone_month - self.gone_day))


@dataclass(frozen=True)
class Aging:
    """A finished solution that changes with time.

    system: its components and held complexes; oxidation: (N,) first-order rate of Fe(II) [1/s];
    supply: (N,) oxygen that the stirred tank takes up, as Fe [mol/kg water/s]; dissolved: oxygen
    there at first, as Fe [mol/kg water]; holds: by (metal, agent); near: the fresh solution by the
    tables' own constants, to start from.
    """

    system: System
    finished: Finished
    oxidation: Floats
    supply: Floats
    dissolved: float
    holds: Mapping[Pair, Hold] = field(default_factory=dict)
    near: Equilibrium | None = None
    _kept: dict[float, Floats] = field(default_factory=dict, init=False, repr=False)

    @property
    def changes(self) -> bool:
        """Whether time matters at all."""
        return bool(self.holds) or bool((self.oxidised(DAY_S) > 0.0).any())

    def oxidised(self, t_s: float) -> Floats:
        """(N,) Fe(II) turned Fe(III) by t [mol/kg water], capped by the oxygen there is."""
        components = self.finished.components
        if "Fe2" not in components:
            return np.zeros(len(self.oxidation))
        iron = self.finished.totals[:, components.index("Fe2")]
        oxygen = self.dissolved + self.supply * t_s
        turned = np.minimum(iron * -np.expm1(-self.oxidation * t_s), oxygen)
        return np.where(turned > TRACE_MOL_PER_KG, turned, 0.0)

    def totals(self, t_s: float, driven: Floats | None = None) -> Floats:
        """(N, C) totals by t [mol/kg water], in the order of the system's components.

        driven: (N,) carbon dioxide that stirring has driven out by then. Not to be written to.
        """
        if t_s not in self._kept:
            self._kept[t_s] = self._undriven(t_s)
            self._kept[t_s].setflags(write=False)
        out = self._kept[t_s]
        if driven is not None:
            carbon = self.system.components.index("CO3")
            out = out.copy()
            out[:, carbon] = np.maximum(out[:, carbon] - driven, 0.0)
        return out

    def _undriven(self, t_s: float) -> Floats:
        """(N, C) totals with all carbon dioxide in them."""
        place = {c: i for i, c in enumerate(self.system.components)}
        out = np.zeros((len(self.oxidation), len(place)))
        for j, component in enumerate(self.finished.components):
            out[:, place[component]] = self.finished.totals[:, j]
        turned = self.oxidised(t_s)
        if turned.any():
            out[:, place["Fe2"]] -= turned
            out[:, place["Fe3"]] += turned
        for made in (True, False):
            for (metal, agent), hold in self.holds.items():
                free, ligand = out[:, place[metal]], out[:, place[agent]]
                bound = (hold.made if made else _by_ratio(hold, free, ligand)) * hold.kept(t_s)
                bound = np.minimum(bound, np.minimum(free, ligand))
                out[:, place[held_key(metal, agent)]] += bound
                out[:, place[metal]] = np.maximum(free - bound, 0.0)
                out[:, place[agent]] = np.maximum(ligand - bound, 0.0)
        return out


def _by_ratio(hold: Hold, metal: Floats, agent: Floats) -> Floats:
    """(N,) [mol/kg] that the tank holds: none to all, straight in the logarithm of the ratio."""
    ratio = np.maximum(agent, 1e-30) / np.maximum(metal, 1e-30)
    way = np.log(ratio / hold.none_below) / np.log(hold.all_above / hold.none_below)
    return np.asarray(np.nan_to_num(np.clip(way, 0.0, 1.0)) * metal)


def aging(
    finished: Finished, t_celsius: float, draws: Draws, near: Equilibrium | None = None
) -> Aging:
    """How a finished solution changes, from its fresh pH.

    Oxidation: -d ln[Fe(II)]/dt = k pO2 [OH-]^2 (Stumm and Lee 1961), in air, for all Fe(II), and
    more for what ligands hold; the oxygen dissolved at first and what stirring brings in set the
    cap. near: a solution of like totals and the same rows, to start from.
    """
    components = [*finished.components]
    iron = "Fe2" in components and bool(
        (finished.totals[:, components.index("Fe2")] > TRACE_MOL_PER_KG).any()
    )
    if iron and "Fe3" not in components:
        components.append("Fe3")
    pairs = _pairs(finished, components)
    system = build_system(components, held=pairs)
    value = tables().value
    zero = np.zeros(draws.count)
    near = near if near is not None and near.system is system else None
    start = Aging(system, finished, zero, zero, 0.0, _as_made(finished, draws.count, pairs), near)
    if not iron and not pairs:
        return start
    fresh = solve(system, start.totals(0.0), Conditions.nominal(system, t_celsius), start=near)
    holds = {pair: _held(pair, finished, fresh.ph, draws) for pair in pairs}
    start = Aging(system, finished, zero, zero, 0.0, holds, fresh)
    if not iron:
        return start
    hydroxide = np.exp(np.nan_to_num(fresh.ln_activity[:, system.index["OH-"]], nan=-50.0))
    k = value("fe2_oxidation_k") * draws.factor(
        "iron:oxidation rate", np.log(10.0) * value("fe2_oxidation_k_log10_u")
    )
    rate = k * value("po2_air") * hydroxide**2 / MINUTE_S + _through_agents(fresh, draws)
    dissolved = value("oxygen_air_saturated") * IRON_PER_OXYGEN
    supply = renewals_per_s(draws) * dissolved
    return Aging(system, finished, rate, supply, dissolved, holds, fresh)


def renewals_per_s(draws: Draws) -> Floats:
    """(N,) [1/s] how often stirring brings in as much oxygen as the tank holds dissolved."""
    value = tables().value
    factor = draws.factor("tank:stirring", float(np.log(value("oxygen_renewals_factor"))))
    return np.asarray(value("oxygen_renewals") * factor / HOUR_S)


@cache
def _agents() -> tuple[tuple[str, float, float, float], ...]:
    return tuple(
        (r["agent"], float(r["rate_per_s"]), float(r["factor"]), float(r["ph_from"]))
        for r in read_csv("oxidation.csv")
    )


def _through_agents(fresh: Equilibrium, draws: Draws) -> Floats:
    """(N,) [1/s] that Fe(II) bound by ligands adds, in water full of air: `oxidation.csv`."""
    system = fresh.system
    iron = system.nu[system.components.index("Fe2")]
    molality = np.nan_to_num(fresh.molality)
    total = np.maximum(molality @ iron, 1e-30)
    rate = np.zeros(draws.count)
    for agent, per_s, factor, ph_from in _agents():
        if agent not in system.components:
            continue
        bound = iron * (system.nu[system.components.index(agent)] > 0.0)
        share = (molality @ bound) / total
        own = per_s * draws.factor(f"iron:oxidation with {agent}", float(np.log(factor)))
        rate += np.where(np.nan_to_num(fresh.ph, nan=0.0) >= ph_from, share * own, 0.0)
    return rate


def _as_made(finished: Finished, count: int, pairs: tuple[Pair, ...]) -> dict[Pair, Hold]:
    """What products were made as, all of it still held."""
    zero, none = np.zeros(count), np.full(count, np.nan)
    return {p: Hold(np.asarray(finished.held.get(p, zero)), none, none, zero, zero) for p in pairs}


def _pairs(finished: Finished, components: list[str]) -> tuple[Pair, ...]:
    """(metal, agent) held as products were made, and those that the tank itself may hold."""
    found = dict.fromkeys(finished.held)
    for row in holdings():
        if row.all_above is not None and {row.metal, row.agent} <= set(components):
            metal = row.metal
            there = [metal, "Fe2"] if metal == "Fe3" else [metal]
            columns = [finished.components.index(c) for c in there if c in finished.components]
            if (finished.totals[:, columns] > TRACE_MOL_PER_KG).any():
                found[metal, row.agent] = None
    return tuple(found)


def _held(pair: Pair, finished: Finished, ph: Floats, draws: Draws) -> Hold:
    """The rows of a pair at each draw's fresh pH (N,).

    A pair without a row stays whole for a day and may be gone by thirty.
    """
    made = np.asarray(finished.held.get(pair, np.zeros(draws.count)))
    none, full = (np.full(draws.count, np.nan) for _ in range(2))
    gone_day = np.zeros(draws.count)
    place = draws.of("ferric_exchange", f"exchange:{' '.join(pair)}")
    gone_month = place
    for row in holdings():
        if (row.metal, row.agent) == pair:
            here = (ph >= row.ph_from) & (ph < row.ph_to)
            (_, low, high), (_, late_low, late_high) = row.gone
            gone_day = np.where(here, low + (high - low) * place, gone_day)
            gone_month = np.where(here, late_low + (late_high - late_low) * place, gone_month)
            if row.none_below is not None and row.all_above is not None:
                none = np.where(here, row.none_below, none)
                full = np.where(here, row.all_above, full)
    return Hold(made, none, full, gone_day, gone_month)
