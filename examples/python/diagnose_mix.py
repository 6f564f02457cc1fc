"""It went wrong: what is it, and will anything bring it back?"""

from pathlib import Path

import chem

mix = chem.read_mix(Path(__file__).parents[1] / "curdles.toml")
found = chem.diagnose_mix(mix, seen=["flakes"], after_min=15.0, count=64)
for cause in found.causes[:2]:
    print(cause.key, cause.probability)
print("sprayable:", found.sprayable)
