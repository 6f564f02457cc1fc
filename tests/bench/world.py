"""A simulated world of liquids and tanks whose truth is known: nothing here reads a label.

The bench forecasts each tank from its printed labels alone and compares. This module draws what
is true, prints the labels, and lets the tank stand. It imports the tables and the equilibrium
only, never `chem.label`, `chem.doubts`, `chem.tank` or `chem.forecast` (a test holds that), so
the sums from jug to tank, the clock of clouding and the rust of iron are written here once more.

What a forecast can't know is drawn from a generator of this world's own:

- the recipe of a common product (1 to 4 of 27 sources, usual amounts: common practice, no source),
  each source 0 to 15 % over its target, 0 to 1 % of undeclared sodium chloride, free acid or base
  up to 1 % of the charge, 0 to 10 % of ferrous iron already ferric, a quarter to a half of a
  polyphosphate already orthophosphate, each metal sulfate weighed as the hydrate it is sold as;
- density from what is dissolved; what would drop solids in ten parts of pure water is no product
  and is drawn again;
- the label: guarantees rounded down, the sources' names with or without their hydrate, density
  rounded, in 70 % of labels the pH of a 10 % dilution, read within 0.1 (one standard uncertainty)
  and rounded to 0.1; how much citric acid it holds stands in half of the labels;
- the water, and a report of it within 5 % per line; jugs and tank filled within 3 %; the tank's
  temperature within 1.5 degC (one standard uncertainty each);
- every constant, every interaction coefficient on its own, measured or estimated: normal, with
  the standard uncertainty that its table states. Each tank has its own constants, so that what
  the bench counts is an average over what is not known of them, not the luck of one set;
- how soon each solid clouds, how fast iron rusts, how far strong ferric chelates let go by a day.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from chem.equilibrium import (
    Conditions,
    Equilibrium,
    Phases,
    System,
    build_phases,
    build_system,
    held_key,
    settle,
    solve,
    water_density_g_per_mL,
)
from chem.reference import catalogue, molar_mass_g_per_mol, read_csv, tables

Floats = NDArray[np.float64]

TIMES_S = {"15min": 900.0, "4h": 14400.0, "24h": 86400.0}
OVER = 0.15
SODIUM_CHLORIDE = 0.01
FREE_ACID = 0.01
FERRIC = 0.10
ORTHO = (0.25, 0.5)
PH_ON_LABEL = 0.7
PH_READING = 0.1
WATER_REPORT = 0.05
METERING = 0.03
UNSAID = 0.07
"""Above what an acid that only steadies metals reaches here, below an acidifier's."""
T_TANK = 1.5
FL_OZ_PER_GAL = 128.0
POUNDS_PER_GAL = 8.3454
"""lb/gal of 1 kg/L (NIST Handbook 44, appendix C)."""
NEAR_SI = -1.0
NEVER_S = 1e12
LET_GO = 0.1
"""Most that a strong ferric chelate gives up by a day (value from memory)."""
SLIGHT = 0.1
"""Below this an eye sees a haze, whatever it is [g/L]."""
SLIP = 0.1
FLOCS = {"amorphous", "ferric_hydroxide"}
GRAINS = {"gypsum", "generic_slow", "calcium_citrate", "struvite"}
TINTS = ("Fe", "Cu")
SLOW_FERRIC = {("Fe3", "EDTA"), ("Fe3", "DTPA")}

# Family: (source, least, most [kg/kg], chance that the recipe holds it), usual fl oz/1000 sq ft.
RECIPES: Mapping[str, tuple[tuple[tuple[str, float, float, float], ...], tuple[float, float]]] = {
    "calcium nitrate": (
        (
            ("calcium nitrate", 0.28, 0.44, 1.0),
            ("magnesium nitrate hexahydrate", 0.03, 0.08, 0.3),
            ("boric acid", 0.003, 0.010, 0.2),
        ),
        (3, 9),
    ),
    "calcium chloride": ((("calcium chloride dihydrate", 0.30, 0.48, 1.0),), (2, 6)),
    "calcium ammonium nitrate": (
        (("calcium nitrate", 0.22, 0.34, 1.0), ("ammonium nitrate", 0.10, 0.25, 1.0)),
        (3, 9),
    ),
    "magnesium sulfate": (
        (
            ("magnesium sulfate heptahydrate", 0.18, 0.32, 1.0),
            ("manganese sulfate monohydrate", 0.01, 0.03, 0.2),
        ),
        (3, 9),
    ),
    "magnesium nitrate": ((("magnesium nitrate hexahydrate", 0.40, 0.60, 1.0),), (3, 9)),
    "ammonium sulfate": (
        (("ammonium sulfate", 0.22, 0.38, 1.0), ("urea", 0.05, 0.15, 0.4)),
        (4, 12),
    ),
    "urea and nitrate": (
        (("urea", 0.25, 0.35, 1.0), ("ammonium nitrate", 0.30, 0.42, 1.0)),
        (3, 9),
    ),
    "urea and potash": (
        (("urea", 0.15, 0.30, 1.0), ("potassium chloride", 0.04, 0.12, 1.0)),
        (4, 12),
    ),
    "npk": (
        (
            ("urea", 0.08, 0.20, 1.0),
            ("monoammonium phosphate", 0.06, 0.15, 1.0),
            ("potassium chloride", 0.03, 0.08, 1.0),
            ("iron EDTA", 0.005, 0.015, 0.2),
        ),
        (3, 9),
    ),
    "npk with potassium phosphate": (
        (
            ("urea", 0.05, 0.15, 1.0),
            ("monopotassium phosphate", 0.05, 0.12, 1.0),
            ("potassium nitrate", 0.03, 0.08, 1.0),
            ("zinc EDTA", 0.003, 0.010, 0.2),
        ),
        (3, 9),
    ),
    "potassium phosphate": (
        (
            ("dipotassium phosphate", 0.20, 0.38, 1.0),
            ("monopotassium phosphate", 0.03, 0.10, 0.7),
        ),
        (2, 6),
    ),
    "polyphosphate": ((("ammonium polyphosphate", 0.35, 0.60, 1.0),), (2, 6)),
    "npk with polyphosphate": (
        (
            ("ammonium polyphosphate", 0.18, 0.35, 1.0),
            ("urea", 0.02, 0.10, 1.0),
            ("potassium chloride", 0.04, 0.10, 1.0),
        ),
        (2, 6),
    ),
    "iron with citric acid": (
        (
            ("ferrous sulfate heptahydrate", 0.10, 0.22, 1.0),
            ("citric acid", 0.01, 0.06, 1.0),
            ("urea", 0.05, 0.10, 0.3),
        ),
        (2, 6),
    ),
    "iron and trace sulfates": (
        (
            ("ferrous sulfate heptahydrate", 0.08, 0.15, 1.0),
            ("magnesium sulfate heptahydrate", 0.05, 0.12, 1.0),
            ("manganese sulfate monohydrate", 0.02, 0.05, 1.0),
            ("citric acid", 0.02, 0.05, 0.6),
        ),
        (2, 6),
    ),
    "iron EDTA": ((("iron EDTA", 0.10, 0.28, 1.0),), (2, 6)),
    "iron DTPA": ((("iron DTPA", 0.08, 0.20, 1.0),), (2, 6)),
    "trace sulfates": (
        (
            ("manganese sulfate monohydrate", 0.03, 0.10, 1.0),
            ("zinc sulfate heptahydrate", 0.03, 0.12, 1.0),
            ("copper sulfate pentahydrate", 0.005, 0.03, 0.6),
            ("boric acid", 0.005, 0.020, 0.6),
        ),
        (1, 4),
    ),
    "manganese sulfate": ((("manganese sulfate monohydrate", 0.15, 0.28, 1.0),), (1, 4)),
    "zinc sulfate": ((("zinc sulfate heptahydrate", 0.15, 0.35, 1.0),), (1, 4)),
    "trace chelates": (
        (("manganese EDTA", 0.04, 0.12, 1.0), ("zinc EDTA", 0.04, 0.12, 1.0)),
        (1, 4),
    ),
    "potassium carbonate": ((("potassium carbonate", 0.25, 0.45, 1.0),), (1, 4)),
    "potassium thiosulfate": ((("potassium thiosulfate", 0.35, 0.50, 1.0),), (2, 6)),
    "potassium sulfate": (
        (("potassium sulfate", 0.05, 0.09, 1.0), ("urea", 0.05, 0.15, 0.4)),
        (4, 12),
    ),
    "potassium acetate": (
        (("potassium acetate", 0.25, 0.45, 1.0), ("boric acid", 0.005, 0.015, 0.2)),
        (2, 6),
    ),
    "potassium nitrate": (
        (
            ("potassium nitrate", 0.08, 0.18, 1.0),
            ("magnesium nitrate hexahydrate", 0.05, 0.15, 0.5),
        ),
        (3, 9),
    ),
    "buffer": (
        (("citric acid", 0.15, 0.35, 1.0), ("monopotassium phosphate", 0.03, 0.10, 0.6)),
        (0.5, 2),
    ),
}
PLAIN_NAMES = {
    "ferrous sulfate heptahydrate": "ferrous sulfate",
    "magnesium sulfate heptahydrate": "magnesium sulfate",
    "manganese sulfate monohydrate": "manganese sulfate",
    "zinc sulfate heptahydrate": "zinc sulfate",
    "copper sulfate pentahydrate": "copper sulfate",
    "magnesium nitrate hexahydrate": "magnesium nitrate",
    "calcium chloride dihydrate": "calcium chloride",
}
GUARANTEES = (
    "nitrate nitrogen",
    "ammoniacal nitrogen",
    "urea nitrogen",
    "available phosphate",
    "soluble potash",
    "calcium",
    "magnesium",
    "sulfur",
    "boron",
    "copper",
    "iron",
    "manganese",
    "zinc",
)
CALCIUM = ("calcium nitrate", "calcium chloride", "calcium ammonium nitrate")
PARTNERS = tuple(
    family
    for family, (sources, _) in RECIPES.items()
    if any(word in source for source, *_ in sources for word in ("sulfate", "phosphate"))
)
ASKED = 0.5
"""Share of tanks that pour calcium with a sulfate or phosphate: the ones people ask about."""
MICRO = {"boron", "copper", "iron", "manganese", "zinc"}
LEAST_PERCENT = {"boron": 0.02, "copper": 0.05, "iron": 0.1, "manganese": 0.05, "zinc": 0.05}


class Nature:
    """The true constants of one world: each a normal draw about its table value."""

    def __init__(self, rng: np.random.Generator) -> None:
        self._seed = int(rng.integers(2**31))
        self._shifts: dict[str, float] = {}

    def _unit(self, key: str) -> float:
        """A standard normal number that belongs to this key in this world."""
        if key not in self._shifts:
            own = np.random.default_rng((self._seed, zlib.crc32(key.encode())))
            self._shifts[key] = float(own.standard_normal())
        return self._shifts[key]

    def system(self, components: list[str], held: tuple[tuple[str, str], ...] = ()) -> System:
        """The species of some components, with this world's interaction coefficients."""
        system = build_system(components, held=held)
        measured, rules = tables().interactions, tables().rules
        names = [n.rstrip("*") for n in system.species]
        own = [np.random.default_rng((self._seed, zlib.crc32(n.encode()))) for n in names]
        # One direction per species in a space of its own gives every pair its own number, the
        # same whichever system the pair stands in: scaled products are near enough to normal.
        ways = np.array([g.standard_normal(64) for g in own])
        unit = ways @ ways.T / math.sqrt(ways.shape[1])
        spread = np.where(system.estimated.any(axis=0), rules[0].u, 0.0)
        index = {n: i for i, n in enumerate(names)}
        for pair, row in measured.items():
            if all(n in index for n in pair) and len(pair) == 2:
                i, j = (index[n] for n in pair)
                spread[i, j] = spread[j, i] = row.u
        return replace(system, eps=system.eps + unit * spread)

    def conditions(self, system: System, t_celsius: float) -> Conditions:
        """This world's formation constants at t [degC]."""
        shifts = [u * self._unit(k) if u else 0.0 for k, u in _uncertain(system)]
        return Conditions(t_celsius, (system.log_k(t_celsius) + np.array(shifts))[None, :])

    def log_ksp(self, phases: Phases, t_celsius: float) -> Floats:
        """(1, M) this world's solubility products at t [degC]."""
        u = phases.log_k_u()
        shifts = [u[m] * self._unit(f"solid {key}") for m, key in enumerate(phases.keys)]
        return np.asarray((phases.log_k(t_celsius) + np.array(shifts))[None, :])

    def factor(self, key: str, one_sigma: float) -> float:
        """A lognormal factor with median 1."""
        return math.exp(math.log(one_sigma) * self._unit(key))

    def clouding(self, family: str, one_sigma: float) -> float:
        """Factor on a clouding time: 70 % of its variance the tank's, the rest the family's."""
        unit = math.sqrt(0.7) * self._unit("clouding tank")
        unit += math.sqrt(0.3) * self._unit(f"clouding {family}")
        return math.exp(math.log(one_sigma) * unit)

    def share(self, key: str) -> float:
        """Evenly between 0 and 1."""
        return 0.5 * math.erfc(-self._unit(key) / math.sqrt(2.0))


def _uncertain(system: System) -> list[tuple[str, float]]:
    return list(zip(system.species, system.log_k_u(), strict=True))


@dataclass(frozen=True)
class Liquid:
    """A true liquid: moles per kg, water [kg/kg], density [kg/L], chelates that let go slowly.

    over: source -> share above its target; free: base added [eq/kg], acid if negative; ph_tenth:
    pH of ten parts made up with nine of water; label: its product file.
    """

    family: str
    amounts: Mapping[str, float]
    over: Mapping[str, float]
    free: float
    mol_per_kg: Mapping[str, float]
    water: float
    density: float
    held: Mapping[tuple[str, str], float]
    ph_tenth: float
    label: str


@dataclass(frozen=True)
class Well:
    """A true water: mol per litre of each component, and its report."""

    mol_per_L: Mapping[str, float]
    report: str


@dataclass(frozen=True)
class Truth:
    """One tank, as it is.

    ph: fresh; ph_then: of what stands over the solids at each time; si: by solid at each time;
    shows: by each time; out: solid -> g/L by each time;
    unsaid: whether a label names an acid without saying how much, and it is above UNSAID [kg/kg].
    """

    mix: Path
    families: tuple[str, ...]
    labels_with_ph: int
    unsaid: bool
    ph: float
    ph_then: Mapping[str, float]
    ionic_strength: float
    si: Mapping[str, Mapping[str, float]]
    out: Mapping[str, Mapping[str, float]]
    shows: Mapping[str, bool]


class NoTruth(RuntimeError):
    """The equilibrium of this tank was not found: there is nothing to compare with."""


def draw_liquid(rng: np.random.Generator, nature: Nature, family: str, name: str) -> Liquid:
    """A product of a family, that stays clear in ten parts of pure water. Raises: NoTruth."""
    for _ in range(200):
        liquid = _liquid(rng, nature, family, name)
        if liquid is not None:
            return liquid
    raise NoTruth(f"no clear liquid of {family}")


def _liquid(rng: np.random.Generator, nature: Nature, family: str, name: str) -> Liquid | None:
    known = catalogue().sources
    target, over = {}, {}
    for source, low, high, chance in RECIPES[family][0]:
        if rng.random() < chance:
            target[source] = rng.uniform(low, high)
            over[source] = rng.uniform(0.0, OVER)
    amounts = {s: w * (1.0 + over[s]) for s, w in target.items()}
    salt = rng.uniform(0.0, SODIUM_CHLORIDE)
    held: dict[str, float] = {}
    chelates: dict[tuple[str, str], float] = {}
    water, volume = 1.0 - salt, 0.35 * salt
    for source, amount in amounts.items():
        entry = known[source]
        dry = amount * (1.0 - entry.water_share)
        water -= dry
        # Apparent specific volumes: urea 0.74, other organic matter 0.6, salts about 0.4 L/kg.
        middle = 0.74 if source == "urea" else 0.6 if entry.kind in {"chelate", "acid"} else 0.4
        volume += dry * middle * rng.uniform(0.85, 1.15)
        for component, mol in entry.mol_per_kg().items():
            held[component] = held.get(component, 0.0) + amount * mol
        pair = entry.bound.get("metal", ""), entry.bound.get("agent", "")
        if pair in SLOW_FERRIC:
            chelates[pair] = chelates.get(pair, 0.0) + amount * entry.mol_per_kg()[pair[0]]
    if water < 0.2:
        return None
    for ion in ("Na", "Cl"):
        held[ion] = held.get(ion, 0.0) + 1000.0 * salt / molar_mass_g_per_mol("NaCl")
    _age(rng, held)
    free = _free(rng, held)
    density = 1.0 / (water / water_density_g_per_mL(20.0) + volume)
    ph = _tenth(nature, held, water)
    if ph is None:
        return None
    label = _label(rng, name, target, density, ph)
    return Liquid(family, amounts, over, free, held, water, density, chelates, ph, label)


def _age(rng: np.random.Generator, held: dict[str, float]) -> None:
    """Ferrous iron rusts a little; chains of phosphate fall back to single ones."""
    if "Fe2" in held:
        share = rng.uniform(0.0, FERRIC)
        held["Fe3"] = held.get("Fe3", 0.0) + share * held["Fe2"]
        held["Fe2"] *= 1.0 - share
    if "P2O7" in held:
        phosphorus = held["PO4"] + 2.0 * held["P2O7"] + 3.0 * held["P3O10"]
        ortho = rng.uniform(*ORTHO)
        triple = rng.uniform(0.1, 0.3)
        held["PO4"] = ortho * phosphorus
        held["P2O7"] = (1.0 - ortho) * (1.0 - triple) * phosphorus / 2.0
        held["P3O10"] = (1.0 - ortho) * triple * phosphorus / 3.0


def _free(rng: np.random.Generator, held: dict[str, float]) -> float:
    """Add free acid or base with an ion that the liquid holds anyway; its eq/kg of base."""
    charge = {c: tables().components[c].charge for c in held}
    total = -sum(z * held[c] for c, z in charge.items() if z < 0)
    free = rng.uniform(-FREE_ACID, FREE_ACID) * total
    own = ("K", "NH4", "Na") if free > 0.0 else ("NO3", "SO4", "Cl")
    ion = max(own, key=lambda c: held.get(c, 0.0))
    held[ion] = held.get(ion, 0.0) + abs(free) / abs(tables().components[ion].charge)
    return free


def _tenth(nature: Nature, held: Mapping[str, float], water: float) -> float | None:
    """pH of a 10 % dilution at 25 degC; None where it drops a prompt solid or isn't found."""
    system = nature.system(list(held))
    conditions = nature.conditions(system, 25.0)
    diluted = {c: mol * 0.1 / (0.1 * water + 0.9) for c, mol in held.items()}
    state = solve(system, system.totals(diluted), conditions)
    if not state.converged[0]:
        return None
    phases = build_phases(system)
    si = state.saturation_index(phases, nature.log_ksp(phases, 25.0))[0]
    prompt = np.array([s.decides and s.kinetics == "prompt" for s in phases.solids], dtype=bool)
    if (si[prompt] > 0.0).any():
        return None
    return float(state.ph[0])


def _floor(value: float, step: float) -> float:
    return math.floor(value / step + 1e-9) * step


def _label(
    rng: np.random.Generator, name: str, target: Mapping[str, float], density: float, ph: float
) -> str:
    """The product file: what the maker aimed at, rounded down."""
    known = catalogue()
    aimed: dict[str, float] = {}
    for source, amount in target.items():
        for component, mol in known.sources[source].mol_per_kg().items():
            aimed[component] = aimed.get(component, 0.0) + amount * mol
    whole = bool(rng.random() < 0.5)
    lines: dict[str, str] = {}
    for line in GUARANTEES:
        percent = known.guarantees[line].percent_of(aimed)
        if percent < LEAST_PERCENT.get(line, 0.5):
            continue
        if line in MICRO:
            step, digits = 0.01, 2
        elif whole and percent >= 10.0:
            step, digits = 1.0, 0
        else:
            step, digits = 0.1, 1
        lines[line] = f"{_floor(percent, step):.{digits}f}"
    forms = [line for line in lines if line.endswith("nitrogen")]
    if forms:
        total = sum(float(lines[f]) for f in forms)
        lines = {"total nitrogen": f"{total:.1f}", **lines}
    named = [PLAIN_NAMES.get(s, s) if rng.random() < 0.5 else s for s in target]
    read = density * (1.0 + 0.003 * rng.standard_normal())
    weight = f"{POUNDS_PER_GAL * read:.1f} lb/gal" if rng.random() < 0.5 else f"{read:.2f} kg/L"
    out = [f'name = "{name}, simulated"', f'density = "{weight}"']
    if rng.random() < PH_ON_LABEL:
        reading = min(max(ph + PH_READING * rng.standard_normal(), 0.0), 14.0)
        out += [f"ph = {reading:.1f}", 'ph_at = "10 %"']
    out.append("sources = [" + ", ".join(f'"{s}"' for s in named) + "]")
    out += ["[guarantee]", *(f'"{k}" = {v}' for k, v in lines.items())]
    chelated = {s: known.sources[s].bound for s in target if known.sources[s].bound}
    if chelated:
        out.append("[chelated]")
        for source, bound in chelated.items():
            line = {"Fe3": "iron", "Mn": "manganese", "Zn": "zinc"}[bound["metal"]]
            if line not in lines:
                continue
            moles = target[source] * known.sources[source].mol_per_kg()[bound["metal"]]
            percent = known.guarantees[line].percent_of({bound["metal"]: moles})
            out.append(
                f'"{line}" = {{ percent = {_floor(percent, 0.01):.2f}, '
                f'agent = "{bound["agent"]}" }}'
            )
    if "citric acid" in target and rng.random() < 0.5:
        out += ["[also]", f'"citric acid" = {100.0 * target["citric acid"]:.1f}']
    return "\n".join(out) + "\n"


def draw_well(rng: np.random.Generator, nature: Nature) -> Well:
    """A water from soft to very hard, with a laboratory's report of it."""
    alkalinity = math.exp(rng.uniform(math.log(0.3), math.log(6.0)))
    hardness = 0.5 * alkalinity * rng.uniform(0.5, 1.3)
    part = rng.uniform(0.6, 0.9)
    ions = {
        "Ca": part * hardness,
        "Mg": (1.0 - part) * hardness,
        "K": rng.uniform(0.02, 0.15),
        "SO4": math.exp(rng.uniform(math.log(0.05), math.log(1.0))),
        "NO3": rng.uniform(0.01, 0.3),
        "Na": rng.uniform(0.2, 2.0),
        "Cl": rng.uniform(0.2, 2.0),
    }
    charge = {c: tables().components[c].charge for c in ions}
    surplus = sum(charge[c] * m for c, m in ions.items()) - alkalinity
    ions["Cl" if surplus > 0.0 else "Na"] += abs(surplus)
    ph = rng.uniform(6.8, 8.1)
    ions["CO3"] = _carbonate(nature, ions, alkalinity, ph)
    report = [
        'name = "Borehole, simulated"',
        f"ph = {ph + PH_READING * rng.standard_normal():.1f}",
        f'alkalinity = "{_read(rng, alkalinity, molar_mass_g_per_mol("CaCO3") / 2.0)} as CaCO3"',
        "[ions]",
    ]
    for ion, mmol in ions.items():
        if ion != "CO3":
            report.append(f'{ion} = "{_read(rng, mmol, molar_mass_g_per_mol(ion))}"')
    return Well({c: m / 1000.0 for c, m in ions.items()}, "\n".join(report) + "\n")


def _read(rng: np.random.Generator, amount: float, mass: float) -> str:
    """A report's figure: within 5 %, whole mg/L above 10, a tenth below."""
    value = max(amount * mass * (1.0 + WATER_REPORT * rng.standard_normal()), 0.1)
    return f"{value:.0f} mg/L" if value >= 10.0 else f"{value:.1f} mg/L"


def _carbonate(nature: Nature, ions: Mapping[str, float], alkalinity: float, ph: float) -> float:
    """Total carbonate [mmol/L] that closes the charge at this pH."""
    tried = alkalinity * np.geomspace(0.3, 3.0, 120)
    system = nature.system([*ions, "CO3"])
    one = {c: m / 1000.0 for c, m in ions.items()}
    totals = np.repeat(system.totals(one), len(tried), axis=0)
    totals[:, system.components.index("CO3")] = tried / 1000.0
    state = solve(system, totals, nature.conditions(system, 25.0), ph=np.full(len(tried), ph))
    charge = state.molality @ system.charge
    if not state.converged.all() or charge[0] * charge[-1] > 0.0:
        raise NoTruth("no carbonate closes the charge of this water")
    return float(np.interp(0.0, -charge, tried))


def draw_tank(seed: int, folder: Path) -> Truth:
    """One tank of two or three liquids: writes its files into `folder` and follows it for a day.

    Raises: NoTruth where no equilibrium was found.
    """
    rng = np.random.default_rng((0x7A4B, seed))
    nature = Nature(rng)
    count = 2 if rng.random() < 0.6 else 3
    families = [str(f) for f in rng.choice(list(RECIPES), count)]
    if rng.random() < ASKED:
        families[:2] = [str(rng.choice(CALCIUM)), str(rng.choice(PARTNERS))]
    liquids = [draw_liquid(rng, nature, f, f"Liquid {i + 1}") for i, f in enumerate(families)]
    well = draw_well(rng, nature)
    carrier = math.exp(rng.uniform(math.log(1.0), math.log(3.0)))
    carrier = round(4.0 * carrier) / 4.0
    t_celsius = float(round(rng.uniform(12.0, 28.0)))
    rates = [round(rng.uniform(*RECIPES[liquid.family][1]) * 2.0) / 2.0 for liquid in liquids]
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "well.toml").write_text(well.report)
    lines = [
        'name = "Simulated"',
        'water = "well.toml"',
        f'carrier = "{carrier:g} gal/1000 sq ft"',
        f'temperature = "{t_celsius:g} C"',
    ]
    for i, (liquid, rate) in enumerate(zip(liquids, rates, strict=True), start=1):
        (folder / f"liquid-{i}.toml").write_text(liquid.label)
        lines += ["[[add]]", f'product = "liquid-{i}.toml"', f'rate = "{rate:g} fl oz/1000 sq ft"']
    path = folder / "mix.toml"
    path.write_text("\n".join(lines) + "\n")
    totals, water_per_L, held = _fill(rng, liquids, rates, carrier, well, t_celsius)
    true_t = t_celsius + T_TANK * rng.standard_normal()
    return _stand(nature, totals, water_per_L, held, true_t, path, liquids)


def _fill(
    rng: np.random.Generator,
    liquids: list[Liquid],
    rates: list[float],
    carrier: float,
    well: Well,
    t_celsius: float,
) -> tuple[dict[str, float], float, dict[tuple[str, str], float]]:
    """Totals [mol/kg water], kg of water per litre and slow chelates [mol/kg water].

    A litre of tank: liquids as measured, filled to the mark with water, volumes adding.
    """
    tank = math.exp(METERING * rng.standard_normal())
    litres = [
        rate / (FL_OZ_PER_GAL * carrier) * math.exp(METERING * rng.standard_normal()) / tank
        for rate in rates
    ]
    room = 1.0 - sum(litres)
    kg_water = room * water_density_g_per_mL(t_celsius)
    moles = {c: m * room for c, m in well.mol_per_L.items()}
    held: dict[tuple[str, str], float] = {}
    for liquid, volume in zip(liquids, litres, strict=True):
        mass = volume * liquid.density
        kg_water += mass * liquid.water
        for c, m in liquid.mol_per_kg.items():
            moles[c] = moles.get(c, 0.0) + m * mass
        for pair, m in liquid.held.items():
            held[pair] = held.get(pair, 0.0) + m * mass
    per_kg = {c: m / kg_water for c, m in moles.items()}
    return per_kg, kg_water, {p: m / kg_water for p, m in held.items()}


def _stand(
    nature: Nature,
    totals: dict[str, float],
    water_per_L: float,
    held: dict[tuple[str, str], float],
    t_celsius: float,
    path: Path,
    liquids: list[Liquid],
) -> Truth:
    """Follow a tank for a day: iron rusts, chelates let go, solids come out by their clock."""
    if totals.get("Fe2", 0.0) > 0.0:
        totals.setdefault("Fe3", 0.0)
    plain = nature.system(list(totals), tuple(held))
    first = solve(plain, _at(plain, totals, held, 0.0, 0.0), nature.conditions(plain, t_celsius))
    if not first.converged[0]:
        raise NoTruth("no equilibrium of the fresh tank")
    tank = _holding(totals, float(first.ph[0]))
    pairs = dict.fromkeys([*held, *((r["metal"], r["agent"]) for r in tank)])
    system = nature.system(list(totals), tuple(pairs))
    conditions = nature.conditions(system, t_celsius)
    phases = build_phases(system)
    log_ksp = nature.log_ksp(phases, t_celsius)
    fresh = solve(system, _at(system, totals, held, 0.0, 0.0, tank), conditions)
    if not fresh.converged[0]:
        raise NoTruth("no equilibrium of the fresh tank")
    hydroxide = math.exp(fresh.ln_activity[0, system.index["OH-"]])
    changes = bool(held) or totals.get("Fe2", 0.0) > 0.0
    si: dict[str, dict[str, float]] = {}
    out: dict[str, dict[str, float]] = {}
    ph_then: dict[str, float] = {}
    so_far = np.zeros(len(phases))
    sulfur, milky_s = _sulfur(nature, fresh, totals, water_per_L)
    now: _State | None = None
    present = _at(system, totals, held, 0.0, 0.0, tank)
    for name, t in TIMES_S.items():
        if now is None or changes:
            turned = _rusted(nature, totals.get("Fe2", 0.0), hydroxide, t)
            released = LET_GO * nature.share("exchange") if t >= TIMES_S["24h"] else 0.0
            present = _at(system, totals, held, turned, released, tank)
            now = _state(nature, system, phases, conditions, log_ksp, present, water_per_L)
        grown = 1.0 - np.exp(
            -np.maximum(t - now.starts, 0.0) / (5.0 * np.maximum(now.starts, 1e-3))
        )
        so_far = np.maximum(so_far, np.max(now.stages, axis=0) * now.grams * grown)
        ph_then[name] = _ph_over(now, grown, system, present, conditions, phases, fresh)
        si[name] = dict(zip(phases.keys, now.si.tolist(), strict=True))
        out[name] = dict(zip(phases.keys, so_far.tolist(), strict=True))
        if t > milky_s:
            out[name]["sulfur_by_acid"] = sulfur * -math.expm1(-(t - milky_s) / (5.0 * milky_s))
    return Truth(
        mix=path,
        families=tuple(liquid.family for liquid in liquids),
        labels_with_ph=sum("\nph = " in liquid.label for liquid in liquids),
        unsaid=any(
            q.amounts.get("citric acid", 0.0) > UNSAID and "[also]" not in q.label for q in liquids
        ),
        ph=float(fresh.ph[0]),
        ph_then=ph_then,
        ionic_strength=float(fresh.ionic_strength[0]),
        si=si,
        out=out,
        shows={t: seen(grams) for t, grams in out.items()},
    )


def _sulfur(
    nature: Nature, fresh: Equilibrium, totals: Mapping[str, float], water_per_L: float
) -> tuple[float, float]:
    """Sulfur of thiosulfate [g/L] and when acid lets it show [s]: the table's rule."""
    column = fresh.system.index.get("S2O3-2")
    if column is None:
        return 0.0, math.inf
    rule = next(r for r in read_csv("colloids.csv") if r["trigger"] == "acid_in_time")
    free = float(fresh.molality[0, column]) * water_per_L
    once = float(rule["threshold"]) * nature.factor("sulfur", float(rule["factor"]))
    grams = totals["S2O3"] * water_per_L * molar_mass_g_per_mol("S")
    return grams, once / max(10.0 ** -float(fresh.ph[0]) * free, 1e-30)


def _at(
    system: System,
    totals: Mapping[str, float],
    held: Mapping[tuple[str, str], float],
    turned: float,
    released: float,
    tank: Sequence[Mapping[str, str]] = (),
) -> Floats:
    """(1, C) totals with some iron rusted and some chelate let go [mol/kg water].

    tank: rows of `holding.csv` by which the tank itself holds more.
    """
    now = dict(totals)
    if turned:
        now["Fe2"] -= turned
        now["Fe3"] += turned
    for (metal, agent), amount in held.items():
        still = amount * (1.0 - released)
        now[held_key(metal, agent)] = still
        now[metal] = max(now[metal] - still, 0.0)
        now[agent] = max(now[agent] - still, 0.0)
    for row in tank:
        metal, agent = row["metal"], row["agent"]
        low, high = float(row["none_below"]), float(row["all_above"])
        if now[metal] > 0.0 and now[agent] > 0.0:
            way = math.log(now[agent] / now[metal] / low) / math.log(high / low)
            still = min(min(max(way, 0.0), 1.0) * now[metal], now[agent])
            now[held_key(metal, agent)] = now.get(held_key(metal, agent), 0.0) + still
            now[metal] -= still
            now[agent] -= still
    return system.totals(now)


def _holding(totals: Mapping[str, float], ph: float) -> list[dict[str, str]]:
    """Rows of `holding.csv` by which a tank of this pH holds metals that no product did."""
    return [
        row
        for row in read_csv("holding.csv")
        if row["none_below"]
        and {row["metal"], row["agent"]} <= set(totals)
        and float(row["ph_from"]) <= ph < float(row["ph_to"])
    ]


def _rusted(nature: Nature, iron: float, hydroxide: float, t_s: float) -> float:
    """Ferrous iron turned by t: first order in it, capped by the oxygen there is [mol/kg]."""
    if iron == 0.0:
        return 0.0
    value = tables().value
    rate = value("fe2_oxidation_k") * nature.factor(
        "rust", 10.0 ** value("fe2_oxidation_k_log10_u")
    )
    first_order = rate * value("po2_air") * hydroxide**2 / 60.0
    fill = 4.0 * value("oxygen_air_saturated")
    renewed = value("oxygen_renewals") * nature.factor("air", value("oxygen_renewals_factor"))
    return min(-iron * math.expm1(-first_order * t_s), fill * (1.0 + renewed * t_s / 3600.0))


@dataclass(frozen=True)
class _State:
    """si, starts [s], grams (per mol and kg of water: g/L), (M,) each; stages: (2, M)
    [mol/kg water] settled if prompt solids alone may form, and if slow ones may as well."""

    si: Floats
    stages: Floats
    grams: Floats
    starts: Floats


def _ph_over(
    now: _State,
    grown: Floats,
    system: System,
    totals: Floats,
    conditions: Conditions,
    phases: Phases,
    fresh: Equilibrium,
) -> float:
    """pH of a standing tank: what is out is taken from the totals, the rest solved.

    The two stages are mixed by how far the slow solids have come, so that no ion is taken twice.
    """
    prompt, whole = now.stages
    slow = np.array([s.kinetics != "prompt" for s in phases.solids], dtype=bool)
    late = float((whole * now.grams)[slow].sum())
    far = float((whole * now.grams * grown)[slow].sum()) / late if late > 0.0 else 0.0
    gone = grown * ((1.0 - far) * prompt + far * whole)
    left = np.maximum(totals - phases.nu[: totals.shape[1]] @ gone, 0.0)
    state = solve(system, left, conditions)
    return float(state.ph[0]) if state.converged[0] else float(fresh.ph[0])


def _state(
    nature: Nature,
    system: System,
    phases: Phases,
    conditions: Conditions,
    log_ksp: Floats,
    totals: Floats,
    water_per_L: float,
) -> _State:
    """SI, what may settle and times of clouding of every solid."""
    clear = solve(system, totals, conditions)
    if not clear.converged[0]:
        raise NoTruth("no equilibrium of the standing tank")
    si = clear.saturation_index(phases, log_ksp)[0]
    stages = np.zeros((2, len(phases)))
    mass = np.array([molar_mass_g_per_mol(s.formula) for s in phases.solids])
    may = np.array([s.decides for s in phases.solids], dtype=bool)
    near = np.flatnonzero(may & (si > NEAR_SI))
    if (si[near] > 0.0).any():
        some = phases.pick(near)
        prompt = np.array([s.kinetics == "prompt" for s in some.solids], dtype=bool)
        for stage, allowed in enumerate((prompt, np.ones(len(near), dtype=bool))):
            state = settle(
                system,
                totals,
                conditions,
                some,
                log_ksp=log_ksp[:, near],
                allowed=allowed,
                start=clear,
            )
            if not state.converged[0]:
                raise NoTruth("no settled state")
            stages[stage, near] = np.maximum(state.amounts[0], 0.0)
    mmol = {c: 1000.0 * m * water_per_L for c, m in zip(system.components, totals[0], strict=True)}
    starts = np.array(
        [
            clouds_after_s(s.curve, 2.0 * si[m] / phases.ions[m])
            * nature.clouding(s.family, tables().clouding[s.curve].factor)
            * retarded(s.curve, mmol)
            for m, s in enumerate(phases.solids)
        ]
    )
    soonest: dict[str, float] = {}
    for s, start in zip(phases.solids, starts, strict=True):
        if s.decides:
            soonest[s.family] = min(start, soonest.get(s.family, math.inf))
    starts = np.array([soonest.get(s.family, math.inf) for s in phases.solids])
    return _State(si, stages, mass * water_per_L, np.minimum(starts, NEVER_S))


def clouds_after_s(curve: str, si: float) -> float:
    """Median time until a solid shows [s] at an SI per two ions; infinite below saturation.

    The table's rule: ln t straight between points; a + b / SI^2 below them; flat above.
    """
    if si <= 0.0:
        return math.inf
    points, ln_t, slope = _curve(curve)
    if si >= points[0]:
        return math.exp(float(np.interp(si, points, ln_t)))
    # 30 is the rule's longest ln t, some 300,000 years: beyond it numbers only overflow.
    return math.exp(min(ln_t[0] + slope * (si**-2 - points[0] ** -2), 30.0))


def retarded(curve: str, mmol_per_L: Mapping[str, float]) -> float:
    """How many times longer a solid takes beside what slows it: the table's rule."""
    times = 1.0
    for row in _retarders():
        c = mmol_per_L.get(row["component"], 0.0) if row["curve"] == curve else 0.0
        most = float(row["most"])
        if not row["per"]:
            times *= 1.0 + (most - 1.0) * c / (c + float(row["half_mmol_per_L"]))
        elif c > 0.0 and row["per"] in mmol_per_L:
            start, end = float(row["from_ratio"]), float(row["to_ratio"])
            ratio = c / max(mmol_per_L[row["per"]], 1e-12)
            way = math.log(ratio / start) / math.log(end / start)
            times *= most ** min(max(way, 0.0), 1.0)
    return times


@cache
def _retarders() -> list[dict[str, str]]:
    return read_csv("delays.csv")


@cache
def _limits() -> dict[str, float]:
    """What a solid looks like -> from how much of it is seen [g/L]."""
    return {r["shows_as"]: float(r["shows_g_per_L"]) for r in read_csv("limits.csv")}


def seen(grams: Mapping[str, float]) -> bool:
    """Whether any of what came out [g/L] passes its own limit."""
    solids = tables().solids
    return any(
        g > (_limits()[solids[k].shows_as] if k in solids else tables().value("show_limit"))
        for k, g in grams.items()
    )


@cache
def _curve(curve: str) -> tuple[tuple[float, ...], tuple[float, ...], float]:
    row = tables().clouding[curve]
    ln_t = tuple(math.log(t) for t in row.t_s)
    slope = (ln_t[0] - ln_t[1]) / (row.si[0] ** -2 - row.si[1] ** -2)
    return row.si, ln_t, max(slope, 0.0)


def look(rng: np.random.Generator, grams_per_L: Mapping[str, float]) -> tuple[str, ...]:
    """What an eye would call a tank that holds these solids: a word or two.

    It tells a few grains or a milkiness from flocs, and rust or blue-green from white; it can't
    tell one white powder from another. Little of anything is a haze. One look in ten is off.
    Shares: common practice, no source.
    """
    solids = tables().solids
    total = sum(grams_per_L.values())
    main = max(grams_per_L, key=lambda k: grams_per_L[k])
    if total < SLIGHT:
        odds = {"haze": 0.85, "flakes": 0.1, "grit": 0.05}
    elif main not in solids:  # sulfur of thiosulfate stays a milk
        odds = {"haze": 0.9, "flakes": 0.08, "grit": 0.02}
    elif solids[main].curve in FLOCS:
        odds = {"haze": 0.35, "flakes": 0.6, "grit": 0.05}
    elif solids[main].curve in GRAINS:
        odds = {"haze": 0.4, "flakes": 0.1, "grit": 0.5}
    else:
        odds = {"haze": 0.5, "flakes": 0.4, "grit": 0.1}
    if rng.random() < SLIP:
        odds = dict.fromkeys(odds, 1.0 / 3.0)
    words = [str(rng.choice(list(odds), p=list(odds.values())))]
    formulas = {k: solids[k].formula for k in grams_per_L if k in solids}
    tinted = sum(grams_per_L[k] for k, f in formulas.items() if any(m in f for m in TINTS))
    if rng.random() < (0.7 if tinted > 0.2 * total else SLIP / 3.0):
        words.append("colour")
    return tuple(words)
