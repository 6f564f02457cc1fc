"""What goes to the screen: words, never anything that a terminal obeys, in letters that it has.

Names and labels come from files that others may have written; an escape sequence in one could
rewrite what stands above it, and a bidirectional override turn a name round (CWE-150; Unicode
Standard Annex 9).
"""

from __future__ import annotations

import codecs
import re
import sys
import unicodedata

_OBEYED = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
"""Control characters but tab and line feed, and marks that turn the direction of what follows."""
SHOWN_AS = "\ufffd"


def harmless(text: str) -> str:
    """The text with each of them shown as a mark."""
    return _OBEYED.sub(SHOWN_AS, text)


NEAREST = "nearest"
"""The error handler of an output that lacks a letter."""
_NEAREST = {
    "\u2018": "'", "\u2019": "'", "\u201a": "'", "\u201c": "'", "\u201d": "'", "\u201e": "'",
    "\u2010": "-", "\u2011": "-", "\u2012": "-", "\u2013": "-", "\u2014": "-", "\u2212": "-",
    "\u2022": "-", "\u00b7": ".", "\u00d7": "x", "\u00f7": "/", "\u2044": "/", "\u00b1": "+-",
    "\u2264": "<=", "\u2265": ">=", "\u2248": "~", "\u2192": "->", "\u2191": "^", "\u03bc": "u",
    "\u00b5": "u", "\u00b0": " deg ", "\u00ae": "(R)", "\u00a9": "(C)", "\u00df": "ss",
    "\u00e6": "ae", "\u00c6": "AE", "\u00f8": "o", "\u00d8": "O", "\u0142": "l", "\u0141": "L",
    "\u0153": "oe", "\u0152": "OE", "\u00a0": " ", "\u202f": " ", "\u2009": " ", "\u20ac": "EUR",
}  # fmt: skip
"""No double quote, which would end a text of JSON or TOML."""


def _nearest(error: UnicodeError) -> tuple[str, int]:
    """What an output writes in place of letters that it lacks: near ones, else a question mark."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lacked = error.object[error.start : error.end]
    return "".join(_near(c, error.encoding) for c in lacked), error.end


def _near(letter: str, encoding: str) -> str:
    plain = (c for c in unicodedata.normalize("NFKD", letter) if not unicodedata.combining(c))
    near = _NEAREST.get(letter) or "".join(_NEAREST.get(c, c) for c in plain)
    try:
        near.encode(encoding)
    except UnicodeEncodeError:
        return "?"
    return near


codecs.register_error(NEAREST, _nearest)


def say(text: object = "", *, err: bool = False, nl: bool = True) -> None:
    """Print text to stdout, or to stderr.

    Not by typer's echo, which sends UTF-8 where an output says that it takes ASCII.
    """
    where, end = sys.stderr if err else sys.stdout, "\n" if nl else ""
    print(harmless(str(text)), end=end, file=where, flush=True)
