"""Figures in columns, given the units that a label prints once above them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

_BASIS = r"(?:w/w|w/v|m/m|m/v)"
_MASS_IN = r"m?g\s?/\s?(?:kg|l)"
_UNIT = (
    rf"(?:%(?:\s?\(?{_BASIS}\)?)?|{_MASS_IN}(?:\s?\({_BASIS}\))?|"
    rf"(?<![\w/]){_BASIS}(?:\s?%|\s?\((?:%|{_MASS_IN})\))?)"
)
_UNITS_ABOVE = re.compile(rf"(?:^|(?<=[\s(]))\(?(?P<units>{_UNIT}(?:[\s|/,]+{_UNIT})*)\)?$", re.I)
_UNITS_NAMED = re.compile(
    rf"^[^%]*\s\(?(?P<one>{_UNIT})\)?\s+[^\W\d]+\s+\(?(?P<two>{_UNIT})\)?$", re.IGNORECASE
)
"""`Nutrient  content % (w/w)  content g/L`."""

_UNIT_IN_HEAD = re.compile(
    rf"^[^0-9:;]*?\(?(?P<unit>{_UNIT}|% by (?:mass|weight|volume))\)?\s*:\s*(?P<rest>.*[0-9].*)$",
    re.IGNORECASE,
)
_FIGURE = r"[0-9]+(?:[.,][0-9]+)?"
_ALONE = re.compile(
    rf"(?<=[A-Za-z)\s]){_FIGURE}(?=\s*(?:;|$)|,?\s+[A-Z(]|\s+-\s)(?!\s+[A-Z]/)", re.ASCII
)
_PAIRED_HEAD = re.compile(r"%?\s?w/w\s?\(%?\s?w/v\)")
_PAIR = re.compile(rf"(?P<one>{_FIGURE}\s?%)\s?\((?P<two>{_FIGURE}\s?%)\)")
"""`3 % (4.1 %)` under a heading that names both bases, as Regulation (EU) 2019/1009 allows."""

_BY_BOTH = re.compile(
    rf"(?P<one>{_FIGURE}\s?%) by (?:mass|weight) \((?P<two>{_FIGURE}\s?%) by volume\)",
    re.IGNORECASE,
)

MARK = "\x1d"
"""Parts statements of their own on one row."""

_PARTED = (
    re.compile(r"\s*\|\s*"),
    re.compile("\\s+[\u00b7\u2022\u2219\u22c5]\\s+"),
    re.compile(
        r"\s+/\s+(?=[^\W\d_])"
        r"(?!(?:ha|hectares?|acre|ac|[aAM]|l|hl|ml|m2|gal|lit\w*|lts?|kg|lbs?)\b)"
    ),
)
_OF_ITS_OWN = re.compile(r"(?=.*[^\W\d_]).*(?<![\w.,-])[0-9]")
_KEYED = re.compile(r"\s*[^\W\d][^:;]{1,40}:\s?\S")
_SCHEDULE = re.compile(
    r"^(?P<name>(?:[^%]*[^0-9%\s])?)\s*,?\s*(?:%|\bper ?cent\b) ?"
    r"(?:w/w|by weight|by mass|by wt)\b\.?(?P<more>[^0-9%]*?)[\s:=|.-]+"
    r"(?P<figure>[0-9]+(?:[.,][0-9]+)?)\s*(?:\(?(?P<end>min|max)(?:imum)?\b\.?\)?)?\s*$",
    re.IGNORECASE,
)
"""`Zinc, per cent by weight, as sulphate 6.0`, the style of Indian schedules."""

_FORMS_ABOVE = re.compile(
    r"(?<=[%vwlg])\)?\s+(?:form|source|as|from|derived from|present as)s?$", re.IGNORECASE
)
_FORM = re.compile(r"\s(?P<figure>[0-9.,]+)\s+(?P<form>[^\d]*[^\W\d_][^\d]*)$")
"""A third column, `Iron  0.15  EDTA` below `Element  % w/v  Form`."""

_AGENT = re.compile(r"(?:o,[op]-)?(?:edta|dtpa|hedta|eddha)", re.IGNORECASE)
_BARE = re.compile(
    r"(?P<name>.*(?:[A-Za-z)\]]|(?<=[A-Za-z])[0-9]))[\s:.]+"
    r"(?P<figures>[0-9.,]+(?:\s?%)?(?:\s+[0-9.,]+(?:\s?%)?)*)"
    r"(?:\s\((?P<of>[0-9.,]+) (?P<as>[A-Z][A-Za-z0-9]*)\))?$"
)
_ASIDE = re.compile(
    r"(?P<first>[0-9.,]+)\s*(?P<aside>\([0-9.,]+ [A-Z][A-Za-z0-9]*\))(?P<more>(?:\s+[0-9.,]+)+)$"
)
"""`2.0 (0.87 P)  2.4`: the element in brackets between the figures of two columns."""


def statements_of(row: str) -> list[str]:
    """A row parted at bars, bullets, slashes or semicolons where every part has its own figure."""
    for between in _PARTED:
        parts = between.split(row)
        if len(parts) > 1 and all(map(_OF_ITS_OWN.match, parts)):
            return [one for part in parts for one in statements_of(part)]
    parts = row.split(";")
    if len(parts) > 1 and all(map(_KEYED.match, parts)):
        return parts
    cells = re.split(r"\s{2,}", row.strip())
    scheduled = [_as_share(cell) for cell in cells]
    return scheduled if scheduled != cells else [row]


def _as_share(cell: str) -> str:
    """`Zinc % w/w 6.0 (min)` -> `Zinc min 6.0 % w/w`."""
    return _SCHEDULE.sub(
        lambda m: f"{m['name']}{m['more']} {m['end'] or ''} {m['figure']} % w/w", cell
    )


def with_units(rows: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Each row, its bare figures with the units that stand above; and what was said of its form."""
    units: list[str] = []
    paired = formed = False
    for row in rows:
        over = _UNIT_IN_HEAD.match(row)
        if over and _ALONE.search(over["rest"]):
            yield _ALONE.sub(rf"\g<0> {_whole(over['unit'])}", over["rest"]), ""
            continue
        words, note = _BY_BOTH.sub(r"\g<one> w/w (\g<two> w/v)", row), ""
        if _PAIRED_HEAD.search(words):
            paired = True
        elif paired:
            words = _PAIR.sub(r"\g<one> w/w (\g<two> w/v)", words)
        above = _FORMS_ABOVE.search(words)
        formed = bool(above) or (formed and bool(words))
        form = _FORM.search(words) if formed and not above else None
        if form:
            agent = f" as {form['form']}" if _AGENT.fullmatch(form["form"]) else ""
            words = f"{words[: form.start()]}{agent} {form['figure']}"
            note = f"`{form['form']}` is its form"
        over_columns = words[: above.start()] if above else words
        named = None if re.search(r"[0-9]", words) else _UNITS_NAMED.match(over_columns)
        over_columns = f" {named['one']} {named['two']}" if named else over_columns
        head = None if re.search(r"[0-9]", words) else _UNITS_ABOVE.search(over_columns)
        if head:
            units = [_whole(u) for u in re.findall(_UNIT, head["units"], re.IGNORECASE)]
            units = [] if len(units) == 1 and units[0][0] == "%" and not formed else units
        given = None if head or not units else _given(words, units)
        units = units if head or given or not words or len(units) > 1 else []
        yield given or words, note


def _given(words: str, units: Sequence[str]) -> str | None:
    """A row's figures with their units, where there are as many."""
    plain = _ASIDE.sub(r"\g<first>\g<more> \g<aside>", words) if len(units) > 1 else words
    found = _BARE.fullmatch(plain)
    if found is None:
        return None
    figures = re.findall(r"[0-9.,]+", found["figures"])
    own = len(units) > 1 and all(unit.startswith("% ") for unit in units)
    if len(figures) != len(units) or ("%" in found["figures"] and not own):
        return None
    given = " ".join(f"{f} {u}" for f, u in zip(figures, units, strict=True))
    aside = f" ({found['of']} {units[0]} {found['as']})" if found["of"] else ""
    return f"{found['name']} {given}{aside}"


def _whole(unit: str) -> str:
    """`w/v` over a column as `% w/v`, `w/v (g/L)` as `g/L`."""
    mass, basis = (re.search(part, unit, re.IGNORECASE) for part in (_MASS_IN, _BASIS))
    return mass[0] if mass else f"% {basis[0]}" if basis else unit
