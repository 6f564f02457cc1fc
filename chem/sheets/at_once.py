"""Whether to spray at once: said alike by every sheet that is asked."""

from __future__ import annotations

LEAST_MINUTES = 30.0
"""A tank is not sprayed in less (common practice, no source)."""
KEEP_STIRRING = "keep stirring, spray at once, leave none standing"


def in_time(minutes: float | None) -> bool:
    """Whether a tank stays clear for as long as it takes to spray it."""
    return minutes is not None and minutes >= LEAST_MINUTES


def until_it_shows(minutes: float) -> str:
    """`40 min`, `4 h`."""
    return f"{minutes:.0f} min" if minutes < 90.0 else f"{minutes / 60.0:.0f} h"


def at_once(answer: str, minutes: float | None) -> str:
    """What spraying at once would do to a tank that hazes or curdles.

    answer: `haze` or `curdle`; minutes: until solids show, None where within one.
    """
    shows = "It may show within a minute"
    if minutes is not None:
        shows = f"Clear for about {until_it_shows(minutes)}, then it shows"
    if answer == "haze":
        return f"{shows}, but it still sprays: {KEEP_STIRRING}."
    if in_time(minutes):
        return f"{shows}: spray within that, or change it."
    return f"No use: {shows[0].lower()}{shows[1:]} and blocks the screens."
