"""What shows by when, per draw, and the answer: what advice asks of a forecast most often."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from chem.equilibrium.activity import Floats
from chem.forecast.colloids import ColloidOutlook, colloid_outlook
from chem.forecast.prepare import Doubtful, Prepared
from chem.forecast.result import TIMES_S
from chem.reference import tables
from chem.tank import Mix

Bools = NDArray[np.bool_]
THRESHOLD = 0.10
FAILED_SHARE = 0.10


@dataclass(frozen=True)
class Outlook:
    """One tank over a spray day.

    fresh: at once; states: by time; ok: (N,) draws that found every state; amounts: time ->
    (N, M) [g/L] out by then; shows, blocks: time -> (N,) above the limits; probability, clogs:
    their chances, salts and colloids together; crystals: time -> (N, K)
    [g/L] of very soluble salts; colloids: each apart; suited: chance that the
    fresh pH is in the adjuvant's window, None without one.
    """

    ready: Prepared
    fresh: Doubtful
    states: Mapping[str, Doubtful]
    ok: Bools
    amounts: Mapping[str, Floats]
    shows: Mapping[str, Bools]
    blocks: Mapping[str, Bools]
    probability: Mapping[str, float]
    clogs: Mapping[str, float]
    crystals: Mapping[str, Floats]
    colloids: tuple[ColloidOutlook, ...]
    suited: float | None
    not_judged: tuple[str, ...]

    def answer(self, judged_at: str) -> tuple[str, float, str | None]:
        """The answer, the chance behind it, and why it can't be told, if so."""
        draws = self.ready.draws
        ionic = float(draws.quantile(self.fresh.clear.ionic_strength, (0.5,))[0])
        return answer_from(
            self.probability,
            self.clogs,
            judged_at,
            ionic,
            float((~self.ok).mean()),
            self.not_judged,
        )


def outlook(ready: Prepared, *, quick: bool = False) -> Outlook:
    """Follow one prepared tank through the spray day.

    quick: settle only what shows by each time; what forms later has no amount then.
    """
    mix, draws = ready.mix, ready.draws
    fresh, states, cold = _followed(ready, quick)
    every = [fresh, *states.values(), *([cold] if cold else [])]
    ok = np.all([s.ok for s in every], axis=0)
    show, clog = tables().value("show_limit"), tables().value("clog_limit")
    amounts, crystal, shows, blocks = {}, {}, {}, {}
    frozen = np.zeros(fresh.cold.si.shape)
    colloids = colloid_outlook(ready, fresh)
    so_far = np.zeros(fresh.settled.shape)
    most_seen, most_full = np.zeros(len(ok)), np.zeros(len(ok))
    for name, t in TIMES_S.items():
        out = np.nan_to_num(states[name].amounts(t))
        if cold is not None and name == "24h":
            out = np.maximum(out, np.nan_to_num(cold.amounts(t)))
        salts = np.nan_to_num(states[name].crystals(t))
        if cold is not None and name == "24h":
            salts = np.maximum(salts, np.nan_to_num(cold.crystals(t)))
        so_far = np.maximum(so_far, out)
        frozen = np.maximum(frozen, salts)
        crystal[name] = frozen
        # Each amount is for that salt alone, so the largest stands for all.
        coldest = frozen.max(axis=1, initial=0.0)
        amounts[name] = so_far
        seen, full = states[name].growing.filled(t)
        if cold is not None and name == "24h":
            cold_seen, cold_full = cold.growing.filled(t)
            seen, full = np.maximum(seen, cold_seen), np.maximum(full, cold_full)
        most_seen, most_full = np.maximum(most_seen, seen), np.maximum(most_full, full)
        loose = [c.amount_by(t) for c in colloids]
        swollen = sum(c.swollen_g_per_L * c.share_by(t) for c in colloids)
        shows[name] = np.max([most_seen, coldest / show, *(x / show for x in loose)], axis=0) > 1.0
        blocks[name] = most_full + (coldest + swollen) / clog > 1.0
    suited = None
    if mix.adjuvant is not None:
        inside = (fresh.clear.ph >= mix.adjuvant.ph_low) & (fresh.clear.ph <= mix.adjuvant.ph_high)
        suited = draws.chance(inside, fresh.clear.converged)
    return Outlook(
        ready,
        fresh,
        states,
        ok,
        amounts,
        shows,
        blocks,
        {t: draws.chance(shows[t], ok) for t in TIMES_S},
        {t: draws.chance(blocks[t], ok) for t in TIMES_S},
        crystal,
        colloids,
        suited,
        tuple(_not_judged(mix)),
    )


def _followed(
    ready: Prepared, quick: bool
) -> tuple[Doubtful, dict[str, Doubtful], Doubtful | None]:
    """The tank at once, by each time, and at the end of a cold night if it stands one."""
    times = list(TIMES_S.values())
    totals = [ready.aged.totals(t) for t in (0.0, *times)]
    changed = [(b != a).any(axis=1) for a, b in pairwise(totals)]

    def until(change: int) -> Floats:
        """(N,) the last time [s] at which the totals after a change (-1: none) still stand."""
        end, still = np.zeros(ready.draws.count), np.ones(ready.draws.count, dtype=bool)
        for k in range(max(change, 0), len(times)):
            if k > change:
                still &= ~changed[k]
            end[still] = times[k]
        return end

    fresh = ready.at(0.0, within_s=until(-1) if quick else np.inf)
    state, states = fresh, {}
    for k, (name, t) in enumerate(TIMES_S.items()):
        rows = np.flatnonzero(changed[k])
        if rows.size:
            within = until(k)[rows] if quick else np.inf
            part = ready.at(t, rows=rows, near=state.clear, within_s=within)
            state = state.put(rows, part)
        states[name] = state
    cold = None
    if ready.mix.coldest_celsius is not None:
        cold = ready.at(
            times[-1],
            ready.mix.coldest_celsius,
            near=state.clear,
            within_s=times[-1] if quick else np.inf,
        )
    return fresh, states, cold


def answer_from(
    probability: Mapping[str, float],
    clogs: Mapping[str, float],
    judged_at: str,
    ionic: float,
    failed: float,
    unjudged: Sequence[str],
) -> tuple[str, float, str | None]:
    """The answer, the chance behind it, and why it can't be told, if so."""
    limit = tables().value("ionic_strength_limit")
    if failed > FAILED_SHARE:
        return "cannot tell", 1.0 - failed, f"no equilibrium found in {100 * failed:.0f} % of draws"
    if not ionic <= limit:
        return (
            "cannot tell",
            probability[judged_at],
            f"far too concentrated for the model (ionic strength {ionic:.1f} mol/kg)",
        )
    if clogs[judged_at] >= THRESHOLD:
        return "curdle", clogs[judged_at], None
    if probability[judged_at] >= THRESHOLD:
        return "haze", probability[judged_at], None
    if unjudged:
        return (
            "cannot tell",
            1.0 - probability[judged_at],
            f"the salts stay clear; {', '.join(unjudged)} can't be judged: the jar decides",
        )
    return "clear", 1.0 - probability[judged_at], None


def _not_judged(mix: Mix) -> list[str]:
    """Products whose behaviour is not chemistry of ions."""
    return [a.product.name for a in mix.additions if not a.product.judged]
