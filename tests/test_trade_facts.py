"""What applicators take for granted, asked of the whole forecast.

Common practice, no source, unless a test names one. They use the demo shelf and other invented
labels, and hold whatever the constants.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from chem.doubts import Draws
from chem.forecast import Forecast, Study, forecast
from chem.label import contents, read_product
from chem.tank import read_mix

DEMO = Path(__file__).parent.parent / "data" / "demo"
NITRATE = "calcium-nitrate-liquor"
CHLORIDE = "calcium-chloride-liquor"
ORTHO = "npk-orthophosphate"
POLY = "npk-polyphosphate"
SULFATE = "ammonium-sulfate-liquor"
BUFFER = "ph-buffer"

POTASSIUM_NITRATE = """
name = "Potassium nitrate liquor, invented"
density = "1.08 kg/L"
ph = 6.5
sources = ["potassium nitrate"]
[guarantee]
"total nitrogen" = 1.7
"nitrate nitrogen" = 1.7
"soluble potash" = 5.7
"""


def tank(
    folder: Path,
    *adds: tuple[str, str],
    water: str = "soft",
    carrier: str = "2 gal/1000 sq ft",
    size: str = "50 gal",
) -> Forecast:
    """Forecast of (demo product or product file, rate) in a demo water."""
    lines = [
        'name = "Trade fact, invented"',
        f'water = "{(DEMO / "waters" / water).as_posix()}.toml"',
        f'carrier = "{carrier}"',
        f'tank = "{size}"',
        'temperature = "68 F"',
    ]
    for product, rate in adds:
        path = DEMO / "products" / f"{product}.toml"
        file = path.as_posix() if path.is_file() else product
        lines += ["[[add]]", f'product = "{file}"', f'rate = "{rate}"']
    mix = folder / "mix.toml"
    mix.write_text("\n".join(lines))
    return forecast(read_mix(mix), count=64)


# Each 1 to 6 % of the finished volume; the last four reach 1:10 with one partner outside that.
RATIOS = [(1, 1), (3, 3), (6, 6), (1, 2), (2, 1), (1, 4), (4, 1), (1, 6), (6, 1)]
ONE_TO_TEN = [(0.6, 6), (6, 0.6), (1, 10), (10, 1)]


@pytest.mark.parametrize("calcium", [NITRATE, CHLORIDE])
@pytest.mark.parametrize(
    ("phosphate", "percent"),
    [(ORTHO, r) for r in RATIOS + ONE_TO_TEN] + [(POLY, r) for r in RATIOS],
)
def test_calcium_with_a_near_neutral_phosphate_curdles(
    tmp_path: Path, calcium: str, phosphate: str, percent: tuple[float, float]
) -> None:
    ca, p = percent
    found = tank(tmp_path, (phosphate, f"{p} % v/v"), (calcium, f"{ca} % v/v"))
    assert found.answer == "curdle"
    assert found.chance > 0.5
    assert found.solids[0].key in {
        "brushite",
        "amorphous_calcium_phosphate",
        "calcium_pyrophosphate",
    }


@pytest.mark.parametrize("percent", [1, 3, 6])
@pytest.mark.parametrize("calcium", [NITRATE, CHLORIDE])
def test_nitrate_and_potassium_do_not_trouble_calcium(
    tmp_path: Path, calcium: str, percent: int
) -> None:
    (tmp_path / "kno3.toml").write_text(POTASSIUM_NITRATE)
    found = tank(
        tmp_path,
        ("kno3.toml", f"{percent} % v/v"),
        ("magnesium-nitrate-liquor", "2 % v/v"),
        (calcium, f"{percent} % v/v"),
    )
    assert found.answer == "clear"
    assert found.chance > 0.95


@pytest.mark.parametrize(
    ("product", "rate", "water", "dose"),
    [
        ("urea-liquor", "5 fl oz/1000 sq ft", "soft", "1 fl oz/1000 sq ft"),
        ("urea-liquor", "5 fl oz/1000 sq ft", "hard-alkaline", "1 fl oz/1000 sq ft"),
        (ORTHO, "4 fl oz/1000 sq ft", "soft", "2 fl oz/1000 sq ft"),
        ("potassium-phosphite-liquor", "1 % v/v", "soft", "2 fl oz/1000 sq ft"),
    ],
)
def test_citric_acid_brings_a_solution_under_5(
    tmp_path: Path, product: str, rate: str, water: str, dose: str
) -> None:
    without = tank(tmp_path, (product, rate), water=water)
    with_acid = tank(tmp_path, (BUFFER, dose), (product, rate), water=water)
    assert without.ph.median > 5.0
    assert with_acid.ph.median < 5.0
    assert with_acid.answer == "clear"


@pytest.mark.parametrize("adds", [((ORTHO, 6.0), (NITRATE, 6.0)), ((SULFATE, 3.0), (NITRATE, 3.0))])
def test_a_jar_at_the_sprayers_ratio_is_the_tank(
    tmp_path: Path, adds: tuple[tuple[str, float], ...]
) -> None:
    big = tank(tmp_path, *((p, f"{r} fl oz/1000 sq ft") for p, r in adds), size="200 gal")
    jar = tank(
        tmp_path,
        *((p, f"{r / 2} fl oz/1000 sq ft") for p, r in adds),
        carrier="1 gal/1000 sq ft",
        size="1 L",
    )
    assert jar.answer == big.answer
    assert jar.probability == pytest.approx(big.probability, abs=1e-9)
    assert jar.clogs == pytest.approx(big.clogs, abs=1e-9)
    assert jar.ph.median == pytest.approx(big.ph.median, abs=1e-6)
    for a, b in zip(jar.solids, big.solids, strict=True):
        assert a.key == b.key
        assert a.si.median == pytest.approx(b.si.median, abs=1e-6)


def test_a_jar_at_another_ratio_may_stay_clear(tmp_path: Path) -> None:
    sprayer = tank(tmp_path, (SULFATE, "3 % v/v"), (NITRATE, "3 % v/v"))
    more_water = tank(tmp_path, (SULFATE, "0.3 % v/v"), (NITRATE, "0.3 % v/v"))
    less_of_one = tank(tmp_path, (SULFATE, "0.3 % v/v"), (NITRATE, "3 % v/v"))
    assert sprayer.answer == "curdle"
    assert more_water.answer == "clear"
    assert less_of_one.answer == "clear"


@pytest.mark.parametrize("calcium", ["calcium-nitrate-liquor.toml", "calcium-chloride-liquor.toml"])
def test_calcium_and_acid_iron_at_an_eighth_each_sprays_at_first_and_not_by_morning(
    tmp_path: Path, calcium: str
) -> None:
    """Supersaturated with gypsum, yet sprays minutes after mixing (common practice, no source)."""
    path = tmp_path / "mix.toml"
    path.write_text(
        'name = "Eighths, invented"\nwater = "soft.toml"\ncarrier = "2 gal/1000 sq ft"\n'
        'temperature = "68 F"\n'
        '[[add]]\nproduct = "iron-citric.toml"\nrate = "12.5 % v/v"\n'
        f'[[add]]\nproduct = "{calcium}"\nrate = "12.5 % v/v"\n'
    )
    result = forecast(read_mix(path))
    gypsum = next(s for s in result.solids if s.key == "gypsum")
    assert gypsum.si.p05 > 0.5
    assert result.clogs["15min"] < 0.5
    assert result.clogs["24h"] > 0.9


def dry(name: str, sources: list[str], guarantee: dict[str, float]) -> str:
    lines = [f'name = "{name}, invented"', 'form = "dry"', f"sources = {sources}", "[guarantee]"]
    return "\n".join([*lines, *(f'"{k}" = {v}' for k, v in guarantee.items())])


PURE = 'name = "Purified water, invented"\nph = 7.0\nalkalinity = "0 mg/L as CaCO3"\n'
CRYSTALS = {
    "monoammonium phosphate": {"total nitrogen": 12, "available phosphate": 61},
    "diammonium phosphate": {"total nitrogen": 21, "available phosphate": 53},
    "monopotassium phosphate": {"available phosphate": 52, "soluble potash": 34},
    "ammonium sulfate": {"total nitrogen": 21, "sulfur": 24},
    "potassium sulfate": {"soluble potash": 53, "sulfur": 18},
    "ferrous sulfate heptahydrate": {"iron": 20, "sulfur": 11.5},
}


# The first four: ACS Reagent Chemicals (2017), Part 4, pH of a 5 % solution at 25 C, widened by 0.6
# for technical grades (common practice, no source). Potassium sulfate and ferrous sulfate: common
# practice, no source.
@pytest.mark.parametrize(
    ("salt", "grams_per_L", "low", "high"),
    [
        ("monoammonium phosphate", 50, 3.8, 4.4),
        ("diammonium phosphate", 50, 7.7, 8.1),
        ("monopotassium phosphate", 50, 4.1, 4.5),
        ("ammonium sulfate", 50, 5.0, 6.0),
        ("potassium sulfate", 50, 4.5, 9.0),
        ("ferrous sulfate heptahydrate", 100, 2.8, 4.2),
    ],
)
def test_crystals_without_a_ph_on_the_label_read_as_their_salt_does(
    tmp_path: Path, salt: str, grams_per_L: float, low: float, high: float
) -> None:
    (tmp_path / "pure.toml").write_text(PURE)
    (tmp_path / "salt.toml").write_text(dry("Crystals", [salt], CRYSTALS[salt]))
    found = tank(
        tmp_path, ("salt.toml", f"{grams_per_L} g/L"), water=(tmp_path / "pure").as_posix()
    )
    assert low - 0.3 < found.ph.median < high + 0.3
    # Technical grades stray further than the reagent whose window it is.
    assert low - 1.3 < found.ph.p05 <= found.ph.p95 < high + 1.3


KELP = """
name = "Alkaline kelp, invented"
density = "1.15 kg/L"
ph = 9.5
sources = ["seaweed extract", "potassium hydroxide"]
[guarantee]
"soluble potash" = 5.0
[also]
"seaweed extract" = 3.0
"""
HUMATE = """
name = "Humate liquor, invented"
density = "1.10 kg/L"
ph = 10.5
sources = ["potassium humate"]
[guarantee]
"soluble potash" = 3.0
[also]
"humic acid" = 12.0
"""
IRON_GLYCINATE = """
name = "Iron glycinate liquor, invented"
density = "1.12 kg/L"
ph = 4.0
sources = ["iron glycinate"]
[guarantee]
"total nitrogen" = 2.4
"iron" = 5.0
"""


# Poured into water, a liquor whose label leaves out what it was neutralised with cannot stand
# further out than the jug itself (common practice, no source).
@pytest.mark.parametrize(
    ("label", "low", "high"), [(KELP, 6.5, 10.1), (HUMATE, 6.5, 11.0), (IRON_GLYCINATE, 3.4, 7.1)]
)
def test_a_tank_stands_between_its_water_and_the_stated_ph_of_the_jug(
    tmp_path: Path, label: str, low: float, high: float
) -> None:
    (tmp_path / "jug.toml").write_text(label)
    found = tank(tmp_path, ("jug.toml", "3 fl oz/1000 sq ft"))
    assert low < found.ph.p05 <= found.ph.p95 < high
    assert not [g for g in found.gases if g.key == "heat"]


def test_the_granular_calcium_nitrate_of_commerce_adds_up(tmp_path: Path) -> None:
    # 15.5 % N and 19 % Ca: Alabama A&M and Auburn Universities Extension, ANR-174, Nutrient Content
    # of Fertilizer Materials; of the nitrogen 14.4 nitrate, 1.1 ammoniacal: common practice, no
    # source. The double salt itself holds 18.5 % Ca and 1.3 % ammoniacal nitrogen.
    lines = {"total nitrogen": 15.5, "nitrate nitrogen": 14.4, "ammoniacal nitrogen": 1.1}
    label = dry("Granules", ["ammonium calcium nitrate double salt"], {**lines, "calcium": 19.0})
    (tmp_path / "granules.toml").write_text(label)
    inside = contents(read_product(tmp_path / "granules.toml"), Draws(64, 1))
    assert np.median(inside.of("Ca")) == pytest.approx(10 * 19.0 / 40.08, rel=0.06)


def test_no_phosphorus_is_lost_where_a_polyphosphate_is_only_one_of_the_likely_sources(
    tmp_path: Path,
) -> None:
    # P2O5 holds 2 P per 141.94 g.
    unnamed = (
        'name = "8-8-8, invented"\ndensity = "1.22 kg/L"\nph = 6.5\n[guarantee]\n'
        '"total nitrogen" = 8\n"available phosphate" = 8\n"soluble potash" = 8\n'
    )
    named = unnamed.replace(
        "[guarantee]",
        'sources = ["urea", "ammonium polyphosphate", "monopotassium phosphate", '
        '"potassium chloride"]\n[guarantee]',
    )
    for text in (unnamed, named):
        (tmp_path / "npk.toml").write_text(text)
        inside = contents(read_product(tmp_path / "npk.toml"), Draws(128, 1))
        phosphorus = inside.of("PO4") + 2 * inside.of("P2O7") + 3 * inside.of("P3O10")
        printed = 80.0 / 141.94 * 2
        # A vat scatters by 4 % between its lines, up to 12 % above the label, which is rounded.
        assert 0.9 * printed < phosphorus.min()
        assert np.quantile(phosphorus, 0.95) < 1.2 * printed


def test_calcium_nitrate_with_potassium_sulfate_makes_gypsum(tmp_path: Path) -> None:
    # UC Agriculture and Natural Resources, Maintenance of Microirrigation Systems, chemical
    # precipitation, citing Burt, O'Connor and Ruehr 1995, Fertigation: the example that it gives.
    (tmp_path / "k2so4.toml").write_text(
        dry("Crystals", ["potassium sulfate"], CRYSTALS["potassium sulfate"])
    )
    found = tank(tmp_path, ("k2so4.toml", "2 oz wt/1000 sq ft"), (NITRATE, "6 fl oz/1000 sq ft"))
    assert found.answer == "curdle" and found.solids[0].key == "gypsum"


THIOSULFATE = dry("Hypo crystals", ["sodium thiosulfate pentahydrate"], {"sulfur": 25.0})
ACID = """
name = "Dilute hydrochloric acid, invented"
density = "1.02 kg/L"
sources = ["hydrochloric acid"]
[guarantee]
"chlorine" = 3.5
"""


# Turbidity of sodium thiosulfate, 4.5 mmol/L: at pH 2.00 very slight at 5 and slight at 10 minutes,
# at pH 2.47 none at 20 (Bundesamt fuer Seeschifffahrt und Hydrographie, digital library, record
# 26617, page 71, table 10). Times are good to a factor of four.
@pytest.mark.parametrize(
    ("acid_mL_per_L", "ph", "least_min", "most_min"), [(13.0, 2.0, 1.9, 40), (4.1, 2.47, 5, 800)]
)
def test_thiosulfate_in_acid_turns_milky_in_time(
    tmp_path: Path, acid_mL_per_L: float, ph: float, least_min: float, most_min: float
) -> None:
    (tmp_path / "pure.toml").write_text(PURE)
    (tmp_path / "hypo.toml").write_text(THIOSULFATE)
    (tmp_path / "acid.toml").write_text(ACID)
    path = tmp_path / "mix.toml"
    path.write_text(
        'name = "Milk of sulfur, invented"\nwater = "pure.toml"\ncarrier = "1000 L/ha"\n'
        'temperature = "68 F"\n[[add]]\nproduct = "hypo.toml"\nrate = "1.117 g/L"\n'
        f'[[add]]\nproduct = "acid.toml"\nrate = "{acid_mL_per_L} mL/L"\n'
    )
    seen = Study(64, 1).look(read_mix(path))
    assert np.median(seen.fresh.clear.ph) == pytest.approx(ph, abs=0.1)
    after = next(c.after_s for c in seen.colloids if c.key == "sulfur_by_acid")
    assert least_min < np.median(after) / 60.0 < most_min


def test_ammonium_thiosulfate_goes_with_urea_ammonium_nitrate(tmp_path: Path) -> None:
    # "Commonly added to liquid nitrogen solutions": Purdue Extension, Pest and Crop Newsletter,
    # What We Know and Don't Know About Ammonium Thiosulfate.
    (tmp_path / "ats.toml").write_text(
        'name = "ATS liquor, invented"\ndensity = "1.33 kg/L"\nph = 7.5\n'
        'sources = ["ammonium thiosulfate"]\n[guarantee]\n"total nitrogen" = 12\n"sulfur" = 26\n'
    )
    (tmp_path / "uan.toml").write_text(
        'name = "UAN liquor, invented"\ndensity = "1.32 kg/L"\nph = 7.0\n'
        'sources = ["urea ammonium nitrate"]\n[guarantee]\n"total nitrogen" = 32\n'
    )
    found = tank(tmp_path, ("uan.toml", "6 % v/v"), ("ats.toml", "2 % v/v"))
    assert found.answer == "clear" and found.chance > 0.95


def test_orthophosphate_clouds_in_hard_water_and_not_in_soft(tmp_path: Path) -> None:
    # Above 2.5 meq/L of calcium and bicarbonate phosphate fertilizers may precipitate: UC
    # Agriculture and Natural Resources, Maintenance of Microirrigation Systems.
    crystals = dry("Crystals", ["monoammonium phosphate"], CRYSTALS["monoammonium phosphate"])
    (tmp_path / "map.toml").write_text(crystals)
    hard = tank(tmp_path, ("map.toml", "0.5 g/L"), water="hard-alkaline")
    assert hard.probability["24h"] > 0.5 and hard.solids[0].key == "brushite"
    assert tank(tmp_path, ("map.toml", "0.5 g/L")).answer == "clear"


def test_a_suspension_is_not_said_to_curdle_by_its_own_grains(tmp_path: Path) -> None:
    (tmp_path / "copper.toml").write_text(
        'name = "Copper hydroxide suspension, invented"\nform = "suspension"\n'
        'density = "1.5 kg/L"\nph = 8.5\nsources = ["copper hydroxide"]\n'
        '[guarantee]\n"copper" = 24\n'
    )
    assert tank(tmp_path, ("copper.toml", "1 fl oz/1000 sq ft")).answer == "cannot tell"


def test_the_stocks_of_a_two_tank_feed_stay_clear_apart(tmp_path: Path) -> None:
    """Calcium apart from phosphate and sulfate, a hundredfold (common practice, no source)."""
    labels = {
        "mkp": dry("MKP", ["monopotassium phosphate"], CRYSTALS["monopotassium phosphate"]),
        "mg": dry("Epsom", ["magnesium sulfate heptahydrate"], {"magnesium": 9.8, "sulfur": 12.9}),
        "k2so4": dry("SOP", ["potassium sulfate"], CRYSTALS["potassium sulfate"]),
    }
    for name, text in labels.items():
        (tmp_path / f"{name}.toml").write_text(text)
    b = [("mkp.toml", "25 g/L"), ("mg.toml", "45 g/L"), ("k2so4.toml", "30 g/L")]
    assert tank(tmp_path, *b).answer == "clear"
    assert tank(tmp_path, *b, (NITRATE, "8 % v/v")).answer == "curdle"
