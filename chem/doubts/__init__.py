"""What is left open, as named columns of one table of draws."""

from chem.doubts.draws import Draws, Shared, varies
from chem.doubts.shares import first_order, first_orders
from chem.doubts.spread import Range, chance, median, quantile, quantiles, range_of, stretched
from chem.doubts.table import Doubt, doubts

__all__ = [
    "Doubt",
    "Draws",
    "Range",
    "Shared",
    "chance",
    "doubts",
    "first_order",
    "first_orders",
    "median",
    "quantile",
    "quantiles",
    "range_of",
    "stretched",
    "varies",
]
