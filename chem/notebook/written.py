"""What people write of a look, read into an entry's parts: when, pH, ladders, lots."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import datetime, time

from chem.errors import InputProblem, Problem
from chem.forecast import read_after, read_seen
from chem.label import Product, as_measured
from chem.notebook.entry import Dose, Look, Measured, Reading
from chem.reference import judged
from chem.tank import Mix
from chem.units import read_ph, read_temperature, read_volume

CLEAN = {"clean", "yes", "fine", "ok", "clear", "nothing"}
INSTRUMENTS = ("strip", "meter")
VOLUME_UNITS = {"gal", "qt", "pt", "fl oz", "L", "l", "mL", "ml"}


def read_left(text: str, where: str) -> float:
    """What is left in a tank [L], none or nothing too. Raises: InputProblem."""
    number, _, unit = text.strip().partition(" ")
    nothing = number in {"0", "0.0", "none", "nothing", "empty"}
    return 0.0 if nothing and unit in {"", *VOLUME_UNITS} else read_volume(text, where)


def read_looks_written(seen: Sequence[str], after: Sequence[str]) -> tuple[Look, ...]:
    """Each look's words and time. Raises: InputProblem where a time is missing, or a word."""
    if len(seen) != len(after):
        read = f"--seen {len(seen)} times, --after {len(after)} times"
        raise InputProblem(Problem(read, "each look has its own time", "one --after per --seen"))
    looks: list[Look] = []
    for words, when in zip(seen, after, strict=True):
        at = read_after(when, "after")
        looks += [Look(word=word, after_s=at) for word in read_seen(words, "seen")]
    return tuple(looks)


def read_reading(
    text: str,
    *,
    after: str | None = None,
    by: str | None = None,
    step: str | None = None,
    temperature: str | None = None,
    dose: Dose | None = None,
) -> Reading:
    """A pH as read: after how long, with what, to what step, how warm. Raises: InputProblem."""
    how = None if by is None else by.strip().lower()
    if how is not None and how not in INSTRUMENTS:
        raise InputProblem(Problem(f"ph-by = {by!r}", "neither of the two", "strip or meter"))
    width = None if how is None else judged("ph_reading")[f"{how}_step"]
    if step is not None:
        width = read_ph(step, "ph-step").value
        if not 0.0 < width <= 2.0:
            raise InputProblem(Problem(f"ph-step = {step!r}", "no step of pH", "such as 0.5"))
    return Reading(
        value=read_ph(text, "ph").value,
        instrument=how,
        step=width,
        after_s=0.0 if after is None else read_after(after, "ph-after"),
        t_C=None if temperature is None else read_temperature(temperature, "ph-temperature"),
        dose=dose,
    )


def read_ladder(
    text: str, *, agent: str | None, jar: str | None, by: str | None, after: str | None
) -> tuple[Reading, ...]:
    """A ladder: dose and pH by turns, `0:6.8, 1 mL:6.1, 3 mL:5.0`; doses add up from the start.

    Raises: InputProblem where a step is no dose and pH.
    """
    steps = []
    for part in re.split(r"[,;]", text):
        amount, colon, ph = part.strip().partition(":")
        if not colon or not amount.strip() or not ph.strip():
            wrong, instead = "no dose and pH", '"0:6.8, 1 mL:6.1, 3 mL:5.0"'
            raise InputProblem(Problem(f"ladder: {part.strip()!r}", wrong, instead))
        none = amount.strip() == "0"
        dose = None if none else Dose(amount=amount.strip(), agent=agent, jar=jar)
        steps.append(read_reading(ph.strip(), by=by, after=after, dose=dose))
    return tuple(steps)


def read_lots(told: Sequence[str], mix: Mix) -> dict[str, str]:
    """Product -> lot, of `NAME=LOT` (any unmistakable part of the name), or of one lot alone where
    one product is poured. Raises: InputProblem."""
    names = [a.product.name for a in mix.additions]
    return dict(read_named(text, "lot", names) for text in told)


def read_measured(
    told: Mapping[str, Sequence[str]], products: Sequence[Product], lots: Mapping[str, str]
) -> tuple[Measured, ...]:
    """What was read of jugs, of `NAME=VALUE` by key (density, ec, ph), or of a value alone where
    one product is meant. Raises: InputProblem."""
    by_name = {p.name: p for p in products}
    found: dict[str, dict[str, str]] = {}
    for key, texts in told.items():
        for text in texts:
            name, value = read_named(text, key, list(by_name))
            product = by_name[name]
            if as_measured(product, {key: value}).identity == product.identity:
                wrong = f"`{product.file}` has its own {key} under [known], which counts"
                raise InputProblem(Problem(f"{key} = {text!r}", wrong, "the new figure there"))
            found.setdefault(name, {})[key] = value
    return tuple(
        Measured(product=name, lot=lots.get(name) or by_name[name].lot, **each)
        for name, each in found.items()
    )


def read_named(text: str, key: str, names: Sequence[str]) -> tuple[str, str]:
    """The product and the value of `NAME=VALUE`, or of a value alone. Raises: InputProblem."""
    name, equals, value = (part.strip() for part in text.rpartition("="))
    if not value:
        raise InputProblem(Problem(f"{key} = {text!r}", f"no {key} is told", f"NAME={key.upper()}"))
    meant = [n for n in names if name.lower() in n.lower()] if equals else list(names)
    meant = [n for n in meant if n.lower() == name.lower()] or meant
    if len(meant) != 1:
        wrong = "several products are meant" if meant else "no product of this mix"
        one_of = f"NAME={key.upper()} of {', '.join(names)}"
        raise InputProblem(Problem(f"{key} = {text!r}", wrong, one_of))
    return meant[0], value


def read_when(text: str) -> str:
    """A day or moment as ISO 8601, with this machine's offset where none is told.

    Raises: InputProblem.
    """
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        raise InputProblem(
            Problem(f"when = {text!r}", "no date", "2026-11-04 or 2026-11-04 10:30")
        ) from None
    aware = moment if moment.tzinfo is not None else moment.astimezone()
    return aware.isoformat(timespec="seconds")


def read_moment(text: str, where: str) -> str:
    """A day and hour, or an hour alone, as written. Raises: InputProblem."""
    for kind in (datetime.fromisoformat, time.fromisoformat):
        try:
            kind(text.strip())
        except ValueError:
            continue
        return text.strip()
    raise InputProblem(
        Problem(f"{where} = {text!r}", "no moment", "2026-11-04 07:30, or 07:30 alone")
    )


def read_clean(text: str, _: str) -> str:
    """`clean` however it is said, else what was in the screens."""
    return "clean" if text.strip().lower() in CLEAN else text.strip()
