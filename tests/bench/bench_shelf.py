"""Speed of the solver and of a whole shelf: `python` this file; writes `speed.md`.

Shelves of products of the simulated world (`world.py`), every pair at the products' rates in a hard
water; 12 of them against a shop of 1,000; the screen against all draws; a cluster of one worker and
of two. Each shelf is run in a process of its own, so that nothing is warm and memory is its own.
The solver is held against PHREEQC as `bench_solver.py` does. Parts named as arguments (`solver`,
`shelf`, `against`, `screen`, `cluster`, and `catalogue` N, which no plain run does) are run alone,
and their sections written anew.
"""

# BLAS reads its threads when numpy is imported, so the environment comes first.
# ruff: noqa: E402

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import json
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(HERE)]

import bench_solver
import world

from chem.shelf import Setting

PAGE = HERE / "speed.md"
PRODUCTS, DRAWS = 60, 64
SIZES = (15, 30, 60, 120)
DRAWS_TRIED = (32, 64, 128, 256)
MINE, SHOP = 12, 1000
SCREENED_OF, SCREENED_PAIRS = 200, 10_000
CLUSTERED = 40
RATE = 'usual_rate = "4 fl oz/1000 sq ft"'
RUN = """
import json, resource, sys, time
from pathlib import Path
start = time.perf_counter()
from chem.shelf import Cache, Setting, cluster, local, read_stock, shelf
from chem.shelf.together import CLEAR
from chem.tank import find_water
folder, cores, draws, cache, shop, workers = sys.argv[1:7]
items, left = read_stock(Path(folder))
against, unread = read_stock(Path(shop)) if shop else ((), ())
setting = Setting(find_water("hard-alkaline", None), 0.0815, 20.0, None, int(draws), 1)
kept = Cache(Path(cache), "bench") if cache else None
asked = items[-1] if len(sys.argv) > 7 else None
def run(engine):
    return shelf(items, setting, asked=asked, against=against, engine=engine, cache=kept)
if int(workers):
    from distributed import LocalCluster
    with LocalCluster(int(workers), threads_per_worker=1, dashboard_address=":0") as there:
        found = run(cluster(there.scheduler_address))
else:
    found = run(local(int(cores)))
counted = resource.getrusage(resource.RUSAGE_SELF), resource.getrusage(resource.RUSAGE_CHILDREN)
print(json.dumps({"seconds": time.perf_counter() - start, "solves": found.solves,
    "inside": found.seconds, "cpu": sum(u.ru_utime + u.ru_stime for u in counted),
    "left": len(left) + len(unread), "pairs": len(found.pairs),
    "trouble": len(found.pairs.where(unmarked=CLEAR))}))
"""


def products(folder: Path, count: int) -> None:
    """Labels of the simulated world as product files, each with a usual rate."""
    rng = np.random.default_rng(7)
    nature = world.Nature(rng)
    families = list(world.RECIPES)
    for i in range(count):
        kind = families[i % len(families)]
        label = world.draw_liquid(rng, nature, kind, f"{kind} {i + 1}").label
        text = label.replace("[guarantee]", f"{RATE}\n[guarantee]", 1)
        (folder / f"liquid-{i + 1:03d}.toml").write_text(text, encoding="utf-8")


def run(
    folder: Path,
    cores: int,
    draws: int,
    cache: str = "",
    asked: bool = False,
    shop: str = "",
    workers: int = 0,
) -> Any:
    """One shelf in a process of its own; cache, shop: folders, empty for none; asked: the last
    product; workers: of a cluster, 0 for none."""
    command = [sys.executable, "-c", RUN, str(folder), str(cores), str(draws), cache, shop]
    command += [str(workers), *(["asked"] if asked else [])]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
        most = 0.0
        while process.poll() is None:
            most = max(most, memory_mb(process.pid))
            time.sleep(0.05)
        assert process.stdout is not None and process.returncode == 0
        return json.loads(process.stdout.read()) | {"mb": most}


def memory_mb(pid: int) -> float:
    """Memory of a process and its children now, a page that they share counted once (Linux)."""
    total = 0.0
    try:
        rollup = Path(f"/proc/{pid}/smaps_rollup").read_text(encoding="ascii")
        line = next(x for x in rollup.splitlines() if x.startswith("Pss:"))
        total = float(line.split()[1]) / 1024.0
        for task in Path(f"/proc/{pid}/task").iterdir():
            for child in (task / "children").read_text(encoding="ascii").split():
                total += memory_mb(int(child))
    except OSError:
        return total  # it ended meanwhile, or this is no Linux
    return total


def part(folder: Path, whole: Path, count: int) -> Path:
    """A folder with the first `count` products of another."""
    folder.mkdir()
    for path in sorted(whole.glob("*.toml"))[:count]:
        (folder / path.name).write_text(path.read_text(encoding="utf-8"), encoding="utf-8")
    return folder


def exponent(x: Sequence[float], y: Sequence[float]) -> float:
    """Slope of ln y over ln x."""
    return float(np.polyfit(np.log(x), np.log(y), 1)[0])


def machine() -> str:
    """Kind of processor, cores, memory and versions; no make."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    memory = ""
    if hasattr(os, "sysconf") and "SC_PHYS_PAGES" in os.sysconf_names:
        held = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") / 2**30
        memory = f", {held:.0f} GB"
    return (
        f"{platform.machine()}, {cores} cores{memory}; Python {platform.python_version()}, "
        f"numpy {np.__version__}, {platform.system()}"
    )


def shelf_section() -> list[str]:
    """Every pair of a shelf, by size, draws and with the cache."""
    with tempfile.TemporaryDirectory() as held:
        folder = Path(held)
        whole = folder / "whole"
        whole.mkdir()
        products(whole, SIZES[-1])
        shelves = {n: part(folder / f"of-{n}", whole, n) for n in SIZES}
        by_size = {n: run(shelves[n], 2, DRAWS) for n in SIZES}
        one_core = {n: run(shelves[n], 1, DRAWS) for n in SIZES}
        by_draws = {n: run(shelves[SIZES[0]], 1, n) for n in DRAWS_TRIED}
        cache = str(folder / "cache")
        run(shelves[PRODUCTS], 2, DRAWS, cache)
        again = run(shelves[PRODUCTS], 2, DRAWS, cache)
        new = run(part(folder / "one-more", whole, PRODUCTS + 1), 2, DRAWS, cache, asked=True)
    pairs = [by_size[n]["pairs"] for n in SIZES]
    inside = [one_core[n]["inside"] for n in SIZES]
    growth = exponent(pairs[-2:], inside[-2:])
    full = by_size[PRODUCTS]
    return [
        "## A shelf",
        "",
        f"Every pair of products of the simulated world, {DRAWS} draws each, cold, in a process "
        f"of its own with its imports; {full['trouble']} of {full['pairs']} pairs are not clear.",
        "",
        "| products | pairs | equilibria | cores | seconds | of processors | MB |",
        "|---|---|---|---|---|---|---|",
        *(
            f"| {n} | {r['pairs']} | {r['solves']} | {c} | {r['seconds']:.1f} | {r['cpu']:.1f} "
            f"| {r['mb']:.0f} |"
            for c, shelf_of in ((1, one_core), (2, by_size))
            for n, r in shelf_of.items()
        ),
        "",
        "On one core, imports apart, seconds grow with pairs to the power "
        f"{exponent(pairs, inside):.2f} over all four, {growth:.2f} over the last two. MB is "
        "the most that all processes held at a time.",
        "",
        "| draws | seconds (15 products, one core) |",
        "|---|---|",
        *(f"| {n} | {r['seconds']:.1f} |" for n, r in by_draws.items()),
        "",
        "| with the cache | equilibria | seconds |",
        "|---|---|---|",
        f"| the same shelf again | {again['solves']} | {again['seconds']:.1f} |",
        f"| one new product against {PRODUCTS} | {new['solves']} | {new['seconds']:.1f} |",
        "",
        "Equilibria count each tank's draws once; a tank that changes with time or drops a solid "
        "is solved several times over.",
        "",
    ]


def against_section() -> list[str]:
    """12 products against a shop's labels, reading included."""
    with tempfile.TemporaryDirectory() as held:
        whole, shop = Path(held) / "whole", Path(held) / "shop"
        whole.mkdir()
        products(whole, MINE + SHOP)
        mine = part(Path(held) / "mine", whole, MINE)
        shop.mkdir()
        for path in sorted(whole.glob("*.toml"))[MINE:]:
            path.rename(shop / path.name)
        cache = str(Path(held) / "cache")
        cold = run(mine, 2, DRAWS, cache, shop=str(shop))
        again = run(mine, 2, DRAWS, cache, shop=str(shop))
    return [
        "## Mine against a shop's",
        "",
        f"{MINE} products against {SHOP} labels, their reading included, {DRAWS} draws, 2 cores; "
        f"{cold['left']} labels could not be used.",
        "",
        "| | pairs | equilibria | seconds | of processors | MB |",
        "|---|---|---|---|---|---|",
        *(
            f"| {what} | {r['pairs']} | {r['solves']} | {r['seconds']:.1f} | {r['cpu']:.1f} "
            f"| {r['mb']:.0f} |"
            for what, r in (("cold", cold), ("again, with the cache", again))
        ),
        "",
    ]


def catalogue_section(count: int) -> list[str]:
    """All pairs of a catalogue."""
    with tempfile.TemporaryDirectory() as held:
        whole = Path(held) / "whole"
        whole.mkdir()
        products(whole, count)
        r = run(whole, 2, DRAWS)
    return [
        "## A catalogue",
        "",
        f"All {r['pairs']} pairs of {count} labels, {DRAWS} draws, 2 cores: {r['seconds']:.0f} s, "
        f"{r['cpu']:.0f} s of processors, {r['mb']:.0f} MB; "
        f"{1e3 * r['cpu'] / r['pairs']:.1f} ms of a processor for each pair.",
        "",
    ]


def screen_section() -> list[str]:
    """The screen of the first draws against all of them, on random pairs."""
    from chem.forecast import Study
    from chem.shelf import read_stock, tanks
    from chem.shelf.tanks import Tank, batches, evaluate_batch
    from chem.tank import find_water

    rng = np.random.default_rng(3)
    with tempfile.TemporaryDirectory() as held:
        products(Path(held), SCREENED_OF)
        items, _ = read_stock(Path(held))
    lines, study = [], Study(DRAWS, 1)
    tanks.SCREENED_FROM = DRAWS
    for water in ("soft", "hard-alkaline"):
        setting = Setting(find_water(water, None), 0.0815, 20.0, None, DRAWS, 1)
        every = [(i, j) for j in range(len(items)) for i in range(j)]
        chosen = rng.choice(len(every), SCREENED_PAIRS, replace=False)
        rows = [[Tank(every[k])] for k in chosen]
        decided = changed = off = largest = 0.0
        for _, batch in batches(rows, items, setting, study):
            screened = [odds[0] for odds in evaluate_batch(batch)]
            told = [k for k, odds in enumerate(screened) if odds.decided_by == "screen"]
            decided += len(told)
            if not told:
                continue
            tanks.SCREENED_FROM = DRAWS + 1
            whole = [odds[0] for odds in evaluate_batch(batch.some(told, DRAWS))]
            tanks.SCREENED_FROM = DRAWS
            for k, full in zip(told, whole, strict=True):
                odds = screened[k]
                words = [(o.answer(t, ()).word) for o in (odds, full) for t in odds.clogs]
                changed += len(set(words)) > 1
                apart = max(abs(odds.probability[t] - full.probability[t]) for t in odds.clogs)
                off, largest = off + (apart > 0.0), max(largest, apart)
        lines.append(
            f"| {water} | {SCREENED_PAIRS} | {decided:.0f} | {changed:.0f} | {off:.0f} "
            f"| {largest:.3f} |"
        )
    return [
        "## The screen",
        "",
        f"Random pairs of {len(items)} labels, screened by {tanks.SCREENED} draws and, where that "
        f"decided, told by all {DRAWS}.",
        "",
        "| water | pairs | decided | answers changed | odds changed | by at most |",
        "|---|---|---|---|---|---|",
        *lines,
        "",
    ]


def cluster_section() -> list[str]:
    """One worker of a cluster and two, on this machine."""
    with tempfile.TemporaryDirectory() as held:
        products(Path(held), CLUSTERED)
        found = {n: run(Path(held), 1, DRAWS, workers=n) for n in (1, 2)}
    times = found[1]["inside"] / found[2]["inside"]
    return [
        "## A cluster",
        "",
        f"{found[1]['pairs']} pairs of {CLUSTERED} labels by one worker in "
        f"{found[1]['inside']:.1f} s, by two in {found[2]['inside']:.1f} s: {times:.2f} times.",
        "",
    ]


PARTS = {
    "solver": lambda: bench_solver.section(bench_solver.measure()),
    "shelf": shelf_section,
    "against": against_section,
    "screen": screen_section,
    "cluster": cluster_section,
}


def renewed(page: str, section: Sequence[str]) -> str:
    """The page with a section in the place of its last, or at the end."""
    text = "\n".join(section)
    start = page.find(f"{section[0]}\n")
    if start < 0:
        return f"{page.rstrip()}\n\n{text.rstrip()}\n"
    end = page.find("\n## ", start)
    rest = "" if end < 0 else page[end + 1 :]
    return f"{page[:start]}{text.rstrip()}\n" + (f"\n{rest}" if rest else "")


def main() -> None:
    """Measure and write the page."""
    asked = sys.argv[1:]
    page = PAGE.read_text(encoding="utf-8")
    head = page[: page.index("Machine: ")]
    page = f"{head}Machine: {machine()}.\n\n{page[page.index('## ') :]}"
    for name, section in PARTS.items():
        if not asked or name in asked:
            page = renewed(page, section())
            PAGE.write_text(page, encoding="utf-8")
    if "catalogue" in asked:
        page = renewed(page, catalogue_section(int(asked[-1])))
        PAGE.write_text(page, encoding="utf-8")
    print(page)


if __name__ == "__main__":
    main()
