"""The titration curve, as text and drawn."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from chem.advice.ph import Adjustment
from chem.sheets.blocks import WIDTH
from chem.units import (
    Units,
)

PLOT_ROWS, PLOT_COLUMNS = 13, 50


def curve_text(result: Adjustment) -> list[str]:
    """The titration curve in lines of at most 60 columns; `*` the curve, `O` the dose."""
    points = result.curve
    if len(points) < 2:
        return ["no pH found along the curve"]
    x = np.array([d for d, _ in points])
    y = np.array([p for _, p in points])
    low, high = _ph_span(y, result.target)
    grid = [[" "] * PLOT_COLUMNS for _ in range(PLOT_ROWS)]

    def row(ph: float) -> int:
        return round((high - ph) / (high - low) * (PLOT_ROWS - 1))

    if low <= result.target <= high:
        for j in range(0, PLOT_COLUMNS, 2):
            grid[row(result.target)][j] = "."
    columns = np.linspace(x[0], x[-1], PLOT_COLUMNS)
    for j, ph in enumerate(np.interp(columns, x, y)):
        grid[row(float(ph))][j] = "*"
    if result.dose_g_per_L is not None and x[-1] > 0.0:
        j = min(round(result.dose_g_per_L / float(x[-1]) * (PLOT_COLUMNS - 1)), PLOT_COLUMNS - 1)
        grid[row(float(np.interp(result.dose_g_per_L, x, y)))][j] = "O"
    lines = ["pH"]
    for i, cells in enumerate(grid):
        ph = high - (high - low) * i / (PLOT_ROWS - 1)
        label = f"{ph:5.1f} |" if i % 3 == 0 else "      |"
        lines.append((label + "".join(cells)).rstrip())
    lines.append("      +" + "-" * PLOT_COLUMNS)
    end = f"{x[-1]:.3g} g/L"
    lines.append("       0" + end.rjust(PLOT_COLUMNS - 1))
    lines.append("O the dose, . the target, the middle of every doubt")
    assert all(len(line) <= WIDTH for line in lines)
    return lines


def curve_svg(result: Adjustment, units: Units = "both") -> str:
    """The titration curve as a picture of its own, black on white."""
    from chem.sheets.page.pictures import titration_picture

    return titration_picture(result, units).alone()


def curve(result: Adjustment, units: Units) -> str:
    """The curve as a picture in SVG, in line with a page."""
    from chem.sheets.page.pictures import titration_picture

    return titration_picture(result, units).figure()


def _ph_span(ph: Sequence[float] | np.ndarray[Any, Any], target: float) -> tuple[float, float]:
    low = min(float(np.min(ph)), target)
    high = max(float(np.max(ph)), target)
    return math.floor(2.0 * (low - 0.1)) / 2.0, math.ceil(2.0 * (high + 0.1)) / 2.0
