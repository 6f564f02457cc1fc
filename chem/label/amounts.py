"""How much of each source a product may hold: its label as lines over source amounts, and many
liquids that fit them.

A candidate liquid is drawn as a whole: one reading of the label's words, one over-formulation for
all its lines with a little spread between them, what printed figures were rounded from, a random
wish for every source; then the amounts nearest to all of it, none below zero (least squares with
a ridge towards the wish, which alone decides where the lines leave a direction open).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chem.doubts import Draws, doubts
from chem.errors import Problem
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

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

CANDIDATES = 256
ROUNDS = 14
MASS_LIMIT_LIQUID, MASS_LIMIT_DRY = 0.97, 1.0
EXTRACT_KINDS = {"polymer", "organic"}
_FIT = judged("label_fit")
TIGHT, LEAST_LINE = _FIT["tight"], _FIT["least_line"]
MISS, MISS_SCALE, FORCED_MISS = _FIT["miss"], _FIT["miss_scale"], _FIT["forced_miss"]
EXTRACT_SD, KNOWN_SD, FREE_SPREAD = _FIT["extract_sd"], _FIT["known_sd"], _FIT["free_spread"]


@dataclass(frozen=True)
class Lines:
    """The label as lines over sources: gives w [percent] should be what is printed, w [kg/kg].

    step: (G,) last printed digit; least: (G,) with the published allowance for a lot that falls
    short; sd: (G,) spread of the figure; over: (G,) whether makers aim above it; cap: (n,) most of
    each source.
    """

    names: tuple[str, ...]
    sources: tuple[Source, ...]
    gives: Floats
    printed: Floats
    step: Floats
    least: Floats
    sd: Floats
    over: Bools
    cap: Floats


def label_lines(product: Product, sources: Sequence[Source] | None = None) -> Lines:
    """Every line of a label that bounds its sources (default: those it names without doubt)."""
    known = catalogue()
    if sources is None:
        named = [*product.sources, *(known.sources[k] for k in product.also)]
        named += [known.sources[k] for k in product.known if k in known.sources]
        sources = tuple(dict.fromkeys(named))
    spread = doubts()["line_spread"].b
    rows: list[tuple[str, list[float], float, float, float, float, bool]] = []

    def share(source: Source) -> list[float]:
        return [100.0 if s is source else 0.0 for s in sources]

    for key, percent in product.guarantee.items():
        line = known.guarantees[key]
        gives = [line.percent_of(s.mol_per_kg()) for s in sources]
        if key in product.known:
            sure = product.known[key]
            rows.append((key, gives, sure, 0.0, 0.98 * sure, KNOWN_SD, False))
        else:
            least = percent - (line.allowance(percent) if percent > 0.0 else 0.0)
            rows.append((key, gives, percent, _step(percent), max(least, 0.0), spread, True))
    for key, chelated in product.chelated.items():
        line = known.guarantees[key]
        gives = [line.percent_of(s.mol_per_kg()) if s.bound else 0.0 for s in sources]
        if any(gives):
            p = chelated.percent
            rows.append((f"chelated {key}", gives, p, _step(p), 0.9 * p, spread, True))
    for key, percent in product.also.items():
        source = known.sources[key]
        sd = EXTRACT_SD if source.kind in EXTRACT_KINDS else spread
        rows.append((f"also {key}", share(source), percent, 0.0, 0.7 * percent, sd, False))
    for key, percent in product.known.items():
        if key in known.sources:
            gives = share(known.sources[key])
        elif key in known.guarantees and key not in product.guarantee:
            gives = [known.guarantees[key].percent_of(s.mol_per_kg()) for s in sources]
        else:
            continue
        rows.append((f"known {key}", gives, percent, 0.0, 0.98 * percent, KNOWN_SD, False))
    matrix = np.array([r[1] for r in rows]).reshape(len(rows), len(sources))
    printed = np.array([r[2] for r in rows])
    most = 1.3 * printed + np.array([r[3] for r in rows]) + LEAST_LINE
    cap = np.ones(len(sources))
    for j in range(len(sources)):
        bounding = matrix[:, j] > 1e-9
        if bounding.any():
            cap[j] = min(1.0, float((most[bounding] / matrix[bounding, j]).min()))
    return Lines(
        tuple(r[0] for r in rows),
        tuple(sources),
        matrix,
        printed,
        np.array([r[3] for r in rows]),
        np.array([r[4] for r in rows]),
        np.array([r[5] for r in rows]),
        np.array([r[6] for r in rows], dtype=bool),
        cap,
    )


def _step(percent: float) -> float:
    """Last printed digit of a percent, at most a tenth of it."""
    text = f"{percent:.6g}"
    digits = len(text.partition(".")[2])
    return min(10.0**-digits, 0.1 * percent)


def nearest(lines: Lines, wanted: Floats, allowed: Bools, wish: Floats) -> Floats:
    """(M, n) amounts [kg/kg] nearest to lines and wishes, none below 0.

    Block principal pivoting on the normal equations (Portugal, Judice and Vicente, Math. Comput.
    63 (1994) 625). wanted: (M, G) [percent]; allowed: (M, n) sources of each row; wish: (M, n)
    share of the cap.
    """
    scale = TIGHT * np.maximum(lines.printed, LEAST_LINE)
    matrix = lines.gives * lines.cap / scale[:, None]
    gram = matrix.T @ matrix + np.eye(len(lines.sources))
    asked = (wanted / scale) @ matrix + wish
    rows, n = asked.shape
    passive = allowed.copy()
    amounts = np.zeros((rows, n))
    todo = np.arange(rows)
    for _ in range(ROUNDS):
        on = passive[todo]
        system = np.where(on[:, :, None] & on[:, None, :], gram, 0.0)
        system[:, range(n), range(n)] = np.where(on, np.diag(gram), 1.0)
        found = np.linalg.solve(system, np.where(on, asked[todo], 0.0)[:, :, None])[:, :, 0]
        amounts[todo] = np.where(on, found, 0.0)
        slope = amounts[todo] @ gram - asked[todo]
        leaves = on & (found < -1e-12)
        enters = ~on & allowed[todo] & (slope < -1e-9 * np.abs(asked[todo]).max(axis=1)[:, None])
        passive[todo] = (on & ~leaves) | enters
        todo = todo[(leaves | enters).any(axis=1)]
        if not todo.size:
            break
    return np.maximum(amounts, 0.0) * lines.cap


def misses(lines: Lines, amounts: Floats) -> Floats:
    """(M, G) share by which amounts (M, n) miss what lines allow: short, or far over."""
    got = amounts @ lines.gives.T
    most = lines.printed * (1.0 + doubts()["over_formulation"].b) + lines.step
    short = lines.printed - lines.step - got
    return np.asarray(np.maximum(short, got - most) / np.maximum(lines.printed, 0.3)).clip(0.0)


def dissolved_share(sources: Sequence[Source], dry: bool) -> Floats:
    """(n,) kg that a kg of each source takes of the product besides water."""
    return np.array([1.0 if dry else 1.0 - s.water_share for s in sources])


def misfits(product: Product, lines: Lines) -> list[Problem]:
    """Guarantees out of reach of the named sources by more than the allowance, and `too_much`.

    A line that no named source supplies at all is a doubt with common sources, no misfit.
    """
    if not len(lines.sources) or not len(lines.names):
        return []
    known = catalogue()
    fitted = _as_printed(lines)
    problems = []
    for row, name in enumerate(lines.names):
        got, wanted = float(lines.gives[row] @ fitted), float(lines.printed[row])
        unsourced = not lines.gives[row].any() and bool(common_sources(name))
        if name not in product.guarantee or product.vague or unsourced:
            continue
        allowed = known.guarantees[name].allowance(wanted)
        if wanted - got > max(allowed, 0.02 * wanted):
            problems.append(
                Problem(
                    f"{product.file}, guarantee.{name} = {wanted:g}",
                    f"its sources reach only {max(got, 0.0):.2g} % beside the other lines "
                    f"(allowed shortfall {allowed:.2g})",
                    "every source of the `derived from` line, and the percents as printed",
                    f"guarantee.{name}",
                )
            )
    return problems + _too_much(product, lines, fitted)


def _as_printed(lines: Lines) -> Floats:
    """(n,) amounts nearest to the printed lines, each free to stand over up to its most."""
    allowed = np.ones((1, len(lines.sources)), dtype=bool)
    wish = np.full((1, len(lines.sources)), 0.01)
    wanted = lines.printed[None, :]
    most = lines.printed * (1.0 + doubts()["over_formulation"].b) + lines.step
    amounts = nearest(lines, wanted, allowed, wish)
    for _ in range(25):
        got = amounts @ lines.gives.T
        again = np.where(lines.over, np.clip(got, lines.printed, most), lines.printed)
        if np.allclose(again, wanted, rtol=1e-3, atol=0.0):
            break
        wanted = again
        amounts = nearest(lines, wanted, allowed, wish)
    return np.asarray(amounts[0])


def _too_much(product: Product, lines: Lines, amounts: Floats) -> list[Problem]:
    """Whether the sources that the lines ask for weigh more than the product."""
    weight = float(amounts @ dissolved_share(lines.sources, product.dry))
    if weight <= (1.05 if product.dry else 1.0):
        return []
    return [
        Problem(
            f"{product.file}, guarantee = {dict(product.guarantee)}",
            f"the sources needed for it weigh {100 * weight:.0f} % of the product",
            "the percents as printed, and the hydrate that the label names",
            "guarantee",
        )
    ]


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
        problems = _too_much(product, lines, fitted[best])
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
    problems = _too_much(product, lines, fitted[int(weight.argmax())])
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
        if printed > 0.0 and name in product.guarantee:
            out[f"product:{product.key}:guarantee:{name}"] = column / printed
        elif printed > 0.0:
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
