"""Will it stay clear?"""

from pathlib import Path

import chem

mix = chem.read_mix(Path(__file__).parents[1] / "curdles.toml")
result = chem.forecast_mix(mix, count=64)
print(result.answer, result.probability["4h"], result.ph.median)
for solid in result.solids[:3]:
    print(solid.name, solid.probability["24h"])
