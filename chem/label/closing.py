"""The pH of a jug, and the acid or base that no label names.

For each candidate liquid the charge that its label leaves open is a curve over pH, c(pH). How
likely a pH is follows from what makers sell of that kind (`ph_as_sold.csv`), from a printed or
measured reading, and from how little unnamed acid or base it takes: makers trim a pH and name
nothing, so a quarter of that belief is ten times as wide. pH is integrated over a grid; liquids
are then taken by systematic resampling, never by weights.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chem.doubts import median
from chem.equilibrium import Conditions, solve
from chem.label.buffers import AMINES, BUFFER_PKS, NOT_ORGANIC, OF_CHELANT, ORGANIC_KINDS
from chem.label.curves import Made, charge_curves, charges, in_water, per_kgw
from chem.label.evidence import NEVER_SOLD, conducts, contradicted, exists, t4, weighs
from chem.label.keeps import ln_humate_keeps
from chem.label.product import Product
from chem.reference import SoldPh, Source, ph_as_sold, tables

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

GRID = np.arange(0.5, 13.6, 0.5)
FINE = np.arange(0.5, 13.51, 0.05)
DILUTION = {"neat": 1.0, "10 %": 0.1, "1 %": 0.01}
STRONG_IONIC_STRENGTH = 4.0
# Widths of the closing charge [eq/kg]; all common practice, no source.
OF_CHARGE, OF_ORGANIC, OF_AMINE_BORATE, LEAST = 0.02, 1.0, 0.5, 2e-4
OF_FREE_METAL = 0.14
OF_WEAK = {"citrate": 0.1, "S2O3": 0.05, "B": 0.1, "acetate": 0.04, "urea": 0.006}
"""Salts of iron, manganese, zinc and copper hold 1 to 3 % of free acid, against rust and basic
salts; ammonium thiosulfate some free ammonia, acetates some acid, urea up to 0.2 % of ammonia;
borates of sodium are taken back towards neutral."""
BROAD, BROAD_SHARE, BROAD_SHARE_DRY = 10.0, 0.3, 0.05
DRY = 200.0
"""Crystals hold far less free acid or base than liquors, and nobody trims them."""
NO_SOURCE = 0.5
"""Where a label names no source, acid and base are all but free [eq/kg]."""
OTHER_PH, OTHER_SD, OTHER_SHARE, OTHER_UNNAMED = 7.0, 3.0, 0.05, 0.30
LOT_SD, LOT_FAR_SD, LOT_FAR = 0.28, 1.0, 0.05
BRINE_SD = 0.8
MODEL_SD, MODEL_SD_READ = 0.12, 0.08
"""Of the pH that charge and constants give a jug which nobody measured; of what they make of a
measured one in a tank (the median error of 69 known solutions is 0.05)."""
METALS = ("Fe2", "Fe3", "Mn", "Zn", "Cu")
TRIMMERS = {"acid", "base"}
ORGANIC_EQ, UREA_EQ = 4.0, 0.3
"""Share that organic matter and urea have in what a kind of goods reads [eq/kg of it]."""
NEUTRALISED = 0.3
"""Weight of an acid or base named beside salts: it was trimmed with, not sold for."""
MIXED_PHOSPHATE = ((3.8, 5.0), (5.5, 7.0))
MONOPHOSPHATES = {"monopotassium phosphate", "monoammonium phosphate", "monosodium phosphate"}
LIME_PH = 12.4
"""Hydrated lime is saturated there: no calcium jug stands higher (portlandite, 25 degC)."""
T90 = 2.132
"""95 % point of Student's t with 4 degrees of freedom."""


@dataclass(frozen=True)
class Read:
    """Where a pH was read: dilution by mass, log-likelihood over FINE, whether what makers sell
    counts beside it, whether it was a brine too strong for any model."""

    dilution: float
    log_likelihood: Floats
    prior: bool
    brine: bool


def reading_of(product: Product, made: Made) -> Read:
    """What a label or a strip says of a jug's pH."""
    if product.ph is None:
        return Read(0.01 if product.dry else 0.1, np.zeros(len(FINE)), True, False)
    dilution = DILUTION["1 %" if product.dry else product.ph_at]
    strength = 0.5 * (made.mol_per_kg @ charges(made.components) ** 2) * per_kgw(made, dilution)
    brine = bool(median(strength) > STRONG_IONIC_STRENGTH)
    low, high = product.ph.low, product.ph.high
    if product.ph_measured:
        likely = _blurred(low, high, product.ph_sd)
    elif brine:
        likely = _blurred(low, high, BRINE_SD)
    else:
        likely = (1.0 - LOT_FAR) * _blurred(low, high, LOT_SD)
        likely = likely + LOT_FAR * _blurred(low, high, LOT_FAR_SD)
    return Read(min(dilution, 0.1) if brine else dilution, np.log(likely + 1e-300), brine, brine)


def _blurred(low: float, high: float, sd: float) -> Floats:
    """Density over FINE of an even range blurred by a normal error."""
    ends = np.linspace(low, high, 9) if high > low else np.array([low])
    z = (FINE[:, None] - ends) / sd
    return np.asarray(np.exp(-0.5 * z**2).mean(axis=1) / sd)


def _band(low: float, high: float) -> Floats:
    """Density over FINE of goods of which 90 % read low to high."""
    scale = (high - low) / (2.0 * T90)
    return t4((FINE - 0.5 * (low + high)) / scale) / scale


def prior_of(product: Product, made: Made) -> Floats:
    """(M, F) density over FINE of what makers sell, by each liquid's share of the charge."""
    named = bool(product.sources or product.also or product.vague)
    weight = np.zeros(made.amounts.shape)
    salts = any(s.kind not in {"acid", "base"} and s.key != "urea" for s in made.sources)
    present = frozenset(s.key for s in made.sources) - made.bare
    mixed = len(made.sources) >= 3
    mixture = np.zeros((len(made.water), len(FINE)))
    for j, source in enumerate(made.sources):
        bands = _sold(source, present, mixed, made)
        if bands.any() and source.key not in made.bare:
            eq = sold_for(source) * (NEUTRALISED if salts and source.kind in TRIMMERS else 1.0)
            weight[:, j] = made.amounts[:, j] * eq
            mixture += weight[:, j : j + 1] * bands
    total = weight.sum(axis=1, keepdims=True)
    mixture = np.divide(mixture, total, out=mixture, where=total > 0.0)
    other = OTHER_SHARE if named else OTHER_UNNAMED
    z = (FINE - OTHER_PH) / OTHER_SD
    wide = np.exp(-0.5 * z**2) / (OTHER_SD * np.sqrt(2.0 * np.pi))
    return np.asarray(np.where(total > 0.0, (1.0 - other) * mixture + other * wide, wide))


def _sold(source: Source, present: frozenset[str], mixed: bool, made: Made) -> Floats:
    """(1 or M, F) density over FINE of goods of one source beside the others."""
    if source.key in MONOPHOSPHATES and mixed:
        return np.asarray(sum(0.5 * _band(low, high) for low, high in MIXED_PHOSPHATE))[None, :]
    rows = ph_as_sold().get(source.key, ())
    rows = tuple(r for r in rows if r.holds(present)) or tuple(r for r in rows if not r.beside)
    if not rows:
        return np.zeros((1, len(FINE)))
    bands = np.array([_band(r.low, r.high) for r in rows])
    weights = np.array([[r.weight for r in rows]])
    if any(r.when for r in rows):
        weights = weights * np.array([_speaks(r, made) for r in rows]).T
    return np.asarray(weights / weights.sum(axis=1, keepdims=True) @ bands)


def _speaks(row: SoldPh, made: Made) -> NDArray[np.bool_]:
    """(M,) of which liquids a branch of goods speaks."""
    if row.when is None:
        return np.ones(len(made.water), dtype=bool)
    component, low, high = row.when
    return (made.of(component) >= low) & (made.of(component) < high)


def sold_for(source: Source) -> float:
    """Say that a source has in what its goods read [eq/kg of it]."""
    held = source.mol_per_kg().items()
    eq = sum(max(abs(tables().components[c].charge), float(c in {"B", "Si"})) * m for c, m in held)
    if source.kind in ORGANIC_KINDS and source.key != "boron ethanolamine":
        return UREA_EQ if source.key in NOT_ORGANIC else max(eq, ORGANIC_EQ)
    return eq


def width_of(product: Product, made: Made) -> Floats:
    """(M,) how much unnamed acid or base is usual [eq/kg of product]."""
    z = np.abs(charges(made.components))
    width = OF_CHARGE * 0.5 * (made.mol_per_kg @ z) + LEAST + made.miss_eq
    for component, share in (OF_CHELANT | OF_WEAK).items():
        width = width + share * made.of(component)
    chelated = sum((made.of(a) for a in OF_CHELANT), np.zeros(len(made.water)))
    free = np.maximum(sum((made.of(m) for m in METALS), np.zeros(len(made.water))) - chelated, 0.0)
    width = width + OF_FREE_METAL * free
    if AMINES & {s.key for s in made.sources}:
        width = width + OF_AMINE_BORATE * made.of("B")
    for j, source in enumerate(made.sources):
        if source.kind in ORGANIC_KINDS and source.key not in NOT_ORGANIC | AMINES:
            width = width + OF_ORGANIC * made.amounts[:, j]
        elif source.key in made.bare:
            width = width + sold_for(source) * made.amounts[:, j]
    if product.dry:
        return width / DRY
    if not (product.sources or product.also or product.vague):
        return width + NO_SOURCE
    return np.asarray(width)


@dataclass(frozen=True)
class Chosen:
    """N draws: which candidate, the pH of its jug at `dilution`, and the base that it lacks there
    [eq/kg of product]; tap_eq: alkalinity of the water that it was read in [eq/kg]; against: what
    was measured or is sure of it and contradicts its label."""

    rows: Integers
    ph: Floats
    lacking: Floats
    dilution: float
    brine: bool
    tap_eq: float
    against: tuple[str, ...]

    def middle(self) -> Chosen:
        """One draw at the median pH."""
        middle = np.array([median(self.ph)]), np.array([median(self.lacking)])
        return replace(self, rows=self.rows[:1], ph=middle[0], lacking=middle[1])


def _fair(made: Made, sold: Floats, read: Read, mass: Floats) -> Floats:
    """(M,) ln weight of each liquid beside its own `mass` (ln): how well goods of its kind fit the
    pH that was read. No reading of the label gains by how its goods scatter or are buffered.

    sold: (M, F) ln density of its goods, as they close; each reading of the label keeps its chance
    where no pH was read.
    """
    told = _ln_sum(sold + read.log_likelihood)
    every = _ln_sum(sold)
    out = told - mass
    for one in np.unique(made.reading):
        mine = made.reading == one
        out[mine] -= _ln_sum(every[mine][None, :])[0] - np.log(float(mine.sum()))
    return out


def _ln_sum(logs: Floats) -> Floats:
    """(M,) ln of the sum of exponentials of each row (M, F)."""
    most = logs.max(axis=1, keepdims=True)
    return np.asarray(most[:, 0] + np.log(np.exp(logs - most).sum(axis=1)))


def choose(product: Product, made: Made, count: int, generator: np.random.Generator) -> Chosen:
    """N liquids with their pH, systematically from the whole density."""
    read = reading_of(product, made)
    sold = np.log(prior_of(product, made))
    fine, grid = FINE, GRID
    near = fine[read.log_likelihood > read.log_likelihood.max() - 25.0]
    window = grid[(grid >= near.min() - 0.51) & (grid <= near.max() + 0.51)]
    curves = charge_curves(made, read.dilution, window, product.ph_in_eq)
    width = width_of(product, made)[:, None]
    between = np.array([np.interp(fine, window, one) for one in np.eye(len(window))])
    lacking = curves.lacking @ between
    lacking[:, (fine < window[0] - 1e-9) | (fine > window[-1] + 1e-9)] = 1e9
    z = lacking / width
    broad = BROAD_SHARE_DRY if product.dry else BROAD_SHARE
    closing = (1.0 - broad) * t4(z) + broad / BROAD * t4(z / BROAD)
    closes = np.log(closing + 1e-300) - np.log(width)
    closes[(made.of("Ca") > 0.05)[:, None] & (fine > LIME_PH)] = -700.0
    if product.form == "solution":
        closes += curves.ln_keeps @ between
        closes += ln_humate_keeps([s.key for s in made.sources], made.amounts, fine)
    log_density = read.log_likelihood + closes + (sold if read.prior else 0.0)
    log_density += _fair(made, closes + sold, read, _ln_sum(log_density))[:, None]
    clear = exists(product, made)
    never_sold = bool(clear.max() <= NEVER_SOLD)
    there = np.ones(len(clear)) if never_sold else clear
    log_density += np.log(there * weighs(product, made))[:, None]
    against = contradicted(product, made, never_sold)
    if product.ec is not None:
        conducting, said = conducts(product, made, fine[log_density.argmax(axis=1)])
        log_density += np.log(conducting)[:, None]
        against += (said,) if said else ()
    log_density -= log_density.max()
    density = np.exp(log_density)
    cumulative = np.cumsum(density, axis=1)
    mass = cumulative[:, -1]
    middle = fine[(cumulative > 0.5 * mass[:, None]).argmax(axis=1)]
    sort = np.lexsort((np.arange(len(mass)), middle))
    edges = np.cumsum(mass[sort])
    levels = (np.arange(count) + 0.5) / count
    picked = sort[np.minimum(np.searchsorted(edges, levels * edges[-1]), len(sort) - 1)]
    unit = (generator.permutation(count) + 0.5) / count if count > 1 else np.array([0.5])
    ph = np.array([
        np.interp(u * mass[i], np.concatenate([[0.0], cumulative[i]]),
                  np.concatenate([[FINE[0] - 0.025], FINE + 0.025]))
        for i, u in zip(picked, unit, strict=True)
    ])  # fmt: skip
    if count > 1:
        sd = MODEL_SD_READ if product.ph_measured else MODEL_SD
        ph = np.clip(ph + sd * generator.standard_normal(count), 0.1, 13.6)
    base = np.array(
        [np.interp(p, window, curves.lacking[i]) for i, p in zip(picked, ph, strict=True)]
    )
    order = generator.permutation(count)
    tap_eq = product.ph_in_eq
    return Chosen(picked[order], ph[order], base[order], read.dilution, read.brine, tap_eq, against)


AMMONIA_PK = 9.25
WEAK_FROM = 0.7
"""In three jugs of ten the acid is citric: a weak one, which the tank titrates further."""


def closed(
    made: Made, chosen: Chosen, acids: Floats, generator: np.random.Generator
) -> tuple[tuple[str, ...], Floats]:
    """Components and (N, C) [mol/kg] of liquids closed exactly at their pH, by ammonia, lime,
    potash or soda on one side, nitrate, chloride or sulfate on the other.

    made: N liquids; acids: (N, 10) of `buffers`, each kept at the jug's pH by base of its own.
    """
    count = len(chosen.ph)
    columns = {c: made.mol_per_kg[:, i] for i, c in enumerate(made.components)}
    columns |= {f"acid_{k}": acids[:, i] for i, k in enumerate(BUFFER_PKS) if acids[:, i].any()}
    degree = 1.0 / (1.0 + 10.0 ** (BUFFER_PKS - chosen.ph[:, None]))
    base = chosen.lacking + (acids * degree).sum(axis=1)

    def add(component: str, mol: Floats) -> None:
        columns[component] = columns.get(component, np.zeros(count)) + mol

    for component, mol in _agents(made, base, chosen.ph, generator, count).items():
        add(component, mol)
    add("Na", np.zeros(count))
    add("Cl", np.zeros(count))
    components = tuple(c for c in tables().components if c in columns)
    matrix = np.maximum(np.stack([columns[c] for c in components], axis=1), 0.0)
    share = per_kgw(made, chosen.dilution)
    system, totals = in_water(components, matrix, share, chosen.dilution, chosen.tap_eq)
    state = solve(system, totals, Conditions.nominal(system), ph=chosen.ph)
    left = -(np.nan_to_num(state.molality) @ system.charge) / share
    left = np.where(state.converged, left, 0.0)
    matrix[:, components.index("Na")] += np.maximum(left, 0.0)
    matrix[:, components.index("Cl")] += np.maximum(-left, 0.0)
    held = np.flatnonzero(matrix.any(axis=0))
    return tuple(components[i] for i in held), matrix[:, held]


def _citrate_charge(ph: Floats) -> Floats:
    """Mean charge of citric acid, pK 3.13, 4.76, 6.40 (NIST 46, I = 0)."""
    steps = [10.0 ** (ph - pk) for pk in (3.13, 4.76, 6.40)]
    one, two, three = steps[0], steps[0] * steps[1], steps[0] * steps[1] * steps[2]
    return np.asarray((one + 2.0 * two + 3.0 * three) / (1.0 + one + two + three))


def _agents(
    made: Made, base: Floats, ph: Floats, generator: np.random.Generator, count: int
) -> dict[str, Floats]:
    """Strong ions that carry the base [eq/kg], or acid where it is negative."""
    u = generator.random(count)
    out = {c: np.zeros(count) for c in ("Na", "K", "NH4", "Ca", "Cl", "NO3", "SO4")}
    needs_base = base > 0.0
    ammonia = needs_base & (made.of("NH4") > 0.0) & (u < 0.6) & (ph < 8.5)
    calcic = (made.of("Ca") > 0.05) & (made.of("SO4") + made.of("PO4") + made.of("CO3") < 1e-3)
    lime = needs_base & ~ammonia & calcic & (u > 0.4)
    potash = needs_base & ~ammonia & ~lime & (u > 0.55)
    soda = needs_base & ~ammonia & ~lime & ~potash
    out["NH4"] = np.where(ammonia, base * (1.0 + 10.0 ** (ph - AMMONIA_PK)), 0.0)
    # NH3 added is NH4+ by the pH of the jug: what stays NH3 carries no charge.
    out["Ca"] = np.where(lime, 0.5 * base, 0.0)
    out["K"] = np.where(potash, base, 0.0)
    out["Na"] = np.where(soda, base, 0.0)
    acid = np.where(needs_base, 0.0, -base)
    holds_calcium = made.of("Ca") > 0.02
    nitrate = made.of("NO3") > made.of("Cl")
    sulfuric = ~holds_calcium & (u < 0.5) & (ph > 2.5)
    citric = ~holds_calcium & (u > WEAK_FROM)
    out["SO4"] = np.where(sulfuric, 0.5 * acid, 0.0)
    out["citrate"] = np.where(citric, acid / np.maximum(_citrate_charge(ph), 0.5), 0.0)
    strong = ~(sulfuric | citric)
    out["NO3"] = np.where(strong & nitrate, acid, 0.0)
    out["Cl"] = np.where(strong & ~nitrate, acid, 0.0)
    return {c: v for c, v in out.items() if v.any()}
