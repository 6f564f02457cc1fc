"""Liquids that a label allows, drawn in many versions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chem.doubts import Draws, doubts
from chem.errors import Problem
from chem.label.amounts import (
    FORCED_MISS,
    FREE_SPREAD,
    MASS_LIMIT_DRY,
    MASS_LIMIT_LIQUID,
    MISS,
    MISS_SCALE,
    Bools,
    Floats,
    Lines,
    dissolved_share,
    label_lines,
    misses,
    nearest,
    too_much,
)
from chem.label.product import Product
from chem.label.readings import (
    MOST_READINGS,
    Reading,
    Slot,
    bare_ions,
    columns,
    named_sources,
    readings_of,
    slots_of,
)
from chem.reference import Source, catalogue, common_sources, judged, unstated

CANDIDATES = 256


@dataclass(frozen=True)
class Candidates:
    """M liquids that fit a label.

    sources: n; amounts: (M, n) [kg/kg]; lines: those of `sources`; miss_eq: (M,) equivalents per
    kg by which the lines are missed; reading: (M,) which; unstated: sources without any percent;
    bare: sources that only stand for ions of living matter.
    """

    sources: tuple[Source, ...]
    amounts: Floats
    lines: Lines
    miss_eq: Floats
    slots: tuple[Slot, ...]
    readings: tuple[Reading, ...]
    reading: NDArray[np.int64]
    unstated: tuple[str, ...]
    bare: frozenset[str]


def candidates(
    product: Product, draws: Draws, notes: list[str]
) -> tuple[Candidates, list[Problem]]:
    """Liquids that a label allows, and why none can be, if so."""
    slots = slots_of(product)
    readings = readings_of(product, slots)
    sources = columns(readings)
    lines = label_lines(product, sources)
    readings, problems = _fitting(product, lines, readings, notes)
    if len(columns(readings)) != len(sources) or set(columns(readings)) != set(sources):
        sources = columns(readings)
        lines = label_lines(product, sources)
    count = max(CANDIDATES, draws.count)
    generator = draws.generator(f"product:{product.key}:liquids")
    reading = _shared_out(readings, count)
    members = np.array([[s.key in r.sources for s in sources] for r in readings])
    allowed = members.reshape(len(readings), len(sources))[reading]
    free = ~(lines.gives > 1e-9).any(axis=0) if len(lines.names) else np.ones(len(sources), bool)
    wish = generator.random((count, len(sources)))
    amounts = np.zeros((count, len(sources)))
    if len(lines.names) and len(sources):
        wanted = _wanted(lines, count, generator)
        amounts = nearest(lines, wanted, allowed & ~free, wish)
    for j in np.flatnonzero(free):
        low, high = _range_of(sources[j], product, sources)
        drawn = np.exp(np.log(low) + (np.log(high) - np.log(low)) * wish[:, j]) / 100.0
        amounts[:, j] = drawn * allowed[:, j]
    mass = amounts @ dissolved_share(sources, product.dry)
    limit = MASS_LIMIT_DRY if product.dry else MASS_LIMIT_LIQUID
    amounts /= np.maximum(1.0, mass / limit)[:, None]
    found = Candidates(
        sources,
        amounts,
        lines,
        _missed_equivalents(lines, amounts),
        slots,
        readings,
        reading,
        tuple(sources[j].key for j in np.flatnonzero(free)),
        bare_ions(product, readings),
    )
    return found, problems


def _fitting(
    product: Product, lines: Lines, readings: tuple[Reading, ...], notes: list[str]
) -> tuple[tuple[Reading, ...], list[Problem]]:
    """Readings that fit the lines, each with its chance; where none does, the nearest, and with
    common sources of the lines that it misses."""
    if not len(lines.names) or not len(lines.sources):
        return readings, []
    allowed = np.array([[s.key in r.sources for s in lines.sources] for r in readings])
    wish = np.full(allowed.shape, 0.01)
    wanted = np.repeat(lines.printed[None, :] * 1.02, len(readings), axis=0)
    fitted = nearest(lines, wanted, allowed, wish)
    miss = misses(lines, fitted)
    worst = miss.max(axis=1)
    best = int(worst.argmin())
    problems: list[Problem] = []
    if worst[best] > MISS:
        problems = too_much(product, lines, fitted[best])
        short = (
            lines.printed - lines.step - fitted[best] @ lines.gives.T
        ) > FORCED_MISS * lines.printed
        added: set[str] = set()
        for g in np.flatnonzero(short & (miss[best] > FORCED_MISS)):
            added |= {s for keys, _ in common_sources(lines.names[g]) for s in keys}
        notes += _contradictions(product, lines, allowed[best], miss[best])
        nearest_one = readings[best]
        return (
            (Reading(nearest_one.sources | frozenset(added), 1.0, nearest_one.taken),),
            problems,
        )
    weight = np.array([r.chance for r in readings]) * np.exp(-0.5 * (worst / MISS_SCALE) ** 2)
    weight *= _unprinted(product, lines, fitted)
    weight[worst > MISS] = 0.0
    problems = too_much(product, lines, fitted[int(weight.argmax())])
    likely = np.argsort(-weight, kind="stable")[:MOST_READINGS]
    likely = likely[weight[likely] > 1e-3 * weight.max()]
    whole = float(weight[likely].sum())
    return tuple(
        Reading(readings[i].sources, float(weight[i]) / whole, readings[i].taken) for i in likely
    ), problems


def _contradictions(product: Product, lines: Lines, allowed: Bools, miss: Floats) -> list[str]:
    """Which lines of a label contradict which, by which one goes in the way of another."""
    wish = np.full((1, len(lines.sources)), 0.01)
    missed = [g for g in np.flatnonzero(miss > FORCED_MISS) if lines.names[g] in product.guarantee]
    against = []
    for g in missed:
        in_the_way = []
        for h in range(len(lines.names)):
            if h == g or not lines.gives[h].any():
                continue
            rest = replace(
                lines,
                gives=np.delete(lines.gives, h, axis=0),
                printed=np.delete(lines.printed, h),
                step=np.delete(lines.step, h),
            )
            fitted = nearest(rest, rest.printed[None, :] * 1.02, allowed[None, :], wish)
            if misses(rest, fitted)[0].max() < FORCED_MISS:
                in_the_way.append(lines.names[h])
        if in_the_way:
            against.append(f"{lines.names[g]} contradicts {' or '.join(in_the_way)}")
    names = ", ".join(lines.names[g] for g in missed)
    why = f" ({'; '.join(dict.fromkeys(against))})" if against else ""
    if not missed:
        return []
    return [
        f"{product.name}: its named sources don't give its {names}{why}; other common sources of "
        "them were tried, and the widest liquid that can be is forecast"
    ]


def _unprinted(product: Product, lines: Lines, amounts: Floats) -> Floats:
    """(R,) how likely it is that a label leaves out what each reading holds beyond its lines."""
    out = np.ones(len(amounts))
    if not product.guarantee:
        return out
    nitrogen = any(k.endswith("nitrogen") for k in product.guarantee)
    for line, least in judged("must_be_printed").items():
        if line in product.guarantee or (line == "total nitrogen" and nitrogen):
            continue
        row = catalogue().guarantees[line]
        gives = np.array([row.percent_of(s.mol_per_kg()) for s in lines.sources])
        out[amounts @ gives > least] *= judged("rarely_unprinted")[line]
    return out


def _shared_out(readings: Sequence[Reading], count: int) -> NDArray[np.int64]:
    """(count,) which reading each candidate takes, by systematic shares."""
    edges = np.cumsum([r.chance for r in readings])
    levels = (np.arange(count) + 0.5) / count * edges[-1]
    return np.asarray(np.minimum(np.searchsorted(edges, levels), len(readings) - 1))


def _wanted(lines: Lines, count: int, generator: np.random.Generator) -> Floats:
    """(count, G) what the lines may truly hold [percent]."""
    over = doubts()["over_formulation"]
    whole = (
        over.a + (over.b - over.a) * generator.permutation(np.arange(count) + 0.5)[:, None] / count
    )
    own = np.exp(lines.sd * generator.standard_normal((count, len(lines.names))))
    rounded = lines.step * generator.random((count, len(lines.names))) ** 2
    true = lines.printed * np.where(lines.over, 1.0 + whole, 1.0) * own + rounded
    return np.asarray(np.maximum(true, lines.least))


def _range_of(source: Source, product: Product, sources: Sequence[Source]) -> tuple[float, float]:
    """Percent that a source without any printed amount may hold."""
    if source.key in unstated():
        return unstated()[source.key]
    named = {s.key for s in product.sources} | {s.key for s in sources}
    if source.kind == "acid":
        rest = named - {"urea"}
        alone = all(catalogue().sources[k].kind == "acid" for k in rest)
        of = "acid_alone" if alone else "acid_beside"
    else:
        of = "salt"
    return judged("unprinted_percent")[f"{of}_least"], judged("unprinted_percent")[f"{of}_most"]


def _missed_equivalents(lines: Lines, amounts: Floats) -> Floats:
    """(M,) equivalents per kg of product by which the lines are missed."""
    if not len(lines.names) or not len(lines.sources):
        return np.zeros(len(amounts))
    known = catalogue().guarantees
    per_percent = np.array(
        [10.0 / known[n].grams_per_mole if n in known else 0.0 for n in lines.names]
    )
    missed = misses(lines, amounts) * np.maximum(lines.printed, 0.3)
    return np.asarray(missed @ per_percent)


def open_columns(product: Product, found: Candidates, rows: NDArray[np.int64]) -> dict[str, Floats]:
    """What a label leaves open, as named columns (N,): its lines, split of sources, words."""
    amounts = found.amounts[rows]
    lines = found.lines
    out = {}
    reached = amounts @ lines.gives.T if len(lines.names) else np.zeros((len(rows), 0))
    for name, printed, column in zip(lines.names, lines.printed, reached.T, strict=True):
        if printed < np.finfo(np.float64).tiny:  # of nothing there is no share
            continue
        if name in product.guarantee:
            out[f"product:{product.key}:guarantee:{name}"] = column / printed
        else:
            out[f"product:{product.key}:{name.replace(' ', ':', 1)}"] = column / printed
    split = set(named_sources(product)) - set(product.also)
    for source, column in zip(found.sources, amounts.T, strict=True):
        mean = float(column.mean())
        if (
            (source.key in split or not found.slots)
            and mean > 0.0
            and column.std() > FREE_SPREAD * mean
        ):
            out[f"product:{product.key}:source:{source.key}"] = 100.0 * column
    for k, slot in enumerate(found.slots):
        taken = np.array([r.taken[k] for r in found.readings])
        column = taken[found.reading[rows]].astype(np.float64)
        out[f"product:{product.key}:reading of {slot.name}"] = column
    return out
