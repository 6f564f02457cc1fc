"""pH, species and saturation indices of a plain solution."""

from pathlib import Path

import chem

recipe = chem.read_recipe(Path(__file__).parents[1] / "solutions" / "stock-solution.toml")
solution = chem.equilibrate(recipe)
print("pH", solution.ph)
for solid, si in solution.si.items():
    if si > 0.0:
        print("over its limit:", solid, si)
