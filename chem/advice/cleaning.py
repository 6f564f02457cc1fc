"""How a sprayer is cleaned of what came out: steps in an order that is right for all of it.

Common practice, no source, but for what dissolves in what. Water first, because acid frees gas from
what it meets of a mix; brush and alkali before acid, which sets humic matter and gels of kelp
harder; clean water last.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from chem.tank import Mix

FLUSH, HALF = 0.1, 0.5
"""Water for a rinse, and for what takes much or warm water to dissolve, as shares of the tank."""
STEPS = {
    "flush": (2, 5),
    "brush": (1, 15),
    "warm": (1, 15),
    "much": (2, 60),
    "alkali": (1, 30),
    "acid": (1, 30),
    "last": (2, 5),
}
"""Steps in their order -> how often, and the minutes stirred or soaked each time."""
WARY_FLUSHES = 3
"""Rinses before an acid, where an acid must not meet the mix."""
STEP_OF = {
    "gel": "brush",
    "sulfur": "brush",
    "warm_water": "warm",
    "gypsum": "much",
    "humate": "alkali",
    "acid": "acid",
    "water": "flush",
}
"""Way of cleaning of a cause -> the step that clears it."""


@dataclass(frozen=True)
class CleanStep:
    """One step of cleaning out.

    what: a key of `STEPS`; keys: causes that it is for, none where it is for all; litres: of water
    each time, None where the mix names no tank; times; minutes: stirred or soaked each time;
    agent: `citric acid`, `vinegar` or `baking soda`, or empty.
    """

    what: str
    keys: tuple[str, ...]
    litres: float | None
    times: int
    minutes: int
    agent: str = ""


def clean_steps(
    mix: Mix, causes: Sequence[tuple[str, str]], *, wary: bool = False, acid: bool = True
) -> tuple[CleanStep, ...]:
    """Steps that clean a sprayer of every cause.

    Args:
        causes: (key, way of cleaning: a key of `STEP_OF`) of each; wary: whether an acid must not
            meet this mix; acid: whether one may be named at all.
    """
    ways = {way for _, way in causes}
    wanted = {"flush", "brush", "last", *(STEP_OF[way] for way in ways)}
    if "sulfur" in ways or not acid:
        wanted.discard("acid")
    citrate = any(key == "calcium_citrate" for key, _ in causes)
    agents = {"alkali": "baking soda", "acid": "vinegar" if citrate else "citric acid"}
    out = []
    for what, (often, minutes) in STEPS.items():
        if what not in wanted:
            continue
        keys = tuple(key for key, way in causes if STEP_OF[way] == what and what != "flush")
        share = HALF if what in {"warm", "much"} else FLUSH
        litres = None if mix.tank_L is None else share * mix.tank_L
        times = WARY_FLUSHES if what == "flush" and wary else often
        out.append(CleanStep(what, keys, litres, times, minutes, agents.get(what, "")))
    return tuple(out)
