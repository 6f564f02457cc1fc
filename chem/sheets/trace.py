"""A trace as an indented walk, 80 columns, and as JSON."""

from __future__ import annotations

import textwrap

from chem.laboratory.trace import Step, Trace
from chem.sheets.as_json import as_json
from chem.sheets.contract import laboratory as contract

WIDTH = 80


def trace_text(walk: Trace) -> str:
    """The walk, each level two blanks further in; the source under what it stands for."""
    lines = [f"{walk.mix}: {walk.what}", *walk.notes, ""]
    _write(walk.step, 0, lines)
    return "\n".join(lines) + "\n"


def trace_json(walk: Trace) -> str:
    """The walk as one object."""
    return as_json(
        contract.Trace(
            mix=walk.mix,
            what=walk.what,
            value=walk.step.value,
            trace=_step_entry(walk.step),
            notes=walk.notes,
        )
    )


def _step_entry(step: Step) -> contract.StepEntry:
    return contract.StepEntry(
        text=step.text,
        value=step.value,
        unit=step.unit,
        source=step.source,
        parts=[_step_entry(p) for p in step.parts],
    )


def _write(step: Step, depth: int, lines: list[str]) -> None:
    indent = "  " * depth
    text = step.text
    if step.value is not None:
        text += f" = {step.value:.5g}{' ' + step.unit if step.unit else ''}"
    lines += textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent + "    ")
    if step.source:
        lines += textwrap.wrap(
            f"source: {step.source}",
            WIDTH,
            initial_indent=indent + "    ",
            subsequent_indent=indent + "    ",
        )
    for part in step.parts:
        _write(part, depth + 1, lines)
