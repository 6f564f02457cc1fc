"""The times by which a tank is judged."""

from __future__ import annotations

TIMES_S = {"15min": 900.0, "4h": 14400.0, "24h": 86400.0}


def known_time(judged_at: str) -> str:
    """The time itself. Raises: ValueError where it is none of `TIMES_S`."""
    if judged_at not in TIMES_S:
        raise ValueError(f"judged_at is one of {', '.join(TIMES_S)}, not {judged_at!r}")
    return judged_at
