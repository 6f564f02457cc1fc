"""Jarsight: will the tank stay clear?

The functions that the commands call, each returning a frozen result:

    from pathlib import Path
    import chem

    mix = chem.read_mix(Path("mix.toml"))
    result = chem.forecast_mix(mix, count=256, seed=1)
    print(result.answer, result.ph.median)
"""

from __future__ import annotations

import importlib
from typing import Any

from chem.version import VERSION

__version__ = VERSION

_PLACES = {
    "InputProblem": ("chem.errors", "InputProblem"),
    "Problem": ("chem.errors", "Problem"),
    "ToxicGas": ("chem.errors", "ToxicGas"),
    "adjust_ph": ("chem.advice.ph", "adjust"),
    "change_mix": ("chem.tank", "change_mix"),
    "diagnose_mix": ("chem.advice.diagnose", "diagnose"),
    "fix_mix": ("chem.advice.fix", "fix"),
    "forecast_mix": ("chem.forecast", "forecast"),
    "plan_jar": ("chem.advice.jar", "jar"),
    "pour_mix": ("chem.advice.pour", "pour"),
    "read_mix": ("chem.tank", "read_mix"),
    "read_product": ("chem.label", "read_product"),
    "read_stock": ("chem.shelf", "read_stock"),
    "read_water": ("chem.tank", "read_water"),
    "screen_shelf": ("chem.shelf", "shelf"),
    "shelf_setting": ("chem.shelf", "Setting"),
    "trace_number": ("chem.laboratory.trace", "trace"),
    "why_mix": ("chem.advice.why", "why"),
}

PUBLIC = tuple(_PLACES)
"""Names of the public functions and errors."""


def __getattr__(name: str) -> Any:
    """Import a public function where it is first asked for, so that `import chem` stays light."""
    if name not in _PLACES:
        raise AttributeError(f"module 'chem' has no attribute {name!r}")
    module, attribute = _PLACES[name]
    return getattr(importlib.import_module(module), attribute)
