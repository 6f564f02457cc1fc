"""What would settle a doubt, in words."""

from __future__ import annotations


def settle_by(name: str) -> str:
    """A doubt's column name -> what the person can do about it."""
    kind, _, rest = name.partition(":")
    if kind == "product":
        product, _, what = rest.partition(":")
        if what.startswith("guarantee:"):
            return f"ask the maker for the true {what.split(':', 1)[1]} content of {product}"
        if what.startswith("also:"):
            return f"ask the maker for the true {what.split(':', 1)[1]} content of {product}"
        if what.startswith("ph") or what == "free acid":
            return f"measure the pH of {product}, 1 part in 10 of water"
        if what == "density":
            return f"weigh 500 mL of {product} in a container never used for food"
    if kind == "metering":
        return "measure the tank mark again" if rest == "carrier" else f"measure {rest} closely"
    if kind == "water":
        return f"have the water tested for {rest}"
    if kind == "clouding":
        return "only the jar shows how soon it clouds"
    if kind in {"log_k", "interaction"}:
        return "nothing you can measure: a limit of the model"
    return "the jar"
