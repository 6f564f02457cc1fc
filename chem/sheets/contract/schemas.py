"""The JSON Schemas of all that `--json` prints."""

from __future__ import annotations

import operator
from functools import reduce
from typing import Any

from pydantic import BaseModel, TypeAdapter

from chem.notebook import Entry
from chem.sheets.contract.advice import Adjuvants, Diagnose, Fix, Ph, Rinse, Why
from chem.sheets.contract.laboratory import SOLUTIONS, SelfCheck, Tables, Trace
from chem.sheets.contract.notebook import (
    NotebookCheck,
    NotebookImport,
    NotebookList,
    NotebookNext,
    NotebookScore,
    NotebookSeason,
    NotebookWall,
    SprayedKept,
)
from chem.sheets.contract.shelf import Label, Shelf
from chem.sheets.contract.tank import Calibrate, Forecast, Jar, Pour
from chem.version import VERSION

OBJECTS: dict[str, tuple[type[BaseModel], ...]] = {
    "calibrate": (Calibrate,),
    "diagnose": (Diagnose,),
    "fix": (Fix,),
    "forecast": (Forecast,),
    "jar": (Jar,),
    "label": (Label,),
    "notebook-check": (NotebookCheck,),
    "notebook-entry": (Entry,),
    "notebook-import": (NotebookImport,),
    "notebook-list": (NotebookList,),
    "notebook-next": (NotebookNext,),
    "notebook-score": (NotebookScore,),
    "notebook-season": (NotebookSeason,),
    "notebook-wall": (NotebookWall,),
    "ph": (Ph, Adjuvants),
    "pour": (Pour,),
    "rinse": (Rinse,),
    "selfcheck": (SelfCheck,),
    "shelf": (Shelf,),
    "sprayed": (SprayedKept,),
    "solution": tuple(SOLUTIONS.values()),
    "tables": (Tables,),
    "trace": (Trace,),
    "why": (Why,),
}
"""Command -> what its `--json` prints, one of these; and a line of the notebook."""
OURS = "jarsight "
"""How the comment of each schema begins."""


def schemas() -> dict[str, dict[str, Any]]:
    """Command -> JSON Schema of its object, draft 2020-12: every key required, no other allowed."""
    return {name: _schema(name, models) for name, models in OBJECTS.items()}


def _schema(name: str, models: tuple[type[BaseModel], ...]) -> dict[str, Any]:
    any_of: Any = reduce(operator.or_, models)
    adapter: TypeAdapter[Any] = TypeAdapter(any_of)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$comment": f"{OURS}{VERSION}, {name}",
        **adapter.json_schema(mode="serialization"),
    }
