"""`python -m chem` is `jarsight`."""

from chem.cli.main import run

run()
