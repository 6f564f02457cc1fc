"""What practitioners ask, each with the commands that answer it and what they really print.

`python tests/questions.py` writes examples/README.md; tests/test_questions.py holds it current.
"""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parent.parent
PAGE = ROOT / "examples" / "README.md"
NOT_OURS = "Ask your state or local authority"
NOT_YET = "Not answered yet"
INTRODUCTION = """# Examples, and the questions they answer

Mixes of the grounds crew of an invented municipal sports park; no real product, person or place.
The first lines of each file say what it is meant to show. `solutions/` holds plain solutions for
chemists (`jarsight solution FILE`).

Below stands what people ask about a tank, with the command that answers it and what it really
prints, cut to the part that answers. Products, waters and odds are those of the example: put your
own file in its place. `python tests/questions.py` writes this page.
"""


@dataclass(frozen=True)
class Show:
    """A command and the part of what it prints.

    block: title of a part, empty for the answer on top; about: only its entries with these words;
    lines: how many at most.
    """

    command: str
    block: str = ""
    about: tuple[str, ...] = ()
    lines: int = 40


@dataclass(frozen=True)
class Question:
    """A question and what answers it.

    reading: how to read the output; not_yet: what stays unanswered; not_ours: why the program
    leaves it to an authority.
    """

    text: str
    shown: tuple[Show, ...] = ()
    reading: str = ""
    not_yet: str = ""
    not_ours: str = ""


WILL_IT = "WILL IT STAY CLEAR WITH THAT IN IT?"
COMES_OUT = "WHAT WOULD COME OUT"
MAY_SPRAY = "MAY IT STILL BE SPRAYED"
TRY = "TRY, FIRST IN A JAR OF IT"
NUTRIENTS = "NUTRIENTS, BY THE LABELS"
OVERNIGHT = "examples/hazes-overnight.toml"
GRIT = f"diagnose {OVERNIGHT} --seen grit --after 24h"
AT_2_GAL = '--carrier "2 gal/1000 sq ft"'
KEPT_APART = "BETTER KEPT APART, WORST FIRST"
FLAKES = "diagnose examples/curdles.toml --seen flakes --after 2"

GROUPS: dict[str, tuple[Question, ...]] = {
    "Before buying": (
        Question(
            "There is a jug in the shed already. Will the new one get along with it?",
            (
                Show(f"shelf kelp-extract --in demo --water soft {AT_2_GAL}", KEPT_APART, lines=8),
                Show(
                    f"shelf kelp-extract --in demo --water soft {AT_2_GAL}", "STAYS CLEAR", lines=4
                ),
            ),
            reading="The new label against all that stands in a folder, worst first, each at its "
            "own rate.",
        ),
        Question(
            "Our well is hard. Which iron holds in it?",
            (
                Show("forecast examples/iron-in-hard-water.toml"),
                Show(
                    "fix examples/iron-in-hard-water.toml --in data/demo/products",
                    "ANOTHER PRODUCT",
                ),
            ),
            reading="Every product in the folder is tried in the place of the one that fails.",
        ),
        Question(
            "Is there calcium or sulfate in this jug that its label does not name?",
            (Show("label iron-citric", "IONS THE LABEL IMPLIES"),),
            reading="All that the label implies is listed; what is not listed, such as calcium "
            "here, nothing on the label brings in.",
        ),
        Question(
            "What weight of N, P and K does my money buy in each gallon?",
            (Show("label npk-orthophosphate", "WHAT IT CARRIES"),),
            reading="P2O5 and K2O, as on the label. The price counts as if paid for that one "
            "nutrient alone.",
        ),
        Question(
            "The label says chelated. Is all of the iron?",
            (Show("label iron-partly-chelated", "HOW MUCH OF A METAL IS CHELATED"),),
            reading="The other iron is plain salt.",
        ),
        Question(
            "Can it stand in the unheated barn through January without dropping crystals?",
            (Show("label urea-liquor --coldest 20F", "IN THE COLD"),),
        ),
        Question(
            "Which figure of my water do I have to have tested before I buy this?",
            (Show("label npk-orthophosphate", "THE WATER FIGURE THAT MATTERS MOST"),),
        ),
        Question(
            "May I put it on lawns here: phosphorus rules, closed seasons?",
            not_ours="bans on phosphorus, closed dates and licences are local law, and change. "
            "What such laws ask for: a soil test or a new lawn before phosphorus (New York, "
            "Environmental Conservation Law 17-2103), no feed from December 1 to April 1 there, a "
            "strip left along water, a licence for who sprays for hire. Look up your own year's "
            "text before you buy",
        ),
        Question(
            "I spray calcium and need potash. Which potash of the two goes with it?",
            (
                Show("forecast examples/calcium-and-potash.toml"),
                Show(
                    "fix examples/calcium-and-potash.toml --in data/demo/products",
                    "ANOTHER PRODUCT",
                ),
            ),
        ),
    ),
    "Before mixing": (
        Question(
            "At my rates and my spray volume, how much of each jug goes into a 50 gallon tank?",
            (Show("forecast examples/five-products.toml", "THE TANK"),),
            reading="`--area` gives the loads of an area, a column each.",
        ),
        Question(
            "Clear or curd, and how far can I rely on that?",
            (Show("forecast examples/curdles.toml"),),
        ),
        Question(
            "If something comes out, what is it most likely, and how much?",
            (Show("forecast examples/curdles.toml", COMES_OUT),),
        ),
        Question(
            "Which goes in first, which next?",
            (
                Show("pour examples/acid-decides.toml"),
                Show("pour examples/acid-decides.toml", "STEP BY STEP"),
            ),
        ),
        Question(
            "Where will the pH end up?",
            (Show("forecast examples/acid-decides.toml", "PH OF THE FULL TANK"),),
        ),
        Question(
            "What dose of citric acid, or of vinegar, brings it down to 6?",
            (
                Show('ph examples/borehole-feed.toml --to 6 --with "citric acid"'),
                Show("ph examples/borehole-feed.toml --to 6 --with vinegar"),
            ),
        ),
        Question(
            "Does that acid spoil anything in the tank?",
            (
                Show('ph examples/borehole-feed.toml --to 6 --with "citric acid"', WILL_IT),
                Show(
                    'ph examples/borehole-feed.toml --to 6 --with "citric acid"',
                    "MIND",
                    ("Copper", "calcium"),
                ),
            ),
        ),
        Question(
            "Would twice the water help?",
            (
                Show(f"forecast {OVERNIGHT} --for 24h"),
                Show(f'forecast {OVERNIGHT} --for 24h --carrier "2 gal/1000 sq ft"'),
            ),
        ),
        Question(
            "Who is to blame, the hard water or the jugs?",
            (
                Show("why examples/water-decides.toml"),
                Show("forecast examples/water-decides.toml --water soft.toml"),
            ),
        ),
        Question(
            "Can it stand until morning? Also when the night falls to 40 F?",
            (
                Show(f"forecast {OVERNIGHT} --for 24h"),
                Show(f"forecast {OVERNIGHT} --for 24h --coldest 40F"),
            ),
        ),
        Question(
            "How many mL of each go into the jar, and when do I look at it?",
            (
                Show(f"jar {OVERNIGHT} --size 1qt", "MEASURE"),
                Show(f"jar {OVERNIGHT} --size 1qt", "LOOK"),
            ),
        ),
        Question(
            "What does a good jar look like?",
            (
                Show(f"jar {OVERNIGHT} --size 1qt", "WHAT YOU SEE, AND WHAT IT MEANS"),
                Show(f"jar {OVERNIGHT} --size 1qt", "PH"),
            ),
        ),
        Question(
            "What N, P and Fe does the area get?",
            (
                Show(
                    "forecast examples/five-products.toml",
                    NUTRIENTS,
                    ("Put down", "N ", "P2O5", "K2O", "Fe"),
                ),
            ),
        ),
        Question(
            "Will it heat up, foam or smell when I mix it?",
            (Show("jar examples/alkali-decides.toml --size 1qt", "GAS OR HEAT"),),
            reading="No such part on a forecast or a jar sheet: no gas or heat is expected.",
        ),
        Question(
            "What did you take for granted that I can check?",
            (Show("forecast examples/curdles.toml", "TAKEN FOR GRANTED, CHECK THESE"),),
        ),
    ),
    "At the tank": (
        Question(
            "Three are in and it has turned milky. Was it the third?",
            (
                Show("diagnose examples/milky-at-the-third.toml --seen haze --after 2 --poured 3"),
                Show("diagnose examples/milky-at-the-third.toml --seen haze --after 2 --poured 2"),
            ),
            reading="With the first two alone the model expects no cloud: it was the third that "
            "brought it.",
        ),
        Question("May I go on and spray this tank?", (Show(FLAKES, MAY_SPRAY),)),
        Question("Do I pour in water now, or acid?", (Show(FLAKES, "NOW"), Show(FLAKES, TRY))),
        Question(
            "It fizzes, or it is warm, or it smells of ammonia. What is going on?",
            (
                Show("jar examples/alkali-decides.toml", "GAS OR HEAT"),
                Show("jar examples/smells-of-ammonia.toml", "GAS OR HEAT"),
            ),
            reading="A strong acid or lye is named in the same place, with the degrees by which "
            "it warms the tank.",
        ),
        Question(
            "The order was wrong. Does that still matter?",
            (
                Show("pour examples/acid-poured-last.toml", "THE ORDER YOU ASKED FOR"),
                Show("forecast examples/acid-poured-last.toml", COMES_OUT),
                Show(
                    "diagnose examples/acid-poured-last.toml --seen flakes --after 5 --poured 2",
                    TRY,
                ),
            ),
            reading="The first tells the worst moment on the way, the second what the full tank "
            "drops once it is mixed through, the third what takes back what fell out meanwhile.",
        ),
        Question(
            "The strip reads 8.4. Where does that come from?",
            (
                Show(
                    "forecast examples/acid-decides.toml --read 8.4",
                    "YOUR READING, 8.4",
                ),
            ),
            reading="Which slip would read so, which jug or water leaves the pH open, and what "
            "misleads a strip.",
        ),
        Question(
            "For how long can it wait in the tank?",
            (Show(f"fix {OVERNIGHT} --for 24h", "OR SPRAY IT AT ONCE"),),
        ),
    ),
    "After a failure": (
        Question("What is the sludge on the bottom?", (Show(GRIT),)),
        Question("Does acid clear it, or water, or nothing at all?", (Show(GRIT, TRY),)),
        Question(
            "Will it harm nozzles, screens and pump?",
            (
                Show(GRIT, MAY_SPRAY),
                Show(GRIT, "CLEAN OUT, IN THIS ORDER"),
                Show(GRIT, "NOZZLES, SCREENS AND PUMP"),
            ),
            reading="Which metals, and by what, stands in `data/metals.csv` with its sources.",
        ),
        Question(
            "How may I dispose of it?",
            not_ours="disposal is law. Rinsate usually goes back on a labelled site within its "
            "rate; solids that can't be sprayed go to a licensed collector (common practice, no "
            "source). Keep labels and safety data sheets to show, write down what, how much and "
            "when, and let none of it into drain, ditch or bare ground meanwhile",
        ),
        Question(
            "How much of the feed is lost with it?",
            (
                Show(
                    "why examples/curdles.toml",
                    "CALCIUM PHOSPHATE (BRUSHITE)",
                    ("Nutrient lost",),
                ),
                Show("forecast examples/curdles.toml", NUTRIENTS, ("Put down", "P2O5", "Ca")),
            ),
        ),
        Question(
            "What should I have done: two passes, another product, another order, another pH?",
            (
                Show(f"fix {OVERNIGHT} --for 24h", "SEPARATE PASSES"),
                Show("fix examples/water-decides.toml", "OTHER WATER"),
                Show("fix examples/water-decides.toml", "AN ACID"),
                Show(
                    "fix examples/calcium-and-potash.toml --in data/demo/products",
                    "ANOTHER PRODUCT",
                ),
                Show("pour examples/acid-poured-last.toml"),
                Show("pour examples/acid-poured-last.toml", "STEP BY STEP"),
            ),
        ),
        Question(
            "The neighbour's jug of the same kind stayed clear. Why not mine?",
            (
                Show("label npk-orthophosphate", "LEFT OPEN BY THE LABEL"),
                Show("label npk-orthophosphate", "SOURCES"),
            ),
            reading="Liquids as far apart as these carry the same label.",
        ),
        Question(
            "Is my table of rates that mix still any good?",
            (
                Show("forecast examples/water-decides.toml --water soft.toml"),
                Show("forecast examples/water-decides.toml"),
            ),
            reading="The same rates in two waters: a table holds for its own water and spray "
            "volume only.",
        ),
    ),
    "At season's end": (
        Question(
            "What went on each area, in N-P-K per 1000 sq ft or per acre?",
            (Show("forecast examples/five-products.toml", NUTRIENTS),),
            reading="What one tank puts on its area. Times 43.56 for lb per acre.",
            not_yet="a list of the whole season, area by area.",
        ),
        Question(
            "Part-full jugs stand in the shed all winter. How cold before they freeze or drop "
            "salt?",
            (
                Show("label urea-liquor --coldest 20F", "IN THE COLD"),
                Show("label calcium-chloride-liquor --coldest 20F", "IN THE COLD"),
            ),
            reading="Salt first or ice first, whichever comes at the warmer temperature; where no "
            "measured table holds, the sheet says so.",
        ),
        Question(
            "Which mixes worked in my water this year, for me to print?",
            (Show('saw examples/stays-clear.toml --seen clear --after 4h --ph 5.8 --note ""'),),
            reading="Each look is kept with the whole mix as poured. `jarsight notebook wall` "
            "prints what worked, what didn't and what was not tried; `--html FILE` makes it a "
            "page.",
        ),
        Question(
            "Must I keep this record for the state, and how long?",
            not_ours="what must be written down, and for how many years, differs by state. States "
            "that ask for it commonly want who sprayed, site, area, date, product and analysis, "
            "rate and total, the weather, kept 3 years (Maryland, COMAR 15.20.10.13; Virginia, 2 "
            "VAC 5-405-100; Ohio, Administrative Code 901:5-4-04; Massachusetts, 330 CMR 31.07)",
        ),
        Question(
            "Which product had I better not buy again?",
            (
                Show(f"shelf --in demo --water soft {AT_2_GAL}", "WHO QUARRELS MOST"),
                Show("why examples/calcium-and-potash.toml"),
                Show(
                    "fix examples/calcium-and-potash.toml --in data/demo/products",
                    "ANOTHER PRODUCT",
                ),
            ),
            reading="Who quarrels with most of the shelf; for one mix, what clouds it, from which "
            "jug, and which of the folder would not.",
        ),
    ),
}


@cache
def run(command: str) -> str:
    """What a command prints, run in the repository's folder; what it keeps goes to a scratch one.

    Raises: RuntimeError where it fails.
    """
    with tempfile.TemporaryDirectory() as scratch:
        done = subprocess.run(
            [sys.executable, "-m", "chem", *shlex.split(command)],
            capture_output=True,
            text=True,
            cwd=ROOT,
            check=False,
            env=os.environ
            | {"PYTHONPATH": str(ROOT), "JARSIGHT_DATA": scratch, "JARSIGHT_CACHE": scratch},
        )
        if done.returncode:
            raise RuntimeError(f"jarsight {command}: {done.stderr}")
        return done.stdout.replace(scratch, "YOUR-DATA-FOLDER")


def excerpt(output: str, show: Show) -> list[str]:
    """The lines that answer. Raises: ValueError where the part or its entries are missing."""
    lines = output.splitlines()
    if show.block:
        start = lines.index(show.block)
    elif len(lines) > 1 and set(lines[1]) == {"="}:
        start = 1
    else:
        start = -1
    part = []
    for line in lines[start + 1 :]:
        if not line.strip():
            break
        part.append(line.rstrip())
    if show.about:
        entries: list[list[str]] = []
        for line in part:
            if entries and line.startswith("  "):
                entries[-1].append(line)
            else:
                entries.append([line])
        part = [
            line
            for entry in entries
            if any(word in " ".join(entry) + " " for word in show.about)
            for line in entry
        ]
    if not part:
        raise ValueError(f"nothing about {show.about} in {show.block!r} of `{show.command}`")
    return ([show.block] if show.block else []) + part[: show.lines]


def answer(question: Question) -> list[str]:
    """A question's part of the page."""
    if question.not_ours:
        return [f"{NOT_OURS}: {question.not_ours}."]
    out: list[str] = []
    last = ""
    for show in question.shown:
        text = excerpt(run(show.command), show)
        if show.command == last:
            out[-1:] = ["", *text, "```"]
        else:
            out += ["```console", f"$ jarsight {show.command}", *text, "```"]
        last = show.command
    if question.reading:
        out += ["", question.reading]
    if question.not_yet:
        out += ["", f"{NOT_YET}: {question.not_yet}"]
    return out


def table() -> str:
    """Every question in one table, with what answers it."""
    rows = ["| | question | answered by |", "|---|---|---|"]
    every = [question for questions in GROUPS.values() for question in questions]
    for number, question in enumerate(every, start=1):
        commands = dict.fromkeys(show.command.split()[0] for show in question.shown)
        by = ", ".join(f"`jarsight {c}`" for c in commands) or "your state or local authority"
        rows.append(f"| {number} | {question.text} | {by} |")
    return "\n".join(rows) + "\n"


def page() -> str:
    """The page as text."""
    text = f"{INTRODUCTION}\n{table()}"
    number = 0
    for group, questions in GROUPS.items():
        text += f"\n## {group}\n"
        for question in questions:
            number += 1
            text += f"\n### {number}. {question.text}\n\n" + "\n".join(answer(question)) + "\n"
    return text


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
