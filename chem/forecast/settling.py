"""What would settle a doubt, in words: from the row of `doubts.csv` that its column comes from."""

from __future__ import annotations

import re
from functools import cache

from chem.doubts import Doubt, doubts

MODEL_KINDS = {"log_k", "interaction", "clouding", "iron"}
"""Doubts about the model: nothing that the person can measure but the jar."""
ONLY_THE_JAR = "the jar"


@cache
def _patterns() -> tuple[tuple[re.Pattern[str], Doubt], ...]:
    """Patterns of column names, the most particular first."""
    found = []
    for doubt in doubts().values():
        text = re.escape(doubt.names)
        for word, group in (
            ("KEY", "product"),
            ("LINE", "what"),
            ("NAME", "what"),
            ("ION", "what"),
        ):
            text = text.replace(word, f"(?P<{group}>.+)")
        found.append((re.compile(text), doubt))
    found.sort(key=lambda pair: pair[0].groups)
    return tuple(found)


def settle_by(name: str) -> str:
    """A doubt's column name -> what the person can do about it; products by their key."""
    kind, _, rest = name.partition(":")
    if kind == "clouding":
        return "only the jar shows how soon it clouds"
    if kind == "iron":
        return "only the jar shows how fast the iron rusts"
    if name == "tank:stirring":
        return "stir less, or leave a glass of the tank open and look at it: the air works on it"
    if kind in MODEL_KINDS:
        return "nothing you can measure: a limit of the model"
    if kind == "product" and ":source of " in rest:
        product, _, line = rest.partition(":source of ")
        return f"ask the maker what the {line} in {product} is derived from"
    if kind == "product" and ":agent of " in rest:
        product, _, line = rest.partition(":agent of ")
        return f"ask the maker what chelates the {line} in {product}"
    of_several = re.fullmatch(r"water:of (.+):([^:]+)", name)
    if of_several:
        water, rest = of_several.groups()
        return settle_by(f"water:{rest}").replace("the water", water)
    for pattern, doubt in _patterns():
        match = pattern.fullmatch(name)
        if match:
            groups = match.groupdict()
            return doubt.settle_by.format(
                product=groups.get("product", ""), what=groups.get("what", "")
            )
    return ONLY_THE_JAR
