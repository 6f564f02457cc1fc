"""The words of the notebook: what was tried, above a forecast; the lists and records."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

from chem.notebook.entry import Entry, Measured, Reading
from chem.notebook.season import moment_of
from chem.notebook.tried import Change, Like, Off, Told
from chem.sheets.blocks import Block, Sheet
from chem.sheets.contract import parts as contract
from chem.sheets.words import odds

MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
TITLE = "From your notebook"
GOES_BY = "Odds and pH here go by your entries too; `jarsight forecast` says by how much."
OUTCOMES = {"fine": "fine", "solids": "not clear", "blocked": "screens blocked"}


def day(at: str, today: date | None = None) -> str:
    """`4 Nov`, with the year where it is another than this."""
    moment = datetime.fromisoformat(at).date()
    year = "" if moment.year == (today or date.today()).year else f" {moment.year}"
    return f"{moment.day} {MONTHS[moment.month - 1]}{year}"


def day_of(entry: Entry) -> str:
    """The day that an entry tells of: when it was sprayed, where that was told."""
    return day(moment_of(entry).isoformat())


def seen_words(entry: Entry) -> str:
    """`flakes after 15 min; pH 5 (strip)`."""
    said = []
    for at in dict.fromkeys(s.after_s for s in entry.seen):
        words = ", ".join(s.word for s in entry.seen if s.after_s == at)
        said.append(words if at is None else f"{words} {_when(at)}")
    if entry.sprayed is not None and entry.sprayed.through is not None:
        said.append("sprayed" if entry.sprayed.through else "would not spray")
    if entry.sprayed is not None and entry.sprayed.screens is not None:
        said.append(f"screens {entry.sprayed.screens}")
    said += [_reading(r) for r in entry.ph if r.dose is None][:1]
    said += [jug_words(jug) for jug in entry.measured]
    return "; ".join(said) or "nothing told"


def jug_words(jug: Measured) -> str:
    """`jug of NAME: 11.3 lb/gal, pH 5.6`."""
    told = [jug.density, jug.ec, None if jug.ph is None else f"pH {jug.ph}"]
    lot = f", lot {jug.lot}" if jug.lot else ""
    return f"jug of {jug.product}{lot}: {', '.join(t for t in told if t is not None)}"


def _when(after_s: float) -> str:
    if after_s < 60.0:
        return "at once"
    minutes = after_s / 60.0
    return f"after {minutes:.0f} min" if minutes < 90.0 else f"after {minutes / 60.0:.0f} h"


def _reading(reading: Reading) -> str:
    by = "" if reading.instrument is None else f" ({reading.instrument})"
    return f"pH {reading.value:g}{by}"


def change_words(change: Change) -> str:
    """What is otherwise than it was, in words."""
    both = f" ({change.was}, now {change.now})" if change.was and change.now else ""
    return {
        "lot": f"new lot of {change.product}{both}",
        "label": f"the file of {change.product} is another",
        "rate": f"another rate of {change.product}{both}",
        "order": "another pouring order",
        "water": f"another water{both}",
        "carrier": f"another spray volume{both}",
        "adjuvant": "another adjuvant",
        "leftover": "more or less left of an earlier tank",
    }[change.code]


def like_sentence(x: Like) -> str:
    """What was tried, when, and how near it is."""
    when, seen = day_of(x.entry), seen_words(x.entry)
    number = f" ({x.entry.number})" if x.entry.number else ""
    where = "jar" if x.entry.kind == "jar" else "tank" if x.entry.kind else None
    if x.stands:
        if x.entry.kind == "jar" and x.outcome == "fine":
            return f"Jar passed {when}{number}: {seen}."
        return f"You tried this on {when}{number}{f', in a {where}' if where else ''}: {seen}."
    if x.whole:
        changed = "; ".join(change_words(c) for c in x.changes)
        again = " Jar again." if x.outcome == "fine" else ""
        return f"Tried on {when}{number}: {seen}. Since then: {changed}.{again}"
    return f"{' with '.join(x.shared)} in another mix on {when}{number}: {seen}."


def told_lines(told: Told) -> list[str]:
    """What stands above the forecast: of this very mix, and where a strip and the labels differ."""
    lines = [like_sentence(x) for x in told.like if x.whole][:2]
    return [*lines, *map(off_sentence, told.off)]


def off_sentence(off: Off) -> str:
    """A reading that asks for a measurement."""
    what, there = ("A rung of your ladder", " there") if off.rung else ("Your reading", "")
    labels = f"the labels say {off.label:.1f}{there}"
    return f"{what} said pH {off.value:g}, {labels}: measure the jugs."


def jug_sentence(entry: Entry, jug: Measured) -> str:
    """What a jug was measured to be, and that the forecast goes by it."""
    return f"Measured {day(entry.at)}: {jug_words(jug)}. The forecast goes by it."


def told_block(told: Told) -> Block | None:
    """How far the forecast moved, and what else was tried."""
    items = [like_sentence(x) for x in told.like if not x.whole]
    items += [jug_sentence(*x) for x in told.jugs]
    moved = moved_sentence(told)
    if moved:
        items.insert(0, moved)
    return Block(TITLE, items=items) if items else None


def noted(sheet: Sheet, told: Told | None) -> Sheet:
    """A sheet of advice with what the notebook says of its mix, below what to do."""
    rest = None if told is None else told_block(told)
    items = [] if told is None else [*told_lines(told), *([] if rest is None else rest.items)]
    if not items:
        return sheet
    blocks = list(sheet.blocks)
    place = 1 + max((k for k, b in enumerate(blocks) if b.kind), default=-1)
    blocks.insert(place, Block(TITLE, items=items))
    return replace(sheet, blocks=blocks)


def moved_sentence(told: Told) -> str | None:
    """How far the forecast moved because of what was kept."""
    if told.before is None or told.after is None:
        return GOES_BY if told.touched else None
    if not told.moved:
        return None
    (chance, ph), (then, moved) = told.before, told.after
    wider = ""
    if told.stretch > 1.05:
        wider = f" Ranges are {told.stretch:.1f} times as wide, for readings fell outside them."
    return (
        f"By the labels alone: cloudy within 4 hours {odds(chance)}, pH {ph:.1f}. With your "
        f"entries: {odds(then)}, pH {moved:.1f}.{wider}"
    )


def learned_entries(told: Told | None) -> list[contract.LearnedEntry]:
    """The `learned` of the JSON."""
    if told is None:
        return []
    out = [contract.LearnedEntry(entry=x.entry.id, sentence=like_sentence(x)) for x in told.like]
    out += [contract.LearnedEntry(entry=x.entry.id, sentence=off_sentence(x)) for x in told.off]
    out += [contract.LearnedEntry(entry=e.id, sentence=jug_sentence(e, j)) for e, j in told.jugs]
    moved = moved_sentence(told)
    if moved:
        out.append(contract.LearnedEntry(entry="", sentence=moved))
    return out
