"""From what is printed on a jug to moles of conserved components."""

from chem.label.amounts import label_lines, misfits
from chem.label.door import NameWord, class_of_rule, phrases, plain, read_name
from chem.label.draws import Contents, contents
from chem.label.made import Written, as_tables, make_product
from chem.label.measured import as_measured
from chem.label.product import NITROGEN_FORMS, Product, Says, unsupplied
from chem.label.product_file import (
    find_product,
    product_of,
    product_schema,
    read_product,
    read_shelf,
)
from chem.label.resolving import resolve_guarantee, resolve_source

__all__ = [
    "NITROGEN_FORMS",
    "Contents",
    "NameWord",
    "Product",
    "Says",
    "Written",
    "as_measured",
    "as_tables",
    "make_product",
    "class_of_rule",
    "contents",
    "find_product",
    "label_lines",
    "misfits",
    "phrases",
    "plain",
    "product_of",
    "product_schema",
    "read_name",
    "read_product",
    "read_shelf",
    "resolve_guarantee",
    "resolve_source",
    "unsupplied",
]
