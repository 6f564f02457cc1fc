"""How much acid brings the tank to a pH, and what it does there."""

from pathlib import Path

import chem

mix = chem.read_mix(Path(__file__).parents[1] / "stays-clear.toml")
dose = chem.adjust_ph(mix, 5.0, chem.choose_agent("citric acid"), count=32)
print(dose.dose_g_per_L, "g/L, pH", dose.ph_after.median, dose.answer_after.word)
