"""What comes out, and from whose ions."""

from pathlib import Path

import chem

mix = chem.read_mix(Path(__file__).parents[1] / "curdles.toml")
for reason in chem.why_mix(mix, count=32).solids[:2]:
    for ion in reason.ions:
        print(reason.solid.name, ion.component, dict(ion.shares))
