"""The order least likely to cloud."""

from pathlib import Path

import chem

mix = chem.read_mix(Path(__file__).parents[1] / "five-products.toml")
order = chem.pour_mix(mix, count=16).advised
print(" > ".join(order.sequence) if order else "no order keeps every rule")
