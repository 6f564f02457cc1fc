"""PHREEQC, given our tables, must find what our solver finds."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from corpus import LIGANDS, METALS, family, with_doubts

from chem.equilibrium import (
    Conditions,
    Equilibrium,
    Phases,
    build_phases,
    build_system,
    settle,
    solve,
)
from chem.equilibrium.referee import (
    Disagreement,
    Refereed,
    compare,
    database,
    disagreement,
    element,
    engine,
    referee,
    species_names,
)
from chem.forecast import Study
from chem.reference import tables
from chem.tank import read_mix

ROOT = Path(__file__).resolve().parents[1]
EXAMPLES = sorted((ROOT / "examples").glob("*.toml"))
EVERY = tuple(c for c in tables().components if not c.startswith("acid_"))
PH, SI = 0.001, 0.002
AMOUNT = 0.005
PH_SETTLED = 0.005
"""Settled pH also carries the water that PHREEQC counts and we don't (ledger in referee.py)."""
VALID_I = 4.0
SETTLING = [*METALS, "K", "NH4", "B", "NO3", "SO4", "CO3", "PO4", "HPO3"]
SETTLING += ["citrate", "EDTA", "oxalate", "tartrate", "gluconate"]
RANDOM_SIZES = [7, 8, 9, 10, 11, 12, 14, 16, 20, 26]


def _agree(found: Disagreement) -> None:
    assert found.ph < PH
    assert found.si < SI


@pytest.mark.parametrize("path", EXAMPLES, ids=[p.stem for p in EXAMPLES])
def test_every_example_agrees_with_phreeqc(path: Path) -> None:
    tank = Study(16, 1).stand(read_mix(path)).at(0.0)
    found = compare(tank.clear, tank.phases, tank.log_ksp, rows=range(8))
    assert (found.rows, found.failed) == (8, 0)
    _agree(found)


def _random_rows(seed: int) -> list[tuple[Equilibrium, list[int], Phases]]:
    """200 random mixes with their doubts: I up to 4 mol/kg, pH 1-11, 5-40 degC."""
    rng = np.random.default_rng(seed)
    out, found, number = [], 0, 0
    kinds = ("wide", "excess ligand", "nutrients", "excess metal", "traces")
    while found < 200:
        everything = number % 20 == 10
        size = len(EVERY) if everything else RANDOM_SIZES[number % len(RANDOM_SIZES)]
        others = [c for c in EVERY if c not in {"Na", "Cl"}]
        chosen = {"Na", "Cl", *rng.choice(others, size - 2, replace=False)}
        mix = family(rng, [c for c in EVERY if c in chosen], 5, kinds=kinds, high=0.5)
        state = solve(mix.system, mix.totals, with_doubts(mix.system, mix.t_celsius, 5, number))
        rows = [i for i in range(5) if state.converged[i] and state.ionic_strength[i] < VALID_I]
        rows = rows[: 1 if everything else 200 - found]
        out.append((state, rows, build_phases(mix.system)))
        found += len(rows)
        number += 1
    return out


def test_200_random_mixes_agree_with_phreeqc() -> None:
    mixes = _random_rows(20)
    parts = [compare(state, phases, rows=rows) for state, rows, phases in mixes if rows]
    rows, failed = sum(p.rows for p in parts), sum(p.failed for p in parts)
    print(f"PHREEQC solved {rows} of {rows + failed}")
    assert rows + failed == 200
    assert rows >= 0.95 * 200
    assert max(len(s.system.components) for s, _, _ in mixes) == len(EVERY)
    ph = np.concatenate([s.ph[r] for s, r, _ in mixes])
    assert ph.min() < 2.0
    assert ph.max() > 10.0
    for part in parts:
        if part.rows:
            _agree(part)


def _settled(seed: int) -> list[tuple[Equilibrium, Phases, Refereed]]:
    """About 40 settled tanks of prompt solids, by us and by PHREEQC."""
    rng = np.random.default_rng(seed)
    out, count = [], 0
    while count < 40:
        chosen = {"Na", "Cl", *rng.choice(SETTLING, int(rng.integers(5, 13)), replace=False)}
        components = [c for c in EVERY if c in chosen]
        mix = family(rng, components, 3, kinds=("wide", "nutrients"), high=0.3, ph=(4.0, 9.5))
        phases = build_phases(mix.system)
        prompt = [m for m, s in enumerate(phases.solids) if s.kinetics == "prompt" and s.decides]
        if not prompt:
            continue
        phases = phases.pick(np.array(prompt))
        conditions = with_doubts(mix.system, mix.t_celsius, 3, count)
        state = settle(mix.system, mix.totals, conditions, phases)
        rows = [
            i
            for i in range(3)
            if state.converged[i]
            and (state.amounts[i] > 0.0).any()
            and state.ionic_strength[i] < VALID_I
        ]
        may = np.ones(len(phases), dtype=bool)
        out.append((state, phases, referee(state, rows, phases, allowed=may)))
        count += len(rows)
    return out


def test_settled_amounts_agree_with_phreeqc() -> None:
    settled = _settled(40)
    formed = set()
    failed = 0
    for state, phases, theirs in settled:
        found = disagreement(state, phases, None, theirs, amounts=True)
        failed += found.failed
        if not found.rows:
            continue
        here = theirs.rows[theirs.solved]
        error = np.abs(theirs.amounts[theirs.solved] - state.amounts[here])
        assert (error < np.maximum(AMOUNT * state.amounts[here], 1e-6)).all()
        assert found.ph < PH_SETTLED
        formed |= {phases.keys[m] for m in np.flatnonzero((state.amounts[here] > 0).any(axis=0))}
    assert failed <= 2
    assert len(formed) >= 8


def test_the_settled_solution_of_phreeqc_is_one_of_ours() -> None:
    """Same water, no bookkeeping of it: pH as close as for any clear solution, SI 0 of solids."""
    for state, phases, theirs in _settled(41):
        for place in np.flatnonzero(theirs.solved):
            row = theirs.rows[place]
            c = state.conditions
            again = solve(
                state.system,
                np.maximum(theirs.dissolved[place], 0.0),
                Conditions(c.t_celsius, c.log_k[[row]], c.eps_shift[[row]]),
            )
            assert abs(again.ph[0] - theirs.ph[place]) < PH
            held = theirs.amounts[place] > 1e-9
            assert np.abs(again.saturation_index(phases)[0][held]).max(initial=0.0) < SI


def test_given_ph_is_refereed_too() -> None:
    system = build_system(("Ca", "Na", "Cl", "CO3", "PO4"))
    totals = system.totals({"Ca": 0.01, "Na": 0.05, "Cl": 0.04, "CO3": 0.005, "PO4": 0.01})
    ph = np.array([6.2])
    state = solve(system, totals, Conditions.nominal(system, 15.0), ph=ph)
    phases = build_phases(system)
    theirs = referee(state, [0], phases, ph=ph)
    _agree(disagreement(state, phases, None, theirs))


def test_compare_settles_what_may_form() -> None:
    system = build_system(("Ca", "K", "NO3", "SO4"))
    totals = system.totals({"Ca": 0.2, "K": 0.4, "NO3": 0.4, "SO4": 0.2})
    clear = solve(system, totals, Conditions.nominal(system, 10.0))
    phases = build_phases(system, ("gypsum",))
    found = compare(clear, phases, allowed=np.array([True]))
    _agree(found)
    assert found.amount < AMOUNT
    assert compare(clear, phases, rows=()).rows == 0


def test_a_wrong_constant_is_seen() -> None:
    """The referee is no rubber stamp: a constant off by 0.01 shows as 0.01."""
    system = build_system(("Ca", "K", "NO3", "SO4"))
    totals = system.totals({"Ca": 0.01, "K": 0.02, "NO3": 0.02, "SO4": 0.01})
    clear = solve(system, totals, Conditions.nominal(system))
    phases = build_phases(system, ("gypsum",))
    theirs = referee(clear, [0], phases, phases.log_k(25.0)[None, :] + 0.01)
    assert disagreement(clear, phases, None, theirs).si == pytest.approx(0.01, abs=1e-4)


def test_a_component_that_phreeqc_lacks_is_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    """The binding itself drops what its database lacks without a word."""
    small = build_system(("Na", "Cl"))
    poor = database(small, build_phases(small))
    system = build_system(("Na", "Cl", "NO3"))
    phases = build_phases(system)
    totals = system.totals({"Na": 0.2, "Cl": 0.1, "NO3": 0.1})
    state = solve(system, totals, Conditions.nominal(system))
    _agree(disagreement(state, phases, None, referee(state, [0], phases)))
    monkeypatch.setattr(engine, "database", lambda *_, **__: poor)
    with pytest.raises(RuntimeError, match="lost NO3"):
        referee(state, [0], phases)


def test_names_balance_and_differ() -> None:
    system = build_system(EVERY)
    names = species_names(system)
    assert len(set(names)) == len(system.species)
    elements = [element(c) for c in EVERY]
    assert len(set(elements)) == len(EVERY)
    assert all(e[0] == "X" and e[1:].islower() and e[1:].isalpha() for e in elements)
    assert set(METALS) | set(LIGANDS) <= set(EVERY)


# ------------------------------------------------------------ the referee's own installation

COMMAND = "import sys; sys.argv[0] = 'jarsight'; from chem.cli.main import run; run()"
WITHOUT = """
import sys
class Absent:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] == "pyEQL":
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)
sys.meta_path.insert(0, Absent())
"""
MIX = str(ROOT / "examples" / "stays-clear.toml")
SOLUTION = str(ROOT / "examples" / "solutions" / "stock-solution.toml")


def _run(code: str, *words: str, **more: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", code, *words],
        capture_output=True, text=True, cwd=ROOT, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), **more},
    )  # fmt: skip


@pytest.mark.parametrize("words", [("forecast", MIX), ("solution", SOLUTION)])
@pytest.mark.parametrize("absent", [WITHOUT, "import sys; sys.modules['pyEQL'] = None\n"])
def test_without_pyeql_the_referee_says_how_to_get_it(words: tuple[str, ...], absent: str) -> None:
    done = _run(absent + COMMAND, *words, "--referee")
    assert done.returncode == 2
    assert done.stdout == ""
    assert "pip install 'jarsight[referee]'" in done.stderr
    assert "pip install '.[referee]'" in done.stderr
    assert "Traceback" not in done.stderr
    assert _run(absent + COMMAND, *words).returncode == 0


def test_selfcheck_does_what_it_can_without_pyeql() -> None:
    done = _run(WITHOUT + COMMAND, "selfcheck")
    assert done.returncode == 0, done.stdout
    assert "pip install 'jarsight[referee]'" in done.stdout
    shown = json.loads(_run(WITHOUT + COMMAND, "selfcheck", "--json").stdout)
    groups = [c["group"] for c in shown["checks"]]
    assert shown["passed"] and "jarsight[referee]" in shown["unrefereed"]
    assert "refereed example" not in groups and groups.count("example") == len(EXAMPLES)
    shown = json.loads(_run(COMMAND, "selfcheck", "--json").stdout)
    groups = [c["group"] for c in shown["checks"]]
    assert shown["passed"] and shown["unrefereed"] is None
    assert groups.count("refereed example") == len(EXAMPLES)


@pytest.mark.parametrize("more", [(), ("--settle",), ("--saturate", "gypsum"), ("--ph", "6")])
def test_a_solution_is_refereed_as_printed(more: tuple[str, ...]) -> None:
    done = _run(COMMAND, "solution", SOLUTION, *more, "--referee")
    assert done.returncode == 0, done.stderr
    assert "Referee PHREEQC agrees" in done.stderr


def test_a_cache_left_by_a_deleted_environment_does_not_stop_the_referee(tmp_path: Path) -> None:
    """pint keeps where its definitions stood, and looks there again when it is asked by pyEQL."""
    import pint

    gone, cache = tmp_path / "gone", tmp_path / "cache"
    shutil.copytree(Path(pint.__file__).parent, gone / "pint")
    user = {"XDG_CACHE_HOME": str(cache), "HOME": str(tmp_path)}
    registry = "import pint; pint.UnitRegistry(cache_folder=':auto:')"
    left = _run(registry, **user | {"PYTHONPATH": str(gone)})
    assert left.returncode == 0, left.stderr
    shutil.rmtree(gone)
    before = {p: p.read_bytes() for p in cache.rglob("*") if p.is_file()}
    assert before, "pint left no cache"
    assert "FileNotFoundError" in _run("import pyEQL", **user).stderr
    done = _run(COMMAND, "forecast", MIX, "--referee", "--draws", "16", **user)
    assert done.returncode == 0, done.stderr
    assert "Referee PHREEQC agrees" in done.stderr
    assert {p: p.read_bytes() for p in cache.rglob("*") if p.is_file()} == before
