"""The command line as a person meets it: exit codes, streams, messages, no traceback."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
EXAMPLES = ROOT / "examples"


def jarsight(*arguments: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "chem", *arguments],
        capture_output=True,
        text=True,
        cwd=cwd or ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT), "COLUMNS": "80"},
        check=False,
        stdin=subprocess.DEVNULL,
    )


def test_forecast_prints_the_answer_first_and_exits_0_whatever_it_is() -> None:
    done = jarsight("forecast", "examples/curdles.toml", "--draws", "64")
    assert done.returncode == 0
    assert done.stdout.splitlines()[2].startswith("Will curdle")
    assert done.stderr == ""


def test_json_is_the_only_thing_on_stdout() -> None:
    done = jarsight("forecast", "examples/stays-clear.toml", "--draws", "32", "--json")
    assert json.loads(done.stdout)["answer"] == "clear"


def test_options_try_another(tmp_path: Path) -> None:
    page = tmp_path / "sheet.html"
    done = jarsight(
        "forecast", "examples/water-decides.toml", "--draws", "32", "--water", "soft.toml",
        "--carrier", "3 gal/1000 sq ft", "--temperature", "50 F", "--coldest", "40 F",
        "--for", "24h", "--short", "--html", str(page),
    )  # fmt: skip
    assert done.returncode == 0
    assert len(done.stdout.strip().splitlines()) == 6
    assert "clear for 24 hours" in done.stdout
    assert page.read_text().startswith("<!doctype html>")
    assert not list(tmp_path.glob("*.partial"))


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["forecast", "examples/curdels.toml"], "did you mean `curdles.toml`"),
        (["forecast", "examples/curdles.toml", "--carrier", "2 gal"], "--carrier"),
        (["forecast", "examples/curdles.toml", "--water", "hrad.toml"], "water"),
        (["forecast", "examples/curdles.toml", "--temperature", "60"], "F or C"),
        (["forecast", "examples"], "can't be read"),
        (["forecast", "examples/curdles.toml", "--html", "nowhere/x.html"], "folder"),
        (["forecast", "examples/curdles.toml", "--draws", "2"], "16"),
    ],
)
def test_bad_input_exits_2_without_traceback(arguments: list[str], words: str) -> None:
    done = jarsight(*arguments)
    assert done.returncode == 2
    assert words in done.stderr
    assert "Traceback" not in done.stderr


def test_broken_toml_and_binary_files(tmp_path: Path) -> None:
    broken = tmp_path / "broken.toml"
    broken.write_text("name = calcium")
    assert "not valid TOML" in jarsight("forecast", str(broken)).stderr
    broken.write_bytes(b"\xff\xfe\x00")
    done = jarsight("forecast", str(broken))
    assert done.returncode == 2 and "Traceback" not in done.stderr


def test_help_groups_commands_and_names_exit_codes() -> None:
    done = jarsight("--help")
    assert done.returncode == 0
    assert "never replaces the jar test" in " ".join(done.stdout.split())
    assert "Exit codes" in done.stdout
    assert "forecast" in done.stdout and "new" in done.stdout


def test_import_is_light() -> None:
    """`--help` must not pay for numpy, pint or pyEQL."""
    heavy = ("numpy", "pint", "pyEQL")
    code = f"import chem.cli.main, sys; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True
    )
    assert done.stdout.strip() == "[]"


def test_a_pasted_label_becomes_a_product_file(tmp_path: Path) -> None:
    out = tmp_path / "pasted.toml"
    label = ROOT / "tests" / "labels" / "calcium-nitrate.txt"
    done = jarsight("label", "--paste", str(label), "--name", "Pasted, invented", "--out", str(out))
    assert done.returncode == 0, done.stderr
    assert done.stdout == out.read_text(encoding="utf-8")
    assert "Understood:" in done.stderr and "Left out:" in done.stderr
    as_json = jarsight("label", "--paste", str(label), "--json", "--draws", "32")
    assert json.loads(as_json.stdout)["adds_up"] in {True, False}
    assert jarsight("label", str(out), "--draws", "32").returncode == 0
    typed = subprocess.run(
        [sys.executable, "-m", "chem", "label", "--paste", "-"],
        input="Soluble Potash (K2O) 25%\nDerived from: potassium carbonate",
        capture_output=True, text=True, cwd=ROOT, check=False,
    )  # fmt: skip
    assert typed.returncode == 0 and "potassium carbonate" in typed.stdout
    nothing = tmp_path / "nothing.txt"
    nothing.write_text("keep out of reach")
    assert jarsight("label", "--paste", str(nothing)).returncode == 2
