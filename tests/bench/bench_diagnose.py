"""Diagnosis of simulated failures: `python` this file.

200 tanks of `world.py` that truly show solids by 15 minutes, 4 hours or 24 hours. What is seen of
each is drawn from the truth as an eye, a clock and a pH strip would give it; the diagnosis has that
and the labels. Counts how often the solid with the most mass is named first, or first or second,
and whether the stated probability is honest; writes `diagnose.md` beside this file.
"""

# BLAS reads its threads when numpy is imported, so the environment comes first.
# ruff: noqa: E402

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import argparse
import multiprocessing
import statistics
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(ROOT), str(HERE)]

import world

from chem.advice.diagnose import diagnose
from chem.errors import InputProblem
from chem.tank import read_mix

FAILURES = 200
STRIP = 0.8
"""Share of people who read a strip."""
STRIP_SD = 0.25
STRIP_STEP = 0.5
CLOCK_SD = 0.1
"""Of the logarithm of the minutes told."""
FIRST, FIRST_TWO = 0.80, 0.95
BINS = (0.0, 0.3, 0.5, 0.7, 0.9, 0.98, 1.0)
COMMON = 4
"""Failures in which a solid must be the true one to stand in a row of its own."""


@dataclass
class Case:
    """One failure: the truth, what was told of it, and the causes with and without the strip.

    causes, causes_blind: (key, probability), the likeliest first; `problem`: why there is none.
    """

    seed: int
    when: str = ""
    true: str = ""
    runner_up: float = 0.0
    out: dict[str, float] | None = None
    true_ph: float = 0.0
    seen: tuple[str, ...] = ()
    minutes: float = 0.0
    strip: float | None = None
    causes: tuple[tuple[str, float], ...] = ()
    causes_blind: tuple[tuple[str, float], ...] = ()
    agrees: bool = True
    seconds: float = 0.0
    problem: str = ""


def observe(rng: np.random.Generator, truth: world.Truth, when: str) -> Case:
    """What a person at the tank would tell of it; `seed` is left 0."""
    out = {k: g for k, g in truth.out[when].items() if g > 0.0}
    ranked = sorted(out, key=lambda k: -out[k])
    ph = truth.ph_then[when]
    reading = STRIP_STEP * round((ph + STRIP_SD * float(rng.standard_normal())) / STRIP_STEP)
    told = bool(rng.random() < STRIP)
    minutes = world.TIMES_S[when] / 60.0 * float(np.exp(CLOCK_SD * rng.standard_normal()))
    return Case(
        0,
        when,
        ranked[0],
        out[ranked[1]] / out[ranked[0]] if len(ranked) > 1 else 0.0,
        out,
        ph,
        world.look(rng, out),
        round(minutes, 0),
        reading if told else None,
    )


def case(seed: int) -> Case | None:
    """Draw one tank; if it shows at a time drawn, diagnose it with and without the strip."""
    rng = np.random.default_rng((0xD1A6, seed))
    when = str(rng.choice(list(world.TIMES_S)))
    with tempfile.TemporaryDirectory() as folder:
        try:
            truth = world.draw_tank(seed, Path(folder))
        except world.NoTruth as none:
            return Case(seed, problem=f"no truth: {none}")
        if not truth.shows[when]:
            return None
        found = observe(rng, truth, when)
        found.seed = seed
        try:
            mix = read_mix(truth.mix)
            start = time.perf_counter()
            told = diagnose(mix, seen=found.seen, after_min=found.minutes, ph=found.strip, remedies=False)
            found.seconds = time.perf_counter() - start
            blind = told
            if found.strip is not None:
                blind = diagnose(mix, seen=found.seen, after_min=found.minutes, remedies=False)
        except InputProblem as problem:
            found.problem = f"refused: {problem}"
            return found
    found.causes = tuple((c.key, c.probability) for c in told.causes)
    found.causes_blind = tuple((c.key, c.probability) for c in blind.causes)
    found.agrees = told.agrees
    return found


