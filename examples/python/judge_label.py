"""Does a label add up, and what does it hold in ions?"""

import chem

product = chem.make_product(
    "Potassium sulfate liquor, invented",
    density="1.08 kg/L",
    sources=["potassium sulfate"],
    guarantee={"soluble potash": 5.0, "sulfur": 1.7},
)
label = chem.judge_label(product, count=64)
print("adds up" if label.adds_up else label.problems)
for component, amount in label.makeup.items():
    print(component, amount.median, "mol/kg")
