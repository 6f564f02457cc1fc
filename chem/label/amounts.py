"""How much of each source a product may hold: its label as lines over source amounts, and many
liquids that fit them.

A candidate liquid is drawn as a whole: one reading of the label's words, one over-formulation for
all its lines with a little spread between them, what printed figures were rounded from, a random
wish for every source; then the amounts nearest to all of it, none below zero (least squares with
a ridge towards the wish, which alone decides where the lines leave a direction open).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chem.doubts import doubts
from chem.errors import Problem
from chem.label.product import Product
from chem.reference import Source, catalogue, common_sources, judged

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

MASS_LIMIT_LIQUID, MASS_LIMIT_DRY = 0.97, 1.0
EXTRACT_KINDS = {"polymer", "organic"}
ROUNDS = 14
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
    return problems + too_much(product, lines, fitted)


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


def too_much(product: Product, lines: Lines, amounts: Floats) -> list[Problem]:
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
