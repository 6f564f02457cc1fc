"""A water report, read into totals per draw."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property, lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np

from chem.doubts import Draws, doubts, median
from chem.equilibrium import Conditions, build_system, solve
from chem.equilibrium.activity import Floats
from chem.errors import InputProblem, Problem
from chem.files import (
    Collector,
    FileText,
    WaterForm,
    as_found,
    find_file,
    load_bytes,
    read_bytes,
    validate,
)
from chem.reference import tables
from chem.units import (
    Interval,
    Number,
    ion_of,
    read_alkalinity,
    read_concentration,
    read_hardness,
    read_percent,
    read_ph,
)

OLD_MONTHS = 12
SHARES_ERROR = 0.005
_COMPONENT_OF = {"Fe": "Fe2"}


@dataclass(frozen=True)
class Water:
    """A water report in numbers.

    ions: component -> [mmol/L]; hardness [mmol/L Ca + Mg], alkalinity [meq/L]; unknown: nothing
    is known of it; read_from: the file as it was read; parts: of several waters, each with its
    share; sampled: the day of the report's sample.
    """

    name: str
    ph: Number | None
    alkalinity: Interval | None
    hardness: Interval | None
    ions: Mapping[str, Interval]
    notes: tuple[str, ...] = ()
    unknown: bool = False
    read_from: FileText | None = field(default=None, compare=False, repr=False)
    parts: tuple[tuple[Water, float], ...] = ()
    sampled: date | None = field(default=None, compare=False)

    def __repr__(self) -> str:
        return f"<Water {self.name!r}>"

    @cached_property
    def identity(self) -> str:
        """A hash of the report as read."""
        read = (self.name, self.ph, self.alkalinity, self.hardness, dict(self.ions), self.notes)
        mixed = [(part.identity, share) for part, share in self.parts]
        whole = (*read, self.unknown, *([mixed] if mixed else []))
        return hashlib.sha256(repr(whole).encode()).hexdigest()

    @property
    def files(self) -> tuple[FileText, ...]:
        """Every file that was read for it."""
        each = [self, *(part for part, _ in self.parts)]
        return tuple(one.read_from for one in each if one.read_from is not None)

    def old(self, today: date) -> tuple[str, ...]:
        """Words for each report older than 12 months."""
        each = [part for part, _ in self.parts] or [self]
        return tuple(
            f"The report of {one.name} is {months} months old: test it again, water changes"
            for one in each
            if one.sampled is not None
            and (months := (today - one.sampled).days * 12 // 365) > OLD_MONTHS
        )


UNKNOWN_WATER = Water("water not known", None, None, None, {}, (), True)


@dataclass(frozen=True)
class WaterTotals:
    """A water per draw: components and (N, C) [mol/L]; doubts: name -> (N,) what is open of it."""

    water: Water
    components: tuple[str, ...]
    mol_per_L: Floats
    doubts: Mapping[str, Floats]
    notes: tuple[str, ...]

    def first(self, count: int) -> WaterTotals:
        """The first rows of all."""
        if count >= len(self.mol_per_L):
            return self
        some = {name: column[:count] for name, column in self.doubts.items()}
        return replace(self, mol_per_L=self.mol_per_L[:count], doubts=some)


def water_schema() -> dict[str, Any]:
    """JSON Schema of a water file."""
    return WaterForm.model_json_schema()


def blended(parts: Sequence[tuple[Water, float]]) -> Water:
    """Several waters in one tank, by their shares.

    Raises: ValueError where the shares are not all above zero and 1 in all.
    """
    if len(parts) < 2 or any(not share > 0.0 for _, share in parts):
        raise ValueError("several waters, each with a share above zero")
    if abs(sum(share for _, share in parts) - 1.0) > SHARES_ERROR:
        raise ValueError("the shares make 100 % in all")
    name = " + ".join(f"{100.0 * share:.3g} % {water.name}" for water, share in parts)
    unknown = any(water.unknown for water, _ in parts)
    return Water(name, None, None, None, {}, (), unknown, parts=tuple(parts))


def _shared(text: str, beside: Path | None, where: str) -> Water:
    """`well.toml = 60 %; pond.toml = rest`. Raises: InputProblem."""
    wrong = f"{where} = {text!r}"
    instead = "such as `well.toml = 60 %; pond.toml = rest`"
    named: list[tuple[str, float | None]] = []
    for part in text.split(";"):
        name, _, share = (x.strip() for x in part.partition("="))
        if not name or not share:
            raise InputProblem(Problem(wrong, "a water and its share", instead))
        rest = share.lower() == "rest"
        named.append((name, None if rest else read_percent(share, where).value / 100.0))
    told = sum(share for _, share in named if share is not None)
    open_ = [name for name, share in named if share is None]
    if len(open_) > 1 or (open_ and told >= 1.0) or (not open_ and abs(told - 1.0) > SHARES_ERROR):
        raise InputProblem(Problem(wrong, "the shares make 100 % in all", instead))
    left = 1.0 - told
    waters = [
        (find_water(name, beside, where), left if share is None else share) for name, share in named
    ]
    if len(waters) < 2 or any(not share > 0.0 for _, share in waters):
        raise InputProblem(Problem(wrong, "each water has a share above zero", instead))
    return blended(waters)


def find_water(name: str, beside: Path | None, where: str = "") -> Water:
    """A water named in a mix, at `where` (file and key, for messages); `unknown` is allowed.

    Raises: InputProblem.
    """
    if name.strip().lower() == "unknown":
        return UNKNOWN_WATER
    if "=" in name:
        return _shared(name, beside, where)
    path = find_file(name, beside, "waters", "water", where)
    water = read_water(path)
    assert water.read_from is not None
    return replace(water, read_from=replace(water.read_from, name=as_found(name, path)))


def read_water(path: Path | str) -> Water:
    """Read and check a water file. Raises: InputProblem with every problem of the file."""
    path = Path(path)
    return _water_of_bytes(path, read_bytes(path, "water"))


@lru_cache(maxsize=64)
def _water_of_bytes(path: Path, data: bytes) -> Water:
    raw, read_from = load_bytes(path, "water", data)
    return water_of(validate(WaterForm, raw, path.name), path.name, read_from)


def water_of(form: WaterForm, file: str, read_from: FileText | None = None) -> Water:
    """The water of a form; file: as messages name it. Raises: InputProblem with every problem."""
    found = Collector(file)
    notes: list[str] = []
    ions: dict[str, Interval] = {}
    alkalinity = hardness = None
    ph = found.attempt(read_ph, form.ph, "ph") if form.ph else None
    if form.alkalinity:
        alkalinity = found.attempt(read_alkalinity, form.alkalinity, "alkalinity")
    if form.hardness:
        hardness = found.attempt(read_hardness, form.hardness, "hardness")
    for ion, text in form.ions.items():
        value = found.attempt(read_concentration, text, f"ions.{ion}", ion=ion)
        if value is None:
            continue
        notes += value.notes
        plain = ion_of(ion, found.where(f"ions.{ion}"))
        if plain in {"HCO3", "CO3"}:
            per = 1.0 if plain == "HCO3" else 2.0
            if alkalinity is None:
                alkalinity = Interval(per * value.low, per * value.high)
            continue
        component = _COMPONENT_OF.get(plain, plain)
        if component not in tables().components:
            found.add(f"ions.{ion}", text, "this ion plays no part here", "leave the line out")
            continue
        if component in ions:
            found.add(f"ions.{ion}", text, f"{component} is given twice", "one of the two")
        ions[component] = value
    sampled = None
    if form.sampled:
        try:
            sampled = date.fromisoformat(form.sampled.strip())
        except ValueError:
            found.add("sampled", form.sampled, "no day of the calendar", "such as `2026-04-12`")
    found.done()
    for entry in (alkalinity, hardness):
        notes += entry.notes if entry else ()
    told = tuple(dict.fromkeys(notes))
    return Water(
        form.name, ph, alkalinity, hardness, ions, told, read_from=read_from, sampled=sampled
    )


def water_totals(water: Water, draws: Draws) -> WaterTotals:
    """Totals per draw: reported ions with their error, gaps filled by doubts, charge closed.

    Carbonate follows from alkalinity and pH; what is left of the charge is sodium or chloride.
    """
    if water.parts:
        return _blended_totals(water, draws)
    notes = [*water.notes]
    draws = draws.scoped(water.identity)
    held = {ion: _drawn(f"water:{ion}", value, draws) for ion, value in water.ions.items()}
    _fill_hardness(water, held, draws, notes)
    alkalinity = _alkalinity(water, held, draws, notes)
    if water.unknown:
        for ion in ("Cl", "SO4"):
            held[ion] = draws.of("salt_unknown", f"water:{ion}")
        notes.append("Nothing is known of the water: soft to very hard was tried")
    charges = {c: tables().components[c].charge for c in held}
    surplus = -alkalinity
    for component, amount in held.items():
        surplus = surplus + charges[component] * amount
    held["Na"] = held.get("Na", np.zeros(draws.count)) + np.maximum(-surplus, 0.0)
    held["Cl"] = held.get("Cl", np.zeros(draws.count)) + np.maximum(surplus, 0.0)
    ions = sum(np.abs(charges.get(c, 1)) * v for c, v in held.items())
    gap = median(np.abs(surplus) / np.maximum(ions, 1e-9))
    if water.ions and gap > 0.1 and not water.unknown:
        notes.append(
            f"{water.name}: its ions miss {100 * gap:.0f} % of the charge; "
            "closed with sodium or chloride"
        )
    if water.ph is None:
        target = draws.of("water_ph_unknown", "water:ph")
    else:
        reading = draws.uniform("water:ph", water.ph.low, water.ph.high)
        target = reading + draws.of("water_ph", "water:ph reading")
    held["CO3"] = _carbonate(held, alkalinity, target)
    components = tuple(c for c in tables().components if c in held)
    mol_per_L = np.stack([held[c] for c in components], axis=1) / 1000.0
    open_ = MappingProxyType(dict(draws.used))
    return WaterTotals(water, components, mol_per_L, open_, tuple(notes))


def _blended_totals(water: Water, draws: Draws) -> WaterTotals:
    """Totals by the shares: every component is conserved, carbonate and alkalinity among them."""
    each = [(water_totals(part, draws), share) for part, share in water.parts]
    keys = set().union(*(one.components for one, _ in each))
    components = tuple(c for c in tables().components if c in keys)
    mol_per_L = np.zeros((draws.count, len(components)))
    doubts: dict[str, Floats] = {}
    for one, share in each:
        own = f"water:of {one.water.name}:"
        mol_per_L[:, [components.index(c) for c in one.components]] += share * one.mol_per_L
        doubts |= {name.replace("water:", own, 1): column for name, column in one.doubts.items()}
    notes = tuple(dict.fromkeys(note for one, _ in each for note in one.notes))
    return WaterTotals(water, components, mol_per_L, MappingProxyType(doubts), notes)


def _drawn(name: str, value: Interval, draws: Draws) -> Floats:
    if value.low == value.high:
        return value.low * draws.of("water_report", name)
    return draws.uniform(name, max(value.low, 0.0), value.high)


def _fill_hardness(water: Water, held: dict[str, Floats], draws: Draws, notes: list[str]) -> None:
    if "Ca" in held and "Mg" in held:
        return
    if water.hardness is None:
        if not held.keys() & {"Ca", "Mg"}:
            low, high = doubts()["hardness_unknown"].a, doubts()["hardness_unknown"].b
            if water.alkalinity is not None and not water.unknown:
                high = max(0.75 * water.alkalinity.high, low)
            hardness = draws.uniform("water:hardness", low, high)
            if not water.unknown:
                notes.append(f"{water.name}: hardness not given; a range was tried")
        else:
            return
    else:
        hardness = _drawn("water:hardness", water.hardness, draws)
    if "Ca" in held:
        held["Mg"] = np.maximum(hardness - held["Ca"], 0.0)
    elif "Mg" in held:
        held["Ca"] = np.maximum(hardness - held["Mg"], 0.0)
    else:
        share = draws.of("calcium_share", "water:calcium share of hardness")
        held["Ca"] = share * hardness
        held["Mg"] = (1.0 - share) * hardness


def _alkalinity(water: Water, held: dict[str, Floats], draws: Draws, notes: list[str]) -> Floats:
    """(N,) meq/L."""
    if water.alkalinity is not None:
        return _drawn("water:alkalinity", water.alkalinity, draws)
    hardness = 2.0 * (held.get("Ca", 0.0) + held.get("Mg", np.zeros(draws.count)))
    share = draws.of("alkalinity_share", "water:alkalinity share")
    if not water.unknown:
        notes.append(f"{water.name}: alkalinity not given; taken from its hardness")
    return np.asarray(share * hardness)


def _carbonate(held: Mapping[str, Floats], alkalinity_meq: Floats, ph: Floats) -> Floats:
    """(N,) total carbonate [mmol/L] that gives the stated pH at the stated alkalinity."""
    components = [*(c for c in held if c != "CO3"), "CO3"]
    system = build_system(components)
    conditions = Conditions.nominal(system)
    column = system.components.index("CO3")
    base = np.zeros((len(ph), len(system.components)))
    for i, component in enumerate(system.components):
        if component != "CO3":
            base[:, i] = held[component] / 1000.0

    def imbalance(carbonate: Floats) -> Floats:
        totals = base.copy()
        totals[:, column] = carbonate / 1000.0
        state = solve(system, totals, conditions, ph=ph)
        return np.asarray(np.nan_to_num(state.molality) @ system.charge)

    first = np.maximum(alkalinity_meq, 1e-3)
    second = 1.1 * first
    low, high = imbalance(first), imbalance(second)
    for _ in range(2):
        slope = (high - low) / np.where(second == first, 1.0, second - first)
        third = second - high / np.where(slope == 0.0, -1e-3, slope)
        third = np.clip(third, 0.0, 10.0 * first)
        first, low = second, high
        second, high = third, imbalance(third)
    return second
