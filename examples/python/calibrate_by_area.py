"""Spray volume of a knapsack: litres caught in the time that an area [m2] takes to spray."""

import chem

test = chem.calibrate_by_area([7.6], area_m2=92.9, caught_s=60.0, sprayed_s=60.0)
print(1e4 * test.carrier_L_per_m2, "L/ha, good to", test.relative_error)
