"""The same mix at another spray volume and temperature."""

from pathlib import Path

import chem

path = Path(__file__).parents[1] / "hazes-overnight.toml"
mix = chem.change_mix(
    chem.read_mix(path), path.parent, carrier="3 gal/1000 sq ft", temperature="50 F"
)
print(mix.carrier_L_per_m2, "L/m2 at", round(mix.t_celsius, 1), "C")
