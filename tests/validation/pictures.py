"""A scatter picture of measured against computed as plain SVG text."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

SIZE = 460
MARGIN = 56
MARKS = {"no": ("#1b5e8c", "not fitted"), "partly": ("#7a8b3a", "partly fitted")}
FITTED = ("#b5651d", "fitted")


@dataclass(frozen=True)
class Point:
    """One measured and one computed value."""

    measured: float
    ours: float
    fitted: str
    label: str


def _ticks(low: float, high: float, log: bool) -> list[tuple[float, str]]:
    if log:
        return [(float(e), f"{10.0**e:g}") for e in range(math.ceil(low), math.floor(high) + 1)]
    step = 2.0 if high - low > 6 else 1.0
    first = math.ceil(low / step) * step
    count = int((high - first) / step) + 1
    return [(first + i * step, f"{first + i * step:g}") for i in range(count)]


def scatter(points: Sequence[Point], *, title: str, axis: str, log: bool) -> str:
    """The SVG; points on the line agree. log: both axes in decades."""
    scale = math.log10 if log else float
    values = [scale(v) for p in points for v in (p.measured, p.ours)]
    pad = 0.05 * (max(values) - min(values))
    low, high = min(values) - pad, max(values) + pad

    def place(v: float) -> float:
        return MARGIN + (v - low) / (high - low) * (SIZE - 2 * MARGIN)

    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {SIZE} {SIZE}" '
        f'width="{SIZE}" height="{SIZE}" role="img" font-family="sans-serif" font-size="12">',
        f"<title>{escape(title)}</title>",
        f'<rect width="{SIZE}" height="{SIZE}" fill="white"/>',
        f'<text x="{SIZE / 2}" y="24" text-anchor="middle" font-size="14">{escape(title)}</text>',
    ]
    edge = SIZE - MARGIN
    for value, text in _ticks(low, high, log):
        x, y = place(value), SIZE - place(value)
        out.append(f'<path d="M{x:.1f} {MARGIN}V{edge}M{MARGIN} {y:.1f}H{edge}" stroke="#ddd"/>')
        out.append(f'<text x="{x:.1f}" y="{edge + 16}" text-anchor="middle">{text}</text>')
        out.append(f'<text x="{MARGIN - 6}" y="{y + 4:.1f}" text-anchor="end">{text}</text>')
    out += [
        f'<rect x="{MARGIN}" y="{MARGIN}" width="{SIZE - 2 * MARGIN}" '
        f'height="{SIZE - 2 * MARGIN}" fill="none" stroke="#444"/>',
        f'<path d="M{MARGIN} {edge}L{edge} {MARGIN}" stroke="#444" stroke-dasharray="4 3"/>',
        f'<text x="{SIZE / 2}" y="{SIZE - 16}" text-anchor="middle">measured {escape(axis)}</text>',
        f'<text transform="translate(16 {SIZE / 2}) rotate(-90)" text-anchor="middle">'
        f"computed {escape(axis)}</text>",
    ]
    for point in points:
        colour, _ = MARKS.get(point.fitted, FITTED)
        x, y = place(scale(point.measured)), SIZE - place(scale(point.ours))
        out.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3" fill="{colour}" fill-opacity="0.6">'
            f"<title>{escape(point.label)}: measured {point.measured:.4g}, "
            f"computed {point.ours:.4g}</title></circle>"
        )
    shown = [(c, t) for k, (c, t) in MARKS.items() if any(p.fitted == k for p in points)]
    if any(p.fitted not in MARKS for p in points):
        shown.append(FITTED)
    for i, (colour, text) in enumerate(shown):
        y = MARGIN + 16 + 16 * i
        out.append(f'<circle cx="{MARGIN + 12}" cy="{y}" r="4" fill="{colour}"/>')
        out.append(f'<text x="{MARGIN + 22}" y="{y + 4}">{text}</text>')
    return "\n".join([*out, "</svg>", ""])
