"""Parts of a page: from the blocks of a sheet to HTML, every text escaped."""

from __future__ import annotations

import html
from collections.abc import Iterable, Sequence

from chem.sheets.blocks import BLANK, Block

FEW_COLUMNS = 4
LONG_ANSWER = 90
SHORT_CELL = 14


def safe(text: str) -> str:
    """Text as HTML."""
    return html.escape(text, quote=True)


def answer(sentences: Sequence[str]) -> str:
    """The answer in large words, in smaller ones where it is long."""
    long = " long" if sentences and len(sentences[0]) > LONG_ANSWER else ""
    return f'<div class="answer{long}">{"".join(f"<p>{safe(s)}</p>" for s in sentences)}</div>'


def section(block: Block) -> str:
    """A block with its title, its picture in place of its rows."""
    inside = [f"<h2>{safe(block.title)}</h2>"] if block.title else []
    inside += [f"<p>{safe(p)}</p>" for p in block.paragraphs]
    if block.items:
        inside.append(listed(block.items))
    if block.picture is not None:
        inside.append(block.picture())
    elif block.rows:
        inside.append(table(block.rows, block.title))
    return wrapped("\n".join(inside), block.kind)


def wrapped(inside: str, kind: str = "") -> str:
    """A section of a kind that the style sheet knows."""
    named = f' class="{kind}"' if kind else ""
    return f"<section{named}>{inside}</section>"


def listed(items: Iterable[str]) -> str:
    """A list."""
    return "<ul>" + "".join(f"<li>{safe(i)}</li>" for i in items) + "</ul>"


def table(rows: Sequence[Sequence[str]], name: str) -> str:
    """A table, its first row the header, or lines as they stand where there is one column.

    A wide one scrolls by itself, reached by keyboard under its name.
    """
    if len(rows[0]) == 1:
        return "<pre>" + "\n".join(safe(row[0]) for row in rows) + "</pre>"
    head = "".join(f'<th scope="col">{safe(c)}</th>' if c else "<td></td>" for c in rows[0])
    body = "".join("<tr>" + "".join(map(_cell, row)) + "</tr>" for row in rows[1:])
    whole = f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
    if len(rows[0]) <= FEW_COLUMNS:
        return whole
    named = safe(name or "table")
    return f'<div class="wide" tabindex="0" role="region" aria-label="{named}">{whole}</div>'


def _cell(text: str) -> str:
    if text == BLANK:
        return '<td class="blank"></td>'
    short = ' class="short"' if len(text) <= SHORT_CELL else ""
    return f"<td{short}>{safe(text)}</td>"
