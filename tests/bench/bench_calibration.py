"""Calibration of the forecast against a simulated world: `python` this file.

300 tanks whose truth is known (`world.py`), each forecast from its printed labels and its water
report alone. Counts how often the 90 % ranges hold the truth, how good the odds are, and how long
it took; writes `calibration.md` beside this file.
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
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(ROOT), str(HERE)]

import world

from chem.doubts import Draws
from chem.errors import InputProblem
from chem.forecast import outlook, prepare
from chem.label import contents
from chem.tank import read_mix

DRAWS = 256
LEVELS = (0.05, 0.5, 0.95)
POOL_SI = -3.0
COMMON = 25
"""Tanks in which a solid must count to stand in a row of its own."""
BINS = (0.0, 0.02, 0.1, 0.3, 0.7, 0.9, 0.98, 1.0)
TIMED = 25
"""Tanks whose liquids are timed."""
COVERAGE = (0.85, 0.95)
BRIER = 0.12
SHOWS = (0.30, 0.70)
COLD = """
import time; start = time.perf_counter()
from pathlib import Path; from chem.tank import read_mix; from chem.forecast import forecast
forecast(read_mix(Path({path!r}))); print(time.perf_counter() - start)
"""


@dataclass
class Compared:
    """One tank: the truth beside its range (low, median, high), and odds beside the outcome."""

    seed: int
    families: tuple[str, ...] = ()
    problem: str = ""
    ph: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    every_ph: bool = False
    unsaid: bool = False
    si: dict[str, tuple[float, float, float, float]] = field(default_factory=dict)
    odds: dict[str, tuple[float, bool]] = field(default_factory=dict)
    answer: str = ""
    curdled_by: list[str] = field(default_factory=list)
    seconds: float = 0.0


def compare(seed: int) -> Compared:
    """Draw one tank, forecast it from its labels, and put both side by side."""
    with tempfile.TemporaryDirectory() as folder:
        try:
            truth = world.draw_tank(seed, Path(folder))
        except world.NoTruth as none:
            return Compared(seed, problem=f"no truth: {none}")
        families = truth.families
        start = time.perf_counter()
        try:
            mix = read_mix(truth.mix)
            draws = Draws(DRAWS, 1)
            ready = prepare(mix, draws)
            seen = outlook(ready)
        except InputProblem as problem:
            return Compared(seed, families, problem=f"refused: {problem}")
        seconds = time.perf_counter() - start
    here = seen.states["4h"]

    def beside(true: float, values: np.ndarray) -> tuple[float, float, float, float]:
        low, middle, high = draws.quantile(values, LEVELS)
        return true, float(low), float(middle), float(high)

    return Compared(
        seed,
        families,
        ph=beside(truth.ph, seen.fresh.clear.ph),
        every_ph=truth.labels_with_ph == len(families),
        unsaid=truth.unsaid,
        si={
            key: beside(truth.si["4h"][key], here.si[:, m])
            for m, key in enumerate(here.phases.keys)
            if key in truth.si["4h"]
        },
        odds={t: (seen.probability[t], truth.shows[t]) for t in world.TIMES_S},
        answer=seen.answer("4h")[0],
        curdled_by=[k for k, grams in truth.out["4h"].items() if grams > 0.02],
        seconds=seconds,
    )


def coverage(rows: list[tuple[float, float, float, float]]) -> str:
    """How often the truth is inside, below, above; the range's width; the median's error."""
    true, low, middle, high = np.array(rows).T
    inside = float(((true >= low) & (true <= high)).mean())
    return (
        f"{len(rows)} | {100 * inside:.0f} % | {100 * float((true < low).mean()):.0f} % | "
        f"{100 * float((true > high).mean()):.0f} % | {np.median(high - low):.2f} | "
        f"{np.median(np.abs(true - middle)):.2f}"
    )


def inside(rows: list[tuple[float, float, float, float]]) -> float:
    """Share of rows whose range holds the truth."""
    return sum(low <= true <= high for true, low, _, high in rows) / len(rows)


def brier(pairs: list[tuple[float, bool]]) -> tuple[float, float, float]:
    """Brier score of the odds, of the base rate always said, and the base rate."""
    odds, happened = np.array(pairs, dtype=float).T
    base = float(happened.mean())
    return float(((odds - happened) ** 2).mean()), base * (1.0 - base), base


def report(
    found: list[Compared],
    seconds: float,
    workers: int,
    cold: float,
    contents_ms: list[float],
    seed: int,
) -> str:
    """The page."""
    good = [c for c in found if not c.problem]
    without = [c for c in found if c.problem.startswith("no truth")]
    refused = [c for c in found if c.problem.startswith("refused")]
    pooled: dict[str, list[tuple[float, float, float, float]]] = {}
    for c in good:
        for key, row in c.si.items():
            if row[2] > POOL_SI and np.isfinite(row).all():
                pooled.setdefault(key, []).append(row)
    every = [row for rows in pooled.values() for row in rows]
    ph = [c.ph for c in good]
    scores = {t: brier([c.odds[t] for c in good]) for t in world.TIMES_S}
    timed = sorted(contents_ms)
    base = scores["4h"][2]
    checks = [
        ("90 % range of pH holds the truth", inside(ph), COVERAGE),
        ("90 % ranges of SI hold the truth, pooled", inside(every), COVERAGE),
        ("Brier score of the odds at 4 h", scores["4h"][0], (0.0, BRIER)),
        ("share of tanks that show solids at 4 h", base, SHOWS),
    ]
    out = [
        "# Calibration against a simulated world",
        "",
        f"Written by `python tests/bench/bench_calibration.py --mixes {len(found)} --seed {seed}`.",
        "",
        f"{len(good)} tanks of two or three liquids, "
        f"{sum(len(c.families) for c in good)} liquids in all. What is true was drawn first, with",
        "its own constants, over-formulation, salt, free acid and measuring errors, by a module",
        "that reads no label (`world.py`, which says what it draws); then the labels were printed,",
        f"and each tank was forecast from them and a water report alone, {DRAWS} draws.",
        "",
        "**What this can show:** whether the ranges are as wide as what a label leaves open.",
        "**What it can't:** whether the tables are right. The world draws its constants about the",
        "same tables and its clock of clouding is the same rule; no jar was shaken.",
        "",
        "How blind it is: the world's distributions were written down before the first forecast of",
        "a tank, but by someone who had read the forecast's own doubts, and several are alike.",
        "Since then a label no maker would print (a chelated metal that is not guaranteed) was",
        "taken out of it, and it follows the table of what delays clouding.",
        "",
        "What it has changed in the forecast: over-formulation reaches 15 % instead of 12 %, the",
        "figure that the world uses too, since truths of potassium, boron and sulfate lay above",
        "their ranges too often, on this page's tanks and again on 600 others (seed 2). The aims",
        "were met before: pH 0.903, SI 0.898, Brier score 0.053 in the first run of these tanks.",
        "",
        "Not solved: figures rounded down (a whole number of 10 % or more, a hundredth of boron)",
        "take away more than the forecast adds back, so the truth is oftener above than below.",
        "Nor a label that names an acid without saying how much. The forecast takes at most 5 %,",
        "and says so; an acidifier may hold 35 %. The pH of such",
        "tanks is often far too high.",
        "",
        "| aim | reached | asked | |",
        "|---|---|---|---|",
        *(
            f"| {what} | {value:.3f} | {low:g} to {high:g} | "
            f"{'yes' if low <= value <= high else '**no**'} |"
            for what, value, (low, high) in checks
        ),
        "",
        "## Ranges",
        "",
        f"SI at 4 h; solids whose median SI is above {POOL_SI:g}; a solid has a row of its own",
        f"where it counts in {COMMON} tanks or more. In the long run 90 % is inside, 5 % on each",
        "side; with n tanks the share inside scatters by about 30/sqrt(n) points.",
        "",
        "| what | n | inside | truth below | truth above | median width | median error |",
        "|---|---|---|---|---|---|---|",
        f"| pH, all | {coverage(ph)} |",
    ]
    parts = {
        "pH, an acidifier of no stated amount": [c.ph for c in good if c.unsaid],
        "pH, the others, every label gives its pH": [
            c.ph for c in good if c.every_ph and not c.unsaid
        ],
        "pH, the others, a label without": [c.ph for c in good if not (c.every_ph or c.unsaid)],
    }
    out += [f"| {what} | {coverage(rows)} |" for what, rows in parts.items() if rows]
    out.append(f"| SI, all solids | {coverage(every)} |")
    for key, rows in sorted(pooled.items(), key=lambda item: -len(item[1])):
        if len(rows) >= COMMON:
            out.append(f"| SI of {key} | {coverage(rows)} |")
    out += [
        "",
        "## Odds that solids show",
        "",
        "| by | Brier score | always saying the base rate | base rate |",
        "|---|---|---|---|",
        *(f"| {t} | {s:.3f} | {b:.3f} | {100 * r:.0f} % |" for t, (s, b, r) in scores.items()),
        "",
        "Reliability at 4 h: what was seen where the odds were so.",
        "",
        "| odds | tanks | mean odds | shown |",
        "|---|---|---|---|",
    ]
    for low, high in pairwise(BINS):
        pairs = [c.odds["4h"] for c in good]
        some = [p for p in pairs if low <= p[0] < high or (high == 1.0 and p[0] == 1.0)]
        if some:
            mean = statistics.fmean(p for p, _ in some)
            seen = sum(s for _, s in some)
            out.append(f"| {low:g} to {high:g} | {len(some)} | {mean:.2f} | {seen} |")
    answers = Counter((c.answer, c.odds["4h"][1]) for c in good)
    out += ["", "| answer for 4 h | solids shown | stayed clear |", "|---|---|---|"]
    for answer in ("clear", "haze", "curdle", "cannot tell"):
        out.append(f"| {answer} | {answers[answer, True]} | {answers[answer, False]} |")
    by = Counter(key for c in good for key in c.curdled_by)
    out += [
        "",
        "What came out by 4 h: " + ", ".join(f"{k} in {n}" for k, n in by.most_common(12)) + ".",
        "",
        "## Left out",
        "",
        f"{len(without)} tanks had no truth (no equilibrium found); "
        f"{len(refused)} were refused by the forecast.",
    ]
    out += [f"- seed {c.seed}: {c.problem.splitlines()[0][:90]}" for c in refused[:10]]
    out += [
        "",
        "## Time",
        "",
        f"- {seconds:.0f} s in all with {workers} processes; "
        f"one outlook (label to odds) {statistics.median(c.seconds for c in good):.2f} s median.",
        f"- `contents` of one product at {DRAWS} draws, processor time of {len(timed)} products, "
        f"best of three: {statistics.median(timed):.0f} ms median, "
        f"{timed[int(0.9 * len(timed))]:.0f} ms at nine in ten, {timed[-1]:.0f} ms at most.",
        f"- A whole forecast from a cold start, imports included: {cold:.2f} s.",
        "",
    ]
    return "\n".join(out)


def contents_time(seeds: range) -> list[float]:
    """Processor time of `contents` for every liquid of some tanks [ms], best of three."""
    out = []
    for seed in seeds:
        with tempfile.TemporaryDirectory() as folder:
            additions = read_mix(world.draw_tank(seed, Path(folder)).mix).additions
        for addition in additions:
            runs = []
            for k in range(3):
                start = time.process_time()
                contents(addition.product, Draws(DRAWS, k + 1))
                runs.append(1000.0 * (time.process_time() - start))
            out.append(min(runs))
    return out


def cold_start() -> float:
    """Seconds of one forecast in a fresh interpreter: best of three."""
    code = COLD.format(path=str(ROOT / "examples" / "curdles.toml"))
    runs = [
        subprocess.run(
            [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
        ).stdout
        for _ in range(3)
    ]
    return min(float(r) for r in runs)


def main() -> None:
    """Run, write the page, print it."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--mixes", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path, default=HERE / "calibration.md")
    asked = parser.parse_args()
    os.nice(5)
    cold = cold_start()
    start = time.perf_counter()
    seeds = range(asked.seed * 100_000, asked.seed * 100_000 + asked.mixes)
    with multiprocessing.Pool(asked.workers) as pool:
        found = pool.map(compare, seeds, chunksize=4)
    seconds = time.perf_counter() - start
    timed = contents_time(seeds[:TIMED])
    page = report(found, seconds, asked.workers, cold, timed, asked.seed)
    asked.out.write_text(page)
    print(page)


if __name__ == "__main__":
    main()
