"""A command line in this process, and the promises that no run may break.

No fault of ours (exit 70), an exit code that the help names, no more than 10 s of CPU and 500 MB,
nothing that a terminal obeys on the screen, no nan and no infinity in an answer, no input changed,
no mark-up of a file's own in a page, no formula in a table.
"""

from __future__ import annotations

import io
import json
import re
import resource
import signal
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from fuzz.spoil import EVIL

MOST_CPU_S, MOST_WAIT_S, MOST_BYTES = 10.0, 300.0, 500 * 2**20
FRESH_BYTES = 120 * 2**20
"""What a process holds that has made a forecast."""
OBEYED = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")
"""C0 but tab and line feed, DEL, C1 (ECMA-48), and marks of direction (Unicode Annex 9)."""
NO_NUMBER = re.compile(r"(?<![\w.])[-+]?(nan|inf|infinity)(?![\w-])", re.IGNORECASE)


class TooLong(BaseException):
    """The time is over; no `except Exception` may swallow it."""


@dataclass
class Ran:
    """What a command did."""

    code: int
    out: str
    err: str
    cpu_s: float
    peak: int
    over: bool = False


def run_here(words: Sequence[str], typed: bytes = b"") -> Ran:
    """The command line in this process, as `jarsight` would be started."""
    from chem.cli import main

    kept = sys.argv, sys.stdin, sys.stdout, sys.stderr
    out, err = io.BytesIO(), io.BytesIO()
    sys.argv = ["jarsight", *words]
    sys.stdin = io.TextIOWrapper(io.BytesIO(typed), encoding="utf-8")
    sys.stdout = screen = io.TextIOWrapper(out, encoding="utf-8")
    sys.stderr = remarks = io.TextIOWrapper(err, encoding="utf-8")
    began, code, over = time.process_time(), 0, False
    _forget_peak()
    held = _memory("VmRSS")
    try:
        with _at_most():
            main.run()
    except SystemExit as ended:
        code = ended.code if isinstance(ended.code, int) else int(ended.code is not None)
    except TooLong:
        over = True
    finally:
        for stream in (screen, remarks):
            stream.flush()
        sys.argv, sys.stdin, sys.stdout, sys.stderr = kept
    peak = _memory("VmHWM") - max(held - FRESH_BYTES, 0)  # other tests' libraries are not ours
    texts = [b.getvalue().decode("utf-8", "replace") for b in (out, err)]
    return Ran(code, texts[0], texts[1], time.process_time() - began, peak, over)


@contextmanager
def _at_most() -> Iterator[None]:
    def over(*_: object) -> None:
        raise TooLong

    old = signal.signal(signal.SIGPROF, over), signal.signal(signal.SIGALRM, over)
    signal.setitimer(signal.ITIMER_PROF, MOST_CPU_S)
    signal.setitimer(signal.ITIMER_REAL, MOST_WAIT_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGPROF, old[0])
        signal.signal(signal.SIGALRM, old[1])


def _forget_peak() -> None:
    """Linux: let the peak of memory begin anew."""
    try:
        Path("/proc/self/clear_refs").write_text("5")
    except OSError:
        return


def _memory(kind: str) -> int:
    """Memory in bytes: `VmRSS` that is resident now, `VmHWM` the most that was since."""
    try:
        status = Path("/proc/self/status").read_text()
        return int(re.findall(rf"{kind}:\s+(\d+)", status)[0]) * 1024
    except (OSError, IndexError):
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def broken_promises(ran: Ran, words: Sequence[str], files: dict[str, bytes]) -> list[str]:
    """What a run did that no run may; files: what stood in the folder before it."""
    found = []
    if ran.over:
        return [f"not done within {MOST_CPU_S:g} s of CPU or {MOST_WAIT_S:g} s of waiting"]
    if ran.code not in (0, 1, 2, 130):
        found.append(f"exit {ran.code}")
    if "Traceback" in ran.err:
        found.append("a traceback")
    if ran.peak > MOST_BYTES:
        found.append(f"{ran.peak / 2**20:.0f} MB")
    if obeyed := OBEYED.search(ran.out + ran.err):
        found.append(f"{obeyed[0]!r} on the screen")
    if ran.code == 0:
        named = b" ".join([*files.values(), *(w.encode("utf-8", "replace") for w in words)])
        spoken = re.findall(rb"nan|inf\b|infinity", named, re.IGNORECASE)
        if "--json" in words:
            try:
                json.loads(
                    ran.out.rpartition("\n{")[2] if words[0] == "label" else ran.out,
                    parse_constant=_refuse,
                )
            except ValueError as error:
                if "no number" in str(error):
                    found.append(f"{error} in JSON")
        elif not spoken and (match := NO_NUMBER.search(ran.out)):
            found.append(f"{match[0]!r} in an answer")
    if words[0] not in ("edit", "new") and not {"--take", "--force"} & set(words):
        for name, data in files.items():
            same = not name.endswith((".toml", ".txt")) or Path(name).read_bytes() == data
            if not same:
                found.append(f"{name} was changed")
    for page in Path().glob("*.html"):
        if EVIL in page.read_text(encoding="utf-8", errors="replace"):
            found.append("a file's mark-up stands in the page")
    for table in Path().glob("*.csv"):
        if re.search(r'(?:^|,)"?[=@]', table.read_text(encoding="utf-8"), re.MULTILINE):
            found.append("a formula stands in the table")
    return found


def _refuse(name: str) -> None:
    raise ValueError(f"no number: {name}")
