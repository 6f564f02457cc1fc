"""One look at a jar or tank as the notebook keeps it: what was poured, seen and forecast.

An entry is one JSON object on one line, the same that `notebook export` gives. What is not known
is null. Keys that a later version adds are kept as they are.
"""

from __future__ import annotations

import math
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict

from chem.errors import InputProblem, Problem
from chem.files import FileText, read_out_of
from chem.forecast import SEEN_WORDS, Forecast
from chem.forecast.rules import name_of
from chem.label import Product
from chem.tank import Mix, read_mix
from chem.units import format_rate

SHOWS = 0.1
"""A solid less likely than this by tomorrow is not kept as one that was forecast."""
Kind = Literal["jar", "tank", "sprayed", "jug"]
Chances = dict[str, float | None]
"""Time (`15min`, `4h`, `24h`) -> chance."""


def _of_the_list(word: str) -> str:
    if word not in SEEN_WORDS:
        raise ValueError(f"one of {', '.join(SEEN_WORDS)}")
    return word


def _moment(text: str) -> str:
    datetime.fromisoformat(text)
    return text


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="allow", populate_by_name=True)


class KeptFile(_Part):
    """A file as it was read: `hash` is the SHA-256 of its bytes, which are `text` in UTF-8."""

    name: str
    what: str
    text: str | None
    hash: str | None


class Temperatures(_Part):
    """Of the tank, and of where it stands overnight [degC]."""

    tank_C: float | None
    coldest_C: float | None


class KeptMix(_Part):
    """A mix as poured.

    files: the mix's own first, then all that it names; order: products as poured, rates and lots
    in that order; carrier, tank, area: with their units.
    """

    name: str
    files: tuple[KeptFile, ...]
    lots: tuple[str | None, ...]
    rates: tuple[str | None, ...]
    order: tuple[str, ...]
    water: str | None
    carrier: str | None
    tank: str | None
    area: str | None
    temperatures: Temperatures

    def reread(self) -> Mix:
        """The mix, read again out of the texts that were kept and of nothing else.

        Raises: InputProblem where a text was not kept, was changed since, or can't be read now.
        """
        texts = [
            FileText(f.what, f.name, f.text, f.hash)
            for f in self.files
            if f.text is not None and f.hash is not None
        ]
        if not texts or texts[0].what != "mix":
            read = f"the mix `{self.name}`"
            wrong = "its files were not kept with what was seen"
            raise InputProblem(Problem(read, wrong, "the mix file itself"))
        with read_out_of(texts):
            return read_mix(Path(texts[0].name))


class Look(_Part):
    """A word of the one list, and how long after the last pour it was seen."""

    word: Annotated[str, AfterValidator(_of_the_list)]
    after_s: float | None


class Dose(_Part):
    """What had been added to a jar before a reading: how much of which acid or base, in what."""

    amount: str
    agent: str | None = None
    jar: str | None = None


class Reading(_Part):
    """A pH: on what (strip, meter), its step, how long after the last pour, how warm.

    dose: what had been added to the mix by then, None for the mix as poured.
    """

    value: float
    instrument: str | None = None
    step: float | None = None
    after_s: float | None = None
    t_C: float | None = None
    dose: Dose | None = None


class Measured(_Part):
    """What was read of a jug itself, each as a product file's `[known]` writes it: density, ec of a
    dilution in distilled water, ph of 1 part in 10."""

    product: str
    lot: str | None = None
    density: str | None = None
    ec: str | None = None
    ph: str | None = None

    @property
    def texts(self) -> dict[str, str]:
        """Key -> text of what was read."""
        told = {"density": self.density, "ec": self.ec, "ph": self.ph}
        return {key: text for key, text in told.items() if text is not None}


class Sprayed(_Part):
    """How the tank was sprayed, each as written with its units.

    screens: clean, or what was in them; through: whether it went through the nozzles.
    """

    site: str | None = None
    area: str | None = None
    used: str | None = None
    left: str | None = None
    who: str | None = None
    licence: str | None = None
    start: str | None = None
    end: str | None = None
    wind: str | None = None
    temperature: str | None = None
    equipment: str | None = None
    screens: str | None = None
    through: bool | None = None


class Threat(_Part):
    """A solid that the forecast named."""

    key: str
    probability: Chances


def _for(field: str) -> str:
    return "for" if field == "judged_at" else field


class BrokenRule(_Part):
    """A rule that the mix broke: its code and the products it speaks of."""

    code: str
    severity: str
    product: str | None
    other: str | None


class Stood(_Part):
    """The forecast as it stood before the look; `judged_at` is `for` in the line.

    because: the cause of an answer that can't be told.
    """

    model_config = ConfigDict(alias_generator=_for)

    answer: str
    judged_at: str
    chance: float | None
    because: str | None
    probability: Chances
    clogs: Chances
    ph: dict[str, float | None]
    solids: tuple[Threat, ...]
    rules: tuple[BrokenRule, ...] | None
    draws: int | None
    seed: int | None


class Entry(_Part):
    """One look.

    id: random; by: initials; at: when it was kept, with its offset from UTC; amends: the id of an
    entry that this one corrects; number: that of the sheet; measured: jugs.
    """

    id: str
    by: str | None
    at: Annotated[str, AfterValidator(_moment)]
    amends: str | None
    kind: Kind | None
    number: str | None
    mix: KeptMix
    seen: tuple[Look, ...]
    ph: tuple[Reading, ...]
    sprayed: Sprayed | None
    forecast: Stood | None
    versions: dict[str, str]
    note: str | None
    measured: tuple[Measured, ...] = ()

    def line(self) -> bytes:
        """The entry on one line, its end included."""
        return self.model_dump_json(by_alias=True).encode("utf-8") + b"\n"


@dataclass(frozen=True)
class Sighting:
    """What was seen: words and when, pH readings, a note; who (initials), where (jar, tank,
    sprayed), the sheet's number, the entry that it corrects, lots by product, how it was sprayed,
    jugs that were measured.
    """

    seen: tuple[Look, ...] = ()
    ph: tuple[Reading, ...] = ()
    note: str = ""
    by: str | None = None
    kind: Kind | None = None
    number: str | None = None
    amends: str | None = None
    lots: Mapping[str, str] = field(default_factory=dict)
    sprayed: Sprayed | None = None
    measured: tuple[Measured, ...] = ()


def jug_entry(product: Product, sighting: Sighting, versions: Mapping[str, str]) -> Entry:
    """What was measured of a jug alone, with its file as it was read."""
    file = product.read_from
    files = () if file is None else (
        KeptFile(name=file.name, what=file.what, text=file.text, hash=file.hash),
    )  # fmt: skip
    mix = KeptMix(
        name=product.name,
        files=files,
        lots=(sighting.lots.get(product.name) or product.lot,),
        rates=(None,),
        order=(product.name,),
        water=None,
        carrier=None,
        tank=None,
        area=None,
        temperatures=Temperatures(tank_C=None, coldest_C=None),
    )
    return _entry(mix, None, replace(sighting, kind="jug"), versions)


def entry_of(result: Forecast, sighting: Sighting) -> Entry:
    """What was seen of a mix, with the whole mix as it was read and the forecast as it stood."""
    mix = kept_mix(result.mix, sighting.lots)
    return _entry(mix, _stood(result), sighting, result.versions)


def _entry(
    mix: KeptMix, stood: Stood | None, sighting: Sighting, versions: Mapping[str, str]
) -> Entry:
    return Entry(
        id=secrets.token_hex(8),
        by=sighting.by,
        at=now(),
        amends=sighting.amends,
        kind=sighting.kind,
        number=sighting.number,
        mix=mix,
        seen=sighting.seen,
        ph=sighting.ph,
        sprayed=sighting.sprayed,
        forecast=stood,
        versions=dict(versions),
        note=sighting.note.strip() or None,
        measured=sighting.measured,
    )


def now() -> str:
    """This moment to the second, with its offset from UTC."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


def kept_mix(mix: Mix, lots: Mapping[str, str] | None = None) -> KeptMix:
    """A mix as it is kept; without files where it was not read from any.

    lots: product -> lot, where one was told; else that of the product's file, if it has one.
    """
    told = lots or {}
    rates = tuple(a.rate.text or format_rate(a.rate, "metric") for a in mix.additions)
    return KeptMix(
        name=mix.name,
        files=tuple(
            KeptFile(name=f.name, what=f.what, text=f.text, hash=f.hash) for f in mix.files
        ),
        lots=tuple(
            told.get(a.product.name) or getattr(a.product, "lot", None) for a in mix.additions
        ),
        rates=rates,
        order=tuple(a.product.name for a in mix.additions),
        water=mix.water.name,
        carrier=f"{1e4 * mix.carrier_L_per_m2:.12g} L/ha",
        tank=None if mix.tank_L is None else f"{mix.tank_L:.12g} L",
        area=None,
        temperatures=Temperatures(tank_C=mix.t_celsius, coldest_C=mix.coldest_celsius),
    )


def _stood(result: Forecast) -> Stood:
    return Stood(
        answer=result.answer,
        judged_at=result.judged_at,
        chance=_finite(result.chance),
        because=None if result.because is None else result.because.cause,
        probability=_each(result.probability),
        clogs=_each(result.clogs),
        ph=_each(result.ph.as_dict()),
        solids=tuple(
            Threat(key=s.key, probability=_each(s.probability))
            for s in result.solids
            if s.probability["24h"] >= SHOWS
        ),
        rules=tuple(
            BrokenRule(
                code=r.code,
                severity=r.severity,
                product=name_of(result.mix, r.product) or None,
                other=name_of(result.mix, r.other) or None,
            )
            for r in result.rules
        ),
        draws=result.draws,
        seed=result.seed,
    )


def _each(values: Mapping[str, float]) -> Chances:
    return {key: _finite(value) for key, value in values.items()}


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
