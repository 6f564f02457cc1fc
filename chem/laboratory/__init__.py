"""Plain chemistry for chemists: one solution, and every constant.

The self-check stands in `chem.laboratory.selfcheck`: it imports the whole house.
"""

from chem.laboratory.listing import Entry, find_entries, kinds, summary
from chem.laboratory.recipe import Recipe, change_recipe, read_recipe
from chem.laboratory.solution import Solution, SpeciesLine, equilibrate, referee_solution

__all__ = [
    "Entry",
    "Recipe",
    "Solution",
    "SpeciesLine",
    "change_recipe",
    "equilibrate",
    "find_entries",
    "kinds",
    "read_recipe",
    "referee_solution",
    "summary",
]
