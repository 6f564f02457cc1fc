"""A mix of products made here, with no file at all."""

import chem

calcium = chem.make_product(
    "Calcium nitrate liquor, invented",
    density="1.4 kg/L",
    sources=["calcium nitrate"],
    guarantee={"nitrate nitrogen": 7.0, "calcium": 10.0},
)
phosphate = chem.make_product(
    "Phosphate liquor, invented",
    density="1.2 kg/L",
    sources=["monopotassium phosphate"],
    guarantee={"available phosphate": 10.4, "soluble potash": 6.9},
    usual_rate="6 fl oz/1000 sq ft",
)
mix = chem.make_mix(
    "Calcium on top of phosphate",
    [(phosphate, None), (calcium, "6 fl oz/1000 sq ft")],
    carrier="2 gal/1000 sq ft",
    temperature="60 F",
    adjuvant={"name": "spreader", "ph_at_most": 5.0},
)
print(mix)
print(chem.forecast_mix(mix, count=32))
