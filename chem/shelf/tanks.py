"""Tanks of a few products each, evaluated many at a time.

One batch holds tanks of like components and one temperature below each other, row k N + i being
draw i of tank k, so that one solver call serves many. A tank's odds are those that `forecast` gives
for the same mix, draws and seed.

Some clear tanks need no more than their first 16 draws: where nothing changes with time, every
solid stays below its limit with room to spare and in none of all draws a colloid can fall out, none
of the rest shows anything either. `decided_by` tells `screen` or `full`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import lru_cache
from typing import Any, Literal

import numpy as np

from chem.doubts import Draws, median
from chem.equilibrium import Equilibrium, one_thread
from chem.equilibrium.activity import Floats
from chem.forecast import TIMES_S, Answer, Followed, Standing, Study, follow, show_limit
from chem.forecast.answer import answer_from
from chem.forecast.colloids import may_fall
from chem.forecast.prepare import holds_film, picked, stacked, warmed
from chem.forecast.state import Bools, State
from chem.forecast.study import LEAST_ROWS
from chem.reference import tables
from chem.shelf.stock import Item, Setting
from chem.tank import Addition, Finished, Mix

ROWS_AT_ONCE = 768
"""More rows cost memory in each worker and save no time."""
MOST_ROWS = 3072
"""Of one batch."""
SCREENED, SCREENED_FROM = 16, 128
"""Draws of a screen, and of a tank from which on it pays: with 64 it cost 8 % and saved nothing."""
SURE = 1.0
"""Standard deviations above the mean of a screen's draws that every draw is taken to lie below."""
MODEL_SURE = 0.9
"""Share of a limit of ionic strength below which a screen may decide."""


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class Odds:
    """One tank over a spray day.

    probability, clogs: by time, as a forecast's; ph, ionic_mol_per_kg: medians at once; failed:
    share of draws without an equilibrium; worst, worst_name: what most likely shows, None where
    nothing does in a day; clouds_after_s: median time until it shows, among the draws it does in;
    decided_by: `full`, or `screen` where the first draws told.
    """

    probability: Mapping[str, float]
    clogs: Mapping[str, float]
    ph: float
    ionic_mol_per_kg: float
    failed: float
    worst: str | None
    worst_name: str | None
    clouds_after_s: float | None
    decided_by: Literal["screen", "full"] = "full"

    def answer(self, judged_at: str, not_judged: Sequence[str]) -> Answer:
        """The answer by a time."""
        return answer_from(
            self.probability, self.clogs, judged_at, self.ionic_mol_per_kg, self.failed, not_judged
        )

    def as_dict(self) -> dict[str, Any]:
        """What JSON can hold."""
        return asdict(self)


@dataclass(frozen=True)
class Step:
    """Tanks at one factor: their rows below each other, and how warm they are [degC]."""

    finished: Finished
    t_celsius: float


@dataclass(frozen=True)
class Batch:
    """Tanks of like components: rows of each step below each other.

    coldest_celsius: of the night, None for none; film: of each tank, whether it holds a film or
    gum; shifts: of each, in log odds, what is remembered of its jugs; steps: the same tanks at one
    factor after another, each started from the one before.
    """

    coldest_celsius: float | None
    draws: int
    seed: int
    film: tuple[bool, ...]
    shifts: tuple[float, ...]
    steps: tuple[Step, ...]

    @property
    def tanks(self) -> int:
        """How many tanks."""
        return len(self.film)

    @property
    def equilibria(self) -> int:
        """Rows whose speciation is solved at least once."""
        return self.draws * self.tanks * len(self.steps)

    def some(self, tanks: Sequence[int], draws: int) -> Batch:
        """Some of the tanks, by their first draws."""
        rows = [k * self.draws + i for k in tanks for i in range(draws)]
        steps = tuple(replace(s, finished=picked(s.finished, np.array(rows))) for s in self.steps)
        film = tuple(self.film[k] for k in tanks)
        shifts = tuple(self.shifts[k] for k in tanks)
        return replace(self, draws=draws, film=film, shifts=shifts, steps=steps)

    def standing(self, step: Step, near: Equilibrium | None) -> Standing:
        """Its rows as they stand."""
        draws = _draws(self.draws, self.seed)
        many = draws.at(np.tile(np.arange(self.draws), self.tanks)).scoped("")
        film: Bools = np.repeat(np.array(self.film), self.draws)
        return Standing(many, step.finished, step.t_celsius, self.coldest_celsius, film, near)


def batches(
    tanks: Sequence[Sequence[Tank]], items: Sequence[Item], setting: Setting, study: Study
) -> Iterator[tuple[tuple[int, ...], Batch]]:
    """Which of `tanks` each batch holds, and the batch; made one at a time.

    tanks: each a row of the same members at rising factors, all rows equally long.
    """
    held = {i: study.contents(items[i].product) for row in tanks for i in row[0].members}
    keys = {i: frozenset(inside.components) for i, inside in held.items()}
    changes = {i: "Fe2" in keys[i] or bool(held[i].held) for i in held}
    kinds: dict[frozenset[frozenset[str]], tuple[str, ...]] = {}

    def warmth(row: Sequence[Tank]) -> tuple[float, ...]:
        if not any(items[i].product.dry for i in row[0].members):
            return (setting.t_celsius,) * len(row)
        inside = [held[i] for i in row[0].members]
        return tuple(warmed(tank.mix(items, setting), inside) for tank in row)

    def kind(place: int) -> tuple[Any, ...]:
        members = tanks[place][0].members
        sets = frozenset(keys[i] for i in members)
        if sets not in kinds:
            kinds[sets] = tuple(sorted(frozenset().union(*sets)))
        apart = len(members), any(changes[i] for i in members), warmth(tanks[place])
        return apart, kinds[sets], members

    kind_of = {place: kind(place) for place in range(len(tanks))}
    size = ROWS_AT_ONCE // study.count
    if len(tanks[0]) == 1 and study.count >= SCREENED_FROM:
        # As many as a screen fills; not more than a worker that is told to stop soon ends with.
        size = min(ROWS_AT_ONCE // SCREENED, MOST_ROWS // study.count)
    size = max(1, size)
    group: list[int] = []
    for place in sorted(kind_of, key=lambda p: kind_of[p]):
        if group and (len(group) == size or kind_of[group[0]][0] != kind_of[place][0]):
            yield tuple(group), _batch([tanks[p] for p in group], items, setting, study)
            group = []
        group.append(place)
    if group:
        yield tuple(group), _batch([tanks[p] for p in group], items, setting, study)


def _batch(
    tanks: Sequence[Sequence[Tank]], items: Sequence[Item], setting: Setting, study: Study
) -> Batch:
    steps = []
    for step in range(len(tanks[0])):
        stood = [study.stand(row[step].mix(items, setting)) for row in tanks]
        steps.append(Step(stacked([s.finished for s in stood]), stood[0].t_celsius))
    mixes = [row[0].mix(items, setting) for row in tanks]
    jugs = [[a.product.identity for a in mix.additions] for mix in mixes]
    return Batch(
        setting.coldest_celsius,
        study.count,
        study.seed,
        tuple(holds_film(mix) for mix in mixes),
        tuple(study.beliefs.memory(each) for each in jugs),
        tuple(steps),
    )


@lru_cache(maxsize=2)
def _draws(count: int, seed: int) -> Draws:
    """The draws of a batch, kept in each process: a worker meets them again and again."""
    return Draws(max(count, LEAST_ROWS) if count > 1 else 1, seed).first(count)


def evaluate_batch(batch: Batch) -> list[list[Odds]]:
    """Per tank, its odds at each step. Depends on the batch alone, wherever it is run."""
    with one_thread():
        out: list[list[Odds]] = [[] for _ in range(batch.tanks)]
        left = list(range(batch.tanks))
        if len(batch.steps) == 1 and batch.draws >= SCREENED_FROM:
            for k, odds in _screened(batch).items():
                out[k].append(odds)
            left = [k for k in left if not out[k]]
        size = max(1, ROWS_AT_ONCE // batch.draws)
        for first in range(0, len(left), size):
            part = left[first : first + size]
            near: Equilibrium | None = None
            some = batch if len(part) == batch.tanks else batch.some(part, batch.draws)
            for step in some.steps:
                tank = some.standing(step, near)
                seen = follow(tank, quick=True)
                near = seen.fresh.clear
                for place, k in enumerate(part):
                    out[k].append(_odds(_of(seen, tank, place, some)))
    return out


def _of(seen: Followed, tank: Standing, place: int, batch: Batch) -> Followed:
    """One tank of a batch."""
    rows = slice(place * batch.draws, (place + 1) * batch.draws)
    return replace(seen.rows(rows, tank), shift=batch.shifts[place])


def _screened(batch: Batch) -> dict[int, Odds]:
    """Odds of the tanks that stay clear by their first draws, by their places."""
    loose = may_fall(batch.standing(batch.steps[0], None)).reshape(batch.tanks, batch.draws)
    tried = np.flatnonzero(~loose.any(axis=1))
    if not tried.size:
        return {}
    few = batch.some(tried.tolist(), SCREENED)
    tank = few.standing(few.steps[0], None)
    if tank.aged.changes:
        return {}
    seen = follow(tank, quick=True, settles=False)
    out = {}
    none = np.zeros(batch.draws, dtype=bool)
    for place, k in enumerate(tried.tolist()):
        one = _of(seen, tank, place, few)
        if _stays_clear(one):
            # All the draws do as the first: so many count.
            every = replace(one, ok=~none)
            chances = {t: every.odds(none, whole=True) for t in TIMES_S}
            out[k] = replace(_odds(one), probability=chances, clogs=chances, decided_by="screen")
    return out


def _stays_clear(seen: Followed) -> bool:
    """Whether by these draws none of all shows anything in a day."""
    strength = seen.fresh.clear.ionic_strength
    if not seen.ok.all() or strength.max() > MODEL_SURE * tables().value("ionic_strength_valid"):
        return False
    return not any(_may_show(state) for state in (seen.fresh, *seen.states.values()))


def _may_show(state: State) -> bool:
    """Whether something may come over its limit in some draw, looked at or not."""
    deciding = np.array([s.decides for s in state.phases.solids], dtype=bool)
    si = np.hstack([state.si[:, deciding], state.cold.si])
    highest = np.maximum(si.max(axis=0), si.mean(axis=0) + SURE * si.std(axis=0))
    return bool((highest >= 0.0).any())


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
    day = _day(seen)[seen.ok]
    if not day.size:
        return None
    soon = seen.out["4h"].each[seen.ok]
    first = day.shape[1] - len(seen.colloids)
    soon[:, first:] = day[:, first:]
    often, later = ((amount > show_limit()).sum(axis=0) for amount in (soon, day))
    worst = int(np.lexsort((day.mean(axis=0), later, often))[-1])
    return worst if later[worst] else None
