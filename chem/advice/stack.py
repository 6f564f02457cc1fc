"""Many states of one tank in few batches: sets of products poured, or rates multiplied.

Row k N + i is draw i of state k, so that every state is tried with the same draws.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from chem.forecast import TIMES_S, Prepared
from chem.forecast.aging import aging
from chem.forecast.colloids import colloid_outlook
from chem.forecast.stack import Picked, stacked
from chem.reference import tables
from chem.tank import Finished

ROWS_AT_ONCE = 1024
CORES = 2


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
    looks = [stack.at(t_s, t, within_s=t_s) for t in at]
    ok = np.all([look.ok for look in looks], axis=0)
    salts = np.nan_to_num(np.max([look.amounts(t_s) for look in looks], axis=0))
    cold = [np.nan_to_num(look.crystals(t_s)) for look in looks]
    loose = colloid_outlook(stack, looks[0])
    limit = tables().value("show_limit")
    seen_as = [look.growing.filled(t_s)[0] for look in looks]
    seen_as += [c.max(axis=1, initial=0.0) / limit for c in cold]
    seen_as += [c.amount_by(t_s) / limit for c in loose]
    shows = np.max(seen_as, axis=0) > 1.0
    kinds = {s.name: salts[:, m] for m, s in enumerate(looks[0].phases.solids)}
    kinds |= {name: cold[0][:, m] for m, name in enumerate(looks[0].cold.names)}
    kinds |= {c.key.replace("_", " "): c.amount_by(t_s) for c in loose}
    ph = looks[0].clear.ph
    seen = []
    for k in range(len(states)):
        block = slice(k * n, (k + 1) * n)
        most, culprit = 0.0, None
        for name, amount in kinds.items():
            weight = float(draws.weights[amount[block] > limit].sum())
            if weight > most:
                most, culprit = weight, name
        seen.append(
            Glance(
                draws.chance(shows[block], ok[block]),
                culprit,
                1.0 - draws.chance(ok[block]),
                float(draws.quantile(ph[block], (0.5,))[0]),
            )
        )
    return seen
