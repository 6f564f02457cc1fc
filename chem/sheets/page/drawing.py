"""Drawings of our own: one ink, texture and words in place of colour, title and description.

Every measure is in the drawing's own units, x to the right, y down.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass, field

FONT = 15
TEXTURES = {
    "dots": (
        7,
        0,
        '<circle cx="2" cy="2" r="1.1" fill="currentColor"/>'
        '<circle cx="5.5" cy="5.5" r=".8" fill="currentColor"/>',
    ),
    "hatch": (7, 45, '<path d="M0 0V7" stroke="currentColor" stroke-width="1.4"/>'),
    "rules": (6, 0, '<path d="M0 3H6" stroke="currentColor" stroke-width="1.2"/>'),
    "net": (7, 45, '<path d="M0 0V7M0 0H7" stroke="currentColor" stroke-width="1.1"/>'),
    "rain": (5, 0, '<path d="M2 0V3" stroke="currentColor" stroke-width="1.2"/>'),
}
"""Name -> side of its tile, its turn [degrees], what is in it."""


@dataclass
class Drawing:
    """A picture under way.

    name: told apart by it in a page, no blanks; title, what: its words; legend: lines under it.
    """

    name: str
    width: float
    height: float
    title: str
    what: str
    legend: Sequence[str] = ()
    _parts: list[str] = field(default_factory=list)
    _used: list[str] = field(default_factory=list)

    def texture(self, key: str) -> str:
        """The fill of a texture of `TEXTURES`."""
        if key not in self._used:
            self._used.append(key)
        return f"url(#{self.name}-{key})"

    def path(
        self,
        points: Sequence[tuple[float, float]],
        *,
        weight: float = 2.0,
        dash: str = "",
        fill: str = "none",
        closed: bool = False,
    ) -> None:
        """A line through points; weight 0 draws only the fill."""
        d = "M" + "L".join(f"{_n(x)} {_n(y)}" for x, y in points) + ("Z" if closed else "")
        stroke = f' stroke="currentColor" stroke-width="{_n(weight)}"' if weight else ""
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self._parts.append(f'<path d="{d}" fill="{fill}"{stroke}{dashed}/>')

    def bar(
        self, x: float, y: float, width: float, height: float, fill: str, *, weight: float = 0.0
    ) -> None:
        """A rectangle by its upper left corner."""
        corners = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
        self.path(corners, weight=weight, fill=fill, closed=True)

    def dot(self, x: float, y: float, r: float = 5.0, *, full: bool = True) -> None:
        """A point, hollow where it isn't full."""
        fill = "currentColor" if full else "var(--sheet,#fff)"
        self._parts.append(
            f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(r)}" fill="{fill}" stroke="currentColor" '
            'stroke-width="2"/>'
        )

    def words(
        self, x: float, y: float, text: str, anchor: str = "start", *, strong: bool = False
    ) -> None:
        """A line of text; anchor: start, middle or end."""
        where = "" if anchor == "start" else f' text-anchor="{anchor}"'
        weight = ' font-weight="700"' if strong else ""
        self._parts.append(f'<text x="{_n(x)}" y="{_n(y)}"{where}{weight}>{_escape(text)}</text>')

    def figure(self) -> str:
        """The picture as part of a page, its legend under it."""
        under = "".join(f"<p>{_escape(line)}</p>" for line in self.legend)
        said = f"<figcaption>{under}</figcaption>" if under else ""
        return f"<figure>{self._whole('', self.height)}{said}</figure>"

    def alone(self) -> str:
        """The picture as a file of its own, black on white."""
        height = self.height + 20 * len(self.legend)
        lines = [
            f'<text x="8" y="{_n(self.height + 20 * i + 6)}">{_escape(line)}</text>'
            for i, line in enumerate(self.legend)
        ]
        return self._whole(
            f' xmlns="http://www.w3.org/2000/svg" width="{_n(2 * self.width)}" '
            f'height="{_n(2 * height)}" style="background:#fff;color:#000"',
            height,
            lines,
        )

    def _whole(self, more: str, height: float, last: Sequence[str] = ()) -> str:
        own = f"{self.name}-title {self.name}-what"
        return "\n".join(
            [
                f'<svg{more} viewBox="0 0 {_n(self.width)} {_n(height)}" role="img" '
                f'aria-labelledby="{own}" font-family="system-ui,sans-serif" font-size="{FONT}" '
                'fill="currentColor">',
                f'<title id="{self.name}-title">{_escape(self.title)}</title>',
                f'<desc id="{self.name}-what">{_escape(self.what)}</desc>',
                *self._patterns(),
                *self._parts,
                *last,
                "</svg>\n",
            ]
        )

    def _patterns(self) -> list[str]:
        if not self._used:
            return []
        out = []
        for key in self._used:
            side, turn, inside = TEXTURES[key]
            turned = f' patternTransform="rotate({turn})"' if turn else ""
            out.append(
                f'<pattern id="{self.name}-{key}" width="{side}" height="{side}" '
                f'patternUnits="userSpaceOnUse"{turned}>{inside}</pattern>'
            )
        return ["<defs>", *out, "</defs>"]


def _n(value: float) -> str:
    """A coordinate to a tenth, as short as it goes."""
    return f"{value:.1f}".removesuffix(".0")


def _escape(text: str) -> str:
    return html.escape(text, quote=True)
