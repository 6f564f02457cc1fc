"""A sprayer's file as written."""

from __future__ import annotations

from chem.files.reading import FormModel, Name


class CatchForm(FormModel):
    """A catch test kept by `jarsight calibrate --out`."""

    name: Name
    carrier: str
    error_percent: str = "3"
