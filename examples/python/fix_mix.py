"""The smallest changes that keep it clear, on one study that keeps what it has worked out."""

from pathlib import Path

import chem

study = chem.Study(draws=32)
mix = chem.read_mix(Path(__file__).parents[1] / "curdles.toml")
for fix in chem.fix_mix(mix, study=study).fixes:
    print(fix.lever, fix.factor, fix.probability_after["4h"])
print(study)
