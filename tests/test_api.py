"""The public functions are there, light to import, and are what the commands call."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

import chem

ROOT = Path(__file__).parent.parent


def test_every_public_name_is_found_and_documented() -> None:
    for name in chem.__all__:
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


def jarsight(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "chem", *arguments],
        capture_output=True,
        text=True,
        cwd=cwd,
        env=os.environ | {"PYTHONPATH": str(ROOT), "COLUMNS": "80"},
        check=False,
        stdin=subprocess.DEVNULL,
    )


EMPTY = 'name = "Empty"\ncarrier = "2 gal/1000 sq ft"\n'
PH = ("--to", "5", "--with", "citric acid")


@pytest.mark.parametrize("command", ["why", "fix", "pour", "ph"])
def test_bad_input_exits_2_without_traceback(command: str, tmp_path: Path) -> None:
    more = PH if command == "ph" else ()
    (tmp_path / "empty.toml").write_text(EMPTY, encoding="utf-8")
    (tmp_path / "broken.toml").write_text("name = calcium", encoding="utf-8")
    curdles = str(ROOT / "examples" / "curdles.toml")
    for file, words in (
        ("empty.toml", "at least one product"),
        ("broken.toml", "not valid TOML"),
        ("nowhere.toml", "nowhere.toml"),
    ):
        done = jarsight(command, file, *more, cwd=tmp_path)
        assert done.returncode == 2 and words in done.stderr
        assert "Traceback" not in done.stderr and done.stdout == ""
    for wrong in (["--draws", "2"], ["--units", "imperial"], ["--seed", "-1"]):
        done = jarsight(command, curdles, *more, *wrong, cwd=tmp_path)
        assert done.returncode == 2 and "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("ph", "--to", "5", "--with", "pool acid"), "labelled for spray or irrigation water"),
        (("ph", "--to", "15", "--with", "citric acid"), "--to"),
        (("fix", "--with", "battery acid"), "labelled for spray or irrigation water"),
        (("fix", "--in", "nowhere"), "no product file"),
        (("why", "--for", "2h"), "15min"),
    ],
)
def test_refusals_say_what_to_write_instead(
    arguments: tuple[str, ...], words: str, tmp_path: Path
) -> None:
    command, *rest = arguments
    mix = str(ROOT / "examples" / "curdles.toml")
    done = jarsight(command, mix, "--draws", "32", *rest, cwd=tmp_path)
    assert done.returncode == 2
    assert words in done.stderr and "Traceback" not in done.stderr


SUSPENSION = """
name = "Lime suspension, invented"
form = "suspension"
density = "1.5 kg/L"
sources = ["calcium carbonate"]
[guarantee]
calcium = 20.0
"""
PESTICIDE = 'name = "Examplesulfuron, invented"\nform = "pesticide"\ndensity = "1.0 kg/L"\n'
MIX = """
name = "Odd company"
water = "unknown"
carrier = "2 gal/1000 sq ft"
[[add]]
product = "magnesium-sulfate-heptahydrate.toml"
rate = "3 oz/1000 sq ft"
[[add]]
product = "lime.toml"
rate = "1 fl oz/1000 sq ft"
[[add]]
product = "herbicide.toml"
rate = "1 fl oz/1000 sq ft"
[[add]]
product = "wetting-agent.toml"
rate = "6 fl oz/1000 sq ft"
[adjuvant]
name = "spreader"
ph_at_most = 5.0
"""


@pytest.mark.parametrize("command", ["why", "fix", "pour", "ph"])
@pytest.mark.parametrize("units", ["us", "metric"])
def test_dry_suspended_and_unjudged_products_are_answered(
    command: str, units: str, tmp_path: Path
) -> None:
    """No tank named, nothing known of the water: every command still answers, within its width."""
    (tmp_path / "lime.toml").write_text(SUSPENSION, encoding="utf-8")
    (tmp_path / "herbicide.toml").write_text(PESTICIDE, encoding="utf-8")
    (tmp_path / "mix.toml").write_text(MIX, encoding="utf-8")
    more = PH if command == "ph" else ()
    options = ("--draws", "32", "--seed", "3", "--units", units)
    done = jarsight(command, "mix.toml", *more, *options, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    text = done.stdout
    assert max(map(len, text.splitlines())) <= 60
    assert "The jar test at the same ratio decides." in text.replace("\n", " ")
    if command == "ph":
        assert "sulfonylurea herbicides fall apart in acid water" in " ".join(text.split())
    else:
        assert "Examplesulfuron, invented is not judged" in " ".join(text.split())
    foreign = (" oz", " gal", " fl") if units == "metric" else (" mL/ha", " L/ha", " kg/ha")
    assert not any(word in text for word in foreign)
    data = json.loads(jarsight(command, "mix.toml", *more, *options, "--json", cwd=tmp_path).stdout)
    assert data["draws"] == 32 and data["seed"] == 3


def test_import_loads_nothing_heavy() -> None:
    code = "import chem, sys; print([m for m in ('numpy', 'pint', 'pydantic') if m in sys.modules])"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True
    )
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize(
    "wrong",
    [
        {"count": 0}, {"count": 1.5}, {"count": "x"}, {"count": True}, {"seed": -1},
        {"seed": None}, {"judged_at": "1h"}, {"judged_at": None},
    ],
)  # fmt: skip
@pytest.mark.parametrize("name", ["forecast_mix", "why_mix", "fix_mix"])
def test_wrong_arguments_are_refused_in_words(name: str, wrong: dict[str, object]) -> None:
    mix = chem.read_mix(str(ROOT / "examples" / "stays-clear.toml"))
    with pytest.raises(ValueError, match=r"whole numbers|count of 1|judged_at is one of"):
        getattr(chem, name)(mix, **({"count": 16} | wrong))


def test_wrong_arguments_of_the_other_functions() -> None:
    from chem.advice.agents import choose_agent

    mix = chem.read_mix(ROOT / "examples" / "curdles.toml")
    for size in (0.0, -1.0, float("nan"), float("inf")):
        with pytest.raises(ValueError, match="size_mL"):
            chem.plan_jar(mix, size_mL=size, count=16)
    with pytest.raises(ValueError, match="order"):
        chem.plan_jar(mix, order="worst", count=16)
    for told in (
        {"seen": "haze"},
        {"seen": ()},
        {"seen": ("purple",)},
        {"seen": ("haze",), "after_min": float("nan")},
        {"seen": ("haze",), "ph": 20.0},
        {"seen": ("haze",), "poured": 3},
    ):
        with pytest.raises(ValueError, match=r"seen|after_min|pH|2 products"):
            chem.diagnose_mix(mix, count=16, **told)
    for target in (-1.0, 15.0, float("nan")):
        with pytest.raises(ValueError, match="pH"):
            chem.adjust_ph(mix, target, choose_agent("citric acid"), count=16)
