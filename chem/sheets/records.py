"""The words of the notebook's own pages: list, wall, season, score, next, check."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence

from chem.notebook.entry import Entry
from chem.notebook.readings import Asked
from chem.notebook.score import Score
from chem.notebook.season import FIRST, LB_PER_1000_SQ_FT, LB_PER_ACRE, Season, moment_of
from chem.notebook.store import Checked, Imported
from chem.notebook.wall import Next, Tried, Wall
from chem.sheets.as_json import as_json
from chem.sheets.blocks import Block, Sheet
from chem.sheets.contract import notebook as contract
from chem.sheets.notebook import day_of, seen_words
from chem.sheets.words import counted, odds

ASK = (
    "Kept as you told it. Rules that name what a spray record holds: 7 CFR 110.3 (restricted-use "
    "pesticides, United States), article 67 of Regulation (EC) No 1107/2009 (European Union). "
    "Yours may differ: ask."
)
ANSWERS = {"clear": "clear", "haze": "cloudy", "curdle": "curdles", "cannot tell": "can't be told"}
DIGITS = 2


def list_sheet(entries: Sequence[Entry]) -> Sheet:
    """Every entry on two lines, the latest last."""
    items = [
        f"{day_of(e)} {e.id[:6]}{f' {e.number}' if e.number else ''}"
        f"{f' ({e.by})' if e.by else ''}: {', '.join(e.mix.order)}. {seen_words(e)}."
        f"{f' {e.note}' if e.note else ''}"
        for e in entries
    ]
    number = "1 entry." if len(entries) == 1 else f"{len(entries)} entries."
    head = number if entries else "Nothing is kept that fits."
    return Sheet("Notebook", [head], [Block("", items=items)] if items else [])


def list_json(entries: Sequence[Entry]) -> str:
    """The JSON object of the contract."""
    return as_json(
        contract.NotebookList(
            entries=[
                contract.ListedEntry(
                    id=e.id,
                    at=e.at,
                    by=e.by,
                    kind=e.kind,
                    number=e.number,
                    mix=e.mix.name,
                    products=e.mix.order,
                    sentence=seen_words(e),
                )
                for e in entries
            ]
        )
    )


def wall_sheet(found: Wall) -> Sheet:
    """The list for the shed wall: tried and fine, tried and not, not tried."""
    untried = [
        f"{' with '.join(u.products)}{f' ({u.number})' if u.number else ''}: forecast "
        f"{ANSWERS[u.answer]}, cloudy {odds(u.chance)}"
        for u in found.untried
    ]
    blocks = [
        Block("Works, as tried", items=[_tried(t) for t in found.works]),
        Block("Doesn't, as tried", items=[_tried(t) for t in found.dont]),
        Block("Not tried: the forecast's word, no evidence. Jar first", items=untried),
        Block("", ["A new lot, rate, water or order: jar again."]),
    ]
    tried = len(found.works) + len(found.dont)
    head = "1 mix tried." if tried == 1 else f"{tried} mixes tried."
    return Sheet("What was tried", [head], [b for b in blocks if b.items or b.paragraphs])


def _tried(one: Tried) -> str:
    mix = one.entry.mix
    parts = [n if r is None else f"{n} {r}" for n, r in zip(mix.order, mix.rates, strict=True)]
    often = "" if one.of == 1 else f", fine {one.fine} of {one.of} times"
    water = f" in {mix.water}" if mix.water else ""
    return f"{'; '.join(parts)}{water}. {day_of(one.entry)}: {seen_words(one.entry)}{often}"


def wall_json(found: Wall) -> str:
    """The JSON object of the contract."""

    def tried(one: Tried) -> contract.TriedEntry:
        return contract.TriedEntry(
            entry=one.entry.id,
            products=one.entry.mix.order,
            rates=one.entry.mix.rates,
            fine=one.fine,
            of=one.of,
            at=one.entry.at,
            sentence=_tried(one),
        )

    return as_json(
        contract.NotebookWall(
            works=[tried(t) for t in found.works],
            dont=[tried(t) for t in found.dont],
            untried=[
                contract.UntriedEntry(
                    products=u.products, number=u.number, answer=u.answer, chance=u.chance
                )
                for u in found.untried
            ],
        )
    )


def season_sheet(found: Season) -> Sheet:
    """Records, sums by site per 1000 sq ft, acre and hectare, caps."""
    blocks = []
    for row in found.rows:
        told = row.entry.sprayed
        mix = row.entry.mix
        parts = [
            f"{name}{f' {rate}' if rate else ''}{f', lot {lot}' if lot else ''}"
            for name, rate, lot in zip(mix.order, mix.rates, mix.lots, strict=True)
        ]
        more = [] if told is None else [
            f"{label} {value}"
            for label, value in (
                ("area", told.area), ("used", told.used), ("left", told.left), ("by", told.who),
                ("licence", told.licence), ("from", told.start), ("to", told.end),
                ("wind", told.wind), ("air", told.temperature), ("with", told.equipment),
                ("screens", told.screens),
            )
            if value
        ]  # fmt: skip
        put = "can't be reckoned, its files were not kept"
        if row.put_down is not None:
            put = ", ".join(
                f"{k} {_figure(v / LB_PER_1000_SQ_FT)} lb/1000 sq ft"
                for k, v in _first(row.put_down).items()
            )
        title = f"{moment_of(row.entry).date().isoformat()} {row.site or 'site not told'}"
        blocks.append(Block(title, items=[*parts, *(["; ".join(more)] if more else []), put]))
    for site, sums in found.totals.items():
        rows = [("put down in all", "lb/1000 sq ft", "lb/acre", "kg/ha")]
        rows += [
            (k, _figure(v / LB_PER_1000_SQ_FT), _figure(v / LB_PER_ACRE), _figure(v))
            for k, v in _first(sums).items()
        ]
        blocks.append(Block(f"All at {site or 'sites not told'}", rows=rows))
    passed = [
        f"{site or 'site not told'}: {cap.nutrient} is over your {cap.text}"
        for site, cap in found.over
    ]
    caps = ", ".join(f"{c.nutrient} {c.text}" for c in found.caps)
    within = bool(found.caps and found.rows and not passed)
    held = [f"Within the caps you entered: {caps}."] if within else []
    answer = [f"{counted(len(found.rows), 'tank')} sprayed.", *(f"{p}." for p in passed), *held]
    return Sheet("Season", answer, [*blocks, Block("", [ASK])])


def _first(sums: Mapping[str, float]) -> dict[str, float]:
    return {k: sums[k] for k in FIRST if sums.get(k)}


def _figure(value: float) -> str:
    return f"{value:.{DIGITS}g}" if value < 100.0 else f"{value:.0f}"


def season_rows(found: Season) -> list[contract.SeasonRow]:
    """Every row of the records, whole."""
    out = []
    for row in found.rows:
        told, mix = row.entry.sprayed, row.entry.mix
        given = {} if told is None else told.model_dump()
        fields = (
            "area", "used", "left", "who", "licence", "start", "end", "wind", "temperature",
            "equipment", "screens",
        )  # fmt: skip
        out.append(
            contract.SeasonRow(
                entry=row.entry.id,
                date=moment_of(row.entry).date().isoformat(),
                site=row.site or None,
                **{name: given.get(name) for name in fields},
                products=mix.order,
                lots=mix.lots,
                rates=mix.rates,
                kg_per_ha=None if row.put_down is None else dict(row.put_down),
                so_far_kg_per_ha=dict(row.so_far),
            )
        )
    return out


def season_json(found: Season) -> str:
    """The JSON object of the contract."""
    return as_json(
        contract.NotebookSeason(
            rows=season_rows(found),
            totals={site: dict(sums) for site, sums in found.totals.items()},
            caps=[
                contract.CapEntry(
                    nutrient=cap.nutrient,
                    kg_per_ha=cap.kg_per_ha,
                    text=cap.text,
                    passed_at=[site for site, over in found.over if over is cap],
                )
                for cap in found.caps
            ],
        )
    )


def season_csv(found: Season) -> str:
    """One line per tank, for a spreadsheet; nutrients in kg/ha and in lb/1000 sq ft.

    A text that a spreadsheet would take for a formula begins with an apostrophe.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    plain = [n for n in contract.SeasonRow.model_fields if not n.endswith("kg_per_ha")]
    writer.writerow(
        [*plain, *(f"{n} kg/ha" for n in FIRST), *(f"{n} lb/1000 sq ft" for n in FIRST)]
    )
    for row in season_rows(found):
        told = row.model_dump()
        cells = [
            "; ".join(v or "" for v in told[n]) if isinstance(told[n], list | tuple) else told[n]
            for n in plain
        ]
        put = row.kg_per_ha
        each = [None if put is None else put.get(n, 0.0) for n in FIRST]
        per_area = [None if v is None else v / LB_PER_1000_SQ_FT for v in each]
        writer.writerow([*map(_cell, cells), *map(_number, each), *map(_number, per_area)])
    return text.getvalue()


def _cell(value: str | None) -> str:
    text = value or ""
    return f"'{text}" if text[:1] in "=+-@\t\r" and text else text


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.6g}"


def score_sheet(found: Score, *, chemist: bool = False) -> Sheet:
    """What came of the forecasts; with `chemist` the scores."""
    words = {"clear": "clear", "haze": "cloudy", "curdle": "curdled", "cannot tell": "can't tell"}
    items = [
        f"Of {counted(c.of, 'tank')} called {words[c.word]} {c.clear} "
        f"{'was' if c.clear == 1 else 'were'} clear."
        for c in found.called
    ]
    blocks = [Block("By solid that was feared most", items=[
        f"{s.key}: showed {s.showed} of {s.of} times, forecast {odds(s.chance)} on average"
        for s in found.solids
    ])]  # fmt: skip
    if chemist:
        rows = [("", "labels", "learned")]
        for name, pair in (
            (f"Brier ({found.looks} looks)", found.brier),
            ("log score", found.log_score),
            (f"pH in 90 % ({found.readings})", found.ph_inside),
        ):
            if pair is not None:
                rows.append((name, f"{pair[0]:.3f}", f"{pair[1]:.3f}"))
        blocks.append(Block("With what was known before each", rows=rows if rows[1:] else []))
    kept = [b for b in blocks if b.items or b.rows]
    return Sheet("How good it was", items or ["No look can be scored yet."], kept)


def score_json(found: Score) -> str:
    """The JSON object of the contract."""

    def pair(values: tuple[float, float] | None) -> contract.Pair | None:
        return None if values is None else contract.Pair(label=values[0], learned=values[1])

    return as_json(
        contract.NotebookScore(
            entries=found.entries,
            looks=found.looks,
            readings=found.readings,
            called=[contract.CalledEntry(word=c.word, clear=c.clear, of=c.of)
                    for c in found.called],
            solids=[contract.SolidScore(key=s.key, showed=s.showed, of=s.of, chance=s.chance)
                    for s in found.solids],
            brier=pair(found.brier),
            log_score=pair(found.log_score),
            ph_inside=pair(found.ph_inside),
        )
    )  # fmt: skip


def next_sentence(found: Next | None) -> str:
    """One line: the jar or reading that would teach most, and why."""
    if found is None:
        return "Nothing is kept yet: the first jar teaches most."
    products = " with ".join(found.products)
    tells = f"it tells of {found.tanks} of the tanks you sprayed"
    if found.kind == "jar":
        return f"A jar of {products}: cloudy is {odds(found.chance)}, and {tells}."
    return (
        f"A pH of {products}, right after the last pour: it is only known within "
        f"{found.width:.1f}, and {tells}."
    )


def next_json(found: Next | None) -> str:
    """The JSON object of the contract."""
    return as_json(
        contract.NotebookNext(
            kind=None if found is None else found.kind,
            products=() if found is None else found.products,
            chance=None if found is None else found.chance,
            ph_width=None if found is None else found.width,
            tanks=0 if found is None else found.tanks,
            sentence=next_sentence(found),
        )
    )


def check_lines(found: Checked, asked: Sequence[Asked] = ()) -> list[str]:
    """How the file stands, in sentences; asked: readings far from all that was expected."""
    lines = [f"{found.entries} entries can be read."]
    lines += [str(p) for p in found.unread]
    lines += [f"SQLite finds: {w}" for w in found.wrong]
    lines += [f"{c.name} holds entries that are not here." for c in found.copies]
    lines += [
        f"Entry {a.entry[:6]}: pH {a.value:g} where {a.expected:.1f} was expected. Read wrong? "
        f"Then `jarsight saw ... --amends {a.entry[:6]}`; till then it is believed in part."
        for a in asked
    ]
    return lines


def check_json(found: Checked, asked: Sequence[Asked] = ()) -> str:
    """The JSON object of the contract."""
    return as_json(
        contract.NotebookCheck(
            entries=found.entries,
            unread=[str(p) for p in found.unread],
            wrong=found.wrong,
            copies=[c.name for c in found.copies],
            asked=[
                contract.AskedEntry(entry=a.entry, value=a.value, expected=a.expected)
                for a in asked
            ],
        )
    )


def imported_sentence(found: Imported) -> str:
    """What an import brought."""
    whose = "" if found.ours else " They are of another shed, and count less."
    return f"{found.new} entries taken in, {found.known} were here already.{whose}"


def imported_json(found: Imported) -> str:
    """The JSON object of the contract."""
    return as_json(
        contract.NotebookImport(
            new=found.new,
            known=found.known,
            numbers=found.numbers,
            unread=[str(p) for p in found.unread],
            ours=found.ours,
        )
    )


def sprayed_json(entry: Entry) -> str:
    """The JSON object of the contract."""
    return as_json(contract.SprayedKept(entry=entry.id, number=entry.number))
