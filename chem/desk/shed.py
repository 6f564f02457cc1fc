"""The folder that the desk works in: what lies there, and nothing outside it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

from chem.errors import InputProblem, Problem
from chem.files import SHED, load_toml, read_shed
from chem.label import Product, read_product
from chem.reference.files import data_folder
from chem.tank import Mix, read_mix
from chem.units import Units

MOST_FILES = 2000
SIGNS = {
    "mix": {"add"},
    "sprayer": {"carrier", "error_percent", "agitation", "stays_in_sump", "finest_screen"},
    "water": {"ions", "alkalinity", "hardness"},
    "product": {"guarantee", "sources", "density", "specific_gravity", "net_weight", "also"},
}
"""A key that only a file of that kind has."""


@dataclass(frozen=True)
class Lying:
    """A file of the shed: its address in the folder, its name, when it was last written."""

    file: str
    name: str
    kind: str
    changed: datetime


class Shed:
    """A folder of products, waters and mixes. Raises: InputProblem where it is none."""

    def __init__(self, folder: Path) -> None:
        try:
            self.root = folder.resolve(strict=True)
        except (OSError, RuntimeError, ValueError):
            self.root = Path()
        if not self.root.is_dir():
            raise InputProblem(
                Problem(f"`{folder}`", "no such folder", "the folder that holds your mixes")
            )
        self._units: tuple[tuple[str, int, int], Units] = ("", 0, 0), "both"
        self._known: dict[tuple[str, int, int], tuple[str, str]] = {}

    def path(self, file: str) -> Path:
        """A file named by an address, never outside the shed. Raises: InputProblem."""
        outside = InputProblem(
            Problem(f"`{file}`", "it lies outside this shed", "a file of the shed's own folder")
        )
        if not file or "\x00" in file or "\\" in file or Path(file).is_absolute():
            raise outside
        try:
            path = (self.root / file).resolve()
            path.is_file()  # a name may be too long for the system to look for it
        except (OSError, RuntimeError, ValueError):
            raise outside from None
        if not path.is_relative_to(self.root) or path.suffix != ".toml":
            raise outside
        return path

    def holds(self, file: str) -> bool:
        """Whether a file of this name lies in the shed."""
        try:
            return self.path(file).is_file()
        except InputProblem:
            return False

    def lying(self, kind: str | None = None) -> list[Lying]:
        """The files of a kind, last written first; what can't be read is passed over."""
        found = []
        for path in sorted(self.root.rglob("*.toml"))[:MOST_FILES]:
            try:
                state = path.stat()
                if not path.resolve().is_relative_to(self.root) or not path.is_file():
                    continue
            except (OSError, RuntimeError):
                continue
            file = path.relative_to(self.root).as_posix()
            what, name = self._kind(path, (file, state.st_mtime_ns, state.st_size))
            if what and kind in (None, what):
                changed = datetime.fromtimestamp(state.st_mtime)
                found.append(Lying(file, name, what, changed))
        return sorted(found, key=lambda one: one.changed, reverse=True)

    def _kind(self, path: Path, version: tuple[str, int, int]) -> tuple[str, str]:
        if version not in self._known:
            try:
                raw = load_toml(path, "file")
            except InputProblem:
                raw = {}
            self._known[version] = _kind_of(raw), str(raw.get("name", path.stem))
        return self._known[version]

    def products(self) -> list[tuple[str, str]]:
        """(file, name) of the shed's products, then of the demo shelf's, to choose from."""
        return [(one.file, one.name) for one in self.lying("product")] + _demo("product")

    def read_products(self) -> dict[str, Product]:
        """File -> product of the shed's own that can be read; of the demo's where it has none."""
        own = [(one.file, self.path(one.file)) for one in self.lying("product")]
        demo = sorted((data_folder() / "demo" / "products").glob("*.toml"))
        found = {}
        for file, path in own or [(path.name, path) for path in demo]:
            try:
                found[file] = read_product(path)
            except InputProblem:
                continue
        return found

    def read_mixes(self) -> list[Mix]:
        """The shed's mixes that can be read."""
        found = []
        for one in self.lying("mix"):
            try:
                found.append(read_mix(self.path(one.file)))
            except InputProblem:
                continue
        return found

    def folder_of(self, kind: str) -> str:
        """Where new `products`, `waters` or `mixes` go: into the folder of that name, if any."""
        return f"{kind}/" if (self.root / kind).is_dir() else ""

    def waters(self) -> list[tuple[str, str]]:
        """(file, name) of the shed's waters, then of the demo's, then the unknown one."""
        own = [(one.file, one.name) for one in self.lying("water")]
        shed = [("", "as set once in your shed")] if self.set_once else []
        return [*shed, *own, *_demo("water"), ("unknown", "not known: a wide range")]

    @property
    def set_once(self) -> bool:
        """Whether a `shed.toml` stands here, from which a mix takes what it leaves out."""
        return (self.root / SHED).is_file()

    @property
    def units(self) -> Units:
        """As set once, else both."""
        path = self.root / SHED
        if not path.is_file():
            return "both"
        state = path.stat()
        version = (SHED, state.st_mtime_ns, state.st_size)
        if version != self._units[0]:
            self._units = version, read_shed(path).form.units or "both"
        return self._units[1]

    def named(self, file: str, folder: str) -> Path:
        """A product or water chosen: of the shed, else of the demo shelf. Raises: InputProblem."""
        path = self.path(file)
        if not path.is_file():
            demo = data_folder() / "demo" / folder / file
            if "/" not in file and demo.is_file():
                return demo
            raise InputProblem(Problem(f"`{file}`", "no such file in this shed", "one of the list"))
        return path


@cache
def _demo(kind: str) -> list[tuple[str, str]]:
    """(file, name) on the demo shelf."""
    paths = sorted((data_folder() / "demo" / f"{kind}s").glob("*.toml"))
    return [(p.name, str(load_toml(p, kind)["name"])) for p in paths]


def _kind_of(raw: dict[str, Any]) -> str:
    return next((kind for kind, keys in SIGNS.items() if keys & set(raw)), "")
