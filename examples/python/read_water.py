"""Read a water file; here one that is written first."""

import tempfile
from pathlib import Path

import chem

with tempfile.TemporaryDirectory() as folder:
    file = Path(folder) / "pond.toml"
    file.write_text('name = "Pond, invented"\nph = 7.4\nhardness = "60 mg/L as CaCO3"\n')
    water = chem.read_water(file)
print(water, water.ph)
