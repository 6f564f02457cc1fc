"""Throughput of our solver against PHREEQC on the same tables, one core: `python` this file.

Both get the same generated database and SIT model, 15 components, about 110 species, 1,024 rows.
PHREEQC is measured fairly: its database loaded once, all rows in one run, only pH and SI selected,
and no doubts (redefining constants per row would cost it more); ours solves every row with the
doubts of its own constants. Ratio from one run, best of the repeats of each.
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
from collections.abc import Callable
from dataclasses import dataclass
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
ROWS = 1024
REPEATS = 5
COLD = """
import time; start = time.perf_counter()
import numpy, chem.equilibrium as e; loaded = time.perf_counter()
s = e.build_system({components!r}); t = numpy.full((256, len(s.components)), 0.01)
state = e.solve(s, t, e.Conditions.nominal(s)); done = time.perf_counter()
assert state.converged.all(); print(loaded - start, done - loaded)
"""


def best(times: int, work: Callable[[], object]) -> float:
    """Least seconds of some repeats."""
    seconds = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


@dataclass(frozen=True)
class Rates:
    """Solves per second on one core, in one run, best of some repeats."""

    components: int
    species: int
    doubtful: float
    few: float
    plain: float
    phreeqc: float
    ph_apart: float

    @property
    def ratio(self) -> float:
        """Ours with doubts against PHREEQC's."""
        return self.doubtful / self.phreeqc


def measure() -> Rates:
    """Solve the same rows with ours and with PHREEQC."""
    rng = np.random.default_rng(15)
    mix = family(rng, COMPONENTS, ROWS, kinds=("wide",), high=0.2, ph=(4.0, 9.0))
    system, totals, t = mix.system, mix.totals, mix.t_celsius
    phases = build_phases(system, SOLIDS)
    doubts = with_doubts(system, t, ROWS)
    nominal = Conditions.nominal(system, t)

    def ours(count: int, conditions: Conditions) -> None:
        state = solve(system, totals[:count], conditions)
        assert state.converged.all()
        state.saturation_index(phases)

    solve(system, totals[:8], nominal)
    ours_s = best(REPEATS, lambda: ours(ROWS, doubts))
    plain_s = best(REPEATS, lambda: ours(ROWS, nominal))
    few = Conditions(t, doubts.log_k[:64], doubts.eps_shift[:64])
    few_s = best(REPEATS, lambda: ours(64, few))
    # One set of coefficients for all rows of the run: those at the median ionic strength.
    state = solve(system, totals, nominal)
    middle = float(np.median(state.ionic_strength))
    engine = Engine(database(system, phases, t, eps_row=effective_eps(system, nominal, 0, middle)))
    head = "SELECTED_OUTPUT\n-reset false\n-pH true\n-si " + " ".join(phases.keys) + "\n"
    rows = "".join(solution_text(i, system, x, t, 7.0, "charge") for i, x in enumerate(totals, 1))
    theirs_s = best(2, lambda: engine.run(head + rows + "END\n"))
    ph = np.array(engine.selected())[:, 0]
    return Rates(
        len(system.components),
        len(system.species),
        ROWS / ours_s,
        64 / few_s,
        ROWS / plain_s,
        ROWS / theirs_s,
        float(np.median(np.abs(ph - state.ph))),
    )


def main() -> None:
    """Measure and print."""
    rates = measure()
    print(f"{rates.components} components, {rates.species} species, {ROWS} rows")
    print(f"ours, with doubts     {rates.doubtful:8.0f} solves/s")
    print(f"ours, 64 rows         {rates.few:8.0f} solves/s")
    print(f"ours, without doubts  {rates.plain:8.0f} solves/s")
    print(f"PHREEQC, same tables  {rates.phreeqc:8.1f} solves/s")
    print(f"ratio                 {rates.ratio:8.0f}")
    print(f"median |delta pH|     {rates.ph_apart:.1e}  ({ROWS} rows)")
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
