"""A product with the rate that it goes at, for a shelf."""

import chem

urea = chem.make_product(
    "Urea liquor, invented",
    density="1.12 kg/L",
    sources=["urea"],
    guarantee={"urea nitrogen": 20.0},
)
item = chem.make_item(urea, "5 fl oz/1000 sq ft")
print(item.name, item.rate.text)
