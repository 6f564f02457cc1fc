"""Jugs as they are sold, in tanks: `python` this file. Writes `jugs.md` beside it.

600 invented liquids of `world_liquids.py`, labels of `world_labels.py`, tanks of `world_tanks.py`;
truth by PHREEQC with minteq.v4.dat for half of them, with a database written from the program's own
tables for the other half. Half of the liquids serve for tuning; the closed ones, of a seed of their
own, are opened by `--closed WHY`, which writes the opening with its figures into `openings.csv`,
whose rows the page lists; each seed opens twice at most. The first closed half, of the open
seed, is spent.
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
import pickle
import statistics
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(ROOT), str(HERE)]

import world_chemistry
import world_labels
import world_liquids
import world_tanks

from chem.doubts import Draws, range_of
from chem.equilibrium import Conditions, build_phases, build_system, solve
from chem.equilibrium.referee.as_phreeqc import database, element
from chem.errors import InputProblem
from chem.forecast import MODEL_KINDS, Followed, Forecast, Study, forecast
from chem.label import contents, read_product
from chem.reference import molar_mass_g_per_mol, tables
from chem.tank import read_mix

SEED, CLOSED_SEED = 20, 4711
CLOSED = f"closed, seed {CLOSED_SEED}"
TURNS = 8
TANKS, WHOLE_TANKS = 240, 120
DRAWS = 256
OPENINGS = HERE / "openings.csv"
SI_OF = ("gypsum", "brushite", "calcite", "struvite")
BINS = (0.0, 0.02, 0.1, 0.3, 0.7, 0.9, 0.98, 1.0001)
NOT_OURS = {"urea", "phthalate"}
NAMED, MANY, PARTS, AS_GOOD, FAR = 40, 512, 8, 0.03, -3.0
"""Tanks in which doubts are named; draws and parts by which it is judged what settling one would
do; a doubt is as good as the best where it takes so much less of the range at most; an SI below
this is as clear as at it: held metals stand at -20, and no reading is worth telling that apart."""


@dataclass
class World:
    """One half: liquids, labels, tanks."""

    liquids: list[world_liquids.Liquid]
    labels: list[world_labels.Label]
    tanks: list[world_tanks.Tank]
    folder: Path


@dataclass
class Seen:
    """A forecast of one tank: pH draws, SI by key at 5, 50, 95 %, odds by 4 h, or a refusal."""

    ph: np.ndarray = field(default_factory=lambda: np.zeros(0))
    si: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    odds: float = math.nan
    refused: str = ""
    seconds: float = 0.0


def own_database(t_celsius: float = 18.0) -> world_chemistry.Database:
    """The program's own tables at a temperature as a database of the world."""
    components = [c for c in tables().components if c not in NOT_OURS]
    components = [c for c in components if c not in {"EDDHA", "DTPA", "HEDTA"}]
    system = build_system(components)
    phases = build_phases(system)
    kept = [
        i for i, k in enumerate(phases.keys) if k in world_tanks.CLOCK or k == "calcium_gluconate"
    ]
    phases = phases.pick(np.array(kept))
    text = database(system, phases, t_celsius).replace("\nEND\n", "\n")
    elements = {c: element(c) for c in components}
    mass = {k: molar_mass_g_per_mol(s.formula) for k, s in zip(phases.keys, phases.solids)}  # noqa: B905
    names = [line.split(" = ")[0] for line in text.splitlines() if " = " in line]
    ions = {
        c: (next(n for n in names if n.startswith(element(c))), int(system.component_charge[i]))
        for i, c in enumerate(system.components)
    }
    return world_chemistry.extended(
        world_chemistry.Database("ours", text, elements, {k: (k, mass[k]) for k in phases.keys}),
        ions,
    )


def build(closed: bool, folder: Path, tanks: int = TANKS) -> World:
    """One half of the world, written to a folder."""
    labs = {
        "stock": world_chemistry.Lab(world_chemistry.stock()),
        "ours": world_chemistry.Lab(own_database()),
    }
    seed = CLOSED_SEED if closed else SEED
    every = world_liquids.liquids(TURNS * len(world_liquids.FAMILIES), labs, seed)
    families = len(world_liquids.FAMILIES)
    mine = [x for x in every if (x.number // families // 2) % 2 == int(closed)]
    labels = [world_labels.write_label(np.random.default_rng((seed, 5, x.number)), x) for x in mine]
    world_tanks.write_jugs(mine, labels, folder, seed)
    solids = frozenset(tables().solids) | {"Ca2P2O7_2H2O", "Ca_citrate", "Ca_oxalate"}
    solids |= {"Ca_phosphite", "MnNH4PO4", "ZnNH4PO4", "FeNH4PO4", "Cu_phosphite", "Ca_sulfite"}
    found = [
        world_tanks.draw_tank(n + 5000 * closed, mine, labs, solids, folder, seed)
        for n in range(tanks)
    ]
    return World(mine, labels, [t for t in found if t is not None], folder)


def forecast_tank(path: Path) -> Seen:
    """What the program says of a mix file."""
    start = time.process_time()
    try:
        seen = Study(DRAWS, 1).look(read_mix(path))
    except InputProblem as problem:
        return Seen(refused=str(problem).splitlines()[0])
    fresh = seen.fresh
    si = {}
    for m, key in enumerate(fresh.phases.keys):
        if key in SI_OF:
            one = range_of(fresh.si[:, m])
            si[key] = (one.p05, one.median, one.p95)
    ph = fresh.clear.ph[np.isfinite(fresh.clear.ph)]
    return Seen(ph, si, seen.probability["4h"], "", time.process_time() - start)


def jug_ph(path: Path) -> tuple[np.ndarray, float, str]:
    """(N,) pH of 1 g of a jug in 9 g of pure water, CPU ms of its contents, why it is refused."""
    try:
        product = read_product(path)
        contents(product, Draws(DRAWS, 1))  # tables and systems are read once
        start = time.process_time()
        held = contents(product, Draws(DRAWS, 1))
        spent = 1000.0 * (time.process_time() - start)
    except InputProblem as problem:
        return np.zeros(0), math.nan, str(problem).splitlines()[0]
    if not held.components:
        return np.full(DRAWS, 7.0), spent, ""
    system = build_system(held.components)
    order = [held.components.index(c) for c in system.components]
    kgw = 0.1 * held.water_kg_per_kg + 0.9
    totals = (0.1 * held.mol_per_kg / kgw[:, None])[:, order]
    ph = solve(system, totals, Conditions.nominal(system)).ph
    return ph[np.isfinite(ph)], spent, ""


@dataclass
class Named:
    """Doubts of one tank: how much of the range the first-named takes when settled, and the best of
    all; the range that an ordinary reading was suggested for (of pH or SI), before and after it,
    NaN if none was."""

    first: str
    takes: float
    best: float
    suggested: str
    before: float
    after: float


def name_doubts(tank: world_tanks.Tank) -> Named | None:
    """Whether the first-named doubt is the one to settle, and whether the reading helps.

    Settling is judged on draws of another seed, twice as many: the mean width of the 5 to 95 %
    range of the most pressing SI (pH where none presses) within eight parts of the doubt's values.
    """
    study = Study(DRAWS, 1)
    mix = read_mix(tank.mix)
    said = forecast(mix, study=study)
    listed = [d for d in said.doubts if d.key.split(":")[0] not in MODEL_KINDS]
    if not listed:
        return None
    other = Study(MANY, 2).look(mix)
    value, name = _pressed(said, other)
    open_ = {k: v for k, v in other.ready.doubts.items() if k.split(":")[0] not in MODEL_KINDS}
    whole = width(value)
    takes = {k: 1.0 - _left(value, v) / whole for k, v in open_.items()}
    first = listed[0].key
    suggested, before, after = "", math.nan, math.nan
    for doubt in listed[:4]:
        kind, _, rest = doubt.key.partition(":")
        if kind == "product" and rest.endswith(":ph"):
            suggested = doubt.key
            seen = study.look(mix)
            of_ph = doubt.of_ph > max(doubt.share, doubt.of_odds)
            ours = seen.fresh.clear.ph if of_ph else _pressed(said, seen)[0]
            read = tank.mix.with_name(f"read-{tank.number}.toml")
            jug = rest.partition(":")[0]
            read.write_text(tank.mix.read_text().replace(f'"{jug}.toml"', f'"{jug}-measured.toml"'))
            again = Study(DRAWS, 1).look(read_mix(read))
            index = dict(zip(again.fresh.phases.keys, again.fresh.si.T, strict=True))
            ph = again.fresh.clear.ph
            before = width(ours)
            after = width(ph if of_ph else index.get(name, ph))
            break
    return Named(first, takes.get(first, 0.0), max(takes.values()), suggested, before, after)


def _pressed(said: Forecast, seen: Followed) -> tuple[np.ndarray, str]:
    """(N,) SI of the solid that presses most, and its key; pH and nothing where none does."""
    keys = list(seen.fresh.phases.keys)
    pressing = [s.key for s in said.solids if s.decides and s.kinetics != "dormant"]
    key = next((k for k in pressing if k in keys), "")
    state = seen.states[said.judged_at]
    near = np.maximum(state.si[:, keys.index(key)], FAR) if key else np.full(1, FAR)
    return (near, key) if width(near) > 0.0 else (seen.fresh.clear.ph, "")


def _left(values: np.ndarray, doubt: np.ndarray) -> float:
    """Mean width of a result within equal parts of a doubt."""
    good = np.isfinite(values)
    order = np.argsort(doubt[good], kind="stable")
    return statistics.fmean(width(part) for part in np.array_split(values[good][order], PARTS))


def crps(draws: np.ndarray, truth: float) -> float:
    """Continuous ranked probability score of equal draws (Gneiting and Raftery 2007)."""
    x = np.sort(draws)
    n = len(x)
    ranks = (2.0 * np.arange(1, n + 1) - n - 1.0) / n**2
    return float(np.abs(x - truth).mean() - ranks @ x)


def ends(draws: np.ndarray) -> tuple[float, float]:
    """The 5 % and 95 % of draws."""
    low, high = np.quantile(draws, (0.05, 0.95))
    return float(low), float(high)


def width(draws: np.ndarray) -> float:
    """From the 5 % to the 95 % of draws."""
    low, high = ends(draws[np.isfinite(draws)])
    return high - low


def inside(draws: np.ndarray, truth: float) -> bool:
    """Whether the 90 % range holds the truth."""
    low, high = ends(draws)
    return low <= truth <= high


@dataclass
class Figures:
    """name -> figure, in the order of the page; rows of tables apart."""

    numbers: dict[str, float]
    spans: dict[str, tuple[float, float]]
    families: list[tuple[str, int, float, float]]
    reliability: list[tuple[float, float, int, float, float]]
    by_database: list[tuple[str, int, float, float, float]]
    refusals: list[str]
    worst: list[str]
    odds: np.ndarray
    shows: np.ndarray
    shows_tables: np.ndarray


def resampled(
    jugs_of: Sequence[Sequence[int]], values: np.ndarray, jugs: int, middle: bool = False
) -> tuple[float, float]:
    """95 % interval of a mean, or median, over jugs or tanks, resampling jugs: a tank counts as
    its jugs are drawn (geometric mean)."""
    rng = np.random.default_rng(3)
    most = max(map(len, jugs_of))
    place = np.array([[*some, *(most - len(some)) * [jugs]] for some in jugs_of])
    share = 1.0 / np.array([len(some) for some in jugs_of])
    order = np.argsort(values, kind="stable")
    out = []
    for _ in range(400):
        drawn = np.append(np.bincount(rng.integers(0, jugs, jugs), minlength=jugs), 1.0)
        weight = drawn[place].prod(axis=1) ** share
        if weight.sum() <= 0.0:
            continue
        if middle:
            grown = np.cumsum(weight[order])
            out.append(float(values[order][np.searchsorted(grown, 0.5 * grown[-1])]))
        else:
            out.append(float(weight @ values / weight.sum()))
    return float(np.quantile(out, 0.025)), float(np.quantile(out, 0.975))


class Tally:
    """Figures by name, each with its interval where it is over jugs or tanks."""

    def __init__(self, jugs: int) -> None:
        self.jugs = jugs
        self.numbers: dict[str, float] = {}
        self.spans: dict[str, tuple[float, float]] = {}

    def over(
        self, name: str, jugs_of: Sequence[Sequence[int]], values: Sequence[float] | np.ndarray,
        middle: bool = False,
    ) -> None:  # fmt: skip
        """The mean, or median, of what each tank or jug gives."""
        given = np.array(values, dtype=float)
        self.numbers[name] = math.nan
        if given.size:
            self.numbers[name] = float(np.median(given) if middle else given.mean())
            self.spans[name] = resampled(jugs_of, given, self.jugs, middle)


def brier(odds: np.ndarray, shows: np.ndarray) -> float:
    """Mean squared error of odds."""
    return float(((odds - shows) ** 2).mean())


def log_score(odds: np.ndarray, shows: np.ndarray) -> float:
    """Mean -ln of the chance given to what happened, chances held within 1/(2N)."""
    p = np.clip(odds, 0.5 / DRAWS, 1.0 - 0.5 / DRAWS)
    return float(-np.log(np.where(shows, p, 1.0 - p)).mean())


def measure(world: World, workers: int, named_in: int = NAMED) -> Figures:
    """Every figure of the page; named_in: tanks in which doubts are named, 1 or more."""
    folder = world.folder
    names = [world_tanks.jug_file(x.number) for x in world.liquids]
    with multiprocessing.Pool(workers) as pool:
        jugs = pool.map(jug_ph, [folder / f"{n}.toml" for n in names], chunksize=8)
        seen = pool.map(forecast_tank, [t.mix for t in world.tanks], chunksize=8)
        known = pool.map(forecast_tank, [t.measured for t in world.tanks], chunksize=8)
        whole = pool.map(forecast_tank, [t.whole for t in world.tanks[:WHOLE_TANKS]], chunksize=8)
        named = [n for n in pool.map(name_doubts, world.tanks[:named_in], chunksize=2) if n]
    tally = Tally(len(world.liquids))
    numbers = tally.numbers
    refusals = [f"{x.family}: {r[2]}" for x, r in zip(world.liquids, jugs, strict=True) if r[2]]
    numbers["liquids"] = len(jugs)
    numbers["honest labels refused"] = len(refusals)
    place = {x.number: i for i, x in enumerate(world.liquids)}
    rows = list(zip(world.liquids, world.labels, jugs, strict=True))
    rows = [r for r in rows if len(r[2][0])]
    bare = [r for r in rows if not r[1].ph_printed]
    numbers["no-pH jugs"] = len(bare)
    for kind, some in (("no-pH", bare), ("printed-pH", [r for r in rows if r[1].ph_printed])):
        own = [(place[r[0].number],) for r in some]
        tally.over(f"{kind} jugs inside", own, [inside(r[2][0], r[0].ph_tenth) for r in some])
        tally.over(f"{kind} jugs mean width", own, [width(r[2][0]) for r in some])
    families = []
    for group in dict.fromkeys(x.group for x in world.liquids):
        some = [r for r in bare if r[0].group == group]
        if some:
            wide = statistics.fmean(width(r[2][0]) for r in some)
            hit = statistics.fmean(inside(r[2][0], r[0].ph_tenth) for r in some)
            families.append((group, len(some), hit, wide))
    worst = []
    for liquid, label, (ph, _, _) in bare:
        if not inside(ph, liquid.ph_tenth):
            a, b = ends(ph)
            worst.append(f"{liquid.family} no. {liquid.number} ({label.style}): "
                         f"{liquid.ph_tenth:.1f}, said {a:.1f} to {b:.1f}")  # fmt: skip
    good = [(t, s) for t, s in zip(world.tanks, seen, strict=True) if not s.refused and len(s.ph)]
    numbers["tanks"] = len(world.tanks)
    numbers["tanks refused"] = len(world.tanks) - len(good)
    of = [t.jugs for t, _ in good]
    hits = [inside(s.ph, t.truth.ph) for t, s in good]
    tally.over("tank pH inside", of, hits)
    tally.over("tank pH median width", of, [width(s.ph) for _, s in good], middle=True)
    tally.over("tank pH CRPS", of, [crps(s.ph, t.truth.ph) for t, s in good])
    gauged = [(t, s) for t, s in zip(world.tanks, known, strict=True) if not s.refused]
    of_gauged = [t.jugs for t, _ in gauged]
    tally.over("measured tanks inside", of_gauged, [inside(s.ph, t.truth.ph) for t, s in gauged])
    tally.over("measured tanks mean width", of_gauged, [width(s.ph) for _, s in gauged])
    tally.over("measured tanks CRPS", of_gauged, [crps(s.ph, t.truth.ph) for t, s in gauged])
    odds = np.array([s.odds for _, s in good])
    shows = np.array([t.truth.shows for t, _ in good])
    shows_tables = np.array([t.truth.shows_tables for t, _ in good])
    numbers["share that shows"] = float(shows.mean())
    tally.over("Brier, solids of the tables", of, (odds - shows_tables) ** 2)
    tally.over("Brier, all", of, (odds - shows) ** 2)
    numbers["log score, solids of the tables"] = log_score(odds, shows_tables)
    numbers["log score, all"] = log_score(odds, shows)
    for label, sure in (
        ("odds over 0.9 show", odds > 0.9),
        ("odds under 0.1 show", odds < 0.1),
        ("odds of 0.3 to 0.7 show", (odds >= 0.3) & (odds < 0.7)),
    ):
        tally.over(label, [j for j, one in zip(of, sure, strict=True) if one], shows[sure])
    m_odds = np.array([s.odds for _, s in gauged])
    m_shows = np.array([t.truth.shows for t, _ in gauged])
    tally.over("measured tanks Brier, all", of_gauged, (m_odds - m_shows) ** 2)
    reliability = []
    for a, b in pairwise(BINS):
        some = (odds >= a) & (odds < b)
        if some.any():
            reliability.append(
                (a, min(b, 1.0), int(some.sum()), float(odds[some].mean()),
                 float(shows[some].mean()))
            )  # fmt: skip
    for key in SI_OF:
        pairs = [
            (t.jugs, s.si[key], t.truth.si[key])
            for t, s in good
            if key in s.si and s.si[key][1] > -3.0 and t.truth.si.get(key, -99.0) > -20.0
        ]
        some = [j for j, _, _ in pairs]
        tally.over(f"SI of {key} inside", some, [r[0] <= x <= r[2] for _, r, x in pairs])
        tally.over(f"SI of {key} above", some, [x > r[2] for _, r, x in pairs])
        numbers[f"SI of {key} n"] = len(pairs)
    by_database = []
    for name in ("stock", "ours"):
        k = [i for i, (t, _) in enumerate(good) if t.database == name]
        by_database.append((name, len(k), statistics.fmean(hits[i] for i in k),
                            brier(odds[k], shows[k]), brier(odds[k], shows_tables[k])))  # fmt: skip
    nearly = [(t, s) for t, s in zip(world.tanks, whole, strict=False) if not s.refused]
    numbers["nearly whole labels, tanks"] = len(nearly)
    of_nearly = [t.jugs for t, _ in nearly]
    wide = [width(s.ph) for _, s in nearly]
    tally.over("nearly whole labels, pH median width", of_nearly, wide, middle=True)
    tally.over(
        "nearly whole labels, pH inside", of_nearly, [inside(s.ph, t.truth.ph) for t, s in nearly]
    )
    off = [(s.odds - t.truth.shows_tables) ** 2 for t, s in nearly]
    tally.over("nearly whole labels, Brier", of_nearly, off)
    numbers["first-named doubt is the one to settle"] = statistics.fmean(
        n.takes >= n.best - AS_GOOD for n in named
    )
    numbers["first-named doubt takes, of the best"] = statistics.fmean(
        n.takes for n in named
    ) / max(statistics.fmean(n.best for n in named), 1e-9)
    reading = [n for n in named if n.suggested]
    numbers["pH readings suggested"] = len(reading)
    narrower = [n.after < n.before for n in reading]
    numbers["suggested reading narrows"] = statistics.fmean(narrower) if reading else math.nan
    spent = sorted(r[1] for r in jugs if not math.isnan(r[1]))
    numbers["contents, median ms"] = statistics.median(spent)
    numbers["contents, worst ms"] = spent[-1]
    numbers["tank, median ms"] = 1000.0 * statistics.median(s.seconds for _, s in good)
    return Figures(
        numbers,
        tally.spans,
        families,
        reliability,
        by_database,
        refusals,
        worst,
        odds,
        shows,
        shows_tables,
    )


AIMS: Mapping[str, tuple[float, float]] = {
    "tank pH inside": (0.85, 0.95),
    "no-pH jugs inside": (0.80, 0.95),
    "measured tanks inside": (0.85, 1.0),
    "no-pH jugs mean width": (0.0, 3.6),
    "tank pH median width": (0.0, 2.1),
    "measured tanks mean width": (0.0, 1.5),
    "SI of gypsum inside": (0.85, 0.95),
    "SI of brushite inside": (0.85, 0.95),
    "SI of calcite inside": (0.85, 0.95),
    "SI of struvite inside": (0.85, 0.95),
    "Brier, solids of the tables": (0.0, 0.12),
    "Brier, all": (0.0, 0.15),
    "odds over 0.9 show": (0.95, 1.0),
    "odds under 0.1 show": (0.0, 0.10),
    "honest labels refused": (0.0, 0.0),
    "nearly whole labels, pH median width": (0.0, 1.2),
    "nearly whole labels, Brier": (0.0, 0.065),
    "first-named doubt is the one to settle": (0.8, 1.0),
    "suggested reading narrows": (0.9, 1.0),
    "contents, median ms": (0.0, 60.0),
    "contents, worst ms": (0.0, 150.0),
}


def report(figures: Figures, half: str) -> str:
    """The page."""
    out = [
        "# Jugs as they are sold",
        "",
        f"Written by `python tests/bench/bench_jugs.py`; {half}.",
        "",
    ]
    out += [
        *(__doc__ or "").splitlines()[2:],
        "",
        "| figure | reached | 95 %, resampling jugs | asked | |",
        "|---|---|---|---|---|",
    ]
    for name, value in figures.numbers.items():
        aim = AIMS.get(name)
        asked = f"{aim[0]:g} to {aim[1]:g}" if aim else ""
        met = "" if aim is None else "yes" if aim[0] <= value <= aim[1] else "**no**"
        span = figures.spans.get(name)
        within = f"{span[0]:.3g} to {span[1]:.3g}" if span else ""
        out.append(f"| {name} | {value:.3g} | {within} | {asked} | {met} |")
    out += [
        "",
        "## No-pH jugs by kind",
        "",
        "| kind | jugs | inside | mean width |",
        "|---|---|---|---|",
    ]
    out += [f"| {g} | {n} | {h:.2f} | {w:.2f} |" for g, n, h, w in figures.families]
    out += [
        "",
        "## Odds that solids show by 4 h",
        "",
        "| odds | tanks | mean | shown |",
        "|---|---|---|---|",
    ]
    out += [
        f"| {a:g} to {b:g} | {n} | {m:.2f} | {s:.2f} |" for a, b, n, m, s in figures.reliability
    ]
    out += [
        "",
        "| truth by | tanks | pH inside | Brier, all | Brier, solids of the tables |",
        "|---|---|---|---|---|",
    ]
    out += [f"| {d} | {n} | {h:.2f} | {b:.3f} | {c:.3f} |" for d, n, h, b, c in figures.by_database]
    out += ["", "## Openings of the closed half, and what came before", ""]
    if OPENINGS.exists():
        with OPENINGS.open() as handle:
            for row in csv.DictReader(handle):
                out.append(f"- {row['date']}, {row['half']}: {row['why']}: {row['figures']}")
    return "\n".join([*out, ""])


KEPT = (
    "tank pH inside", "tank pH median width", "tank pH CRPS", "no-pH jugs inside",
    "no-pH jugs mean width", "measured tanks inside", "measured tanks mean width",
    "Brier, solids of the tables", "Brier, all", "log score, all", "odds over 0.9 show",
    "odds under 0.1 show", "odds of 0.3 to 0.7 show", "SI of gypsum inside",
    "SI of brushite inside", "SI of calcite inside", "SI of struvite inside",
    "honest labels refused",
)  # fmt: skip


def _span(figures: Figures, name: str) -> str:
    span = figures.spans.get(name)
    return f" ({span[0]:.3f} to {span[1]:.3f})" if span else ""


def log_opening(figures: Figures, half: str, why: str) -> None:
    """Add a row of figures. Raises: SystemExit where the closed half was opened twice already."""
    rows = []
    if OPENINGS.exists():
        with OPENINGS.open() as handle:
            rows = list(csv.DictReader(handle))
    said = "; ".join(f"{k} {figures.numbers[k]:.3f}{_span(figures, k)}" for k in KEPT)
    today = datetime.date.today().isoformat()
    rows.append({"date": today, "half": half, "why": why, "figures": said})
    with OPENINGS.open("w", newline="") as handle:
        writer = csv.DictWriter(handle, ["date", "half", "why", "figures"])
        writer.writeheader()
        writer.writerows(rows)


def main() -> None:
    """Run, write the page, print it."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--closed", metavar="WHY", help="open the closed half, and log it")
    parser.add_argument("--log", metavar="WHY", help="log the open half's figures too")
    parser.add_argument("--tanks", type=int, default=TANKS, help="fewer of the open half's tanks")
    parser.add_argument("--named", type=int, default=NAMED, help="tanks in which doubts are named")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--details", action="store_true", help="print misses and refusals")
    parser.add_argument("--keep", type=Path, help="pickle the figures here")
    parser.add_argument("--page", type=Path, default=HERE / "jugs.md")
    asked = parser.parse_args()
    closed = asked.closed is not None
    if closed and OPENINGS.exists():
        with OPENINGS.open() as handle:
            if sum(r["half"] == CLOSED for r in csv.DictReader(handle)) >= 2:
                raise SystemExit("the closed half was opened twice already: its luck is spent")
    with tempfile.TemporaryDirectory() as folder:
        world = build(closed, Path(folder), TANKS if closed else asked.tanks)
        figures = measure(world, asked.workers, asked.named)
    half = CLOSED if closed else "open"
    if closed or asked.log:
        log_opening(figures, half, asked.closed or asked.log)
    page = report(figures, f"the half that is {half}")
    asked.page.write_text(page)
    print(page)
    if asked.details:
        print("\n".join([*figures.refusals, "", *figures.worst]))
    if asked.keep:
        asked.keep.write_bytes(pickle.dumps(figures))


if __name__ == "__main__":
    main()
