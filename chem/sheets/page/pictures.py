"""The four pictures: chance against time, distance from the limit, titration, where ions come from.

Facts in, a `Drawing` out; each tells in its description what it shows.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from chem.advice.ph import Adjustment
from chem.advice.why import Why
from chem.forecast import TIMES_S, Forecast, SolidForecast
from chem.reference import tables
from chem.sheets.page.drawing import Drawing
from chem.sheets.words import odds, over_limit
from chem.units import Units, format_volume

WIDTH = 400.0
LEAST_SI = -3.0
MOST_SALTS = 9
MOST_IONS = 6
MARKS = {"15min": "15 min", "4h": "4 h", "24h": "24 h"}
OUNCE_G, FLUID_OUNCE_ML = 28.349523125, 29.5735295625  # NIST Handbook 44, appendix C
HUNDRED_GALLONS_L = 378.5411784
FILLS = ("solid", "none", "dots", "hatch", "rules", "net", "rain")


def chance_picture(result: Forecast) -> Drawing:
    """The chance that solids show, and that they block, against time from a minute to a day."""
    words = ", ".join(f"{odds(result.probability[t])} by {MARKS[t]}" for t in MARKS)
    blocks = ", ".join(f"{odds(result.clogs[t])} by {MARKS[t]}" for t in MARKS)
    out = Drawing(
        "chance",
        WIDTH,
        212,
        "Chance against time",
        f"Chance that solids show: {words}. That they block a 50-mesh screen: {blocks}.",
        ("Heavy line over dots: solids show. Dashed over hatching: they block a 50-mesh screen.",),
    )
    left, right, top, bottom = 46.0, 392.0, 34.0, 186.0
    first, last = math.log(60.0), math.log(TIMES_S["24h"])

    def at(t_s: float, chance: float) -> tuple[float, float]:
        along = (math.log(t_s) - first) / (last - first)
        return left + (right - left) * along, bottom - (bottom - top) * chance

    shows = [at(t, p) for t, p, _ in result.course]
    stops = [at(t, p) for t, _, p in result.course]
    for level in (0.5, 1.0):
        out.path([(left, at(60.0, level)[1]), (right, at(60.0, level)[1])], weight=0.6, dash="2 4")
    for level, text in ((1.0, "all"), (0.5, "half"), (0.0, "none")):
        out.words(left - 6, at(60.0, level)[1] + 5, text, "end")
    area = [(left, bottom), *shows, (right, bottom)]
    out.path(area, weight=0, fill=out.texture("dots"), closed=True)
    out.path([(left, bottom), *stops, (right, bottom)], weight=0, fill=out.texture("hatch"),
             closed=True)  # fmt: skip
    out.path(stops, weight=1.6, dash="6 4")
    out.path(shows, weight=3.2)
    out.path([(left, top), (left, bottom), (right, bottom)], weight=2)
    out.words(left, bottom + 20, "1 min", "middle")
    for name, text in MARKS.items():
        x, y = at(TIMES_S[name], result.probability[name])
        asked = name == result.judged_at
        out.path([(x, top - 4), (x, bottom + 6)], weight=2 if asked else 0.8, dash="2 3")
        out.dot(x, y, full=asked)
        end = "end" if name == "24h" else "middle"
        edge = right + 8 if name == "24h" else x - 24 * (name == "4h")
        out.words(edge, bottom + 20, text, end, strong=asked)
        out.words(edge, top - 12, _short(result.probability[name]), end, strong=asked)
    return out


def _short(chance: float) -> str:
    return odds(chance).replace("under ", "<").replace("over ", ">")


def limit_picture(result: Forecast) -> Drawing | None:
    """How far each salt within 1/1000 of its limit is from it; None where none is as near."""
    near = sorted(
        (s for s in result.solids if s.kinetics != "dormant" and _level(s, s.si.p95) > LEAST_SI),
        key=lambda s: -_level(s, s.si.median),
    )
    nearest: dict[str, SolidForecast] = {}
    for solid in near:
        nearest.setdefault(_label(solid), solid)
    near = list(nearest.values())[:MOST_SALTS]
    if not near:
        return None
    top, step, left, right = 40.0, 36.0, 8.0, 392.0
    most = max(1.0, math.ceil(max(_level(s, s.si.p95) for s in near)))
    bottom = top + step * len(near) + 4
    told = "; ".join(
        f"{s.name}: {over_limit(_level(s, s.si.median))}, "
        f"{_times(_level(s, s.si.median))} its limit" for s in near
    )  # fmt: skip
    out = Drawing("limit", WIDTH, bottom + 24, "Distance from the limit", f"{told}.")

    def at(level: float) -> float:
        share = (min(max(level, LEAST_SI), most) - LEAST_SI) / (most - LEAST_SI)
        return left + (right - left) * share

    out.bar(at(0.0), top - 12, right - at(0.0), bottom - top + 12, out.texture("rain"))
    for whole in range(math.ceil(LEAST_SI), int(most) + 1):
        weight = 2.4 if whole == 0 else 0.7
        out.path([(at(whole), top - 12), (at(whole), bottom)], weight=weight)
        if whole == 0 or most - LEAST_SI <= 5 or whole % 2:
            place = "start" if whole == LEAST_SI else "end" if whole == most else "middle"
            text = "limit" if whole == 0 else _power(whole)
            out.words(at(whole), bottom + 18, text, place, strong=whole == 0)
    out.words(at(0.0) - 6, top - 18, "stays in solution", "end")
    out.words(at(0.0) + 6, top - 18, "comes out")
    for i, solid in enumerate(near):
        y = top + step * i + 25
        low, high, mid = (_level(solid, v) for v in (solid.si.p05, solid.si.p95, solid.si.median))
        out.words(left, y - 10, _label(solid))
        out.path([(at(low), y), (at(high), y)], weight=3, dash="" if solid.decides else "3 3")
        out.dot(at(mid), y, full=solid.decides)
    return out


def _level(solid: SolidForecast, si: float) -> float:
    """SI per two ions, by which salts of unlike formulas compare."""
    known = tables().solids.get(solid.key)
    return 2.0 * si / (known.ions if known else 2.0)


def _label(solid: SolidForecast) -> str:
    name = solid.name.split(" (")[0]
    slow = ", slow" if solid.kinetics == "slow" else ""
    return f"{name}{slow}{'' if solid.decides else ', doubtful'}"


def _power(whole: int) -> str:
    return f"1/{10**-whole}" if whole < 0 else f"x{10**whole:,}" if whole < 5 else f"10^{whole}"


def _times(level: float) -> str:
    factor = 10.0**level
    return f"{factor:.2g} times" if 0.001 <= factor < 100.0 else f"10 to the {level:.0f} times"


def titration_picture(result: Adjustment, units: Units = "both") -> Drawing:
    """pH against the dose in trade units, the adjuvant's window hatched."""
    name = result.reagent.own_form
    points = result.curve or ((0.0, result.ph_before.median),)
    scale, unit, where = _trade(result, units)
    dosed = result.dose_g_per_L
    window = result.suited.window if result.suited is not None else None
    told = f"pH {points[0][1]:.1f} without it"
    if dosed is not None:
        told += f", {result.ph_after.median:.1f} with the dose"
    told += f", {points[-1][1]:.1f} at {_tick(points[-1][0] * scale)} {unit} {where}"
    if window is not None:
        told += f"; the adjuvant wants {_window(window)}"
    legend = [f"Across: {unit} of {name} {where}.", f"Dashed: pH {result.target:g} wanted."]
    if window is not None:
        legend.append(f"Hatched: what the adjuvant wants, {_window(window)}.")
    if dosed is not None:
        legend.append("Ring: the dose, with the likely range of its pH.")
    out = Drawing("titration", WIDTH, 234, f"pH with {name}", f"{told}.", legend)
    left, right, top, bottom = 34.0, 392.0, 30.0, 206.0
    low, high = _span([p for _, p in points], result.target)
    most = max(points[-1][0], 1e-9)

    def across(dose: float) -> float:
        return left + (right - left) * dose / most

    def down(ph: float) -> float:
        return top + (bottom - top) * (high - min(max(ph, low), high)) / (high - low)

    if window is not None and result.mix.adjuvant is not None:
        upper, lower = down(window[1]), down(window[0])
        if lower - upper > 1.0:
            out.bar(left, upper, right - left, lower - upper, out.texture("hatch"))
    for whole in range(math.ceil(low), math.floor(high) + 1):
        out.path([(left, down(whole)), (right, down(whole))], weight=0.6, dash="2 4")
        out.words(left - 7, down(whole) + 5, str(whole), "end")
    out.path([(left, down(result.target)), (right, down(result.target))], weight=1.6, dash="7 5")
    out.path([(across(d), down(p)) for d, p in points], weight=3.2)
    if dosed is not None:
        ph = float(np.interp(dosed, [d for d, _ in points], [p for _, p in points]))
        x = across(dosed)
        out.path([(x, down(result.ph_after.p05)), (x, down(result.ph_after.p95))], weight=1.6)
        out.dot(x, down(ph), 6, full=False)
    out.path([(left, top), (left, bottom), (right, bottom)])
    _dose_axis(out, most * scale, lambda value: across(value / scale), bottom)
    out.words(left - 7, top - 12, "pH", "middle", strong=True)
    out.words(right, top - 12, f"{unit} {where}", "end")
    return out


def _dose_axis(out: Drawing, most: float, at: Callable[[float], float], bottom: float) -> None:
    step = 10.0 ** math.floor(math.log10(most / 2.0)) if most > 0.0 else 1.0
    step = next(s for s in (step, 2.0 * step, 5.0 * step, 10.0 * step) if most / s <= 4.5)
    for k in range(int(most / step + 1e-9) + 1):
        x = at(k * step)
        out.path([(x, bottom), (x, bottom + 6)])
        out.words(x, bottom + 20, _tick(k * step), "middle")


def _tick(value: float) -> str:
    return f"{value:.3g}" if 1e-3 <= value < 999.5 or value == 0.0 else f"{value:,.0f}"


def _trade(result: Adjustment, units: Units) -> tuple[float, str, str]:
    """Trade units per g/L, their name, and what they go into: the tank, or 100 gal, or a litre."""
    metric = units == "metric"
    litres, where = result.mix.tank_L, ""
    if litres is not None:
        where = f"in {format_volume(litres, 'metric' if metric else 'us')}"
    elif metric:
        litres, where = 100.0, "in 100 L"
    else:
        litres, where = HUNDRED_GALLONS_L, "in 100 gal"
    density = result.density_kg_per_L
    if density is None:
        return (litres, "g", where) if metric else (litres / OUNCE_G, "oz wt", where)
    millilitres = litres / density
    return (millilitres, "mL", where) if metric else (millilitres / FLUID_OUNCE_ML, "fl oz", where)


def _window(window: tuple[float, float]) -> str:
    low, high = window
    if low <= 0.0:
        return f"pH {high:g} or less"
    return f"pH {low:g} or more" if high >= 14.0 else f"pH {low:g} to {high:g}"


def _span(ph: Sequence[float], target: float) -> tuple[float, float]:
    low, high = min(*ph, target), max(*ph, target)
    return math.floor(2.0 * (low - 0.1)) / 2.0, math.ceil(2.0 * (high + 0.1)) / 2.0


def origins_picture(result: Why, plain: Callable[[str], str]) -> Drawing | None:
    """Where each ion of what presses comes from, as shares; None where there is none.

    plain: a component in words.
    """
    ions: dict[str, dict[str, float]] = {}
    for reason in result.solids:
        for ion in reason.ions:
            if ion.shares:
                ions.setdefault(ion.component, dict(ion.shares))
    ions = dict(list(ions.items())[:MOST_IONS])
    places = list(dict.fromkeys(p for shares in ions.values() for p in shares))
    weight = {p: sum(s.get(p, 0.0) for s in ions.values()) for p in places}
    places = sorted((p for p in places if weight[p] >= 0.01), key=lambda p: -weight[p])
    places = places[: len(FILLS)]
    if not ions or not places:
        return None
    told = "; ".join(
        f"{plain(c)}: " + ", ".join(f"{100 * s[p]:.0f} % {p}" for p in places if p in s)
        for c, s in ions.items()
    )
    left, right, step, top = 96.0, 392.0, 32.0, 8.0
    bottom = top + step * len(ions)
    out = Drawing("origins", WIDTH, bottom + 22 * len(places) + 8, "Where each ion comes from",
                  f"{told}.")  # fmt: skip

    def fill(place: str) -> str:
        key = FILLS[places.index(place)]
        return {"solid": "currentColor", "none": "none"}.get(key) or out.texture(key)

    for i, (component, shares) in enumerate(ions.items()):
        y, x = top + step * i, left
        out.words(left - 8, y + 17, plain(component), "end")
        for place in places:
            width = (right - left) * shares.get(place, 0.0)
            if width >= 1.0:
                out.bar(x, y, width, 22, fill(place), weight=1.5)
                x += width
    for i, place in enumerate(places):
        y = bottom + 8 + 22 * i
        out.bar(left - 24, y, 18, 13, fill(place), weight=1.5)
        out.words(left, y + 12, place[:40])
    return out
