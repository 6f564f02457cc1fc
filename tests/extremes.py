"""Solutions and mixes at the ends of what can be asked: an answer that balances, or an honest "no
answer".

`cd tests && python -m extremes --rows 10000 --mixes 10000` draws them with a fresh seed, which it
prints, counts what was answered and the worst balances, and exits 1 where one breaks an invariant.
Balances are summed from the molalities by the tables' own stoichiometry, not by the solver.
"""

from __future__ import annotations

import argparse
import random
import sys
import tomllib
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from corpus import closed, system_of
from numpy.typing import NDArray

from chem.equilibrium import (
    Conditions,
    Equilibrium,
    RowStatus,
    System,
    build_phases,
    settle,
    solve,
)
from chem.errors import InputProblem
from chem.forecast import Study, forecast
from chem.reference import data_folder, tables
from chem.tank import mix_from

LEAST, MOST = 1e-9, 10.0
MODEL_END_I = 6.0
"""mol/kg, to where the activity model goes and solids are let out."""
BRINE = ("Na", "K", "Ca", "Mg", "Cl", "NO3", "SO4")
EXACT = 1e-9
"""Relative, of mass and charge."""
ROUNDING = 1e-14
"""Of all that is dissolved: 10 mol/kg of an acid that is hardly split leave no finer charge."""
KINDS = ("water", "single ion", "salt of two", "brine", "everything", "two among traces", "bare")


@dataclass(frozen=True)
class Batch:
    """Rows of one component set: totals (N, C) [mol/kg] and the kind of each."""

    system: System
    totals: NDArray[np.float64]
    t_celsius: float
    kinds: tuple[str, ...]


def batches(rows: int, seed: int, each: int = 64) -> Iterator[Batch]:
    """`rows` solutions in batches; all but the bare ones are closed by Na or Cl to a drawn pH."""
    rng = np.random.default_rng(seed)
    every = tuple(tables().components)
    for begin in range(0, rows, each):
        some = [c for c in every if c not in ("Na", "Cl") and rng.random() < rng.choice((0.2, 1.0))]
        names = tuple(c for c in every if c in ("Na", "Cl") or c in some)
        kinds = tuple(KINDS[i % len(KINDS)] for i in range(begin, min(begin + each, rows)))
        totals = np.array([_row(rng, names, kind) for kind in kinds])
        system, t_celsius = system_of(names), float(rng.uniform(0.0, 50.0))
        ph = rng.uniform(2.0, 11.0, len(kinds))
        bare = np.array([kind in ("bare", "water") for kind in kinds])
        totals = np.where(bare[:, None], totals, closed(system, totals, t_celsius, ph))
        yield Batch(system, totals, t_celsius, kinds)


def _row(rng: np.random.Generator, names: tuple[str, ...], kind: str) -> NDArray[np.float64]:
    """Totals of one solution, before it is closed."""
    totals = np.zeros(len(names))
    drawn = np.exp(rng.uniform(np.log(LEAST), np.log(MOST), len(names)))
    one, two = rng.integers(len(names), size=2)
    if kind == "single ion":
        totals[one] = rng.choice((LEAST, 1.0, MOST))
    elif kind == "salt of two":
        totals[one], totals[two] = drawn[one], rng.choice((LEAST, MOST))
    elif kind == "brine":
        of_brine = np.array([c in BRINE for c in names])
        totals[of_brine] = rng.uniform(0.5, 3.0, of_brine.sum())
    elif kind in ("everything", "bare"):
        totals = drawn
    elif kind == "two among traces":
        totals[:] = LEAST
        totals[[one, two]] = MOST
    return totals


def balances(
    state: Equilibrium, solids: NDArray[np.float64] | float = 0.0
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Worst relative error of mass and of charge, per row, by the tables where they know it.

    solids: (N, C) what of each component stands in solids [mol/kg of the first water].
    """
    system, m, by_key = state.system, state.molality, {s.key: s for s in tables().species}
    dissolved = m @ system.nu[:-1].T
    for c, component in enumerate(system.components):
        if component not in tables().components:  # held by a ligand: a component of this tank alone
            continue
        master = tables().components[component].master
        dissolved[:, c] = m[:, c]
        for s, key in enumerate(system.species):
            if key in by_key and s > len(system.components):
                dissolved[:, c] += by_key[key].reaction.get(master, 0.0) * m[:, s]
    held = dissolved * state.water_left[:, None] + solids
    there = state.totals > 0.0
    off = np.abs(held / np.where(there, state.totals, 1.0) - 1.0)
    charge = np.abs(m @ system.charge) / (m @ np.abs(system.charge))
    charge[np.abs(m @ system.charge) < ROUNDING * state.totals.sum(axis=1)] = 0.0
    return np.where(there, off, 0.0).max(axis=1), charge


@dataclass
class Told:
    """What a run of extremes saw."""

    answered: Counter[str] = field(default_factory=Counter)
    unanswered: Counter[str] = field(default_factory=Counter)
    broken: list[str] = field(default_factory=list)
    mass: float = 0.0
    charge: float = 0.0

    def take(self, state: Equilibrium, kinds: Sequence[str], solids: object = 0.0) -> None:
        """Note what an equilibrium's rows break."""
        good = state.converged
        mass, charge = balances(state, solids)  # type: ignore[arg-type]
        numbers = np.column_stack([state.ph, state.ionic_strength, state.ln_molality])
        finite, none = np.isfinite(numbers).all(1), np.isnan(numbers).all(1)
        for i, kind in enumerate(kinds):
            (self.answered if good[i] else self.unanswered)[kind] += 1
            honest = finite[i] if good[i] else none[i]
            reasoned = (state.reason[i] == RowStatus.CONVERGED) == good[i]
            balanced = not good[i] or (mass[i] <= EXACT and charge[i] <= EXACT)
            if not (honest and reasoned and balanced):
                named = zip(state.system.components, state.totals[i], strict=True)
                row = {c: float(v) for c, v in named if v}
                at = state.conditions.t_celsius
                self.broken.append(f"{kind} at {at:.2f} C, {mass[i]:.1e}, {charge[i]:.1e}: {row}")
        if good.any():
            self.mass = max(self.mass, float(mass[good].max()))
            self.charge = max(self.charge, float(charge[good].max()))


def judge(batch: Batch, told: Told) -> None:
    """Solve a batch, let it settle where it is no stronger than the tables go, note what breaks."""
    conditions = Conditions.nominal(batch.system, batch.t_celsius)
    state = solve(batch.system, batch.totals, conditions)
    told.take(state, batch.kinds)
    phases = build_phases(batch.system)
    weak = np.nan_to_num(state.ionic_strength, nan=np.inf) < MODEL_END_I
    settled = settle(batch.system, batch.totals, conditions, phases, start=state, only=weak)
    solids = settled.amounts @ phases.nu[:-1].T
    told.take(settled, [f"{kind}, settled" for kind in batch.kinds], solids)


def demo_shelf() -> list[tuple[str, str]]:
    """Every product of the demo shelf, by name, with the unit that it is measured in."""
    found = sorted((data_folder() / "demo" / "products").glob("*.toml"))
    dry = [tomllib.loads(p.read_text(encoding="utf-8")).get("form") == "dry" for p in found]
    return [(p.stem, "kg" if d else "L") for p, d in zip(found, dry, strict=True)]


def random_mix(rng: np.random.Generator, shelf: Sequence[tuple[str, str]]) -> dict[str, object]:
    """A mix file's tables: any products, rates over six decades, any water, 33 to 110 F."""
    drawn = rng.choice(len(shelf), rng.integers(1, 7), replace=False)
    carrier = float(np.exp(rng.uniform(np.log(20.0), np.log(20_000.0))))
    rates = np.minimum(np.exp(rng.uniform(np.log(1e-4), np.log(300.0), len(drawn))), 0.15 * carrier)
    jugs = [(*shelf[i], rate) for i, rate in zip(drawn, rates, strict=True)]
    named = [{"product": name, "rate": f"{rate:.4g} {unit}/ha"} for name, unit, rate in jugs]
    return {
        "name": "Any",
        "water": str(rng.choice(["soft", "hard-alkaline", "saline", "unknown"])),
        "carrier": f"{carrier:.4g} L/ha",
        "tank": str(rng.choice(["1 L", "200 L", "50 gal", "1000000 L"])),
        "temperature": f"{rng.uniform(33, 110):.0f} F",
        "add": named,
    }


def judge_mix(raw: dict[str, object], study: Study, told: Told) -> None:
    """Forecast a mix and note what its numbers break; a refusal in words is an honest one."""
    try:
        mix = mix_from(raw, Path("any.toml"))
        report = forecast(mix, study=study)
        state = study.look(mix).fresh.clear
    except InputProblem as problem:
        told.unanswered[f"mix: {problem.problems[0].wrong[:50]}"] += 1
        return
    told.take(state, ["draw of a mix"] * len(state.ph))
    odds = [report.probability[time] for time in report.probability]
    sound = all(0.0 <= p <= 1.0 for p in odds) and odds == sorted(odds)
    sound = sound and (report.answer == "cannot tell" or np.isfinite(report.ph.median))
    told.answered[f"mix: {report.answer}"] += 1
    if not sound:
        told.broken.append(f"{report.answer}, {odds}, pH {report.ph.median}: {raw}")


def main() -> int:
    """Exit 1 where a row breaks an invariant."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--rows", type=int, default=10_000)
    parser.add_argument("--mixes", type=int, default=0)
    parser.add_argument("--seed", type=int, default=random.SystemRandom().randrange(2**32))
    given = parser.parse_args()
    print(f"seed {given.seed}", flush=True)
    told = Told()
    for batch in batches(given.rows, given.seed):
        judge(batch, told)
    rng, study, shelf = np.random.default_rng(given.seed), Study(16), demo_shelf()
    for _ in range(given.mixes):
        judge_mix(random_mix(rng, shelf), study, told)
    for line in told.broken:
        print(line)
    for kind in sorted(told.answered | told.unanswered):
        print(f"{kind}: {told.answered[kind]} answered, {told.unanswered[kind]} no answer")
    print(f"worst mass {told.mass:.1e}, worst charge {told.charge:.1e}")
    print(f"{given.rows + given.mixes - len(told.broken)} passed, {len(told.broken)} failed")
    return int(bool(told.broken))


if __name__ == "__main__":
    sys.exit(main())
