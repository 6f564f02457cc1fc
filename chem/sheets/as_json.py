"""What the sheets of advice share: an object as JSON, and a chance told as under the threshold."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from textwrap import indent

from chem.sheets.contract.parts import Part


def as_json(data: Part) -> str:
    """An object of the contract as text, indented."""
    return json.dumps(data.model_dump(by_alias=True), indent=2, allow_nan=False)


def as_json_parts(data: Part, key: str, entries: Iterable[Part]) -> Iterator[str]:
    """An object as text, piece by piece: the entries of its list `key`, empty in `data`, are made
    as they are written."""
    before, _, after = as_json(data).partition(f'\n  "{key}": []')
    yield f'{before}\n  "{key}": ['
    end = "]"
    for entry in entries:
        yield f"{',' if end != ']' else ''}\n{indent(as_json(entry), '    ')}"
        end = "\n  ]"
    yield f"{end}{after}"


def odds_under(chance: float) -> str:
    """A chance known to be under 1 in 10, never rounded up to it."""
    return "under 1 in 20" if chance < 0.05 else "under 1 in 10"
