"""Beliefs replayed from the entries, whenever they are needed: nothing learned is ever kept."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace

from chem.forecast import NOTHING_LEARNED, Beliefs
from chem.notebook.facts import ROWS, Facts, Replay, mix_key, packed, raw_odds, unpacked
from chem.notebook.memory import Memory
from chem.notebook.readings import Readings
from chem.notebook.store import Kept, Notebook, current
from chem.reference.fingerprint import made_with
from chem.shelf.cache import Cache, cache_folder
from chem.tank import Mix


@dataclass(frozen=True)
class Learned:
    """What a notebook teaches: beliefs for a Study; what each entry said, beside the labels, and
    once the readings moved its tank; readings, memory."""

    beliefs: Beliefs
    facts: tuple[Facts, ...]
    moved: tuple[Facts, ...]
    readings: Readings
    memory: Memory

    def knows(self, jugs: Sequence[str]) -> bool:
        """Whether anything was learned of any of these jugs, by their identities."""
        return self.readings.knows(jugs) or bool(self.memory.known & set(jugs))


def learn_from(book: Notebook, seed: int = 1) -> tuple[tuple[Kept, ...], Learned]:
    """A notebook's entries and what they teach.

    What each entry says is kept in the cache of the shelf, by what it was made with, and can be
    thrown away. Raises: InputProblem where the notebook can't be read.
    """
    kept, replay = book.kept(), Replay(seed=seed)
    stand = current(kept)
    names = {k.entry.id: f"facts {k.entry.id} {k.ours} {ROWS} {seed}" for k in stand}
    last = "\n".join([*names.values(), *(k.entry.line().decode() for k in stand[-1:])])
    moved = f"moved {hashlib.sha256(last.encode()).hexdigest()}"
    with Cache(cache_folder(), repr(sorted(made_with().items()))) as cache:
        found = cache.get([*names.values(), moved])
        try:
            known = {i: unpacked(found[n]) for i, n in names.items() if n in found}
            after = [unpacked(f) for f in found[moved]] if moved in found else None
        except (KeyError, TypeError):
            known, after = {}, None
        replay.known(known)
        learned = learn(kept, replay, moved=after)
        new = {names[f.entry]: packed(f) for f in learned.facts if f.entry not in known}
        if after is None:
            new[moved] = [packed(f) for f in learned.moved]  # type: ignore[assignment]
        if new:
            cache.put(new)
    return kept, learned


def learn(
    kept: Sequence[Kept],
    replay: Replay | None = None,
    *,
    ph: bool = True,
    looks: bool = True,
    moved: Sequence[Facts] | None = None,
) -> Learned:
    """Replay entries, those corrected since left out.

    replay: facts worked out earlier; ph, looks: whether readings and looks may teach; moved: facts
    after the readings, where they are known.
    """
    replay = Replay() if replay is None else replay
    stand = current(kept)
    facts = replay.facts(stand)
    readings = Readings(facts if ph else [])
    moves = readings if ph and readings.members else None
    if moved is None:
        moved = after_readings(stand, facts, replay, readings) if looks else facts
    memory = Memory(moved if looks else [])
    if moves is None and not memory.seen:
        return Learned(NOTHING_LEARNED, tuple(facts), tuple(moved), readings, memory)
    beliefs = Beliefs(memory=memory.shift, moves=moves)
    return Learned(beliefs, tuple(facts), tuple(moved), readings, memory)


MOST_MOVED = 40
"""So many mixes, the latest looked at, are followed anew at the pH that was learned; the looks at
older ones are held to the odds of the labels."""


def after_readings(
    kept: Sequence[Kept], facts: Sequence[Facts], replay: Replay, readings: Readings
) -> list[Facts]:
    """Facts with the odds of each look as they are once the readings moved the tank's pH."""
    if not readings.members:
        return list(facts)
    entries = {k.entry.id: k for k in kept}
    study = replay.study.believing(Beliefs(moves=readings))
    wanted: dict[str, Mix] = {}
    of_entry: dict[str, str] = {}
    for fact in reversed(facts):
        mix = replay.mix(entries[fact.entry]) if fact.looks else None
        if mix is None or not readings.knows([j.identity for j in fact.jugs]):
            continue
        key = mix_key(mix)
        if key in wanted or len(wanted) < MOST_MOVED:
            wanted[key] = mix
            of_entry[fact.entry] = key
    found = dict(zip(wanted, study.follow(list(wanted.values())), strict=True))
    out = []
    for fact in facts:
        seen = found.get(of_entry.get(fact.entry, ""))
        if seen is None or not seen.ok.any():
            out.append(fact)
            continue
        looks = []
        for look in fact.looks:
            shows, blocks = raw_odds(seen, look.t_s)
            looks.append(replace(look, shows=shows, blocks=blocks))
        out.append(replace(fact, looks=tuple(looks)))
    return out
