"""Published solutions of known outcome: the open half is held to its aim, the closed one is kept.

Compositions and outcomes: see the source of each row of `validation/outcomes.csv`.
"""

from __future__ import annotations

import csv

import pytest
from validation.outcomes import OPENINGS, Judged, counted, judge, main, read_outcomes

from chem.laboratory.odds import TIMES_S
from chem.reference import tables

ROWS = read_outcomes()


@pytest.fixture(scope="module")
def judged() -> list[Judged]:
    return [judge(row) for row in ROWS if row.part != "closed"]


def test_the_table_is_whole_and_a_part_of_it_is_closed_or_was() -> None:
    assert len({r.id for r in ROWS}) == len(ROWS) >= 60
    kinds = {"clear": 0, "precipitates": 0}
    for row in ROWS:
        kinds[row.outcome] += 1
        assert row.source.strip() and row.at in TIMES_S, row.id
        assert row.kind in {"fitted", "recalled", "blind"}, row.id
        assert row.how_known in {"read", "value from memory"}, row.id
        assert (row.kind == "blind") <= (row.how_known == "read"), row.id
        assert set(row.recipe.totals) <= set(tables().components), row.id
    assert min(kinds.values()) > 0.3 * len(ROWS)
    assert {r.part for r in ROWS} <= {"open", "opened", "closed"}
    assert 0.4 < sum(r.part != "open" for r in ROWS) / len(ROWS) < 0.9
    assert sum(r.how_known == "read" for r in ROWS) >= 50


def test_what_a_rule_was_drawn_from_is_never_counted(judged: list[Judged]) -> None:
    fitted = [j for j in judged if j.row.kind == "fitted"]
    assert fitted
    assert counted(judged)["judged"] == len(judged) - len(fitted)


def test_at_least_19_in_20_are_right_and_none_is_wrong_beyond_nine_in_ten(
    judged: list[Judged],
) -> None:
    marks = counted(judged)
    assert marks["right"] >= 0.95 * marks["judged"]
    sure = [j.row.id for j in judged if j.row.kind != "fitted" and j.wrong_and_sure]
    assert not sure


def test_the_closed_half_wants_a_reason_and_each_opening_is_written_down() -> None:
    with pytest.raises(SystemExit, match="reason"):
        main(["--open"])
    with OPENINGS.open(encoding="utf-8", newline="") as handle:
        for entry in csv.DictReader(handle):
            marks = ("right", "false alarm", "miss", "unsure")
            assert int(entry["judged"]) == sum(int(entry[m]) for m in marks)
            assert entry["reason"].strip() and entry["date"]
