"""What was tried that is like a mix, how near it is, and whether a passed jar still stands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from chem.errors import InputProblem
from chem.forecast import NOTHING_LEARNED, Forecast, Study, forecast
from chem.forecast.sight import OF_SOLIDS
from chem.notebook.entry import Entry, Measured
from chem.notebook.jugs import Jugs
from chem.notebook.learning import Learned
from chem.notebook.sprayed import LeftInSump, Strongest
from chem.notebook.store import Kept, current
from chem.reference import judged
from chem.tank import Mix

SAME = 1e-6
"""Figures this near are one: they came by way of text."""
MOST = 4


@dataclass(frozen=True)
class Change:
    """What is otherwise than in the mix tried: a code (product, label, lot, rate, order, water,
    carrier, temperature, adjuvant), the product where one is meant, what it was and is."""

    code: str
    product: str | None = None
    was: str | None = None
    now: str | None = None


@dataclass(frozen=True)
class Like:
    """An entry that is like a mix: the products they share, all that is otherwise; whole: all
    products are the same; outcome: fine, solids, blocked or none."""

    entry: Entry
    shared: tuple[str, ...]
    whole: bool
    changes: tuple[Change, ...]
    outcome: str | None

    @property
    def stands(self) -> bool:
        """Whether it speaks for this very mix."""
        return self.whole and not self.changes


@dataclass(frozen=True)
class Off:
    """A reading far from what the labels gave: value, their median then; rung: whether acid or base
    was in the jar."""

    entry: Entry
    value: float
    label: float
    rung: bool = False


@dataclass(frozen=True)
class Told:
    """What a notebook says beside a forecast.

    like: entries, the nearest and latest first; off: readings that ask for a measurement; jugs:
    those of its jugs that were measured, by which it goes, with their entries; before,
    after: chance that solids show and median pH by the labels alone and with what was learned,
    None where nothing was learned of these jugs, or no forecast is at hand; stretch: of the ranges;
    entries: how many there are; touched: whether anything was learned of these jugs; strongest:
    tank that was sprayed, if any; sump: what stays of the last one.
    """

    like: tuple[Like, ...]
    off: tuple[Off, ...]
    jugs: tuple[tuple[Entry, Measured], ...]
    before: tuple[float, float] | None
    after: tuple[float, float] | None
    stretch: float
    entries: int
    touched: bool = False
    strongest: Strongest | None = None
    sump: LeftInSump | None = None

    @property
    def moved(self) -> bool:
        """Whether the forecast moved enough to say so."""
        if self.before is None or self.after is None:
            return False
        odds, ph = (abs(a - b) for a, b in zip(self.before, self.after, strict=True))
        return odds >= judged("told_moved")["odds"] or ph >= judged("told_moved")["ph"]


def outcome_of(entry: Entry) -> str | None:
    """Fine, solids, blocked, or None where an entry tells of neither."""
    sprayed = entry.sprayed
    if sprayed is not None and (sprayed.through is False or sprayed.screens not in (None, "clean")):
        return "blocked"
    if any(s.word in OF_SOLIDS for s in entry.seen):
        return "solids"
    if any(s.word == "clear" for s in entry.seen) or sprayed is not None:
        return "fine"
    return None


def like(mix: Mix, entry: Entry, jugs: Jugs) -> Like | None:
    """How an entry is like a mix; None where fewer than two products are shared (of one product
    alone: none). jugs: which lots are in use."""
    if not (entry.seen or entry.ph or entry.sprayed):
        return None
    names = [a.product.name for a in mix.additions]
    shared = tuple(n for n in names if n in entry.mix.order)
    if len(shared) < min(2, len(names)):
        return None
    whole = sorted(names) == sorted(entry.mix.order)
    changes = tuple(_changes(mix, entry, jugs)) if whole else ()
    return Like(entry, shared, whole, changes, outcome_of(entry))


def _changes(mix: Mix, entry: Entry, jugs: Jugs) -> list[Change]:
    """All that differs between a mix and one of the same products that was kept."""
    was = entry.mix
    out = []
    names = [a.product.name for a in mix.additions]
    try:
        old: Mix | None = was.reread()
    except InputProblem:
        old = None
    for a in mix.additions:
        place = was.order.index(a.product.name)
        lot = was.lots[place]
        now = jugs.lot_of(a.product)
        if now is not None and lot is not None and now != lot:
            out.append(Change("lot", a.product.name, lot, now))
        if old is None:
            continue
        before = old.additions[place]
        if before.product.identity != a.product.identity:
            out.append(Change("label", a.product.name))
        if not _alike_rate(before.rate, a.rate):
            out.append(Change("rate", a.product.name, before.rate.text, a.rate.text))
    if list(was.order) != names:
        out.append(Change("order", None, ", ".join(was.order), ", ".join(names)))
    if old is None:
        return out
    if old.water.identity != mix.water.identity:
        out.append(Change("water", None, old.water.name, mix.water.name))
    if abs(old.carrier_L_per_m2 / mix.carrier_L_per_m2 - 1.0) > SAME or old.fill != mix.fill:
        out.append(Change("carrier", None, old.carrier_text, mix.carrier_text))
    if old.adjuvant != mix.adjuvant:
        out.append(Change("adjuvant"))
    if _left(old) != _left(mix):
        out.append(Change("leftover"))
    return out


def _left(mix: Mix) -> list[tuple[float, float, list[str]]]:
    """What it takes of earlier tanks, as far as two mixes can differ in it."""
    return [
        (round(one.share, 6), one.age_s, [a.product.identity for a in one.mix.additions])
        for one in mix.leftovers
    ]


def _alike_rate(one: object, other: object) -> bool:
    kind = ("kind", "per")
    if any(getattr(one, k) != getattr(other, k) for k in kind):
        return False
    a, b = float(getattr(one, "value")), float(getattr(other, "value"))  # noqa: B009
    return abs(a - b) <= SAME * max(abs(a), abs(b), 1e-30)


def told_of(now: Forecast, kept: Sequence[Kept], learned: Learned, study: Study) -> Told:
    """What a notebook says beside a forecast, as it is given. study: as it was asked."""
    told = told_of_mix(now.mix, kept, learned)
    if not told.touched:
        return told
    labels = forecast(now.mix, study=study.believing(NOTHING_LEARNED), judged_at=now.judged_at)
    return replace(
        told,
        before=(labels.probability["4h"], labels.ph.median),
        after=(now.probability["4h"], now.ph.median),
    )


def told_of_mix(mix: Mix, kept: Sequence[Kept], learned: Learned) -> Told:
    """The same of a mix, without how far its forecast moved."""
    stand = current(kept)
    products = [a.product for a in mix.additions]
    found = [x for k in stand if (x := like(mix, k.entry, learned.jugs)) is not None]
    rank = {id(x): (not x.stands, not x.whole, len(x.changes), -len(x.shared)) for x in found}
    found = sorted(reversed(found), key=lambda x: rank[id(x)])
    facts = {f.entry: f for f in learned.facts}
    off = []
    for x in found:
        fact = facts.get(x.entry.id)
        for reading in fact.ph if fact is not None and x.whole else ():
            sd = (reading.spread.variance + reading.variance) ** 0.5
            if abs(reading.value - reading.median) > max(judged("told_moved")["off"], 2.0 * sd):
                off.append(Off(x.entry, reading.value, reading.median, reading.moved > 0.0))
    return Told(
        tuple(found[:MOST]),
        tuple(off[:1]),
        tuple((x.entry, x.jug) for p in products for x in learned.jugs.of(p)),
        None,
        None,
        learned.readings.stretch,
        len(stand),
        learned.beliefs.touch(products),
    )
