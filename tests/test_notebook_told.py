"""Every command says what the notebook says of its mix, and goes by the same odds."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from chem.cli.main import whole_app
from chem.sheets.notebook import GOES_BY, TITLE

MIX = Path(__file__).parent.parent / "examples" / "alkali-decides.toml"
FEW = ["--draws", "16", "--units", "metric"]
ADVICE = (
    ["why"], ["fix"], ["pour"], ["jar"], ["jar", "--jars", "rates"],
    ["jar", "--ladder", "citric acid"], ["ph", "--to", "5.5", "--with", "citric acid"],
)  # fmt: skip


def said(*words: str) -> str:
    ran = CliRunner().invoke(whole_app(), list(words))
    assert ran.exit_code == 0, ran.output
    return ran.stdout


@pytest.fixture(scope="module")
def notebook(tmp_path_factory: pytest.TempPathFactory) -> str:
    book = str(tmp_path_factory.mktemp("kept") / "notebook.db")
    seen = ["--seen", "flakes", "--after", "15min", "--ph", "8", "--ph-by", "strip"]
    said("saw", str(MIX), *seen, "--notebook", book, "--draws", "16")
    return book


def test_all_say_what_the_forecast_says(notebook: str) -> None:
    kept = [*FEW, "--notebook", notebook, "--json"]
    forecast = json.loads(said("forecast", str(MIX), *kept))
    entries = [x for x in forecast["learned"] if x["entry"]]
    assert entries
    for command, *options in ADVICE:
        ask = [command, str(MIX), *options]
        told = json.loads(said(*ask, *kept))
        assert [x for x in told["learned"] if x["entry"]] == entries, ask
        assert told["learned"][-1] == {"entry": "", "sentence": GOES_BY}, ask
        lines = " ".join(said(*ask, *kept[:-1]).split())
        assert TITLE.upper() in lines and entries[0]["sentence"] in lines, ask
        for key in ("probability", "answer"):
            if command in ("why", "fix") and key in told:
                assert told[key] == forecast[key], ask
        if "orders" not in told:
            assert json.loads(said(*ask, *FEW, "--no-notebook", "--json"))["learned"] == [], ask


def test_the_page_of_a_jar_says_it_too(notebook: str, tmp_path: Path) -> None:
    page = tmp_path / "jar.html"
    said("jar", str(MIX), *FEW, "--notebook", notebook, "--html", str(page))
    assert TITLE in page.read_text()
    assert TITLE.upper() not in said("jar", str(MIX), *FEW, "--no-notebook")
