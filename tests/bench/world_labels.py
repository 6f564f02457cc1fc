"""What is printed on a jug, and what a person types of it: US, EU and sloppy labels.

A maker prints the least it answers for, rounded down, names what it must (and often in words that
fit several compounds), and leaves out trimming agents, preservatives, counter-ions. A person types
what stands there into a product file, and forgets some of it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from world_liquids import ORGANIC, ORGANIC_N, Liquid

STYLES = (("US", 0.5), ("EU", 0.25), ("sloppy", 0.25))
PH_PRINTED = 0.4
DENSITY_UNKNOWN = 0.12

# compound -> what a careful label calls it, what a careless one does
NAMES: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "monoammonium phosphate": ("monoammonium phosphate", ("ammonium phosphate",)),
    "diammonium phosphate": ("diammonium phosphate", ("ammonium phosphate",)),
    "ammonium polyphosphate": ("ammonium polyphosphate", ("ammonium polyphosphate",)),
    "monopotassium phosphate": ("monopotassium phosphate", ("potassium phosphate",)),
    "dipotassium phosphate": ("dipotassium phosphate", ("potassium phosphate",)),
    "tetrapotassium pyrophosphate": (
        "tetrapotassium pyrophosphate", ("potassium phosphate", "potassium pyrophosphate"),
    ),
    "phosphorous acid": ("potassium phosphite", ("potassium phosphite", "phosphorous acid")),
    "aqua ammonia": ("aqua ammonia", ("ammonia",)),
    "triazone": ("triazone", ("urea-triazone",)),
    "methylene diurea": ("methylene diurea", ("methylene urea",)),
    "potassium silicate": ("potassium silicate", ("silica",)),
    "calcium nitrate": ("calcium nitrate", ("calcium nitrate",)),
    "calcium gluconate": ("calcium gluconate", ("calcium complex",)),
    "calcium EDTA": ("calcium EDTA", ("chelated calcium", "calcium chelate")),
    "calcium lignosulfonate": ("calcium lignosulfonate", ("complexed calcium",)),
    "magnesium sulfate": ("magnesium sulfate", ("epsom salt", "magnesium")),
    "ferrous sulfate": ("ferrous sulfate", ("iron sulfate", "iron")),
    "ferric citrate": ("ferric citrate", ("iron citrate", "complexed iron")),
    "ferric ammonium citrate": ("ferric ammonium citrate", ("iron citrate", "chelated iron")),
    "ferric sulfate": ("ferric sulfate", ("iron sulfate",)),
    "iron gluconate": ("iron glucoheptonate", ("iron complex", "chelated iron")),
    "iron EDTA": ("iron EDTA", ("iron chelate", "chelated iron")),
    "iron HEDTA": ("iron HEDTA", ("iron chelate", "chelated iron")),
    "iron DTPA": ("iron DTPA", ("iron chelate", "chelated iron")),
    "iron EDDHA": ("iron EDDHA", ("iron chelate",)),
    "manganese sulfate": ("manganese sulfate", ("manganese",)),
    "manganese EDTA": ("manganese EDTA", ("manganese chelate", "chelated manganese")),
    "zinc sulfate": ("zinc sulfate", ("zinc",)),
    "zinc EDTA": ("zinc EDTA", ("zinc chelate", "chelated zinc")),
    "copper sulfate": ("copper sulfate", ("copper",)),
    "copper EDTA": ("copper EDTA", ("copper chelate", "chelated copper")),
    "zinc citrate": ("zinc citrate", ("zinc complex",)),
    "manganese citrate": ("manganese citrate", ("manganese complex",)),
    "sodium octaborate": ("disodium octaborate tetrahydrate", ("sodium borate", "borates")),
    "borax": ("sodium tetraborate decahydrate", ("sodium borate",)),
    "humic matter": ("potassium humate", ("humic acid", "humates")),
    "fulvic matter": ("fulvic acid", ("fulvic acid",)),
    "kelp solids": ("seaweed extract", ("kelp", "seaweed")),
    "hydrolysate": ("amino acids", ("amino acids", "hydrolyzed protein")),
    "fish solids": ("fish hydrolysate", ("fish", "fish emulsion")),
    "molasses solids": ("molasses", ("molasses",)),
    "potassium chloride": ("potassium chloride", ("muriate of potash", "potassium salts")),
    "potassium nitrate": ("potassium nitrate", ("potassium salts",)),
    "potassium hydroxide": ("potassium hydroxide", ("potash",)),
}  # fmt: skip
ADDITIVES = {
    "citric acid", "disodium EDTA", "sodium chloride", "surfactant", "ammonium sulfite", "fluoride",
    "gluconic acid", "sodium gluconate", "ethanolamine", "lactic acid",
}  # fmt: skip
ADDITIVE_NAMED = 0.35
NEVER_NAMED = {"fluoride", "ammonium sulfite", "surfactant"}

IRON = ("Fe2", "Fe3", "FeEDTA", "FeHEDTA", "FeDTPA", "FeEDDHA", "FecitA", "FeglucA")
# line: (component -> atoms, g/mol of what it is expressed as per atom, least printed, rounding)
LINES: Mapping[str, tuple[Mapping[str, float], float, float]] = {
    "nitrate nitrogen": ({"NO3": 1}, 14.007, 0.1),
    "ammoniacal nitrogen": ({"NH4": 1}, 14.007, 0.1),
    "urea nitrogen": ({"urea": 2}, 14.007, 0.1),
    "other water soluble nitrogen": ({"slow": 1}, 14.007, 0.1),
    "available phosphate": ({"PO4": 1, "P2O7": 2, "P3O10": 3, "HPO3": 1}, 70.97, 0.3),
    "soluble potash": ({"K": 1}, 47.1, 0.3),
    "calcium": ({"Ca": 1}, 40.08, 0.3),
    "magnesium": ({"Mg": 1}, 24.305, 0.3),
    "sulfur": ({"SO4": 1, "S2O3": 2, "sulfite": 1}, 32.06, 0.5),
    "boron": ({"B": 1}, 10.81, 0.02),
    "copper": ({"Cu": 1}, 63.55, 0.05),
    "iron": (dict.fromkeys(IRON, 1), 55.85, 0.1),
    "manganese": ({"Mn": 1}, 54.94, 0.05),
    "molybdenum": ({"Mo": 1}, 95.95, 0.0005),
    "zinc": ({"Zn": 1}, 65.38, 0.05),
    "silicon": ({"Si": 1}, 28.086, 0.3),
}  # fmt: skip
EU_LINES = {
    "calcium": ("CaO", 1.399), "magnesium": ("MgO", 1.658), "sulfur": ("SO3", 2.497),
    "silicon": ("SiO2", 2.139),
}  # fmt: skip
CHELATES = {"iron EDTA": ("iron", "EDTA"), "iron HEDTA": ("iron", "HEDTA"),
            "iron DTPA": ("iron", "DTPA"), "iron EDDHA": ("iron", "EDDHA"),
            "manganese EDTA": ("manganese", "EDTA"), "zinc EDTA": ("zinc", "EDTA"),
            "copper EDTA": ("copper", "EDTA"), "calcium EDTA": ("calcium", "EDTA")}  # fmt: skip


@dataclass(frozen=True)
class Label:
    """text: the product file a person typed; style; ph_printed: where ("" if none)."""

    text: str
    style: str
    ph_printed: str


def percents(liquid: Liquid) -> dict[str, float]:
    """What the analysis of the target would print, unrounded."""
    out = {}
    for line, (parts, grams, _) in LINES.items():
        mol = sum(n * liquid.mol_per_kg.get(c, 0.0) for c, n in parts.items())
        out[line] = mol * grams / 10.0 / liquid.over
    organic = sum(liquid.named.get(k, 0.0) * n for k, n in ORGANIC_N.items())
    out["other water soluble nitrogen"] += organic / liquid.over
    return out


def _rounded(value: float, micro: bool) -> float:
    step = 0.5 if value >= 20 and not micro else 0.1 if value >= 1 else 0.01
    if micro and value < 0.02:
        step = 0.0005
    if value >= 3 and not micro:
        step = max(step, 0.5) if value < 15 else 1.0
    return math.floor(value / step + 1e-9) * step


def write_label(rng: np.random.Generator, liquid: Liquid, whole: bool = False) -> Label:
    """One label of a liquid, as a person entered it; whole: one that is nearly the whole truth,
    every compound by its careful name, every line, density, and this lot's pH at 1:10."""
    style = str(rng.choice([s for s, _ in STYLES], p=[p for _, p in STYLES]))
    style = "whole" if whole else style
    got = percents(liquid)
    lines: dict[str, float] = {}
    prints_sulfur = whole or rng.random() < (0.45 if style != "EU" else 0.6)
    for line, value in got.items():
        least = LINES[line][2]
        if value < least or (line == "sulfur" and not prints_sulfur and value < 9.0):
            continue
        if line in {"calcium", "magnesium"} and value < 1.0 and rng.random() < 0.5 * (not whole):
            continue
        micro = line in {"boron", "copper", "iron", "manganese", "molybdenum", "zinc"}
        fine = whole or rng.random() < 0.4
        lines[line] = _rounded(value, micro) if not fine else math.floor(100 * value) / 100
        if lines[line] <= 0.0:
            del lines[line]
    if liquid.family != "potassium silicate" and rng.random() < 0.9:
        lines.pop("silicon", None)
    forms = [k for k in lines if k.endswith("nitrogen")]
    total = sum(lines[k] for k in forms)
    if forms:
        if style == "sloppy" and rng.random() < 0.5:
            for k in forms:
                del lines[k]
        lines = {"total nitrogen": round(total, 3), **lines}
    vague = {"US": 0.25, "EU": 0.15, "sloppy": 0.65, "whole": 0.0}[style]
    names = _names(rng, liquid, vague, whole)
    if style == "EU" and rng.random() < 0.3 and liquid.group != "living":
        names = []
    if style == "sloppy" and len(names) > 1 and rng.random() < 0.3:
        names.pop(int(rng.integers(len(names))))
    if not lines and not names:
        names = _names(rng, liquid, 0.0)
    out = [f'name = "{liquid.family.capitalize()} no. {liquid.number}, invented"']
    if rng.random() < DENSITY_UNKNOWN * (not whole):
        out.append('density = "unknown"')
    elif rng.random() < 0.65:
        shown = round(liquid.density * 8.3454 * math.exp(rng.normal(0, 0.004)), 1)
        out.append(f'density = "{shown} lb/gal"')
    else:
        out.append(f'density = "{round(liquid.density * math.exp(rng.normal(0, 0.004)), 2)} kg/L"')
    printed = ""
    if whole:
        printed = "10 %"
        out += [f'ph = "{liquid.ph_tenth + rng.normal(0.0, 0.1):.1f}"', 'ph_at = "10 %"']
    elif rng.random() < PH_PRINTED:
        printed = str(rng.choice(["neat", "1 %", "10 %"], p=[0.55, 0.25, 0.2]))
        lot = liquid.ph_tenth + rng.normal(0.0, 0.2)
        if printed == "neat":
            lot += rng.normal(-0.1, 0.3)
        elif printed == "1 %":
            lot += (7.0 - lot) * rng.uniform(0.0, 0.12)
        lot = float(np.clip(lot, 0.2, 13.5))
        how = rng.random()
        if how < 0.5:
            out.append(f'ph = "{lot:.1f}"')
        elif how < 0.85:
            a = math.floor((lot - rng.uniform(0.2, 0.8)) * 2) / 2
            out.append(f'ph = "{max(a, 0.0):.1f}-{min(a + rng.choice([1.0, 1.5]), 14.0):.1f}"')
        else:
            out.append(f'ph = "{lot:.1f} +/- 0.5"')
        if printed != "neat":
            out.append(f'ph_at = "{printed}"')
    if names:
        out.append("sources = [" + ", ".join(f'"{n}"' for n in names) + "]")
    out.append(f'usual_rate = "{liquid.rate:g} fl oz/1000 sq ft"')
    if lines:
        out += ["", "[guarantee]"]
        for line, value in lines.items():
            if style == "EU" and line in EU_LINES:
                key, factor = EU_LINES[line]
                out.append(f'"{key}" = {math.floor(100 * value * factor) / 100:g}')
            else:
                out.append(f'"{line}" = {value:g}')
    out += _chelated(rng, liquid, lines)
    also = _also(rng, liquid)
    if also:
        out += ["", "[also]", *also]
    return Label("\n".join(out) + "\n", style, printed)


def _names(
    rng: np.random.Generator, liquid: Liquid, vague: float, whole: bool = False
) -> list[str]:
    out: list[str] = []
    declared = dict(liquid.named)
    for agent, amount in liquid.extras.items():
        strong = agent in {"phosphoric acid", "potassium hydroxide", "citric acid", "aqua ammonia"}
        if (strong and amount > 0.04) or whole:
            declared[agent] = declared.get(agent, 0.0) + amount
    for compound in sorted(declared, key=lambda c: -declared[c]):
        named = rng.random() < ADDITIVE_NAMED and compound not in NEVER_NAMED
        if compound in ADDITIVES and not named and not (whole and compound not in NEVER_NAMED):
            continue
        if liquid.family == "phosphite" and compound == "potassium hydroxide":
            continue
        formal, loose = NAMES.get(compound, (compound, (compound,)))
        name = formal
        if rng.random() < vague:
            name = str(rng.choice(loose))
        if name not in out:
            out.append(name)
    if liquid.family == "boron with ethanolamine" and "ethanolamine" not in out:
        out = ["boron ethanolamine"]
    return out


def _chelated(rng: np.random.Generator, liquid: Liquid, lines: Mapping[str, float]) -> list[str]:
    out = []
    for compound, (line, agent) in CHELATES.items():
        if compound in liquid.named and line in lines and rng.random() < 0.5:
            shown = f'agent = "{agent}"' if rng.random() < 0.6 else ""
            whole = all(
                c == compound or (line not in c and not _holds(c, line)) for c in liquid.named
            )
            if whole:
                both = ", ".join(x for x in (f"percent = {lines[line]:g}", shown) if x)
                out.append(f'"{line}" = {{ {both} }}')
    return ["", "[chelated]", *out] if out else []


def _holds(compound: str, line: str) -> bool:
    metal = {"iron": "ferr", "manganese": "manganese", "zinc": "zinc", "copper": "copper"}
    return metal.get(line, line) in compound


def _also(rng: np.random.Generator, liquid: Liquid) -> list[str]:
    out = []
    for matter, name in (
        ("humic matter", "humic acid"), ("fulvic matter", "fulvic acid"),
        ("kelp solids", "seaweed extract"), ("hydrolysate", "amino acids"),
        ("molasses solids", "molasses"),
    ):  # fmt: skip
        if matter in ORGANIC and matter in liquid.named and rng.random() < 0.6:
            out.append(f'"{name}" = {math.floor(1000 * liquid.named[matter] / liquid.over) / 10:g}')
    citric = liquid.named.get("citric acid", 0.0)
    if citric > 0.03 and rng.random() < 0.2:
        out.append(f'"citric acid" = {math.floor(1000 * citric / liquid.over) / 10:g}')
    return out
