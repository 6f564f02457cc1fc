"""What stands behind each door: a room asked over the Study, and its sheet."""

from __future__ import annotations

from chem.desk.draft import figure_of
from chem.forecast import Forecast, Study
from chem.sheets.blocks import Sheet
from chem.tank import Mix
from chem.units import Units

MOVING_DRAWS = 64
STEPS = (10.0, 5.0, 1.0, 0.5, 0.1, 0.05, 0.01, 0.001)


def forecast_of(mix: Mix, judged_at: str, study: Study, *, moving: bool = False) -> Forecast:
    """By all draws of the Study, by the first of them while a hand moves."""
    from chem.forecast import forecast

    study = study.moving(MOVING_DRAWS) if moving else study
    return forecast(mix, judged_at=judged_at, study=study)


def sheet_of(
    door: str, mix: Mix, judged_at: str, asked: dict[str, str], units: Units, study: Study
) -> Sheet:
    """The sheet of a door. Raises: InputProblem."""
    if door == "forecast":
        from chem.sheets.forecast import forecast_sheet

        return forecast_sheet(forecast_of(mix, judged_at, study), units)
    if door == "why":
        from chem.advice.why import why
        from chem.sheets.why import why_sheet

        return why_sheet(why(mix, judged_at=judged_at, study=study), units)
    if door == "pour":
        from chem.advice.pour import pour
        from chem.sheets.pour import pour_sheet

        return pour_sheet(pour(mix, study=study.few(MOVING_DRAWS)), units)
    if door == "jar":
        from chem.advice.jar import jar
        from chem.sheets.jar import jar_sheet

        return jar_sheet(jar(mix, study=study), units, asked.get("number") or None)
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
        ),
        units,
    )


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
