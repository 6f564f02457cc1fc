"""Models of what `notebook` and `sprayed` print as JSON."""

from __future__ import annotations

from collections.abc import Sequence

from chem.sheets.contract.parts import Figure, Part


class Pair(Part):
    """By the labels alone, and with what had been learned by then."""

    label: Figure
    learned: Figure


class CalledEntry(Part):
    """Of the tanks that a forecast called so, how many came out clear."""

    word: str
    clear: int
    of: int


class SolidScore(Part):
    """Of the looks with this solid forecast as most likely, how many showed solids; mean chance."""

    key: str
    showed: int
    of: int
    chance: Figure


class NotebookScore(Part):
    """How good the forecasts were; null where nothing can be scored."""

    entries: int
    looks: int
    readings: int
    called: Sequence[CalledEntry]
    solids: Sequence[SolidScore]
    brier: Pair | None
    log_score: Pair | None
    ph_inside: Pair | None


class TriedEntry(Part):
    """A mix that was tried: its latest entry, how often it was fine, what was seen last."""

    entry: str
    products: Sequence[str]
    rates: Sequence[str | None]
    fine: int
    of: int
    at: str
    sentence: str


class UntriedEntry(Part):
    """Products that were not seen together, and the forecast's word, which is no evidence."""

    products: Sequence[str]
    number: str | None
    answer: str
    chance: Figure


class NotebookWall(Part):
    """What worked, what didn't, what was not tried."""

    works: Sequence[TriedEntry]
    dont: Sequence[TriedEntry]
    untried: Sequence[UntriedEntry]


class SeasonRow(Part):
    """One tank sprayed: what was told of it, and what it put down [kg/ha] by nutrient; so_far: sums
    of its site till then."""

    entry: str
    date: str
    site: str | None
    area: str | None
    used: str | None
    left: str | None
    who: str | None
    licence: str | None
    start: str | None
    end: str | None
    wind: str | None
    temperature: str | None
    equipment: str | None
    screens: str | None
    products: Sequence[str]
    lots: Sequence[str | None]
    rates: Sequence[str | None]
    kg_per_ha: dict[str, float] | None
    so_far_kg_per_ha: dict[str, float]


class CapEntry(Part):
    """A cap that its user entered, and the sites whose sums pass it."""

    nutrient: str
    kg_per_ha: float
    text: str
    passed_at: Sequence[str]


class NotebookSeason(Part):
    """Records of a season; totals: by site and nutrient [kg/ha]."""

    rows: Sequence[SeasonRow]
    totals: dict[str, dict[str, float]]
    caps: Sequence[CapEntry]


class ListedEntry(Part):
    """One entry of the list."""

    id: str
    at: str
    by: str | None
    kind: str | None
    number: str | None
    mix: str
    products: Sequence[str]
    sentence: str


class NotebookList(Part):
    """Entries, the latest last."""

    entries: Sequence[ListedEntry]


class NotebookNext(Part):
    """The jar or reading that would teach most; kind null where nothing was kept."""

    kind: str | None
    products: Sequence[str]
    chance: Figure
    ph_width: Figure
    tanks: int
    sentence: str


class AskedEntry(Part):
    """A pH far from all that was expected; believed in part."""

    entry: str
    value: float
    expected: float


class NotebookCheck(Part):
    """How the file stands; asked: readings that look wrong."""

    entries: int
    unread: Sequence[str]
    wrong: Sequence[str]
    copies: Sequence[str]
    asked: Sequence[AskedEntry]


class NotebookImport(Part):
    """What an import brought."""

    new: int
    known: int
    numbers: int
    unread: Sequence[str]
    ours: bool


class SprayedKept(Part):
    """A spray record that was kept."""

    entry: str
    number: str | None
