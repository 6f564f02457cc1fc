"""Pasted water reports: a reading with its unit, or told as not read."""

from __future__ import annotations

from pathlib import Path

import pytest

from chem.tank.report import read_report

REPORT = """Water analysis, invented. Sample 1234
pH 7.9
Total alkalinity (as CaCO3) 210 mg/L
Total hardness 250 mg/L as CaCO3
Calcium (Ca) 68 mg/L
Magnesium 12.5 mg/L
Chloride <5 mg/L
Nitrate 14
Conductivity 450 uS/cm
"""


def test_report_is_read_or_told() -> None:
    report = read_report(REPORT)
    assert report.answers == {
        "ph": "7.9",
        "alkalinity": "210 mg/L as CaCO3",
        "hardness": "250 mg/L as CaCO3",
        "ions.Ca": "68 mg/L",
        "ions.Mg": "12.5 mg/L",
    }
    assert [number for number, _, _ in report.unread] == [1, 7, 8, 9]


@pytest.mark.parametrize(
    ("line", "answers"),
    [
        ("Dureza total: 250-350 mg/L CaCO3", {"hardness": "250-350 mg/L as CaCO3"}),
        ("Gesamthärte: 3,5 mmol/l\nCalcium 68,0 mg/l", {"ions.Ca": "68.0 mg/L"}),
        ("Calcium 68 ppm", {}),
        ("pH 19", {}),
        ("Calcium 68 mg/L\nCalcium 86 mg/L", {}),
    ],
)
def test_line_of_a_report(line: str, answers: dict[str, str]) -> None:
    found = read_report(line)
    assert {k: v for k, v in found.answers.items() if k in answers or not answers} == answers
    assert len(found.answers) + len(found.unread) >= 1


def test_new_water_from_a_report(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from typer.testing import CliRunner

    from chem.cli.new import app
    from chem.tank import read_water

    (tmp_path / "report.txt").write_text(REPORT, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(app, ["water", "well", "--paste", "report.txt"])
    assert done.exit_code == 0, done.output
    assert read_water(tmp_path / "well.toml").name == "well"
