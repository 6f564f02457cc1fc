"""Published solutions of known outcome, against the odds of `jarsight solution --odds`.

`python -m validation.outcomes` judges the open rows of `outcomes.csv`, and those opened once. The
closed ones are judged with `--open REASON` alone, which writes a line to `openings.csv`: what was
changed after a look at them is no longer tested by them, so they are `opened` from then on. Rows of
kind `fitted` are shown and counted in nothing.
"""

from __future__ import annotations

import csv
import sys
from collections import Counter
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from chem.laboratory import Recipe
from chem.laboratory.odds import SolutionOdds, solution_odds

HERE = Path(__file__).parent
TABLE, OPENINGS = HERE / "outcomes.csv", HERE / "openings.csv"
UNSURE = (0.35, 0.65)
"""Chances between which neither outcome is said."""
SURE = 0.9
DRAWS = 128


@dataclass(frozen=True)
class Outcome:
    """One solution: totals and what is held [mmol/kg water], and what was seen by `at`."""

    id: str
    part: str
    what: str
    recipe: Recipe
    at: str
    outcome: str
    kind: str
    how_known: str
    source: str
    note: str


@dataclass(frozen=True)
class Judged:
    """An outcome with the chance that solids show by its time, None beyond the model."""

    row: Outcome
    chance: float | None
    odds: SolutionOdds

    @property
    def mark(self) -> str:
        """`right`, `false alarm`, `miss` or `unsure`."""
        if self.chance is None or UNSURE[0] <= self.chance <= UNSURE[1]:
            return "unsure"
        if (self.chance > 0.5) == (self.row.outcome == "precipitates"):
            return "right"
        return "false alarm" if self.chance > 0.5 else "miss"

    @property
    def wrong_and_sure(self) -> bool:
        """Whether it is wrong beyond odds of 9 in 10."""
        if self.chance is None or self.mark not in {"false alarm", "miss"}:
            return False
        return max(self.chance, 1.0 - self.chance) > SURE


def _parts(text: str) -> dict[str, float]:
    pairs = (part.split("=") for part in text.split(";") if part.strip())
    return {name.strip(): float(value) / 1000.0 for name, value in pairs}


def read_outcomes() -> list[Outcome]:
    """Every row of the table, open and closed."""
    with TABLE.open(encoding="utf-8", newline="") as handle:
        return [
            Outcome(
                r["id"],
                r["part"],
                r["what"],
                Recipe(
                    r["id"],
                    float(r["t_celsius"]),
                    float(r["ph"]) if r["ph"] else None,
                    _parts(r["totals"]),
                    held={(k.split()[0], k.split()[1]): v for k, v in _parts(r["held"]).items()},
                ),
                r["at"],
                r["outcome"],
                r["kind"],
                r["how_known"],
                r["source"],
                r["note"],
            )
            for r in csv.DictReader(handle)
        ]


def judge(row: Outcome) -> Judged:
    """The odds of one solution at the time of its outcome."""
    odds = solution_odds(row.recipe, count=DRAWS)
    return Judged(row, None if odds.probability is None else odds.probability[row.at], odds)


def counted(judged: list[Judged]) -> Counter[str]:
    """How many of each mark, fitted rows left out; `wrong and sure` beside them."""
    blind = [j for j in judged if j.row.kind != "fitted"]
    out = Counter(j.mark for j in blind)
    out["wrong and sure"] = sum(j.wrong_and_sure for j in blind)
    out["judged"] = len(blind)
    return out


def _line(j: Judged) -> str:
    chance = "none" if j.chance is None else f"{j.chance:.2f}"
    named = ", ".join(f"{s.key} {s.si} ({s.probability[j.row.at]:.2f})" for s in j.odds.solids[:3])
    return f"{j.mark:12} {chance:5} {j.row.outcome:12} {j.row.id} at {j.row.at}: {named}"


def main(arguments: list[str]) -> None:
    """Judge the open rows, or with `--open REASON` the closed ones, and log that."""
    parts = {"open", "opened"}
    if arguments[:1] == ["--open"]:
        if len(arguments) != 2 or not arguments[1].strip():
            raise SystemExit("--open wants a reason, in quotes")
        parts = {"closed"}
    judged = [judge(row) for row in read_outcomes() if row.part in parts]
    for j in sorted(judged, key=lambda j: (j.mark, j.row.id)):
        if j.mark != "right" or "--all" in arguments:
            print(_line(j))
    marks = counted(judged)
    print(", ".join(f"{k} {v}" for k, v in marks.most_common()))
    if parts == {"closed"}:
        with OPENINGS.open("a", encoding="utf-8", newline="") as handle:
            told = [marks[k] for k in ("judged", "right", "false alarm", "miss", "unsure")]
            row = [date.today().isoformat(), *told, marks["wrong and sure"], arguments[1]]
            csv.writer(handle, lineterminator="\n").writerow(row)


if __name__ == "__main__":
    main(sys.argv[1:])
