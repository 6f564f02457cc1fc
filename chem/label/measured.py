"""A jug as measured: its label, with what was read of the jug beside it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping

from chem.errors import InputProblem, Problem
from chem.files import validate
from chem.files.product import ProductForm
from chem.label.product import Product
from chem.label.product_file import product_of

READINGS = ("density", "ec", "ph")
"""Keys of [known] that a notebook keeps too."""


def as_measured(product: Product, told: Mapping[str, str]) -> Product:
    """The product as its file would be read with these texts under `[known]`; what stands there
    already stays. One that was read from no file is given back as it is.

    told: of `READINGS`, as a product file writes them. Raises: InputProblem.
    """
    if product.read_from is None:
        return product
    form = validate(ProductForm, tomllib.loads(product.read_from.text), product.file)
    known = {**told, **form.known}
    if known == form.known:
        return product
    if told.keys() & {"density"} and form.form == "dry":
        wrong, instead = "it is sold dry, and has no density of a liquid", "a liquid's jug"
        raise InputProblem(Problem(f"density of {product.name}", wrong, instead))
    form = form.model_copy(update={"known": known})
    return product_of(form, product.file, product.key, product.read_from)
