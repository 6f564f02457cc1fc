"""Many products at once: who gets along with whom, in one water at one spray volume."""

from chem.shelf.bought import Buying, InPlace, Swapped, buying
from chem.shelf.cache import Cache, cache_folder
from chem.shelf.engines import Engine, cluster, local
from chem.shelf.neighbours import Neighbour
from chem.shelf.pairs import Passes, Shelf, shelf
from chem.shelf.stock import Item, LeftOut, Setting, make_item, make_setting, read_item, read_stock
from chem.shelf.together import Tanks, Together

__all__ = [
    "Buying",
    "Cache",
    "Engine",
    "InPlace",
    "Item",
    "LeftOut",
    "Neighbour",
    "Passes",
    "Setting",
    "Shelf",
    "Swapped",
    "Tanks",
    "Together",
    "buying",
    "cache_folder",
    "cluster",
    "local",
    "make_item",
    "make_setting",
    "read_item",
    "read_stock",
    "shelf",
]
