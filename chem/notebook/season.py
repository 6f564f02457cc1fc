"""The records of a season: what was sprayed where, what it brought, running sums against caps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from chem.errors import InputProblem, Problem
from chem.notebook.entry import Entry
from chem.notebook.written import read_left
from chem.tank import Mix, delivered_kg_per_ha, nitrogen_forms_kg_per_ha
from chem.units import read_area, read_carrier, read_rate, read_volume

FORMS = {
    "nitrate nitrogen": "N nitrate",
    "ammoniacal nitrogen": "N ammoniacal",
    "urea nitrogen": "N urea",
    "other water soluble nitrogen": "N other soluble",
    "water insoluble nitrogen": "N insoluble",
}
FIRST = ("N", *FORMS.values(), "P2O5", "K2O", "Fe")
M2_PER_ACRE, M2_PER_1000_SQ_FT = 4046.8564224, 92.90304
KG_PER_LB = 0.45359237
LB_PER_1000_SQ_FT = KG_PER_LB / M2_PER_1000_SQ_FT * 1e4
"""kg/ha of 1 lb/1000 sq ft (NIST Handbook 44, appendix C)."""
LB_PER_ACRE = KG_PER_LB / M2_PER_ACRE * 1e4


@dataclass(frozen=True)
class Spraying:
    """One tank sprayed: its entry, area [m2] and volume used [L] where told, what it put down by
    nutrient [kg/ha], None where the mix can't be read again; so_far: sums of its site till then.
    """

    entry: Entry
    area_m2: float | None
    used_L: float | None
    put_down: Mapping[str, float] | None
    so_far: Mapping[str, float]

    @property
    def site(self) -> str:
        """Where, empty if nobody said."""
        sprayed = self.entry.sprayed
        return (sprayed.site if sprayed is not None else None) or ""


@dataclass(frozen=True)
class Cap:
    """A sum not to be passed in these records [kg/ha], as its user entered it."""

    nutrient: str
    kg_per_ha: float
    text: str


@dataclass(frozen=True)
class Season:
    """Sprayings by date, sums by site, caps, and (site, cap) that is passed."""

    rows: tuple[Spraying, ...]
    totals: Mapping[str, Mapping[str, float]]
    caps: tuple[Cap, ...]

    @property
    def over(self) -> tuple[tuple[str, Cap], ...]:
        """Every cap that the sums of a site pass."""
        return tuple(
            (site, cap)
            for site, sums in self.totals.items()
            for cap in self.caps
            if sums.get(cap.nutrient, 0.0) > cap.kg_per_ha * (1.0 + 1e-9)
        )


def read_cap(text: str) -> Cap:
    """A cap as written: `N=4 lb/1000 sq ft`. Raises: InputProblem."""
    name, equals, amount = (part.strip() for part in text.partition("="))
    known = {n.lower(): n for n in (*FIRST, "Mg", "Ca", "S", "Mn", "Zn", "Cu", "B")}
    nutrient = {"nitrogen": "N", "phosphate": "P2O5", "potash": "K2O", "iron": "Fe"}.get(
        name.lower(), known.get(name.lower())
    )
    if not equals or nutrient is None:
        wrong, instead = "no nutrient and amount", "N=4 lb/1000 sq ft, P2O5=40 kg/ha"
        raise InputProblem(Problem(f"cap = {text!r}", wrong, instead))
    rate = read_rate(amount, "cap")
    if rate.kind != "mass" or rate.per != "area":
        wrong = "a weight per area is wanted"
        raise InputProblem(Problem(f"cap = {text!r}", wrong, "N=4 lb/1000 sq ft"))
    return Cap(nutrient, 10.0 * rate.value, amount)  # g/m2 -> kg/ha


def sprayed_entries(entries: Sequence[Entry]) -> list[Entry]:
    """Those of a tank that went out."""
    return [e for e in entries if e.kind == "sprayed" or (e.sprayed and e.sprayed.site)]


def moment_of(entry: Entry) -> datetime:
    """When it was sprayed, as far as told; else when it was kept."""
    kept = datetime.fromisoformat(entry.at)
    start = entry.sprayed.start if entry.sprayed is not None else None
    try:
        told = datetime.fromisoformat(start) if start else kept
    except ValueError:
        return kept
    return told if told.tzinfo is not None else told.astimezone()


def season(
    entries: Sequence[Entry],
    *,
    site: str | None = None,
    first: date | None = None,
    last: date | None = None,
    caps: Sequence[Cap] = (),
) -> Season:
    """Records of one site or all, between two days, both counted."""
    rows: list[Spraying] = []
    sums: dict[str, dict[str, float]] = {}
    for entry in sorted(sprayed_entries(entries), key=moment_of):
        day = moment_of(entry).date()
        where = (entry.sprayed.site if entry.sprayed else None) or ""
        if site is not None and where.lower() != site.lower():
            continue
        if (first is not None and day < first) or (last is not None and day > last):
            continue
        area, used = _told(entry)
        put_down = _put_down(entry, area, used)
        mine = sums.setdefault(where, {})
        for key, amount in (put_down or {}).items():
            mine[key] = mine.get(key, 0.0) + amount
        rows.append(Spraying(entry, area, used, put_down, dict(mine)))
    return Season(tuple(rows), sums, tuple(caps))


def _told(entry: Entry) -> tuple[float | None, float | None]:
    """Area [m2] and volume used [L], where they can be read."""
    sprayed = entry.sprayed
    if sprayed is None:
        return None, None
    area = read_area(sprayed.area, "area") if sprayed.area else None
    used = read_volume(sprayed.used, "used") if sprayed.used else None
    if used is None and sprayed.left and entry.mix.tank:
        used = read_volume(entry.mix.tank, "tank") - read_left(sprayed.left, "left")
    return area, used if used is None or used > 0.0 else None


def _put_down(entry: Entry, area: float | None, used: float | None) -> dict[str, float] | None:
    """By nutrient [kg/ha]: as the area and volume say, else at the spray volume of the mix."""
    try:
        mix: Mix = entry.mix.reread()
    except InputProblem:
        return None
    share = 1.0
    if area is not None and used is not None and entry.mix.carrier is not None:
        share = used / area / read_carrier(entry.mix.carrier, "carrier")
    found = {k: share * v for k, v in delivered_kg_per_ha(mix).items()}
    forms = {FORMS[k]: share * v for k, v in nitrogen_forms_kg_per_ha(mix).items() if k in FORMS}
    return {**found, **forms}
