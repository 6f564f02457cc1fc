"""A sign of life after two seconds, on a terminal's stderr alone."""

from __future__ import annotations

import io
import os
import pty
import subprocess
import sys
import time
from pathlib import Path

import pytest

from chem.cli.progress import ASKING, sign_of_life

ROOT = Path(__file__).parent.parent


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_nothing_is_said_of_what_is_quick() -> None:
    out = Terminal()
    with sign_of_life("forecast", out):
        pass
    assert out.getvalue() == ""


def test_what_takes_long_is_told_and_cleared() -> None:
    out = Terminal()
    with sign_of_life("shelf", out, patience_s=0.02, every_s=0.02):
        time.sleep(0.3)
    said = out.getvalue()
    assert said.count("still at it") >= 2 and said.endswith(24 * " " + "\r")


@pytest.mark.parametrize("name", [*sorted(ASKING), None])
def test_who_asks_is_not_disturbed(name: str | None) -> None:
    out = Terminal()
    with sign_of_life(name, out, patience_s=0.01, every_s=0.01):
        time.sleep(0.05)
    assert out.getvalue() == ""


def test_no_terminal_no_sign_and_a_failure_clears_it() -> None:
    plain = io.StringIO()
    with sign_of_life("forecast", plain, patience_s=0.01, every_s=0.01):
        time.sleep(0.05)
    assert plain.getvalue() == ""
    out = Terminal()
    with (
        pytest.raises(KeyError),
        sign_of_life("forecast", out, patience_s=0.01, every_s=0.01),
    ):
        time.sleep(0.05)
        raise KeyError
    assert out.getvalue().endswith("\r")


def test_the_command_gives_it_on_a_real_terminal() -> None:
    leader, follower = pty.openpty()
    code = (
        "import chem.cli.progress as p, time\n"
        "with p.sign_of_life('fix', patience_s=0.05, every_s=0.05): time.sleep(0.4)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        stdout=subprocess.PIPE, stderr=follower, cwd=ROOT, check=True,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    os.close(follower)
    said = os.read(leader, 4096).decode()
    os.close(leader)
    assert "still at it" in said and done.stdout == b""
