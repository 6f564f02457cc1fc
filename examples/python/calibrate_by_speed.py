"""Spray volume of a boom from a catch test: litres caught, seconds, metres, metres per second."""

import chem

test = chem.calibrate_by_speed([0.65, 0.68, 0.66], time_s=30.0, width_m=0.5, speed_m_per_s=1.8)
print(1e4 * test.carrier_L_per_m2, "L/ha, good to", test.relative_error)
