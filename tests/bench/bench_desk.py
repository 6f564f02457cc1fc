"""The desk under the hand: how soon it is up, how long a move takes, what memory it keeps.

    python tests/bench/bench_desk.py [MOVES] [EXAMPLE]      default 10,000 five-products

Starts `jarsight desk` over a folder of its own, asks the first page, then moves a slider and now
and then rests, as a browser would. Ends with 1 where the memory passes 300 MB or grows. Memory is
measured after a garbage collection's worth of moves, so that it has settled (Linux: /proc).
"""

from __future__ import annotations

import http.cookiejar
import json
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.parse
import urllib.request
from pathlib import Path

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
MOST_MB, MOST_GROWTH_MB = 300.0, 10.0
REST_EVERY, MEASURE_EVERY = 20, 500
SETTLED = 0.3
"""Share of the moves after which memory must stand still."""


def memory_mb(pid: int) -> float:
    """Resident memory of a process [MB]."""
    status = Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
    return int(status.split("VmRSS:")[1].split()[0]) / 1024.0


def seconds_of(pid: int) -> float:
    """Processor time of a process [s]."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / 100.0


def main(moves: int = 10_000, example: str = "five-products") -> int:
    """Run it, and tell."""
    with tempfile.TemporaryDirectory() as folder:
        shutil.copy(EXAMPLES / f"{example}.toml", Path(folder) / "mix.toml")
        (Path(folder) / "shed.toml").write_text('water = "unknown"\n', encoding="utf-8")
        start = time.perf_counter()
        command = [sys.executable, "-m", "chem", "desk", folder, "--no-open"]
        desk = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        try:
            assert desk.stdout is not None
            desk.stdout.readline()
            return run(desk.pid, desk.stdout.readline().strip(), moves, start)
        finally:
            desk.terminate()
            desk.wait(30)


def run(pid: int, address: str, moves: int, start: float) -> int:
    """Ask as a browser would."""
    jar = http.cookiejar.CookieJar()
    opened = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(jar))
    base = address.partition("/?")[0]

    def ask(path: str) -> bytes:
        with opened.open(base + path, timeout=60) as answer:
            return bytes(answer.read())

    opened.open(address, timeout=60).read()
    print(f"up and first page {time.perf_counter() - start:.2f} s, {seconds_of(pid):.2f} s of CPU")
    page = ask("/mix?mix=mix.toml&w=bench")
    print(f"the mix: {len(page) / 1000:.0f} kB, memory {memory_mb(pid):.0f} MB")
    kept, took, used = [], [], []
    for k in range(moves):
        volume = 1.5 + (k * 7 % 193) / 100.0
        rest = k % REST_EVERY == REST_EVERY - 1
        asked = {"mix": "mix.toml", "w": "bench", "carrier": f"{volume:g} gal/1000 sq ft"}
        before, cpu = time.perf_counter(), seconds_of(pid)
        told = ask(f"/move?{urllib.parse.urlencode(asked)}{'' if rest else '&moving=1'}")
        if not rest:
            took.append(1000.0 * (time.perf_counter() - before))
            used.append(1000.0 * (seconds_of(pid) - cpu))
        assert json.loads(told)["stack"]
        if k % MEASURE_EVERY == 0 or k == moves - 1:
            kept.append((k, memory_mb(pid)))
            print(f"{k:6d} moves: {kept[-1][1]:.1f} MB", flush=True)
    took.sort()
    print(
        f"a move: median {statistics.median(took):.0f} ms, 95 % under "
        f"{took[int(0.95 * len(took))]:.0f} ms; {statistics.mean(used):.0f} ms of CPU on average"
    )
    late = [mb for k, mb in kept if k >= SETTLED * moves]
    growth = late[-1] - min(late)
    print(f"memory {late[-1]:.0f} MB (300 allowed), grown {growth:.1f} MB since a third of the way")
    return int(late[-1] > MOST_MB or growth > MOST_GROWTH_MB)


if __name__ == "__main__":
    given = sys.argv[1:]
    sys.exit(main(*map(int, given[:1]), *given[1:2]))
