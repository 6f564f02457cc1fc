"""How good the forecasts were: what came of those called clear, Brier and log score, coverage."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log

import numpy as np

from chem.doubts import doubts
from chem.doubts.spread import blurred
from chem.notebook.facts import LookFact
from chem.notebook.memory import Memory
from chem.notebook.readings import Readings
from chem.notebook.replay import Replay
from chem.notebook.store import Kept, current
from chem.notebook.tried import outcome_of

BLOCKS = 12
"""So many times the notebook is taken as far as it went and asked about what came next."""
CALLED = ("clear", "haze", "curdle", "cannot tell")
WITHIN_90 = 1.645


@dataclass(frozen=True)
class Called:
    """Of the tanks that a forecast called so, how many came out clear, and how many there were."""

    word: str
    clear: int
    of: int


@dataclass(frozen=True)
class OfSolid:
    """Of the looks for which a solid was forecast as most likely, how many showed solids; mean
    chance that was given."""

    key: str
    showed: int
    of: int
    chance: float


@dataclass(frozen=True)
class Score:
    """Entries that can be scored; each pair by the labels alone and with what had been learned by
    then, None where nothing can be scored."""

    entries: int
    called: tuple[Called, ...]
    solids: tuple[OfSolid, ...]
    brier: tuple[float, float] | None
    log_score: tuple[float, float] | None
    ph_inside: tuple[float, float] | None
    looks: int
    readings: int


def score(kept: Sequence[Kept], replay: Replay | None = None) -> Score:
    """Score a notebook: every look by what was known before it, never by itself."""
    replay = Replay() if replay is None else replay
    stand = current(kept)
    facts = replay.facts(stand)
    blur = blurred(doubts()["unknown_odds"].b)
    size = max(1, -(-len(facts) // BLOCKS))
    odds: list[tuple[float, float, bool]] = []
    for first in range(0, len(facts), size):
        some = facts[first : first + size]
        before = facts[:first]
        readings = Readings(before)
        moved = replay.after(stand, [*before, *some], readings)
        memory = Memory(moved[:first], readings.credit)
        for plain, after in zip(some, moved[first:], strict=True):
            shift = memory.shift([j.identity for j in plain.jugs])
            for one, other in zip(plain.looks, after.looks, strict=True):
                showed = shown(one)
                if showed is not None:
                    label = chance_of(one.shows / blur)
                    odds.append((label, chance_of((other.shows + shift) / blur), showed))
    readings = Readings(facts)
    inside = [
        abs(p.value - p.median) <= WITHIN_90 * (p.spread.variance + p.variance) ** 0.5
        for f in facts
        for p in f.ph
    ]
    scored = bool(odds)
    return Score(
        entries=len(stand),
        called=_called(stand),
        solids=_of_solids(stand),
        brier=_pair(odds, lambda p, y: (p - y) ** 2) if scored else None,
        log_score=_pair(odds, lambda p, y: -log(p if y else 1.0 - p)) if scored else None,
        ph_inside=(float(np.mean(inside)), float(np.mean(readings.inside))) if inside else None,
        looks=len(odds),
        readings=len(inside),
    )


def shown(look: LookFact) -> bool | None:
    """Whether a look tells of solids; None where it tells only that nothing blocked."""
    clear, haze, curdle = look.likely
    if clear > 3.0 * max(haze, curdle):
        return False
    return True if clear < min(haze, curdle) or clear < max(haze, curdle) / 3.0 else None


def chance_of(log_odds: float) -> float:
    """A chance from its log odds, held a little off 0 and 1."""
    return float(np.clip(1.0 / (1.0 + np.exp(-log_odds)), 1e-3, 1.0 - 1e-3))


def _pair(odds: Sequence[tuple[float, float, bool]], of: object) -> tuple[float, float]:
    assert callable(of)
    return (
        float(np.mean([of(p, y) for p, _, y in odds])),
        float(np.mean([of(p, y) for _, p, y in odds])),
    )


def _called(stand: Sequence[Kept]) -> tuple[Called, ...]:
    told = [
        (k.entry.forecast.answer, outcome == "fine")
        for k in stand
        if k.entry.forecast is not None and (outcome := outcome_of(k.entry)) is not None
    ]
    each = [(w, [fine for word, fine in told if word == w]) for w in CALLED]
    return tuple(Called(w, sum(fine), len(fine)) for w, fine in each if fine)


def _of_solids(stand: Sequence[Kept]) -> tuple[OfSolid, ...]:
    told: dict[str, list[tuple[bool, float]]] = {}
    for k in stand:
        outcome, stood = outcome_of(k.entry), k.entry.forecast
        if outcome is None or stood is None or not stood.solids:
            continue
        first = stood.solids[0]
        given = first.probability.get("4h")
        if given is not None:
            told.setdefault(first.key, []).append((outcome != "fine", given))
    return tuple(
        OfSolid(key, sum(y for y, _ in each), len(each), float(np.mean([p for _, p in each])))
        for key, each in sorted(told.items())
    )
