"""It went wrong: which solid, from which jugs, how sure; will anything bring it back.

What was seen re-weights the draws. A version of the tank counts by how well it fits: whether as
much has come out by then as an eye sees, whether such solids look so, and whether a strip would
read so in what stands over them. The chance of a cause is the weight of the versions in which it
is what most of the mass is. Where few versions fit, more are drawn.

Remedies are tried in the model before they are named, and first in a jar of it before the tank.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from chem.advice.acid_rules import SULFONYLUREA, refuse
from chem.advice.agents import choose_agent
from chem.doubts import Draws
from chem.equilibrium.activity import Floats
from chem.errors import InputProblem, Problem, ToxicGas
from chem.forecast import SEEN_WORDS, TIMES_S, Outlook, gases, label_forbids, outlook, prepare
from chem.forecast.crystals import soluble_salts
from chem.forecast.hazards import hazards_of
from chem.forecast.outlook import Bools
from chem.forecast.prepare import Doubtful
from chem.reference import tables
from chem.reference.colloids import colloids
from chem.tank import Mix, grams_per_litre, only, with_carrier, with_product, with_rate

PH_SD = 0.3
"""A strip in a turbid tank: read within 0.25, to the nearest half (common practice, no source)."""
PH_ASTRAY = 0.03
"""A strip misread, old or stained tells nothing of the tank."""
DISAGREES = 0.02
"""Weight of a version in which nothing is out: a salt may still be the cause."""
SLIGHT_G_PER_L = 0.1
"""Less than this is a haze, whatever it is."""
SAME_TIME = 1.25
"""Minutes guessed within a quarter of a time that the forecast followed are that time."""
OF_SOLIDS = {"haze", "flakes", "grit", "gel", "colour", "layers"}
OF_GAS = {"fizz", "heat", "smell"}
# How often each kind is called so: common practice, no source.
LOOKS: Mapping[str, Mapping[str, float]] = {
    "slight": {"haze": 0.8, "flakes": 0.1, "grit": 0.08, "gel": 0.02},
    "powder": {"haze": 0.5, "flakes": 0.35, "grit": 0.12, "gel": 0.03},
    "grains": {"haze": 0.4, "flakes": 0.15, "grit": 0.43, "gel": 0.02},
    "floc": {"haze": 0.35, "flakes": 0.5, "grit": 0.05, "gel": 0.1},
    "gel": {"haze": 0.1, "flakes": 0.15, "grit": 0.05, "gel": 0.7},
}
GELS = ("alginate", "silicate", "silica", "borate_film")
GRAINS = {"gypsum", "struvite", "generic_slow", "calcium_citrate", "magnesium_phosphate"}
TINTING = ("Fe", "Cu")
TINTED, UNTINTED = 0.65, 0.08
"""How often a colour is told of rust and copper salts, and of white solids in a coloured tank."""
TINT_SHARE = 0.3
"""From this share of the mass on, a coloured solid colours all of it."""
ENOUGH = 64.0
MOST_DRAWS = 2048
DILUTION = 0.5
ACID = "citric acid"
ACID_G_PER_L = 8.0
LEAST_CHANCE = 0.02
LIKELY, HARDLY = 0.5, 0.1
ALSO_LIKELY = 0.25
ACID_CLEARS = {"CO3-2", "PO4-3", "Citrate-3", "P2O7-4"}


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
    """Causes and remedies, the likeliest first; sprayable: chance that screens stay open.

    remarks: what the words seen say of gas, heat and emulsions; agrees: whether the model expects
    what was seen; draws: versions tried.
    """

    mix: Mix
    seen: tuple[str, ...]
    causes: tuple[Cause, ...]
    tries: tuple[Try, ...]
    sprayable: float
    clean_out: str
    remarks: tuple[str, ...]
    agrees: bool
    draws: int
    seed: int


@dataclass(frozen=True)
class _Weighed:
    """Versions of a tank beside what was seen of it.

    keys: K solids, very soluble salts and colloids; out: (N, K) [g/L] by then; most: (N, K) 1
    where it has the most mass; weights: (N,), their sum 1; shows: (N,) whether anything does.
    """

    found: Outlook
    keys: tuple[str, ...]
    out: Floats
    most: Floats
    weights: Floats
    shows: Bools

    @property
    def effective(self) -> float:
        """How many equal draws these weights are worth (Kish, Survey Sampling (1965))."""
        return float(1.0 / (self.weights @ self.weights))


def diagnose(
    mix: Mix,
    *,
    seen: Sequence[str],
    after_min: float = 0.0,
    ph: float | None = None,
    poured: int | None = None,
    count: int = 512,
    seed: int = 1,
    remedies: bool = True,
) -> Diagnosis:
    """Tell what a tank that went wrong holds.

    Args:
        seen: words of the list; after_min: minutes since the last pour; ph: read, or None;
        poured: how many products of the mix are in, in its order (default all);
        count: versions tried; up to MOST_DRAWS where few of them fit what was seen;
        remedies: whether to try water, acid and waiting.

    Raises: InputProblem as `forecast`, or where fewer products are poured; ValueError for words
    that are not in the list, a time before the pour or a pH outside 0 to 14.
    """
    if isinstance(seen, str) or not seen or not set(seen) <= set(SEEN_WORDS):
        raise ValueError(f"seen is a list of {', '.join(SEEN_WORDS)}, not {seen!r}")
    if not 0.0 <= after_min < np.inf:
        raise ValueError(f"after_min is zero or more, not {after_min!r}")
    if ph is not None and not 0.0 <= ph <= 14.0:
        raise ValueError(f"a pH lies between 0 and 14, not {ph!r}")
    if poured is not None:
        if not 1 <= poured <= len(mix.additions):
            raise InputProblem(
                Problem(
                    f"{mix.file}, poured = {poured}",
                    f"the mix has {len(mix.additions)} products",
                    f"how many were in by then: 1 to {len(mix.additions)}",
                )
            )
        mix = only(mix, range(poured))
    t = max(60.0 * after_min, 60.0)
    solid = bool(OF_SOLIDS & set(seen))
    told = _weigh(mix, seen, t, ph, Draws(count, seed))
    while solid and told.effective < ENOUGH and count < MOST_DRAWS:
        count = min(4 * count, MOST_DRAWS)
        told = _weigh(mix, seen, t, ph, Draws(count, seed))
    found, weights = told.found, told.weights
    # Sums of rounded weights may pass 1.
    chance = np.minimum(weights @ told.most, 1.0).tolist()
    chances = dict(zip(told.keys, chance, strict=True)) if solid else {}
    ranked = sorted((k for k in chances if chances[k] > LEAST_CHANCE), key=lambda k: -chances[k])
    by = next((n for n, s in TIMES_S.items() if t <= s), "24h")
    return Diagnosis(
        mix=mix,
        seen=tuple(seen),
        causes=tuple(Cause(k, chances[k], _sentence(k, found)) for k in ranked[:4]),
        tries=tuple(_tries(told, ranked[0])) if ranked and remedies else (),
        sprayable=float(weights @ ~found.blocks[by]),
        clean_out=_clean_outs(
            [k for k in ranked if k == ranked[0] or chances[k] > ALSO_LIKELY], mix
        ),
        remarks=tuple(_remarks(mix, seen, found)),
        agrees=float(weights @ (told.shows == solid)) > 0.5,
        draws=count,
        seed=seed,
    )


def _weigh(mix: Mix, seen: Sequence[str], t_s: float, ph: float | None, draws: Draws) -> _Weighed:
    """Weigh every draw by how well it fits."""
    ready = prepare(mix, draws)
    found = outlook(ready)
    same = next((n for n, s in TIMES_S.items() if s / SAME_TIME <= t_s <= s * SAME_TIME), None)
    if not ready.aged.changes:
        state = found.fresh
    elif same is not None or t_s > TIMES_S["24h"]:
        state = found.states[same or "24h"]
    else:
        state = ready.at(t_s)
    amounts, eventual = _amounts(found, state, t_s)
    keys = tuple(amounts)
    out = np.column_stack([amounts[k] for k in keys]) if keys else np.zeros((draws.count, 0))
    later = np.column_stack([eventual[k] for k in keys]) if keys else out
    most = _most(out, later, state, keys)
    total = out.sum(axis=1)
    limit = tables().value("show_limit")
    ok = found.ok & state.ok
    weights = draws.weights * np.where(ok, 1.0, 0.0)
    if OF_SOLIDS & set(seen):
        weights = weights * np.maximum(_seen_chance(total, limit), DISAGREES)
        weights = weights * _look(keys, out, most, seen)
    elif "clear" in seen:
        weights = weights * np.maximum(1.0 - _seen_chance(total, limit), DISAGREES)
    if ph is not None:
        weights = weights * _strip(state, total, ph)
    weights = weights / max(float(weights.sum()), 1e-300)
    return _Weighed(found, keys, out, most, weights, total > limit)


def _amounts(
    found: Outlook, state: Doubtful, t_s: float
) -> tuple[dict[str, Floats], dict[str, Floats]]:
    """(N,) [g/L] of each solid, very soluble salt and colloid out by t, and in the end."""
    passed = [n for n, s in TIMES_S.items() if s <= t_s]
    salts, cold = np.nan_to_num(state.amounts(t_s)), np.nan_to_num(state.crystals(t_s))
    if passed:  # what came out earlier is still there
        salts = np.maximum(salts, found.amounts[passed[-1]])
        cold = np.maximum(cold, found.crystals[passed[-1]])
    out = dict(zip(state.phases.keys, salts.T, strict=True))
    eventual = dict(zip(state.phases.keys, np.nan_to_num(state.settled).T, strict=True))
    for k, key in enumerate(state.cold.keys):
        if cold[:, k].any():
            out[key] = np.maximum(out.get(key, 0.0), cold[:, k])
            eventual[key] = np.maximum(eventual.get(key, 0.0), cold[:, k])
    for c in found.colloids:
        out[c.key], eventual[c.key] = c.amount_by(t_s), c.amount_g_per_L
    return out, eventual


def _most(out: Floats, later: Floats, state: Doubtful, keys: Sequence[str]) -> Floats:
    """(N, K) 1 for what has the most mass by then; if nothing is out, what will have, or may."""
    if not keys:
        return out
    rank = out + 1e-6 * later
    solids = tables().solids
    may = [k in solids and solids[k].decides and solids[k].kinetics != "dormant" for k in keys]
    salts = len(state.phases.keys)
    near = np.full(out.shape, -50.0)
    near[:, :salts] = np.nan_to_num(state.si, nan=-50.0) / state.phases.ions
    near = np.where(may, near, -50.0)
    # Where nothing should show at all, the salt nearest its limit stands in.
    rank = np.where((rank.sum(axis=1) <= 0.0)[:, None], near, rank)
    picked = np.zeros_like(rank)
    picked[np.arange(len(rank)), rank.argmax(axis=1)] = 1.0
    return np.asarray(picked)


def _seen_chance(total: Floats, limit: float) -> Floats:
    """(N,) chance that an eye sees so much [g/L]: a half at the limit, nine in ten at thrice it."""
    square = total**2
    return np.asarray(square / (square + limit**2))


def _strip(state: Doubtful, total: Floats, ph: float) -> Floats:
    """(N,) how well a strip fits the pH of what stands over the solids out so far."""
    settled = np.nan_to_num(state.settled).sum(axis=1)
    share = np.clip(total / np.maximum(settled, 1e-12), 0.0, 1.0)
    then = state.clear.ph + share * (state.ph_settled - state.clear.ph)
    off = (np.nan_to_num(then, nan=-9.0) - ph) / PH_SD
    return np.asarray(PH_ASTRAY + (1.0 - PH_ASTRAY) * np.exp(-0.5 * off**2))


def _look(keys: Sequence[str], out: Floats, most: Floats, seen: Sequence[str]) -> Floats:
    """(N,) how often what is out is called by the words seen, each part by its mass."""
    if not keys:
        return np.ones(len(out))
    total = out.sum(axis=1)
    share = np.where((total > 0.0)[:, None], out / np.maximum(total, 1e-300)[:, None], most)
    words = [w for w in seen if w in LOOKS["slight"]]
    fits = np.ones(len(out))
    if words:
        kinds = np.array([np.mean([LOOKS[kind_of(k)][w] for w in words]) for k in keys])
        slight = float(np.mean([LOOKS["slight"][w] for w in words]))
        fits = np.where(total < SLIGHT_G_PER_L, slight, share @ kinds)
    tinting = np.array([_tints(k) for k in keys], dtype=float)
    tinted = np.minimum(share @ tinting / TINT_SHARE, 1.0)
    told = UNTINTED + (TINTED - UNTINTED) * tinted
    return np.asarray(fits * (told if "colour" in seen else 1.0 - told))


def kind_of(key: str) -> str:
    """How a solid or colloid looks, a word of LOOKS."""
    if key.startswith(GELS):
        return "gel"
    if key in colloids():
        return "floc"
    if key not in tables().solids:
        return "grains"
    solid = tables().solids[key]
    if "silicate" in key:
        return "gel"
    if solid.curve == "amorphous":
        return "floc"
    return "grains" if solid.curve in GRAINS else "powder"


def _tints(key: str) -> bool:
    solid = tables().solids.get(key)
    return solid is not None and any(metal in solid.formula for metal in TINTING)


def _remarks(mix: Mix, seen: Sequence[str], found: Outlook) -> list[str]:
    """What gas, heat or an emulsion would say, which no solid does."""
    out = []
    if OF_GAS & set(seen):
        warned = gases(mix, float(np.nanmedian(found.fresh.clear.ph)))
        out += [g.because for g in warned]
        if not warned:
            out.append("No gas or heat is expected of this mix: lid open, stand upwind, stop.")
    if {"oil", "layers", "foam"} & set(seen):
        out.append("Oil, layers or foam are of emulsions and wetting agents: not judged here.")
    return out


def origins(key: str, found: Outlook) -> list[tuple[str, str, float]]:
    """(component, jug or "water", share) of the chief giver of each component of a solid."""
    if key in colloids():
        wanted = [colloids()[key].component]
    else:
        solids = tables().solids
        reaction = solids[key].reaction if key in solids else soluble_salts()[key].reaction
        masters = {c.master: k for k, c in tables().components.items()}
        wanted = [masters[m] for m in reaction if m in masters]
    held = [c for c in wanted if c in found.ready.finished.components]
    out = [(c, *_giver(c, found)) for c in held]
    return [row for row in out if row[2] > 0.0]


def _giver(component: str, found: Outlook) -> tuple[str, float]:
    """The jug, or "water", that brings the most of a component, and its share."""
    finished = found.ready.finished
    j = finished.components.index(component)
    parts = {
        a.product.name: float(np.median(finished.from_product[i, :, j]))
        for i, a in enumerate(found.ready.mix.additions)
    }
    parts["water"] = float(np.median(finished.from_water[:, j]))
    total = sum(parts.values())
    best = max(parts, key=lambda k: parts[k])
    return best, parts[best] / total if total > 0.0 else 0.0


def _name(key: str) -> str:
    """A solid or colloid in words."""
    if key in colloids():
        return colloids()[key].because
    if key in tables().solids:
        return tables().solids[key].name
    return soluble_salts()[key].name


def _sentence(key: str, found: Outlook) -> str:
    name = _name(key)
    text = name[0].upper() + name[1:]
    given = [f"{c} of {who}" for c, who, _ in origins(key, found)]
    alkali = _alkali(key, found)
    if alkali is not None:
        given.append(f"the alkali of {alkali}")
    if key in colloids() or not given:
        return f"{text}."
    return f"{text}: " + " with ".join(given) + "."


def _alkali(key: str, found: Outlook) -> str | None:
    """Who lifts the pH where a hydroxide comes out: the strongest base, else carbonate's giver."""
    solid = tables().solids.get(key)
    if solid is None or solid.reaction.get("H+", 0.0) >= 0.0 or "CO3-2" in solid.reaction:
        return None
    for addition in found.ready.mix.additions:
        if hazards_of(addition.product) & {"strong base", "silicate"}:
            return addition.product.name
    finished = found.ready.finished
    if "CO3" not in finished.components:
        return None
    return _giver("CO3", found)[0]


def _tries(told: _Weighed, key: str) -> list[Try]:
    """Water, acid, nothing: each tried in the model, in the versions that hold something.

    A remedy works in a version that is all clear again. A gel or floc never goes back.
    """
    ready = told.found.ready
    mix, draws = ready.mix, ready.draws
    weights = told.weights * told.shows
    sure = float(weights.sum()) > 0.0
    known = sure and key not in colloids()
    weights = weights / max(float(weights.sum()), 1e-300)
    loose = np.sum([c.amount_g_per_L for c in told.found.colloids], axis=0) + np.zeros(draws.count)

    def works(after: Outlook) -> float:
        now = after.states["24h"]
        left = np.nan_to_num(now.settled).sum(axis=1)
        left = left + np.nan_to_num(now.cold.amount_g_per_L).max(axis=1, initial=0.0)
        fallen = np.sum([c.amount_g_per_L for c in after.colloids], axis=0)
        clear = left + np.maximum(loose, fallen) < tables().value("show_limit")
        return float(weights @ (clear & after.ok)) if known else 0.0

    def tried(variant: Mix) -> float:
        return works(outlook(prepare(variant, Draws(draws.count, draws.seed)))) if known else 0.0

    diluted = mix
    for i in range(len(mix.additions)):
        diluted = with_rate(diluted, i, DILUTION)
    forbidden, too_much = acid_forbidden(mix), _water_forbidden(mix)
    water, acid, nothing = 0.0 if too_much else tried(diluted), 0.0, works(told.found)
    if forbidden is None:
        product = choose_agent(ACID).product
        acid = tried(with_product(mix, product, grams_per_litre(ACID_G_PER_L)))
    dose = f"{ACID[0].upper()}{ACID[1:]}, {ACID_G_PER_L:g} g per litre (1 oz per gallon)"
    out = [
        Try("water", water, f"As much water again: {too_much or _verdict(water, key, sure)}"),
        Try(
            "acid",
            acid,
            f"Acid: {forbidden}"
            if forbidden
            else f"{dose}: {_verdict(acid, key, sure)}{_mind(mix, acid)}",
        ),
        Try(
            "nothing",
            nothing,
            "Stirring and waiting: " + _verdict(nothing, key, sure)
            if nothing >= HARDLY or not sure
            else "Waiting: it does not go back by itself.",
        ),
    ]
    return sorted(out, key=lambda t: -t.works)


def acid_forbidden(mix: Mix) -> str | None:
    """Why no acid may be tried on this mix, in words; None if it may."""
    fizzing = [a.product.name for a in mix.additions if "carbonate" in hazards_of(a.product)]
    try:
        refuse(mix, choose_agent(ACID), len(mix.additions), 0.0)
    except ToxicGas:
        return "never here: it frees a poisonous gas."
    except InputProblem as problem:
        return f"no, {problem.problems[0].wrong}."
    if fizzing:
        return f"no, {fizzing[0]} would foam over: it holds carbonate."
    return None


def _water_forbidden(mix: Mix) -> str | None:
    """Why no more water may go on the same area, in words; None if it may."""
    rules = set(label_forbids(with_carrier(mix, 1.0 / DILUTION))) - set(label_forbids(mix))
    return f"no, {'; '.join(sorted(rules))}." if rules else None


def _mind(mix: Mix, works: float) -> str:
    """What to mind of acid, where it may be worth a try."""
    if works < HARDLY:
        return ""
    out = ""
    names = [a.product.name for a in mix.additions]
    if mix.adjuvant is not None:
        names.append(mix.adjuvant.name)
    if any(a.product.guarantee.get("copper", 0.0) > 0.0 for a in mix.additions):
        out += " Acid frees copper, and free copper burns leaves."
    if any(SULFONYLUREA.search(n) for n in names):
        out += " Sulfonylurea herbicides fall apart in acid."
    return out + " Bit by bit, lid open: it may fizz."


def _verdict(works: float, key: str, sure: bool) -> str:
    """In words; `sure`: whether any version of the tank holds something to take back."""
    if not sure:
        return "nothing is over its limit in the model: only a jar of it can tell."
    if works >= LIKELY:
        return "may take it back, stirred long. First in a jar of it."
    if works >= HARDLY:
        return "hardly; only a jar of it can tell."
    if key in colloids():
        return "no, what gelled or fell apart does not go back."
    return "no, it will not take it back."


def _clean_outs(keys: Sequence[str], mix: Mix) -> str:
    """How to clean out the likeliest, and the others that are likely as well."""
    if not keys:
        return "Rinse with clean water."
    first = _clean_out(keys[0])
    others = [f" If it is {_name(k)}: {_clean_out(k)}" for k in keys[1:] if _clean_out(k) != first]
    text = first + "".join(others)
    if "acid rinse" in text and acid_forbidden(mix) is not None:
        text += " No acid until water has rinsed out the last of this mix."
    return text


def _clean_out(key: str) -> str:
    """How to clean the sprayer of it (common practice, no source)."""
    if key in colloids() or kind_of(key) == "gel":
        if key.startswith("humate"):
            return (
                "Much clean water; a little mild alkali helps humic matter, never with ammonium in "
                "the tank (ammonia gas). Acid makes it worse."
            )
        if key.startswith("sulfur"):
            return "Much clean water and a brush on screens. Never acid: it sets more of it free."
        return (
            "Much clean water and a brush on screens. Acid does not clear gels of kelp or silica."
        )
    if key not in tables().solids:
        return "Much clean water, warm if there is some."
    reaction = tables().solids[key].reaction
    # What gives back hydroxide, carbonate, phosphate or citrate takes up protons as it dissolves.
    basic = reaction.get("H+", 0.0) < 0.0 or ACID_CLEARS & set(reaction)
    if basic:
        return (
            "Rinse, then a mild acid rinse (citric or acetic) clears carbonate, phosphate and "
            "rust; never after bleach, lid open, then clean water."
        )
    if "SO4-2" in reaction:
        return "Much clean water. Acid does not clear gypsum."
    return "Much clean water."
