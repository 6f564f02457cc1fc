"""Entries that hold some words, and what the number of a sheet looks like."""

from __future__ import annotations

import re
from collections.abc import Sequence

from chem.notebook.entry import Entry


def search(entries: Sequence[Entry], words: Sequence[str]) -> list[Entry]:
    """Those in which every word stands somewhere: products, lots, site, words seen, note, number,
    day, id, initials."""
    wanted = [w.lower() for w in words]
    return [e for e in entries if all(w in _text(e) for w in wanted)]


def _text(entry: Entry) -> str:
    told = entry.sprayed.model_dump() if entry.sprayed is not None else {}
    parts = [
        entry.id, entry.by, entry.at, entry.number, entry.note, entry.kind, entry.mix.name,
        entry.mix.water, *entry.mix.order, *entry.mix.lots, *(s.word for s in entry.seen),
        *(v for v in told.values() if isinstance(v, str)),
    ]  # fmt: skip
    return "\n".join(p for p in parts if p).lower()


NUMBER = re.compile(r"J-(\d{4})-(\d+)", re.IGNORECASE)


def is_number(text: str) -> bool:
    """Whether a text is the number of a sheet, such as J-0412-2."""
    return NUMBER.fullmatch(text.strip()) is not None
