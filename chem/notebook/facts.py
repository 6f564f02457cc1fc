"""What each entry says to a learner: its readings and looks beside what the labels alone gave."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np

from chem.advice.agents import choose_agent
from chem.doubts import doubts, quantiles
from chem.equilibrium import Equilibrium
from chem.equilibrium.activity import Floats
from chem.errors import InputProblem
from chem.forecast import Followed
from chem.forecast.prepare import Prepared
from chem.forecast.sight import OF_SOLIDS, Bools
from chem.forecast.times import TIMES_S
from chem.label import Product
from chem.notebook.entry import Dose, Entry, Reading
from chem.notebook.store import Kept
from chem.reference import judged
from chem.tank import Mix
from chem.units import read_mass, read_volume

_SAID = judged("learning")
LEAST_SD = _SAID["least_sd"]
HALF_90 = 1.645
"""The middle 90 % of a normal distribution reach so many standard deviations to either side."""
BY_CURVE = _SAID["by_curve"]
OTHERS = _SAID["others_variance"]
LOOKS = ("clear", "haze", "flakes", "grit", "gel")
"""Words that tell of solids."""
WRONG_WORDS = _SAID["wrong_words"]
SPRAYED_AFTER_S, AT_ONCE_S = 14400.0, 1.0


@dataclass(frozen=True)
class Spread:
    """Standard deviation of a label's pH below its median and above it: one that is near its
    highest can't go much higher."""

    below: float
    above: float

    @property
    def variance(self) -> float:
        """Of both sides as one."""
        return (0.5 * (self.below + self.above)) ** 2

    def side(self, up: bool) -> float:
        """The standard deviation of one side."""
        return self.above if up else self.below


@dataclass(frozen=True)
class PhFact:
    """A pH read [pH], the variance of reading it, and what the labels gave there: median, spread;
    moved: how far acid or base had moved that median [pH]."""

    value: float
    variance: float
    median: float
    spread: Spread
    moved: float = 0.0


LEAST_SPREAD = Spread(LEAST_SD, LEAST_SD)


@dataclass(frozen=True)
class LookFact:
    """A look at t [s]: how likely it is of a tank clear, hazy, curdled; raw log odds by the labels
    that solids show and that they block, before what no draw can know."""

    t_s: float
    likely: tuple[float, float, float]
    shows: float
    blocks: float

    @property
    def only_through(self) -> bool:
        """Whether it tells only that nothing blocked."""
        clear, haze, curdle = self.likely
        return clear == haze > curdle


@dataclass(frozen=True)
class Facts:
    """An entry's jugs and what it says; mix: its key; spread, shares: of its tank's pH just
    poured, and each jug's part of it; silent: why a reading says nothing, in a word."""

    entry: str
    ours: bool
    mix: str
    jugs: tuple[Jug, ...]
    ph: tuple[PhFact, ...]
    looks: tuple[LookFact, ...]
    spread: Spread = LEAST_SPREAD
    shares: tuple[float, ...] = ()
    silent: str | None = None


@dataclass(frozen=True)
class Jug:
    """A jug: its product's name, its lot, the identity of its file, the spread of its offset."""

    name: str
    lot: str | None
    identity: str
    reach: float


def reach_of(product: Product) -> float:
    """How far a jug's pH may be from what its label implies, before the grid's own factor: nothing
    printed, a pH printed, one measured."""
    how = "measured" if product.ph_measured else "nothing" if product.ph is None else "printed"
    return judged("learned_reach")[how]


def jugs_of(
    mix: Mix, lots: Sequence[str | None], measured: Callable[[Product], Product]
) -> tuple[Jug, ...]:
    """The jugs of a mix, in the order poured. measured: a jug -> as it was measured."""
    return tuple(
        Jug(a.product.name, lot, a.product.identity, reach_of(measured(a.product)))
        for a, lot in zip(mix.additions, lots, strict=True)
    )


def shares_of(ready: Prepared, clear: Equilibrium) -> Floats:
    """(P,) each jug's share in the spread of a tank's pH, their sum 1.

    By how far the charge that each jug brings varies over the draws, at the tank's own protonation.
    """
    system = clear.system
    count = len(ready.finished.from_product)
    row = int(np.nanargmin(np.abs(clear.ph - np.nanmedian(clear.ph))))
    molality = np.nan_to_num(clear.molality[row])
    nu, protons = system.nu[:-1], system.nu[-1]
    charge = system.component_charge
    taken = np.where(protons > 0.0, (charge < 0.0)[:, None], (charge > 0.0)[:, None]) * nu
    taken = np.where(taken.sum(axis=0) > 0.0, taken, nu)
    part = taken / np.maximum(taken.sum(axis=0), 1e-30)
    total = np.maximum(nu @ molality, 1e-30)
    per_mol = charge + (part @ (protons * molality)) / total
    place = {c: i for i, c in enumerate(system.components)}
    effective = np.array([per_mol[place[c]] if c in place else 0.0
                          for c in ready.finished.components])  # fmt: skip
    brought = ready.finished.from_product @ effective  # (P, N)
    square = brought.std(axis=1) ** 2
    poured = ready.finished.from_product.sum(axis=(1, 2)) > 0.0
    even = poured / max(int(poured.sum()), 1)
    if not square.sum() > 0.0:
        return np.asarray(even if poured.any() else np.full(count, 1.0 / max(count, 1)))
    return np.asarray(BY_CURVE * square / square.sum() + (1.0 - BY_CURVE) * even)


def spread_of(ph: Floats) -> tuple[float, Spread]:
    """Median and spread of a label's pH, from the middle nine tenths of its draws."""
    low, middle, high = quantiles(ph, (0.05, 0.5, 0.95))
    sides = (middle - low) / HALF_90, (high - middle) / HALF_90
    return float(middle), Spread(*(max(float(side), LEAST_SD) for side in sides))


def reading_variance(reading: Reading) -> float:
    """How well a pH is read: an interval on a strip's own steps, and its colours."""
    sd = judged("ph_reading")
    if reading.instrument == "meter":
        return sd["tank_meter"] ** 2 + (reading.step or 0.0) ** 2 / 12.0
    if reading.instrument == "strip":
        return sd["tank_strip"] ** 2 + (reading.step or sd["strip_step"]) ** 2 / 12.0
    return sd["tank_unnamed"] ** 2


def likely_of(entry: Entry, t_s: float) -> tuple[float, float, float] | None:
    """How likely what was seen at a time is of each kind of tank; None where it tells nothing."""
    words = [word_chances(s.word) for s in entry.seen if s.after_s == t_s and s.word in LOOKS]
    if not words:
        return None
    out = np.prod(np.array(words), axis=0)
    return _mixed(out)


def word_chances(word: str) -> tuple[float, float, float]:
    """How often a word is used of a tank that is clear, hazy, curdled."""
    of = judged(f"word_{word}")
    return of.get("clear", 0.0), of.get("haze", 0.0), of.get("curdle", 0.0)


def _mixed(likely: Sequence[float] | Floats) -> tuple[float, float, float]:
    """With some words used wrongly."""
    each = (1.0 - WRONG_WORDS) * np.asarray(likely) + WRONG_WORDS / 3.0
    return float(each[0]), float(each[1]), float(each[2])


def grams_per_L(dose: Dose) -> float | None:
    """What had been added [g of the agent in its own form per litre of jar]; None where its agent
    or the jar was not told, or neither a volume nor a weight was."""
    if dose.agent is None or dose.jar is None:
        return None
    try:
        litres = read_volume(dose.jar, "jar")
        agent = choose_agent(dose.agent)
    except InputProblem:
        return None
    for read, per in ((read_mass, 1000.0), (read_volume, 1000.0)):
        try:
            amount = read(dose.amount, "dose")
        except InputProblem:
            continue
        if read is read_mass:
            return per * amount / litres
        density = agent.product.density
        return None if density is None else per * amount * 0.5 * sum(density) / litres
    return None


def mix_key(mix: Mix) -> str:
    """What a mix is known by: everything that its tank rests on."""
    parts = [
        *(f"{a.product.identity} {a.rate.value!r} {a.rate.kind} {a.rate.per}"
          for a in mix.additions),
        mix.water.identity, repr(mix.carrier_L_per_m2), mix.fill, repr(mix.t_celsius),
        repr(mix.coldest_celsius), repr(mix.tank_L), repr(mix.carrier_error),
        *(f"{left.share!r} {left.age_s!r} {mix_key(left.mix)}" for left in mix.leftovers),
    ]  # fmt: skip
    return hashlib.sha256("\n".join(map(str, parts)).encode()).hexdigest()


@dataclass(frozen=True)
class Looked:
    """A mix as the labels alone give it: key, followed, and each jug's share in its pH's spread."""

    key: str
    found: Followed
    spread: Spread
    shares: tuple[float, ...]
    odds: dict[float, tuple[float, float]] = field(default_factory=dict)

    def raw_odds(self, t_s: float) -> tuple[float, float]:
        """As `raw_odds`, each time worked out once."""
        if t_s not in self.odds:
            self.odds[t_s] = raw_odds(self.found, t_s)
        return self.odds[t_s]


def looked_of(key: str, found: Followed) -> Looked:
    """A mix followed, with the shares of its jugs."""
    clear = found.fresh.clear
    if not found.ok.any():
        return Looked(key, found, LEAST_SPREAD, ())
    shares = tuple(float(s) for s in shares_of(found.ready, clear))
    return Looked(key, found, spread_of(clear.ph)[1], shares[: len(found.ready.mix.additions)])


def last_told(entry: Entry) -> float:
    """When the last was seen or read of a tank [s], 0 where a pH was read at once and no more."""
    times = [max(s.after_s or 0.0, AT_ONCE_S) for s in entry.seen if s.word in LOOKS]
    times += [r.after_s or 0.0 for r in entry.ph if r.dose is None]
    spray = entry.sprayed
    if spray is not None and (spray.through is not None or spray.screens is not None):
        times.append(SPRAYED_AFTER_S)
    return max(times, default=0.0)


def facts_of(kept: Kept, looked: Looked, measured: Callable[[Product], Product]) -> Facts:
    """What an entry says beside the labels' tank."""
    entry, found = kept.entry, looked.found
    jugs = jugs_of(found.ready.mix, entry.mix.lots, measured)
    if not looked.shares:
        return Facts(entry.id, kept.ours, looked.key, jugs, (), (), silent="no equilibrium")
    ph, silent = [], None
    for reading in entry.ph:
        if reading.dose is not None:
            continue
        at = _ph_at(entry, reading, found)
        if at is None:
            silent = "solids, and no minute"
            continue
        median, spread = spread_of(at)
        if np.isfinite(median):
            variance = reading_variance(reading) * (1.0 if kept.ours else OTHERS)
            ph.append(PhFact(reading.value, variance, median, spread))
    looks = []
    for t_s in dict.fromkeys(s.after_s for s in entry.seen):
        likely = None if t_s is None else likely_of(entry, t_s)
        if t_s is not None and likely is not None:
            looks.append(LookFact(t_s, likely, *looked.raw_odds(t_s)))
    sprayed = entry.sprayed
    if sprayed is not None and (sprayed.through is not None or sprayed.screens is not None):
        clean = sprayed.through is not False and sprayed.screens in (None, "clean")
        told = _mixed(word_chances("sprayed_fine" if clean else "screens_blocked"))
        looks.append(LookFact(SPRAYED_AFTER_S, told, *looked.raw_odds(SPRAYED_AFTER_S)))
    return Facts(
        entry.id, kept.ours, looked.key, jugs, tuple(ph), tuple(looks), looked.spread,
        looked.shares, silent,
    )  # fmt: skip


def _ph_at(entry: Entry, reading: Reading, found: Followed) -> Floats | None:
    """(N,) pH of the labels' tank in the state seen when it was read; None where nobody knows."""
    words = {s.word for s in entry.seen if _near(s.after_s, reading.after_s)}
    if reading.after_s is None:
        anything = {s.word for s in entry.seen}
        return None if anything & OF_SOLIDS else found.fresh.clear.ph
    if reading.after_s == 0.0:
        return np.asarray(found.fresh.clear.ph)
    later = [n for n in found.states if reading.after_s <= TIMES_S[n]]
    state = found.states[[*later, list(found.states)[-1]][0]]
    if "clear" in words:
        return np.asarray(state.clear.ph)
    out = found.out_by(max(reading.after_s, AT_ONCE_S))
    settled = np.nan_to_num(state.settled).sum(axis=1)
    share = np.clip(out.total / np.maximum(settled, 1e-12), 0.0, 1.0)
    if words & OF_SOLIDS:  # solids were seen: the draws in which they are out count
        share = np.where(settled > 0.0, np.maximum(share, 0.5), 0.0)
    then = state.clear.ph + share * np.nan_to_num(state.ph_settled - state.clear.ph)
    return np.asarray(then)


def _near(one: float | None, other: float | None) -> bool:
    if one is None or other is None:
        return False
    return abs(one - other) <= 0.5 * max(one, other) + 60.0


def raw_odds(found: Followed, t_s: float) -> tuple[float, float]:
    """Log odds of the draws that solids show and block by t [s], held within 1 / (2 N)."""
    out = found.out_by(max(t_s, AT_ONCE_S))
    return log_odds(out.shows, found.ok), log_odds(out.blocks, found.ok)


def log_odds(happens: Bools, ok: Bools) -> float:
    """Of the rows that count, held within 1 / (2 N) as `doubts.chance` does, with the mean of what
    no draw can know."""
    counted = max(int(ok.sum()), 1)
    edge = 0.5 / len(ok)
    share = min(max(float((happens & ok).sum()) / counted, edge), 1.0 - edge)
    return float(np.log(share / (1.0 - share))) + doubts()["unknown_odds"].a


def packed(fact: Facts) -> dict[str, Any]:
    """Facts as plain JSON."""
    return asdict(fact)


def unpacked(data: Mapping[str, Any]) -> Facts:
    """Facts from plain JSON. Raises: KeyError and TypeError for anything else."""
    return Facts(
        data["entry"],
        data["ours"],
        data["mix"],
        tuple(Jug(**j) for j in data["jugs"]),
        tuple(PhFact(**{**p, "spread": Spread(**p["spread"])}) for p in data["ph"]),
        tuple(LookFact(**{**x, "likely": tuple(x["likely"])}) for x in data["looks"]),
        Spread(**data["spread"]),
        tuple(data["shares"]),
        data["silent"],
    )
