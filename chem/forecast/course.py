"""What comes out of a tank by when, per draw: the one counting rule that every answer goes by.

It shows once any one thing passes its own visible limit: a solid as it first comes or as it
settles, the very soluble salt of which most is out (each amount is for that salt alone), a
colloid. It blocks a screen by all that is out together, each by its own limit. What has come out
is seen even if it dissolves again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from chem.doubts import Range, chance, doubts, median, range_of, stretched
from chem.equilibrium.activity import Floats
from chem.forecast.answer import THRESHOLD, Answer, answer_from
from chem.forecast.carbon import Driven, driven_out
from chem.forecast.clouding import Passing, limits
from chem.forecast.colloids import ColloidOutlook, colloid_outlook
from chem.forecast.out import Out, Part, show_limit
from chem.forecast.prepare import Moment, Prepared, Standing
from chem.forecast.state import Bools, State
from chem.forecast.times import TIMES_S
from chem.reference import tables

STRETCHED_LEAST = 0.099
"""Least chance that solids show in a tank beyond the model: clear is said at 9 in 10 at most."""
MINUTE_S = 60.0
COURSE_POINTS = 24


@dataclass(frozen=True)
class Followed:
    """One tank over a spray day, or as far as it was followed.

    tank: what stands; fresh: at once; states: by time; ok: (N,) draws that found every state;
    out: time -> what is out by then; colloids: each apart; driven: carbon dioxide that stirring
    drives out, where that matters; shift, stretch: what is remembered of these jugs, on the odds,
    and by how much ranges are widened.
    """

    tank: Standing
    fresh: State
    states: Mapping[str, State]
    ok: Bools
    out: Mapping[str, Out]
    colloids: tuple[ColloidOutlook, ...]
    driven: Driven | None = None
    shift: float = 0.0
    stretch: float = 1.0

    def rows(self, which: slice, tank: Standing) -> Followed:
        """Some of the rows, as a tank of its own."""
        return replace(
            self,
            tank=tank,
            fresh=self.fresh.rows(which),
            states={t: s.rows(which) for t, s in self.states.items()},
            ok=self.ok[which],
            out={t: o.rows(which) for t, o in self.out.items()},
            colloids=tuple(c.rows(which) for c in self.colloids),
            driven=None if self.driven is None else self.driven.rows(which),
        )

    @property
    def ready(self) -> Prepared:
        """The tank of one mix. Raises: TypeError where several stand below each other."""
        if not isinstance(self.tank, Prepared):
            raise TypeError("several tanks stand here, not one mix")
        return self.tank

    def odds(self, happens: Bools, *, whole: bool = False) -> float:
        """Chance of something that comes out, with what is remembered of these jugs and what no
        draw can know. whole: of the tank, never none; a part that no draw shows has none."""
        if not (whole or happens.any()):
            return chance(happens, self.ok, shift=self.shift)
        open_ = doubts()["unknown_odds"]
        return chance(happens, self.ok, shift=self.shift + open_.a, unknown=open_.b)

    def part_odds(self, happens: Bools) -> float:
        """Chance that one part alone does so, by the draws and what is remembered of these jugs.

        Of what no draw can know, the mean counts for each part, the spread for the tank as a whole:
        a solid that never forms keeps no chance.
        """
        mean = self.shift + doubts()["unknown_odds"].a
        return chance(happens, self.ok, shift=mean) if happens.any() else 0.0

    @cached_property
    def probability(self) -> dict[str, float]:
        """Time -> chance that solids show; where the model is stretched, never none at all."""
        least = STRETCHED_LEAST if self.stretched_model else 0.0
        return {t: max(self.odds(out.shows, whole=True), least) for t, out in self.out.items()}

    @property
    def stretched_model(self) -> bool:
        """Whether the ionic strength is beyond what the activity model is good for."""
        return self.ionic_mol_per_kg > tables().value("ionic_strength_valid")

    @cached_property
    def clogs(self) -> dict[str, float]:
        """Time -> chance that they block a 50-mesh screen."""
        return {t: self.odds(out.blocks, whole=True) for t, out in self.out.items()}

    def cloudy(self, t: str) -> float:
        """Chance that solids show by a time; 1 where no draw found an answer."""
        return self.probability[t] if self.ok.any() else 1.0

    @cached_property
    def ph(self) -> Range:
        """pH at once."""
        return range_of(self.fresh.clear.ph, self.stretch)

    @cached_property
    def ionic_mol_per_kg(self) -> float:
        """Median ionic strength at once."""
        return median(self.fresh.clear.ionic_strength)

    @property
    def failed(self) -> float:
        """Share of draws without an equilibrium."""
        return 1.0 - chance(self.ok)

    @cached_property
    def parts(self) -> tuple[Part, ...]:
        """Everything that may come out, in the order of `Out.each`."""
        solids = self.fresh.phases.solids
        cold = self.fresh.cold
        return (
            *(Part(s.key, s.name, "salt", s.decides) for s in solids),
            *(
                Part(f"{k}_crystals", f"{n} crystals (cold)", "crystals", True)
                for k, n in zip(cold.keys, cold.names, strict=True)
            ),
            *(Part(c.key, c.key.replace("_", " "), "colloid", True) for c in self.colloids),
        )

    @cached_property
    def limits(self) -> Floats:
        """(M + K + L,) what is seen of each part [g/L]."""
        by_look = limits()
        seen = [by_look[s.shows_as].shows_g_per_L for s in self.fresh.phases.solids]
        rest = len(self.parts) - len(seen)
        return np.array([*seen, *(rest * [show_limit()])])

    def shows_alone(self, t: str) -> dict[str, float]:
        """Key of each part -> chance that it alone shows by a time."""
        over = self.out[t].each > self.limits
        return {p.key: self.part_odds(over[:, i]) for i, p in enumerate(self.parts)}

    def culprit(self, t: str) -> Part | None:
        """What most often shows alone by a time; None where nothing does."""
        over = (self.out[t].each > self.limits).sum(axis=0)
        return self.parts[int(over.argmax())] if over.size and over.max() > 0 else None

    @property
    def suited(self) -> float | None:
        """Chance that the fresh pH is in the adjuvant's window, None without one."""
        adjuvant = self.ready.mix.adjuvant
        return None if adjuvant is None else self.inside(adjuvant.ph_low, adjuvant.ph_high)

    def inside(self, low: float, high: float, settled_at: str | None = None) -> float:
        """Chance that the pH is between two limits, at once or settled by a time."""
        ph = self.fresh.clear.ph
        if settled_at is not None:
            ph = np.where(self.ok, self.states[settled_at].ph_settled, np.nan)
        moved = stretched(ph, self.stretch)
        return chance((moved >= low) & (moved <= high), np.isfinite(moved))

    @property
    def not_judged(self) -> tuple[str, ...]:
        """Products whose behaviour is not chemistry of ions."""
        return tuple(a.product.name for a in self.ready.mix.met.additions if not a.product.judged)

    def answer(self, judged_at: str) -> Answer:
        """The answer by a time."""
        return answer_from(
            self.probability,
            self.clogs,
            judged_at,
            self.ionic_mol_per_kg,
            self.failed,
            self.not_judged,
        )

    def course(self) -> tuple[tuple[float, float, float], ...]:
        """(time [s], chance that solids show by then, that they block): 1 min to 24 h, evenly in
        the logarithm, the judged times among them with the very chances that are told."""
        least = STRETCHED_LEAST if self.stretched_model else 0.0
        told = {s: n for n, s in TIMES_S.items() if n in self.out}
        grid = np.geomspace(MINUTE_S, TIMES_S["24h"], COURSE_POINTS)[:-1]
        found = []
        for t in sorted({*map(float, grid), *told}):
            if t in told:
                found.append((t, self.probability[told[t]], self.clogs[told[t]]))
                continue
            out = self.out_by(t)
            shows = max(self.odds(out.shows, whole=True), least)
            found.append((t, shows, self.odds(out.blocks, whole=True)))
        return tuple(found)

    def clear_minutes(self) -> float | None:
        """Minutes until the chance that solids show reaches the threshold; None if under one.

        A tank that stays clear for a day gives a day.
        """
        if self.probability["24h"] < THRESHOLD:
            return TIMES_S["24h"] / MINUTE_S
        grid = np.unique(np.round(np.geomspace(1.0, TIMES_S["24h"] / MINUTE_S, 60)))
        last = None
        for minutes in grid:
            if self.odds(self.out_by(minutes * MINUTE_S).shows, whole=True) >= THRESHOLD:
                return last
            last = float(minutes)
        return last

    def out_by(self, t_s: float, state: State | None = None) -> Out:
        """What is out by any time [s] of the day.

        state: the tank at that very time, where it is known; else that of the next time followed.
        """
        later = [n for n, s in TIMES_S.items() if n in self.states and t_s <= s]
        if state is None and later and t_s == TIMES_S[later[0]]:
            return self.out[later[0]]
        if state is None:
            state = self.states[later[0] if later else list(self.states)[-1]]
        passed = {n: self.out[n] for n, s in TIMES_S.items() if n in self.states and s <= t_s}
        before = _brought(self.tank, state, self.colloids, passed)
        return _out(state, t_s, self.colloids, before)


def _out(state: State, t_s: float, colloids: Sequence[ColloidOutlook], before: Out | None) -> Out:
    """What is out by t [s]: as the state then gives it, or as was out before."""
    salts, crystals = np.nan_to_num(state.amounts(t_s)), np.nan_to_num(state.crystals(t_s))
    seen, full = state.growing.filled(t_s, salts)
    if before is not None:
        seen, full = np.maximum(seen, before.seen), np.maximum(full, before.full)
        salts = np.maximum(salts, before.salts)
        crystals = np.maximum(crystals, before.crystals)
    none = np.zeros((len(state.ok), 0))
    loose = [c.amount_by(t_s)[:, None] for c in colloids]
    swollen = [c.swollen_by(t_s)[:, None] for c in colloids]
    fallen, swelled = np.hstack([none, *loose]), np.hstack([none, *swollen])
    if before is not None:
        fallen = np.maximum(fallen, before.colloids)
        swelled = np.maximum(swelled, before.swollen)
    return Out(salts, crystals, fallen, swelled, seen, full)


def follow(
    tank: Standing, *, until: str = "24h", quick: bool = False, settles: bool = True
) -> Followed:
    """Follow what stands through the spray day.

    until: the last time wanted, `fresh` for none; a cold night is looked at where it is the whole
    day. quick: settle only what shows by each time; what forms later has no amount then. settles:
    False for SI and clocks alone.
    """
    names = [n for n, t in TIMES_S.items() if until in TIMES_S and t <= TIMES_S[until]]
    fresh, states, cold, driven = _states(tank, names, quick, settles)
    every = [fresh, *states.values(), *([cold] if cold else [])]
    ok = np.all([s.ok for s in every], axis=0)
    colloids = colloid_outlook(tank, fresh)
    out: dict[str, Out] = {}
    for name in names:
        before = _brought(tank, states[name], colloids, out)
        before = _out(states[name], TIMES_S[name], colloids, before)
        if cold is not None and name == names[-1]:
            before = _out(cold, TIMES_S[name], colloids, before)
        out[name] = before
    return Followed(tank, fresh, states, ok, out, colloids, driven)


def _brought(
    tank: Standing, state: State, colloids: Sequence[ColloidOutlook], out: Mapping[str, Out]
) -> Out | None:
    """What was out before a time, and what leftovers bring that this tank does not dissolve.

    Solids stay as far as the tank holds them in the end; a gel or floc never goes back.
    """
    last = list(out.values())[-1] if out else None
    left = getattr(tank, "left", ())
    if not any(one.out for one in left):
        return last
    n = len(state.ok)

    def brought(key: str) -> Floats:
        return np.asarray(sum((x.share * x.out[key] for x in left if key in x.out), np.zeros(n)))

    solids = state.phases.solids
    amounts = [brought(s.key) for s in solids]
    salts = np.minimum(np.array(amounts).reshape(-1, n).T, np.nan_to_num(state.settled))
    cold = [brought(f"{key}_crystals") for key in state.cold.keys]
    crystals = np.minimum(np.array(cold).reshape(-1, n).T, np.nan_to_num(state.cold.amount_g_per_L))
    loose = np.array([brought(c.key) for c in colloids]).reshape(-1, n).T
    by_look = [limits()[s.shows_as] for s in solids]
    shows = np.array([x.shows_g_per_L for x in by_look])
    clogs = np.array([x.clogs_g_per_L for x in by_look])
    seen = (salts / shows).max(axis=1, initial=0.0)
    full = (salts / clogs).sum(axis=1)
    none = Out(salts, crystals, loose, loose, seen, full)
    return none if last is None else last.or_more(none)


def _states(
    tank: Standing, names: Sequence[str], quick: bool, settles: bool
) -> tuple[State, dict[str, State], State | None, Driven | None]:
    """The tank at once, by each time, at the end of a cold night if it stands one, and what
    stirring drives out."""
    if not names:
        return tank.at(0.0, within_s=0.0), {}, None, None
    times = [TIMES_S[n] for n in names]
    driven: Driven | None = None

    def gone(t_s: float) -> Floats | None:
        return None if driven is None else driven.by(t_s)

    def changes() -> list[Bools]:
        """(N,) for each time, whether the totals are other than by the time before."""
        totals = [tank.aged.totals(t, gone(t)) for t in (0.0, *times)]
        return [(b != a).any(axis=1) for a, b in pairwise(totals)]

    changed = changes()

    def until(change: int) -> Floats:
        """(N,) the last time [s] at which the totals after a change (-1: none) still stand."""
        end, still = np.zeros(tank.draws.count), np.ones(tank.draws.count, dtype=bool)
        for k in range(max(change, 0), len(times)):
            if k > change:
                still &= ~changed[k]
            end[still] = times[k]
        return end

    def within(change: int) -> Floats:
        """(N,) what shows by then is settled."""
        if not settles:
            return np.full(tank.draws.count, -1.0)
        return until(change) if quick else np.full(tank.draws.count, np.inf)

    fresh = tank.at(0.0, within_s=within(-1))
    driven = driven_out(tank.aged.system, fresh, tank.finished.water_kg_per_L, tank.draws)
    if driven is not None:
        changed = changes()
    moments = {
        k: Moment(times[k], rows, within(k)[rows], gone(times[k]))
        for k, rows in enumerate(map(np.flatnonzero, changed))
        if rows.size
    }
    found = tank.at_each(list(moments.values()), fresh.clear) if moments else []
    parts = dict(zip(moments, found, strict=True))
    state, states = fresh, {}
    passing = Passing(fresh.clouding)
    for k, name in enumerate(names):
        clocks, part = passing.clocks, parts.get(k)
        if part is not None:
            clocks = clocks.copy()
            clocks[moments[k].rows] = part.clouding
        shows = passing.onward(times[k - 1] if k else 0.0, times[k], clocks)
        if part is not None:
            rows = moments[k].rows
            state = state.put(rows, replace(part, clouding=shows[rows]))
        states[name] = state
    cold = None
    if tank.coldest_celsius is not None and names[-1] == "24h":
        cold = tank.at(
            times[-1],
            tank.coldest_celsius,
            near=state.clear,
            within_s=within(len(times) - 1),
            driven=gone(times[-1]),
        )
    return fresh, states, cold, driven
