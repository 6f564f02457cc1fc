"""A whole page: self-contained and offline, for phone, desk and print."""

from __future__ import annotations

import base64
import hashlib
from datetime import datetime
from functools import cache
from pathlib import Path

from chem.reference.fingerprint import fingerprint
from chem.sheets.blocks import Block, Sheet
from chem.sheets.page.parts import answer, safe, section

FIRST = ("stop", "gas", "next")
_PAGE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="generator" content="jarsight">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<title>{title}</title>
<style>{style}</style>
</head>
<body>
<main>
{body}
</main>{script}
</body>
</html>
"""


@cache
def _beside(name: str) -> str:
    return (Path(__file__).parent / name).read_text(encoding="utf-8").strip()


def page(title: str, body: str, *, script: bool = False) -> str:
    """The page around a body; nothing is fetched, nothing but our own style and script runs."""
    style, code = _beside("page.css"), _beside("page.js")
    return _PAGE.format(
        title=safe(title),
        policy=policy(script=script),
        style=style,
        body=body,
        script=f"\n<script>{code}</script>" if script else "",
    )


def policy(*, script: bool = False) -> str:
    """The Content Security Policy of a page."""
    own = f"default-src 'none'; style-src 'sha256-{_hash(_beside('page.css'))}'"
    return own + (f"; script-src 'sha256-{_hash(_beside('page.js'))}'" if script else "")


def _hash(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def stamp(made: datetime, number: str = "") -> str:
    """Date, what it was made with, and the sheet's number or a place for one."""
    with_ = fingerprint()
    words = f"jarsight {with_['jarsight']}, data {with_['data'][:8]}"
    day = f"{made.day} {made:%b %Y, %H:%M}"
    own = f"<b>{safe(number)}</b>" if number else '<span>No. <span class="rule"></span></span>'
    return f'<p class="stamp"><span>{day}</span><span>{safe(words)}</span>{own}</p>'


def head(sheet: Sheet, made: datetime, number: str = "", under: str = "") -> str:
    """What a phone shows first: name, answer, what forbids it, what to do next."""
    first = [b for kind in FIRST for b in sheet.blocks if b.kind == kind and b.told]
    below = f'<p class="sub">{safe(under)}</p>' if under else ""
    return "\n".join(
        [
            stamp(made, number),
            f"<h1>{safe(sheet.heading)}</h1>{below}",
            answer(sheet.answer),
            '<div class="first">',
            *map(section, first),
            "</div>",
        ]
    )


def rest(sheet: Sheet) -> list[Block]:
    """The blocks that `head` leaves."""
    return [b for b in sheet.blocks if b.kind not in FIRST]


def flow(parts: list[str]) -> str:
    """Sections in one column on a phone, in two where there is room."""
    return '<div class="flow">\n' + "\n".join(parts) + "\n</div>"


def as_html(sheet: Sheet, made: datetime | None = None, number: str = "") -> str:
    """Any sheet as a page."""
    made = datetime.now() if made is None else made
    *blocks, last = rest(sheet) or [Block()]
    ending = not last.title
    parts = [section(b) for b in (blocks if ending else [*blocks, last])]
    end = section(Block(paragraphs=last.paragraphs, kind="last")) if ending else ""
    return page(sheet.heading, "\n".join([head(sheet, made, number), flow(parts), end]))
