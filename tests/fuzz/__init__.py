"""Spoilt files and options through the whole command line, in one process.

In `tests/`, `python -m fuzz --seconds 60` tries mutants of every kind of file and of every
command's options until the time is over, and prints its seed; `--seed N` tries the same ones again,
`--only N:COUNT` those from the Nth on. What breaks a promise (`run.py`) is printed and left in a
folder, to be mended and then kept in `tests/found/`.
"""
