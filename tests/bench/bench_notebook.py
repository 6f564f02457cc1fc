"""Does the notebook teach? `python` this file. Writes `notebook.md` beside it.

Sheds of twelve jugs of the world of `bench_jugs.py`: truth by PHREEQC, entries of tanks made from
them, then other tanks of the same jugs forecast with and without what was recorded. `--closed WHY`
opens the closed half, and writes the opening into `openings.csv`.
"""

# BLAS reads its threads when numpy is imported, so the environment comes first.
# ruff: noqa: E402

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import argparse
import datetime
import multiprocessing
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(ROOT), str(HERE)]

import bench_jugs
import world_chemistry
import world_labels
import world_liquids
import world_tanks

from chem.errors import InputProblem
from chem.forecast import Followed, Study
from chem.notebook import Entry, Kept, Look, Reading, Sprayed, kept_mix
from chem.notebook.facts import Replay
from chem.notebook.learning import learn
from chem.reference import tables
from chem.tank import Mix, read_mix

JUGS, ENTRIES, AHEAD = 12, 30, 16
STAGES = (1, 3, 10, 30)
ROWS = 128
SEED = 41
WAYS = ("labels", "readings", "memory", "both")
WRONG = 0.1
START = datetime.datetime(2026, 4, 1, 9, 0, tzinfo=datetime.UTC)


@dataclass(frozen=True)
class Shed:
    """Tanks recorded and tanks to come, with their truth."""

    number: int
    tanks: tuple[tuple[Mix, world_tanks.Truth], ...]


@dataclass(frozen=True)
class Row:
    """One tank forecast: shed, stage, way, odds that it shows, whether it does, pH error, CRPS,
    whether the 90 % range holds the truth, width of that range."""

    shed: int
    stage: int
    way: str
    odds: float
    shows: bool
    error: float
    crps: float
    inside: bool
    width: float


SHEDS: list[Shed] = []
"""Those drawn, which the workers inherit."""


@cache
def labs() -> dict[str, world_chemistry.Lab]:
    return {
        "stock": world_chemistry.Lab(world_chemistry.stock()),
        "ours": world_chemistry.Lab(bench_jugs.own_database()),
    }


def liquids(closed: bool) -> list[world_liquids.Liquid]:
    """Every liquid of one half."""
    count = bench_jugs.TURNS * len(world_liquids.FAMILIES)
    every = world_liquids.liquids(count, labs(), bench_jugs.SEED)
    families = len(world_liquids.FAMILIES)
    return [x for x in every if (x.number // families // 2) % 2 == int(closed)]


def draw_shed(number: int, half: Sequence[world_liquids.Liquid], closed: bool) -> Shed:
    """Twelve jugs of one database, and enough tanks of them."""
    rng = np.random.default_rng((SEED, number, int(closed)))
    database = list(labs())[number % 2]
    pool = [x for x in half if x.database == database]
    mine = [pool[int(i)] for i in rng.choice(len(pool), JUGS, replace=False)]
    printed = [
        world_labels.write_label(np.random.default_rng((bench_jugs.SEED, 5, x.number)), x)
        for x in mine
    ]
    solids = frozenset(tables().solids)
    found: list[tuple[Mix, world_tanks.Truth]] = []
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        world_tanks.write_jugs(mine, printed, folder, bench_jugs.SEED)
        for n in range(3 * (ENTRIES + AHEAD)):
            lab = {database: labs()[database]}
            tank = world_tanks.draw_tank(n, mine, lab, solids, folder, SEED + 1000 * number)
            if tank is None or len(tank.jugs) < 2:
                continue
            try:
                found.append((read_mix(tank.mix), tank.truth))
            except InputProblem:
                continue
            if len(found) == ENTRIES + AHEAD + 14:
                break
    return Shed(number, tuple(found))


def words(truth: world_tanks.Truth, rng: np.random.Generator) -> str:
    """What a person calls it."""
    total = sum(truth.out.values())
    if not truth.shows:
        return "clear"
    curdled = total > tables().value("clog_limit")
    return str(rng.choice(["flakes", "grit"] if curdled else ["haze", "haze", "flakes"]))


def entry(
    n: int, mix: Mix, truth: world_tanks.Truth, rng: np.random.Generator, *, sprayed: bool = False,
    wrong: bool = False, ladder: bool = False,
) -> Kept:  # fmt: skip
    """What a person writes of a tank: a jar with its strip, or that it was sprayed and fine."""
    strip = rng.random() < 0.7
    reading = truth.ph + rng.normal(0.0, 0.15 if strip else 0.06)
    word = words(truth, rng)
    if wrong:
        reading += float(rng.choice([-2.0, 2.0]))
        word = "clear" if truth.shows else "flakes"
    if strip:
        reading = round(2.0 * reading) / 2.0
    ph = Reading(
        value=round(reading, 2),
        instrument="strip" if strip else "meter",
        step=0.5 if strip else 0.01,
        after_s=0.0,
    )
    fine = sprayed and not wrong
    keep_ph = not sprayed or rng.random() < 0.3
    return Kept(
        Entry(
            id=f"{n:016x}",
            by=None,
            at=(START + datetime.timedelta(days=n)).isoformat(),
            amends=None,
            kind="tank" if sprayed else "jar",
            number=None,
            mix=kept_mix(mix),
            seen=() if fine else (Look(word=word, after_s=14400.0),),
            ph=(ph,) if keep_ph else (),
            sprayed=Sprayed(through=True) if fine else None,
            forecast=None,
            versions={},
            note=None,
        ),
        True,
    )


def row(shed: int, stage: int, way: str, seen: Followed, truth: world_tanks.Truth) -> Row:
    """A forecast against the truth; pH by the draws, stretched as they are."""
    ph = seen.fresh.clear.ph[np.isfinite(seen.fresh.clear.ph)]
    low, high = bench_jugs.ends(ph)
    return Row(
        shed, stage, way, seen.probability["4h"], truth.shows,
        abs(float(np.median(ph)) - truth.ph), bench_jugs.crps(ph, truth.ph),
        low <= truth.ph <= high, high - low,
    )  # fmt: skip


def run_shed(job: tuple[int, str]) -> tuple[list[Row], dict[str, float]]:
    """Every stage and way of one shed. draw: even, people, wrong."""
    shed, draw = SHEDS[job[0]], job[1]
    rng = np.random.default_rng((SEED, shed.number, 5))
    replay = Replay()
    labels = Study(ROWS, 1)
    tanks = [(m, t) for m, t in shed.tanks]
    ahead, pool = tanks[:AHEAD], tanks[AHEAD:]
    base = labels.follow([m for m, _ in ahead], until="4h")
    good = [k for k, s in enumerate(base) if s.ok.any()]
    rows = [row(shed.number, 0, "labels", base[k], ahead[k][1]) for k in good]
    kept: list[Kept] = []
    if draw == "people":
        odds = [s.probability["4h"] for s in labels.follow([m for m, _ in pool], until="4h")]
        clogs = tables().value("clog_limit")
        for n in range(ENTRIES):
            fine = rng.random() < 0.8
            left = [k for k in range(len(pool)) if pool[k] is not None]
            blocked = [sum(pool[k][1].out.values()) > clogs for k in left]
            good_k = [k for k, b in zip(left, blocked, strict=True) if not b]
            if fine and good_k:
                k = min(good_k, key=lambda k: odds[k])
            else:
                k = min(left, key=lambda k: abs(odds[k] - 0.5))
            kept.append(entry(n, *pool[k], rng, sprayed=fine and bool(good_k)))
            pool[k] = None  # type: ignore[call-overload]
    else:
        for n, (mix, truth) in enumerate(pool[:ENTRIES]):
            wrong = draw == "wrong" and rng.random() < WRONG
            kept.append(entry(n, mix, truth, rng, wrong=wrong))
    figures: dict[str, float] = {}
    for stage in STAGES:
        if stage > len(kept):
            break
        for way in WAYS[1:]:
            learned = learn(kept[:stage], replay, ph=way != "memory", looks=way != "readings")
            study = labels.believing(learned.beliefs)
            known = {j for f in learned.facts for jug in f.jugs for j in [jug.identity]}
            seen = study.follow([ahead[k][0] for k in good], until="4h")
            for k, s in zip(good, seen, strict=True):
                rows.append(row(shed.number, stage, way, s, ahead[k][1]))
                if not known & {a.product.identity for a in ahead[k][0].additions}:
                    assert s.probability == base[k].probability
            if way == "both":
                weights = learned.memory.weights if learned.memory.fits else np.zeros(1)
                figures[f"asked {stage}"] = len(learned.readings.asked)
                figures[f"stretch {stage}"] = learned.readings.stretch
                figures[f"strongest {stage}"] = float(np.argmax(weights))
                wrong_ones = {f.entry for f in learned.facts} and {
                    x.entry for x in learned.readings.asked
                }
                figures[f"asked of {stage}"] = len(wrong_ones)
    return rows, figures


def gain(rows: Sequence[Row], stage: int, way: str) -> dict[str, float]:
    """Means of one way at one stage, beside the labels."""
    base = [r for r in rows if r.stage == 0]
    mine = [r for r in rows if r.stage == stage and r.way == way]
    out = {}
    for name in ("brier", "error", "crps", "inside", "width"):

        def of(r: Row, name: str = name) -> float:
            return (r.odds - r.shows) ** 2 if name == "brier" else float(getattr(r, name))

        out[name] = float(np.mean([of(r) for r in mine]))
        out[f"{name} labels"] = float(np.mean([of(r) for r in base]))
    sheds = sorted({r.shed for r in mine})
    worse = []
    for shed in sheds:
        a = np.mean([(r.odds - r.shows) ** 2 for r in mine if r.shed == shed])
        b = np.mean([(r.odds - r.shows) ** 2 for r in base if r.shed == shed])
        worse.append(float(a - b))
    out["worst shed"] = max(worse)
    rng = np.random.default_rng(1)
    change = []
    for _ in range(400):
        drawn = rng.choice(sheds, len(sheds))
        a = np.mean([(r.odds - r.shows) ** 2 for s in drawn for r in mine if r.shed == s])
        b = np.mean([(r.odds - r.shows) ** 2 for s in drawn for r in base if r.shed == s])
        change.append(a / b - 1.0)
    out["low"], out["high"] = (float(x) for x in np.quantile(change, (0.025, 0.975)))
    return out


def table(rows: Sequence[Row]) -> list[str]:
    """Lines of the page."""
    lines = [
        "| entries | what teaches | Brier at 4 h | change, 95 % over sheds | mean pH error | "
        "CRPS of pH | inside 90 % | worst shed, Brier |", "|---|---|---|---|---|---|---|---|",
    ]  # fmt: skip
    stages = sorted({r.stage for r in rows} - {0})
    for stage in stages:
        for way in WAYS[1:]:
            g = gain(rows, stage, way)
            lines.append(
                f"| {stage} | {way} | {g['brier labels']:.3f} to {g['brier']:.3f} | "
                f"{g['brier'] / g['brier labels'] - 1:+.0%} ({g['low']:+.0%} to {g['high']:+.0%}) "
                f"| {g['error labels']:.2f} to {g['error']:.2f} "
                f"({g['error'] / g['error labels'] - 1:+.0%}) "
                f"| {g['crps'] / g['crps labels'] - 1:+.0%} "
                f"| {g['inside']:.2f} | {g['worst shed']:+.3f} |"
            )
    return lines


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--sheds", type=int, default=16)
    parser.add_argument("--draw", default="even,people,wrong")
    parser.add_argument("--closed", default="")
    parser.add_argument("--page", action="store_true")
    args = parser.parse_args()
    start = time.process_time()
    half = liquids(bool(args.closed))
    SHEDS.extend(draw_shed(n, half, bool(args.closed)) for n in range(args.sheds))
    print(f"sheds drawn in {time.process_time() - start:.0f} s", flush=True)
    page = []
    for draw in args.draw.split(","):
        start = time.time()
        with multiprocessing.get_context("fork").Pool(2) as workers:
            found = workers.map(run_shed, [(n, draw) for n in range(len(SHEDS))], chunksize=1)
        rows = [r for rs, _ in found for r in rs]
        page += [f"## {draw}", "", *table(rows), ""]
        for key in ("asked 10", "asked 30", "stretch 30"):
            got = [f[key] for _, f in found if key in f]
            page += [f"{key}: mean {np.mean(got):.2f}" if got else ""]
        page += [f"({time.time() - start:.0f} s)", ""]
        print("\n".join(page[-40:]), flush=True)


if __name__ == "__main__":
    main()
