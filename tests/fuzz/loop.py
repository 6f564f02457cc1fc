"""Mutants by their numbers, each in a shed of its own."""

from __future__ import annotations

import json
import os
import random
import shutil
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from fuzz.desk import ask_here, requests_here, spoil_request
from fuzz.run import Ran, broken_promises, run_here
from fuzz.seeds import BY_FILE, FEW, seed_files
from fuzz.spoil import SPOILERS, TEXTS, offered, spoil_options


@dataclass
class Found:
    """A broken promise and how to see it again."""

    number: int
    kind: str
    words: list[str]
    what: list[str]
    spoilt: bytes
    told: str


@dataclass
class Sum:
    """What a fuzzing run saw."""

    tried: Counter[str] = field(default_factory=Counter)
    codes: Counter[int] = field(default_factory=Counter)
    found: list[Found] = field(default_factory=list)
    slowest: tuple[float, str] = (0.0, "")
    largest: int = 0


class Fuzzer:
    """Mutant number n of a seed is the same whenever it is asked for."""

    def __init__(self, seed: int, folder: Path) -> None:
        self.seed, self.folder = seed, folder
        self.seeds = seed_files()
        self.every = offered()
        self._begin_notebook()
        self.kinds = (*BY_FILE, "options", "options", "options", "desk", "desk")
        with self.shed({}):
            self.requests = requests_here()

    def _begin_notebook(self) -> None:
        """A notebook of two entries and its export, to be spoilt as well."""
        with self.shed({}):
            for words in (
                ["saw", "mix.toml", "--seen", "haze", "--after", "10min", "--ph", "6.2", *FEW],
                ["sprayed", "mix.toml", "--quick", "--area", "1 acre", *FEW],
                ["jar", "mix.toml", *FEW],
                ["notebook", "export"],
            ):
                done = run_here(words)
                assert done.code == 0, (words, done.err)
            self.seeds["export.json"] = [done.out.encode()]
            import sqlite3

            path = Path("notebook.sqlite")
            with sqlite3.connect(path) as file:
                file.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            file.close()
            self.seeds["notebook.sqlite"] = [path.read_bytes()]

    @contextmanager
    def shed(self, spoilt: dict[str, bytes]) -> Iterator[dict[str, bytes]]:
        """A shed of its own, in which this process stands."""
        here, place = Path.cwd(), self.folder / "a" / "b" / "shed"
        place.mkdir(parents=True)
        files = {name: texts[0] for name, texts in self.seeds.items() if name != "export.json"}
        files |= spoilt
        for name, data in files.items():
            (place / name).write_bytes(data)
        os.chdir(place)
        try:
            yield files
        finally:
            os.chdir(here)
            shutil.rmtree(self.folder / "a", ignore_errors=True)

    def mutant(self, number: int) -> tuple[str, list[str], dict[str, bytes], bytes]:
        """Kind, command line, the spoilt file and what is typed."""
        draw = random.Random(f"{self.seed}:{number}")
        kind = draw.choice(self.kinds)
        typed = b"\n" * 60
        if kind == "options":
            words = spoil_options(draw, self.every)
            lines = [draw.choice((*TEXTS, "", "", "")) for _ in range(30)]
            typed = "\n".join(lines).encode("utf-8", "surrogatepass")
            return kind, words, {}, typed
        spoilt: dict[str, bytes] = {}
        words = []
        if kind == "desk":
            words = ["desk", json.dumps(spoil_request(draw, self.requests))]
            if draw.random() < 0.7:
                return kind, words, spoilt, b""
            kind = draw.choice(LYING)
        seed, other = draw.choice(self.seeds[kind]), draw.choice(self.seeds[draw.choice(ALIKE)])
        spoilt[kind] = draw.choice(SPOILERS)(seed, draw, other)
        return kind, words or draw.choice(BY_FILE[kind]), spoilt, typed

    def judge(
        self, words: list[str], spoilt: dict[str, bytes], typed: bytes
    ) -> tuple[Ran, list[str]]:
        """What a command did in a shed with these files, and the promises that it broke."""
        if words[0] == "desk":
            with self.shed({}):
                return ask_here(json.loads(words[1]), spoilt)
        with self.shed(spoilt) as files:
            ran = run_here(words, typed)
            return ran, broken_promises(ran, words, files)

    def try_one(self, number: int, told: Sum) -> None:
        """Run it and note what broke."""
        kind, words, spoilt, typed = self.mutant(number)
        ran, what = self.judge(words, spoilt, typed)
        told.tried[kind] += 1
        told.codes[int(ran.code)] += 1
        told.largest = max(told.largest, ran.peak)
        told.slowest = max(told.slowest, (ran.cpu_s, " ".join(words)[:60]))
        if what:
            data = next(iter(spoilt.values()), b"")
            left = [p.read_text(encoding="utf-8") for p in (self.folder / "faults").glob("*.txt")]
            said = "".join([ran.out[-500:], ran.err, *left])
            told.found.append(Found(number, kind, words, what, data, said))
        for fault in (self.folder / "faults").glob("*"):
            fault.unlink()


LYING = ("mix.toml", "product.toml", "water.toml", "sprayer.toml", "shed.toml", "notebook.sqlite")
"""What the desk reads wherever it lies in the shed."""
ALIKE = ("mix.toml", "product.toml", "water.toml", "shed.toml", "label.txt", "solution.toml")


@contextmanager
def own_place() -> Iterator[Path]:
    """A folder to work in; nothing of this machine's user has a say."""
    folder = Path(tempfile.mkdtemp(prefix="jarsight-fuzz-"))
    before = {k: os.environ.get(k) for k in ("JARSIGHT_DATA", "JARSIGHT_NOTEBOOK", "TMPDIR")}
    os.environ["JARSIGHT_DATA"] = str(folder / "data")
    os.environ.pop("JARSIGHT_NOTEBOOK", None)
    faults = folder / "faults"
    faults.mkdir()
    was, tempfile.tempdir = tempfile.tempdir, str(faults)
    try:
        yield folder
    finally:
        tempfile.tempdir = was
        for name, value in before.items():
            os.environ.pop(name, None)
            if value is not None:
                os.environ[name] = value
        shutil.rmtree(folder, ignore_errors=True)


def fuzz(
    seed: int, numbers: Iterable[int], seconds: float = float("inf"), quiet: bool = True
) -> Sum:
    """Mutants of a seed by their numbers, until the time is over."""
    told = Sum()
    with own_place() as folder:
        fuzzer = Fuzzer(seed, folder)
        end = time.monotonic() + seconds
        for number in numbers:
            if time.monotonic() > end:
                break
            seen = len(told.found)
            fuzzer.try_one(number, told)
            if not quiet:
                for one in told.found[seen:]:
                    print(f"{one.number} {one.kind}: {one.what} by {one.words!r:.300}", flush=True)
    return told
