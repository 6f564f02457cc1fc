"""A newcomer's first four changes, as DEVELOPERS.md tells them, carried out on a copy."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
BLOCK = re.compile(r"^```(\w+)(?: (\S+))?\n(.*?)^```$", re.MULTILINE | re.DOTALL)
MIX = """
name = "Borate and an acid, invented"
carrier = "2 gal/1000 sq ft"
[[add]]
product = "borate.toml"
rate = "1 fl oz/1000 sq ft"
[[add]]
product = "acid.toml"
rate = "1 fl oz/1000 sq ft"
"""
JUGS = {
    "borate": 'name = "Borate, invented"\ndensity = "1.3 kg/L"\nsources = ["boric acid"]\n'
    "[guarantee]\nboron = 3.0\n",
    "acid": 'name = "Acid, invented"\ndensity = "1.2 kg/L"\nsources = ["citric acid"]\n'
    '[also]\n"citric acid" = 50.0\n',
}


def steps() -> list[tuple[str, str, str]]:
    """(language, file, text) of every block of the section, in order."""
    told = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = told.partition("## Your first four changes\n")[2].partition("\n## ")[0]
    return BLOCK.findall(section)


def test_a_newcomer_reads_no_file_of_more_than_400_lines() -> None:
    long = {
        p.relative_to(ROOT).as_posix(): lines
        for p in (ROOT / "chem").rglob("*.py")
        if (lines := len(p.read_text(encoding="utf-8").splitlines())) > 400
    }
    assert not long


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy with the changes made."""
    copy = tmp_path_factory.mktemp("house")
    for part in ("chem", "data", "examples"):
        shutil.copytree(ROOT / part, copy / part, ignore=shutil.ignore_patterns("__pycache__"))
    (copy / "examples" / "borate-and-acid.toml").write_text(MIX, encoding="utf-8")
    for name, text in JUGS.items():
        (copy / "examples" / f"{name}.toml").write_text(text, encoding="utf-8")
    for language, file, text in steps():
        if language == "diff":
            subprocess.run(
                ["git", "apply", "--recount", "-"], input=text, text=True, cwd=copy, check=True
            )
        elif language == "python":
            assert not (copy / file).exists()
            (copy / file).write_text(text, encoding="utf-8")
        elif file:
            with (copy / file).open("a", encoding="utf-8") as table:
                table.write(("\n" if language == "toml" else "") + text)
    return copy


COMMANDS = [
    (command.split()[1:], said)
    for language, _, text in steps()
    if language == "sh"
    for command, said in [line.split("   # ") for line in text.splitlines()]
]


def test_every_change_has_its_proof() -> None:
    assert [language for language, _, _ in steps()].count("sh") == 4
    assert len(COMMANDS) == 4


@pytest.mark.parametrize(("words", "said"), COMMANDS, ids=[" ".join(c) for c, _ in COMMANDS])
def test_the_change_does_what_is_told(house: Path, words: list[str], said: str) -> None:
    def run(place: Path) -> str:
        done = subprocess.run(
            [sys.executable, "-P", "-m", "chem", *words],
            capture_output=True, text=True, cwd=house, env={"PYTHONPATH": str(place)},
            check=False,
        )  # fmt: skip
        return " ".join(done.stdout.split())

    assert said in run(house)
    if words[0] != "sources":
        assert said not in run(ROOT), "the house as it stands says so already"
