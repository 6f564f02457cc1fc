"""Read a mix file and every file that it names."""

from pathlib import Path

import chem

mix = chem.read_mix(Path(__file__).parents[1] / "five-products.toml")
for addition in mix.additions:
    print(addition.product.name, "at", addition.rate.text)
