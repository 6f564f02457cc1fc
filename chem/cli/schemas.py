"""`tables --schemas`: the JSON Schemas as files."""

from __future__ import annotations

import json
from pathlib import Path

from chem.errors import InputProblem, Problem
from chem.files.writing import write_texts
from chem.sheets.contract.schemas import OURS, schemas


def write_schemas(folder: Path) -> list[Path]:
    """Write each schema into a folder, made where there is none; all of them or none.

    Raises: InputProblem where the folder can't be made, or a file stands there that is no schema
        of ours.
    """
    texts = {
        folder / f"{name}.schema.json": json.dumps(schema, indent=2) + "\n"
        for name, schema in schemas().items()
    }
    foreign = [path for path in texts if path.exists() and not _ours(path)]
    if foreign:
        wrong = "a file stands there that `tables --schemas` did not write"
        raise InputProblem([Problem(f"`{p}`", wrong, "an empty folder") for p in foreign])
    try:
        folder.mkdir(exist_ok=True)
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        instead = "a folder in one that exists and that you may write to"
        raise InputProblem(
            Problem(f"command line, --schemas = `{folder}`", f"no folder ({why})", instead)
        ) from None
    write_texts(texts)
    return list(texts)


def _ours(path: Path) -> bool:
    """Whether an earlier schema of ours stands there."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return False
    comment = found.get("$comment") if isinstance(found, dict) else None
    return isinstance(comment, str) and comment.startswith(OURS)
