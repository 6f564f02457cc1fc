"""`jarsight desk`: all of it in the browser, on this machine only."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from chem.cli.saying import say


def desk_command(
    folder: Annotated[
        Path, typer.Argument(metavar="[DIR]", help="The shed: a folder of mixes and products.")
    ] = Path(),
    port: Annotated[int, typer.Option(min=0, max=65535, help="0 takes a free one.")] = 0,
    no_open: Annotated[bool, typer.Option("--no-open", help="Only print the address.")] = False,
) -> None:
    """All of it in the browser, on this machine only."""
    from chem.desk import serve

    def tell(address: str) -> None:
        say("The desk is open on this machine only; Ctrl-C closes it. In your browser:")
        say(address)

    serve(folder, port, show=not no_open, tell=tell)
