"""Read a product file; here one that is written first."""

import tempfile
from pathlib import Path

import chem

TEXT = """name = "Urea liquor, invented"
density = "1.12 kg/L"
sources = ["urea"]
[guarantee]
"urea nitrogen" = 20.0
"""
with tempfile.TemporaryDirectory() as folder:
    file = Path(folder) / "urea-liquor.toml"
    file.write_text(TEXT, encoding="utf-8")
    product = chem.read_product(file)
print(product, [source.key for source in product.sources])
