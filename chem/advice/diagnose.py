"""It went wrong: which solid, from which jugs, how sure; will anything bring it back.

What was seen re-weights the draws (`forecast/sight.py`). The chance of a cause is the weight of
the versions in which it is what most of the mass is. Where few versions fit, more are drawn.

Remedies are tried in the model before they are named, and first in a jar of it before the tank.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chem.advice.agents import choose_agent
from chem.advice.cleaning import CleanStep, clean_steps
from chem.advice.dosing import dosed_with, dosing_rules
from chem.advice.metals import Metal, metals_at_risk
from chem.advice.origins import WATER, chief, components_of_part, origins
from chem.doubts import chance
from chem.equilibrium import one_thread
from chem.errors import InputProblem, Problem, ToxicGas
from chem.forecast import (
    SEEN_WORDS,
    TIMES_S,
    Followed,
    Gas,
    Prepared,
    Rule,
    Study,
    broken,
    never,
    show_limit,
)
from chem.forecast.clouding import Bools
from chem.forecast.out import Part
from chem.forecast.rules import rules_of
from chem.forecast.sight import OF_SOLIDS, Sight, kind_of, sight
from chem.reference import tables
from chem.reference.colloids import colloids
from chem.tank import Mix, only, with_carrier, with_rate

OF_GAS = {"fizz", "heat", "smell"}
ENOUGH = 64.0
MOST_DRAWS = 2048
DILUTION = 0.5
ACID = "citric acid"
ACID_G_PER_L = 8.0
LEAST_CHANCE = 0.02
LIKELY, HARDLY = 0.5, 0.1
ALSO_LIKELY = 0.10
FITS = 0.05
"""Of the best fit: versions that tell where a solid's ions come from."""
SHOWN = 4
ACID_CLEARS = {"CO3-2", "PO4-3", "Citrate-3", "P2O7-4"}


@dataclass(frozen=True)
class Cause:
    """A solid or colloid that may be what was seen.

    givers: (component, jug or `water`, share) of the chief giver of each of its components;
    alkali: the jug (or `water`) that lifts the pH, where a hydroxide comes out; rinse: what clears
    it: `acid`, `water`, `warm_water`, `gypsum`, `humate`, `sulfur`, `gel`.
    """

    key: str
    probability: float
    part: Part
    givers: tuple[tuple[str, str, float], ...]
    alkali: str | None
    rinse: str


@dataclass(frozen=True)
class NoAcid:
    """Why no acid may go on a mix.

    cause: `gas` (it frees a poisonous one), `label` (rules of labels), `foam` (a carbonate).
    """

    cause: str
    rules: tuple[Rule, ...] = ()
    product: str = ""


@dataclass(frozen=True)
class Try:
    """A remedy and the chance that it brings it back in the model.

    what: `water`, `acid` or `nothing`; sure: whether any version of the tank holds something to
    take back; lost: whether it is a gel or floc, which never goes back; forbidden: rules of labels
    that more water breaks; no_acid: why no acid may be tried; minds: rules to mind of the acid.
    """

    what: str
    works: float
    sure: bool
    lost: bool
    forbidden: tuple[Rule, ...] = ()
    no_acid: NoAcid | None = None
    minds: tuple[Rule, ...] = ()


@dataclass(frozen=True)
class Diagnosis:
    """Causes and remedies, the likeliest first; sprayable: chance that screens stay open.

    cleaning: steps that clear the likeliest cause and every other over `ALSO_LIKELY`; gases:
    expected of the mix, where gas or heat was seen; agrees: whether the model expects what was
    seen; rules: that the mix breaks; refused: the code by which it must never be poured; draws:
    versions tried; metals: of the sprayer that this tank eats.
    """

    mix: Mix
    seen: tuple[str, ...]
    causes: tuple[Cause, ...]
    tries: tuple[Try, ...]
    sprayable: float
    cleaning: tuple[CleanStep, ...]
    no_acid: NoAcid | None
    gases: tuple[Gas, ...]
    agrees: bool
    rules: tuple[Rule, ...]
    refused: str | None
    draws: int
    seed: int
    metals: tuple[Metal, ...] = ()


@one_thread()
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
    study: Study | None = None,
) -> Diagnosis:
    """Tell what a tank that went wrong holds.

    A tank that must never be poured gets no remedy, not even in a jar.

    Args:
        seen: words of the list; after_min: minutes since the last pour; ph: read, or None;
        poured: how many products of the mix are in, in its order (default all);
        count: versions tried; up to MOST_DRAWS where few of them fit what was seen;
        remedies: whether to try water, acid and waiting; study: what is believed and worked out
        already, in place of count and seed.

    Raises: InputProblem as `forecast`, or where fewer products are poured; ValueError for words
    that are not in the list, a time before the pour or a pH outside 0 to 14.
    """
    if isinstance(seen, str) or not seen or not set(seen) <= set(SEEN_WORDS):
        raise ValueError(f"seen is a list of {', '.join(SEEN_WORDS)}, not {seen!r}")
    if not 0.0 <= after_min < np.inf:
        raise ValueError(f"after_min is zero or more, not {after_min!r}")
    if ph is not None and not 0.0 <= ph <= 14.0:
        raise ValueError(f"a pH lies between 0 and 14, not {ph!r}")
    mix = _as_far_as(mix, poured)
    t = max(60.0 * after_min, 60.0)
    solid = bool(OF_SOLIDS & set(seen))
    study = Study(count, seed) if study is None else study
    told = sight(study.look(mix), seen, t, ph)
    while solid and told.effective < ENOUGH and study.count < MOST_DRAWS:
        study = Study(min(4 * study.count, MOST_DRAWS), study.seed, study.beliefs)
        told = sight(study.look(mix), seen, t, ph)
    ranked = _causes(told) if solid else []
    by = next((n for n, s in TIMES_S.items() if t <= s), "24h")
    rules = study.rules(mix, told.found)
    against_acid = no_acid(mix)
    return Diagnosis(
        mix=mix,
        seen=tuple(seen),
        causes=tuple(c for k, c in enumerate(ranked) if k < SHOWN or c.probability > ALSO_LIKELY),
        tries=tuple(_tries(study, told, ranked[0], against_acid))
        if ranked and remedies and never(rules) is None
        else (),
        sprayable=chance(~told.found.out[by].blocks, weights=told.weights),
        cleaning=_cleaning(mix, ranked, against_acid, rules),
        no_acid=against_acid,
        gases=tuple(study.gases(mix, told.found)) if OF_GAS & set(seen) else (),
        agrees=chance(told.shows == solid, weights=told.weights) > 0.5,
        rules=rules,
        refused=never(rules),
        draws=study.count,
        seed=study.seed,
        metals=metals_at_risk(told.found),
    )


def _as_far_as(mix: Mix, poured: int | None) -> Mix:
    """The products poured so far. Raises: InputProblem where there are not so many."""
    if poured is None:
        return mix
    if not 1 <= poured <= len(mix.additions):
        raise InputProblem(
            Problem(
                f"{mix.file}, poured = {poured}",
                f"the mix has {len(mix.additions)} products",
                f"how many were in by then: 1 to {len(mix.additions)}",
            )
        )
    return only(mix, range(poured))


def _causes(told: Sight) -> list[Cause]:
    """What most of the mass is, the likeliest first."""
    ready = told.found.ready
    found = []
    likely = told.fits > FITS * told.fits.max()
    for k, part in enumerate(told.parts):
        # Sums of rounded weights may pass 1.
        probability = min(float(told.weights @ told.most[:, k]), 1.0)
        if probability > LEAST_CHANCE:
            key = part.key.removesuffix("_crystals") if part.kind == "crystals" else part.key
            found.append(
                Cause(
                    key,
                    probability,
                    part,
                    _givers(key, ready, (told.most[:, k] > 0.0) & likely),
                    _alkali(key, ready),
                    rinse(part),
                )
            )
    return sorted(found, key=lambda c: -c.probability)


def _givers(key: str, ready: Prepared, where: Bools) -> tuple[tuple[str, str, float], ...]:
    """(component, jug or `water`, share) of the chief giver of each component.

    where: (N,) versions in which it is what was seen.
    """
    held = [c for c in components_of_part(key) if c in ready.finished.components]
    best = ((c, chief(origins(ready, c, where=where))) for c in held)
    return tuple((c, *one) for c, one in best if one is not None and one[1] > 0.0)


def _alkali(key: str, ready: Prepared) -> str | None:
    """Who lifts the pH where a hydroxide comes out: the strongest base, else carbonate's giver."""
    solid = tables().solids.get(key)
    if solid is None or solid.reaction.get("H+", 0.0) >= 0.0 or "CO3-2" in solid.reaction:
        return None
    for addition in ready.mix.additions:
        if addition.product.hazards & {"strong base", "silicate"}:
            return addition.product.name
    if "CO3" not in ready.finished.components:
        return None
    best = chief(origins(ready, "CO3"))
    return WATER if best is None else best[0]


def rinse(part: Part) -> str:
    """How the sprayer is cleaned of it (common practice, no source); see `Cause`."""
    if part.kind == "crystals":
        return "warm_water"
    if part.kind == "colloid":
        component = colloids()[part.key].component
        return {"humate": "humate", "S2O3": "sulfur"}.get(component, "gel")
    if kind_of(part) == "gel":
        return "gel"
    reaction = tables().solids[part.key].reaction
    # What gives back hydroxide, carbonate, phosphate or citrate takes up protons as it dissolves.
    if reaction.get("H+", 0.0) < 0.0 or ACID_CLEARS & set(reaction):
        return "acid"
    return "gypsum" if "SO4-2" in reaction else "water"


def _cleaning(
    mix: Mix, ranked: Sequence[Cause], against_acid: NoAcid | None, rules: Sequence[Rule]
) -> tuple[CleanStep, ...]:
    """Steps for the likeliest cause and every other that is likely as well."""
    likely = [c for c in ranked if c is ranked[0] or c.probability > ALSO_LIKELY]
    asked = [(c.key, c.rinse) for c in likely]
    return clean_steps(mix, asked, wary=against_acid is not None, acid=never(rules) is None)


def _tries(study: Study, told: Sight, cause: Cause, against_acid: NoAcid | None) -> list[Try]:
    """Water, acid, nothing: each tried in the model, in the versions that hold something.

    A remedy works in a version that is all clear again. A gel or floc never goes back.
    """
    mix, n = told.found.ready.mix, study.count
    lost = cause.part.kind == "colloid"
    weights = told.weights * told.shows
    sure = float(weights.sum()) > 0.0
    loose = sum((c.amount_g_per_L for c in told.found.colloids), np.zeros(n))

    def works(after: Followed) -> float:
        if lost or not sure:
            return 0.0
        now = after.states["24h"]
        left = np.nan_to_num(now.settled).sum(axis=1)
        left = left + np.nan_to_num(now.cold.amount_g_per_L).max(axis=1, initial=0.0)
        fallen = sum((c.amount_g_per_L for c in after.colloids), np.zeros(n))
        clear = left + np.maximum(loose, fallen) < show_limit()
        return chance(clear & after.ok, weights=weights)

    def tried(variant: Mix) -> float:
        return works(study.look(variant)) if sure and not lost else 0.0

    diluted = mix
    for i in range(len(mix.additions)):
        diluted = with_rate(diluted, i, DILUTION)
    too_much = _too_much_water(mix)
    acid = 0.0
    minds: tuple[Rule, ...] = ()
    if against_acid is None:
        dosed = dosed_with(mix, choose_agent(ACID), len(mix.additions), ACID_G_PER_L)
        acid = tried(dosed)
        minds = tuple(r for r in rules_of(dosed) if r.severity == "mind")
    out = [
        Try("water", 0.0 if too_much else tried(diluted), sure, lost, too_much),
        Try("acid", acid, sure, lost, no_acid=against_acid, minds=minds),
        Try("nothing", works(told.found), sure, lost),
    ]
    return sorted(out, key=lambda t: -t.works)


def no_acid(mix: Mix) -> NoAcid | None:
    """Why no acid may be tried on this mix; None if it may."""
    try:
        rules = dosing_rules(mix, choose_agent(ACID), len(mix.additions), 0.0)
    except ToxicGas:
        return NoAcid("gas")
    if never(rules):
        return NoAcid("gas")
    if rules:
        return NoAcid("label", rules)
    fizzing = [a.product.name for a in mix.additions if "carbonate" in a.product.hazards]
    return NoAcid("foam", product=fizzing[0]) if fizzing else None


def _too_much_water(mix: Mix) -> tuple[Rule, ...]:
    """Rules of labels that as much water again on the same area would break."""
    before = set(broken(rules_of(mix)))
    return tuple(r for r in broken(rules_of(with_carrier(mix, 1.0 / DILUTION))) if r not in before)
