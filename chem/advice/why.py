"""Why a mix curdles, or what keeps it clear and how near the edge it stands.

Shares and fractions are medians over the draws, made to add up to 1; edges are found on the same
draws.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from chem.advice.pour import rules_broken
from chem.advice.stack import glances
from chem.doubts import Draws
from chem.equilibrium import Conditions, Equilibrium, build_system, solve
from chem.equilibrium.activity import Floats
from chem.forecast import (
    THRESHOLD,
    TIMES_S,
    Outlook,
    Prepared,
    outlook,
    prepare,
)
from chem.forecast.prepare import Doubtful, conditions_of
from chem.forecast.result import known_time
from chem.reference import Solid, molar_mass_g_per_mol, tables
from chem.reference.colloids import colloids
from chem.tank import Finished, Mix, finish, with_rate

PLAIN = {
    "NH4": "ammonium",
    "Fe2": "iron",
    "Fe3": "iron",
    "Mn": "manganese",
    "Cu": "copper",
    "B": "borate",
    "Mo": "molybdate",
    "Si": "silicate",
    "CO3": "carbonate",
    "PO4": "phosphate",
    "P2O7": "pyrophosphate",
    "P3O10": "tripolyphosphate",
    "HPO3": "phosphite",
    "EDTA": "EDTA",
    "DTPA": "DTPA",
    "HEDTA": "HEDTA",
    "EDDHA": "EDDHA",
    "glycine": "glycine",
    "H+": "acid",
    "OH-": "alkali",
}
WATER = "water"
PH_STEP = 0.5
LEAST_HOLD = 0.01
MAIN_SHARE = 0.2
"""A jug that brings less of an ion than this isn't named in the sentence."""
MOSTLY = 0.5
EDGE_DRAWS = 64
MOST_FACTOR = 10.0
GRID = tuple(MOST_FACTOR ** (k / 4.0) for k in range(1, 5))
LESS = (*(1.0 / f for f in GRID), 0.0)
PH_GRID = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0)
PH_ENDS = (1.5, 13.0)
BISECTIONS = 4
MOST_NEAR = 3
METAL_TRIGGERS = {"divalent", "gelling"}
ACID_TRIGGERS = {"ph_below", "acid_in_time"}
GELLING_METALS = ("Ca", "Mg", "Fe2", "Fe3", "Mn", "Zn", "Cu")
NUDGES = 8
NUDGE = 1.06
FULLEST = 0.9
"""Products fill no more than this of the spray volume in a search."""
DRIVES_PH = 0.3


NUTRIENTS = {"Ca", "Mg", "K", "NH4", "NO3", "SO4", "PO4", "P2O7", "P3O10", "HPO3", "Si"}
NUTRIENTS |= {"Fe2", "Fe3", "Mn", "Zn", "Cu", "B", "Mo"}
IRON = frozenset({"Fe2", "Fe3"})
"""Called by one name, so shares taken of it are of both."""


def plain(component: str) -> str:
    """A component in the words of the shed."""
    found = tables().components.get(component)
    return PLAIN.get(component, found.name if found else component)


@dataclass(frozen=True)
class Ion:
    """One component of a solid.

    free_fraction: as the ion that the solid is made of; shares: product name or `water` -> share
    of where it comes from, adding up to 1; taken: share of it that the solid takes by tomorrow in
    the draws in which it shows.
    """

    component: str
    free_fraction: float
    shares: Mapping[str, float]
    taken: float


@dataclass(frozen=True)
class Hold:
    """What holds a component back from a solid: another component, `H+` or `OH-`."""

    component: str
    by: str
    fraction: float


@dataclass(frozen=True)
class Reason:
    """One solid: why it comes out, or why not.

    si: median; si_lower, si_higher: at a pH half a unit lower and higher; per_two_ions: what SI is
    divided by to compare solids; limited_by: the component of which there is least for it;
    clouds_after_s, amount_g_per_L: medians in the draws in which it shows; would_settle_g_per_L:
    median of what would come out in the end; ph_from: the product that moves the pH towards it,
    and the pH without that product.
    """

    solid: Solid
    threatens: bool
    si: float
    si_lower: float
    si_higher: float
    per_two_ions: float
    probability: Mapping[str, float]
    clouds_after_s: float | None
    amount_g_per_L: float
    would_settle_g_per_L: float
    ions: tuple[Ion, ...]
    held_back_by: tuple[Hold, ...]
    limited_by: str
    ph_from: tuple[str, float] | None
    sentence: str


@dataclass(frozen=True)
class Turn:
    """Where a clear mix would turn: a factor on a rate (0: left out) or a pH; what then shows."""

    at: float
    culprit: str | None


@dataclass(frozen=True)
class ProductEdge:
    """The least factors above and below 1 on a product's rate that turn the mix; None: no such."""

    product: str
    more: Turn | None
    less: Turn | None


@dataclass(frozen=True)
class Edge:
    """How far a clear mix is from turning; ph: now; ph_above, ph_below: where it would."""

    products: tuple[ProductEdge, ...]
    ph: float
    ph_above: Turn | None
    ph_below: Turn | None


@dataclass(frozen=True)
class Other:
    """What else shows by tomorrow: colloids and salts that crystallise in the cold.

    shares: component -> product name or `water` -> share of where it comes from.
    """

    key: str
    probability: float
    because: str
    shares: Mapping[str, Mapping[str, float]]


@dataclass(frozen=True)
class Why:
    """The reasons of one mix; edge: only where it stays clear for the judged time.

    label_forbids: rules that the mix breaks, of labels and of acids; notes: what was taken for
    granted of water and labels.
    """

    mix: Mix
    judged_at: str
    answer: str
    probability: Mapping[str, float]
    ph: float
    solids: tuple[Reason, ...]
    others: tuple[Other, ...]
    edge: Edge | None
    sentence: str
    label_forbids: tuple[str, ...]
    not_judged: tuple[str, ...]
    notes: tuple[str, ...]
    draws: int
    seed: int


def why(mix: Mix, *, judged_at: str = "4h", count: int = 256, seed: int = 1) -> Why:
    """Explain the forecast of a mix.

    Raises: InputProblem and ToxicGas as `forecast`; ValueError for another `judged_at`.
    """
    known_time(judged_at)
    ready = prepare(mix, Draws(count, seed))
    seen = outlook(ready)
    threats = _threats(seen)
    edge = _edge(ready, judged_at) if seen.probability[judged_at] < THRESHOLD else None
    columns = threats or _nearest(seen, edge)
    solids = tuple(_reason(seen, m, judged_at, bool(threats)) for m in columns)
    others = _others(seen)
    ph = float(ready.draws.quantile(seen.fresh.clear.ph, (0.5,))[0])
    return Why(
        mix=mix,
        judged_at=judged_at,
        answer=seen.answer(judged_at)[0],
        probability=dict(seen.probability),
        ph=ph,
        solids=solids,
        others=others,
        edge=edge,
        sentence=_sentence_of_all(solids, others, edge, judged_at),
        label_forbids=rules_broken(mix),
        not_judged=seen.not_judged,
        notes=_notes(ready),
        draws=count,
        seed=seed,
    )


def _notes(ready: Prepared) -> tuple[str, ...]:
    """What was taken for granted of water and labels; not how its figures were read."""
    notes = [n for n in ready.water.notes if n not in ready.mix.water.notes]
    notes += [n for inside in ready.contents for n in inside.notes]
    return tuple(dict.fromkeys(notes))


def _show_limit() -> float:
    return tables().value("show_limit")


def _chances(seen: Outlook, m: int) -> dict[str, float]:
    draws = seen.ready.draws
    return {t: draws.chance(a[:, m] > _show_limit(), seen.ok) for t, a in seen.amounts.items()}


def _judged_columns(seen: Outlook) -> list[int]:
    return [
        m for m, s in enumerate(seen.fresh.phases.solids) if s.decides and s.kinetics != "dormant"
    ]


def _per_two_ions(seen: Outlook, m: int) -> float:
    state = seen.states["24h"]
    si = float(seen.ready.draws.quantile(state.si[:, m], (0.5,))[0])
    return 2.0 * si / float(state.phases.ions[m])


def _threats(seen: Outlook) -> list[int]:
    """Columns of solids that show by tomorrow in a tenth of the draws, most pressing first."""
    found: list[tuple[float, float, float, int]] = []
    for m in _judged_columns(seen):
        chance = _chances(seen, m)
        if chance["24h"] >= THRESHOLD:
            amount = float(np.nan_to_num(seen.amounts["24h"][:, m]).mean())
            # In tenths, as they are said, so that among the sure ones the heaviest comes first.
            spray, day = (-round(10.0 * chance[t]) for t in ("4h", "24h"))
            found.append((spray, day, -amount, m))
    return [m for *_, m in sorted(found)]


def _nearest(seen: Outlook, edge: Edge | None) -> list[int]:
    """Columns of the solid nearest to its limit, and of those that a rate would bring on."""
    judged = _judged_columns(seen)
    near = sorted((-_per_two_ions(seen, m), m) for m in judged)
    found = [m for level, m in near if np.isfinite(level)][:1]
    turns = [t for p in edge.products for t in (p.less, p.more) if t] if edge else []
    names = {seen.fresh.phases.solids[m].name: m for m in judged}
    found += [names[t.culprit] for t in turns if t.culprit in names]
    return list(dict.fromkeys(found))[:MOST_NEAR]


def _others(seen: Outlook) -> tuple[Other, ...]:
    draws = seen.ready.draws
    found = []
    for c in seen.colloids:
        chance = draws.chance(c.amount_g_per_L > _show_limit(), seen.ok)
        found.append(Other(c.key, chance, *_gelling(seen, c.key, c.because)))
    names = seen.fresh.cold.names
    frozen = seen.crystals["24h"]
    for k, key in enumerate(seen.fresh.cold.keys):
        chance = draws.chance(frozen[:, k] > _show_limit(), seen.ok)
        because = f"{names[k]} crystallises: too much salt for the cold"
        found.append(Other(key, chance, because, {}))
    return tuple(sorted((o for o in found if o.probability >= THRESHOLD), key=_by_chance))


def _gelling(seen: Outlook, key: str, because: str) -> tuple[str, dict[str, dict[str, float]]]:
    """What a colloid meets and from which jugs, in words and as shares."""
    rule, ready = colloids()[key], seen.ready
    shares = {rule.component: _origins(ready, rule.component, 0.0)}
    whose = f"the {plain(rule.component)} of {_listed(_named(shares[rule.component]))}"
    finished = ready.finished
    if rule.trigger in METAL_TRIGGERS:
        held = [c for c in GELLING_METALS if c in finished.components]
        totals = [float(np.median(finished.totals[:, finished.components.index(c)])) for c in held]
        metal = held[int(np.argmax(totals))] if held else None
    else:
        metal = "NH4" if rule.trigger == "ammonium" and "NH4" in finished.components else None
    if metal is not None:
        shares[metal] = _origins(ready, metal, 0.0)
        met = f"meets the {plain(metal)} of {_listed(_named(shares[metal]))}"
    else:
        ph = _median(ready.draws, seen.fresh.clear.ph)
        driver = _ph_driver(ready, -1.0) if rule.trigger in ACID_TRIGGERS else None
        met = f"stands at pH {ph:.1f}"
        if driver is not None:
            met += f", where {driver[0]} puts it"
    return f"{because}: {whose} {met}", shares


def _by_chance(other: Other) -> float:
    return -other.probability


def _reason(seen: Outlook, m: int, judged_at: str, threatens: bool) -> Reason:
    ready, draws = seen.ready, seen.ready.draws
    chance = _chances(seen, m)
    when = judged_at if chance[judged_at] >= THRESHOLD else "24h"
    state = seen.states[when]
    solid = state.phases.solids[m]
    si = _median(draws, state.si[:, m])
    lower, higher = (_si_at_ph(state, m, way * PH_STEP, draws) for way in (-1.0, 1.0))
    parts = _parts(state, m)
    finished = ready.finished
    out = np.nan_to_num(seen.amounts["24h"][:, m])
    shows = seen.ok & (out > _show_limit())
    moles = out / molar_mass_g_per_mol(solid.formula) / finished.water_kg_per_L
    ions, holds, least = [], [], {}
    for component, count in parts.items():
        total, free, held = _held(state, component, draws)
        whole = total
        for twin in IRON - {component} if component in IRON else ():
            if twin in state.clear.system.components:
                whole = whole + _held(state, twin, draws)[0]
        taken = np.where(shows, np.minimum(moles * count / np.maximum(whole, 1e-30), 1.0), np.nan)
        shares = {by: _median(draws, part) for by, part in held.items()}
        bare = _median(draws, free)
        everything = bare + sum(shares.values())
        ions.append(
            Ion(
                component,
                bare / everything,
                _origins(ready, component, TIMES_S[when]),
                float(np.nan_to_num(_median(draws, taken))),
            )
        )
        parted = {by: share / everything for by, share in shares.items()}
        holds += [Hold(component, by, part) for by, part in parted.items() if part >= LEAST_HOLD]
        least[component] = _median(draws, total / count)
    holds.sort(key=lambda h: -h.fraction)
    clouds = np.where(shows, state.clouding[:, m], np.nan)
    median = _median(draws, np.where(np.isfinite(clouds), clouds, np.nan))
    amount = float(np.nan_to_num(_median(draws, np.where(shows, out, np.nan))))
    towards = higher - lower
    driver = _ph_driver(ready, towards) if abs(towards) > PH_STEP else None
    limited_by = min(least, key=lambda c: least[c])
    reason = Reason(
        solid=solid,
        threatens=threatens,
        si=si,
        si_lower=lower,
        si_higher=higher,
        per_two_ions=float(state.phases.ions[m]) / 2.0,
        probability=chance,
        clouds_after_s=median if np.isfinite(median) else None,
        amount_g_per_L=amount,
        would_settle_g_per_L=float(np.nan_to_num(_median(draws, state.settled[:, m]))),
        ions=tuple(ions),
        held_back_by=tuple(holds),
        limited_by=limited_by,
        ph_from=driver,
        sentence="",
    )
    ph = _median(draws, state.clear.ph)
    return replace(reason, sentence=_sentence(reason, ph, chance[judged_at]))


def _median(draws: Draws, values: Floats) -> float:
    return float(draws.quantile(np.asarray(values, dtype=float), (0.5,))[0])


def _parts(state: Doubtful, m: int) -> dict[str, float]:
    """Component -> how many of it one formula unit of the solid takes."""
    column = state.phases.nu[:-1, m]
    return {
        c: float(column[i]) for i, c in enumerate(state.clear.system.components) if column[i] > 0.0
    }


def _si_at_ph(state: Doubtful, m: int, shift: float, draws: Draws) -> float:
    """Median SI with the pH moved and held there, nothing added for it."""
    clear = state.clear
    ph = np.clip(np.nan_to_num(clear.ph, nan=7.0) + shift, 0.0, 14.0)
    moved = solve(clear.system, clear.totals, clear.conditions, ph=ph)
    phases = state.phases.pick(np.array([m]))
    return _median(draws, moved.saturation_index(phases, state.log_ksp[:, [m]])[:, 0])


def _held(
    state: Doubtful, component: str, draws: Draws
) -> tuple[Floats, Floats, dict[str, Floats]]:
    """A component's total (N,) [mol/kg water], its free share, and the share each partner holds.

    A form with more than one partner counts for the first; chelates that don't exchange count for
    their agent.
    """
    system, molality = state.clear.system, state.clear.molality
    row = system.components.index(component)
    master = tables().components[component].master
    amounts: dict[str, Floats] = {}
    free = np.zeros(draws.count)
    for s in np.flatnonzero(system.nu[row] > 0.0):
        held = system.nu[row, s] * molality[:, s]
        if system.species[s] == master:
            free = held
            continue
        by = _partner(system.nu[:, s], system.components, row)
        amounts[by] = amounts.get(by, np.zeros(draws.count)) + held
    for k, key in enumerate(system.components):
        metal, _, agent = key.partition(":")
        if agent and component in (metal, agent):
            by = agent if component == metal else metal
            here = system.nu[k] @ molality.T
            amounts[by] = amounts.get(by, np.zeros(draws.count)) + here
    total = free + sum(amounts.values(), np.zeros(draws.count))
    safe = np.maximum(total, 1e-300)
    return total, free / safe, {by: part / safe for by, part in amounts.items()}


def _partner(column: Floats, components: Sequence[str], row: int) -> str:
    """Who else is in a species: a component, else `H+` or `OH-`, else more of its own kind."""
    others = [int(i) for i in np.flatnonzero(column[:-1] > 0.0) if i != row]
    if others:
        return components[others[0]].partition(":")[0]
    if column[-1]:
        return "H+" if column[-1] > 0.0 else "OH-"
    return components[row]


def _origins(ready: Prepared, component: str, t_s: float) -> dict[str, float]:
    """Product name or `water` -> share of a component, medians made to add up to 1.

    Iron that the air has turned by t [s] is counted where its ferrous iron comes from. Where most
    versions of the tank hold none any more, shares are of all that was poured of it.
    """
    finished, draws = ready.finished, ready.draws
    names = [a.product.name for a in ready.mix.additions]
    parts = np.concatenate([finished.from_product, finished.from_water[None]])

    def of(key: str) -> Floats:
        if key not in finished.components:
            return np.zeros(parts.shape[:2])
        return np.asarray(parts[:, :, finished.components.index(key)])

    amounts = of(component)
    if component in {"Fe2", "Fe3"} and "Fe2" in finished.components:
        ferrous = finished.totals[:, finished.components.index("Fe2")]
        turned = ready.aged.oxidised(t_s) / np.maximum(ferrous, 1e-30)
        amounts = amounts + (turned if component == "Fe3" else -turned) * of("Fe2")
    total = np.maximum(amounts.sum(axis=0), 1e-300)
    shares: dict[str, float] = {}
    for name, amount in zip([*names, WATER], amounts, strict=True):
        shares[name] = shares.get(name, 0.0) + _median(draws, amount / total)
    if not any(shares.values()):
        poured = of(component) if component not in IRON else of("Fe2") + of("Fe3")
        shares = dict.fromkeys(shares, 0.0)
        for name, amount in zip([*names, WATER], poured, strict=True):
            shares[name] += float(amount.mean())
    whole = sum(shares.values())
    return {name: share / whole for name, share in shares.items() if share > 0.0}


def _ph_driver(ready: Prepared, towards: float) -> tuple[str, float] | None:
    """The product that moves the pH most in one direction (sign of `towards`).

    With it, the pH that the tank would have without it, at the middle of every doubt.
    """
    mix = ready.mix
    if len(mix.additions) < 2:
        return None
    middle = prepare(mix, Draws(1, ready.draws.seed))
    with_all = float(middle.at(0.0).clear.ph[0])
    found = []
    for i, addition in enumerate(mix.additions):
        rest = [j for j in range(len(mix.additions)) if j != i]
        state = finish(mix, middle.contents, middle.water, middle.draws, rest)
        ph = _nominal_ph(state, mix.t_celsius)
        found.append((np.sign(towards) * (with_all - ph), addition.product.name, ph))
    found = [f for f in found if np.isfinite(f[0])]
    most = max(found, default=(0.0, "", 0.0))
    return (most[1], float(most[2])) if most[0] > DRIVES_PH else None


def _nominal_ph(state: Finished, t_celsius: float) -> float:
    """pH of a one-row tank with the tabulated constants."""
    system = build_system(state.components)
    order = [state.components.index(c) for c in system.components]
    return float(solve(system, state.totals[:, order], Conditions.nominal(system, t_celsius)).ph[0])


def _named(shares: Mapping[str, float]) -> list[str]:
    """Where an ion mainly comes from, the largest first; two places at most."""
    order = sorted(shares, key=lambda name: -shares[name])
    main = [n for n in order if shares[n] >= MAIN_SHARE][:2] or order[:1]
    return ["the water" if n == WATER else n for n in main]


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def common_name(solid: Solid) -> str:
    """A solid's name without the mineral's."""
    return solid.name.split(" (")[0]


def percent(fraction: float) -> str:
    """A share in words: `12 %`, `under 1 %`, `nearly all`."""
    if fraction < 0.01:
        return "under 1 %"
    return "nearly all" if fraction > 0.99 else f"{100.0 * fraction:.0f} %"


def _sentence(reason: Reason, ph: float, chance: float) -> str:
    """One sentence that a customer understands."""
    meeting = _meeting(reason, ph)
    name = common_name(reason.solid)
    if not reason.threatens:
        level = reason.si / reason.per_two_ions
        if level > 0.0:
            if reason.would_settle_g_per_L <= _show_limit():
                return f"{meeting}, but too little {name} would come out to show."
            return f"{meeting}, but {name}, though over its limit, forms too slowly to show."
        limit = f"{percent(10.0**level)} of its limit"
        hold = _main_hold(reason)
        if hold is not None:
            held = f"{plain(hold.by)} holds {percent(hold.fraction)} of the {plain(hold.component)}"
            return f"{meeting}, but {held}: {name} stays at {limit}."
        return f"{meeting}, but there is too little for {name}: {limit}."
    late = chance < THRESHOLD  # what shows tomorrow only, where the tank has changed by then
    when = "by tomorrow" if late else _after(reason.clouds_after_s)
    chance = reason.probability["24h"] if late else chance
    verb = "falls out" if chance >= 0.5 else "may fall out"
    taken = next(i.taken for i in reason.ions if i.component == reason.limited_by)
    return (
        f"{meeting}: {name} {verb} {when} and takes "
        f"{percent(taken)} of the {plain(reason.limited_by)}."
    )


def _main_hold(reason: Reason) -> Hold | None:
    """What holds most of one of the ions, if it holds half; the solid's own ions don't count."""
    own = {i.component for i in reason.ions}
    outside = [h for h in reason.held_back_by if h.by not in own and h.fraction >= MOSTLY]
    return outside[0] if outside else None


def _meeting(reason: Reason, ph: float) -> str:
    """`The calcium of X meets the phosphate of Y`, without its end."""
    groups: dict[tuple[str, ...], list[str]] = {}
    for ion in reason.ions:
        groups.setdefault(tuple(_named(ion.shares)), []).append(plain(ion.component))
    if len(groups) == 1:
        places, ions = next(iter(groups.items()))
        ions = list(dict.fromkeys(ions))
        if len(reason.ions) == 1:
            lifted = reason.ph_from
            why_ph = f", where {lifted[0]} puts it" if lifted and lifted[0] not in places else ""
            return f"The {ions[0]} of {_listed(places)} stands at pH {ph:.1f}{why_ph}"
        return f"The {_listed(ions)} of {_listed(places)} are in one tank"
    said = [f"the {_listed(ions)} of {_listed(places)}" for places, ions in groups.items()]
    text = f"{said[0]} meets {_listed(said[1:])}"
    return text[0].upper() + text[1:]


def _after(seconds: float | None) -> str:
    if seconds is None:
        return "by tomorrow"
    if seconds < 60.0:
        return "within a minute"
    if seconds < 5400.0:
        return f"after about {seconds / 60.0:.0f} min"
    return f"after about {seconds / 3600.0:.0f} h"


def _sentence_of_all(
    solids: Sequence[Reason], others: Sequence[Other], edge: Edge | None, judged_at: str
) -> str:
    """The whole mix in one sentence, or two."""
    pressing = solids[0].probability[judged_at] if solids and solids[0].threatens else -1.0
    if others and others[0].probability > pressing:
        return f"{others[0].because[0].upper()}{others[0].because[1:]}."
    if not solids:
        return "Nothing in this tank can form a solid."
    keeper = edge and next((p for p in edge.products if p.less is not None), None)
    if keeper and keeper.less and not solids[0].threatens:
        less = keeper.less
        what = less.culprit or "something"
        when = f"at {percent(less.at)} of its rate" if less.at else "without it"
        return f"{keeper.product} keeps it clear: {when} {what} would show. {solids[0].sentence}"
    return solids[0].sentence


@dataclass(frozen=True)
class _Search:
    """One thing to vary: the tank at a value, values outward from `start`, and how to halve."""

    tank: Callable[[Prepared, float], Finished]
    grid: tuple[float, ...]
    start: float
    factor: bool

    def between(self, near: float, far: float) -> float:
        """The middle: of the logarithm for factors."""
        return float(np.sqrt(near * far)) if self.factor else 0.5 * (near + far)

    def outward(self, value: float, nudges: int) -> float:
        """A value rounded away from the start to two figures (0.1 pH), some nudges further."""
        if not self.factor:
            way = 1.0 if value > self.start else -1.0
            return float(way * (np.ceil(abs(value) * 10.0 - 1e-9) / 10.0 + 0.1 * nudges))
        more = value > self.start
        moved = value * NUDGE**nudges if more else value / NUDGE**nudges
        unit = 10.0 ** (np.floor(np.log10(moved)) - 1.0)
        steps = np.ceil(moved / unit - 1e-9) if more else np.floor(moved / unit + 1e-9)
        return round(float(steps * unit), 6)


def _edge(ready: Prepared, judged_at: str) -> Edge:
    """Where the mix would turn: each product's rate and the pH bisected, all in few batches."""
    few = ready
    if ready.draws.count > EDGE_DRAWS:
        few = prepare(ready.mix, Draws(EDGE_DRAWS, ready.draws.seed))
    count = len(ready.mix.additions)
    ph = _median(ready.draws, _fresh(ready).ph)
    searches = []
    for grid in (GRID, LESS):
        for i in range(count):
            most = _most_factor(ready, i)
            searches.append(_Search(_rated(i), tuple(f for f in grid if f <= most), 1.0, True))
    for way in (1.0, -1.0):
        reach = tuple(way * g for g in PH_GRID if PH_ENDS[0] < ph + way * g < PH_ENDS[1])
        searches.append(_Search(_at_ph, reach, 0.0, False))
    found = _turning(few, ready, searches, TIMES_S[judged_at])
    above, below = (
        None if turn is None else replace(turn, at=ph + turn.at) for turn in found[2 * count :]
    )
    products = tuple(
        ProductEdge(a.product.name, found[i], found[count + i])
        for i, a in enumerate(ready.mix.additions)
    )
    return Edge(products, ph, above, below)


def _turning(
    few: Prepared, full: Prepared, searches: Sequence[_Search], t_s: float
) -> list[Turn | None]:
    """The value nearest the start at which each search's tank turns, None where none does.

    Scanned and bisected with few draws, then moved outward until it holds with all.
    """

    def turns(ready: Prepared, asked: Sequence[tuple[_Search, float]]) -> list[Turn | None]:
        if not asked:
            return []
        seen = glances(ready, [search.tank(ready, value) for search, value in asked], t_s)
        return [
            Turn(value, g.culprit) if g.probability >= THRESHOLD else None
            for (_, value), g in zip(asked, seen, strict=True)
        ]

    asked = [(search, value) for search in searches for value in search.grid]
    seen = dict(zip(((id(s), v) for s, v in asked), turns(few, asked), strict=True))
    brackets: dict[int, tuple[float, float]] = {}
    for k, search in enumerate(searches):
        near = search.start
        for value in search.grid:
            if seen[id(search), value]:
                brackets[k] = (near, value)
                break
            near = value
    for _ in range(BISECTIONS):
        open_ = [k for k, (_, far) in brackets.items() if far != 0.0]
        middles = [searches[k].between(*brackets[k]) for k in open_]
        turned = turns(few, [(searches[k], m) for k, m in zip(open_, middles, strict=True)])
        for k, middle, turn in zip(open_, middles, turned, strict=True):
            near, far = brackets[k]
            brackets[k] = (near, middle) if turn else (middle, far)
    out: list[Turn | None] = [None] * len(searches)
    left = list(brackets)
    for nudges in range(NUDGES):
        values = [
            0.0 if brackets[k][1] == 0.0 else searches[k].outward(brackets[k][1], nudges)
            for k in left
        ]
        turned = turns(full, [(searches[k], v) for k, v in zip(left, values, strict=True)])
        for k, turn in zip(tuple(left), turned, strict=True):
            if turn is not None:
                out[k] = turn
                left.remove(k)
    return out


def _rated(index: int) -> Callable[[Prepared, float], Finished]:
    """The tank with one product's rate multiplied."""

    def tank(ready: Prepared, factor: float) -> Finished:
        mix = with_rate(ready.mix, index, factor)
        return finish(mix, ready.contents, ready.water, ready.draws)

    return tank


def _fresh(ready: Prepared) -> Equilibrium:
    """The tank before anything settles."""
    system = ready.aged.system
    conditions = conditions_of(system, ready.mix.t_celsius, ready.draws)
    return solve(system, ready.aged.totals(0.0), conditions)


def _at_ph(ready: Prepared, shift: float) -> Finished:
    """The tank with so much strong base (as sodium) or acid (as chloride) that its pH moves."""
    clear = _fresh(ready)
    target = np.clip(np.nan_to_num(clear.ph, nan=7.0) + shift, 0.0, 14.0)
    moved = solve(clear.system, clear.totals, clear.conditions, ph=target)
    base = -np.nan_to_num(moved.molality @ clear.system.charge)
    finished = ready.finished
    keys = {*finished.components, "Na", "Cl"}
    components = tuple(c for c in tables().components if c in keys)
    place = [components.index(c) for c in finished.components]

    def wide(values: Floats) -> Floats:
        out = np.zeros((*values.shape[:-1], len(components)))
        out[..., place] = values
        return out

    totals = wide(finished.totals)
    totals[:, components.index("Na")] += np.maximum(base, 0.0)
    totals[:, components.index("Cl")] += np.maximum(-base, 0.0)
    return replace(
        finished,
        components=components,
        totals=totals,
        from_product=wide(finished.from_product),
        from_water=wide(finished.from_water),
    )


def _most_factor(ready: Prepared, index: int) -> float:
    """How often a product's rate fits into the tank beside the others."""
    if ready.mix.fill == "water first":
        return MOST_FACTOR
    apparent = tables().value("apparent_specific_volume_solids")
    rooms = []
    for addition, inside in zip(ready.mix.additions, ready.contents, strict=True):
        room = addition.amount_per_L(ready.mix.carrier_L_per_m2) / 1000.0
        if addition.by_mass:
            dry = addition.product.dry
            room *= apparent if dry else 1.0 / float(np.median(inside.density_kg_per_L))
        rooms.append(room)
    left = FULLEST - (sum(rooms) - rooms[index])
    return float(min(MOST_FACTOR, left / max(rooms[index], 1e-9)))
