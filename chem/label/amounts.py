"""How much of each source a product may hold: the set of liquids that fit its label, per draw."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chem.doubts import Draws, doubts
from chem.errors import InputProblem, Problem
from chem.label.nnls import Floats, nnls
from chem.label.polytope import Polytope, centre, sample
from chem.label.product import Product
from chem.reference import Source, catalogue, common_sources

SPREAD_RIDGE = 1e-4
FLAT = 1e-4
"""A set thinner than this, relative, is widened before it is sampled."""
WIDEN = 0.02
LOOSE_NOTE = 0.03
MASS_LIMIT_LIQUID, MASS_LIMIT_DRY = 0.98, 1.0
ABSENT_PERCENT = 0.05
MIDDLE_DRAWS = 256
FREE_SPREAD = 0.08
BAND_ROUNDS = 30
EXTRACT_KINDS = {"polymer", "organic"}
EXTRACT_BAND = (0.7, 1.4)
KNOWN_BAND = (0.98, 1.02)


@dataclass(frozen=True)
class Lines:
    """The label as inequalities over sources: low <= gives w <= high [percent], w [kg/kg]."""

    names: tuple[str, ...]
    sources: tuple[Source, ...]
    gives: Floats
    printed: Floats
    low: Floats
    high: Floats
    least: Floats
    cap: Floats


def label_lines(product: Product) -> Lines:
    """Every line of a label that bounds its sources.

    least: (G,) lower ends with the published investigational allowance, for a lot that falls
    short; cap: (n,) most of each source.
    """
    known = catalogue()
    sources = tuple(
        dict.fromkeys(
            [
                *product.sources,
                *(known.sources[k] for k in product.also),
                *(known.sources[k] for k in product.known if k in known.sources),
            ]
        )
    )
    over = doubts()["over_formulation"]
    also = doubts()["also_declared"]
    rows: list[tuple[str, Floats, float, float, float, float]] = []

    def add(name: str, row: list[float], printed: float, band: tuple[float, float, float]) -> None:
        rows.append((name, np.array(row), printed, *band))

    for key, percent in product.guarantee.items():
        line = known.guarantees[key]
        row = [line.percent_of(s.mol_per_kg()) for s in sources]
        allowed = line.allowance(percent) if percent > 0.0 else 0.0
        most = percent * (1.0 + over.b) if percent > 0.0 else ABSENT_PERCENT
        if key in product.known:
            sure = product.known[key]
            add(key, row, sure, (sure * KNOWN_BAND[0], sure * KNOWN_BAND[1], sure * KNOWN_BAND[0]))
        else:
            add(key, row, percent, (percent, most, max(percent - allowed, 0.0)))
    for key, chelated in product.chelated.items():
        line = known.guarantees[key]
        row = [line.percent_of(s.mol_per_kg()) if s.bound else 0.0 for s in sources]
        if any(row):
            p = chelated.percent
            add(f"chelated {key}", row, p, (p, p * (1.0 + over.b), p * 0.9))
    for key, percent in product.also.items():
        source = known.sources[key]
        band = EXTRACT_BAND if source.kind in EXTRACT_KINDS else (also.a, also.b)
        row = [100.0 if s is source else 0.0 for s in sources]
        add(f"also {key}", row, percent, (band[0] * percent, band[1] * percent, band[0] * percent))
    for key, percent in product.known.items():
        if key in known.sources:
            row = [100.0 if s.key == key else 0.0 for s in sources]
        elif key in known.guarantees and key not in product.guarantee:
            row = [known.guarantees[key].percent_of(s.mol_per_kg()) for s in sources]
        else:
            continue
        least, most = KNOWN_BAND[0] * percent, KNOWN_BAND[1] * percent
        add(f"known {key}", row, percent, (least, most, least))
    gives = np.array([r[1] for r in rows]).reshape(len(rows), len(sources))
    high = np.array([r[4] for r in rows])
    cap = np.full(len(sources), doubts()["unquantified_source"].b)
    for j in range(len(sources)):
        bounding = gives[:, j] > 1e-9
        if bounding.any():
            cap[j] = min(1.0, float((1.01 * high[bounding] / gives[bounding, j]).min()) + 1e-6)
    return Lines(
        tuple(r[0] for r in rows),
        sources,
        gives,
        np.array([r[2] for r in rows]),
        np.array([r[3] for r in rows]),
        high,
        np.array([r[5] for r in rows]),
        cap,
    )


def best_fit(lines: Lines, wanted: Floats | None = None) -> Floats:
    """(n,) amounts [kg/kg] that give the lines best, by non-negative least squares.

    wanted: (G,) [percent] to meet, as printed where None.
    """
    weight = 1.0 / np.maximum(lines.printed, 0.02)
    ridge = np.full(len(lines.sources), SPREAD_RIDGE)
    target = lines.printed if wanted is None else wanted
    return nnls(lines.gives * weight[:, None] * lines.cap, target * weight, ridge) * lines.cap


def _within_bands(lines: Lines) -> Floats:
    """(n,) amounts [kg/kg] nearest the printed lines, each free to stand over up to its most.

    Printed numbers are rounded: 1.1 % of ammoniacal nitrogen must not hold 19 % of calcium down.
    """
    amounts = best_fit(lines)
    for _ in range(BAND_ROUNDS):
        got = lines.gives @ amounts
        wanted = np.clip(got, lines.printed, lines.high)
        if np.allclose(got, wanted, rtol=1e-3, atol=0.0):
            break
        amounts = best_fit(lines, wanted)
    return amounts


def dissolved_share(sources: tuple[Source, ...], dry: bool) -> Floats:
    """(n,) kg that a kg of each source takes of the product besides water."""
    return np.array([1.0 if dry else 1.0 - s.water_share for s in sources])


def misfits(product: Product, lines: Lines) -> list[Problem]:
    """Guarantees out of reach by more than the allowance; more solute than product."""
    if not len(lines.sources) or not len(lines.names):
        return []
    known = catalogue()
    fitted = _within_bands(lines)
    problems = []
    for name, got, wanted in zip(lines.names, lines.gives @ fitted, lines.printed, strict=True):
        if name not in product.guarantee:
            continue
        allowed = known.guarantees[name].allowance(wanted)
        if wanted - got > max(allowed, 0.02 * wanted):
            problems.append(
                Problem(
                    f"{product.file}, guarantee.{name} = {wanted:g}",
                    f"its sources reach only {max(got, 0.0):.2g} % beside the other lines "
                    f"(allowed shortfall {allowed:.2g})",
                    "every source of the `derived from` line, and the percents as printed",
                )
            )
    weight = float(fitted @ dissolved_share(lines.sources, product.dry))
    if weight > (1.05 if product.dry else 1.0):
        problems.append(
            Problem(
                f"{product.file}, guarantee = {dict(product.guarantee)}",
                f"the sources needed for it weigh {100 * weight:.0f} % of the product",
                "the percents as printed, and the hydrate that the label names",
            )
        )
    return problems


@dataclass(frozen=True)
class Fitting:
    """Every liquid that fits a label: its lines, the set they bound, that of a lot that falls
    short, and a point in both; no sets where the label names no source.
    """

    lines: Lines
    whole: Polytope | None
    short: Polytope | None
    start: Floats

    @property
    def sources(self) -> tuple[Source, ...]:
        """n sources, as columns of amounts."""
        return self.lines.sources

    def amounts(self, product: Product, draws: Draws, sets: int = 1) -> Floats:
        """(sets * N, n) amounts [kg per kg of product], evenly over all that fits.

        A tenth of the draws may fall short by the published allowance. One draw gives the mean.
        """
        if self.whole is None or self.short is None:
            return np.zeros((sets * draws.count, 0))
        generator = draws.generator(f"product:{product.key}:liquids:{sets}")
        if draws.count == 1:
            many = sample(self.whole, self.start, MIDDLE_DRAWS, generator)
            return np.repeat(many.mean(axis=0, keepdims=True), sets, axis=0)
        chance = doubts()["shortfall_chance"].a
        falls = draws.uniform(f"product:{product.key}:short", 0.0, 1.0) < chance
        low = np.where(falls, self.short.low[:, None], self.whole.low[:, None])
        return sample(self.whole, self.start, draws.count, generator, sets, low)


@dataclass(frozen=True)
class Prior:
    """Liquids of a label that names no source: common ones of each line."""

    sources: tuple[Source, ...]

    def amounts(self, product: Product, draws: Draws, sets: int = 1) -> Floats:
        """(sets * N, n) amounts [kg per kg of product], one common source a line and draw."""
        return _by_prior(product, draws, self.sources, sets)


def fitting(product: Product, notes: list[str], *, strict: bool = True) -> Fitting | Prior:
    """The liquids that a label allows.

    strict: refuse a label that no liquid fits, else take what comes nearest.

    Raises: InputProblem where no liquid fits the label, or no source is common for a line.
    """
    if not product.sources and not product.also and product.guarantee:
        return Prior(_common_sources(product, notes))
    lines = label_lines(product)
    problems = misfits(product, lines)
    if problems and strict:
        raise InputProblem(problems)
    if not lines.sources:
        return Fitting(lines, None, None, np.zeros(0))
    given = zip(lines.sources, lines.gives.T, strict=True)
    unstated = [source.key for source, row in given if not row.any()]
    if unstated:
        most = 100.0 * doubts()["unquantified_source"].b
        notes.append(
            f"{product.name}: no amount on the label for {', '.join(unstated)}; 0 to {most:g} % "
            "tried, it may hold more: its percent under [also] settles it"
        )
    return Fitting(lines, *_liquids(product, lines, notes))


def open_columns(product: Product, lines: Lines, amounts: Floats) -> dict[str, Floats]:
    """What a label leaves open, as named columns (N,): contents of lines, split of sources."""
    out = {}
    reached = amounts @ lines.gives.T
    for name, printed, column in zip(lines.names, lines.printed, reached.T, strict=True):
        if printed > 0.0 and name in product.guarantee:
            out[f"product:{product.key}:guarantee:{name}"] = column / printed
        elif printed > 0.0:
            out[f"product:{product.key}:{name.replace(' ', ':', 1)}"] = column / printed
    for source, column in zip(lines.sources, amounts.T, strict=True):
        mean = float(column.mean())
        if source.key not in product.also and mean > 0.0 and column.std() > FREE_SPREAD * mean:
            out[f"product:{product.key}:source:{source.key}"] = 100.0 * column
    return out


def _liquids(product: Product, lines: Lines, notes: list[str]) -> tuple[Polytope, Polytope, Floats]:
    """What fits the printed lines, what fits a lot that falls short, and a point in both."""
    mass = dissolved_share(lines.sources, product.dry)
    limit = MASS_LIMIT_DRY if product.dry else MASS_LIMIT_LIQUID
    whole, short = (
        Polytope.of_label(lines.gives, low, lines.high, mass, limit, lines.cap)
        for low in (lines.low, lines.least)
    )
    start, slack = centre(whole)
    if slack < FLAT:
        whole, short = whole.widened(WIDEN - slack), short.widened(WIDEN - slack)
        if -slack > LOOSE_NOTE:
            notes.append(
                f"{product.name}: its lines don't quite agree with its sources "
                f"({100 * -slack:.0f} %); taken as rounded"
            )
        start, _ = centre(whole)
    return whole, short, start


def _open_lines(product: Product) -> list[str]:
    """Guaranteed lines that some source must stand behind."""
    return [
        k
        for k, p in product.guarantee.items()
        if p > 0.0 and (k != "total nitrogen" or not _has_nitrogen_form(product))
    ]


def _common_sources(product: Product, notes: list[str]) -> tuple[Source, ...]:
    """Every common source of every line. Raises: InputProblem where a line has none."""
    names: set[str] = set()
    for line in _open_lines(product):
        options = common_sources(line)
        if not options:
            raise InputProblem(
                Problem(
                    f"{product.file}, guarantee.{line} = {product.guarantee[line]:g}",
                    "no source is named and none is common for this line",
                    "the compounds of the `derived from` line",
                )
            )
        names |= {name for name, _ in options}
        named = ", ".join(name for name, _ in options)
        notes.append(f"{product.name}: no source named for {line}; tried {named}")
    return tuple(catalogue().sources[n] for n in sorted(names))


def _by_prior(product: Product, draws: Draws, sources: tuple[Source, ...], sets: int) -> Floats:
    """(sets * N, n) amounts: per draw and set, one common source for each guaranteed line."""
    known = catalogue()
    lines = _open_lines(product)
    place = {s.key: j for j, s in enumerate(sources)}
    chosen = np.empty((sets * draws.count, len(lines)), dtype=np.int64)
    for i, line in enumerate(lines):
        options = common_sources(line)
        edges = np.cumsum([chance for _, chance in options])
        column = f"product:{product.key}:source of {line}"
        u = draws.uniform(column, 0.0, edges[-1])
        if sets > 1:
            u = draws.generator(f"{column}:{sets}").uniform(0.0, edges[-1], sets * draws.count)
        picks = np.minimum(np.searchsorted(edges, u), len(options) - 1)
        chosen[:, i] = np.array([place[name] for name, _ in options])[picks]
    ways, way = np.unique(chosen, axis=0, return_inverse=True)
    wanted = np.array([product.guarantee[k] for k in lines])
    weight = 1.0 / np.maximum(wanted, 0.02)
    fitted = np.zeros((len(ways), len(sources)))
    for row, combination in enumerate(ways):
        mine = sorted(set(combination.tolist()))
        gives = np.array(
            [[known.guarantees[k].percent_of(sources[j].mol_per_kg()) for j in mine] for k in lines]
        )
        ridge = np.full(len(mine), SPREAD_RIDGE)
        fitted[row, mine] = nnls(gives * weight[:, None], wanted * weight, ridge)
    over = np.tile(draws.of("over_formulation", f"product:{product.key}:guarantee:all lines"), sets)
    amounts = fitted[way.ravel()] * (1.0 + over)[:, None]
    return np.asarray(amounts / np.maximum(1.0, amounts.sum(axis=1) / MASS_LIMIT_LIQUID)[:, None])


def _has_nitrogen_form(product: Product) -> bool:
    return any(k.endswith("nitrogen") and k != "total nitrogen" for k in product.guarantee)
