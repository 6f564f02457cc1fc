"""Tidying printed text before it is read, and the one way of refusing it."""

from __future__ import annotations

import re
import unicodedata

from chem.errors import InputProblem, Problem

_DASHES = dict.fromkeys(map(ord, "\u2010\u2011\u2012\u2013\u2014\u2015\u2212\ufe63\uff0d"), "-")
_OTHER = {
    ord("\u00b7"): " ",  # a raised dot between units, as in L ha-1
    ord("\u22c5"): " ",
    ord("\u00ba"): "\u00b0",  # masculine ordinal, typed for a degree sign
    ord("\u02da"): "\u00b0",  # ring above, the same
    ord("\u2044"): "/",
    ord("\u2215"): "/",
    ord("\u00bd"): " 1/2",
    ord("\u00bc"): " 1/4",
    ord("\u00be"): " 3/4",
    ord("\u2153"): " 1/3",
    ord("\u2154"): " 2/3",
    ord("\u215b"): " 1/8",
    ord("\u215c"): " 3/8",
    ord("\u215d"): " 5/8",
    ord("\u215e"): " 7/8",
    ord("\u2264"): "<",
    ord("\u2265"): ">",
}
_GROUPING_SPACE = re.compile("(?<=[0-9])[\u00a0\u2007\u2008\u2009\u202f](?=[0-9]{3}(?![0-9]))")
_IGNORED_IN_UNITS = re.compile(r"[\s._^*()\[\]-]+")


def tidy(text: str) -> str:
    """Bring dashes, spaces, fractions and superscripts to plain characters.

    A thin or no-break space between a digit and exactly three digits groups thousands and becomes
    an underscore, which `numbers` accepts; every other space becomes an ordinary one.
    """
    marked = _GROUPING_SPACE.sub("_", text.translate(_DASHES).translate(_OTHER))
    plain = unicodedata.normalize("NFKC", marked).translate(_DASHES).replace("\u03bc", "u")
    return " ".join(plain.split())


def unit_key(text: str) -> str:
    """A unit's spelling without case, dots, spaces, hyphens and brackets: `Fl. Oz.` -> `floz`."""
    return _IGNORED_IN_UNITS.sub("", text.casefold())


def refuse(where: str, text: str, wrong: str, instead: str) -> InputProblem:
    """The three-part problem to raise for `text`, found at `where` ("file, key")."""
    return InputProblem(Problem(read=f'{where} = "{text}"', wrong=wrong, instead=instead))
