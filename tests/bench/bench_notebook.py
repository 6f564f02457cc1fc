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
import csv
import datetime
import math
import multiprocessing
import sys
import tempfile
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

from chem.doubts import doubts
from chem.doubts.spread import blurred
from chem.errors import InputProblem
from chem.forecast import Beliefs, Followed, Study
from chem.notebook import Entry, Kept, Look, Reading, Sprayed, kept_mix
from chem.notebook.facts import raw_odds
from chem.notebook.memory import Memory
from chem.notebook.readings import Readings
from chem.notebook.replay import Replay
from chem.reference import tables
from chem.tank import Mix, read_mix

JUGS, ENTRIES, AHEAD = 12, 30, 16
STAGES = (1, 3, 10, 30)
ROWS = 64
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


def draw_entries(shed: Shed, labels: Study, draw: str) -> tuple[list[Kept], set[str]]:
    """Thirty entries of a shed, and which of them are wrong. draw: `even`, tanks as they come, each
    a jar with its reading; `people`, four of five sprayed and fine where it looked good, jars where
    it is in doubt; `wrong`, one in ten with a false word and a reading two units off."""
    rng = np.random.default_rng((SEED, shed.number, 5))
    pool = list(shed.tanks[AHEAD:])
    kept: list[Kept] = []
    wrong: set[str] = set()
    if draw != "people":
        for n, (mix, truth) in enumerate(pool[:ENTRIES]):
            lies = draw == "wrong" and rng.random() < WRONG
            kept.append(entry(n, mix, truth, rng, wrong=lies))
            wrong |= {kept[-1].entry.id} if lies else set()
        return kept, wrong
    odds = [s.probability["4h"] for s in labels.follow([m for m, _ in pool], until="4h")]
    limit = tables().value("clog_limit")
    left = list(range(len(pool)))
    for n in range(min(ENTRIES, len(pool))):
        fine = rng.random() < 0.8
        sprays = [k for k in left if sum(pool[k][1].out.values()) <= limit]
        if fine and sprays:
            k = min(sprays, key=lambda k: odds[k])
        else:
            k = min(left, key=lambda k: abs(odds[k] - 0.5))
        kept.append(entry(n, *pool[k], rng, sprayed=fine and bool(sprays)))
        left.remove(k)
    return kept, wrong


def run_shed(job: tuple[int, str]) -> tuple[list[Row], dict[str, float]]:
    """Every stage and way of one shed."""
    shed, draw = SHEDS[job[0]], job[1]
    labels = Study(ROWS, 1)
    blur = blurred(doubts()["unknown_odds"].b)
    ahead = shed.tanks[:AHEAD]
    base = labels.follow([m for m, _ in ahead], until="4h")
    good = [k for k, s in enumerate(base) if s.ok.any()]
    kept, wrong = draw_entries(shed, labels, draw)
    replay = Replay()
    replay.study = labels
    facts = replay.facts(kept)

    def rows(stage: int, way: str, seen: Sequence[Followed], memory: Memory) -> list[Row]:
        out = []
        for k, found in zip(good, seen, strict=True):
            mix, truth = ahead[k]
            ph = found.fresh.clear.ph[np.isfinite(found.fresh.clear.ph)]
            low, high = bench_jugs.ends(ph)
            shift = memory.shift([a.product.identity for a in mix.additions])
            odds = 1.0 / (1.0 + math.exp(-(raw_odds(found, 14400.0)[0] + shift) / blur))
            out.append(
                Row(
                    shed.number, stage, way, odds, truth.shows,
                    abs(float(np.median(ph)) - truth.ph), bench_jugs.crps(ph, truth.ph),
                    low <= truth.ph <= high, high - low,
                )
            )  # fmt: skip
        return out

    plain = [base[k] for k in good]
    found = rows(0, "labels", plain, Memory([]))
    figures: dict[str, float] = {}
    for stage in [s for s in STAGES if s <= len(kept)]:
        some = facts[:stage]
        readings = Readings(some)
        after = replay.after(kept[:stage], some, readings)
        study = labels.believing(Beliefs(moves=readings if readings.members else None))
        moved = study.follow([ahead[k][0] for k in good], until="4h")
        found += rows(stage, "readings", moved, Memory([]))
        found += rows(stage, "memory", plain, Memory(some))
        found += rows(stage, "both", moved, Memory(after, readings.credit))
        asked = {a.entry for a in readings.asked}
        lies = wrong & {f.entry for f in some}
        figures[f"asked of wrong {stage}"] = len(asked & lies) / max(len(lies), 1)
        figures[f"asked of right {stage}"] = len(asked - lies) / max(stage - len(lies), 1)
        figures[f"stretch {stage}"] = readings.stretch
    return found, figures


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
    parser.add_argument("--sheds", type=int, default=12)
    parser.add_argument("--draw", default="even,people,wrong")
    parser.add_argument("--closed", default="", metavar="WHY")
    args = parser.parse_args()
    half = liquids(bool(args.closed))
    SHEDS.extend(draw_shed(n, half, bool(args.closed)) for n in range(args.sheds))
    page, told = [], []
    for draw in args.draw.split(","):
        with multiprocessing.get_context("fork").Pool(2) as workers:
            found = workers.map(run_shed, [(n, draw) for n in range(len(SHEDS))], chunksize=1)
        rows = [r for rs, _ in found for r in rs]
        page += [f"## {draw}, {len(SHEDS)} sheds", "", *table(rows), ""]
        for key in ("asked of wrong 30", "asked of right 30", "stretch 30"):
            page.append(f"- {key}: mean {np.mean([f.get(key, 0.0) for _, f in found]):.2f}")
        page.append("")
        for stage in (10, 30):
            g = gain(rows, stage, "both")
            told.append(
                f"notebook {draw} at {stage}: Brier {g['brier labels']:.3f} to {g['brier']:.3f}; "
                f"pH error {g['error labels']:.2f} to {g['error']:.2f}"
            )
        print("\n".join(page), flush=True)
    if args.closed:
        with bench_jugs.OPENINGS.open("a", newline="") as handle:
            row = [datetime.date.today().isoformat(), "closed sheds", args.closed, "; ".join(told)]
            csv.writer(handle, lineterminator="\n").writerow(row)
    (HERE / ("notebook-closed.md" if args.closed else "notebook.md")).write_text(
        "# Does the notebook teach?\n\n" + "\n".join(page) + "\n"
    )


if __name__ == "__main__":
    main()
