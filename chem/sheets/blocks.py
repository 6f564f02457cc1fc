"""A sheet as blocks: what the terminal and the page are both written from."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

WIDTH = 60
BLANK = "________"
"""A cell to be written into by hand."""


@dataclass(frozen=True)
class Block:
    """A titled group: paragraphs, list items and rows of a table (first row its header).

    columns_named: whether a table too wide for the sheet names its column before each cell;
    kind: `stop` (a rule), `gas` (or heat), `next` (what to do now) or none; picture: what a page
    shows in place of the rows.
    """

    title: str = ""
    paragraphs: Sequence[str] = ()
    items: Sequence[str] = ()
    rows: Sequence[Sequence[str]] = field(default=())
    columns_named: bool = False
    kind: str = ""
    picture: Callable[[], str] | None = None

    @property
    def told(self) -> bool:
        """Whether it holds any words."""
        return bool(self.paragraphs or self.items or self.rows)


@dataclass(frozen=True)
class Sheet:
    """An answer in large print, then blocks in the order they are read."""

    heading: str
    answer: Sequence[str]
    blocks: Sequence[Block]


def as_text(sheet: Sheet) -> str:
    """The sheet for a terminal, 60 columns."""
    lines = textwrap.wrap(sheet.heading, WIDTH)
    lines.append("=" * max(map(len, lines), default=0))
    for sentence in sheet.answer:
        lines += textwrap.wrap(sentence, WIDTH)
    for block in sheet.blocks:
        if block.picture is not None and not block.told:
            continue
        lines.append("")
        if block.title:
            lines += textwrap.wrap(block.title.upper(), WIDTH)
        for paragraph in block.paragraphs:
            lines += textwrap.wrap(paragraph, WIDTH)
        for item in block.items:
            lines += textwrap.wrap(item, WIDTH, initial_indent="- ", subsequent_indent="  ")
        lines += _table(block.rows, named=block.columns_named)
    return "\n".join(lines) + "\n"


def _table(rows: Sequence[Sequence[str]], *, named: bool = False) -> list[str]:
    """Columns padded to their widest cell; a table wider than the sheet falls into lines."""
    if not rows:
        return []
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    if sum(widths) + 2 * (len(widths) - 1) <= WIDTH:
        return [
            "  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip()
            for row in rows
        ]
    lines: list[str] = []
    for row in rows[1:]:
        lines += textwrap.wrap(row[0], WIDTH)
        cells = [
            f"{head}: {cell}" if named else cell
            for head, cell in zip(rows[0][1:], row[1:], strict=True)
            if cell
        ]
        if cells == [BLANK] and len(row[0]) + 2 + len(BLANK) <= WIDTH:
            lines[-1] += f"  {BLANK}"
            continue
        for text in cells if named else [", ".join(cells)]:
            lines += textwrap.wrap(text, WIDTH, initial_indent="    ", subsequent_indent="    ")
    return lines
