"""Labels of twenty-two countries, scored: figures right, asked, lost and silently wrong.

The texts in `labels/world/` are invented; what a careful person would copy was written beside each
before any reader saw it. Half of them, `apart`, were kept aside while the reader was mended.
Read blind, the apart half of the first `*_more.toml` scored 90.7 of 100, `last_seen.toml` 86.0,
`ten_more.toml` 93.2, and that of `sixty_*.toml` 94.1 (ordinary 95.2, nasty 91.1, none silently
wrong; its open half 90.4 with one). What they showed was mended then: none is unseen any more.
"""

from __future__ import annotations

import os
import random
import re
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from test_printed_law import AS_NUMBER, SLIPS, facts, same, spoilt

from chem.errors import InputProblem
from chem.label.paste import Pasted, read_paste
from chem.label.printed.derived import find_source
from chem.label.product import NITROGEN_FORMS
from chem.reference import catalogue

FOLDER = Path(__file__).parent / "labels" / "world"
NAME = "A label, invented"
ROUNDED = 0.03
"""Relative; labels round an oxide into its element and kilograms into pounds."""

NEUTRAL = ("also ", "carrier", "usual_rate", "rate_range", "never_with", "ph_at", "basis")
"""Facts that a label prints and that no one need copy."""

SILENT = 0.005
"""Of spoilt texts at most; measured, no source."""

READ = ("also ", "ingredient", "source", "its rule", "pH", "usual_rate", "rate_range", "net_")
"""What a line that may be reported may be read as instead."""

KNOWN = ("another usual rate", "another rate range", "nothing that a product file holds")
"""Why a line that may be reported may be left out instead: what it says was understood."""


def labels(apart: bool | None = None) -> list[dict[str, Any]]:
    every = (
        label
        for path in sorted(FOLDER.glob("*.toml"))
        for label in tomllib.loads(path.read_text(encoding="utf-8"))["label"]
    )
    return [one for one in every if apart is None or one.get("apart", False) == apart]


def wanted_of(label: dict[str, Any]) -> dict[str, Any]:
    """The label's facts as a product file gives them."""
    every = label["facts"].items()
    return as_elements({key: _as_kept(key, value) for key, value in every if key != "sources"})


def _as_kept(key: str, value: Any) -> Any:
    if key in AS_NUMBER:
        return AS_NUMBER[key](value, "label")
    if key == "ph" and "-" not in str(value):
        return str(float(value))
    return float(value) if key == "specific_gravity" else value


def as_elements(found: dict[str, Any]) -> dict[str, Any]:
    """Oxides and elements under the line that guarantees the same; gravities as densities."""
    out: dict[str, Any] = {}
    for key, value in found.items():
        part, name = ("chelated ", key[9:]) if key.startswith("chelated ") else ("", key)
        line = catalogue().guarantees.get(name)
        if line is not None and line.same_as is not None and not isinstance(value, str):
            other = catalogue().guarantees[line.same_as]
            out[part + line.same_as] = value * other.grams_per_mole / line.grams_per_mole
        elif key == "specific_gravity":
            out["density"] = (value, value)
        elif key == "ph" and "-" in str(value):
            low, high = str(value).split("-")
            out[key] = (float(low), float(high))
        else:
            out[key] = value
    return out


@dataclass
class Score:
    """Figures of a label: all, right, asked, silently lost, silently wrong; what went amiss."""

    figures: int = 0
    right: int = 0
    asked: int = 0
    lost: int = 0
    wrong: int = 0
    amiss: list[str] = field(default_factory=list)

    def add(self, other: Score) -> None:
        for name in ("figures", "right", "asked", "lost", "wrong"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.amiss += other.amiss

    @property
    def of_100(self) -> float:
        return 100.0 * (self.right + self.asked / 2 - 2 * self.wrong) / self.figures


def _never(word: str) -> str:
    return word.lower().replace("ph", "f").replace("sulf", "sul")[:5]


def score_of(label: dict[str, Any]) -> Score:
    wanted = wanted_of(label)
    told, rows = label.get("reported", {}), label["text"].split("\n")
    out = Score(figures=len(wanted) + len(told) + len(label["facts"].get("sources", ())))
    head = f"{label['country']} {label['text'].strip().splitlines()[0][:40]!r}"
    try:
        pasted = read_paste(label["text"], NAME)
    except InputProblem as problem:
        out.lost = out.figures
        out.amiss.append(f"{head}: refused whole: {problem}")
        return out
    got = as_elements(facts(pasted.form))
    asked = _asked(pasted)
    for key, value in wanted.items():
        if key == "never_with":
            every = pasted.form.get("says", {}).get("never_with", [])
            good = any(_never(value) == _never(one) for one in every)
        else:
            good = key in got and same(value, got[key], ROUNDED)
        printed = _printed(label["facts"], key)
        if good:
            out.right += 1
            continue
        kind = "wrong" if key in got and key != "never_with" else "lost"
        if any(p in asked for p in printed) and printed:
            kind = "asked"
        setattr(out, kind, getattr(out, kind) + 1)
        out.amiss.append(f"{head} {key}: wanted {value}, got {got.get(key)} ({kind})")
    for key in got.keys() - wanted.keys():
        if key.startswith("chelated ") and same(got[key], got.get(key[9:]), 1e-9):
            continue
        if not key.startswith(NEUTRAL):
            out.wrong += 1
            out.amiss.append(f"{head} {key}: not on the label, got {got[key]}")
    listed = pasted.form.get("sources", [])
    for source in label["facts"].get("sources", ()):
        held = any(find_source(source) == find_source(one) for one in listed)
        kind = "right" if held else "asked" if source.split()[0] in asked else "lost"
        setattr(out, kind, getattr(out, kind) + 1)
        if not held:
            out.amiss.append(f"{head} source `{source}`: got {listed} ({kind})")
    for part, kind in told.items():
        entries = [u for u in pasted.form.get("unread", []) if part in u["text"]]
        read = any(
            part in rows[u.line_number - 1] and u.meaning.startswith(READ)
            for u in pasted.understood
        ) or any(
            part in rows[i.line_number - 1] and i.reason.startswith(KNOWN) for i in pasted.ignored
        )
        if any(u["kind"] == kind for u in entries):
            out.right += 1
        elif entries or read:
            out.right += read
            out.asked += not read
            if not read:
                out.amiss.append(f"{head} `{part}` is {[u['kind'] for u in entries]}, not {kind}")
        else:
            out.lost += 1
            out.amiss.append(f"{head} `{part}` is not reported ({kind})")
    for part in label.get("care", {}).get("lines", ()):
        if any(part in u["text"] for u in pasted.form.get("unread", [])):
            out.amiss.append(f"{head} `{part}` is care, and asked")
    return out


def _asked(pasted: Pasted) -> str:
    said = [f"{e.line} {' '.join(e.near)}" for e in pasted.not_understood]
    return " ".join([*said, *pasted.problems]).replace(",", ".").lower()


def _printed(given: dict[str, Any], key: str) -> list[str]:
    """How a fact stands in the text, for finding it among what is asked."""
    names = [key] + [
        one
        for one, line in catalogue().guarantees.items()
        if line.same_as == key.removeprefix("chelated ")
    ]
    if key == "density":
        names.append("specific_gravity")
    held = next((given[n] for n in names if n in given), "")
    first = str(held).split(" ")[0].split("-")[0].removesuffix(".0")
    out = [first] if first else []
    if isinstance(held, float):
        out += [f"{10 * held:g}", f"{10000 * held:g}"]
    return out


def score(some: Sequence[dict[str, Any]]) -> tuple[Score, dict[str, Score]]:
    whole, by_country = Score(), {}
    for label in some:
        one = score_of(label)
        whole.add(one)
        by_country.setdefault(label["country"], Score()).add(one)
    return whole, by_country


@cache
def scored(apart: bool) -> tuple[Score, dict[str, Score]]:
    return score(labels(apart))


@pytest.mark.parametrize(("apart", "least"), [(False, 97.0), (True, 96.0)])
def test_labels_of_the_world_are_read_or_asked(apart: bool, least: float) -> None:
    whole, by_country = scored(apart)
    assert whole.wrong == 0, whole.amiss
    assert whole.of_100 >= least, whole.amiss
    assert min(one.of_100 for one in by_country.values()) >= 88.0, whole.amiss


ASKED = FOLDER / "asked.txt"
"""Facts that labels leave to be asked, as `test_label_world.py asked` prints them."""


def amiss_heads() -> list[str]:
    amiss = [a for apart in (False, True) for a in scored(apart)[0].amiss]
    return [re.sub(r": (wanted|not on the label|refused).*", "", a) for a in amiss]


def test_what_was_read_of_a_label_stays_read() -> None:
    lost = set(amiss_heads()) - set(ASKED.read_text(encoding="utf-8").splitlines())
    assert not lost


# Spoilt texts


def _letters_swapped(line: str, dice: random.Random) -> str:
    at = [m.start() for m in re.finditer(r"(?=[^\W\d_]{2})", line)]
    i = dice.choice(at) if at else len(line)
    return line[:i] + line[i + 1 : i + 2] + line[i : i + 1] + line[i + 2 :]


def _run_together(line: str, dice: random.Random) -> str:
    """The mark of a lost line break, put out below."""
    return line + LOST_BREAK


LOST_BREAK = "\x00"
WORSE: Sequence[Callable[[str, random.Random], str]] = (*SLIPS, _letters_swapped, _run_together)


def silent_changes(count: int, seed: int) -> list[str]:
    """What changed in spoilt texts without a word; any error but a refusal escapes."""
    dice, some = random.Random(seed), labels()
    out = []
    for n in range(count):
        label = some[n % len(some)]
        text = spoilt(label["text"], dice, WORSE).replace(f"{LOST_BREAK}\n", " ")
        text = text.replace(LOST_BREAK, "")
        try:
            pasted = read_paste(text, NAME)
        except InputProblem:
            continue
        wanted, got, told = wanted_of(label), as_elements(facts(pasted.form)), _asked(pasted)
        for key, value in got.items():
            plain = key.removeprefix("chelated ")
            good = key in wanted and same(wanted[key], value, ROUNDED)
            if key.startswith(NEUTRAL) or good or plain in told:
                continue
            if plain in wanted and key not in wanted and same(wanted[plain], value, ROUNDED):
                continue
            if isinstance(value, float | int) and f"{value:g}" in told:
                continue
            forms = sum(wanted.get(form, 0.0) for form in NITROGEN_FORMS)
            if key == "total nitrogen" and key not in wanted and same(forms, value, ROUNDED):
                continue
            if got.get("basis") != wanted.get("basis") and _by_volume(wanted, plain, value):
                continue
            if key.endswith("nitrogen") and "its forms" in told:
                continue
            out.append(f"{n} {key}: {value} for {wanted.get(key)} in\n{text}")
    return out


def _by_volume(wanted: dict[str, Any], key: str, value: Any) -> bool:
    """Whether a figure is the label's other one, by volume, the one by weight being in doubt."""
    density = wanted.get("density", (0.0, 0.0))[0]
    return key in wanted and same(wanted[key] * density, value, ROUNDED)


def test_spoilt_labels_change_no_figure_silently() -> None:
    """Few: a letter lost in a name can leave another name. `SPOILT=2000` asks for more."""
    seed = int(os.environ.get("SPOILT_SEED", "3"))
    count = int(os.environ.get("SPOILT", "60"))
    changed = silent_changes(count, seed)
    print(f"seed {seed}, {count} texts, {len(changed)} silent")
    assert len(changed) <= SILENT * count, changed


if __name__ == "__main__":
    import sys

    if "asked" in sys.argv:
        print(*amiss_heads(), sep="\n")
        sys.exit()
    for apart in (False, True):
        if len(sys.argv) > 1 and str(apart) not in sys.argv:
            continue
        whole, by_country = score(labels(apart))
        print("apart" if apart else "open", f"{whole.of_100:.1f} of 100;", end=" ")
        print(*(f"{n} {getattr(whole, n)}" for n in ("figures", "right", "asked", "lost", "wrong")))
        print(*(f"{c} {s.of_100:.0f}" for c, s in by_country.items()))
        if not apart or "show" in sys.argv:
            print(*whole.amiss, sep="\n")
