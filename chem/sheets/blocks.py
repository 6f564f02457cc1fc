"""A sheet as blocks: what the terminal, the page and the text message are all written from."""

from __future__ import annotations

import html
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, field

WIDTH = 60


@dataclass(frozen=True)
class Block:
    """A titled group: paragraphs, list items and rows of a table (first row its header).

    columns_named: whether a table too wide for the sheet names its column before each cell.
    """

    title: str = ""
    paragraphs: Sequence[str] = ()
    items: Sequence[str] = ()
    rows: Sequence[Sequence[str]] = field(default=())
    columns_named: bool = False


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
        for text in cells if named else [", ".join(cells)]:
            lines += textwrap.wrap(text, WIDTH, initial_indent="    ", subsequent_indent="    ")
    return lines


_PAGE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<style>
@page {{ margin: 12mm; }}
body {{ font: 16pt/1.35 sans-serif; color: #000; background: #fff; max-width: 40em;
  margin: 0 auto; padding: 0.5em; }}
h1 {{ font-size: 1em; margin: 0; }}
h2 {{ font-size: 1em; margin: 0.7em 0 0.1em; border-top: 1px solid #000; }}
p, ul {{ margin: 0.2em 0; }}
ul {{ padding-left: 1.1em; }}
.answer p {{ font-size: 1.35em; font-weight: bold; }}
table {{ border-collapse: collapse; width: 100%; }}
td, th {{ text-align: left; padding: 0.1em 0.6em 0.1em 0; vertical-align: top;
  border-bottom: 1px solid #000; font-weight: normal; }}
@media print {{ body {{ font-size: {print_pt}pt; line-height: 1.2; max-width: none; }}
  ul.run, ul.run li {{ display: inline; padding: 0; }} }}
</style>
</head>
<body>
<h1>{title}</h1>
<div class="answer">{answer}</div>
{blocks}
</body>
</html>
"""


def as_html(sheet: Sheet) -> str:
    """The same sheet as one plain offline page: 16 pt, black on white, phone width, one page."""
    lines = as_text(sheet).count("\n")
    blocks = []
    for block in sheet.blocks:
        if block.title:
            blocks.append(f"<h2>{html.escape(block.title)}</h2>")
        blocks += [f"<p>{html.escape(p)}</p>" for p in block.paragraphs]
        if block.items:
            items = "".join(f"<li>{html.escape(i)}</li>" for i in block.items)
            blocks.append(f"<ul>{items}</ul>")
        if block.rows:
            cells = [
                "<tr>" + "".join(f"<{tag}>{html.escape(c)}</{tag}>" for c in row) + "</tr>"
                for tag, row in zip(
                    ["th", *["td"] * (len(block.rows) - 1)], block.rows, strict=True
                )
            ]
            blocks.append("<table>" + "".join(cells) + "</table>")
    return _PAGE.format(
        title=html.escape(sheet.heading),
        answer="".join(f"<p>{html.escape(a)}</p>" for a in sheet.answer),
        blocks="\n".join(blocks),
        print_pt=_print_size(lines),
    )


def _print_size(lines: int) -> float:
    """Print size [pt] at which a sheet of so many terminal lines fits one page.

    A4 and Letter leave about 255 mm of height; a line is 1.2 times its size (1 pt = 0.353 mm) and
    a page's line holds about as much as two of the terminal's 60 columns at 8 pt.
    """
    return max(7.0, min(16.0, 255.0 / (0.353 * 1.2 * max(lines, 1))))
