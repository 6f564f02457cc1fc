"""A number walked back to its constants and label lines."""

from pathlib import Path

import chem

mix = chem.read_mix(Path(__file__).parents[1] / "stays-clear.toml")
walk = chem.trace_number(mix, "ph")
print(walk.step.text, walk.step.value)
for part in walk.step.parts:
    print("  ", part.text)
