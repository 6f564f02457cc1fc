"""It went wrong: which solid, from which jugs, how sure; will anything bring it back.

What was seen re-weights the draws: versions of the tank that agree with the pH read and with
solids showing by then count for more. Remedies are tried in the model before they are named, and
first in a jar of it before the tank.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from chem.advice.fix import mild_agents
from chem.doubts import Draws
from chem.equilibrium.activity import Floats
from chem.forecast import TIMES_S, Outlook, gases, outlook, prepare
from chem.reference import Solid, tables
from chem.reference.colloids import colloids
from chem.tank import Mix, grams_per_litre, only, with_product, with_rate

PH_SD = 0.3
"""A strip in a turbid tank, and the model (common practice, no source)."""
DISAGREES = 0.02
LOOKS_LIKE = {
    "gel": {"alginate": 8.0, "silicate": 8.0, "film": 8.0, "hydroxide": 2.0},
    "grit": {"sulfate": 2.0, "citrate": 1.5},
    "colour": {"iron": 4.0, "copper": 4.0},
    "flakes": {"humate": 2.0, "phosphate": 1.2},
}
DILUTION = 0.5
ACID_G_PER_L = 8.0
LEAST_CHANCE = 0.02


@dataclass(frozen=True)
class Cause:
    """A solid or colloid that may be what was seen."""

    key: str
    probability: float
    sentence: str


@dataclass(frozen=True)
class Try:
    """A remedy: chance that it brings it back in the model, and what to do."""

    what: str
    works: float
    sentence: str


@dataclass(frozen=True)
class Diagnosis:
    """Causes and remedies, the likeliest first; sprayable: chance that screens stay open."""

    mix: Mix
    seen: tuple[str, ...]
    causes: tuple[Cause, ...]
    tries: tuple[Try, ...]
    sprayable: float
    clean_out: str
    agrees: bool
    draws: int
    seed: int


def diagnose(
    mix: Mix,
    *,
    seen: Sequence[str],
    after_min: float = 0.0,
    ph: float | None = None,
    poured: int | None = None,
    count: int = 512,
    seed: int = 1,
) -> Diagnosis:
    """Tell what a tank that went wrong holds.

    Args:
        seen: words of the list; after_min: minutes since the last pour; ph: read, or None;
        poured: how many products of the mix are in, in its order (default all).

    Raises: InputProblem as `forecast`.
    """
    if poured is not None:
        mix = only(mix, range(max(1, min(poured, len(mix.additions)))))
    draws = Draws(count, seed)
    ready = prepare(mix, draws)
    found = outlook(ready)
    t = max(60.0 * after_min, 60.0)
    name = next((n for n, s in TIMES_S.items() if t <= s), "24h")
    state = found.states[name]
    keys = [*state.phases.keys, *(c.key for c in found.colloids)]
    salts = np.nan_to_num(state.amounts(t))
    loose = [c.amount_g_per_L for c in found.colloids]
    out = np.column_stack([salts, *loose]) if loose else salts
    eventual = np.nan_to_num(state.settled)
    eventual = np.column_stack([eventual, *loose]) if loose else eventual
    show = tables().value("show_limit")
    weights = draws.weights * found.ok
    if ph is not None:
        settled = np.nan_to_num(state.ph_settled, nan=-9.0)
        fresh = np.nan_to_num(found.fresh.clear.ph, nan=-9.0)
        near = np.minimum(np.abs(settled - ph), np.abs(fresh - ph))
        weights = weights * np.maximum(np.exp(-0.5 * (near / PH_SD) ** 2), 1e-6)
    trouble = tuple(w for w in seen if w != "clear")
    shows = (out.sum(axis=1) > show) | (eventual.sum(axis=1) > show)
    weights = weights * np.where(shows == bool(trouble), 1.0, DISAGREES)
    weights = weights / max(float(weights.sum()), 1e-300)
    agrees = float(weights @ (shows == bool(trouble))) > 0.5
    likeliest = _likeliest(out, eventual, state.si, keys, trouble)
    chances = {k: float(weights @ likeliest[:, i]) for i, k in enumerate(keys)}
    ranked = sorted((k for k in chances if chances[k] > LEAST_CHANCE), key=lambda k: -chances[k])
    causes = tuple(Cause(k, chances[k], _sentence(k, found)) for k in ranked[:4])
    block = found.blocks[name]
    return Diagnosis(
        mix=mix,
        seen=tuple(seen),
        causes=causes,
        tries=tuple(_tries(mix, ranked[0], weights, count, seed)) if ranked and trouble else (),
        sprayable=float(weights @ ~block),
        clean_out=_clean_out(ranked[0]) if ranked else "Rinse with clean water.",
        agrees=agrees,
        draws=count,
        seed=seed,
    )


def _likeliest(
    out: Floats, eventual: Floats, si: Floats, keys: Sequence[str], seen: Sequence[str]
) -> Floats:
    """(N, K) 1 where that solid or colloid is what shows most in that draw."""
    n, salts = len(out), si.shape[1]
    rank = out + 0.05 * eventual
    decides = np.array([s.decides and s.kinetics != "dormant" for s in map(_solid, keys[:salts])])
    near = np.where(decides, np.nan_to_num(si, nan=-50.0), -50.0)
    # Where nothing should show at all, the salt nearest its limit stands in.
    ions = np.array([_solid(k).ions for k in keys[:salts]])
    empty = rank.sum(axis=1) <= 0.0
    if salts:
        stand_in = np.zeros_like(rank)
        stand_in[np.arange(n), (near / ions).argmax(axis=1)] = 1e-9
        rank = np.where(empty[:, None], stand_in, rank)
    likeness = np.array([_likeness(k, seen) for k in keys])
    rank = rank * likeness
    picked = np.zeros_like(rank)
    picked[np.arange(n), rank.argmax(axis=1)] = 1.0
    return np.asarray(picked)


def _solid(key: str) -> Solid:
    return tables().solids[key]


def _likeness(key: str, seen: Sequence[str]) -> float:
    """How much more a solid looks like the words seen."""
    name = key + " " + (tables().solids[key].name if key in tables().solids else "")
    factor = 1.0
    for word in seen:
        for part, weight in LOOKS_LIKE.get(word, {}).items():
            if part in name:
                factor *= weight
    return factor


def origins(key: str, found: Outlook) -> list[tuple[str, str, float]]:
    """(component, jug or "water", share) of the chief giver of each component of a solid."""
    finished = found.ready.finished
    if key in tables().solids:
        masters = {c.master: k for k, c in tables().components.items()}
        wanted = [masters[m] for m in tables().solids[key].reaction if m in masters]
    else:
        wanted = [colloids()[key].component]
    out = []
    for component in wanted:
        if component not in finished.components:
            continue
        j = finished.components.index(component)
        parts = {
            a.product.name: float(np.median(finished.from_product[i, :, j]))
            for i, a in enumerate(found.ready.mix.additions)
        }
        parts["water"] = float(np.median(finished.from_water[:, j]))
        total = sum(parts.values())
        best = max(parts, key=lambda k: parts[k])
        if total > 0.0:
            out.append((component, best, parts[best] / total))
    return out


def _sentence(key: str, found: Outlook) -> str:
    if key in colloids():
        return f"{colloids()[key].because[0].upper()}{colloids()[key].because[1:]}."
    name = tables().solids[key].name
    given = [f"{c} of {who}" for c, who, _ in origins(key, found)]
    return f"{name[0].upper()}{name[1:]}: " + " with ".join(given) + "."


def _tries(mix: Mix, key: str, weights: Floats, count: int, seed: int) -> list[Try]:
    """Water, acid, nothing: each tried in the model on the likeliest cause."""
    show = tables().value("show_limit")
    diluted = mix
    for i in range(len(mix.additions)):
        diluted = with_rate(diluted, i, DILUTION)
    acid = mild_agents()[0]
    acidified = with_product(mix, acid, grams_per_litre(ACID_G_PER_L), 0)
    fumes = {g.key for g in gases(acidified, 5.0)} - {g.key for g in gases(mix, 7.0)}
    gone = {}
    for what, variant in (("water", diluted), ("acid", acidified)):
        if key in colloids():
            gone[what] = 0.0
            continue
        seen = outlook(prepare(variant, Draws(count, seed)))
        state = seen.states["4h"]
        left = (
            np.nan_to_num(state.settled[:, state.phases.keys.index(key)])
            if key in state.phases.keys
            else np.zeros(count)
        )
        other = np.nan_to_num(state.settled).sum(axis=1)
        gone[what] = float(weights @ ((left < show) & (other < show)))
    out = [
        Try(
            "water",
            gone["water"],
            "As much water again: " + _verdict(gone["water"], "may take it back, stirred long"),
        ),
        Try(
            "acid",
            gone["acid"],
            "Citric acid: " + _acid_words(gone["acid"], fumes),
        ),
        Try("nothing", 0.0, "Waiting: it does not go back by itself."),
    ]
    if fumes & {"sulfur_dioxide", "hydrogen_sulfide", "ammonia"}:
        out = [replace(t, works=0.0) if t.what == "acid" else t for t in out]
    out.sort(key=lambda t: -t.works)
    return out


def _acid_words(works: float, fumes: set[str]) -> str:
    """What to say of acid, with the gas that it would free."""
    if fumes & {"sulfur_dioxide", "hydrogen_sulfide", "ammonia"}:
        return "never here: it frees a poisonous gas."
    text = _verdict(works, "may take it back")
    if "carbon_dioxide" in fumes and works >= 0.1:
        text += " It fizzes: little by little, lid open, never close the jar."
    return text


def _verdict(works: float, good: str) -> str:
    if works >= 0.5:
        return f"{good}. First in a jar of it."
    if works >= 0.1:
        return "hardly; only a jar of it can tell."
    return "no, it will not take it back."


def _clean_out(key: str) -> str:
    """How to clean the sprayer of it (common practice, no source)."""
    if key in colloids():
        if key.startswith("humate"):
            return (
                "Much clean water; a little mild alkali helps humic matter, never with ammonium in "
                "the tank (ammonia gas). Acid makes it worse."
            )
        return (
            "Much clean water and a brush on screens. Acid does not clear gels of kelp or silica."
        )
    masters = set(tables().solids[key].reaction)
    if "SO4-2" in masters:
        return "Much clean water. Acid does not clear gypsum."
    if masters & {"CO3-2", "PO4-3", "H+", "Citrate-3", "P2O7-4"}:
        return (
            "Rinse, then a mild acid rinse (citric or acetic) clears carbonate, phosphate and "
            "rust; never after bleach, lid open, then clean water."
        )
    return "Much clean water."
