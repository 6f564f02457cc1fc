"""The public functions are there, light to import, and are what the commands call."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import chem

ROOT = Path(__file__).parent.parent


def test_every_public_name_is_found_and_documented() -> None:
    for name in chem.PUBLIC:
        found = getattr(chem, name)
        if callable(found):
            assert found.__doc__
    with pytest.raises(AttributeError, match="no attribute"):
        chem.nonsense  # noqa: B018


def test_a_forecast_by_the_api() -> None:
    mix = chem.read_mix(ROOT / "examples" / "curdles.toml")
    assert chem.forecast_mix(mix, count=32).answer == "curdle"


def test_every_command_of_advice_has_its_function() -> None:
    from chem.advice.fix import fix
    from chem.advice.ph import adjust
    from chem.advice.pour import pour
    from chem.advice.why import why

    asked = (chem.why_mix, chem.fix_mix, chem.pour_mix, chem.adjust_ph)
    assert asked == (why, fix, pour, adjust)
    mix = chem.read_mix(ROOT / "examples" / "stays-clear.toml")
    assert chem.why_mix(mix, count=16).answer == "clear"
    assert len(chem.pour_mix(mix, count=16).asked.sequence) == len(mix.additions)


def test_import_loads_nothing_heavy() -> None:
    code = "import chem, sys; print([m for m in ('numpy', 'pint', 'pydantic') if m in sys.modules])"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True
    )
    assert done.stdout.strip() == "[]"
