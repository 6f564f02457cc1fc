"""Figures as they stood when somebody last looked at them: none moves unnoticed.

`python tests/kept_figures.py` tells which moved and keeps the new ones; `test_kept_figures.py`
holds them. They say nothing about right or wrong: standards, papers and PHREEQC do.

Of each part of what a command prints as JSON stands one number, a sum over all its figures and
words in which each has a weight of its own. A figure that moves by 1 in 10,000 moves it by as much.
"""

from __future__ import annotations

import csv
import json
import os
import sys
import tempfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from math import asinh, isfinite
from pathlib import Path
from typing import Any

from fuzz.run import run_here

ROOT = Path(__file__).parent.parent
TABLE = Path(__file__).parent / "kept_figures.csv"
NEAR = 2e-4
LEAST = 1e-4
"""Figures smaller than this count less and less."""
FEW = ["--draws", "16", "--json"]
MIXES = sorted(p.stem for p in (ROOT / "examples").glob("*.toml"))
SOLUTIONS = sorted(p.stem for p in (ROOT / "examples" / "solutions").glob("*.toml"))
JUGS = sorted(p.stem for p in (ROOT / "data" / "demo" / "products").glob("*.toml"))
LABELS = sorted(p.stem for p in (ROOT / "tests" / "labels").glob("*.txt"))
QUICK = {
    "sulfur": ("potassium-thiosulfate-liquor=60 L/ha", "iron-citric=20 L/ha"),
    "humic in cold": ("humic-extract=25 L/ha", "calcium-chloride-liquor=8 fl oz/1000 sq ft"),
    "metals": ("micronutrient-pack=4 fl oz/1000 sq ft", "npk-polyphosphate=9 fl oz/1000 sq ft"),
    "ammonia": ("ammonium-sulfate-liquor=30 L/ha", "potassium-carbonate-liquor=30 L/ha"),
    "brine": ("calcium-chloride-liquor=120 L/ha", "magnesium-nitrate-liquor=200 L/ha"),
    "phosphite": ("potassium-phosphite-liquor=4 fl oz/1000 sq ft", "chelated-calcium=1 gal/acre"),
}  # fmt: skip
NO_FIGURES = {"notebook", "entry", "hash", "version", "when", "at", "date", "versions",
              "data", "draws", "seed"}  # fmt: skip


def commands() -> Iterator[tuple[str, list[str]]]:
    """What is asked, by a short name."""
    for stem in MIXES:
        yield f"forecast {stem}", ["forecast", f"{ROOT}/examples/{stem}.toml", *FEW]
    for name, jugs in QUICK.items():
        adds = [word for jug in jugs for word in ("--add", jug)]
        carrier = "500 L/ha" if name == "brine" else "200 L/ha"
        cold = ["--temperature", "39 F"] if "cold" in name else []
        yield f"forecast {name}", ["forecast", *adds, "--carrier", carrier, *cold, *FEW]
    for stem in ("curdles", "iron-in-hard-water", "hazes-overnight"):
        yield f"why {stem}", ["why", f"{ROOT}/examples/{stem}.toml", *FEW]
    yield "diagnose", ["diagnose", f"{ROOT}/examples/hazes-overnight.toml", "--seen", "haze",
                       "--after", "2h", "--ph", "4.5", *FEW]  # fmt: skip
    to = ["--to", "5.5", "--with", "citric acid"]
    yield "ph", ["ph", f"{ROOT}/examples/borehole-feed.toml", *to, *FEW]
    for stem in JUGS:
        yield f"label {stem}", ["label", f"{ROOT}/data/demo/products/{stem}.toml", *FEW]
    for stem in LABELS:
        yield f"paste {stem}", ["label", "--paste", f"{ROOT}/tests/labels/{stem}.txt", *FEW]
    for stem in SOLUTIONS:
        path = f"{ROOT}/examples/solutions/{stem}.toml"
        yield f"solution {stem}", ["solution", path, "--settle", "--json"]
        yield f"odds {stem}", ["solution", path, "--odds", *FEW]
    looks = ("--seen clear --after 10min", "--seen haze --after 4h --ph 5.0 --ph-by meter")
    for look in looks:
        yield "-", ["saw", "mix.toml", *look.split(), *FEW[:2]]
    yield "-", ["sprayed", "mix.toml", "--quick", "--area", "1 acre", *FEW[:2]]
    yield "learned", ["forecast", "mix.toml", *FEW]
    yield "learned, other", ["forecast", "other.toml", *FEW]
    yield "score", ["notebook", "score", "--chemist", "--json"]
    yield "season", ["notebook", "season", "--json"]
    yield "next", ["notebook", "next", *FEW]
    yield "wall", ["notebook", "wall", *FEW]


def figures() -> dict[tuple[str, str], float]:
    """(what was asked, part of the answer) -> its sum. Runs each command in this process."""
    found: dict[tuple[str, str], float] = {}
    with _shed():
        for name, words in commands():
            ran = run_here(words)
            if ran.code != 0:
                found[name, "exit"] = ran.code
            elif name != "-":
                told = json.loads(ran.out)
                for key, value in told.items() if isinstance(told, dict) else [("all", told)]:
                    if total := sum_of({key: value}, ""):
                        found[name, key] = total
    return found


def sum_of(value: Any, path: str) -> float:
    """The sum of a part of an answer; sentences have no say, nor has what is new each time."""
    if isinstance(value, dict):
        kept = {k: v for k, v in value.items() if k not in NO_FIGURES}
        return sum(sum_of(v, f"{path}.{k}") for k, v in kept.items())
    if isinstance(value, list):
        return sum(sum_of(v, f"{path}[{i}]") for i, v in enumerate(value))
    if isinstance(value, str):
        return _share(f"{path}={value}") if " " not in value else 0.0
    if isinstance(value, bool) or value is None:
        return _share(f"{path}={value}")
    weight = 1.0 + _share(path)
    return weight * asinh(value / LEAST) if isfinite(value) else weight


def _share(text: str) -> float:
    return zlib.crc32(text.encode()) / 2**32


@contextmanager
def _shed() -> Iterator[None]:
    here = Path.cwd()
    kept = {k: os.environ.get(k) for k in ("JARSIGHT_DATA", "JARSIGHT_NOTEBOOK")}
    with tempfile.TemporaryDirectory() as folder:
        for name in ("mix", "other"):
            example = {"mix": "hazes-overnight", "other": "iron-in-hard-water"}[name]
            text = (ROOT / "examples" / f"{example}.toml").read_bytes()
            (Path(folder) / f"{name}.toml").write_bytes(text)
        os.environ["JARSIGHT_DATA"] = folder
        os.environ.pop("JARSIGHT_NOTEBOOK", None)
        os.chdir(folder)
        try:
            yield
        finally:
            os.chdir(here)
            for key, value in kept.items():
                os.environ.pop(key, None)
                if value is not None:
                    os.environ[key] = value


def kept() -> dict[tuple[str, str], float]:
    """The table."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        return {(r["asked"], r["part"]): float(r["sum"]) for r in csv.DictReader(file)}


def moved(now: dict[tuple[str, str], float], then: dict[tuple[str, str], float]) -> list[str]:
    """What is new, gone, or further off than `NEAR`."""
    far = [k for k in now.keys() & then.keys() if abs(now[k] - then[k]) > NEAR]
    told = [f"{asked}: {part}: {then[asked, part]} -> {now[asked, part]}" for asked, part in far]
    told += [f"{asked}: {part}: gone" for asked, part in then.keys() - now.keys()]
    told += [f"{asked}: {part}: new" for asked, part in now.keys() - then.keys()]
    return sorted(told)


def main() -> int:
    """Tell what moved and keep it."""
    now = figures()
    print("\n".join(moved(now, kept() if TABLE.is_file() else {})) or "nothing moved")
    with TABLE.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["asked", "part", "sum"])
        writer.writerows([*key, f"{value:.5f}"] for key, value in now.items())
    return 0


if __name__ == "__main__":
    sys.exit(main())
