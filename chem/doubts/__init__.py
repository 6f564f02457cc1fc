"""What is left open, as named columns of one table of draws."""

from chem.doubts.draws import Draws
from chem.doubts.shares import first_order
from chem.doubts.table import Doubt, doubts

__all__ = ["Doubt", "Draws", "doubts", "first_order"]
