"""Very soluble salts that come out in the cold: judged from solubility tables, not from log K.

SIT has no good constant for these salts: they saturate where it ends, and with a negative
interaction coefficient an activity product passes a maximum (KNO3 at 3.7 mol/kg with a constant
one). A salt is held against its saturated pure solution at the same temperature instead:

    SI = sum_i n_i log10(c_i gamma_i / c_i,pure gamma_i,pure) + n_w log10(x_w / x_w,pure)

with c_i the molality of an ion, free or paired with the salt's other ions, x_w the mole fraction
of water (hydrates feel it), and gamma from SIT in both, each diluted to the ionic strength to
which SIT was fitted (4.5 mol/kg) where it is above. One salt alone is exact whatever SIT says; a
mixture is as good as the ratio of gammas. At the measured point of crystallising, where SI is 0,
it gives: MAP with ammonium nitrate -0.09; MAP with KNO3 -0.20, -0.09; KNO3 with MAP -0.18, -0.11;
MAP with phosphoric acid +0.19; KNO3 from nitrate-phosphate-chloride liquids -0.02, +0.02
(tests/test_crystals.py). Their rms is 0.13, the doubt taken here; it shrinks to that of the table
as the salt's own ions become all that is dissolved. By molalities alone the last
two are +0.27, and KH2PO4 would come out first where it does not. Neat liquids with less water
than salt (UAN) are beyond this, urea's salting-in above all.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from chem.doubts import Draws
from chem.equilibrium import Equilibrium, System
from chem.equilibrium.activity import LN10, MOLAR_MASS_WATER_KG, Floats
from chem.reference import molar_mass_g_per_mol, read_csv, tables
from chem.reference.reactions import parse_reaction

DOUBT_PER_ION = 0.07
"""Of a salt that is no more than half of the solutes."""
DOUBT_ALONE = 0.015
"""Of a salt alone: its table's 2 to 3 % of solubility."""
NEAR_SI = -1.0
"""A salt further below saturation than this needs no doubt of its own."""
HALVINGS = 30
LEAST_MOLALITY = 1e-30


@dataclass(frozen=True)
class SolubleSalt:
    """One salt of `soluble_salts.csv`.

    reaction: ions per formula unit, water apart; water: H2O per formula unit;
    t_celsius, ln_molality: (T,) solubility in water [ln mol/kg water].
    """

    key: str
    name: str
    formula: str
    reaction: Mapping[str, float]
    water: float
    t_celsius: Floats
    ln_molality: Floats

    @property
    def ions(self) -> float:
        """Ions per formula unit."""
        return sum(self.reaction.values())

    def ln_saturation(self, t_celsius: Floats) -> Floats:
        """(N,) ln of the solubility at t (N,) [degC]: straight between rows and past the ends."""
        t, y = self.t_celsius, self.ln_molality
        inside = np.interp(t_celsius, t, y)
        below = np.minimum(t_celsius - t[0], 0.0) * (y[1] - y[0]) / (t[1] - t[0])
        above = np.maximum(t_celsius - t[-1], 0.0) * (y[-1] - y[-2]) / (t[-1] - t[-2])
        return np.asarray(inside + below + above)


@dataclass(frozen=True)
class Crystals:
    """Salts whose ions are all present: K keys, names and formulas.

    si: (N, K); amount_g_per_L: (N, K) that must come out to bring the product back, each salt
    alone; excess: (N, K) log10 of what is dissolved against what is left then, 0 under saturation.
    NaN in rows without a speciation.
    """

    keys: tuple[str, ...]
    names: tuple[str, ...]
    formulas: tuple[str, ...]
    si: Floats
    amount_g_per_L: Floats
    excess: Floats


def _molality(row: Mapping[str, str]) -> float:
    """Solubility of one row in mol/kg of all the water, that of hydrates included."""
    grams = float(row["solubility_g_per_100g_water"])
    mass = molar_mass_g_per_mol(row["formula"])
    dry = molar_mass_g_per_mol(row["formula"].split("+")[0])
    if row["basis"] == "anhydrous":
        return 10.0 * grams / dry
    if row["basis"] == "hydrate formula":
        moles = grams / mass
        return 1000.0 * moles / (100.0 + (mass - dry) * moles)
    raise ValueError(f"{row['salt']}: basis is `anhydrous` or `hydrate formula`")


@cache
def soluble_salts() -> Mapping[str, SolubleSalt]:
    """Read `soluble_salts.csv` once. Raises: ValueError for a basis that is not known."""
    rows: dict[str, list[dict[str, str]]] = {}
    for row in read_csv("soluble_salts.csv"):
        rows.setdefault(row["salt"], []).append(row)
    out = {}
    for key, points in rows.items():
        points.sort(key=lambda r: float(r["t_celsius"]))
        reaction = parse_reaction(points[0]["reaction"])
        water = reaction.pop("H2O", 0.0)
        out[key] = SolubleSalt(
            key,
            points[0]["name"],
            points[0]["formula"],
            MappingProxyType(reaction),
            water,
            np.array([float(r["t_celsius"]) for r in points]),
            np.log([_molality(r) for r in points]),
        )
    return MappingProxyType(out)


def saturation_molality(salt: str, t_celsius: float) -> float:
    """Solubility of a salt in pure water at t [degC], mol/kg water.

    The table runs from 0 to 40 degC; past its ends its last slope goes on. Raises: KeyError.
    """
    return float(np.exp(soluble_salts()[salt].ln_saturation(np.array([t_celsius]))[0]))


def saturation_temperature(salt: str, molality: float) -> float:
    """The temperature [degC] at which a cooling pure solution [mol/kg water] meets saturation.

    Infinite where the salt never dissolves so far (Na2SO4 above 3.5 mol/kg).
    Raises: KeyError; ValueError for a molality that is not positive.
    """
    if molality <= 0.0:
        raise ValueError("molality must be positive")
    table = soluble_salts()[salt]
    top = int(np.argmax(table.ln_molality)) + 1
    t, y, wanted = table.t_celsius[:top], table.ln_molality[:top], math.log(molality)
    if wanted <= y[0]:
        return float(t[0] + (wanted - y[0]) * (t[1] - t[0]) / (y[1] - y[0]))
    if wanted <= y[-1]:
        return float(np.interp(wanted, y, t))
    if top < len(table.t_celsius):
        return math.inf
    return float(t[-1] + (wanted - y[-1]) * (t[-1] - t[-2]) / (y[-1] - y[-2]))


@cache
def mixed_crystals() -> Mapping[str, tuple[str, float]]:
    """Read `mixed_crystals.csv` once: a salt -> (the one it mixes with, sites per formula unit)."""
    out = {}
    for r in read_csv("mixed_crystals.csv"):
        out[r["one"]] = (r["other"], float(r["sites"]))
        out[r["other"]] = (r["one"], float(r["sites"]))
    return MappingProxyType(out)


def log_share(own: Floats, other: Floats, sites: float) -> Floats:
    """(N,) what mixing adds to a salt's log10 K: sites log10 of its share in an ideal crystal.

    own, other: (N,) SI of the pure salts. At saturation the shares' sum is 1, so that a mixed
    crystal comes before either pure one.
    """
    with np.errstate(over="ignore"):
        return np.asarray(-sites * np.log10(1.0 + 10.0 ** ((other - own) / sites)))


@cache
def _left_to_solids() -> frozenset[str]:
    """Formulas of salts that a deciding solid of `solids.csv` already judges."""
    return frozenset(s.formula for s in tables().solids.values() if s.decides)


def _counts(system: System, salt: SolubleSalt) -> Floats | None:
    """(ions, S) how many of each ion a species counts for, or None if one is missing.

    An ion counts free and in pairs made of nothing but the salt's own ions.
    """
    if any(ion not in system.index for ion in salt.reaction):
        return None
    columns = [system.index[ion] for ion in salt.reaction]
    counts = np.zeros((len(columns), len(system.species)))
    counts[range(len(columns)), columns] = 1.0
    rows = [system.masters.get(ion) for ion in salt.reaction]
    own = [r for r in rows if r is not None]
    if len(own) == len(columns) > 1:
        foreign = np.delete(system.nu, own, axis=0) != 0.0
        pairs = np.all(system.nu[own] > 0.0, axis=0) & ~foreign.any(axis=0)
        counts[:, pairs] = system.nu[own][:, pairs]
    return counts


@dataclass(frozen=True)
class _Judge:
    """SIT for one salt at one temperature.

    n, columns: of its ions; field: A [(kg/mol)^1/2] times sum n z^2; eps, eps1: (S,) sums of
    n eps(ion, j) [kg/mol]; own, own1: the same summed over one formula unit; strength: ionic
    strength of one mol.
    """

    salt: SolubleSalt
    n: Floats
    columns: NDArray[np.int64]
    ba: float
    log_limit: float
    field: float
    eps: Floats
    eps1: Floats
    own: float
    own1: float
    strength: float


@dataclass(frozen=True)
class _Seen:
    """What a salt sees of a solution: (N, ions) molality of its ions; (N,) molality of all
    solutes, ionic strength, and sums of n eps(ion, j) m_j without and with log10 I."""

    ions: Floats
    solutes: Floats
    strength: Floats
    eps: Floats
    eps1: Floats

    def rows(self, which: NDArray[np.bool_]) -> _Seen:
        """Some of the rows."""
        return _Seen(
            self.ions[which],
            self.solutes[which],
            self.strength[which],
            self.eps[which],
            self.eps1[which],
        )


def _judge(system: System, salt: SolubleSalt, a: float, eps: Floats) -> _Judge:
    n = np.array(list(salt.reaction.values()))
    columns = np.array([system.index[ion] for ion in salt.reaction])
    squares = float(n @ system.charge[columns] ** 2)
    sums, sums1 = eps[:, columns] @ n, system.eps1[:, columns] @ n
    return _Judge(
        salt,
        n,
        columns,
        system.ba,
        system.log_limit,
        a * squares,
        sums,
        sums1,
        float(n @ sums[columns]),
        float(n @ sums1[columns]),
        0.5 * squares,
    )


def _see(judge: _Judge, counts: Floats, clear: Equilibrium, molality: Floats) -> _Seen:
    """A solution (N, S) [mol/kg] with the pairs of the salt's own ions taken as free ions."""
    used = np.flatnonzero(counts.any(axis=0))
    held = molality[:, used]
    ions = held @ counts[:, used].T
    solutes, strength = molality.sum(axis=1), clear.ionic_strength
    eps, eps1 = molality @ judge.eps, molality @ judge.eps1
    if len(used) > len(judge.columns):
        square = clear.system.charge**2
        solutes = solutes + ions.sum(axis=1) - held.sum(axis=1)
        strength = strength + 0.5 * (ions @ square[judge.columns] - held @ square[used])
        eps = eps + ions @ judge.eps[judge.columns] - held @ judge.eps[used]
        eps1 = eps1 + ions @ judge.eps1[judge.columns] - held @ judge.eps1[used]
    return _Seen(ions, solutes, strength, eps, eps1)


def _log_product(judge: _Judge, seen: _Seen, out: Floats) -> Floats:
    """(N,) log10 of the activity product once `out` (N,) [mol/kg of the first water] has gone.

    Above the ionic strength to which SIT was fitted, gamma is that of the solution diluted to
    there; water is taken by its mole fraction.
    """
    salt = judge.salt
    water = 1.0 - MOLAR_MASS_WATER_KG * salt.water * out
    ions = np.maximum((seen.ions - judge.n * out[:, None]) / water[:, None], LEAST_MOLALITY)
    strength = np.maximum((seen.strength - judge.strength * out) / water, LEAST_MOLALITY)
    share = np.minimum(1.0, judge.log_limit / strength)
    strength = strength * share
    root = np.sqrt(strength)
    specific = seen.eps - judge.own * out + np.log10(strength) * (seen.eps1 - judge.own1 * out)
    log_gamma = share * specific / water - judge.field * root / (1.0 + judge.ba * root)
    solutes = (seen.solutes - salt.ions * out) / water
    ln_water = -np.log1p(MOLAR_MASS_WATER_KG * solutes)
    return np.asarray((np.log(ions) @ judge.n + salt.water * ln_water) / LN10 + log_gamma)


def _pure(judge: _Judge, t_celsius: Floats) -> Floats:
    """(N,) log10 of the activity product of the saturated pure solution at t (N,) [degC]."""
    m = np.exp(judge.salt.ln_saturation(t_celsius))
    seen = _Seen(
        m[:, None] * judge.n,
        m * judge.salt.ions,
        m * judge.strength,
        m * judge.own,
        m * judge.own1,
    )
    return _log_product(judge, seen, np.zeros(len(m)))


def _to_come_out(judge: _Judge, seen: _Seen, limit: Floats) -> Floats:
    """(N,) mol/kg of the first water that brings a product over `limit` back to it."""
    low = np.zeros(len(limit))
    high = (seen.ions / judge.n).min(axis=1)
    if judge.salt.water:
        high = np.minimum(high, 0.999 / (MOLAR_MASS_WATER_KG * judge.salt.water))
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        still = _log_product(judge, seen, middle) > limit
        low, high = np.where(still, middle, low), np.where(still, high, middle)
    return low


def _share_of_doubt(judge: _Judge, seen: _Seen) -> Floats:
    """(N,) of a mixture's doubt: alone a salt is as good as its table."""
    own = (seen.ions / judge.n).min(axis=1)
    foreign = 1.0 - own * judge.salt.ions / np.maximum(seen.solutes, LEAST_MOLALITY)
    way = np.clip(2.0 * foreign, 0.0, 1.0)
    return np.asarray(way + (1.0 - way) * DOUBT_ALONE / DOUBT_PER_ION)


def crystals(
    clear: Equilibrium, water_kg_per_L: Floats, t_celsius: float, draws: Draws
) -> Crystals:
    """Very soluble salts against their saturated pure solutions; see the module for the error.

    Salts that a deciding solid of `solids.csv` stands for (K2SO4, borax) are left to it.

    Args:
        clear: N rows before anything settles; water_kg_per_L: (N,) water in a litre of tank;
        t_celsius: of the tank [degC], moved by its doubt; draws: N rows. Each salt near saturation
            has a doubt `crystals:KEY`, normal, per ion, in SI: DOUBT_PER_ION beside as much of
            others or more, DOUBT_ALONE alone, straight between.
    """
    molality = clear.molality
    good = clear.converged
    t = t_celsius + draws.of("temperature", "tank:temperature")
    system = clear.system
    a, eps = system.debye_hueckel(t_celsius), system.eps_at(t_celsius)
    none = np.zeros(len(good))
    found: list[SolubleSalt] = []
    si: list[Floats] = []
    amounts: list[Floats] = []
    excess: list[Floats] = []
    for salt in soluble_salts().values():
        counts = None if salt.formula in _left_to_solids() else _counts(system, salt)
        if counts is None:
            continue
        judge = _judge(system, salt, a, eps)
        seen = _see(judge, counts, clear, molality)
        limit = _pure(judge, t)
        index = _log_product(judge, seen, none) - limit
        if np.nan_to_num(index, nan=-99.0).max() > NEAR_SI:
            doubt = draws.normal(f"crystals:{salt.key}", 0.0, DOUBT_PER_ION * salt.ions)
            doubt = doubt * _share_of_doubt(judge, seen)
            index, limit = index + doubt, limit - doubt
        over = good & (index > 0.0)
        out = np.zeros(len(index))
        if over.any():
            out[over] = _to_come_out(judge, seen.rows(over), limit[over])
        there = np.maximum((seen.ions / judge.n).min(axis=1), LEAST_MOLALITY)
        mass = molar_mass_g_per_mol(salt.formula)
        found.append(salt)
        si.append(np.where(good, index, np.nan))
        amounts.append(np.where(good, out * mass * water_kg_per_L, np.nan))
        excess.append(np.where(good, -np.log10(1.0 - np.minimum(out / there, 0.999)), np.nan))
    shape = (len(good), len(found))
    return Crystals(
        tuple(s.key for s in found),
        tuple(s.name for s in found),
        tuple(s.formula for s in found),
        np.stack(si, axis=1) if si else np.zeros(shape),
        np.stack(amounts, axis=1) if amounts else np.zeros(shape),
        np.stack(excess, axis=1) if excess else np.zeros(shape),
    )
