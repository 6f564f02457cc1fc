"""Spoilt files and options break no promise: those that once did, and fresh ones each time."""

from __future__ import annotations

import json
import os
import random
from collections.abc import Iterator
from pathlib import Path

import pytest
from fuzz.loop import Fuzzer, fuzz, own_place
from fuzz.seeds import BY_FILE

FOUND = Path(__file__).parent / "found"
FILES = sorted(p for p in FOUND.iterdir() if p.name != "options.txt")
LINES = (FOUND / "options.txt").read_text(encoding="utf-8").splitlines()


@pytest.fixture(scope="module")
def fuzzer() -> Iterator[Fuzzer]:
    with own_place() as folder:
        yield Fuzzer(0, folder)


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_a_file_that_broke_a_promise_breaks_none_now(path: Path, fuzzer: Fuzzer) -> None:
    kind = f"{path.name.partition('.')[0]}{path.suffix}"
    for words in BY_FILE[kind]:
        assert not fuzzer.judge(words, {kind: path.read_bytes()}, b"\n" * 60)[1], words


@pytest.mark.parametrize("line", LINES)
def test_options_that_broke_a_promise_break_none_now(line: str, fuzzer: Fuzzer) -> None:
    assert not fuzzer.judge(json.loads(line), {}, b"\n" * 60)[1]


def test_fresh_mutants_break_no_promise() -> None:
    """`cd tests && python -m fuzz --seed S --only N:1 --keep DIR` shows one again."""
    seed = int(os.environ.get("FUZZ_SEED") or random.SystemRandom().randrange(2**32))
    print(f"seed {seed}")
    told = fuzz(seed, range(100), seconds=60)
    assert sum(told.tried.values()) >= 20 and {0, 2} <= set(told.codes)
    broken = [(one.number, one.words, one.what, one.told[-600:]) for one in told.found]
    assert not broken, f"seed {seed}"


def test_the_shed_that_mutants_come_from_answers_before_it_is_spoilt(fuzzer: Fuzzer) -> None:
    """A rest of an earlier tank, two waters and a pH read in the notebook among it."""
    for kind, commands in BY_FILE.items():
        for words in commands[:1]:
            ran, broken = fuzzer.judge(words, {kind: fuzzer.seeds[kind][0]}, b"\n" * 60)
            assert (ran.code, broken) == (0, []), (words, ran.err[-400:])
