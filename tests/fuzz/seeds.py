"""A small shed: every kind of file that people write, and the commands that read each."""

from __future__ import annotations

from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
FEW = ["--draws", "16"]

PRODUCT = """\
name = "Iron and phosphate, invented"
form = "solution"
density = "10.2 lb/gal"
ph = "5.0-5.5"
ph_at = "1 %"
sources = ["ferrous sulfate", "monoammonium phosphate", "EDTA"]
usual_rate = "3 fl oz/1000 sq ft"
rate_range = "1-4 fl oz/1000 sq ft"
price = "$20 per gal"
net_volume = "2.5 gal"
care = ["keep from freezing"]
lot = "B24"

[guarantee]
"ammoniacal nitrogen" = 1.2
"available phosphate" = "6 %"
iron = 3.0

[chelated]
iron = { percent = 1.0, agent = "EDTA" }

[also]
"citric acid" = 0.5

[says]
pour = "first"
never_with = ["calcium nitrate"]
carrier_at_least = "20 gal/acre"
"""
WATER = """\
name = "Well, invented"
ph = "7.4-7.8"
alkalinity = "210 mg/L as CaCO3"
hardness = "250 mg/L as CaCO3"
sampled = "2026-04-12"

[ions]
Ca = "68 mg/L"
NO3 = "2 mg/L as N"
Cl = "<5 mg/L"
SO4 = "1.2 meq/L"
"""
SPRAYER = """\
name = "Boom, invented"
carrier = "2 gal/1000 sq ft"
error_percent = "3"
tank = "100 gal"
finest_screen = "50 mesh"
agitation = "return"
stays_in_sump = "1 qt"
when = "2026-04-12"
"""
SHED = """\
water = "water.toml"
sprayers = ["sprayer.toml"]
products = "."
temperature = "60 F"
units = "both"
ph_by = "strip"
measures = ["10 mL syringe", "kitchen scale 1 g"]

[adjuvant]
name = "Spreader, invented"
ph_at_most = 7.5
"""
LEFT = """\
name = "Yesterday, invented"
water = "unknown"
carrier = "400 L/ha"
[[add]]
product = "calcium-nitrate-liquor"
rate = "2 L/ha"
"""
MIX = """\
name = "Tuesday, invented"
water = [{file = "water.toml", share = "60 %"}, {file = "soft.toml", share = "rest"}]
carrier = "2 gal/1000 sq ft"
fill = "to mark"
tank = "50 gal"
area = "2.6 acre"
temperature = "60 F"
coldest = "40 F"

[[add]]
leftover = "left.toml"
amount = "5 gal"
age = "1 day"

[[add]]
product = "product.toml"
rate = "3 fl oz/1000 sq ft"

[[add]]
product = "urea-liquor"
rate = "0.5 % v/v"

[adjuvant]
name = "spreader"
rate = "0.25 % v/v"
ph_at_most = 7.0
"""
SOLUTION = """\
name = "Stock, invented"
temperature = "20 C"
ph = "6.5"

[totals]
Ca = 0.02
NO3 = "40 mmol/kg"
K = 0.03
SO4 = 0.01
PO4 = 0.01
Fe3 = 0.001
EDTA = 0.001

[held.Fe3]
EDTA = "0.001"
"""
REPORT = """\
Water analysis, invented. Sample 1234
pH 7.9
Total alkalinity (as CaCO3) 210 mg/L
Total hardness 250 mg/L as CaCO3
Calcium (Ca) 68 mg/L
Chloride <5 mg/L
Conductivity 450 uS/cm
"""

Commands = tuple[list[str], ...]
OF_MIX: Commands = (
    ["forecast", "mix.toml", *FEW],
    ["forecast", "mix.toml", *FEW, "--json", "--no-notebook"],
    ["forecast", "mix.toml", *FEW, "--chemist", "--html", "page.html"],
    ["why", "mix.toml", *FEW],
    ["fix", "mix.toml", *FEW],
    ["pour", "mix.toml", *FEW],
    ["ph", "mix.toml", *FEW],
    ["ph", "mix.toml", "--to", "5", "--with", "citric acid", *FEW],
    ["jar", "mix.toml", *FEW, "--html", "page.html"],
    ["diagnose", "mix.toml", "--seen", "haze", "--after", "10min", *FEW],
    ["saw", "mix.toml", "--seen", "haze", "--after", "10min", *FEW],
    ["sprayed", "mix.toml", "--quick", *FEW],
    ["rinse", "mix.toml", "left.toml", *FEW],
    ["trace", "mix.toml", "pH"],
    ["edit", "mix.toml"],
)
OF_PRODUCT: Commands = (
    ["label", "product.toml", *FEW],
    ["label", "product.toml", *FEW, "--json"],
    ["label", "product.toml", *FEW, "--html", "page.html"],
    ["shelf", "product.toml", "--in", ".", "--carrier", "2 gal/acre", "--no-cache", *FEW],
    ["edit", "product.toml"],
    ["forecast", "--add", "product.toml", "--add", "urea", "--carrier", "40 gal/acre", *FEW],
    *OF_MIX[:3],
)
OF_NOTEBOOK: Commands = (
    ["notebook", "list"],
    ["notebook", "list", "haze", "--json"],
    ["notebook", "score", "--chemist"],
    ["notebook", "season", "--csv", "season.csv"],
    ["notebook", "wall", *FEW, "--html", "page.html"],
    ["notebook", "next", *FEW],
    ["notebook", "export"],
    ["notebook", "check", "--yes"],
    ["forecast", "mix.toml", *FEW],
)
BY_FILE: dict[str, Commands] = {
    "mix.toml": OF_MIX,
    "left.toml": OF_MIX[:2] + OF_MIX[-3:-2],
    "product.toml": OF_PRODUCT,
    "water.toml": (*OF_MIX[:2], ["edit", "water.toml"]),
    "sprayer.toml": (
        ["forecast", "bare.toml", *FEW],
        ["jar", "bare.toml", *FEW],
        ["edit", "sprayer.toml"],
    ),
    "shed.toml": (
        ["forecast", "bare.toml", *FEW],
        ["fix", "bare.toml", *FEW],
        ["edit", "shed.toml"],
    ),
    "solution.toml": (
        ["solution", "solution.toml"],
        ["solution", "solution.toml", "--settle", "--all"],
        ["solution", "solution.toml", "--odds", *FEW, "--json"],
    ),
    "label.txt": (
        ["label", "--paste", "label.txt", *FEW],
        ["label", "--paste", "label.txt", *FEW, "--json"],
        ["label", "--paste", "label.txt", "--out", "read.toml", *FEW],
    ),
    "report.txt": (["new", "water", "Reported", "--paste", "report.txt"],),
    "export.json": (
        ["notebook", "import", "export.json", "--notebook", "other.sqlite"],
        ["notebook", "import", "export.json", "--json"],
    ),
    "notebook.sqlite": OF_NOTEBOOK,
}
ASKED = ("new", "edit", "saw", "sprayed")
"""Commands that read what is typed."""


def seed_files() -> dict[str, list[bytes]]:
    """Every file of a small shed, with the texts that mutants of it begin from."""
    files = {
        "mix.toml": [MIX, *_texts("examples", "*.toml")],
        "left.toml": [LEFT],
        "product.toml": [PRODUCT, *_texts("data/demo/products", "*.toml")],
        "water.toml": [WATER, *_texts("data/demo/waters", "*.toml")],
        "sprayer.toml": [SPRAYER],
        "shed.toml": [SHED],
        "bare.toml": ['name = "Bare"\n[[add]]\nproduct = "urea-liquor"\n'],
        "solution.toml": [SOLUTION, *_texts("examples/solutions", "*.toml")],
        "label.txt": _texts("tests/labels", "**/*.txt"),
        "report.txt": [REPORT],
    }
    return {name: [text.encode() for text in texts] for name, texts in files.items()}


def _texts(folder: str, pattern: str) -> list[str]:
    return [p.read_text(encoding="utf-8") for p in sorted((ROOT / folder).glob(pattern))]
