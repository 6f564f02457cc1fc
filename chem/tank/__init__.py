"""From jugs, water and rates to totals in the finished solution."""

from chem.files import MAX_PRODUCTS
from chem.tank.catch import CatchTest, by_area, by_speed
from chem.tank.fill import Finished, delivered_kg_per_ha, finish, topped
from chem.tank.made import make_mix, make_water
from chem.tank.mix import (
    Addition,
    Adjuvant,
    Leftover,
    Mix,
    change_mix,
    mix_from,
    mix_schema,
    read_mix,
    room_taken,
    unfit_rate,
)
from chem.tank.pouring import (
    Load,
    TankLine,
    covered_m2,
    lines,
    loads,
    main_nutrient,
    tank_amounts,
)
from chem.tank.shed import pick_sprayer, product_folder
from chem.tank.sprayer import Sprayer, read_sprayer
from chem.tank.variants import (
    grams_per_litre,
    in_order,
    millilitres_per_litre,
    only,
    with_carrier,
    with_product,
    with_rate,
    with_swap,
)
from chem.tank.water import (
    UNKNOWN_WATER,
    Water,
    WaterTotals,
    find_water,
    read_water,
    water_of,
    water_schema,
    water_totals,
)

__all__ = [
    "MAX_PRODUCTS",
    "room_taken",
    "unfit_rate",
    "UNKNOWN_WATER",
    "Addition",
    "Adjuvant",
    "CatchTest",
    "Finished",
    "Leftover",
    "Load",
    "Mix",
    "Sprayer",
    "TankLine",
    "Water",
    "WaterTotals",
    "by_area",
    "by_speed",
    "change_mix",
    "covered_m2",
    "delivered_kg_per_ha",
    "find_water",
    "finish",
    "grams_per_litre",
    "in_order",
    "millilitres_per_litre",
    "lines",
    "loads",
    "main_nutrient",
    "make_mix",
    "make_water",
    "mix_from",
    "mix_schema",
    "only",
    "pick_sprayer",
    "product_folder",
    "read_mix",
    "read_sprayer",
    "read_water",
    "tank_amounts",
    "topped",
    "water_of",
    "water_schema",
    "water_totals",
    "with_carrier",
    "with_product",
    "with_rate",
    "with_swap",
]
