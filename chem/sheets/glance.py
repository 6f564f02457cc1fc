"""A tank at a glance: three jars and the pH on a rule, each a small picture with its words."""

from __future__ import annotations

import html
from dataclasses import dataclass

from chem.forecast import THRESHOLD, Forecast
from chem.sheets.words import odds

TIMES = {"15min": "15 min", "4h": "4 h", "24h": "24 h"}
MOST = 0.5
PH_FROM, PH_TO = 1.0, 13.0
_GLASS = "M42 8h36v16c0 10 20 13 20 34v76c0 6-4 10-10 10H32c-6 0-10-4-10-10V58c0-21 20-24 20-34z"
_FILLED = "M24 62h72v71c0 6-4 9-9 9H33c-5 0-9-3-9-9z"
_CURD = (
    "M28 135c4-11 14-11 18-3 5-10 15-9 18 0 6-8 16-6 20 4v2c0 3-2 4-5 4H33c-3 0-5-2-5-4z"
    "M40 100a6 6 0 1 0 12 0a6 6 0 1 0-12 0M64 92a5 5 0 1 0 10 0a5 5 0 1 0-10 0"
    "M76 112a6 6 0 1 0 12 0a6 6 0 1 0-12 0M52 116a5 5 0 1 0 10 0a5 5 0 1 0-10 0"
)


@dataclass(frozen=True)
class Glass:
    """What most versions of a tank look like at a time: the picture, its name, its odds."""

    time: str
    asked: bool
    looks: str
    odds: str
    svg: str


def glasses(result: Forecast) -> list[Glass]:
    """The three jars of a forecast; none where the mix must never be poured."""
    if result.refused:
        return []
    return [_glass(result, time) for time in TIMES]


def _glass(result: Forecast, time: str) -> Glass:
    shows, blocks = result.probability[time], result.clogs[time]
    can_tell = result.answer != "cannot tell"
    if blocks >= MOST:
        looks, said = "curdled", f"blocks screens: {odds(blocks)}"
    elif shows >= MOST:
        looks, said = "cloudy", f"cloudy: {odds(shows)}"
    elif not can_tell:
        looks, said = "can't tell", "the jar decides"
    elif blocks >= THRESHOLD:
        looks, said = "clear, may curdle", f"blocks screens: {odds(blocks)}"
    elif shows >= THRESHOLD:
        looks, said = "clear, may haze", f"cloudy: {odds(shows)}"
    else:
        looks, said = "clear", odds(1.0 - shows)
    picture = glass_svg(looks, f"At {TIMES[time]}: {looks}, {said}", f"{time}-")
    return Glass(TIMES[time], time == result.judged_at, looks, said, picture)


def glass_svg(looks: str, words: str, unique: str = "") -> str:
    """A jar: ruled lines are read through clear liquid, haze hides them, curd lies and hangs."""
    whole = html.escape(words)
    drawn = (
        f'<defs><pattern id="{unique}rule" width="8" height="8" patternUnits="userSpaceOnUse">'
        '<path d="M0 7.5H8" stroke="currentColor" opacity=".45"/></pattern>'
        f'<pattern id="{unique}fog" width="7" height="7" patternUnits="userSpaceOnUse">'
        '<circle cx="2" cy="2" r="1.4" fill="currentColor" opacity=".65"/>'
        '<circle cx="5.5" cy="5" r="1.1" fill="currentColor" opacity=".45"/></pattern></defs>'
    )
    dashes = ' stroke-dasharray="7 6"' if looks == "can't tell" else ""
    drawn += f'<path d="{_GLASS}" fill="none" stroke="currentColor" stroke-width="4"{dashes}/>'
    if looks == "can't tell":
        drawn += '<text x="60" y="116" text-anchor="middle" font-size="44">?</text>'
    else:
        clear = looks.startswith("clear")
        drawn += f'<path d="{_FILLED}" fill="url(#{unique}{"rule" if clear else "fog"})"/>'
        if clear and looks != "clear":
            low = "M24 112h72v21c0 6-4 9-9 9H33c-5 0-9-3-9-9z"
            drawn += f'<path d="{low}" fill="url(#{unique}fog)"/>'
        if looks == "curdled":
            drawn += f'<path d="{_CURD}" fill="currentColor"/>'
        drawn += '<path d="M24 62h72" stroke="currentColor" stroke-width="2"/>'
    return (
        f'<svg viewBox="0 0 120 150" role="img" aria-label="{whole}"><title>{whole}</title>'
        f"{drawn}</svg>"
    )


def ph_line(result: Forecast) -> str:
    """The pH in one line."""
    ph = result.ph
    return f"pH of the full tank: about {ph.median:.1f}, likely {ph.p05:.1f} to {ph.p95:.1f}"


def ph_rule_svg(result: Forecast) -> str:
    """The pH's range on a rule from 1 to 13, the adjuvant's window hatched."""
    ph, adjuvant = result.ph, result.mix.adjuvant

    def across(value: float) -> float:
        share = (min(max(value, PH_FROM), PH_TO) - PH_FROM) / (PH_TO - PH_FROM)
        return 20.0 + 600.0 * share

    words, drawn = ph_line(result), ""
    if adjuvant is not None:
        low, high = across(adjuvant.ph_low), across(adjuvant.ph_high)
        name = adjuvant.name
        words += f"; hatched: what {name} wants"
        drawn += (
            '<defs><pattern id="hatch" width="8" height="8" patternUnits="userSpaceOnUse" '
            'patternTransform="rotate(45)"><path d="M0 0V8" stroke="currentColor" '
            'stroke-width="1.6" opacity=".5"/></pattern></defs>'
            f'<rect x="{low:.0f}" y="38" width="{high - low:.0f}" height="26" fill="url(#hatch)"/>'
            f'<text x="{low + 4:.0f}" y="28">{html.escape(name)}</text>'
        )
    marks = range(int(PH_FROM), int(PH_TO) + 1)
    drawn += '<path d="M20 64H620" stroke="currentColor" stroke-width="2"/>'
    drawn += "".join(f'<path d="M{across(m):.0f} 64v8" stroke="currentColor"/>' for m in marks)
    drawn += "".join(
        f'<text x="{across(m):.0f}" y="90" text-anchor="middle">{m}</text>' for m in marks
    )
    start, end, middle = across(ph.p05), across(ph.p95), across(ph.median)
    drawn += (
        f'<rect x="{start:.1f}" y="45" width="{max(end - start, 6.0):.1f}" height="13" rx="6" '
        f'fill="currentColor"/><path d="M{middle:.1f} 38v26" stroke="currentColor" '
        'stroke-width="5"/>'
    )
    whole = html.escape(words)
    top = 10 if adjuvant is not None else 34
    return (
        f'<svg viewBox="0 {top} 640 {96 - top}" role="img" aria-label="{whole}">'
        f"<title>{whole}</title>"
        f"{drawn}</svg>"
    )
