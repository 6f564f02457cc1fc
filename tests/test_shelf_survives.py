"""A shelf survives its worst label: whatever one product raises, the rest is answered."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from chem.errors import InputProblem
from chem.label import contents, read_product
from chem.shelf import Item, Setting, engines, local, read_item, read_stock, shelf, stock
from chem.tank import find_water

PRODUCTS = Path(__file__).parent.parent / "data" / "demo" / "products"
ROOM = sys.modules["chem.shelf.work"]
NITRATE, ORTHO, SULFATE = "calcium-nitrate-liquor", "npk-orthophosphate", "ammonium-sulfate-liquor"


def setting() -> Setting:
    return Setting(find_water("soft", None), 0.0815, 20.0, None, 16, 1)


def demo(*names: str) -> list[Item]:
    return [read_item(PRODUCTS / f"{name}.toml") for name in names]


def raising(message: str) -> Callable[..., Any]:
    def raises(*_: object, **__: object) -> Any:
        raise np.linalg.LinAlgError(message)

    return raises


def spoilt_contents(product: Any, *more: Any, **options: Any) -> Any:
    """Contents that can't be had of one product, and are no numbers of another."""
    held = contents(product, *more, **options)
    if product.key == SULFATE:
        raise np.linalg.LinAlgError("Matrix is not positive definite")
    if product.key == ORTHO:
        return replace(held, mol_per_kg=held.mol_per_kg * np.nan)
    return held


@pytest.mark.parametrize("workers", [1, 2])
def test_whatever_one_product_raises_the_rest_is_answered(
    monkeypatch: pytest.MonkeyPatch, workers: int
) -> None:
    good = demo(NITRATE, "urea-liquor", "iron-edta")
    items = [good[0], *demo(SULFATE), good[1], *demo(ORTHO), good[2]]
    monkeypatch.setattr(engines, "ALONE_BELOW", 1)
    plain = shelf(good, setting(), engine=local(workers), passes=True)
    monkeypatch.setattr(sys.modules["chem.forecast.study"], "contents", spoilt_contents)
    found = shelf(items, setting(), engine=local(workers), passes=True)
    assert (found.names, found.pairs, found.alone) == (plain.names, plain.pairs, plain.alone)
    assert (found.groups, found.passes) == (plain.groups, plain.passes)
    assert [out.file for out in found.left_out] == [f"{SULFATE}.toml", f"{ORTHO}.toml"]
    assert "LinAlgError: Matrix is not positive definite" in found.left_out[0].why
    one = shelf(items[1:], setting(), asked=good[0], engine=local(workers))
    assert len(one.pairs) == 2 and len(one.left_out) == 2
    with pytest.raises(InputProblem, match=f"{SULFATE}.toml"):
        shelf(good, setting(), asked=items[1])
    with pytest.raises(InputProblem, match=f"{SULFATE}.toml"):
        shelf(items[1:2], setting())


def test_what_no_product_alone_raises_is_not_hidden(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ROOM.Work, "do", raising("of the house itself"))
    with pytest.raises(np.linalg.LinAlgError, match="of the house itself"):
        shelf(demo(NITRATE, SULFATE), setting(), engine=local(1))


def test_a_file_that_raises_what_nobody_foresaw_is_left_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def reads(path: Path) -> Any:
        return read_product(path) if path.stem == NITRATE else raising("unforeseen")()

    for name in (NITRATE, SULFATE):
        (tmp_path / f"{name}.toml").write_bytes((PRODUCTS / f"{name}.toml").read_bytes())
    monkeypatch.setattr(stock, "read_product", reads)
    items, left = read_stock(tmp_path)
    assert [item.product.key for item in items] == [NITRATE]
    assert [(out.file, "unforeseen" in out.why) for out in left] == [(f"{SULFATE}.toml", True)]
