"""Do the tests notice? A seeded sample of small faults put into five rooms, one at a time.

Each fault is tried by the tests that come by its line (by coverage's contexts), those of its room
first and the quickest of them, until one fails. A fault that none notices within the limit counts
as living; a test that fails without any fault as well has no say. On demand:

    pip install pytest-cov
    pytest -n 2 --cov=chem --cov-context=test --cov-report= --durations=0 > times.txt
    python tests/mutation.py --times times.txt --seed 1 --count 400

`--room label` draws from one room, `--minutes 10` or Ctrl-C ends early with the figures so far.
Each fault stands in a copy of the tree; its tests run in a fork of a process that has the libraries
and the rooms below these five loaded.

Never drawn: types, `TYPE_CHECKING`, and what no call can tell: a `strict=` of `zip`, which only
guards, and a factor of two on a limit of 1e-100 or less, beside which nothing is ever near.

Source: Jia & Harman (2011), An analysis and survey of the development of mutation testing, IEEE
Trans. Softw. Eng. 37, 649; the interval: Wilson (1927), J. Am. Stat. Assoc. 22, 209.
"""

from __future__ import annotations

import argparse
import ast
import compileall
import os
import random
import re
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from math import inf, sqrt
from multiprocessing import get_context
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
ROOMS = {
    "label": "label jug paste formulas reading readers sources ingredients printed",
    "equilibrium": "solver formulas referee outside conductivity tables_thermo laboratory outcomes",
    "forecast": "forecast study clouding colloids crystals day_rules real_tank one_verdict "
    "formulas outcomes trade_facts salt salting evolved sight",
    "doubts": "doubts jug study",
    "notebook": "notebook formulas jars tank_side",
}
"""Where faults are put, and how the names of the room's own test files begin."""
COMPARED = {"<": "<=", "<=": "<", ">": ">=", ">=": ">", "==": "!=", "!=": "==", "is not": "is",
            "is": "is not", "not in": "in", "in": "not in"}  # fmt: skip
REACHED = {"+": "-", "-": "+", "*": "/", "/": "*", "//": "/", "%": "*", "**": "*", "@": "+",
           "&": "|", "|": "&", "^": "&", "<<": ">>", ">>": "<<"}  # fmt: skip
OF_ALL = "tests/test_kept_figures"
"""Tried last, on every fault that it comes by."""
MOST_TESTS, MOST_S, MOST_CPU_S = 40, 20.0, 180
"""Tests tried on one fault, the time that these took at first, and the CPU that all may take."""
MOST_WALL_S = 900  # one that waits for ever is noticed as well
NOTHING = 1e-100
LOADED = "hypothesis jinja2 numpy periodictable pint typer chem.files chem.reference chem.units"


@dataclass(frozen=True)
class Fault:
    """One place of a file (bytes begin to end) and what stands there instead."""

    file: str
    line: int
    begin: int
    end: int
    now: str
    kind: str


class Places(ast.NodeVisitor):
    """Every fault that a file's statements offer."""

    def __init__(self, path: Path) -> None:
        self.data = path.read_bytes()
        self.file = path.relative_to(ROOT).as_posix()
        starts = [0]
        for line in self.data.splitlines(keepends=True):
            starts.append(starts[-1] + len(line))
        self.starts, self.found = starts, list[Fault]()
        self.visit(ast.parse(self.data))

    def _at(self, node: ast.expr | ast.stmt, end: bool = False) -> int:
        if end:
            assert node.end_lineno is not None and node.end_col_offset is not None
            return self.starts[node.end_lineno - 1] + node.end_col_offset
        return self.starts[node.lineno - 1] + node.col_offset

    def _put(self, node: ast.expr | ast.stmt, now: str, kind: str) -> None:
        begin, end = self._at(node), self._at(node, True)
        self.found.append(Fault(self.file, node.lineno, begin, end, now, kind))

    def _between(self, left: ast.expr, right: ast.expr, words: dict[str, str], kind: str) -> None:
        begin, end = self._at(left, True), self._at(right)
        text = self.data[begin:end].decode()
        several = "|".join(re.escape(w) for w in sorted(words, key=len, reverse=True))
        match = re.search(rf"(?:(?<=\s)|^|(?<=\)))\s*({several})(?=\s|\(|$)", text)
        if match:
            a, b = (begin + len(text[: match.start(1)].encode()), begin + len(text[: match.end(1)]))
            line = left.end_lineno or left.lineno
            self.found.append(Fault(self.file, line, a, b, words[match[1]], kind))

    def _source(self, node: ast.expr) -> str:
        return self.data[self._at(node) : self._at(node, True)].decode()

    def visit_Compare(self, node: ast.Compare) -> None:
        for left, right in zip([node.left, *node.comparators], node.comparators, strict=False):
            self._between(left, right, COMPARED, "comparison")
        self.generic_visit(node)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        texts = [
            n for n in ast.walk(node) if isinstance(n, ast.Constant) and isinstance(n.value, str)
        ]
        if not texts:
            self._between(node.left, node.right, REACHED, "arithmetic")
        self.generic_visit(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        for left, right in zip(node.values, node.values[1:], strict=False):
            self._between(left, right, {"and": "or", "or": "and"}, "and, or")
        self.generic_visit(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> None:
        if isinstance(node.op, ast.Not):
            self._put(node, f"({self._source(node.operand)})", "not")
        self.generic_visit(node)

    def _condition(self, node: ast.If | ast.While | ast.IfExp) -> None:
        if "TYPE_CHECKING" in self._source(node.test):
            return
        self._put(node.test, f"(not ({self._source(node.test)}))", "condition")
        self.generic_visit(node)

    visit_If = visit_While = visit_IfExp = _condition

    def visit_Constant(self, node: ast.Constant) -> None:
        if isinstance(node.value, bool):
            self._put(node, str(not node.value), "constant")
        elif isinstance(node.value, int):
            self._put(node, f"({node.value + 1})", "constant")
        elif isinstance(node.value, float) and not 0 < node.value <= NOTHING:
            self._put(node, f"({2 * node.value if node.value else 1.0!r})", "constant")

    def visit_Expr(self, node: ast.Expr) -> None:
        if isinstance(node.value, ast.Call):
            self._put(node, "pass", "left out")
        if not isinstance(node.value, ast.Constant):
            self.generic_visit(node)

    def visit_AugAssign(self, node: ast.AugAssign) -> None:
        self._put(node, "pass", "left out")
        self.generic_visit(node)

    def visit_keyword(self, node: ast.keyword) -> None:
        if node.arg != "strict":
            self.generic_visit(node)

    def visit_Break(self, node: ast.Break) -> None:
        self._put(node, "continue", "loop")

    def visit_Continue(self, node: ast.Continue) -> None:
        self._put(node, "break", "loop")

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        for statement in node.body:
            self.visit(statement)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value is not None:
            self.visit(node.value)

    def visit_arguments(self, node: ast.arguments) -> None:
        for value in (*node.defaults, *node.kw_defaults):
            if value is not None:
                self.visit(value)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        self.visit(node.args)
        for statement in node.body:
            self.visit(statement)


def places() -> list[Fault]:
    """Every fault of the five rooms, in a fixed order."""
    paths = [p for room in ROOMS for p in sorted((ROOT / "chem" / room).rglob("*.py"))]
    return [fault for path in paths for fault in Places(path).found]


def times_of(path: Path) -> dict[str, float]:
    """Seconds of each test, by what pytest's `--durations=0` printed."""
    found: dict[str, float] = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        match = re.match(r"([\d.]+)s (?:call|setup) +(\S.*)$", line)
        if match:
            found[match[2]] = found.get(match[2], 0.0) + float(match[1])
    return found


def tests_of(faults: list[Fault], covered: Path, times: dict[str, float]) -> list[list[str]]:
    """The tests that come by each fault's line, the quickest first, within the limits."""
    from coverage import CoverageData

    data = CoverageData(str(covered))
    data.read()
    contexts = cache(data.contexts_by_lineno)
    by_end = {name.split("/chem/")[-1]: name for name in data.measured_files() if "/chem/" in name}
    out = []
    for fault in faults:
        name = by_end.get(fault.file.removeprefix("chem/"), "")
        lines = contexts(name) if name else {}
        near = next((n for n in range(fault.line, fault.line - 12, -1) if n in lines), 0)
        tests = {context.rpartition("|")[0] for context in lines.get(near, []) if context}
        if not tests and "" in lines.get(near, []):  # run at import: those that use the module
            tests = {c.rpartition("|")[0] for cs in lines.values() for c in cs if c}
        words = tuple(f"tests/test_{w}" for w in ROOMS[fault.file.split("/")[1]].split())
        quick = sorted(tests, key=lambda t: (times.get(t, 0.0), t))
        last = [t for t in quick if t.startswith(OF_ALL)]
        own = [t for t in quick if t.startswith(words) and t not in last]
        others = [t for t in quick if not t.startswith(words) and t not in last]
        several = _spread(own, MOST_TESTS * 3 // 4)
        several += _spread(others, MOST_TESTS - len(several))
        out.append([*_within(several, times), *last])
    return out


def _spread(tests: list[str], most: int) -> list[str]:
    """A third of these from the quickest, the rest spread over all of them."""
    first, rest = tests[: most // 3], tests[most // 3 :]
    left = most - len(first)
    return first + rest[:: max(1, -(-len(rest) // max(left, 1)))][:left]


def _within(tests: list[str], times: dict[str, float]) -> Iterator[str]:
    spent = 0.0
    for test in tests:
        if spent + times.get(test, 0.0) <= MOST_S:
            spent += times.get(test, 0.0)
            yield test


def begin_work(place: str) -> None:
    """A worker of the pool: a tree of its own, and what lies below the five rooms loaded."""
    tree = Path(tempfile.mkdtemp(dir=place))
    leave = shutil.ignore_patterns(".git", ".venv", "dist", "__pycache__", ".*cache")
    shutil.copytree(ROOT, tree, ignore=leave, dirs_exist_ok=True)
    os.chdir(tree)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    os.environ |= {"PYTHONPATH": str(tree), "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
    os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
    sys.path[:0] = [str(tree), str(tree / "tests")]
    compileall.compile_dir(tree / "chem", quiet=1)
    failing(["--collect-only"])  # the tests' own bytecode
    sys.dont_write_bytecode = True  # two faults of one second and size would share it
    for name in LOADED.split():
        import_module(name)
    assert (sys.modules["chem"].__file__ or "").startswith(str(tree))
    sys.modules["chem.reference"].catalogue()


class First:
    """The first test that fails, told through a pipe; what there is, in a file."""

    def __init__(self, pipe: int) -> None:
        self.pipe = pipe

    def pytest_collection_finish(self, session: pytest.Session) -> None:
        if session.config.option.collectonly:
            Path("ids.txt").write_text("\n".join(item.nodeid for item in session.items))

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            os.write(self.pipe, f"{report.nodeid}\n".encode())


def failing(tests: list[str]) -> str:
    """The test that fails first, `all` where none could be told, or nothing."""
    read, write = os.pipe()
    if not (child := os.fork()):
        os.close(read)
        resource.setrlimit(resource.RLIMIT_CPU, (MOST_CPU_S, MOST_CPU_S))
        signal.alarm(MOST_WALL_S)
        with tempfile.TemporaryDirectory(dir="..") as own, open(os.devnull, "w") as silent:
            os.environ["JARSIGHT_DATA"] = str(Path(own).resolve() / "data")
            for stream in (1, 2):
                os.dup2(silent.fileno(), stream)
            options = ["-x", "-q", "-p", "no:cacheprovider", f"--basetemp={own}/tests"]
            end = pytest.main([*options, *tests], plugins=[First(write)])
        os._exit(int(end))
    os.close(write)
    with os.fdopen(read) as told:
        first = told.readline().rstrip()
        told.read()
    return "" if os.waitpid(child, 0)[1] == 0 else first or "all"


@cache
def there() -> set[str]:
    """The tests of this tree: one that isn't there any more would fail on any fault."""
    return set(Path("ids.txt").read_text().splitlines())


@cache
def sound(test: str) -> bool:
    """Whether a test passes where nothing is wrong."""
    return test == "all" or not failing([test])


def noticed(fault: Fault, tests: list[str]) -> str:
    """`killed`, `lives`, or `no test`, in the copy of the tree that this worker stands in."""
    path = Path(fault.file)
    data, when = path.read_bytes(), path.stat().st_mtime_ns
    tests = [t for t in tests if t in there()]
    while tests:
        path.write_bytes(data[: fault.begin] + fault.now.encode() + data[fault.end :])
        try:
            first = failing(tests)
        finally:
            path.write_bytes(data)
            os.utime(path, ns=(when, when))
        if not first:
            return "lives"
        if sound(first):
            return "killed"
        tests = [t for t in tests if t != first]
    return "no test"


def tried(drawn: tuple[Fault, list[str]]) -> tuple[str, str]:
    """A fault's room and its end, with a line about it printed."""
    (fault, tests), began = drawn, time.monotonic()
    end = noticed(fault, tests)
    was = Path(fault.file).read_bytes()[fault.begin : fault.end].decode()
    what = " ".join(f"{was[:60]} -> {fault.now[:70]}".split())
    spent, place = time.monotonic() - began, f"{fault.file}:{fault.line}"
    print(f"{end:7} {place} {fault.kind}: {what} ({len(tests)}, {spent:.0f} s)", flush=True)
    return fault.file.split("/")[1], end


def interval(killed: int, tried: int) -> tuple[float, float]:
    """Wilson's 95 % interval of a share."""
    z, share = 1.96, killed / tried
    middle = (share + z * z / (2 * tried)) / (1 + z * z / tried)
    half = z * sqrt(share * (1 - share) / tried + z * z / (4 * tried**2)) / (1 + z * z / tried)
    return middle - half, middle + half


def main() -> int:
    """The command line; exit 1 where fewer than 80 % were noticed."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=400)
    parser.add_argument("--room", choices=ROOMS)
    parser.add_argument("--minutes", type=float, default=inf, help="end early")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--covered", type=Path, default=ROOT / ".coverage")
    parser.add_argument("--times", type=Path, required=True)
    given = parser.parse_args()
    every = [f for f in places() if given.room in (None, f.file.split("/")[1])]
    drawn = random.Random(given.seed).sample(every, given.count)
    chosen = tests_of(drawn, given.covered, times_of(given.times))
    print(f"seed {given.seed}: {given.count} of {len(every)} faults", flush=True)
    told: dict[str, list[str]] = {}
    until = time.monotonic() + 60 * given.minutes
    fork = get_context("fork")
    with (
        tempfile.TemporaryDirectory() as place,
        fork.Pool(given.jobs, begin_work, (place,)) as pool,
        suppress(KeyboardInterrupt),
    ):
        for room, end in pool.imap_unordered(tried, zip(drawn, chosen, strict=True)):
            told.setdefault(room, []).append(end)
            if time.monotonic() > until:
                break
    for room, ends in sorted(told.items()):
        print(f"{room}: {_share(ends)}")
    ends = [end for some in told.values() for end in some]
    print(f"all: {_share(ends)}")
    return int(ends.count("killed") < 0.8 * len(ends))


def _share(ends: list[str]) -> str:
    killed = ends.count("killed")
    low, high = interval(killed, len(ends))
    return f"{killed} of {len(ends)} = {killed / len(ends):.3f} ({low:.3f}-{high:.3f})"


if __name__ == "__main__":
    sys.exit(main())
