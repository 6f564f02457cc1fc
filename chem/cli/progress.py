"""A sign of life for what takes longer than two seconds: on stderr, only on a terminal."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TextIO

PATIENCE_S = 2.0
EVERY_S = 1.0
ASKING = frozenset({"new", "edit", "saw", "sprayed", "desk", "notebook", "label"})
"""Commands that ask or wait for the user: a line that moves would stand in the answer."""


@contextmanager
def sign_of_life(
    command: str | None,
    stream: TextIO | None = None,
    patience_s: float = PATIENCE_S,
    every_s: float = EVERY_S,
) -> Iterator[None]:
    """While the body runs, after two seconds, tell the seconds on one line; clear it at the end.

    command: its name, None or one that asks for no sign; stream: default stderr.
    """
    out = sys.stderr if stream is None else stream
    if command is None or command in ASKING or out is None or not out.isatty():
        yield
        return
    done = threading.Event()
    began = time.monotonic()

    def tell() -> None:
        wait, shown = patience_s, False
        while not done.wait(wait):
            out.write(f"\rstill at it: {time.monotonic() - began:.0f} s ")
            out.flush()
            wait, shown = every_s, True
        if shown:
            out.write("\r" + 24 * " " + "\r")
            out.flush()

    teller = threading.Thread(target=tell, daemon=True)
    teller.start()
    try:
        yield
    finally:
        done.set()
        teller.join()
