"""Where the tables stand: `data/` beside the package in a checkout, inside it in a wheel."""

from __future__ import annotations

import csv
import hashlib
import tomllib
from functools import cache
from pathlib import Path
from typing import Any


@cache
def data_folder() -> Path:
    """The folder of tables. Raises: FileNotFoundError if the installation lost it."""
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "data", package.parent / "data"):
        if (folder / "components.csv").is_file():
            return folder
    raise FileNotFoundError(f"no data folder beside {package}")


def read_csv(name: str) -> list[dict[str, str]]:
    """Rows of `data/NAME`, header to cell."""
    with (data_folder() / name).open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def read_toml(name: str) -> dict[str, Any]:
    """The tables of `data/NAME`."""
    with (data_folder() / name).open("rb") as handle:
        return tomllib.load(handle)


@cache
def data_hash() -> str:
    """First 12 hex digits of SHA-256 over every table (not the demo shelf), name and content."""
    digest = hashlib.sha256()
    folder = data_folder()
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder)
        if path.suffix in {".csv", ".toml"} and name.parts[0] != "demo":
            digest.update(name.as_posix().encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


@cache
def code_hash() -> str:
    """First 12 hex digits of SHA-256 over every module of the package, name and content."""
    package = Path(__file__).resolve().parent.parent
    digest = hashlib.sha256()
    for path in sorted(package.rglob("*.py")):
        digest.update(path.relative_to(package).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:12]
