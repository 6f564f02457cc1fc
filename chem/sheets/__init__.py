"""Result objects as terminal text, JSON and a page. Computes nothing."""

from chem.sheets.blocks import Block, Sheet, as_text
from chem.sheets.forecast import forecast_sheet, forecast_short
from chem.sheets.forecast_data import forecast_json
from chem.sheets.page import as_html

__all__ = [
    "Block",
    "Sheet",
    "as_html",
    "as_text",
    "forecast_json",
    "forecast_sheet",
    "forecast_short",
]
