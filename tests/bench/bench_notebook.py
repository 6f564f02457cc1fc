"""Does the notebook teach? `python` this file. Writes `notebook.md` beside it.

Sheds of twelve jugs of the open half of the world of `bench_jugs.py` (the closed half is spent):
truth by PHREEQC, entries of tanks made from them, then other tanks of the same jugs forecast with
and without what was recorded. As it stands it ends within ten minutes on one core; `--long` takes
four times as many sheds. `--world SEED` takes liquids never drawn before and prints the page, to be
done once for a state and kept by hand: what was chosen on the open half is judged there. The page
is written as it goes.
"""

# BLAS reads its threads when numpy is imported, so the environment comes first.
# ruff: noqa: E402

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import argparse
import datetime
import math
import multiprocessing
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
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
from chem.forecast import Beliefs, Followed, Study, Variant
from chem.forecast.prepare import with_base
from chem.notebook import Entry, Kept, Look, Reading, Sprayed, kept_mix
from chem.notebook.facts import (
    Facts,
    Jug,
    PhFact,
    Spread,
    jugs_of,
    raw_odds,
    shares_of,
    spread_of,
)
from chem.notebook.memory import Memory
from chem.notebook.readings import STAYS, Move, Readings, student_4
from chem.notebook.replay import Replay
from chem.reference import tables
from chem.tank import Mix, read_mix

JUGS, ENTRIES, AHEAD = 12, 30, 16
STAGES = (1, 3, 10, 30)
ROWS = 64
SEED = 41
WAYS = ("labels", "readings", "memory", "both")
WRONG = 0.1
TITLES = {"even": "Even", "people": "As people record", "wrong": "Even, one line in ten wrong"}
TAIL = HERE / "notebook-by-hand.md"
HEAD = """# Does the notebook teach?

Sheds of twelve jugs of the open half of the world of `bench_jugs.py`; 1 to 30 entries, then 16
other tanks of the same jugs. *Even*: tanks as they come, each a jar with its reading (7 of 10 a
strip of half units). *As people record*: four of five "sprayed, fine" where it looked good (3 of
10 with a reading), jars where the odds were nearest to even. *Wrong*: one line in ten has a false
word and a reading two units off. 64 draws. Brier score at 4 h and mean error of the median pH,
against the labels alone, which have their honest odds already; 95 % intervals over sheds. Written
by `python tests/bench/bench_notebook.py`, the last section by hand.
"""
START = datetime.datetime(2026, 4, 1, 9, 0, tzinfo=datetime.UTC)


@dataclass(frozen=True)
class Shed:
    """Tanks recorded and tanks to come, with their truth."""

    number: int
    tanks: tuple[tuple[Mix, world_tanks.Truth], ...]


@dataclass(frozen=True)
class Row:
    """One tank forecast: shed, stage, way, odds that it shows, honest and as the draws have them,
    whether it does, pH error, CRPS, whether the 90 % range holds the truth, width of that range."""

    shed: int
    stage: int
    way: str
    odds: float
    raw: float
    shows: bool
    error: float
    crps: float
    inside: bool
    width: float


@dataclass(frozen=True)
class Rungs:
    """A tank's jugs, the spread and shares of its pH as poured; by dose what the labels give, and
    the truth [pH]."""

    jugs: tuple[Jug, ...]
    spread: Spread
    shares: tuple[float, ...]
    points: tuple[PhFact, ...]
    true: tuple[float, ...]


SHEDS: list[Shed] = []
"""Those drawn, which the workers inherit."""
WORLD = [bench_jugs.SEED]
"""Seed of the liquids and their labels."""


@cache
def labs() -> dict[str, world_chemistry.Lab]:
    return {
        "stock": world_chemistry.Lab(world_chemistry.stock()),
        "ours": world_chemistry.Lab(bench_jugs.own_database()),
    }


def liquids() -> list[world_liquids.Liquid]:
    """Every liquid of the open half, or of a world never drawn before."""
    count = bench_jugs.TURNS * len(world_liquids.FAMILIES)
    every = world_liquids.liquids(count, labs(), WORLD[0])
    if WORLD[0] != bench_jugs.SEED:
        return every
    families = len(world_liquids.FAMILIES)
    return [x for x in every if (x.number // families // 2) % 2 == 0]


def draw_shed(number: int, half: Sequence[world_liquids.Liquid]) -> Shed:
    """Twelve jugs of one database, and enough tanks of them."""
    rng = np.random.default_rng((SEED, number, 0))
    database = list(labs())[number % 2]
    pool = [x for x in half if x.database == database]
    mine = [pool[int(i)] for i in rng.choice(len(pool), JUGS, replace=False)]
    printed = [
        world_labels.write_label(np.random.default_rng((WORLD[0], 5, x.number)), x) for x in mine
    ]
    solids = frozenset(tables().solids)
    found: list[tuple[Mix, world_tanks.Truth]] = []
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        world_tanks.write_jugs(mine, printed, folder, WORLD[0])
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
    wrong: bool = False,
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
            drawn = raw_odds(found, 14400.0)[0]
            odds, raw = (1.0 / (1.0 + math.exp(-x)) for x in ((drawn + shift) / blur, drawn))
            out.append(
                Row(
                    shed.number, stage, way, odds, raw, truth.shows,
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
        figures[f"asked of wrong {stage}"] = len(asked & lies) / len(lies) if lies else math.nan
        read = len({f.entry for f in some if f.ph} - lies)
        figures[f"asked of right {stage}"] = len(asked - lies) / read if read else math.nan
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


def rungs(mix: Mix, truth: world_tanks.Truth, lab: world_chemistry.Lab, study: Study) -> Rungs:
    """A tank as poured and dosed thrice with hydrochloric acid, the truth beside the labels: by the
    labels alone it goes 0.35, 1 and some 2 units down."""
    ready = study.stand(mix)
    clear = ready.speciated()
    goal = study.stand(Variant(mix, ph_shift=-0.7)).finished
    chloride = goal.totals[:, list(goal.components).index("Cl")]
    if "Cl" in ready.finished.components:
        place = list(ready.finished.components).index("Cl")
        chloride = chloride - ready.finished.totals[:, place]
    dose = float(np.nanmedian(chloride))
    median, spread = spread_of(clear.ph)
    shares = tuple(float(x) for x in shares_of(ready, clear)[: len(mix.additions)])
    points, true = [], []
    for part in (0.0, 0.5, 1.5, 4.0):
        acid = part * dose
        at = with_base(ready, np.full(study.count, -acid)).speciated() if part else clear
        solved = lab.solve({**truth.molal, "Cl": truth.molal.get("Cl", 0.0) + acid}, truth.celsius)
        middle, wide = spread_of(at.ph)
        if solved is None or not math.isfinite(middle):
            break
        points.append(PhFact(middle, 0.0, middle, wide, abs(middle - median)))
        true.append(solved.ph)
    jugs = jugs_of(mix, (None,) * len(mix.additions), lambda jug: jug)
    return Rungs(jugs, spread, shares, tuple(points), tuple(true))


def drawn(move: Move, spread: Spread, count: int = 400) -> np.ndarray:
    """(count,) draws of a pH less the labels' median, moved as those of a tank are."""
    rng = np.random.default_rng(SEED)
    z = rng.normal(size=count)
    plain = np.where(z > 0.0, spread.above, spread.below) * z
    tail = student_4(rng.uniform(size=count)) * move.sd / math.sqrt(2.0)
    stays = (rng.uniform(size=count) < STAYS) | (not move)
    return np.where(stays, plain, move.mean + move.shrunk * plain + tail)


def ladders(sheds: Sequence[Shed]) -> list[str]:
    """One entry with a strip, a meter or a ladder by a meter, then the other tanks of its jugs;
    `honest`: no entry, the labels' ranges as wide as the readings of others say they are."""
    study, rng = Study(ROWS, 1), np.random.default_rng(SEED)
    said: dict[str, list[tuple[float, bool, float, float]]] = {}
    offs: list[list[float]] = []
    for shed in sheds:
        lab = labs()[list(labs())[shed.number % 2]]
        found = [rungs(m, t, lab, study) for m, t in shed.tanks[:24]]
        found = [x for x in found if len(x.points) == 4]
        offs += [[(t - p.median) / p.spread.side(t > p.median)
                 for t, p in zip(x.true, x.points, strict=True)] for x in found]  # fmt: skip
        for one in found:
            ids = {j.identity for j in one.jugs}
            others = [x for x in found if x is not one and {j.identity for j in x.jugs} <= ids]
            for way in ("labels", "honest", "strip", "meter", "ladder"):
                sd, step = (0.15, 0.5) if way == "strip" else (0.06, 0.01)
                read = [
                    replace(p, value=round((t + rng.normal(0.0, sd)) / step) * step,
                            variance=sd**2 + step**2 / 12.0)
                    for t, p in zip(one.true, one.points, strict=True)
                ][: 4 if way == "ladder" else 1]  # fmt: skip
                fact = Facts("", True, "", one.jugs, tuple(read), (), one.spread, one.shares)
                readings = Readings([fact] if way in ("strip", "meter", "ladder") else [])
                for x in others:
                    them = [j.identity for j in x.jugs], [j.reach for j in x.jugs]
                    move = Move(0.0, 1.0, 0.0)
                    if way != "labels":
                        move = readings.move(*them, x.shares, x.spread)
                    low, middle, high = np.quantile(drawn(move, x.spread), (0.05, 0.5, 0.95))
                    off = x.true[0] - x.points[0].median
                    wide = 2.0 * abs(off - middle) / (high - low)
                    said.setdefault(way, []).append(
                        (abs(off - middle), low <= off <= high, high - low, wide)
                    )
    lines = [
        "| one entry | tanks | mean pH error | inside 90 % | width | needed for 9 of 10 |",
        "|---|---|---|---|---|---|",
    ]
    for way, each in said.items():
        error, inside, width, _ = np.mean(np.array(each, dtype=float), axis=0)
        needed = width * np.quantile([x[3] for x in each], 0.9)
        lines.append(
            f"| {way} | {len(each)} | {error:.2f} | {inside:.2f} | {width:.2f} | {needed:.2f} |"
        )
    alike = np.corrcoef(np.clip(np.array(offs), -3.0, 3.0).T)[0, 1:]
    told = ", ".join(f"{x:.2f}" for x in alike)
    lines += [
        "",
        f"Off by how many standard deviations, correlation with the jar as poured: {told}.",
    ]
    return lines


def write(page: Sequence[str], start: float) -> None:
    """The page so far, and what is written by hand."""
    spent = f"{len(SHEDS)} sheds, {time.process_time() - start:.0f} s of CPU.\n"
    if WORLD[0] != bench_jugs.SEED:
        print("\n".join([*page, spent]), flush=True)
        return
    (HERE / "notebook.md").write_text("\n".join([*page, spent]) + TAIL.read_text())
    print(f"{time.process_time() - start:.0f} s of CPU", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--sheds", type=int, default=6)
    parser.add_argument("--long", action="store_true", help="24 sheds, some half an hour")
    parser.add_argument("--draw", default="even,people,wrong")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--world", type=int, default=bench_jugs.SEED)
    args = parser.parse_args()
    WORLD[0] = args.world
    start = time.process_time()
    half = liquids()
    SHEDS.extend(draw_shed(n, half) for n in range(24 if args.long else args.sheds))
    page = [HEAD]
    for draw in args.draw.split(","):
        jobs = [(n, draw) for n in range(len(SHEDS))]
        if args.workers > 1:
            with multiprocessing.get_context("fork").Pool(args.workers) as workers:
                found = workers.map(run_shed, jobs, chunksize=1)
        else:
            found = [run_shed(job) for job in jobs]
        rows = [r for rs, _ in found for r in rs]
        some = [r for r in rows if r.stage == 0]
        raw = np.mean([(r.raw - r.shows) ** 2 for r in some])
        honest = np.mean([(r.odds - r.shows) ** 2 for r in some])
        page += [f"## {TITLES[draw]}, {len(SHEDS)} sheds", ""]
        page += [f"Labels alone: Brier {honest:.3f}, pH inside 90 % "
                 f"{np.mean([r.inside for r in some]):.2f}; with odds that claim to know all "
                 f"{raw:.3f}.", ""]  # fmt: skip
        page += [*table(rows), ""]
        for key in (f"{what} {stage}" for what in ("asked of wrong", "asked of right", "stretch")
                    for stage in (10, 30)):  # fmt: skip
            each = [f[key] for _, f in found if not math.isnan(f.get(key, math.nan))]
            if each:
                page.append(f"- {key}: mean {np.mean(each):.2f}")
        page.append("")
        write(page, start)
    page += ["## A ladder against a strip, one entry", "", *ladders(SHEDS), ""]
    write(page, start)


if __name__ == "__main__":
    main()
