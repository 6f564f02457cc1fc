"""Every product file of a folder, with what could not be used."""

import tempfile
from pathlib import Path

import chem

TEXT = """name = "Urea liquor, invented"
density = "1.12 kg/L"
sources = ["urea"]
usual_rate = "5 fl oz/1000 sq ft"
[guarantee]
"urea nitrogen" = 20.0
"""
with tempfile.TemporaryDirectory() as folder:
    (Path(folder) / "urea-liquor.toml").write_text(TEXT, encoding="utf-8")
    (Path(folder) / "no-label.toml").write_text('name = "No label"\n', encoding="utf-8")
    items, left_out = chem.read_stock(Path(folder))
print([item.name for item in items], [one.file for one in left_out])
