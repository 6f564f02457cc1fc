"""A water file as written: its report, or what a strip showed."""

from __future__ import annotations

from collections.abc import Mapping

from chem.files.reading import FormModel, Name


class WaterForm(FormModel):
    """A water file as written."""

    name: Name
    ph: str | None = None
    alkalinity: str | None = None
    hardness: str | None = None
    ions: Mapping[str, str] = {}
