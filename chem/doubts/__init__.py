"""What is left open, as named columns of one table of draws."""

from chem.doubts.draws import Draws

__all__ = ["Draws"]
