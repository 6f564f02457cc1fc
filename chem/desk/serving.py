"""The desk on a port of this machine, behind its guard."""

from __future__ import annotations

import secrets
import socket
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn

from chem.desk.app import DRAWS, Desk
from chem.desk.guard import Guard
from chem.errors import InputProblem, Problem


def build(
    folder: Path, key: str, hosts: frozenset[str], *, draws: int = DRAWS
) -> tuple[Guard, Desk]:
    """The guarded application over a shed's folder, and the desk in it."""
    desk = Desk(folder, draws=draws)
    return Guard(desk.app(), key, hosts), desk


def serve(folder: Path, port: int, *, show: bool, tell: Callable[[str], None]) -> None:
    """Answer on this machine until Ctrl-C; port 0 takes a free one.

    Raises: InputProblem where the folder is none or the port is taken.
    """
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(("127.0.0.1", port))
        listening.listen(128)  # whoever reads the address below may ask at once
    except OSError as error:
        listening.close()
        wrong = f"it can't be used ({error.strerror})"
        raise InputProblem(Problem(f"--port {port}", wrong, "another port, or 0")) from None
    taken = listening.getsockname()[1]
    key = secrets.token_urlsafe(24)
    app, desk = build(folder, key, frozenset({f"127.0.0.1:{taken}", f"localhost:{taken}"}))
    address = f"http://127.0.0.1:{taken}/?key={key}"
    tell(address)
    if show:
        webbrowser.open(address)
    config = uvicorn.Config(app, log_level="error", access_log=False, server_header=False)
    try:
        uvicorn.Server(config).run(sockets=[listening])
    finally:
        desk.close()
