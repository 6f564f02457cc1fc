"""Commands that write files: `--force`, and what may be written over."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable
from typing import Annotated, Any

import typer

OUTPUTS = {"html", "svg", "csv", "out", "keep", "save"}
"""Options that name a file to write."""
Force = Annotated[
    bool, typer.Option("--force", help="Write over a file that no earlier answer wrote.")
]


def guarded(command: Callable[..., None]) -> Callable[..., None]:
    """The command, with `--force` where it writes files; see `chem.files.writing`."""
    signature = inspect.signature(command, eval_str=True)
    if not OUTPUTS & signature.parameters.keys():
        return command

    @functools.wraps(command)
    def within(*, force: bool, **given: Any) -> None:
        from chem.files.writing import must_be_free, one_command

        with one_command(force):
            for path in filter(None, map(given.get, ("html", "svg", "csv"))):
                must_be_free(path)  # told before the work, not after it
            command(**given)

    kind = inspect.Parameter.KEYWORD_ONLY
    more = inspect.Parameter("force", kind, default=False, annotation=Force)
    whole = [*(p.replace(kind=kind) for p in signature.parameters.values()), more]
    within.__signature__ = inspect.Signature(whole)  # type: ignore[attr-defined]
    within.__annotations__ = {p.name: p.annotation for p in whole}
    return within
