"""Tanks of a few products each, evaluated many at a time.

One batch holds tanks of like components below each other, row k N + i being draw i of tank k, so
that one solver call serves many. A tank's odds are those that `forecast` gives for the same mix,
draws and seed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from chem.doubts import Draws
from chem.equilibrium import Equilibrium
from chem.equilibrium.activity import Floats
from chem.forecast.aging import aging
from chem.forecast.hazards import holds_film
from chem.forecast.outlook import Outlook, answer_from, outlook
from chem.forecast.prepare import Prepared
from chem.forecast.result import TIMES_S
from chem.forecast.stack import Picked, stacked
from chem.label import Contents
from chem.reference import tables
from chem.shelf.stock import Item, Setting
from chem.tank import Addition, Finished, Mix, WaterTotals, finish

ROWS_AT_ONCE = 384
"""More rows cost memory in each worker and save no time."""


@dataclass(frozen=True)
class Tank:
    """Some items of a stock, the first at `factor` times its rate."""

    members: tuple[int, ...]
    factor: float = 1.0

    def mix(self, items: Sequence[Item], setting: Setting) -> Mix:
        """The tank as a mix; who is poured first is left to `pour`."""
        additions = []
        for place, index in enumerate(self.members):
            rate = items[index].rate
            if place == 0 and self.factor != 1.0:
                rate = replace(rate, value=rate.value * self.factor, text="")
            product = items[index].product
            says = replace(product.says, pour=None)
            additions.append(Addition(replace(product, says=says), rate))
        return setting.mix(*additions)


@dataclass(frozen=True)
class Odds:
    """One tank over a spray day.

    probability, clogs: by time, as a forecast's; ph, ionic_mol_per_kg: medians at once; failed:
    share of draws without an equilibrium; worst, worst_name: what most likely shows, None where
    nothing does in a day; clouds_after_s: median time until it shows, among the draws it does in.
    """

    probability: Mapping[str, float]
    clogs: Mapping[str, float]
    ph: float
    ionic_mol_per_kg: float
    failed: float
    worst: str | None
    worst_name: str | None
    clouds_after_s: float | None

    def answer(self, judged_at: str, not_judged: Sequence[str]) -> tuple[str, float, str | None]:
        """The answer, the chance behind it, and why it can't be told, if so."""
        return answer_from(
            self.probability, self.clogs, judged_at, self.ionic_mol_per_kg, self.failed, not_judged
        )

    def as_dict(self) -> dict[str, Any]:
        """What JSON can hold."""
        return asdict(self)


@dataclass(frozen=True)
class Batch:
    """Tanks of like components: rows of each step below each other.

    mix: their setting, without products; film: whether each holds a film or gum; steps: the same
    tanks at one factor after another, each started from the one before.
    """

    mix: Mix
    draws: int
    seed: int
    film: bool
    tanks: int
    steps: tuple[Finished, ...]

    @property
    def equilibria(self) -> int:
        """Rows whose speciation is solved at least once."""
        return self.draws * self.tanks * len(self.steps)


def batches(
    tanks: Sequence[Sequence[Tank]],
    items: Sequence[Item],
    inside: Mapping[int, Contents],
    setting: Setting,
    water: WaterTotals,
    draws: Draws,
) -> Iterator[tuple[tuple[int, ...], Batch]]:
    """Which of `tanks` each batch holds, and the batch; made one at a time.

    tanks: each a row of the same members at rising factors, all rows equally long.
    """

    def kind(place: int) -> tuple[int, bool, bool, tuple[str, ...]]:
        members = tanks[place][0].members
        held = [inside[i] for i in members]
        components = sorted({c for h in held for c in h.components})
        changes = "Fe2" in components or any(h.held for h in held)
        film = holds_film([items[i].name for i in members])
        return len(members), film, changes, tuple(components)

    kinds = {place: kind(place) for place in range(len(tanks))}
    size = max(1, ROWS_AT_ONCE // draws.count)
    group: list[int] = []
    for place in sorted(kinds, key=lambda p: (kinds[p], tanks[p][0].members)):
        if group and (len(group) == size or kinds[group[0]][:3] != kinds[place][:3]):
            yield (
                tuple(group),
                _batch([tanks[p] for p in group], items, inside, setting, water, draws),
            )
            group = []
        group.append(place)
    if group:
        yield tuple(group), _batch([tanks[p] for p in group], items, inside, setting, water, draws)


def _batch(
    tanks: Sequence[Sequence[Tank]],
    items: Sequence[Item],
    inside: Mapping[int, Contents],
    setting: Setting,
    water: WaterTotals,
    draws: Draws,
) -> Batch:
    steps = []
    for step in range(len(tanks[0])):
        states = []
        for row in tanks:
            mix = row[step].mix(items, setting)
            state = finish(mix, [inside[i] for i in row[step].members], water, draws)
            none = np.zeros((0, *state.from_water.shape))
            states.append(replace(state, from_product=none))
        steps.append(stacked(states))
    film = holds_film([items[i].name for i in tanks[0][0].members])
    return Batch(setting.mix(), draws.count, draws.seed, film, len(tanks), tuple(steps))


def evaluate_batch(batch: Batch) -> list[list[Odds]]:
    """Per tank, its odds at each step. Depends on the batch alone, wherever it is run."""
    draws = Draws(batch.draws, batch.seed)
    many = Picked(draws, np.tile(np.arange(batch.draws), batch.tanks))
    near: Equilibrium | None = None
    nothing = WaterTotals(batch.mix.water, (), np.zeros((many.count, 0)), ())
    out: list[list[Odds]] = [[] for _ in range(batch.tanks)]
    for finished in batch.steps:
        aged = aging(finished, batch.mix.t_celsius, many, near)
        ready = Prepared(batch.mix, many, (), nothing, finished, aged, batch.film)
        seen = outlook(ready, quick=True)
        near = seen.fresh.clear
        for k, odds in enumerate(_odds(seen, draws, batch.tanks)):
            out[k].append(odds)
    return out


def _odds(seen: Outlook, draws: Draws, tanks: int) -> list[Odds]:
    """Each tank's odds out of a batch's."""
    n = draws.count
    day = seen.states["24h"]
    show = tables().value("show_limit")
    names = [(s.key, s.name) for s in day.phases.solids]
    names += [
        (f"{k}_crystals", f"{name} crystals (cold)")
        for k, name in zip(day.cold.keys, day.cold.names, strict=True)
    ]
    names += [(c.key, c.key.replace("_", " ")) for c in seen.colloids]
    loose = [c.amount_g_per_L[:, None] for c in seen.colloids]
    by_time = {t: np.hstack([seen.amounts[t], seen.crystals[t], *loose]) for t in ("4h", "24h")}
    at_once = np.zeros((len(seen.ok), len(loose)))
    clouds = np.hstack([_soonest(seen), at_once])
    found = []
    for k in range(tanks):
        block = slice(k * n, (k + 1) * n)
        ok = seen.ok[block]
        here = {t: amounts[block] for t, amounts in by_time.items()}
        worst = _worst(here, ok, show)
        after = None
        if worst is not None:
            shows = ok & (here["24h"][:, worst] > show)
            after = float(np.median(clouds[block][shows, worst]))
        found.append(
            Odds(
                {t: draws.chance(seen.shows[t][block], ok) for t in TIMES_S},
                {t: draws.chance(seen.blocks[t][block], ok) for t in TIMES_S},
                float(draws.quantile(seen.fresh.clear.ph[block], (0.5,))[0]),
                float(draws.quantile(seen.fresh.clear.ionic_strength[block], (0.5,))[0]),
                1.0 - float(ok.mean()),
                None if worst is None else names[worst][0],
                None if worst is None else names[worst][1],
                after,
            )
        )
    return found


def _soonest(seen: Outlook) -> Floats:
    """(N, M + K) clouding times of salts and cold crystals, the soonest of the day [s]."""
    states = list(seen.states.values())
    salts = np.min([s.clouding for s in states], axis=0)
    cold = np.min([s.cold_clouding for s in states], axis=0)
    return np.hstack([salts, cold])


def _worst(amounts: Mapping[str, Floats], ok: Any, show: float) -> int | None:
    """The column that shows most often by 4 h, then by a day, then in the largest amount."""
    if not ok.any() or not amounts["24h"].shape[1]:
        return None
    chances = {t: (a[ok] > show).mean(axis=0) for t, a in amounts.items()}
    most = amounts["24h"][ok].mean(axis=0)
    order = np.lexsort((most, chances["24h"], chances["4h"]))
    worst = int(order[-1])
    return worst if chances["24h"][worst] > 0.0 else None
