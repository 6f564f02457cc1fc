"""Beliefs replayed from the entries, whenever they are needed: nothing learned is ever kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from chem.forecast import NOTHING_LEARNED, Beliefs
from chem.notebook.facts import Facts, Replay, mix_key, raw_odds
from chem.notebook.memory import Memory
from chem.notebook.readings import Readings
from chem.notebook.store import Kept, Notebook, current


@dataclass(frozen=True)
class Learned:
    """What a notebook teaches: beliefs for a Study, what each entry said, readings, memory."""

    beliefs: Beliefs
    facts: tuple[Facts, ...]
    readings: Readings
    memory: Memory

    def knows(self, jugs: Sequence[str]) -> bool:
        """Whether anything was learned of any of these jugs, by their identities."""
        return self.readings.knows(jugs) or bool(self.memory.known & set(jugs))


def learn_from(book: Notebook, seed: int = 1) -> tuple[tuple[Kept, ...], Learned]:
    """A notebook's entries and what they teach. Raises: InputProblem where it can't be read."""
    kept = book.kept()
    return kept, learn(kept, Replay(seed=seed))


def learn(
    kept: Sequence[Kept], replay: Replay | None = None, *, ph: bool = True, looks: bool = True
) -> Learned:
    """Replay entries, those corrected since left out.

    replay: facts worked out earlier; ph, looks: whether readings and looks may teach.
    """
    replay = Replay() if replay is None else replay
    stand = current(kept)
    facts = replay.facts(stand)
    readings = Readings(facts if ph else [])
    moves = readings if ph and readings.members else None
    memory = Memory(after_readings(facts, replay, readings) if moves else facts)
    if not looks:
        memory = Memory([])
    if moves is None and not memory.seen:
        return Learned(NOTHING_LEARNED, tuple(facts), readings, memory)
    beliefs = Beliefs(memory=memory.shift, moves=moves)
    return Learned(beliefs, tuple(facts), readings, memory)


def after_readings(facts: Sequence[Facts], replay: Replay, readings: Readings) -> list[Facts]:
    """Facts with the odds of each look as they are once the readings moved the tank's pH."""
    if not readings.members:
        return list(facts)
    study = replay.study.believing(Beliefs(moves=readings))
    wanted = {
        mix_key(replay.mixes[f.entry]): replay.mixes[f.entry]
        for f in facts
        if f.looks and readings.knows([j.identity for j in f.jugs])
    }
    found = dict(zip(wanted, study.follow(list(wanted.values())), strict=True))
    out = []
    for fact in facts:
        moved = found.get(mix_key(replay.mixes[fact.entry]))
        if moved is None or not moved.ok.any():
            out.append(fact)
            continue
        looks = []
        for look in fact.looks:
            shows, blocks = raw_odds(moved, look.t_s)
            looks.append(replace(look, shows=shows, blocks=blocks))
        out.append(replace(fact, looks=tuple(looks)))
    return out
