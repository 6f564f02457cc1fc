"""Writing commands killed at any moment lose nothing that was acknowledged."""

from __future__ import annotations

import os
import random

import pytest
from kills import COMMANDS, kill_many


@pytest.mark.skipif(os.name != "posix", reason="forks and kills")
def test_twenty_kills_lose_nothing() -> None:
    """`cd tests && python -m kills --kills 600 --seed S` kills as many as you like."""
    seed = random.SystemRandom().randrange(2**32)
    told = kill_many(21, seed)
    assert not told.lost, f"seed {seed}"
    assert len(told.killed | told.ended) == len(COMMANDS), f"seed {seed}"
    assert sum(told.killed.values()) >= 21 and told.writing, f"seed {seed}"
