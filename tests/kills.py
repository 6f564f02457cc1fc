"""Commands that write, killed at any moment: what was acknowledged stays, and files are whole.

`cd tests && python -m kills --kills 600` forks each command and sends SIGKILL after a random time,
every other one only once it has begun to write; exit 1 where something was lost.
"""

from __future__ import annotations

import argparse
import io
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).parent.parent
BEGUN = b"\x00"
"""What a child tells when it begins to write."""
LABEL = (ROOT / "tests" / "labels" / "eu-oxides-wrapped.txt").read_text(encoding="utf-8")
FEW = ["--draws", "16"]
MIX = """\
name = "Tuesday, invented"
water = "soft"
carrier = "2 gal/1000 sq ft"
[[add]]
product = "urea-liquor"  # the blue jug
"""
COMMANDS: dict[str, tuple[list[str], str | None]] = {
    "saw": (["saw", "mix.toml", "--seen", "haze", "--after", "10min", *FEW], None),
    "sprayed": (["sprayed", "mix.toml", "--quick", "--site", "Green 1, invented", *FEW], None),
    "import": (["notebook", "import", "many.json", "--same-shed"], None),
    "--save": (["forecast", "mix.toml", "--save", "saved.toml", "--force", *FEW], "saved.toml"),
    "--out": (["label", "--paste", "label.txt", "--out", "out.toml", "--force"], "out.toml"),
    "--html": (["forecast", "mix.toml", "--html", "page.html", "--force", *FEW], "page.html"),
    "--take": (["ph", "mix.toml", "--to", "5", "--with", "citric acid", "--take", *FEW],
               "mix.toml"),
}  # fmt: skip
"""Each with the file that it writes; without one it is the notebook."""


@dataclass
class Told:
    """What was killed, and what was lost by it."""

    killed: Counter[str] = field(default_factory=Counter)
    ended: Counter[str] = field(default_factory=Counter)
    writing: int = 0
    lost: list[str] = field(default_factory=list)


def run_and_kill(words: Sequence[str], delay_s: float, *, writing: bool) -> tuple[bool, bytes]:
    """A forked command, killed after `delay_s` [s], of its writing if so asked.

    Returns: whether it was through before, and what it had told.
    """
    out, into = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(out)
        _be(words, into)
    os.close(into)
    told = os.read(out, 1) if writing else b""
    time.sleep(delay_s)
    os.kill(child, signal.SIGKILL)
    with os.fdopen(out, "rb") as pipe:
        told += pipe.read()
    _, status = os.waitpid(child, 0)
    return os.WIFEXITED(status), told


def _be(words: Sequence[str], into: int) -> None:
    """Be the command; never returns."""
    from chem.cli import main
    from chem.files import rewriting, writing
    from chem.notebook import Notebook

    def telling(own: Callable[..., object]) -> Callable[..., object]:
        def told(*given: object, **more: object) -> object:
            os.write(into, BEGUN)
            return own(*given, **more)

        return told

    Notebook.add = telling(Notebook.add)  # type: ignore[method-assign, assignment]
    Notebook.take_in = telling(Notebook.take_in)  # type: ignore[method-assign, assignment]
    writing._put = telling(writing._put)  # type: ignore[assignment]
    rewriting.os.replace = telling(os.replace)  # type: ignore[assignment]
    code = 1
    try:
        sys.argv = ["jarsight", *words]
        sys.stdin = io.StringIO()
        sys.stdout = io.TextIOWrapper(os.fdopen(into, "wb", closefd=False), encoding="utf-8")
        sys.stderr = sys.stdout
        main.run()
    except SystemExit as ended:
        code = int(ended.code or 0) if isinstance(ended.code, int | None) else 1
    finally:
        os._exit(code)


class Shed:
    """A folder in which commands are killed, and what was acknowledged in it."""

    def __init__(self, folder: Path) -> None:
        from chem.notebook import Notebook

        for name, text in (("mix", MIX), ("shed", 'units = "us"\n')):
            (folder / f"{name}.toml").write_text(text, encoding="utf-8")
        (folder / "label.txt").write_text(LABEL, encoding="utf-8")
        self.book = Notebook(folder / "notebook.sqlite")
        self.folder, self.whole, self.took_s = folder, {}, {}
        for name in ("saw", "sprayed", *COMMANDS):
            if name == "import":
                (folder / "many.json").write_text(self.book.export(), encoding="utf-8")
            began = time.monotonic()
            code, said = run_and_wait(COMMANDS[name][0])
            assert code == 0, (name, said)
            self.took_s[name] = time.monotonic() - began
            if (file := COMMANDS[name][1]) is not None:
                self.whole[name] = (folder / file).read_bytes()
                if name == "--take":
                    (folder / file).write_text(MIX, encoding="utf-8")

    def kill_one(self, name: str, draw: random.Random, told: Told) -> None:
        """Kill a command once and look at what stands."""
        words, file = COMMANDS[name]
        before = {e.id for e in self.book.entries()}
        old = b"# what stood there before\n" if name != "--take" else MIX.encode()
        writing = draw.random() < 0.5
        if file is not None:
            (self.folder / file).write_bytes(old)
        if name == "import":
            self._lend(draw)
        delay = draw.uniform(0.0, 0.02 if writing else 1.1 * self.took_s[name])
        ended, said = run_and_kill(words, delay, writing=writing)
        told.killed[name] += not ended
        told.ended[name] += ended
        told.writing += BEGUN in said
        if file is not None:
            stands = (self.folder / file).read_bytes()
            page = name == "--html" and stands.rstrip().endswith(b"</html>")  # of another notebook
            if not page and stands not in (old, self.whole[name]):
                told.lost.append(f"{name}: {file} is neither what it was nor what was written")
            (self.folder / "mix.toml").write_text(MIX, encoding="utf-8")
        else:
            self._look(name, before, said, told)

    def _lend(self, draw: random.Random) -> None:
        """The export under new names, so that an import has something to bring."""
        text = self.book.export()
        for entry in self.book.entries():
            text = text.replace(
                entry.id, "".join(draw.choices("0123456789abcdef", k=len(entry.id)))
            )
        (self.folder / "many.json").write_text(text, encoding="utf-8")

    def _look(self, name: str, before: set[str], said: bytes, told: Told) -> None:
        checked = self.book.check()
        now = {e.id for e in self.book.entries()}
        if checked.wrong or checked.unread:
            told.lost.append(f"{name}: the notebook is damaged: {checked}")
        if not before <= now:
            told.lost.append(f"{name}: {len(before - now)} entries are gone")
        new, through = len(now - before), b"Kept in" in said or b"taken in" in said
        most = len(before) if name == "import" else 1
        if new not in (0, most) or (through and new != most):
            told.lost.append(f"{name}: {new} of {most} new entries, acknowledged: {through}")
        if len(now) > 24:  # begin anew, so that exports stay small
            for path in self.folder.glob("notebook.sqlite*"):
                path.unlink()
            run_and_wait(COMMANDS["saw"][0])


def run_and_wait(words: Sequence[str]) -> tuple[int, bytes]:
    """A forked command that nobody kills: its exit code and what it told."""
    out, into = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(out)
        _be(words, into)
    os.close(into)
    with os.fdopen(out, "rb") as pipe:
        told = pipe.read()
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), told


def kill_many(count: int, seed: int) -> Told:
    """`count` kills, by turns of every command; runs that were through before count as none."""
    draw, told = random.Random(seed), Told()
    here, folder = Path.cwd(), Path(tempfile.mkdtemp(prefix="jarsight-kills-"))
    os.chdir(folder)
    try:
        _warm()
        shed = Shed(folder)
        turn = 0
        while sum(told.killed.values()) < count and turn < 10 * count:
            shed.kill_one(list(COMMANDS)[turn % len(COMMANDS)], draw, told)
            turn += 1
    finally:
        os.chdir(here)
        shutil.rmtree(folder, ignore_errors=True)
    return told


def _warm() -> None:
    """What every child would load again."""
    from chem.cli.main import whole_app
    from chem.forecast import forecast
    from chem.tank import read_mix

    whole_app()
    forecast(read_mix(ROOT / "examples" / "curdles.toml"), count=16)


def main() -> int:
    """Exit 1 where something was lost."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--kills", type=int, default=600)
    parser.add_argument("--seed", type=int, default=random.SystemRandom().randrange(2**32))
    given = parser.parse_args()
    print(f"seed {given.seed}", flush=True)
    told = kill_many(given.kills, given.seed)
    print(f"killed {dict(told.killed)}, {told.writing} runs had begun to write")
    print(f"through before {dict(told.ended)}")
    for line in told.lost:
        print(line)
    print(f"{sum(told.killed.values()) - len(told.lost)} passed, {len(told.lost)} failed")
    return int(bool(told.lost))


if __name__ == "__main__":
    sys.exit(main())
