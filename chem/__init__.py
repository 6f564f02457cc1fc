"""Jarsight: will the tank stay clear?"""

__version__ = "0.1.0"
