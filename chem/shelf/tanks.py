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

from chem.doubts import Draws, chance, median
from chem.equilibrium import Equilibrium, one_thread
from chem.equilibrium.activity import Floats
from chem.forecast import Answer, Followed, Standing, Study, follow, show_limit
from chem.forecast.answer import answer_from
from chem.forecast.prepare import holds_film, stacked
from chem.forecast.state import Bools
from chem.forecast.study import LEAST_ROWS
from chem.shelf.stock import Item, Setting
from chem.tank import Addition, Finished, Mix

ROWS_AT_ONCE = 384
"""More rows cost memory in each worker and save no time."""


@dataclass(frozen=True)
class Tank:
    """Some items of a stock, the first at `factor` times its rate."""

    members: tuple[int, ...]
    factor: float = 1.0

    def mix(self, items: Sequence[Item], setting: Setting) -> Mix:
        """The tank as a mix, in the order of the shelf."""
        additions = []
        for place, index in enumerate(self.members):
            rate = items[index].rate
            if place == 0 and self.factor != 1.0:
                rate = replace(rate, value=rate.value * self.factor, text="")
            additions.append(Addition(items[index].product, rate))
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

    def answer(self, judged_at: str, not_judged: Sequence[str]) -> Answer:
        """The answer by a time."""
        return answer_from(
            self.probability, self.clogs, judged_at, self.ionic_mol_per_kg, self.failed, not_judged
        )

    def as_dict(self) -> dict[str, Any]:
        """What JSON can hold."""
        return asdict(self)


@dataclass(frozen=True)
class Batch:
    """Tanks of like components: rows of each step below each other.

    mix: their setting, without products; film: (N,) whether each row holds a film or gum; shifts:
    of each tank, in log odds, what is remembered of its jugs; steps: the same tanks at one factor
    after another, each started from the one before.
    """

    mix: Mix
    draws: int
    seed: int
    film: Bools
    shifts: tuple[float, ...]
    tanks: int
    steps: tuple[Finished, ...]

    @property
    def equilibria(self) -> int:
        """Rows whose speciation is solved at least once."""
        return self.draws * self.tanks * len(self.steps)


def batches(
    tanks: Sequence[Sequence[Tank]], items: Sequence[Item], setting: Setting, study: Study
) -> Iterator[tuple[tuple[int, ...], Batch]]:
    """Which of `tanks` each batch holds, and the batch; made one at a time.

    tanks: each a row of the same members at rising factors, all rows equally long.
    """

    def kind(place: int) -> tuple[int, bool, tuple[str, ...]]:
        members = tanks[place][0].members
        held = [study.contents(items[i].product) for i in members]
        components = sorted({c for h in held for c in h.components})
        changes = "Fe2" in components or any(h.held for h in held)
        return len(members), changes, tuple(components)

    kinds = {place: kind(place) for place in range(len(tanks))}
    size = max(1, ROWS_AT_ONCE // study.count)
    group: list[int] = []
    for place in sorted(kinds, key=lambda p: (kinds[p], tanks[p][0].members)):
        if group and (len(group) == size or kinds[group[0]][:2] != kinds[place][:2]):
            yield tuple(group), _batch([tanks[p] for p in group], items, setting, study)
            group = []
        group.append(place)
    if group:
        yield tuple(group), _batch([tanks[p] for p in group], items, setting, study)


def _batch(
    tanks: Sequence[Sequence[Tank]], items: Sequence[Item], setting: Setting, study: Study
) -> Batch:
    steps = [
        stacked([study.stand(row[step].mix(items, setting)).finished for row in tanks])
        for step in range(len(tanks[0]))
    ]
    mixes = [row[0].mix(items, setting) for row in tanks]
    film = np.repeat([holds_film(mix) for mix in mixes], study.count)
    jugs = [[a.product.identity for a in mix.additions] for mix in mixes]
    shifts = tuple(study.beliefs.memory(each) for each in jugs)
    return Batch(setting.mix(), study.count, study.seed, film, shifts, len(tanks), tuple(steps))


def evaluate_batch(batch: Batch) -> list[list[Odds]]:
    """Per tank, its odds at each step. Depends on the batch alone, wherever it is run."""
    whole = Draws(max(batch.draws, LEAST_ROWS) if batch.draws > 1 else 1, batch.seed)
    draws = whole.first(batch.draws)
    many = draws.at(np.tile(np.arange(batch.draws), batch.tanks))
    mix = batch.mix
    near: Equilibrium | None = None
    out: list[list[Odds]] = [[] for _ in range(batch.tanks)]
    with one_thread():
        for finished in batch.steps:
            tank = Standing(many, finished, mix.t_celsius, mix.coldest_celsius, batch.film, near)
            seen = follow(tank, quick=True)
            near = seen.fresh.clear
            for k, shift in enumerate(batch.shifts):
                rows = slice(k * batch.draws, (k + 1) * batch.draws)
                out[k].append(_odds(replace(seen.rows(rows, tank), shift=shift)))
    return out


def _odds(seen: Followed) -> Odds:
    """One tank's odds."""
    worst = _worst(seen)
    part = None if worst is None else seen.parts[worst]
    return Odds(
        dict(seen.probability),
        dict(seen.clogs),
        seen.ph.median,
        seen.ionic_mol_per_kg,
        seen.failed,
        part.key if part else None,
        part.name if part else None,
        None if worst is None else _clouds_after(seen, worst),
    )


def _clouds_after(seen: Followed, worst: int) -> float:
    """Median time [s] until a part shows, among the draws in which it does; colloids at once."""
    states = list(seen.states.values())
    salts = np.min([s.clouding for s in states], axis=0)
    cold = np.min([s.cold_clouding for s in states], axis=0)
    at_once = np.zeros((len(seen.ok), len(seen.colloids)))
    clouds: Floats = np.hstack([salts, cold, at_once])
    shows = seen.ok & (_day(seen)[:, worst] > show_limit())
    return median(clouds[shows, worst])


def _day(seen: Followed) -> Floats:
    """(N, K) [g/L] of each part by tomorrow, colloids in the end."""
    out = seen.out["24h"]
    loose = [c.amount_g_per_L[:, None] for c in seen.colloids]
    return np.hstack([out.salts, out.crystals, *loose])


def _worst(seen: Followed) -> int | None:
    """The part that shows most often by 4 h, then by a day, then in the largest amount."""
    day = _day(seen)
    if not seen.ok.any() or not day.shape[1]:
        return None
    soon = seen.out["4h"].each
    first = day.shape[1] - len(seen.colloids)
    soon[:, first:] = day[:, first:]
    chances = [
        [chance(a[:, i] > show_limit(), seen.ok) for i in range(day.shape[1])] for a in (soon, day)
    ]
    most = day[seen.ok].mean(axis=0)
    order = np.lexsort((most, chances[1], chances[0]))
    worst = int(order[-1])
    return worst if chances[1][worst] > 0.0 else None
