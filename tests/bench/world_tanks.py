"""Tanks of two to five jugs in several waters, and what is true of them by PHREEQC."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from world_chemistry import LACKED, Lab, Solved
from world_labels import Label, write_label
from world_liquids import Liquid

FL_OZ_PER_GAL = 128.0
METERED = 0.03
REPORTED = 0.05
AT_S = 14400.0
VISIBLE = 0.02
"""g/L of a solid that an eye sees as haze, within a third."""

# mmol/L: Ca, Mg, Na, K, Cl, SO4, NO3; alkalinity meq/L; pH
WATERS: Mapping[str, tuple[tuple[float, ...], float, float]] = {
    "rain": ((0.05, 0.02, 0.1, 0.01, 0.1, 0.05, 0.05), 0.03, 5.9),
    "soft": ((0.35, 0.15, 0.5, 0.05, 0.45, 0.15, 0.1), 0.6, 7.1),
    "middling": ((1.2, 0.5, 0.9, 0.08, 0.8, 0.5, 0.3), 2.3, 7.5),
    "hard": ((2.4, 0.8, 0.8, 0.1, 0.9, 0.6, 0.2), 4.9, 7.5),
    "gypsum spring": ((4.2, 1.4, 1.0, 0.1, 1.0, 3.5, 0.3), 3.7, 7.6),
    "saline": ((2.0, 2.0, 12.0, 0.3, 13.0, 2.5, 0.1), 4.0, 7.9),
}
IONS = ("Ca", "Mg", "Na", "K", "Cl", "SO4", "NO3")
GRAMS = {"Ca": 40.08, "Mg": 24.305, "Na": 22.99, "K": 39.1, "Cl": 35.45, "SO4": 96.06, "NO3": 62.0}

# solid: SI per two ions at which half of the tanks show it by 4 h, power of the clock, ions
CLOCK: Mapping[str, tuple[float, float, int]] = {
    "gypsum": (0.42, 4.5, 2), "koktaite": (0.7, 4.0, 5), "brushite": (0.5, 5.5, 2),
    "amorphous_calcium_phosphate": (0.12, 2.5, 5), "struvite": (0.2, 3.0, 3),
    "newberyite": (0.8, 4.5, 2), "calcite": (1.12, 8.0, 2), "vaterite": (0.6, 6.0, 2),
    "calcium_citrate": (1.2, 5.0, 5), "Ca_citrate": (1.2, 5.0, 5), "vivianite": (0.5, 4.0, 5),
    "ferric_phosphate": (0.1, 2.5, 2), "ferrihydrite": (0.1, 2.0, 4), "hopeite": (0.45, 4.0, 5),
    "manganese_phosphate": (0.5, 4.0, 5), "copper_phosphate": (0.4, 4.0, 5),
    "cu_hydroxide": (0.1, 2.0, 3), "zn_hydroxide": (0.1, 2.0, 3), "malachite": (0.9, 5.0, 5),
    "brochantite": (0.5, 4.0, 5),
    "rhodochrosite": (1.3, 6.0, 2), "smithsonite": (1.0, 5.0, 2), "siderite": (1.3, 6.0, 2),
    "silica_amorphous": (0.5, 3.0, 1), "Ca_fluoride": (0.7, 5.0, 3), "Ca_soap": (0.2, 2.0, 3),
    "Ca_oxalate": (0.4, 3.0, 2), "calcium_oxalate": (0.4, 3.0, 2),
    "calcium_pyrophosphate": (0.4, 3.0, 3), "Ca2P2O7_2H2O": (0.4, 3.0, 3),
    "Ca_phosphite": (0.6, 4.0, 2), "calcium_phosphite": (0.6, 4.0, 2), "Ca_sulfite": (0.4, 4.0, 2),
    "MnNH4PO4": (0.35, 3.5, 3), "mn_ammonium_phosphate": (0.35, 3.5, 3),
    "ZnNH4PO4": (0.35, 3.5, 3), "zn_ammonium_phosphate": (0.35, 3.5, 3),
    "FeNH4PO4": (0.35, 3.5, 3), "fe_ammonium_phosphate": (0.35, 3.5, 3),
    "Cu_phosphite": (0.5, 4.0, 2), "copper_phosphite": (0.5, 4.0, 2),
    "syngenite": (0.8, 4.0, 5), "k_struvite": (0.5, 4.0, 3), "hydrozincite": (0.7, 4.0, 13),
    "zinc_pyrophosphate": (0.5, 4.0, 3), "manganese_pyrophosphate": (0.5, 4.0, 3),
    "brucite": (0.3, 3.0, 3), "calcium_sulfite": (0.4, 4.0, 2),
    "powellite": (0.5, 4.0, 2), "edta_acid": (0.6, 4.0, 1),
    "calcium_tartrate": (0.7, 5.0, 2), "calcium_gluconate": (0.9, 5.0, 3),
}  # fmt: skip
DELAYS = ("citrate", "P2O7", "humicA", "ligno")
SULFUR = 0.03
"""Of thiosulfate in acid: seconds to milkiness x hydrogen ion x thiosulfate [s mol2/L2] (between
about 0.02 at pH 2 and what school's clock of 0.1 mol/L each shows; value from memory)."""
GELS = frozenset({"humate flocs", "alginate threads", "silica gel", "sulfur"})
"""What comes out besides salts; the program's tables judge all of them."""


@dataclass(frozen=True)
class Truth:
    """ph; si by key, at once; out: solid -> g/L by 4 h; shows, shows_tables: whether something
    shows, of all or of what the program's tables judge; molal: as poured [mol/kg water]."""

    ph: float
    si: Mapping[str, float]
    out: Mapping[str, float]
    shows: bool
    shows_tables: bool
    molal: Mapping[str, float] = field(default_factory=dict)
    celsius: float = 25.0


@dataclass(frozen=True)
class Tank:
    """liquids by place in the list; files: mix with labels as printed, and with every jug's pH
    measured, or with labels that are nearly the whole truth."""

    number: int
    jugs: tuple[int, ...]
    database: str
    mix: Path
    measured: Path
    whole: Path
    truth: Truth


def _carbonate(alkalinity: float, ph: float) -> float:
    a, b = 10.0 ** (6.37 - ph), 10.0 ** (ph - 10.36)
    return alkalinity * (1.0 + a + b) / (1.0 + 2.0 * b)


def _water(rng: np.random.Generator, name: str, folder: Path, number: int) -> dict[str, float]:
    ions, alkalinity, ph = WATERS[name]
    true = dict(zip(IONS, (m * math.exp(rng.normal(0, 0.15)) for m in ions), strict=True))
    alkalinity *= math.exp(rng.normal(0, 0.1))
    ph += rng.normal(0, 0.15)
    anions = true["Cl"] + 2 * true["SO4"] + true["NO3"] + alkalinity
    cations = 2 * true["Ca"] + 2 * true["Mg"] + true["Na"] + true["K"]
    true["Na" if anions > cations else "Cl"] += abs(anions - cations)
    lines = [f'name = "Water {number}, invented"', f"ph = {ph + rng.normal(0, 0.1):.1f}"]
    shown = 50.0 * alkalinity * math.exp(rng.normal(0, REPORTED))
    lines += [f'alkalinity = "{shown:.0f} mg/L as CaCO3"', "[ions]"]
    for ion in IONS:
        mg = GRAMS[ion] * true[ion] * math.exp(rng.normal(0, REPORTED))
        lines.append(f'{ion} = "{mg:.2g} mg/L"' if mg < 10 else f'{ion} = "{mg:.0f} mg/L"')
    (folder / f"water-{number}.toml").write_text("\n".join(lines) + "\n")
    held = {c: m / 1000.0 for c, m in true.items()}
    held["CO3"] = _carbonate(alkalinity, ph) / 1000.0
    return held


def jug_file(number: int) -> str:
    """Name of a jug's product file."""
    return f"jug-{number}"


def write_jugs(liquids: Sequence[Liquid], labels: Sequence[Label], folder: Path, seed: int) -> None:
    """Every jug as its label was typed, with its pH measured, and with a label that says all."""
    for liquid, label in zip(liquids, labels, strict=True):
        rng = np.random.default_rng((seed, 77, liquid.number))
        (folder / f"{jug_file(liquid.number)}.toml").write_text(label.text)
        reading = liquid.ph_tenth + rng.normal(0.0, 0.1)
        kept = [
            line for line in label.text.splitlines() if not line.startswith(("ph =", "ph_at ="))
        ]
        head = next((i for i, line in enumerate(kept) if line.startswith("[")), len(kept))
        kept.insert(head, 'ph_at = "10 %"')
        text = "\n".join([*kept, "", "[known]", f'ph = "{max(reading, 0.0):.2f}"', ""])
        (folder / f"{jug_file(liquid.number)}-measured.toml").write_text(text)
        every = write_label(rng, liquid, whole=True).text
        (folder / f"{jug_file(liquid.number)}-whole.toml").write_text(every)


def draw_tank(
    number: int,
    liquids: Sequence[Liquid],
    labs: Mapping[str, Lab],
    tables: frozenset[str],
    folder: Path,
    seed: int,
) -> Tank | None:
    """One tank of jugs of one database; None where PHREEQC finds no truth.

    tables: keys of the solids that the program's tables hold.
    """
    rng = np.random.default_rng((seed, 9, number))
    database = list(labs)[number % len(labs)]
    lab = labs[database]
    pool = [i for i, liquid in enumerate(liquids) if liquid.database == database]
    count = int(rng.choice([2, 3, 4, 5], p=[0.45, 0.3, 0.15, 0.1]))
    jugs = _meeting(rng, pool, count, liquids)
    carrier = float(rng.choice([1.0, 1.5, 2.0, 2.0, 3.0, 4.0]))
    rates = [liquids[j].rate * float(rng.choice([0.5, 1.0, 1.0, 1.5])) for j in jugs]
    rates = [max(0.5, round(2 * r) / 2) for r in rates]
    if sum(rates) > 0.3 * carrier * FL_OZ_PER_GAL:
        rates = [0.5 * r for r in rates]
    water = _water(rng, str(rng.choice(list(WATERS))), folder, number)
    celsius = float(rng.choice([12.0, 18.0, 18.0, 25.0]))
    truth = _truth(rng, lab, [liquids[j] for j in jugs], rates, carrier, water, celsius, tables)
    if truth is None:
        return None
    files = []
    for suffix in ("", "-measured", "-whole"):
        lines = [f'name = "Tank {number}, invented"']
        lines += [f'water = "water-{number}.toml"']
        lines += [f'carrier = "{carrier:g} gal/1000 sq ft"', f'temperature = "{celsius:g} C"']
        for j, rate in zip(jugs, rates, strict=True):
            name = jug_file(liquids[j].number) + suffix
            lines += ["[[add]]", f'product = "{name}.toml"', f'rate = "{rate:g} fl oz/1000 sq ft"']
        path = folder / f"tank-{number}{suffix}.toml"
        path.write_text("\n".join(lines) + "\n")
        files.append(path)
    return Tank(number, tuple(jugs), database, *files, truth)


def _meeting(
    rng: np.random.Generator, pool: Sequence[int], count: int, liquids: Sequence[Liquid]
) -> list[int]:
    """Jugs that people ask about: half of the tanks bring calcium or a metal to an anion."""
    jugs = [int(j) for j in rng.choice(pool, min(count, len(pool)), replace=False)]
    if rng.random() < 0.4:
        metals = [j for j in pool if liquids[j].group in {"calcium", "magnesium", "iron"}]
        if metals:
            jugs[0] = int(rng.choice(metals))
    return list(dict.fromkeys(jugs))


def _truth(
    rng: np.random.Generator,
    lab: Lab,
    jugs: Sequence[Liquid],
    rates: Sequence[float],
    carrier: float,
    water: Mapping[str, float],
    celsius: float,
    tables: frozenset[str],
) -> Truth | None:
    shares = [r / (carrier * FL_OZ_PER_GAL) * math.exp(rng.normal(0, METERED)) for r in rates]
    plain = 1.0 - sum(shares)
    kgw = plain * 0.999
    held = {c: m * plain for c, m in water.items()}
    for liquid, share in zip(jugs, shares, strict=True):
        mass = share * liquid.density
        kgw += mass * liquid.water
        for c, m in liquid.mol_per_kg.items():
            held[c] = held.get(c, 0.0) + mass * m
    molal = {c: m / kgw for c, m in held.items()}
    poured = molal
    fresh = lab.solve(molal, celsius)
    if fresh is None or not math.isfinite(fresh.ph):
        return None
    if molal.get("Fe2", 0.0) > 0.0:
        rate = 8e13 * 0.2 * 10.0 ** (2.0 * (fresh.ph - 14.2)) * math.exp(rng.normal(0, 0.7))
        turned = min(molal["Fe2"] * -math.expm1(-rate * AT_S / 60.0), 0.0015)
        molal = {**molal, "Fe2": molal["Fe2"] - turned, "Fe3": molal.get("Fe3", 0.0) + turned}
    later = lab.solve(molal, celsius)
    if later is None:
        return None
    slow = sum(molal.get(c, 0.0) for c in DELAYS)
    tank = math.exp(rng.normal(0, 1.0)) * (1.0 + 1500.0 * slow)
    out = _settled(rng, lab, molal, celsius, later, tank, kgw)
    if out is None:
        return None
    out |= _colloids(rng, jugs, shares, molal, fresh.ph)
    seen = {k: VISIBLE * math.exp(rng.normal(0, 0.3)) for k in out}
    shows = any(g > seen[k] for k, g in out.items())
    judged = (tables - LACKED) | GELS
    in_tables = any(g > seen[k] for k, g in out.items() if k in judged)
    return Truth(fresh.ph, fresh.si, out, shows, in_tables, poured, celsius)


def _settled(
    rng: np.random.Generator, lab: Lab, molal: Mapping[str, float], celsius: float, state: Solved,
    tank: float, kgw: float,
) -> dict[str, float] | None:  # fmt: skip
    phase_of = {key: (name, mass) for name, (key, mass) in lab.database.phases.items()}
    clocks = {}
    for key, (half, power, ions) in CLOCK.items():
        per_two = 2.0 * state.si.get(key, -99.0) / ions
        if per_two > 0.0 and math.isfinite(per_two):
            delay = tank if key not in {"ferrihydrite", "Ca_soap"} else 1.0
            clock = AT_S * (half / per_two) ** power * delay * math.exp(rng.normal(0, 0.7))
            if clock < AT_S:
                clocks[key] = clock
    if not clocks:
        return {}
    settled = lab.solve(molal, celsius, settle=[phase_of[k][0] for k in clocks])
    if settled is None:
        return None
    out = {}
    for key, clock in clocks.items():
        formed = settled.amounts.get(key, 0.0) * phase_of[key][1] * kgw
        share = -math.expm1(-(AT_S - clock) / (5.0 * clock) * math.exp(rng.normal(0, 0.8)))
        if formed > 0.0:
            out[key] = formed * share
    return out


def _colloids(
    rng: np.random.Generator, jugs: Sequence[Liquid], shares: Sequence[float],
    molal: Mapping[str, float], ph: float,
) -> dict[str, float]:  # fmt: skip
    out: dict[str, float] = {}
    grams = {"humic matter": 0.0, "kelp solids": 0.0}
    for liquid, share in zip(jugs, shares, strict=True):
        for matter in grams:
            grams[matter] += 1000.0 * share * liquid.density * liquid.named.get(matter, 0.0)
    polyvalent = sum(molal.get(c, 0.0) for c in ("Ca", "Mg", "Fe2", "Fe3", "Cu", "Zn", "Mn"))
    acid, salt = rng.normal(4.0, 0.5), 0.008 * math.exp(rng.normal(0, 0.6))
    if grams["humic matter"] > 0.1 and (ph < acid or polyvalent > salt):
        out["humate flocs"] = 0.4 * grams["humic matter"]
    alginate = 0.12 * grams["kelp solids"]
    if alginate > 0.4 and molal.get("Ca", 0.0) > 0.006 * math.exp(rng.normal(0, 0.6)):
        out["alginate threads"] = 0.3 * alginate
    silica = molal.get("Si", 0.0)
    if silica > 0.012 * math.exp(rng.normal(0, 0.5)) and 4.5 < ph < 10.3:
        out["silica gel"] = 20.0 * silica
    thiosulfate = molal.get("S2O3", 0.0)
    milky = SULFUR * math.exp(rng.normal(0, 0.9)) / max(thiosulfate * 10.0**-ph, 1e-30)
    if milky < AT_S:
        out["sulfur"] = 32.1 * thiosulfate * -math.expm1(-AT_S / (20.0 * milky))
    return out
