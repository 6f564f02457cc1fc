"""Read a plain solution."""

from pathlib import Path

import chem

recipe = chem.read_recipe(Path(__file__).parents[1] / "solutions" / "stock-solution.toml")
print(recipe.name, dict(recipe.totals))
