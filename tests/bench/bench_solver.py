"""Throughput of our solver against PHREEQC on the same tables, one core: `python` this file.

Both get the same generated database and SIT model, 15 components, about 100 species. PHREEQC is
measured fairly: its database loaded once, all rows in one run, only pH and SI selected, and no
doubts (redefining constants per row would cost it more); ours solves every row with the doubts of
its own constants. All is timed in turn in one run, by processor time; medians of the rounds. The
section of `speed.md` on the solver is written anew.
"""

# BLAS reads its threads when numpy is imported, so the environment comes first.
# ruff: noqa: E402

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from corpus import family, with_doubts

from chem.equilibrium import Conditions, build_phases, solve
from chem.equilibrium.referee import Engine, database, effective_eps, solution_text

COMPONENTS = ["Ca", "Mg", "K", "Na", "NH4", "Fe2", "Zn", "B"]
COMPONENTS += ["Cl", "NO3", "SO4", "CO3", "PO4", "citrate", "EDTA"]
SOLIDS = ("gypsum", "brushite", "struvite", "calcite", "vivianite", "calcium_citrate")
ROWS, FEW = 1024, 64
ROUNDS, THEIR_ROWS = 9, 128
RATIOS = np.geomspace(0.25, 4.0, 9)
COMPONENTS_TRIED = (4, 8, 12, 15)
PAGE = Path(__file__).resolve().parent / "speed.md"
SECTION, NEXT = "## One solve", "## A shelf"
COLD = """
import time; start = time.perf_counter()
import numpy, chem.equilibrium as e; loaded = time.perf_counter()
s = e.build_system({components!r}); t = numpy.full((256, len(s.components)), 0.01)
state = e.solve(s, t, e.Conditions.nominal(s)); done = time.perf_counter()
assert state.converged.all(); print(loaded - start, done - loaded)
"""


def seconds(work: Callable[[], object]) -> float:
    """Processor time of some work."""
    start = time.process_time()
    work()
    return time.process_time() - start


@dataclass(frozen=True)
class Rates:
    """Solves per processor second, medians of rounds that time all in turn.

    plain: without doubts. times: each of ours against PHREEQC's of the same round, the median.
    sizes: (components, species, solves per second).
    """

    components: int
    species: int
    cold: float
    few: float
    swept: float
    few_swept: float
    plain: float
    phreeqc: float
    times: Mapping[str, float]
    sizes: Sequence[tuple[int, int, float]]
    ph_apart: float


def measure() -> Rates:
    """Solve the same rows with ours and with PHREEQC."""
    rng = np.random.default_rng(15)
    mix = family(rng, COMPONENTS, ROWS, kinds=("wide",), high=0.2, ph=(4.0, 9.0))
    system, totals, t = mix.system, mix.totals, mix.t_celsius
    phases = build_phases(system, SOLIDS)
    doubts = with_doubts(system, t, ROWS)
    nominal = Conditions.nominal(system, t)
    some = Conditions(t, doubts.log_k[:FEW], doubts.eps_shift[:FEW])
    half = totals * (np.arange(totals.shape[1]) % 2)

    def ours(count: int, conditions: Conditions, times: int = 1) -> None:
        for _ in range(times):
            state = solve(system, totals[:count], conditions)
            assert state.converged.all()
            state.saturation_index(phases)

    def sweep(count: int, conditions: Conditions) -> None:
        near = None
        for ratio in RATIOS:
            mixed = totals[:count] + (ratio - 1.0) * half[:count]
            near = solve(system, mixed, conditions, start=near)
            assert near.converged.all()
            near.saturation_index(phases)

    # One set of coefficients for all rows of the run: those at the median ionic strength.
    state = solve(system, totals, nominal)
    middle = float(np.median(state.ionic_strength))
    engine = Engine(database(system, phases, t, eps_row=effective_eps(system, nominal, 0, middle)))
    head = "SELECTED_OUTPUT\n-reset false\n-pH true\n-si " + " ".join(phases.keys) + "\n"

    def theirs(first: int) -> None:
        chosen = enumerate(totals[first : first + THEIR_ROWS], 1)
        rows = "".join(solution_text(i, system, x, t, 7.0, "charge") for i, x in chosen)
        engine.run(head + rows + "END\n")

    theirs(0)
    ph = np.array(engine.selected())[:, 0]
    repeats = ROWS // FEW // 4
    works: Mapping[str, tuple[int, Callable[[], None]]] = {
        "cold": (ROWS, lambda: ours(ROWS, doubts)),
        "few": (FEW * repeats, lambda: ours(FEW, some, repeats)),
        "swept": (len(RATIOS) * ROWS, lambda: sweep(ROWS, doubts)),
        "few_swept": (len(RATIOS) * FEW, lambda: sweep(FEW, some)),
        "plain": (ROWS, lambda: ours(ROWS, nominal)),
    }
    rates: dict[str, list[float]] = {name: [] for name in [*works, "phreeqc"]}
    for k in range(ROUNDS):
        for name, (count, work) in works.items():
            rates[name].append(count / seconds(work))
        first = k * THEIR_ROWS % ROWS
        rates["phreeqc"].append(THEIR_ROWS / seconds(lambda first=first: theirs(first)))
    base = np.array(rates["phreeqc"])
    return Rates(
        components=len(system.components),
        species=len(system.species),
        **{name: float(np.median(found)) for name, found in rates.items()},
        times={name: float(np.median(np.array(rates[name]) / base)) for name in works},
        sizes=by_components(),
        ph_apart=float(np.median(np.abs(ph - state.ph[:THEIR_ROWS]))),
    )


def by_components() -> list[tuple[int, int, float]]:
    """(components, species, solves per second) of systems of rising size, with doubts."""
    out = []
    every = ["Na", "Cl", "Ca", "PO4", "K", "SO4", "CO3", "NH4", "citrate"]
    every += [c for c in COMPONENTS if c not in every]
    for count in COMPONENTS_TRIED:
        rng = np.random.default_rng(count)
        mix = family(rng, every[:count], ROWS, kinds=("wide",), high=0.2, ph=(4.0, 9.0))
        doubts = with_doubts(mix.system, mix.t_celsius, ROWS)
        work = partial(solve, mix.system, mix.totals, doubts)
        rate = ROWS / float(np.median([seconds(work) for _ in range(ROUNDS)]))
        out.append((len(mix.system.components), len(mix.system.species), rate))
    return out


def section(rates: Rates) -> list[str]:
    """The page's lines on the solver."""
    rows = {
        f"ours, {ROWS} rows, each from scratch": "cold",
        f"ours, {len(RATIOS)} ratios from 0.25 to 4, each from the one before": "swept",
        f"ours, {FEW} rows, each from scratch": "few",
        f"ours, {FEW} rows, the same ratios, each from the one before": "few_swept",
    }
    return [
        SECTION,
        "",
        f"{rates.components} components, {rates.species} species, one core, doubts on; PHREEQC "
        "with the same generated database and SIT model. Solves per second of processor time.",
        "",
        "| | solves per second | times PHREEQC |",
        "|---|---|---|",
        f"| PHREEQC | {rates.phreeqc:.0f} | 1 |",
        *(
            f"| {text} | {getattr(rates, name):.0f} | {rates.times[name]:.0f} |"
            for text, name in rows.items()
        ),
        "",
        "| components | species | solves per second |",
        "|---|---|---|",
        *(f"| {c} | {s} | {rate:.0f} |" for c, s, rate in rates.sizes),
        "",
    ]


def main() -> None:
    """Measure, write the section and print it."""
    rates = measure()
    lines = section(rates)
    page = PAGE.read_text(encoding="utf-8")
    start, end = page.index(SECTION), page.index(NEXT)
    PAGE.write_text(page[:start] + "\n".join(lines) + "\n" + page[end:], encoding="utf-8")
    print("\n".join(lines))
    print(f"without doubts        {rates.plain:8.0f} solves/s")
    print(f"median |delta pH|     {rates.ph_apart:.1e}  ({THEIR_ROWS} rows)")
    cold = subprocess.run(
        [sys.executable, "-c", COLD.format(components=COMPONENTS)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    imports, first = (float(x) for x in cold.stdout.split())
    print(f"cold start            {imports:.2f} s of imports, then 256 solves in {first:.2f} s")


if __name__ == "__main__":
    main()
