"""What the sheets of advice share: JSON without NaN, and a chance told as under the threshold."""

from __future__ import annotations

import json
import math
from typing import Any


def as_json(data: dict[str, Any]) -> str:
    """A JSON object, indented; NaN and infinity, which have no place in JSON, become null."""
    return json.dumps(_finite(data), indent=2)


def odds_under(chance: float) -> str:
    """A chance known to be under 1 in 10, never rounded up to it."""
    return "under 1 in 20" if chance < 0.05 else "under 1 in 10"


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _finite(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(v) for v in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
