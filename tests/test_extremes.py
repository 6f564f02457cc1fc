"""Numbers never lie: whatever is asked, masses and charges balance, or there is no number."""

from __future__ import annotations

import random

import numpy as np
from extremes import KINDS, Told, batches, demo_shelf, judge, judge_mix, random_mix

from chem.forecast import Study


def test_solutions_at_the_ends_balance_or_have_no_number() -> None:
    """`cd tests && python -m extremes --rows 56 --seed S` shows the same ones again."""
    seed, told = random.SystemRandom().randrange(2**32), Told()
    for batch in batches(56, seed):
        judge(batch, told)
    assert not told.broken, f"seed {seed}"
    assert all(told.answered[kind] for kind in KINDS), f"seed {seed}"
    assert 0.0 < told.mass < 1e-9 and told.charge < 1e-9


def test_any_mix_of_the_shelf_balances_or_is_refused_in_words() -> None:
    seed, told = random.SystemRandom().randrange(2**32), Told()
    rng, study, shelf = np.random.default_rng(seed), Study(16), demo_shelf()
    for _ in range(12):
        judge_mix(random_mix(rng, shelf), study, told)
    assert not told.broken, f"seed {seed}"
    assert told.answered["draw of a mix"] > 6 * 16, f"seed {seed}"
