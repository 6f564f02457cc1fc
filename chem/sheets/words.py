"""Numbers in the words of the shed."""

from __future__ import annotations

import re
from collections.abc import Mapping

SLIGHTLY, CLEARLY = 0.3, 1.0
WATCH_THE_JAR = "Only the jar can tell: test at the same ratio, and watch it a full spray day."


def with_name(settle_by: str, doubt: str, names: Mapping[str, str]) -> str:
    """What settles a doubt (`product:KEY:...`, `metering:KEY`), its product's key put as its name.

    names: key -> name. A key may be part of another word of it, or a source's name as well, which
    stands before the product.
    """
    key = doubt.split(":")[1] if ":" in doubt else ""
    found = list(re.finditer(rf"(?<![\w-]){re.escape(key)}(?![\w-])", settle_by))
    if key not in names or not found:
        return settle_by
    return settle_by[: found[-1].start()] + names[key] + settle_by[found[-1].end() :]


def odds(chance: float) -> str:
    """A chance as `3 in 10`, never as certainty."""
    if chance < 0.05:
        return "under 1 in 20"
    if chance > 0.95:
        return "over 19 in 20"
    return f"{min(max(round(10 * chance), 1), 9)} in 10"


def over_limit(si_per_two_ions: float) -> str:
    """How far over its limit a solid is."""
    if si_per_two_ions <= 0.0:
        return "under its limit"
    if si_per_two_ions < SLIGHTLY:
        return "slightly over its limit"
    return "clearly over its limit" if si_per_two_ions < CLEARLY else "far over its limit"


def after(seconds: float) -> str:
    """A clouding time: `within seconds`, `after about 20 min`."""
    if seconds < 60.0:
        return "within a minute"
    if seconds < 5400.0:
        minutes = seconds / 60.0
        return f"after about {minutes:.0f} min"
    hours = seconds / 3600.0
    if hours < 48.0:
        return f"after about {hours:.0f} h"
    return f"after about {hours / 24.0:.0f} days"


TIME_WORDS = {"15min": "15 minutes", "4h": "4 hours", "24h": "24 hours"}


def capital(text: str) -> str:
    """With its first letter as at the head of a sentence."""
    return text[:1].upper() + text[1:]


def percent(fraction: float) -> str:
    """A share in words: `12 %`, `under 1 %`, `nearly all`."""
    if fraction < 0.01:
        return "under 1 %"
    return "nearly all" if fraction > 0.99 else f"{100.0 * fraction:.0f} %"


def counted(number: int, word: str) -> str:
    """ "1 tank", "3 tanks"."""
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def sentence(text: str) -> str:
    """With a capital and a full stop."""
    text = capital(text)
    return text if text.endswith((".", "!", "?")) else f"{text}."


def and_more(count: int) -> list[str]:
    """What a list left off, and where all of it is."""
    return [f"{count} more: --csv FILE or --html FILE has all."] if count else []
