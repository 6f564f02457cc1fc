"""Speed of the solver and of a whole shelf, in one run: `python` this file; writes `speed.md`.

A shelf of 60 products of the simulated world (`world.py`), every pair at the products' rates in a
hard water. Each shelf is run in a process of its own, so that nothing is warm and memory is its
own. The solver is held against PHREEQC as `bench_solver.py` does.
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

PAGE = HERE / "speed.md"
PRODUCTS, DRAWS = 60, 64
SIZES = (15, 30, 60, 120)
DRAWS_TRIED = (32, 64, 128, 256)
RATE = 'usual_rate = "4 fl oz/1000 sq ft"'
RUN = """
import json, sys, time
from pathlib import Path
start = time.perf_counter()
from chem.shelf import Cache, Setting, local, read_stock, shelf
from chem.tank import find_water
folder, cores, draws, cache = sys.argv[1:5]
items, left = read_stock(Path(folder))
setting = Setting(find_water("hard-alkaline", None), 0.0815, 20.0, None, int(draws), 1)
kept = Cache(Path(cache), "bench") if cache else None
asked = items[-1] if len(sys.argv) > 5 else None
found = shelf(items, setting, asked=asked, engine=local(int(cores)), cache=kept)
answers = [t.answer for t in found.pairs]
print(json.dumps({"seconds": time.perf_counter() - start, "solves": found.solves,
    "inside": found.seconds,
    "left": len(left), "pairs": len(answers),
    "trouble": sum(a in {"haze", "curdle"} for a in answers)}))
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


def run(folder: Path, cores: int, draws: int, cache: str = "", asked: bool = False) -> Any:
    """One shelf in a process of its own; cache: folder, empty for none; asked: the last one."""
    command = [sys.executable, "-c", RUN, str(folder), str(cores), str(draws), cache]
    command += ["asked"] if asked else []
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


def main() -> None:
    """Measure and write the page."""
    rates = bench_solver.measure()
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
    lines = [
        "# Speed",
        "",
        "Written by `python tests/bench/bench_shelf.py`, all in one run.",
        "",
        f"Machine: {machine()}.",
        "",
        *bench_solver.section(rates),
        "## A shelf",
        "",
        f"Every pair of products of the simulated world, {DRAWS} draws each, cold, in a process "
        f"of its own with its imports; {full['trouble']} of {full['pairs']} pairs haze or curdle.",
        "",
        "| products | pairs | equilibria | cores | seconds | MB |",
        "|---|---|---|---|---|---|",
        *(
            f"| {n} | {r['pairs']} | {r['solves']} | {c} | {r['seconds']:.1f} | {r['mb']:.0f} |"
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
    ]
    PAGE.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
