"""Beliefs replayed from the entries, whenever they are needed: nothing learned is ever kept."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from chem.forecast import NOTHING_LEARNED, Beliefs
from chem.notebook.facts import Facts
from chem.notebook.jugs import Jugs
from chem.notebook.memory import Memory
from chem.notebook.readings import Readings
from chem.notebook.replay import Replay
from chem.notebook.store import Kept, Notebook, current
from chem.reference.fingerprint import made_with
from chem.shelf.cache import Cache, cache_folder


@dataclass(frozen=True)
class Learned:
    """What a notebook teaches: beliefs for a Study; what each entry said, beside the labels, and
    once the readings moved its tank; readings, memory, jugs that were measured."""

    beliefs: Beliefs
    facts: tuple[Facts, ...]
    moved: tuple[Facts, ...]
    readings: Readings
    memory: Memory
    jugs: Jugs


def learn_from(book: Notebook, seed: int = 1) -> tuple[tuple[Kept, ...], Learned]:
    """A notebook's entries and what they teach.

    What each entry says is kept in the cache of the shelf, by what it was made with, and can be
    thrown away. Raises: InputProblem where the notebook can't be read.
    """
    kept = book.kept()
    with Cache(cache_folder(), repr(sorted(made_with().items()))) as cache:
        return kept, learn(kept, Replay(seed=seed, cache=cache))


def learn(
    kept: Sequence[Kept], replay: Replay | None = None, *, ph: bool = True, looks: bool = True
) -> Learned:
    """Replay entries, those corrected since left out.

    replay: facts worked out earlier; ph, looks: whether readings and looks may teach.
    """
    replay = Replay() if replay is None else replay
    stand = current(kept)
    jugs = Jugs(stand)
    replay.measured(jugs)
    facts = replay.facts(stand)
    readings = Readings(facts if ph else [], jugs.measured)
    moved = replay.after(stand, facts, readings) if looks else facts
    memory = Memory(moved if looks else [], readings.credit)
    moves = readings if readings.members else None
    beliefs = NOTHING_LEARNED
    if moves is not None or memory.seen or jugs.key:
        rests_on = repr((replay.seed, [(k.entry.id, k.ours) for k in stand]))
        beliefs = Beliefs(
            jug=jugs.measured if jugs.key else NOTHING_LEARNED.jug,
            memory=memory.shift,
            moves=moves,
            key=hashlib.sha256(rests_on.encode()).hexdigest(),
        )
    return Learned(beliefs, tuple(facts), tuple(moved), readings, memory, jugs)
