"""What stands behind each door: a room asked over the Study, and its sheet."""

from __future__ import annotations

from dataclasses import replace

from chem.advice.levers import Fix
from chem.desk.draft import Draft, figure_of
from chem.forecast import Forecast, Study
from chem.sheets.blocks import Sheet
from chem.tank import Mix

MOVING_DRAWS = 64
STEPS = (10.0, 5.0, 1.0, 0.5, 0.1, 0.05, 0.01, 0.001)


def forecast_of(mix: Mix, judged_at: str, draws: int | None, study: Study) -> Forecast:
    """The first draws of the Study, None for all of them."""
    from chem.forecast import forecast

    return forecast(mix, judged_at=judged_at, study=study if draws is None else study.few(draws))


def sheet_of(door: str, mix: Mix, judged_at: str, asked: dict[str, str], study: Study) -> Sheet:
    """The sheet of a door. Raises: InputProblem."""
    if door == "forecast":
        from chem.sheets.forecast import forecast_sheet

        return forecast_sheet(forecast_of(mix, judged_at, None, study))
    if door == "why":
        from chem.advice.why import why
        from chem.sheets.why import why_sheet

        return why_sheet(why(mix, judged_at=judged_at, study=study))
    if door == "fix":
        from chem.advice.fix import fix
        from chem.sheets.fix import fix_sheet

        return fix_sheet(fix(mix, judged_at=judged_at, study=study))
    if door == "pour":
        from chem.advice.pour import pour
        from chem.sheets.pour import pour_sheet

        return pour_sheet(pour(mix, study=study.few(MOVING_DRAWS)))
    if door == "jar":
        from chem.advice.jar import jar
        from chem.sheets.jar import jar_sheet

        return jar_sheet(jar(mix, study=study))
    if door == "ph":
        from chem.advice.agents import choose_agent
        from chem.advice.ph import adjust
        from chem.sheets.ph import ph_sheet
        from chem.units import read_ph

        to = read_ph(asked["to"], "To").value
        return ph_sheet(
            adjust(mix, to, choose_agent(asked["with"]), judged_at=judged_at, study=study)
        )
    from chem.advice.diagnose import diagnose
    from chem.forecast import read_after, read_seen
    from chem.sheets.diagnose import diagnose_sheet

    after = asked.get("after", "15")
    return diagnose_sheet(
        diagnose(
            mix,
            seen=read_seen(asked["seen"], "Seen"),
            after_min=read_after(after, "After") / 60.0,
            study=study,
        )
    )


def takes_of(mix: Mix, draft: Draft, study: Study) -> list[tuple[str, str]]:
    """(words, address) of every change that one press takes over into the draft."""
    from chem.advice.fix import fix
    from chem.sheets.fix import fix_change

    result = fix(mix, judged_at=draft.judged_at, study=study)
    out = []
    for found in result.fixes:
        words = fix_change(found, result, "both")
        drafts = _changed(found, draft, mix)
        for k, changed in enumerate(drafts, start=1):
            which = f" (tank {k} of {len(drafts)})" if len(drafts) > 1 else ""
            out.append((words + which, changed.query()))
    return out


def _changed(found: Fix, draft: Draft, mix: Mix) -> list[Draft]:
    """The drafts that a fix makes, one a tank; none where it needs a file that isn't there yet."""
    keys = [a.product.key for a in mix.additions]
    if found.lever == "carrier" and found.factor:
        text = _times(draft.texts["carrier"], found.factor)
        return [replace(draft, texts={**draft.texts, "carrier": text})] if text else []
    if found.lever == "rate" and found.factor and found.product is not None:
        jugs = list(draft.jugs)
        file, rate = jugs[found.product]
        text = _times(rate or mix.additions[found.product].rate.text, found.factor)
        jugs[found.product] = (file, text)
        return [replace(draft, jugs=tuple(jugs))] if text else []
    if found.lever in ("order", "passes"):
        tanks = ([keys.index(a.product.key) for a in tank.additions] for tank in found.mixes)
        return [replace(draft, jugs=tuple(draft.jugs[i] for i in tank)) for tank in tanks]
    return []


def _times(text: str, factor: float) -> str:
    figure = figure_of(text)
    return f"{figure[0] * factor:.4g} {figure[1]}" if figure else ""


def slider_of(text: str, *, least: float) -> dict[str, str] | None:
    """Ends, step and unit of a slider for a rate or a spray volume written with one figure."""
    found = figure_of(text)
    if found is None or found[0] <= 0.0:
        return None
    value, unit = found
    step = next((s for s in STEPS if s <= value / 8.0), STEPS[-1])
    most = step * round(3.0 * value / step)
    low = max(step, step * round(least * value / step)) if least else 0.0
    ends = {"value": value, "step": step, "most": most, "least": low}
    return {"unit": unit, **{key: f"{figure:g}" for key, figure in ends.items()}}
