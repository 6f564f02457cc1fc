"""What applicators take for granted, asked of the whole forecast.

Common practice, no source: none of these is a measurement. They use the demo shelf, which is
invented, and hold whatever the constants.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from chem.forecast import Forecast, forecast
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
