"""What labels name besides salts, and what it can do in a tank: `ingredients.csv`, by class."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Literal

from chem.reference.files import read_csv

Kind = Literal["inert", "doubt", "anionic", "source"]


@dataclass(frozen=True)
class IngredientClass:
    """A class of ingredients.

    kind: `inert` does nothing, `doubt` is told as a doubt, `anionic` gives scum with calcium,
    `source` counts as the source it names; what: its effect in words.
    """

    key: str
    kind: Kind
    counts_as: str
    what: str


def ingredient(name: str) -> IngredientClass | None:
    """The class of a printed name in any of the labels' languages, or None."""
    return _names().get(_fold(name))


@cache
def _names() -> Mapping[str, IngredientClass]:
    classes = {
        r["class"]: IngredientClass(r["class"], _kind(r["kind"]), r["counts_as"], r["what"])
        for r in read_csv("ingredient_classes.csv")
    }
    rows = read_csv("ingredients.csv")
    return MappingProxyType({_fold(r["name"]): classes[r["class"]] for r in rows})


def _kind(text: str) -> Kind:
    kinds: tuple[Kind, ...] = ("inert", "doubt", "anionic", "source")
    return kinds[kinds.index(text)]


def _fold(name: str) -> str:
    """Without case, accents, brackets' marks and odd spaces."""
    plain = unicodedata.normalize("NFKD", name.lower())
    kept = "".join(c for c in plain if not unicodedata.combining(c))
    return " ".join(kept.replace("\u2019", "'").replace("ph", "f").split())
