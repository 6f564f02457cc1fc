"""A window of pH between two limits, in words and as an entry."""

from __future__ import annotations

from chem.forecast import (
    WindowForecast,
)
from chem.forecast.forecasting import age_words
from chem.sheets.contract.parts import WindowEntry
from chem.sheets.words import odds


def window_words(low: float, high: float) -> str:
    """`at most 5`, `at least 6`, `4 to 6.5`."""
    if low <= 0.0:
        return f"at most {high:g}"
    return f"at least {low:g}" if high >= 14.0 else f"{low:g} to {high:g}"


def window_sentence(found: WindowForecast) -> str:
    """What an adjuvant wants of the tank, and the odds that it has it."""
    window = found.window
    if window.limits is None:
        return f"{window.name}: what pH does its label want? Write it as ph_window in its file."
    text = f"{window.name} wants pH {window_words(*window.limits)}: {odds(found.at_filling)} that"
    text += " it has it"
    if odds(found.at_4h) != odds(found.at_filling):
        text += f", {odds(found.at_4h)} by 4 hours"
    if window.good_for_s is not None:
        text += f"; good for {age_words(window.good_for_s)}"
    return f"{text}."


def window_entry(found: WindowForecast) -> WindowEntry:
    """For JSON."""
    window = found.window
    return WindowEntry(
        name=window.name,
        window=window.limits,
        suited=found.at_filling,
        suited_4h=found.at_4h,
        good_for_s=window.good_for_s,
    )
