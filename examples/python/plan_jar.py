"""A jar test at the sprayer's own ratio."""

from pathlib import Path

import chem

mix = chem.read_mix(Path(__file__).parents[1] / "stays-clear.toml")
for step in chem.plan_jar(mix, size_mL=500.0, count=32).steps:
    print(step.product or "water", step.amount, "g" if step.by_mass else "mL")
