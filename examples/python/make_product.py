"""A product written here instead of in a file; every value as it stands on the label."""

import chem

product = chem.make_product(
    "Calcium nitrate liquor, invented",
    density="1.4 kg/L",
    sources=["calcium nitrate"],
    guarantee={"nitrate nitrogen": 7.0, "calcium": "10 %"},
    says={"pour": "last", "never_with": ["available phosphate"]},
    usual_rate="4 fl oz/1000 sq ft",
)
print(product, product.density, dict(product.guarantee))
try:
    chem.make_product("Without its unit, invented", density="1.4")
except chem.InputProblem as problem:
    print(problem)
