"""What goes to the screen: words, never anything that a terminal obeys.

Names and labels come from files that others may have written; an escape sequence in one could
rewrite what stands above it, and a bidirectional override turn a name round (CWE-150; Unicode
Standard Annex 9).
"""

from __future__ import annotations

import re

import typer

_OBEYED = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
"""Control characters but tab and line feed, and marks that turn the direction of what follows."""
SHOWN_AS = "\ufffd"


def harmless(text: str) -> str:
    """The text with each of them shown as a mark."""
    return _OBEYED.sub(SHOWN_AS, text)


def say(text: object = "", *, err: bool = False, nl: bool = True) -> None:
    """Print text to stdout, or to stderr."""
    typer.echo(harmless(str(text)), err=err, nl=nl)
