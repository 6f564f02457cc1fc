"""The jug that a word of the command line means."""

from __future__ import annotations

import difflib
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from chem.errors import InputProblem, Problem

COMMAND_LINE = "command line"


def find_jug(name: str, beside: Path) -> str:
    """A product by its file or any unmistakable part of its name, as a mix in `beside` names it.

    Looked for beside the mix and in its shed, then on the demo shelf.

    Raises: InputProblem where none or more than one is meant; near names are offered.
    """
    from chem.files import find_shed, is_file
    from chem.reference.files import data_folder
    from chem.tank import product_folder

    for path in (Path(name), Path(f"{name}.toml")):
        if is_file(path):
            return relative(path, beside)
    shed = find_shed(beside)
    own = [beside, beside / "products", beside.parent / "products"]
    own += [] if shed is None else [product_folder(shed)]
    demo = data_folder() / "demo" / "products"
    known: dict[str, str] = {}
    for places in (own, [demo]):
        jugs = _jugs(places)
        meant = those_meant(name, jugs)
        if len(meant) == 1:
            path = meant[0]
            return path.stem if path.parent == demo else relative(path, beside)
        if meant:
            raise unclear(name, "more than one product is meant", [jugs[p] for p in meant])
        known |= {title: path.stem for path, title in jugs.items()}
    near = _near(name, known)
    raise unclear(name, "no product of your shelf or the demo's", near)


def _jugs(places: Sequence[Path]) -> dict[Path, str]:
    """Product files of folders and the names on their labels."""
    from chem.cli.kinds import what_is
    from chem.files import load_toml

    found = {}
    for path in dict.fromkeys(p.resolve() for f in places for p in sorted(f.glob("*.toml"))):
        try:
            raw = load_toml(path, "product")
            if what_is(path, raw) == "product" and "name" in raw:
                found[path] = str(raw["name"])
        except InputProblem:
            continue
    return found


def those_meant(name: str, jugs: dict[Path, str]) -> list[Path]:
    """Those of the very name, else those of which it is a part."""
    asked = _plain(name)
    exact = [p for p, title in jugs.items() if asked in (_plain(p.stem), _plain(title))]
    parts = [p for p, title in jugs.items() if asked in f"{_plain(p.stem)} | {_plain(title)}"]
    return exact or parts


def _plain(name: str) -> str:
    return " ".join(name.removesuffix(".toml").casefold().replace("-", " ").split())


def _near(name: str, known: dict[str, str]) -> list[str]:
    plain = {_plain(word): title for title, stem in known.items() for word in (title, stem)}
    near = difflib.get_close_matches(_plain(name), list(plain), n=3, cutoff=0.4)
    return list(dict.fromkeys(plain[word] for word in near)) or sorted(known)[:3]


def unclear(name: str, wrong: str, known: Sequence[str]) -> InputProblem:
    """The refusal of a name, with what may be meant."""
    offer = " or ".join(f"`{title}`" for title in known[:4]) or "a product file"
    return InputProblem(Problem(f"{COMMAND_LINE}, `{name}`", wrong, f"did you mean {offer}?"))


def name_and_rate(text: str, option: str, *, needed: bool) -> tuple[str, str]:
    """`NAME=RATE`. Raises: InputProblem."""
    name, equals, value = (part.strip() for part in text.partition("="))
    if name and (value or not (equals or needed)):
        return name, value
    wrong = "a product and its rate are needed"
    such = f'{option} "calcium nitrate=4 fl oz/1000 sq ft"'
    raise InputProblem(Problem(f"{COMMAND_LINE}, {option} {text}", wrong, such))


def place_of_jug(name: str, rows: Sequence[dict[str, Any]], beside: Path) -> int:
    """Which product of a mix is meant. Raises: InputProblem."""
    from chem.files import find_shed
    from chem.label import find_product
    from chem.tank import product_folder

    shed = find_shed(beside)
    places = () if shed is None else (product_folder(shed),)
    titles = {}
    for i, row in enumerate(rows):
        if "product" not in row:
            continue
        file = str(row["product"])
        titles[Path(str(i)) / Path(file).stem] = find_product(file, beside, "", places).name
    meant = those_meant(name, titles)
    if len(meant) != 1:
        wrong = "more than one product of the mix is meant" if meant else "no product of the mix"
        known = [titles[p] for p in meant or titles]
        raise unclear(name, wrong, known)
    return int(meant[0].parts[0])


def relative(path: Path, beside: Path) -> str:
    """A path as a file in another folder names it."""
    return Path(os.path.relpath(path, beside)).as_posix()
