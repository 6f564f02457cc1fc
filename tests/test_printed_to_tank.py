"""From a label as printed to the tank: pasted, read, forecast. What applicators take for granted.

Common practice, no source. The labels are invented, in the form of the uniform state bill for
commercial fertilizers; nothing of them is typed in by hand, and nothing is measured.
"""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path

import pytest

import chem
from chem.forecast import Study, forecast
from chem.label.paste import read_paste

SOFT = Path(__file__).parent.parent / "data" / "demo" / "waters" / "soft.toml"
LABELS = {
    "app": """GUARANTEED ANALYSIS
Total Nitrogen (N) 10%
  10% Ammoniacal Nitrogen
Available Phosphate (P2O5) 34%
Derived from ammonium polyphosphate
11.65 lbs/gal at 60 F. pH 6.2
""",
    "cacl": """GUARANTEED ANALYSIS
Calcium (Ca) 12%
Derived from: calcium chloride
Net weight per gallon: 11.3 lb
""",
    "canit": """GUARANTEED ANALYSIS
Total Nitrogen (N) ........ 9.0%
  9.0% Nitrate Nitrogen
Calcium (Ca) ........ 11.0%
Derived from: Calcium Nitrate
Weight per gallon 12.3 lbs @ 68F
""",
    "cuso4": """GUARANTEED ANALYSIS
Sulfur 2.5%
Copper (Cu) 5%
Derived from copper sulfate
""",
    "f31818": """GUARANTEED ANALYSIS
Total nitrogen 3%
 3% ammoniacal nitrogen
Available phosphate 18%
Soluble potash 18%
Derived from ammonium phosphate, potassium phosphate, potassium hydroxide
11.8 lb/gal
""",
    "feedta": """GUARANTEED ANALYSIS
Total nitrogen 2%
 2% other water soluble nitrogen
Iron (Fe) 5%
 5% chelated iron
Derived from: iron EDTA, urea
10.8 lb/gal
""",
    "feso4": """GUARANTEED ANALYSIS
Iron (Fe) 5.0%
Sulfur (S) 3.0%
Derived from ferrous sulfate
10.2 lb/gal
""",
    "kcarb": """GUARANTEED ANALYSIS
Soluble potash (K2O) 29%
Derived from potassium carbonate
Weight per gallon 12.0 lb
""",
    "knit": """GUARANTEED ANALYSIS
Total nitrogen 3%
 3% nitrate nitrogen
Soluble potash 11%
Derived from potassium nitrate
""",
    "ksil": """GUARANTEED ANALYSIS
Soluble potash (K2O) 8%
Non plant food ingredient: silicon dioxide (SiO2) 20%
Derived from potassium silicate
10.9 lb/gal
""",
    "kts": """GUARANTEED ANALYSIS
Soluble potash (K2O) 25%
Sulfur (S) 17%
Derived from potassium thiosulfate
12.2 lb/gal pH 7.5-8
""",
    "mgso4": """GUARANTEED ANALYSIS
Magnesium (Mg) 3%
Sulfur (S) 4%
Derived from magnesium sulfate
""",
    "mkp": """GUARANTEED ANALYSIS
Available phosphate 10%
Soluble potash 6.6%
Derived from monopotassium phosphate
""",
    "npk": """GUARANTEED ANALYSIS
Total nitrogen 20%
 12% urea nitrogen
 1% ammoniacal nitrogen
 7% slowly available nitrogen from methylene urea
Available phosphate 3%
Soluble potash 3%
Iron 0.1%
 0.1% chelated iron
Derived from urea, methylene urea, ammonium phosphate, potassium chloride, iron EDTA
10.5 lb/gal
""",
    "triaz": """GUARANTEED ANALYSIS
Total nitrogen 28%
 8% urea nitrogen
 20% slowly available nitrogen from triazone
Derived from urea-triazone, urea
10.8 lb/gal
""",
    "uan": """GUARANTEED ANALYSIS
Total nitrogen 32%
 7.75% ammoniacal nitrogen
 7.75% nitrate nitrogen
 16.5% urea nitrogen
Derived from urea, ammonium nitrate
Weighs 11.06 lb/gal
""",
    "urea": """GUARANTEED ANALYSIS
Total Nitrogen 20%
 20% urea nitrogen
Derived from urea
""",
    "znso4": """GUARANTEED ANALYSIS
Sulfur 5%
Zinc (Zn) 10%
Derived from zinc sulfate
11.2 lb/gal
""",
}
TANKS = [
    ("canit=6,feedta=4", "clear"),
    ("canit=8,app=6", "curdles"),
    ("canit=6,f31818=6", "curdles"),
    ("cacl=6,ksil=4", "curdles"),
    ("feso4=4,ksil=4", "curdles"),
    ("uan=12,feedta=3", "clear"),
    ("triaz=9,kts=6", "clear"),
    ("f31818=6,feedta=3", "clear"),
    ("feso4=4,app=6", "curdles"),
    ("kcarb=4,canit=4", "curdles"),
    ("urea=12,mgso4=6,feedta=3", "clear"),
    ("ksil=3,urea=9", "clear"),
    ("cuso4=2,kcarb=4", "curdles"),
    ("znso4=2,f31818=6", "curdles"),
    ("mkp=6,urea=6,knit=6", "clear"),
    ("npk=9,canit=6", "curdles"),
]
"""Fluid ounces per 1,000 sq ft in 2 gallons of soft water, and what is seen within four hours."""


@cache
def jug(key: str) -> chem.Product:
    """The product of a pasted label, no line of its composition left unread."""
    name = f"{key}, invented"
    pasted = read_paste(f"{name}\n{LABELS[key]}", name)
    written = tomllib.loads(pasted.toml)
    assert not [one for one in written.get("unread", ()) if one["kind"] == "composition"], key
    written.pop("name")
    return chem.make_product(name, **written)


@pytest.mark.parametrize(("poured", "seen"), TANKS)
def test_a_printed_label_tells_what_the_tank_does(poured: str, seen: str) -> None:
    parts = [one.split("=") for one in poured.split(",")]
    mix = chem.make_mix(
        poured,
        [(jug(key), f"{ounces} fl oz/1000 sq ft") for key, ounces in parts],
        carrier="2 gal/1000 sq ft",
        water=chem.read_water(SOFT),
        tank="50 gal",
        temperature="65 F",
    )
    odds = forecast(mix, study=Study(32)).probability["4h"]
    assert odds > 0.8 if seen == "curdles" else odds < 0.15, odds
