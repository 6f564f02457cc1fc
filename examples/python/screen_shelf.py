"""Who gets along with whom, of products made here."""

import chem

calcium = chem.make_product(
    "Calcium nitrate liquor, invented",
    density="1.4 kg/L",
    sources=["calcium nitrate"],
    guarantee={"nitrate nitrogen": 7.0, "calcium": 10.0},
    usual_rate="6 fl oz/1000 sq ft",
)
phosphate = chem.make_product(
    "Phosphate liquor, invented",
    density="1.2 kg/L",
    sources=["monopotassium phosphate"],
    guarantee={"available phosphate": 10.4, "soluble potash": 6.9},
    usual_rate="6 fl oz/1000 sq ft",
)
items = [chem.make_item(calcium), chem.make_item(phosphate)]
shelf = chem.screen_shelf(items, chem.make_setting("2 gal/1000 sq ft", draws=16))
for pair in shelf.pairs:
    print(" + ".join(items[i].name for i in pair.members), pair.answer.word)
