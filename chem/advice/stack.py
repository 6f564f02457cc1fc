"""Many states of one tank in few batches: sets of products poured, or rates multiplied.

Row k N + i is draw i of state k, so that every state is tried with the same draws.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chem.doubts import Draws
from chem.equilibrium import Equilibrium, build_phases, solve
from chem.equilibrium.activity import Floats
from chem.forecast import TIMES_S, Prepared
from chem.forecast.aging import Aging, aging
from chem.forecast.clouding import clouding_time_s
from chem.forecast.colloids import colloid_outlook
from chem.forecast.crystals import crystals
from chem.forecast.prepare import conditions_of, log_ksp_of
from chem.reference import tables
from chem.reference.colloids import colloids
from chem.tank import Finished

Bools = NDArray[np.bool_]
Integers = NDArray[np.int64]
ROWS_AT_ONCE = 1024
CORES = 2


class Picked(Draws):
    """Rows of other draws, each as often as wanted."""

    def __init__(self, draws: Draws, rows: Integers) -> None:
        """rows: (R,) which rows of `draws` stand here."""
        super().__init__(len(rows), draws.seed)
        self._of, self._rows = draws, rows
        self.weights = draws.weights[rows] / draws.weights[rows].sum()

    def normal(self, name: str, mean: float = 0.0, sd: float = 1.0) -> Floats:
        """(R,) as `Draws.normal`."""
        return self._of.normal(name, mean, sd)[self._rows]

    def factor(self, name: str, relative_sd: float) -> Floats:
        """(R,) as `Draws.factor`."""
        return self._of.factor(name, relative_sd)[self._rows]

    def uniform(self, name: str, low: float, high: float) -> Floats:
        """(R,) as `Draws.uniform`."""
        return self._of.uniform(name, low, high)[self._rows]


@dataclass(frozen=True)
class Glance:
    """One state by one time.

    probability: that solids show; culprit: what most likely shows, in words, None where nothing
    does; failed: share of draws without an equilibrium; ph: median.
    """

    probability: float
    culprit: str | None
    failed: float
    ph: float


def glances(ready: Prepared, states: Sequence[Finished], t_s: float) -> list[Glance]:
    """What shows by t [s] in each state of one mix's tank, as its forecast would say.

    Where `t_s` is a whole day and the mix stands in the cold overnight, the cold counts too.
    """
    # States that hold alike go together: the system of a batch then has few idle species.
    order = sorted(range(len(states)), key=lambda k: states[k].components)
    size = max(1, ROWS_AT_ONCE // ready.draws.count)
    batches = [order[i : i + size] for i in range(0, len(order), size)]
    out: dict[int, Glance] = {}
    with ThreadPoolExecutor(CORES) as pool:
        found = pool.map(lambda batch: _batch(ready, [states[k] for k in batch], t_s), batches)
        for batch, seen in zip(batches, found, strict=True):
            out.update(zip(batch, seen, strict=True))
    return [out[k] for k in range(len(states))]


def _batch(ready: Prepared, states: Sequence[Finished], t_s: float) -> list[Glance]:
    draws, n = ready.draws, ready.draws.count
    many = Picked(draws, np.tile(np.arange(n), len(states)))
    finished = stacked(states)
    aged = aging(finished, ready.mix.t_celsius, many)
    stack = replace(ready, draws=many, finished=finished, aged=aged)
    at = [ready.mix.t_celsius]
    if ready.mix.coldest_celsius is not None and t_s >= TIMES_S["24h"]:
        at.append(ready.mix.coldest_celsius)
    gel = {c.component for c in colloids().values()} & set(finished.components)
    clear, may = _may_show(stack, t_s, at)
    rows = np.arange(many.count) if gel else np.flatnonzero(may)
    ok = clear.converged.copy()
    every = np.zeros(many.count)
    kinds: dict[str, Floats] = {}
    if rows.size:
        some = _rows(stack, rows, draws)
        looks = [some.at(t_s, t) for t in at]
        ok[rows] &= np.all([look.ok for look in looks], axis=0)
        salts = np.nan_to_num(np.max([look.amounts(t_s) for look in looks], axis=0))
        cold = [np.nan_to_num(look.crystals(t_s)) for look in looks]
        frozen = np.max([c.max(axis=1, initial=0.0) for c in cold], axis=0)
        loose = colloid_outlook(some, looks[0])
        every[rows] = salts.sum(axis=1) + frozen
        every[rows] += sum((c.amount_g_per_L for c in loose), np.zeros(len(rows)))
        kinds = {s.name: salts[:, m] for m, s in enumerate(looks[0].phases.solids)}
        kinds |= {name: cold[0][:, m] for m, name in enumerate(looks[0].cold.names)}
        kinds |= {c.key.replace("_", " "): c.amount_g_per_L for c in loose}
    limit = tables().value("show_limit")
    of_state = rows // n
    seen = []
    for k in range(len(states)):
        block = slice(k * n, (k + 1) * n)
        here = of_state == k
        most, culprit = 0.0, None
        for name, amount in kinds.items():
            weight = float(draws.weights[rows[here] % n][amount[here] > limit].sum())
            if weight > most:
                most, culprit = weight, name
        seen.append(
            Glance(
                draws.chance(every[block] > limit, ok[block]),
                culprit,
                1.0 - draws.chance(ok[block]),
                float(draws.quantile(clear.ph[block], (0.5,))[0]),
            )
        )
    return seen


def _may_show(stack: Prepared, t_s: float, at: Sequence[float]) -> tuple[Equilibrium, Bools]:
    """The clear state, and (R,) rows in which something may be out by t [s].

    Only where a solid begins to form by then, delayed by nothing, does the settled state matter.
    """
    draws, system = stack.draws, stack.aged.system
    totals = stack.aged.totals(t_s)
    may = np.zeros(draws.count, dtype=bool)
    first = None
    for t_celsius in at:
        clear = solve(system, totals, conditions_of(system, t_celsius, draws))
        first = first or clear
        cold = crystals(clear, stack.finished.water_kg_per_L, t_celsius, draws)
        may |= (np.nan_to_num(cold.si, nan=-1.0) > 0.0).any(axis=1)
        phases = build_phases(system)
        if not len(phases):
            continue
        si = clear.saturation_index(phases, log_ksp_of(phases, t_celsius, draws))
        for m, solid in enumerate(phases.solids):
            if solid.decides and solid.kinetics != "dormant":
                curve = tables().clouding[solid.curve]
                soonest = clouding_time_s(curve, 2.0 * si[:, m] / phases.ions[m])
                soonest *= draws.factor(f"clouding:{solid.key}", float(np.log(curve.factor)))
                may |= soonest < t_s
    assert first is not None
    return first, may


def _rows(stack: Prepared, rows: Integers, draws: Draws) -> Prepared:
    """Some rows of a stack made from `draws`."""
    f, a = stack.finished, stack.aged
    finished = Finished(
        f.components,
        f.totals[rows],
        f.water_kg_per_L[rows],
        f.density_kg_per_L[rows],
        f.from_product[:, rows],
        f.from_water[rows],
        {pair: held[rows] for pair, held in f.held.items()},
    )
    aged = Aging(
        a.system, finished, a.oxidation[rows], a.supply[rows], a.dissolved, a.exchanged[rows]
    )
    return replace(stack, draws=Picked(draws, rows % draws.count), finished=finished, aged=aged)


def stacked(states: Sequence[Finished]) -> Finished:
    """States of one mix's tank, one below the other; what a state lacks is zero."""
    keys = set().union(*(s.components for s in states))
    components = tuple(c for c in tables().components if c in keys)
    n = len(states[0].totals)

    def wide(values: Floats, own: tuple[str, ...]) -> Floats:
        out = np.zeros((*values.shape[:-1], len(components)))
        out[..., [components.index(c) for c in own]] = values
        return out

    pairs = dict.fromkeys(pair for s in states for pair in s.held)
    return Finished(
        components=components,
        totals=np.concatenate([wide(s.totals, s.components) for s in states]),
        water_kg_per_L=np.concatenate([s.water_kg_per_L for s in states]),
        density_kg_per_L=np.concatenate([s.density_kg_per_L for s in states]),
        from_product=np.concatenate([wide(s.from_product, s.components) for s in states], axis=1),
        from_water=np.concatenate([wide(s.from_water, s.components) for s in states]),
        held={p: np.concatenate([s.held.get(p, np.zeros(n)) for s in states]) for p in pairs},
    )
