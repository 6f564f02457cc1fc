"""A sprayer's file, read into numbers."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from chem.files import Collector, FileText, SprayerForm, load_file, validate
from chem.units import read_carrier, read_percent, read_screen, read_volume

MESH, MESH_MICRON = 50.0, 297.0
"""The screen that solids are judged by, and its opening (ISO 3310-1 and ASTM E11: No. 50 is 300
micrometres, 297 in earlier editions: value from memory)."""


@dataclass(frozen=True)
class Sprayer:
    """A sprayer: spray volume [L/m2] with its relative error, tank and sump [L].

    carrier_text, tank_text: as written; finest_screen: figure with `mesh` or `micron`; how, when:
    it was measured; read_from: its file.
    """

    name: str
    carrier_L_per_m2: float
    carrier_error: float
    carrier_text: str
    tank_L: float | None = None
    tank_text: str | None = None
    finest_screen: tuple[float, str] | None = None
    agitation: str | None = None
    stays_in_sump_L: float | None = None
    how: str | None = None
    when: str | None = None
    read_from: FileText | None = field(default=None, compare=False, repr=False)

    @property
    def finer_than_judged(self) -> bool:
        """Whether its finest screen is finer than the 50 mesh by which screens are judged."""
        if self.finest_screen is None:
            return False
        figure, unit = self.finest_screen
        return figure > MESH if unit == "mesh" else figure < MESH_MICRON


def read_sprayer(path: Path | str) -> Sprayer:
    """Read and check a sprayer's file. Raises: InputProblem with every problem of the file."""
    path = Path(path)
    raw, read_from = load_file(path, "sprayer")
    form = validate(SprayerForm, raw, path.name)
    found = Collector(path.name)
    carrier = found.attempt(read_carrier, form.carrier, "carrier")
    percent = found.attempt(read_percent, form.error_percent, "error_percent")
    tank = found.attempt(read_volume, form.tank, "tank") if form.tank else None
    screen = form.finest_screen
    finest = found.attempt(read_screen, screen, "finest_screen") if screen else None
    sump = form.stays_in_sump
    left = found.attempt(read_volume, sump, "stays_in_sump") if sump else None
    found.done()
    assert carrier is not None and percent is not None
    return Sprayer(
        form.name,
        carrier,
        percent.value / 100.0,
        form.carrier,
        tank,
        form.tank,
        finest,
        form.agitation,
        left,
        form.how,
        form.when,
        read_from,
    )
