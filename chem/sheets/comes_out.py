"""What comes out, when and by how much; the chemist's part of it."""

from __future__ import annotations

from chem.forecast import (
    THRESHOLD,
    AloneForecast,
    Forecast,
    SolidForecast,
)
from chem.reference import tables
from chem.reference.colloids import colloids
from chem.sheets.blocks import Block
from chem.sheets.words import (
    after,
    capital,
    odds,
    over_limit,
)
from chem.units import (
    Units,
    format_per_gallon_and_litre,
)


def threatening(result: Forecast) -> list[SolidForecast]:
    """The solids to be told of, the likeliest first."""
    return [
        s
        for s in result.solids
        if s.decides and s.kinetics != "dormant" and s.probability["24h"] >= THRESHOLD
    ]


def _how_far(solid: SolidForecast) -> str:
    """How far over its limit, where it is under it in most versions in how many it is not."""
    level = per_two_ions(solid)
    if level > 0.0:
        return over_limit(level)
    among = odds(solid.probability["24h"]).replace(" in ", " of ")
    return f"under its limit in most versions, over it in {among}"


def when(solid: SolidForecast) -> str:
    """After how long it shows, in words."""
    if solid.clouds_after_s is None:
        if per_two_ions(solid) <= 0.0:
            return "where it shows by tomorrow"
        return f"shows by tomorrow: {odds(solid.probability['24h'])}"
    times = solid.clouds_after_s
    return f"starts to show {after(times.median)} ({_span(times.p05, times.p95)})"


def _span(low: float, high: float) -> str:
    return f"{_short_time(low)} to {_short_time(high)}"


def _short_time(seconds: float) -> str:
    if seconds < 90.0:
        return f"{max(seconds, 1.0):.0f} s"
    if seconds < 5400.0:
        return f"{seconds / 60.0:.0f} min"
    if seconds < 172800.0:
        return f"{seconds / 3600.0:.0f} h"
    return f"{min(seconds / 86400.0, 99.0):.0f} days"


def per_two_ions(solid: SolidForecast) -> float:
    """Its SI as that of a salt of two ions, by which solids compare."""
    ions = tables().solids[solid.key].ions if solid.key in tables().solids else 2.0
    return 2.0 * solid.si.median / ions


def what_comes_out(result: Forecast, units: Units) -> Block:
    """The solids that threaten, each with how far, when and how much."""
    items = []
    for solid in threatening(result)[:4]:
        text = f"{solid.name}: {_how_far(solid)}, {when(solid)}"
        if solid.amount_g_per_L > 1e-4:
            amount = format_per_gallon_and_litre(solid.amount_g_per_L, units)
            text += f", {amount} in the end"
        items.append(text + ".")
    items += [
        f"{capital(colloids()[c.key].because)}: {odds(c.risk)}"
        f"{', within minutes' if c.after_s <= 0.0 else f' within a day, {after(c.after_s)}'}."
        for c in result.colloids
        if c.risk >= THRESHOLD
    ]
    items += [alone_sentence(a, result) for a in result.alone]
    if items:
        return Block("What would come out", items=items)
    near = [s for s in result.solids if s.decides and s.kinetics != "dormant"]
    near.sort(key=lambda s: -per_two_ions(s))
    if near and near[0].si.median > -0.5:
        margin = 10.0 ** -near[0].si.median
        state = over_limit(per_two_ions(near[0]))
        if near[0].si.median > 0.0:
            state += ", but hardly any of it in a spray day"
        else:
            state += f" (about {margin:.1f} times)"
        return Block("What would come out", [f"Nothing to see. Closest: {near[0].name}, {state}."])
    return Block("What would come out", ["Nothing: every salt is well under its limit."])


def alone_sentence(one: AloneForecast, result: Forecast) -> str:
    """A product that is trouble without the others."""
    name = result.mix.additions[one.product].product.name
    verb = "curdles" if one.answer == "curdle" else "clouds"
    may = "may " if one.chance < 0.5 else ""
    return f"{name} {may}{verb[:-1] if may else verb} by itself in this water too: " + (
        f"{odds(one.chance)}."
    )
