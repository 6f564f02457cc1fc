"""The tank that all products of a shelf meet in."""

import chem

setting = chem.make_setting("2 gal/1000 sq ft", temperature="60 F", draws=16)
print(setting.carrier_L_per_m2, "L/m2 at", round(setting.t_celsius, 1), "C")
