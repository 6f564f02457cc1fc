"""Labels by the customs of fourteen countries, every fact scored, every figure traced.

The texts in `labels/law/` are invented and follow each country's law and label custom; beside each
stands what a careful person would copy, written before any reader saw it. A score counts a figure
right 1, asked 1/2, silently wrong -2: a fact that the label doesn't print is silently wrong too.
"""

from __future__ import annotations

import tomllib
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from typing import Any

from chem.errors import InputProblem
from chem.label.paste import Pasted, read_paste
from chem.units import (
    read_carrier,
    read_density_range,
    read_mass,
    read_rate_range,
    read_volume,
)

FOLDER = Path(__file__).parent / "labels" / "law"
TEXTS = sorted(FOLDER.glob("*.txt"))
NAME = "A label, invented"

AS_NUMBER: dict[str, Callable[[str, str], Any]] = {
    "density": read_density_range,
    "net_weight": read_mass,
    "net_volume": read_volume,
    "usual_rate": read_rate_range,
    "rate_range": read_rate_range,
    "carrier_at_least": read_carrier,
    "carrier_at_most": read_carrier,
}
FACTS = (*AS_NUMBER, "specific_gravity", "ph", "ph_at", "basis", "pour", "never_with")


def facts(form: dict[str, Any]) -> dict[str, Any]:
    """Every fact of a product file by one flat key, in numbers where it has a unit."""
    out: dict[str, Any] = {}
    for key in FACTS:
        value = form.get(key, form.get("says", {}).get(key))
        if value is None or value == "unknown":
            continue
        if key in AS_NUMBER:
            value = AS_NUMBER[key](value, "label")
        elif key == "ph":
            value = str(float(value)) if "-" not in str(value) else value
        elif key == "specific_gravity":
            value = float(value)
        elif key == "never_with":
            value = value[0] if isinstance(value, list) else value
        out[key] = value
    for key, percent in form.get("guarantee", {}).items():
        out[key] = percent
    for key, part in form.get("chelated", {}).items():
        out[f"chelated {key}"] = part["percent"] if isinstance(part, dict) else part
    for key, percent in form.get("also", {}).items():
        out[f"also {key}"] = percent
    return out


def same(wanted: Any, got: Any) -> bool:
    if isinstance(wanted, tuple):
        return all(same(a, b) for a, b in zip(wanted, got, strict=True))
    if hasattr(wanted, "value"):
        return type(wanted) is type(got) and same(wanted.value, got.value)
    if isinstance(wanted, float | int) and isinstance(got, float | int):
        return abs(wanted - got) <= 1e-6 * abs(wanted)
    return bool(wanted == got)


def printed(form: dict[str, Any], key: str) -> str:
    """How a wanted fact stands in its file, for finding it among what is asked."""
    name = key.removeprefix("chelated ")
    held = form.get("chelated" if name != key else "guarantee", {}).get(name)
    if held is None:
        held = form.get(key, form.get("says", {}).get(key, ""))
    return str(held).split(" ")[0].split("-")[0].removesuffix(".0")


def marks(path: Path) -> tuple[int, int, int, int, list[str]]:
    """Figures, right, asked and silently wrong of one label, and what went amiss."""
    wanted_form = tomllib.loads(path.with_suffix(".toml").read_text(encoding="utf-8"))
    wanted = facts(wanted_form)
    try:
        pasted = read_paste(path.read_text(encoding="utf-8"), NAME)
    except InputProblem:
        return len(wanted), 0, 0, 0, [f"{path.stem}: refused whole"]
    got = facts(pasted.form)
    asked_of = " ".join(f"{e.line} {' '.join(e.near)}" for e in pasted.not_understood)
    asked_of = f"{asked_of} {' '.join(pasted.problems)}".replace(",", ".").lower()
    right = asked = wrong = 0
    amiss = []
    for key, value in wanted.items():
        if key in got and same(value, got[key]):
            right += 1
            continue
        if key in got:
            wrong += 1
        elif printed(wanted_form, key).lower() in asked_of:
            asked += 1
        amiss.append(f"{path.stem} {key}: wanted {value}, got {got.get(key)}")
    for key in got.keys() - wanted.keys():
        wrong += 1
        amiss.append(f"{path.stem} {key}: not on the label, got {got[key]}")
    return len(wanted), right, asked, wrong, amiss


def scores() -> tuple[dict[str, float], int, list[str]]:
    """Score of 100 per country and in all; silently wrong figures; what went amiss."""
    sums: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    told: list[str] = []
    for path in TEXTS:
        country = tomllib.loads(path.with_suffix(".toml").read_text(encoding="utf-8"))["country"]
        *counts, amiss = marks(path)
        told += amiss
        for key in (country, "all"):
            sums[key] = [a + b for a, b in zip(sums[key], counts, strict=True)]
    out = {k: 100.0 * (r + a / 2 - 2 * w) / n for k, (n, r, a, w) in sums.items()}
    return out, sums["all"][3], told


if __name__ == "__main__":
    by_country, silent, amiss = scores()
    print(*(f"{country}: {value:.1f}" for country, value in by_country.items()), sep="\n")
    print(f"silently wrong: {silent}", *amiss, sep="\n")
