"""A water from its report."""

import chem

water = chem.make_water(
    "Borehole, invented",
    ph=7.9,
    alkalinity="210 mg/L as CaCO3",
    ions={"Ca": "68 mg/L", "SO4": "0.4 meq/L"},
)
print(water, "total hardness not given" if water.hardness is None else water.hardness)
