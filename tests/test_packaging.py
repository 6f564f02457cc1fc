"""The wheel carries its tables, and README shows what the program really prints."""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

ROOT = Path(__file__).parent.parent


def test_wheel_works_away_from_the_checkout(tmp_path: Path) -> None:
    subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "--no-build-isolation",
         "--disable-pip-version-check", "-w", str(tmp_path), str(ROOT)],
        check=True,
    )  # fmt: skip
    wheel = next(tmp_path.glob("jarsight-*.whl"))
    unpacked = tmp_path / "site"
    with zipfile.ZipFile(wheel) as archive:
        assert "chem/py.typed" in archive.namelist()
        archive.extractall(unpacked)
    mix = tmp_path / "mix.toml"
    mix.write_text((ROOT / "examples" / "stays-clear.toml").read_text())
    done = subprocess.run(
        [sys.executable, "-I", "-c",
         f"import sys; sys.path.insert(0, {str(unpacked)!r}); "
         "sys.argv = ['jarsight', 'forecast', 'mix.toml', '--draws', '32']; "
         "from chem.cli.main import run; run()"],
        capture_output=True, text=True, cwd=tmp_path, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "Stays clear" in done.stdout


def test_a_plain_install_is_light() -> None:
    """The referee's library is 800 MB with what it brings along: an extra, and the tests'."""
    with (ROOT / "pyproject.toml").open("rb") as handle:
        project = tomllib.load(handle)["project"]
    extras = project["optional-dependencies"]
    assert not any(d.startswith("pyEQL") for d in project["dependencies"])
    assert all(any(d.startswith("pyEQL") for d in extras[e]) for e in ("referee", "test"))


def test_readme_shows_real_output() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = re.findall(r"```console\n\$ jarsight (.+?)\n(.*?)```", text, flags=re.DOTALL)
    assert shown
    for command, output in shown:
        done = subprocess.run(
            [sys.executable, "-m", "chem", *command.split()],
            capture_output=True, text=True, cwd=ROOT, check=False,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
        )  # fmt: skip
        assert done.stdout.strip() == output.strip(), f"README is out of date: jarsight {command}"


def test_no_package_hides_one_of_its_own_modules() -> None:
    """`from chem.x import y` is one thing: what x exports, never its module y."""
    hidden = set()
    for file in ROOT.glob("chem/**/__init__.py"):
        modules = {p.stem for p in file.parent.iterdir() if p.is_dir() or p.suffix == ".py"}
        exported = {
            alias.asname or alias.name
            for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
            if isinstance(node, ast.ImportFrom)
            for alias in node.names
        }
        hidden |= {f"{file.parent.name}.{name}" for name in modules & exported}
    assert not hidden
