"""PHREEQC against our solver on 2,000 mixes drawn by Hypothesis, some of them settled."""

from __future__ import annotations

from collections import Counter

import numpy as np
from corpus import family, with_doubts
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chem.equilibrium import build_phases, settle, solve
from chem.equilibrium.referee import compare, disagreement, referee
from chem.reference import tables

EVERY = tuple(tables().components)
OTHERS = [c for c in EVERY if c not in {"Na", "Cl"}]
PH, SI, AMOUNT, AMOUNT_MOL = 0.001, 0.002, 0.005, 1e-6
VALID_I = 4.0
ROWS, EXAMPLES = 5, 420
KINDS = ("wide", "excess ligand", "nutrients", "excess metal", "traces")
SCALE = settings(
    max_examples=EXAMPLES,
    derandomize=True,
    deadline=None,
    database=None,
    suppress_health_check=list(HealthCheck),
)
solved: Counter[str] = Counter()


@st.composite
def mixes(draw: st.DrawFn) -> tuple[list[str], int]:
    """Component keys (7 to 14, now and then all) and a seed."""
    everything = draw(st.integers(0, 60)) == 0
    if everything:
        chosen = list(OTHERS)
    else:
        size = draw(st.integers(5, 12))
        chosen = draw(st.lists(st.sampled_from(OTHERS), min_size=size, max_size=size, unique=True))
    keys = {"Na", "Cl", *chosen}
    return [c for c in EVERY if c in keys], draw(st.integers(0, 2**31 - 1))


@SCALE
@given(mixes())
def _one_family(drawn: tuple[list[str], int]) -> None:
    components, seed = drawn
    rng = np.random.default_rng(seed)
    mix = family(rng, components, ROWS, kinds=KINDS, high=0.5)
    conditions = with_doubts(mix.system, mix.t_celsius, ROWS, seed % 1000)
    state = solve(mix.system, mix.totals, conditions)
    assert state.converged.all()
    rows = [i for i in range(ROWS) if state.ionic_strength[i] < VALID_I]
    phases = build_phases(mix.system)
    if not rows:
        return
    found = compare(state, phases, rows=rows)
    solved["rows"] += found.rows
    solved["failed"] += found.failed
    if found.rows:
        assert found.ph < PH
        assert found.si < SI
    prompt = [m for m, s in enumerate(phases.solids) if s.kinetics == "prompt" and s.decides]
    if seed % 5 or not prompt:
        return
    few = phases.pick(np.array(prompt))
    settled = settle(mix.system, mix.totals, conditions, few, start=state)
    rows = [
        i
        for i in rows
        if settled.converged[i]
        and (settled.amounts[i] > 0.0).any()
        and settled.ionic_strength[i] < VALID_I
    ][:2]
    if not rows:
        return
    theirs = referee(settled, rows, few, allowed=np.ones(len(few), dtype=bool))
    solved["settled failed"] += disagreement(settled, few, None, theirs).failed
    here = theirs.rows[theirs.solved]
    solved["settled"] += len(here)
    mine, other = settled.amounts[here], theirs.amounts[theirs.solved]
    assert (np.abs(mine - other) <= np.maximum(AMOUNT * mine, AMOUNT_MOL)).all()


def test_two_thousand_mixes_agree_with_phreeqc() -> None:
    solved.clear()
    _one_family()
    print(dict(solved))
    assert solved["rows"] >= 0.97 * (solved["rows"] + solved["failed"])
    assert solved["rows"] + solved["failed"] >= 2000
    assert solved["settled"] >= 50
